//! Photos to an outline: each photo's camera and edge, then everything solved together.
use super::border::settle;
use super::camera::{Camera, Lens};
use super::edge::{self, Station};
use super::fair::{fair_closed, sampled};
use super::hidden::{hidden, spacing};
use super::joint::{Joint, Known, Seen, View, tape_sd_mm};
use super::overlay::overlay;
use super::photo::Picture;
use super::prior::{Believed, LensPrior, RimPrior, rounding};
use super::readings::SeenTrucks;
use super::rim::{CONTROLS, Rim, offset, outward};
use super::start::{HUBER_PX, Prior, State, fit, starts};
use super::{
    BoltHoles, MARK_PX, Outline, OutlineReport, OutlineSource, PhotoReport, RailError, STATIONS, ScannedBoard,
    contradiction, drawn, holes, known, region, search,
};
use crate::error::{Stage, Warned, Warning};
use crate::frame::{MOST_DISPLACEMENT_MM, Tape};
use crate::geom::{Polygon, length_and_width};
use crate::num::{each, rms};
use nalgebra::Point3;
use std::f64::consts::FRAC_PI_2;

/// Focal length over long side without EXIF data: 26 mm equivalent, the usual main camera of a phone.
const USUAL_FOCAL: f64 = 26.0 / 36.0;
/// Relative standard deviation of the focal length with EXIF data (whole mm, and the width of film or its diagonal is taken
/// for the standard's 35 mm: 4 % apart on 4 : 3) and without.
const FOCAL_SD: [f64; 2] = [0.03, 0.15];
/// Standard deviation of the principal point in focal lengths: of a whole picture (a lens's own, and its stabiliser's), and
/// of one cut on some side.
const CENTRE_SD: [f64; 2] = [0.005, 0.1];
/// Bands searched either side of the predicted rim, at a long side of `BAND_SIDE` pixels.
const BANDS: [f64; 3] = [60.0, 25.0, 12.0];
const BAND_SIDE: f64 = 2400.0;
/// Rounds of edge finding along the solved rail.
const ROUNDS: usize = 3;
/// A contour that is this far off the scan's rim, mm rms, is not the board's: scans lose up to some 5 mm.
const MAX_RESIDUAL_MM: f64 = 5.0;
/// A contour found by colour that is this far off the scan's rim, mm rms, is one to doubt: a usual scan's loss and the scatter
/// beside it, some 2 mm each; below it a second search would cost time for nothing.
const DOUBTFUL_MM: f64 = 3.0;
/// Edges wider than this, mm, are no measurement: a quarter of it either way is what the worst scan's rim already tells.
const MAX_EDGE_MM: f64 = 6.0;
/// Least share of the rail that must be in sight.
const MIN_SEEN_RATIO: f64 = 0.5;
/// Two turns or faces are undecided when the worse one's residual is less than this times the better one's.
const UNDECIDED: f64 = 1.1;
/// Where no colour parts the board from the floor, its border must be this much clearer than what is found beside it: noise
/// and texture alone come out alike within a tenth or two.
const CLEARER: f64 = 1.5;
/// The surface is less sure at its border than at its middle: a cubic's end has about twice the standard error.
const BORDER_FACTOR: f64 = 2.0;
/// A cut-out's border is as sharp as it was drawn, but a hand (or what cut it out for the hand) follows the rail within a
/// pixel or so all along: the edge width whose bias has that standard deviation, a quarter to either side by a uniform law.
const HAND_WIDTH_PX: f64 = 4.0 * 1.732_050_807_568_877_2 * MARK_PX;
/// Width of the band at the rim that the surface is carried over, mm.
const RIM_BAND_MM: f64 = 8.0;

/// A decoded photo with what is known in it.
pub(super) struct Shot {
    pub picture: Picture,
    pub known: Vec<Known>,
    /// What was drawn over it by hand, "mask" or "path".
    pub drawn: Option<&'static str>,
}
struct Found {
    state: State,
    rms_mm: f64,
    edge_mm: f64,
    undecided: bool,
}
impl Found {
    /// How far its contour is off the scan's rim, mm rms: what moves all of it alike tells of a wrong one as well.
    fn off_mm(&self) -> f64 {
        self.rms_mm.hypot(self.state.d)
    }
}
fn lens_prior(p: &Picture) -> LensPrior {
    LensPrior {
        focal: p.focal_px.unwrap_or(USUAL_FOCAL * p.width.max(p.height) as f64),
        // a cut leaves the EXIF focal length in pixels unknown as well
        focal_sd: FOCAL_SD[usize::from(p.focal_px.is_none() || p.cropped)],
        centre: [p.width as f64 / 2.0, p.height as f64 / 2.0],
        centre_sd: CENTRE_SD[usize::from(p.cropped)],
    }
}
/// Places along the rail in the photo, with what stands in front of it.
fn stations(
    c: &Camera,
    rim: &Rim,
    d: &dyn Fn(usize) -> f64,
    standing: &[Point3<f64>],
    apart: Option<f64>,
) -> Vec<Station> {
    let px = rim.pixels(c, d);
    let normals = outward(&px);
    // seen from the top side nothing stands in front
    let posts: Vec<[f64; 2]> =
        if c.sees_underside() { standing.iter().map(|p| c.project([p.x, p.y, p.z])).collect() } else { Vec::new() };
    let covered = hidden(&px, &posts, apart, c.lens.focal / c.shift.z.abs());
    (0..px.len()).map(|i| Station { p: px[i], n: normals[i], hidden: covered[i] }).collect()
}
/// The border's pixels, with how the rail turns away at each station; an offset is missing where the border is not seen.
fn seen(stations: &[Station], offset: impl Fn(usize) -> Option<f64>, turn: impl Fn(usize) -> f64) -> Vec<Seen> {
    let at = |i: usize| {
        let (s, o) = (&stations[i], offset(i)?);
        Some(Seen { station: i, px: [0, 1].map(|k| s.p[k] + o * s.n[k]), normal: s.n, turn: turn(i) })
    };
    (0..stations.len()).filter(|&i| !stations[i].hidden).filter_map(at).collect()
}
/// How far inside the rail its rounded edge is seen, in radii of the rounding: where the ray that touches the round meets the
/// surface carried out to the rail.
fn turn(c: &Camera, rim: &Rim, i: usize, d: f64) -> f64 {
    let (p, n) = (rim.point(i, d), rim.normal[i]);
    let eye = c.rotation.inverse() * -c.shift;
    let out = (p[0] - eye.x) * n[0] + (p[1] - eye.y) * n[1];
    let a = out.atan2((eye.z - p[2]).abs());
    let z = rim.z.derivatives(p[0], p[1]);
    let slope = (z[1] * n[0] + z[2] * n[1]) * (eye.z - p[2]).signum();
    1.0 - (1.0 - a.sin()) / (a.cos() + slope * a.sin())
}
fn band(photo: &Picture, at_2400: f64) -> usize {
    ((at_2400 * photo.width.max(photo.height) as f64 / BAND_SIDE).round() as usize).max(4)
}
/// The camera of one photo alone, with one displacement for the whole rim: from where its colours part the board from the
/// floor; where that fits ill (a shadow taken for board, ends painted like the floor) or not at all, also from where the rim
/// lies on borders of any kind.
fn find(
    photo: &Picture,
    rim: &Rim,
    standing: &[Point3<f64>],
    apart: Option<f64>,
    prior: &Prior,
) -> Result<Found, String> {
    let stations = |s: &State| stations(&s.camera, rim, &|_| s.d, standing, apart);
    let best = |starts: &[State]| best(photo, rim, starts, &stations, prior);
    let by_colour = region::board_border(photo).and_then(|border| best(&starts(photo, &border, rim, prior)));
    let well = by_colour.as_ref().is_ok_and(|f| f.off_mm() <= DOUBTFUL_MM);
    if photo.cut_out || well {
        return by_colour;
    }
    let found = best(&search::starts(photo, rim, prior)).ok().filter(|f| f.off_mm() <= DOUBTFUL_MM);
    match (found, by_colour) {
        (Some(f), Ok(c)) => Ok(if f.off_mm() < c.off_mm() { f } else { c }),
        // no colour speaks of a board: its border must
        (Some(f), Err(why)) => stands_out(photo, &stations(&f.state)).then_some(f).ok_or(why),
        (None, by_colour) => by_colour,
    }
}
/// Whether the border is clearer where the rail is than beside it on either side.
fn stands_out(photo: &Picture, places: &[Station]) -> bool {
    let band = band(photo, BANDS[2]);
    let contrast = |sign: f64| {
        let by = sign * 3.0 * band as f64;
        let moved = |s: &Station| Station { p: [0, 1].map(|k| s.p[k] + by * s.n[k]), ..*s };
        edge::find(photo, &places.iter().map(moved).collect::<Vec<_>>(), band).contrast
    };
    contrast(0.0) > CLEARER * contrast(-1.0).max(contrast(1.0))
}
/// The best camera from these starts.
fn best(
    photo: &Picture,
    rim: &Rim,
    starts: &[State],
    stations: &(dyn Fn(&State) -> Vec<Station> + Sync),
    prior: &Prior,
) -> Result<Found, String> {
    // from each start: state, rms residual and edge width in pixels, or the share of the rail in sight where that is too little
    let tried = each(starts.len(), |k| {
        let mut s = starts[k].clone();
        let (mut rms, mut width_px) = (f64::INFINITY, 0.0);
        for b in BANDS {
            let band = band(photo, b);
            let places = stations(&s);
            let share = places.iter().filter(|s| !s.hidden).count() as f64 / places.len() as f64;
            if share < MIN_SEEN_RATIO {
                return Err(share);
            }
            let found = edge::find(photo, &places, band);
            width_px = found.width_px;
            rms = fit(
                &mut s,
                rim,
                &seen(&places, |i| Some(found.offsets[i]), |_| 0.0),
                prior,
                HUBER_PX.max(band as f64 / 10.0),
            );
        }
        Ok((s, rms, width_px))
    });
    let mut best: Option<Found> = None;
    let mut hidden_all = None;
    for tried in tried {
        let (s, rms, width_px) = match tried {
            Ok(found) => found,
            Err(share) => {
                hidden_all = Some(share);
                continue;
            }
        };
        let mm_per_px = s.camera.shift.z.abs() / s.camera.lens.focal;
        let (rms_mm, edge_mm) = (rms * mm_per_px, width_px * mm_per_px);
        if !rms_mm.is_finite() {
            continue;
        }
        match &mut best {
            None => best = Some(Found { state: s, rms_mm, edge_mm, undecided: false }),
            Some(b) => {
                let under = (b.state.camera.sees_underside(), s.camera.sees_underside());
                // a board alike on both faces is taken to show its underside, as asked
                let prefer = under.1 && !under.0;
                let close = rms_mm.max(b.rms_mm) < UNDECIDED * rms_mm.min(b.rms_mm);
                let turned = b.state.camera.rotation.angle_to(&s.camera.rotation) > FRAC_PI_2;
                let undecided = close && under.0 == under.1 && turned;
                if (close && prefer) || (!close && rms_mm < b.rms_mm) {
                    *b = Found { state: s, rms_mm, edge_mm, undecided };
                } else {
                    b.undecided |= undecided;
                }
            }
        }
    }
    let found = best.ok_or_else(|| match hidden_all {
        Some(s) => format!("only {:.0} % of the rail is in sight, at least 50 % is needed", 100.0 * s),
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
        return Err(format!("it is blurred over {:.0} mm at the rail, the limit is {MAX_EDGE_MM} mm", found.edge_mm));
    }
    let (w, h) = (photo.width as f64, photo.height as f64);
    let px = rim.pixels(&found.state.camera, &|_| found.state.d);
    let out = px.iter().filter(|p| p[0] < 0.0 || p[1] < 0.0 || p[0] > w || p[1] > h).count() as f64 / px.len() as f64;
    if out > 0.0 {
        return Err(format!("{:.0} % of the rail lies outside the picture", (100.0 * out).ceil()));
    }
    Ok(found)
}
/// Refuses a rail too far from the scan's rim to be the same board's.
fn far_off(d: f64) -> Result<(), String> {
    if d.abs() <= MOST_DISPLACEMENT_MM {
        return Ok(());
    }
    let d = d.abs();
    Err(format!("the rail found in it lies {d:.0} mm off the scan's rim, the limit is {MOST_DISPLACEMENT_MM} mm"))
}
/// How unlike the rim is to itself turned by half a turn, mm rms.
fn turned_rms(rim: &Rim) -> f64 {
    let p = Polygon { points: rim.plan.clone() };
    let (lo, hi) = p.bounds();
    let coarse = p.resampled(STATIONS / 8);
    let sum: f64 =
        coarse.points.iter().map(|q| p.signed_distance([lo[0] + hi[0] - q[0], lo[1] + hi[1] - q[1]]).powi(2)).sum();
    (sum / coarse.points.len().max(1) as f64).sqrt()
}
/// The surface's standard deviation under the rail: its own at the border, and what bending on over the rim band may add.
fn surface_sd(rim: &Rim, standard_error_mm: f64) -> Vec<f64> {
    (0..CONTROLS)
        .map(|k| {
            let i = k * STATIONS / CONTROLS;
            let [x, y] = rim.plan_point(i, -RIM_BAND_MM);
            let (d, n) = (rim.z.derivatives(x, y), rim.normal[i]);
            let bend = d[3] * n[0] * n[0] + 2.0 * d[4] * n[0] * n[1] + d[5] * n[1] * n[1];
            (BORDER_FACTOR * standard_error_mm).hypot(bend * RIM_BAND_MM * RIM_BAND_MM / 2.0).max(0.02)
        })
        .collect()
}
/// Photos of one size and focal length are taken with one lens.
fn lenses(shots: &[&Shot]) -> (Vec<LensPrior>, Vec<usize>) {
    let (mut keys, mut priors, mut of) = (Vec::new(), Vec::new(), Vec::new());
    for s in shots {
        let p = &s.picture;
        let key = (p.width, p.height, p.focal_px.map(f64::to_bits));
        let at = keys.iter().position(|k| *k == key).unwrap_or_else(|| {
            keys.push(key);
            priors.push(lens_prior(p));
            keys.len() - 1
        });
        of.push(at);
    }
    (priors, of)
}
/// The outline the photos show; `Err` holds for each photo half a sentence why it shows none.
pub(super) fn from_photos(shots: &[Shot], board: &ScannedBoard, tape: &Tape) -> Result<Warned<Outline>, String> {
    let (underside, standing) = (board.underside, board.standing);
    let rim = Rim::new(board.rim, &underside.z).ok_or("the scan's rim is degenerate")?;
    let apart = spacing(standing);
    let size = length_and_width(&rim.plan);
    let told = tape.rim_displacement(size.0, size.1).zip(tape.length_mm).map(|(d, l)| {
        let ratio = l / tape.width_mm;
        // d depends on length - ratio x width, both read with the tape
        [d, tape_sd_mm(tape) * ratio.hypot(1.0) / (2.0 * (ratio - 1.0))]
    });
    let mut warnings = Vec::new();
    let (mut used, mut found, mut why) = (Vec::new(), Vec::new(), Vec::new());
    for (k, shot) in shots.iter().enumerate() {
        let lens = lens_prior(&shot.picture);
        let prior = Prior { lens: &lens, tape: told, rim_size: size };
        match find(&shot.picture, &rim, standing, apart, &prior) {
            Ok(f) => {
                used.push((k, shot));
                found.push(f);
            }
            Err(e) => why.push(format!("photo {}: {e}", k + 1)),
        }
    }
    if found.is_empty() {
        return Err(why.join("; "));
    }
    for w in why {
        warnings.push(Warning::new(
            Stage::Outline,
            format!("{w}; it is left out"),
            "take it again, or take it out of the board file",
        ));
    }
    let only: Vec<&Shot> = used.iter().map(|u| u.1).collect();
    let (lenses, of) = lenses(&only);
    let firsts: Vec<Lens> = (0..lenses.len())
        .map(|l| found[of.iter().position(|o| *o == l).unwrap_or(0)].state.camera.lens.clone())
        .collect();
    let views = found
        .iter()
        .zip(&of)
        .map(|(f, &lens)| View {
            camera: Camera { lens: firsts[lens].clone(), ..f.state.camera.clone() },
            lens,
            seen: Vec::new(),
            known: Vec::new(),
            bias_px: 0.0,
            width_px: 0.0,
            sigma_px: HUBER_PX,
            together: 1.0,
        })
        .collect();
    let d = found.iter().map(|f| f.state.d).sum::<f64>() / found.len() as f64;
    let believed = Believed {
        lenses,
        rim: RimPrior::new(&rim, board.rim_doubt_mm),
        surface_sd: surface_sd(&rim, underside.report.noise_error_mm),
        radius: rounding(board.thickness_mm, board.rail_radius_mm),
    };
    let mut joint = Joint::new(&rim, tape, believed, views, d).ok_or("its measurements do not fit together")?;
    for v in 0..only.len() {
        joint.views[v].known =
            known::on_board(&only[v].known, &found[v].state.camera, &rim, used[v].0 + 1, &mut warnings);
    }
    joint.trucks = board.trucks;
    let mut covered = vec![vec![false; STATIONS]; only.len()];
    let mut converged = false;
    for _ in 0..ROUNDS {
        for v in 0..only.len() {
            let photo = &only[v].picture;
            let places = stations(&joint.views[v].camera, &rim, &|i| offset(&joint.d, i), standing, apart);
            covered[v] = places.iter().map(|p| p.hidden).collect();
            let found = edge::find(photo, &places, band(photo, BANDS[2]));
            joint.views[v].width_px =
                if photo.cut_out { found.width_px.max(HAND_WIDTH_PX / photo.file_px) } else { found.width_px };
            let border = settle(photo, &places, &found);
            let turn = |i: usize| turn(&joint.views[v].camera, &rim, i, offset(&joint.d, i));
            joint.views[v].seen = seen(&places, |i| border[i], turn);
        }
        for _ in 0..2 {
            joint.solve();
            joint.weigh();
            joint.choose_rim_sd();
        }
        converged = joint.solve();
    }
    let failed = "the solve of camera and rail does not converge";
    let mut covariance = joint.covariance().filter(|_| converged).ok_or(failed)?;
    if tape.wheelbase_mm.is_some() {
        joint.seen_trucks = (0..only.len()).find_map(|v| {
            let (holes, _) = holes::find(&joint, &covariance, v, &only[v].picture, standing)?;
            Some(SeenTrucks::new(&joint, v, &holes))
        });
        if joint.seen_trucks.is_some() || joint.trucks.is_some() {
            // a reading that says otherwise than all before moves the solve far
            let converged = joint.solve() || joint.solve();
            covariance = joint.covariance().filter(|_| converged).ok_or(failed)?;
        }
    }
    joint.d.iter().try_for_each(|d| far_off(*d))?;
    for (v, (k, shot)) in used.iter().enumerate() {
        let Some(what) = shot.drawn else { continue };
        let lens = lens_prior(&shot.picture);
        let prior = Prior { lens: &lens, tape: told, rim_size: size };
        let bare = Picture { cut_out: false, ..shot.picture.clone() };
        // a photo that shows no edge of its own cannot tell: that is why something was drawn over it
        let Ok(own) = find(&bare, &rim, standing, apart, &prior) else { continue };
        if own.rms_mm < contradiction::UNEVEN_MM {
            let rail = rim.pixels(&joint.views[v].camera, &|i| offset(&joint.d, i));
            let own = (&own.state.camera, own.state.d);
            warnings.extend(drawn::beside(what, k + 1, &rail, &rim, own, shot.picture.file_px));
        }
    }
    finish(&joint, &covariance, &used, &found, &covered, standing, warnings)
}
fn finish(
    joint: &Joint,
    covariance: &nalgebra::DMatrix<f64>,
    used: &[(usize, &Shot)],
    found: &[Found],
    covered: &[Vec<bool>],
    standing: &[Point3<f64>],
    mut warnings: Vec<Warning>,
) -> Result<Warned<Outline>, String> {
    let rim = joint.rim;
    let s = joint.ln_scale.exp();
    let bridged: Vec<bool> = (0..STATIONS).map(|i| covered.iter().all(|c| c[i])).collect();
    let bridged_ratio = bridged.iter().filter(|b| **b).count() as f64 / STATIONS as f64;
    if bridged_ratio > 0.0 {
        let text =
            format!("{:.0} % of the rail is hidden in the photo and follows the scan's rim", 100.0 * bridged_ratio);
        warnings.push(Warning::new(Stage::Outline, text, "take the trucks off, or check the outline there"));
    }
    let mut photos = Vec::new();
    let mut bolt_holes: Option<BoltHoles> = None;
    let mut seen_trucks = None;
    for (v, view) in joint.views.iter().enumerate() {
        let (number, picture) = (used[v].0 + 1, &used[v].1.picture);
        let rms = rms(&joint.residuals(view));
        let mm_per_px = view.camera.shift.z.abs() / view.camera.lens.focal;
        let px = picture.file_px;
        let lens = &view.camera.lens;
        let shows_underside = view.camera.sees_underside();
        if !shows_underside {
            let text = format!("photo {number} shows the top side; its rail is taken mirrored");
            warnings.push(Warning::new(Stage::Outline, text, "a photo of the underside shows the edge that is wanted"));
        }
        if found[v].undecided && turned_rms(rim) > joint.rim_sd_mm[0].max(1.0) {
            let text = format!("photo {number} fits nearly as well turned by 180 degrees");
            warnings.push(Warning::new(Stage::Outline, text, "check which end is the nose in photo-outline.jpg"));
        }
        warnings.extend(contradiction::rail(number, found[v].rms_mm, joint));
        warnings.extend(contradiction::lens(number, lens, &joint.believed.lenses[view.lens], px));
        let scan: Vec<[f64; 2]> = rim.pixels(&view.camera, &|_| 0.0);
        let rail: Vec<[f64; 2]> = rim.pixels(&view.camera, &|i| offset(&joint.d, i));
        let (holes, hole_px) = holes::find(joint, covariance, v, picture, standing).unzip();
        seen_trucks = seen_trucks.or(holes.as_ref().map(|h| SeenTrucks::new(joint, v, h)));
        bolt_holes = bolt_holes.or(holes.map(|h| BoltHoles { photo: number, ..h }));
        let hole_px = hole_px.unwrap_or_default();
        photos.push(PhotoReport {
            number,
            residual_px: rms * px,
            residual_mm: rms * mm_per_px * s,
            focal_px: lens.focal * px,
            k: lens.k,
            principal_point_px: lens.centre.map(|c| c * px),
            distance_mm: (view.camera.rotation.inverse() * -view.camera.shift).norm() * s,
            shows_underside,
            hidden_ratio: covered[v].iter().filter(|c| **c).count() as f64 / STATIONS as f64,
            known: known::report(joint, v, number, &mut warnings),
            picture: overlay(picture, &scan, &rail, &covered[v], &hole_px).map_err(|e| e.message().to_owned())?,
        });
    }
    warnings.extend(bolt_holes.as_ref().and_then(BoltHoles::contradiction));
    let points: Vec<[f64; 2]> = (0..STATIONS).map(|i| rim.plan_point(i, offset(&joint.d, i))).collect();
    let curve = fair_closed(&points).ok_or("its contour is degenerate")?;
    if (Polygon { points: sampled(&curve, STATIONS) }).crosses_itself() {
        return Err("its contour crosses itself".into());
    }
    let (mean, mean_sd) = joint.mean_offset(covariance);
    let along = (0..CONTROLS).map(|k| k * STATIONS / CONTROLS);
    let rail: Vec<RailError> = along
        .map(|i| {
            let p = points[i];
            RailError {
                x_mm: s * p[0],
                y_mm: s * p[1],
                standard_error_mm: joint.standard_error(covariance, i),
                from_scan_rim_mm: s * offset(&joint.d, i),
                bridged: bridged[i],
            }
        })
        .collect();
    let report = OutlineReport {
        residual_px: photos.first().map(|p| p.residual_px),
        residual_mm: photos.first().map(|p| p.residual_mm),
        rim_displacement_mm: Some(s * mean),
        rim_displacement_sd_mm: Some(s * mean_sd),
        rail_radius_mm: Some(s * joint.radius),
        rail_radius_sd_mm: Some(s * Joint::radius_sd(covariance)),
        scan_rim_sd_mm: Some(joint.rim_sd_mm[0].hypot(joint.rim_sd_mm[1])),
        focal_px: photos.first().map(|p| p.focal_px),
        k1: photos.first().map(|p| p.k[0]),
        bridged_ratio,
        photos,
        bolt_holes,
        rail,
    };
    let source = if used.iter().all(|u| u.1.picture.cut_out) { OutlineSource::CutOut } else { OutlineSource::Photo };
    let value = Outline {
        curve,
        source,
        scale_factor: s,
        scale_relative_uncertainty: Joint::scale_sd(covariance),
        tape: joint.tape_report(covariance, seen_trucks),
        report,
    };
    Ok(Warned::with(value, warnings))
}
