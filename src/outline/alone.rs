//! What one photo shows by itself: its camera, with one displacement for the whole rim.
use super::camera::Camera;
use super::clearness::{Clearness, unseen_places};
use super::edge::{self, Edge, Station};
use super::graphic::{Graphic, Match};
use super::hidden::{hidden, spacing};
use super::joint::{Seen, Turn};
use super::photo::Picture;
use super::prior::LensPrior;
use super::rim::{Rim, outward};
use super::start::{HUBER_PX, INDEPENDENT, OFF_MM, Prior, State, fit, starts};
use super::stray::{self, Reach, strays};
use super::{STATIONS, region, search, squeezed};
use crate::frame::MOST_DISPLACEMENT_MM;
use crate::geom::Polygon;
use crate::num::{each, mad_sigma, median};
use nalgebra::Point3;
use std::f64::consts::FRAC_PI_2;

/// Bands searched either side of the predicted rim, at a long side of `BAND_SIDE` pixels; the first is too wide to tell a shadow beside
/// the board from the board, and not wanted where the start is a good one.
pub(super) const BANDS: [f64; 3] = [60.0, 25.0, 12.0];
const BAND_SIDE: f64 = 2400.0;
/// Longest side of the picture in which a photo is looked at alone, pixels: in a larger one the path, which moves by three pixels from
/// station to station, climbs the side of a wheel by less than what tells it.
pub(super) const ALONE_SIDE: usize = 3600;
/// A contour that is this far off the scan's rim, mm rms, is not the board's: scans lose up to some 5 mm.
const MAX_RESIDUAL_MM: f64 = 5.0;
/// Share of the rail in sight, where colours do not part a board well from its floor, that may show no border: as much as may be hidden; in 53
/// drawn photos at most 6 % did.
const MAX_UNSEEN_RATIO: f64 = 0.5;
/// Least part of the area of cut-out and rim together that both hold: wheels beside a rail are a tenth of a board.
const MIN_COVER_RATIO: f64 = 0.75;
/// Longest side of the picture in which areas are counted, pixels.
const COVER_SIDE: usize = 300;
/// A contour found by colour that is this far off the scan's rim, mm, is one to doubt: half of a poor scan's standard deviation. Right
/// ones of clouds are nearer; of other scans a second search costs time, no harm.
const DOUBTFUL_MM: f64 = OFF_MM / 2.0;
/// One found all over the picture must be nearer than this, two standard deviations: a rim laid anywhere finds borders by chance.
const CHANCE_MM: f64 = 2.0 * OFF_MM;
/// Standard deviations of a lens up to which it says nothing against a contour.
const USUAL: f64 = 2.0;
/// Edges wider than this, mm, are no measurement: a quarter of it either way is what the worst scan's rim already tells.
const MAX_EDGE_MM: f64 = 6.0;
/// Least share of the rail that must be in sight.
const MIN_SEEN_RATIO: f64 = 0.5;
/// One in so many stations must be in sight where colours place the photo: the rest is bridged by what the scan's rim has lost beside it.
const PLACED_SEEN: usize = 4;
/// Two turns or faces are undecided when one is no less likely than by a residual this many times the other's.
const UNDECIDED: f64 = 1.1;
/// A photo is taken for cut when that is so much likelier, as a chi-square: what two unknowns gain by chance that the contour tells five
/// times as well as is believed of a cut (4 ln 5), and that one in ten photos are cut without a sign of it (2 ln 10).
const CUT: f64 = 11.0;
/// Contours are told apart down to this, pixels: their stations' own scatter.
const LEAST_PX: f64 = 0.5;

/// What photos are taken of: the scan's rim, and what stands over the underside in front of it.
pub(super) struct Scene<'a> {
    pub rim: &'a Rim<'a>,
    /// The same rail's edge on the top.
    top: &'a Rim<'a>,
    pub standing: &'a [Point3<f64>],
    /// Distance of neighbouring points of what stands.
    apart: Option<f64>,
    /// Which pieces of a border are things'.
    reach: Reach,
    /// The scan's colours, where it has any.
    pub graphic: Option<Graphic<'a>>,
}
impl<'a> Scene<'a> {
    pub fn new(rim: &'a Rim<'a>, top: &'a Rim<'a>, standing: &'a [Point3<f64>], graphic: Option<Graphic<'a>>) -> Self {
        Self { rim, top, standing, apart: spacing(standing), reach: Reach::of(rim), graphic }
    }
    /// The rail's edge that is seen from the underside's side, or from the top's.
    pub fn edge(&self, underside: bool) -> &'a Rim<'a> {
        if underside { self.rim } else { self.top }
    }
    /// What of a border belongs to things over the rail that the scan does not show, from how far outside the scan's rim it is, mm.
    pub fn strays(&self, off_mm: &[Option<f64>]) -> Vec<Option<f64>> {
        strays(off_mm, self.reach)
    }
    /// The same, but for pieces where the scan's rim leaves a border that is fairer than it.
    fn unfair_strays(&self, off_mm: &[Option<f64>]) -> Vec<Option<f64>> {
        stray::unfair(self.strays(off_mm), off_mm, self.rim)
    }
    /// Places along the rail in a photo, with what stands in front of it.
    pub fn stations(&self, c: &Camera, d: &dyn Fn(usize) -> f64) -> Vec<Station> {
        let px = self.edge(c.sees_underside()).pixels(c, d);
        let normals = outward(&px);
        // seen from the top side nothing stands in front
        let posts: Vec<[f64; 2]> = if c.sees_underside() {
            self.standing.iter().map(|p| c.project([p.x, p.y, p.z])).collect()
        } else {
            Vec::new()
        };
        let covered = hidden(&px, &posts, self.apart, c.lens.focal / c.shift.z.abs());
        (0..px.len()).map(|i| Station { p: px[i], n: normals[i], hidden: covered[i] }).collect()
    }
}
/// The border's pixels, with how the rail turns away at each station; an offset is missing where the border is not seen.
pub(super) fn seen(
    stations: &[Station],
    offset: impl Fn(usize) -> Option<f64>,
    turn: impl Fn(usize) -> Turn,
) -> Vec<Seen> {
    let at = |i: usize| {
        let (s, o) = (&stations[i], offset(i)?);
        Some(Seen { station: i, px: [0, 1].map(|k| s.p[k] + o * s.n[k]), normal: s.n, turn: turn(i) })
    };
    (0..stations.len()).filter(|&i| !stations[i].hidden).filter_map(at).collect()
}
/// What one photo shows by itself.
pub(super) struct Found {
    pub state: State,
    /// What its lens was taken for.
    pub lens: LensPrior,
    /// Of the contour about the scan's rim, one displacement allowed, without what strays.
    pub rms_mm: f64,
    /// The same with it: the standard deviation of a normal law that is as likely.
    fit_mm: f64,
    /// How unlikely its lens and displacement are, as a chi-square.
    unlikely: f64,
    /// How far its contour is off the scan's rim, mm: `fit_mm` times how odd a lens it takes, beside a right one's for each standard
    /// deviation by which all of it is moved alike (a shadow taken for board).
    off_mm: f64,
    edge_mm: f64,
    /// How far outside the scan's rim the border of things over the rail is that the scan does not show.
    pub strays_mm: Vec<Option<f64>>,
    /// It fits nearly as well turned by half a turn.
    pub undecided: bool,
    /// Where it shows the scan's colours, which then place its camera; else none.
    pub matches: Vec<Match>,
    /// The stations that it does not show, whatever stands there.
    pub unseen: Vec<bool>,
    /// How far outside the scan's rim the border is, mm, where colours place it and it is seen.
    pub border_mm: Vec<Option<f64>>,
}
impl Found {
    fn new(state: State, rms_px: f64, width_px: f64, strays_mm: Vec<Option<f64>>, prior: &Prior) -> Self {
        let mm = state.camera.mm_per_px();
        let rms_mm = rms_px * mm;
        // what strays may lie anywhere in a band about as wide as a normal law of this standard deviation
        let astray = astray(&strays_mm);
        let fit_mm = rms_mm.powf(1.0 - astray) * stray::LEAST_MM.max(rms_mm).powf(astray);
        let unlikely = prior.unlikely(&state);
        let off_mm =
            (fit_mm * (prior.odd_lens(&state) / USUAL).max(1.0)).hypot(OFF_MM * prior.odd_displacement(&state));
        let lens = prior.lens.clone();
        Self {
            rms_mm,
            fit_mm,
            off_mm,
            unlikely,
            lens,
            edge_mm: width_px * mm,
            unseen: vec![false; strays_mm.len()],
            state,
            strays_mm,
            undecided: false,
            matches: Vec::new(),
            border_mm: Vec::new(),
        }
    }
    /// How much less likely than another of the same photo, as a chi-square.
    fn against(&self, other: &Self) -> f64 {
        self.against_best() - other.against_best()
    }
    /// The same than a lens and a displacement as believed whose contour no station's own scatter tells from the rim.
    fn against_best(&self) -> f64 {
        let least_mm = LEAST_PX * self.state.camera.mm_per_px();
        2.0 * INDEPENDENT * (self.fit_mm / least_mm).max(1.0).ln() + self.unlikely
    }
    /// Whether it is about as likely as another.
    pub fn close(&self, other: &Self) -> bool {
        self.against(other).abs() < 2.0 * INDEPENDENT * UNDECIDED.ln()
    }
    fn same_face(&self, other: &Self) -> bool {
        self.state.camera.sees_underside() == other.state.camera.sees_underside()
    }
    /// Whether to take it for another: a board alike on both faces is taken to show its underside, as asked.
    pub fn better(&self, other: &Self) -> bool {
        if self.close(other) && !self.same_face(other) {
            return self.state.camera.sees_underside();
        }
        self.against(other) < 0.0
    }
    /// The same in a picture of so many times as many pixels along a side.
    pub fn enlarged(mut self, by: f64) -> Self {
        self.lens = self.lens.enlarged(by);
        let lens = &mut self.state.camera.lens;
        lens.focal *= by;
        lens.centre = lens.centre.map(|c| by * c);
        self.matches.iter_mut().for_each(|m| m.px = m.px.map(|c| by * c));
        self
    }
}
/// Share of the stations that something unknown hides.
fn astray(strays: &[Option<f64>]) -> f64 {
    strays.iter().flatten().count() as f64 / strays.len().max(1) as f64
}
/// The share of the rail in sight, where that is too little.
fn in_sight(places: &[Station], strays: &[Option<f64>]) -> Result<(), f64> {
    let seen = places.iter().zip(strays).filter(|(p, s)| !p.hidden && s.is_none()).count();
    let share = seen as f64 / places.len() as f64;
    if share < MIN_SEEN_RATIO { Err(share) } else { Ok(()) }
}
/// Pixels of this photo for so many at a long side of `BAND_SIDE`.
fn band(photo: &Picture, at_2400: f64) -> usize {
    ((at_2400 * photo.width.max(photo.height) as f64 / BAND_SIDE).round() as usize).max(4)
}
/// The camera of one photo alone, with one displacement for the whole rim: from where its colours part the board from the floor;
/// where that fits ill (a shadow or a thing beside it taken for board, ends painted like the floor) or not at all, also from where
/// the rim parts colours, hues and borders best.
pub(super) fn find(photo: &Picture, scene: &Scene, prior: &Prior) -> Result<Found, String> {
    let by_colour = find_by_colour(photo, scene, prior);
    let well = by_colour.as_ref().is_ok_and(|f| f.off_mm <= DOUBTFUL_MM);
    if photo.cut_out {
        return by_colour.and_then(|f| covers(photo, scene, &f).map(|()| f));
    }
    if well {
        return by_colour;
    }
    let found = best(photo, scene, &search::starts(photo, scene.rim, prior), prior, &BANDS[1..]).ok();
    // laid anywhere, a rim finds borders that only an unusual camera would make a board's
    let found = found.filter(|f| f.off_mm <= CHANCE_MM && squeezed::usual(f));
    let clearness =
        |f: &Found| Clearness::of(photo, &at_rest(scene, &f.state), &scene.rim.normal, band(photo, BANDS[2]));
    match (found, by_colour) {
        // no colour speaks of a board: its border must
        (Some(f), Err(why)) => clearness(&f).stands_out().then_some(f).ok_or(why),
        (None, Err(why)) => Err(why),
        (Some(f), Ok(c)) if f.better(&c) => clearness(&f).unseen().and_then(|()| follows(photo, scene, &f)).map(|()| f),
        (_, Ok(c)) => clearness(&c).unseen().and_then(|()| follows(photo, scene, &c)).map(|()| c),
    }
}
/// Refuses a find whose line leaves what is seen in the photo: a rim laid over a pan follows its handle and crosses its bottom.
fn follows(photo: &Picture, scene: &Scene, found: &Found) -> Result<(), String> {
    let (places, band) = (at_rest(scene, &found.state), band(photo, BANDS[2]));
    let rail = edge::find(photo, &places, band).contrast;
    let blank = unseen_places(photo, &places, &rail, band, scene.reach.quarter_width());
    let looked = || places.iter().zip(&blank).filter(|(p, _)| !p.hidden);
    let unseen = looked().filter(|(_, blank)| **blank).count() as f64 / looked().count().max(1) as f64;
    if unseen <= MAX_UNSEEN_RATIO {
        return Ok(());
    }
    Err(format!(
        "{:.0} % of its border is not seen where the rail would be, the limit is {:.0} %: it shows another thing, or another floor is needed",
        100.0 * unseen,
        100.0 * MAX_UNSEEN_RATIO
    ))
}
/// Refuses a find that does not cover what was cut out: a rim laid over a star lies about its middle.
fn covers(photo: &Picture, scene: &Scene, found: &Found) -> Result<(), String> {
    let rail = Polygon { points: at_rest(scene, &found.state).iter().map(|p| p.p).collect() };
    let step = photo.width.max(photo.height).div_ceil(COVER_SIDE).max(1);
    let (mut both, mut either) = (0usize, 0usize);
    for (y, x) in
        (step / 2..photo.height).step_by(step).flat_map(|y| (step / 2..photo.width).step_by(step).map(move |x| (y, x)))
    {
        let cut = photo.pixels[y * photo.width + x][3] >= 128;
        let board = rail.contains([x as f64 + 0.5, y as f64 + 0.5]);
        both += usize::from(cut && board);
        either += usize::from(cut || board);
    }
    let share = both as f64 / either.max(1) as f64;
    if share >= MIN_COVER_RATIO {
        return Ok(());
    }
    Err(format!(
        "what is cut out in it agrees with the scan's rim in {:.0} % of its area, at least {:.0} % are needed",
        100.0 * share,
        100.0 * MIN_COVER_RATIO
    ))
}
/// What was found, taken for cut by an editor where that says much more of its contour: nothing in a file tells a cut that keeps the
/// sides' ratio.
pub(super) fn or_cut(photo: &Picture, scene: &Scene, prior: &Prior, found: Found) -> Found {
    // most contours leave nothing to gain
    let Some(lens) = prior.lens.as_cut().filter(|_| found.against_best() > CUT) else { return found };
    let start = [found.state.clone()];
    match best(photo, scene, &start, &Prior { lens: &lens, ..*prior }, &BANDS[1..]) {
        Ok(cut) if prior.lens.moved(&cut.state.camera.lens) && found.against(&cut) > CUT => {
            Found { undecided: found.undecided, ..cut }
        }
        _ => found,
    }
}
/// The same by colours alone.
pub(super) fn find_by_colour(photo: &Picture, scene: &Scene, prior: &Prior) -> Result<Found, String> {
    let border = region::board_border(photo)?;
    best(photo, scene, &starts(photo, &border, scene, prior), prior, &BANDS)
}
/// Places along the rail with one displacement for all of it.
pub(super) fn at_rest(scene: &Scene, s: &State) -> Vec<Station> {
    scene.stations(&s.camera, &|_| s.d)
}
/// The best camera from these starts.
fn best(photo: &Picture, scene: &Scene, starts: &[State], prior: &Prior, bands: &[f64]) -> Result<Found, String> {
    let edge = |s: &State| scene.edge(s.camera.sees_underside());
    // from each start: state, rms residual and edge width in pixels, or the share of the rail in sight where that is too little
    let tried = each(starts.len(), |k| {
        let mut s = starts[k].clone();
        let (mut rms, mut width_px, mut strays) = (f64::INFINITY, 0.0, vec![None; STATIONS]);
        for b in bands {
            let band = band(photo, *b);
            let mut places = at_rest(scene, &s);
            // a narrow band does not reach as far as a wheel does, and in a wide one a poor start strays too
            if *b > BANDS[2] {
                strays.fill(None);
            }
            places.iter_mut().zip(&strays).for_each(|(p, s)| p.hidden |= s.is_some());
            in_sight(&places, &strays)?;
            let found = edge::find(photo, &places, band);
            width_px = found.width_px;
            if photo.drawn.is_none() {
                let off = |(p, o): (&Station, &f64)| (!p.hidden).then_some(o * s.camera.mm_per_px() + s.d);
                let more = scene.strays(&places.iter().zip(&found.offsets).map(off).collect::<Vec<_>>());
                strays.iter_mut().zip(more).for_each(|(s, more)| *s = s.or(more));
            }
            in_sight(&places, &strays)?;
            let rim = edge(&s);
            rms = fit(
                &mut s,
                rim,
                &seen(&places, |i| strays[i].is_none().then_some(found.offsets[i]), |_| Turn::default()),
                prior,
                HUBER_PX.max(band as f64 / 10.0),
            );
        }
        Ok((s, rms, width_px, strays))
    });
    let mut best: Option<Found> = None;
    let mut hidden_all: Option<f64> = None;
    for tried in tried {
        let (s, rms, width_px, strays_mm) = match tried {
            Ok(found) => found,
            Err(share) => {
                hidden_all = Some(share);
                continue;
            }
        };
        let f = Found::new(s, rms, width_px, strays_mm, prior);
        if !f.off_mm.is_finite() {
            continue;
        }
        let Some(b) = &mut best else {
            best = Some(f);
            continue;
        };
        let turned = b.state.camera.rotation.angle_to(&f.state.camera.rotation) > FRAC_PI_2;
        let undecided = f.close(b) && f.same_face(b) && (turned || b.undecided);
        if f.better(b) {
            *b = Found { undecided, ..f };
        } else {
            b.undecided |= undecided;
        }
    }
    let found = best.ok_or_else(|| match hidden_all {
        Some(s) => format!("it shows only {:.0} % of the rail, at least 50 % is needed", 100.0 * s),
        None => "no camera fits the board-like region".into(),
    })?;
    if found.rms_mm > MAX_RESIDUAL_MM {
        return Err(format!(
            "its contour is {:.1} mm rms off the scan's rim, the limit is {MAX_RESIDUAL_MM} mm",
            found.rms_mm
        ));
    }
    far_off(found.state.d)?;
    if found.edge_mm > MAX_EDGE_MM {
        let (mm, px) = (found.edge_mm, photo.file_px * found.edge_mm / found.state.camera.mm_per_px());
        return Err(format!(
            "it is blurred at the rail over {mm:.1} mm ({px:.1} pixels) or more, the limit is {MAX_EDGE_MM} mm"
        ));
    }
    let (w, h) = (photo.width as f64, photo.height as f64);
    let px = edge(&found.state).pixels(&found.state.camera, &|_| found.state.d);
    let out = px.iter().filter(|p| p[0] < 0.0 || p[1] < 0.0 || p[0] > w || p[1] > h).count() as f64 / px.len() as f64;
    if out > 0.0 {
        return Err(format!("{:.0} % of the rail lies outside the picture", (100.0 * out).ceil()));
    }
    Ok(found)
}
/// The border of a photo whose camera the scan's colours tell, with one displacement for the whole rim.
pub(super) fn placed(
    photo: &Picture,
    scene: &Scene,
    prior: &Prior,
    (camera, matches): (Camera, Vec<Match>),
    bands: &[f64],
) -> Result<Found, String> {
    let mut s = State::new(camera);
    let (w, h) = (photo.width as f64, photo.height as f64);
    let (mut rms, mut width_px, mut strays, mut unseen, mut border) = (0.0, 0.0, Vec::new(), Vec::new(), Vec::new());
    for b in bands {
        let mut places = at_rest(scene, &s);
        unseen = places.iter().map(|p| p.p[0] < 0.0 || p.p[1] < 0.0 || p.p[0] > w || p.p[1] > h).collect::<Vec<_>>();
        places.iter_mut().zip(&unseen).for_each(|(p, out)| p.hidden |= out);
        let found = edge::find(photo, &places, band(photo, *b));
        width_px = found.width_px;
        let off = |(p, o): (&Station, &f64)| (!p.hidden).then_some(o * s.camera.mm_per_px() + s.d);
        let off_mm: Vec<Option<f64>> = places.iter().zip(&found.offsets).map(off).collect();
        strays = if photo.drawn.is_some() { vec![None; places.len()] } else { scene.unfair_strays(&off_mm) };
        places.iter_mut().zip(&strays).for_each(|(p, s)| p.hidden |= s.is_some());
        let blank = unseen_places(photo, &places, &found.contrast, band(photo, *b), scene.reach.quarter_width());
        unseen.iter_mut().zip(&blank).for_each(|(u, blank)| *u |= blank);
        places.iter_mut().zip(&blank).for_each(|(p, blank)| p.hidden |= blank);
        border = off_mm.iter().zip(&places).map(|(o, p)| o.filter(|_| !p.hidden)).collect();
        let seen: Vec<f64> = border.iter().flatten().copied().collect();
        if seen.len() < STATIONS / PLACED_SEEN {
            return Err("it is placed by the scan's colours, but shows hardly any of the rail".into());
        }
        s.d = median(&seen);
        rms = mad_sigma(&seen) / s.camera.mm_per_px();
    }
    far_off(s.d)?;
    Ok(Found { matches, unseen, border_mm: border, ..Found::new(s, rms, width_px, strays, prior) })
}
/// Refuses a rail too far from the scan's rim to be the same board's.
pub(super) fn far_off(d: f64) -> Result<(), String> {
    if d.abs() <= MOST_DISPLACEMENT_MM {
        return Ok(());
    }
    let d = d.abs();
    Err(format!("the rail found in it lies {d:.0} mm off the scan's rim, the limit is {MOST_DISPLACEMENT_MM} mm"))
}
/// The border beside places where the rail is known to a few pixels.
pub(super) fn near(photo: &Picture, places: &[Station]) -> Edge {
    edge::find(photo, places, band(photo, BANDS[2]))
}
#[cfg(test)]
mod tests {
    use super::super::camera::{Lens, looking};
    use super::*;
    use nalgebra::{Rotation3, Vector3};
    /// By hand: the residuals' chi-squares differ by 32 ln 2, those of displacements of 2.4 and 0 mm by 0.64. The other face, with twice
    /// the residual, was once taken because it asks for no displacement.
    #[test]
    fn half_the_residual_says_more_than_a_usual_displacement() {
        let lens = LensPrior { focal: 1000.0, focal_sd: 0.03, centre: [800.0, 600.0], centre_sd: 0.005 };
        let prior = Prior { lens: &lens, tape: None };
        let found = |underside: bool, d: f64, rms_px: f64| {
            let camera = Camera {
                rotation: Rotation3::identity() * looking(underside),
                shift: Vector3::new(0.0, 0.0, 1000.0),
                lens: Lens { focal: 1000.0, k: [0.0; 2], centre: lens.centre },
            };
            Found::new(State { camera, d }, rms_px, 2.0, vec![None; 8], &prior)
        };
        let (right, wrong) = (found(true, 2.4, 0.6), found(false, 0.0, 1.2));
        assert!((right.against(&wrong) - (0.64 - 32.0 * 2f64.ln())).abs() < 1e-9);
        assert!(right.better(&wrong) && !wrong.better(&right));
        // of two that are about as likely the underside, whichever is tried first
        let (under, top) = (found(true, 0.0, 0.62), found(false, 0.0, 0.6));
        assert!(under.better(&top) && !top.better(&under));
    }
}
