//! Photos to an outline: each photo's camera and edge, then everything solved together.
use super::alone::{ALONE_SIDE, BANDS, Found, Scene, at_rest, far_off, find, near, or_cut, placed, seen};
use super::border::settle;
use super::graphic::Graphic;
use super::joint::{Joint, Known, Turn, View};
use super::outcome::{Solved, outcome};
use super::photo::Picture;
use super::prior::{Believed, LensPrior, RimPrior, rounding};
use super::readings::SeenTrucks;
use super::rim::{CONTROLS, Rim, offset};
use super::seen_rim::seen_rim;
use super::start::{HUBER_PX, Prior};
use super::{MARK_PX, Outline, STATIONS, ScannedBoard, by_colours, contradiction, drawn, holes, known, squeezed};
use crate::error::{Stage, Warned, Warning};
use crate::frame::{Tape, tape_sd_mm};
use crate::geom::offset_height;
use nalgebra::DMatrix;
use std::borrow::{Borrow, Cow};

/// Rounds of edge finding along the solved rail.
const ROUNDS: usize = 3;
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
}
/// Where the border of the rail is seen beside the rail's edge: on the side away from the camera the ray that touches the edge's rounding is the last
/// that meets the board; on the camera's own side its wall is in sight, and the last ray touches the rounding of its far edge. Both rays
/// are followed to the surface carried out to the rail. `eye_out` is how far outside of the edge the camera is, `eye_up` how far above it,
/// `slope` the surface's towards the camera, outwards; the far edge is `far_out` outside of the near one and `depth` below it.
fn turn([eye_out, eye_up]: [f64; 2], slope: f64, [far_out, depth]: [f64; 2], radius: f64) -> Turn {
    let (sin, cos) = eye_out.atan2(eye_up).sin_cos();
    let steep = cos - slope * sin;
    let near = Turn { radii: 1.0 - (1.0 + sin) / steep, wall_mm: 0.0 };
    let far = Turn { radii: 1.0 - (1.0 - sin) / steep, wall_mm: (far_out * cos + depth * sin) / steep };
    let out = |t: &Turn| t.wall_mm - radius * t.radii;
    if sin > 0.0 && out(&far) > out(&near) { far } else { near }
}
/// The same at a station of a view that lies `d` mm outside the rim.
fn turned(v: &View, far: &Rim, i: usize, d: f64, radius: f64) -> Turn {
    let (p, q, n, c) = (v.edge.point(i, d), far.point(i, d), v.edge.normal[i], &v.camera);
    let eye = c.rotation.inverse() * -c.shift;
    let out = |a: [f64; 2]| a[0] * n[0] + a[1] * n[1];
    let up = (eye.z - p[2]).signum();
    let z = v.edge.z.slopes(p[0], p[1]);
    let slope = up * out([z[1], z[2]]);
    let eye = [out([eye.x - p[0], eye.y - p[1]]), (eye.z - p[2]).abs()];
    turn(eye, slope, [out([q[0] - p[0], q[1] - p[1]]), up * (p[2] - q[2])], radius)
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
/// Photos of one size and focal length are taken with one lens; one that has been cut has a middle of its own, and is taken for another
/// lens's.
fn lenses(shots: &[&Shot], found: &[Found]) -> (Vec<LensPrior>, Vec<usize>) {
    let (mut keys, mut priors, mut of) = (Vec::new(), Vec::new(), Vec::new());
    for (k, (s, f)) in shots.iter().zip(found).enumerate() {
        let p = &s.picture;
        let key = (p.width, p.height, p.focal_px.map(f64::to_bits), f.lens.is_cut().then_some(k));
        let at = keys.iter().position(|k| *k == key).unwrap_or_else(|| {
            keys.push(key);
            priors.push(f.lens.clone());
            keys.len() - 1
        });
        of.push(at);
    }
    (priors, of)
}
/// Why the unknowns of all photos are not found.
const FAILED: &str = "the solve of camera and rail does not converge";

/// Whether width and length are all that was measured: either may be wrong, and each is judged by what the photos show without the length.
fn only_two<S: Borrow<Shot>>(tape: &Tape, shots: &[S]) -> bool {
    let more =
        tape.wheelbase_mm.is_some() || !tape.stations.is_empty() || shots.iter().any(|s| !s.borrow().known.is_empty());
    tape.length_mm.is_some() && !more
}
/// The rim's displacement that the tape's two readings speak of before any photo, mm, with its standard deviation.
fn told(rim: &Rim, tape: &Tape) -> Option<[f64; 2]> {
    let ratio = tape.length_mm? / tape.width_mm;
    let d = tape.rim_displacement(rim.size.0, rim.size.1)?;
    // it depends on length - ratio x width, both read with the tape
    Some([d, tape_sd_mm(tape) * ratio.hypot(1.0) / (2.0 * (ratio - 1.0))])
}
/// A photo as it is looked at alone, with its lens, and how many of its pixels go to one.
fn small(photo: &Picture) -> (Cow<'_, Picture>, LensPrior, f64) {
    let large = photo.width.max(photo.height) > ALONE_SIDE;
    let seen = if large { Cow::Owned(photo.at_most(ALONE_SIDE)) } else { Cow::Borrowed(photo) };
    let (lens, by) = (LensPrior::of(&seen), seen.file_px / photo.file_px);
    (seen, lens, by)
}
/// What a photo shows by itself.
fn by_itself(photo: &Picture, scene: &Scene, tape: Option<[f64; 2]>) -> Result<Found, String> {
    let (seen, lens, by) = small(photo);
    let prior = Prior { lens: &lens, tape };
    if let Some(found) = by_colours::sure(&seen, scene, &prior) {
        return Ok(found.enlarged(by));
    }
    let found = find(&seen, scene, &prior);
    if let Some(found) = by_colours::beside(&seen, scene, &prior, &found) {
        return Ok(found.enlarged(by));
    }
    let found = squeezed::refused(&seen, scene, &prior, found)?;
    let found = by_colours::refused(&seen, scene, &prior, found)?;
    Ok(or_cut(&seen, scene, &prior, found).enlarged(by))
}
/// The same of a photo whose camera is known, beside another rim.
fn again(photo: &Picture, scene: &Scene, tape: Option<[f64; 2]>, found: Found) -> Result<Found, String> {
    if found.matches.is_empty() {
        return by_itself(photo, scene, tape);
    }
    let (seen, lens, by) = small(photo);
    let Found { state, matches, undecided, .. } = found.enlarged(1.0 / by);
    let prior = Prior { lens: &lens, tape };
    let mut found = placed(&seen, scene, &prior, (state.camera, matches), &BANDS[2..])?;
    found.undecided = undecided;
    Ok(found.enlarged(by))
}
/// The photos that serve, with their places among all, what is found in each, and half a sentence of each that does not.
#[derive(Default)]
struct LookedAt<'a> {
    used: Vec<(usize, &'a Shot)>,
    found: Vec<Found>,
    why: Vec<String>,
    /// The rim's displacement by the tape with which they were looked at.
    told: Option<[f64; 2]>,
}
impl<'a> LookedAt<'a> {
    fn add(&mut self, at: (usize, &'a Shot), found: Result<Found, String>) {
        match found {
            Ok(f) => {
                self.used.push(at);
                self.found.push(f);
            }
            Err(e) => self.why.push(format!("photo {}: {e}", at.0 + 1)),
        }
    }
}
/// The scan's rim itself, but for where something stands in front of it in a photo: what that is melts into it.
fn in_sight(found: &[Found], scene: &Scene) -> Vec<Option<f64>> {
    let mut off = vec![Some(0.0); STATIONS];
    for place in found.iter().map(|f| at_rest(scene, &f.state)) {
        off.iter_mut().zip(place).filter(|(_, p)| p.hidden).for_each(|(off, _)| *off = None);
    }
    off
}
/// The outline the photos show; `Err` holds for each photo half a sentence why it shows none.
pub(super) fn from_photos(shots: &[Shot], board: &ScannedBoard, tape: &Tape) -> Result<Warned<Outline>, String> {
    let rim = Rim::new(board.rim, &board.underside.z).ok_or("the scan's rim is degenerate")?;
    // a top that folds is told of when the deck is made
    let inside = |x: f64, y: f64| board.rim.contains([x, y]);
    let top_z = offset_height(rim.z, -board.thickness_mm, inside).unwrap_or_else(|_| rim.z.clone());
    let top = rim.other_edge(&top_z, board.thickness_mm, board.rim_lean);
    let graphic = |rim| board.painted.map(|p| Graphic::new(p, rim));
    let scene = Scene::new(&rim, &top, board.standing, graphic(&rim));
    let look = |told: Option<[f64; 2]>| {
        let mut looked = LookedAt { told, ..LookedAt::default() };
        shots.iter().enumerate().for_each(|(k, shot)| looked.add((k, shot), by_itself(&shot.picture, &scene, told)));
        looked
    };
    // of two readings either may be wrong: only where a photo shows nothing by itself it is looked at with their word
    let told = told(&rim, tape);
    let mut looked = look(told.filter(|_| !only_two(tape, shots)));
    if looked.found.is_empty() && looked.told != told {
        looked = look(told);
    }
    // where colours place a camera its border is nearer to the rail than the scan's rim
    let placed = looked.found.iter().find(|f| !f.matches.is_empty());
    let nearer = match placed {
        Some(f) => seen_rim(&f.border_mm, &rim),
        None => Some(in_sight(&looked.found, &scene))
            .filter(|off| off.iter().any(Option::is_none))
            .and_then(|off| seen_rim(&off, &rim)),
    };
    let nearer = nearer.and_then(|p| Rim::new(&p, rim.z));
    let Some(nearer) = nearer else { return together(board, tape, &rim, &scene, looked) };
    let top = nearer.other_edge(&top_z, board.thickness_mm, board.rim_lean);
    let scene = Scene::new(&nearer, &top, board.standing, graphic(&nearer));
    let LookedAt { used, found, why, told } = looked;
    let mut looked = LookedAt { why, told, ..LookedAt::default() };
    used.into_iter().zip(found).for_each(|(at, f)| looked.add(at, again(&at.1.picture, &scene, told, f)));
    together(board, tape, &rim, &scene, looked)
}
/// The outline of what was found in the photos of a scene, its rim and the tape together; `scanned` is the scan's rim.
fn together(
    board: &ScannedBoard,
    tape: &Tape,
    scanned: &Rim,
    scene: &Scene,
    LookedAt { used, found, why, told }: LookedAt,
) -> Result<Warned<Outline>, String> {
    let rim = scene.rim;
    let mut warnings = Vec::new();
    if found.is_empty() {
        return Err(why.join("; "));
    }
    warnings.extend(why.into_iter().map(|w| {
        let hint = "take it again, or take it out of the board file";
        Warning::new(Stage::Outline, format!("{w}; it is left out"), hint)
    }));
    // where colours place a camera, what the rim has lost is measured
    let by_colours = found.iter().any(|f| !f.matches.is_empty());
    let only: Vec<&Shot> = used.iter().map(|u| u.1).collect();
    let (lenses, of) = lenses(&only, &found);
    let believed = Believed {
        lenses,
        rim: RimPrior::new(
            rim,
            board.rim_doubt_mm.map(|mm| if by_colours { mm.max(contradiction::LOST_MM) } else { mm }),
        ),
        surface_sd: surface_sd(rim, board.underside.report.noise_error_mm),
        radius: rounding(board.thickness_mm, board.rail_radius_mm),
    };
    let d = found.iter().map(|f| f.state.d).sum::<f64>() / found.len() as f64;
    let begun = |tape| {
        let joint = Joint::new(rim, tape, believed.clone(), views(&found, &of, scene), d);
        joint.ok_or("its measurements do not fit together")
    };
    let mut joint = begun(tape)?;
    for v in 0..only.len() {
        joint.views[v].known = known::on_board(&only[v].known, &joint.views[v], used[v].0 + 1, &mut warnings);
    }
    joint.trucks = board.trucks;
    let covered = settled(&mut joint, &only, &found, scene)?;
    let holes: Vec<Option<holes::Seen>> =
        (0..only.len()).map(|v| holes::find(&joint, v, &only[v].picture, scene.standing)).collect();
    let covariance = with_trucks(&mut joint, &holes)?;
    joint.d.iter().try_for_each(|d| far_off(*d))?;
    for (v, (k, shot)) in used.iter().enumerate() {
        let Some(what) = shot.picture.drawn else { continue };
        let bare = Picture { cut_out: false, drawn: None, ..shot.picture.clone() };
        // a photo that shows no edge of its own cannot tell: that is why something was drawn over it
        let Ok(own) = by_itself(&bare, scene, told) else { continue };
        if own.rms_mm < contradiction::UNEVEN_MM {
            let edge = scene.edge(own.state.camera.sees_underside());
            let own = (&own.state.camera, own.state.d);
            let rail = joint.rail_px(&joint.views[v]);
            warnings.extend(drawn::beside(what, k + 1, &rail, edge, own, shot.picture.file_px));
        }
    }
    let without = Tape { length_mm: None, ..tape.clone() };
    let free = only_two(tape, &only).then(|| {
        let mut joint = begun(&without).ok()?;
        settled(&mut joint, &only, &found, scene).ok()?;
        Some(joint.length(&joint.covariance()?))
    });
    let solved = Solved {
        joint: &joint,
        scanned,
        covariance: &covariance,
        used: &used,
        found: &found,
        covered: &covered,
        holes: &holes,
        free: free.flatten(),
    };
    outcome(&solved, warnings)
}
/// A view of each photo as it was found alone; photos of one lens begin with the first one's.
fn views<'a>(found: &[Found], lens_of: &[usize], scene: &Scene<'a>) -> Vec<View<'a>> {
    let first = |lens: usize| &found[lens_of.iter().position(|l| *l == lens).unwrap_or(0)].state.camera.lens;
    let view = |(f, &lens): (&Found, &usize)| View {
        edge: scene.edge(f.state.camera.sees_underside()),
        camera: f.state.camera.with(first(lens)),
        lens,
        seen: Vec::new(),
        known: Vec::new(),
        matches: f.matches.clone(),
        bias_px: 0.0,
        width_px: 0.0,
        sigma_px: HUBER_PX,
        together: 1.0,
    };
    found.iter().zip(lens_of).map(view).collect()
}
/// Finds the borders along the solved rail and solves again, in turns; the stations each photo does not see.
fn settled(joint: &mut Joint, shots: &[&Shot], alone: &[Found], scene: &Scene) -> Result<Vec<Vec<bool>>, String> {
    let mut covered = Vec::new();
    let mut converged = false;
    for _ in 0..ROUNDS {
        covered.clear();
        for v in 0..shots.len() {
            let photo = &shots[v].picture;
            let mut places = scene.stations(&joint.views[v].camera, &|i| offset(&joint.d, i));
            places.iter_mut().zip(&alone[v].strays_mm).for_each(|(p, s)| p.hidden |= s.is_some());
            places.iter_mut().zip(&alone[v].unseen).for_each(|(p, unseen)| p.hidden |= unseen);
            let found = near(photo, &places);
            joint.views[v].width_px =
                if photo.cut_out { found.width_px.max(HAND_WIDTH_PX / photo.file_px) } else { found.width_px };
            let border = settle(photo, &places, &found);
            let far = scene.edge(!joint.views[v].camera.sees_underside());
            let turn = |i: usize| turned(&joint.views[v], far, i, offset(&joint.d, i), joint.radius);
            joint.views[v].seen = seen(&places, |i| border[i], turn);
            covered.push(places.iter().map(|p| p.hidden).collect());
        }
        for _ in 0..2 {
            joint.solve();
            joint.weigh();
            joint.choose_rim_sd();
        }
        converged = joint.solve();
    }
    converged.then_some(covered).ok_or_else(|| FAILED.into())
}
/// The covariance of all, once the wheelbase is laid beside what shows the trucks.
fn with_trucks(joint: &mut Joint, holes: &[Option<holes::Seen>]) -> Result<DMatrix<f64>, String> {
    let covariance = joint.covariance().ok_or(FAILED)?;
    if joint.tape.wheelbase_mm.is_none() {
        return Ok(covariance);
    }
    joint.seen_trucks = holes.iter().enumerate().find_map(|(v, holes)| {
        let holes = holes.as_ref()?.measured(joint, &covariance, v)?;
        Some(SeenTrucks::new(joint, v, &holes))
    });
    if joint.seen_trucks.is_none() && joint.trucks.is_none() {
        return Ok(covariance);
    }
    // a reading that says otherwise than all before moves the solve far
    let converged = joint.solve() || joint.solve();
    joint.covariance().filter(|_| converged).ok_or_else(|| FAILED.into())
}

#[cfg(test)]
mod tests {
    use super::turn;
    /// By hand, a level board 10 mm thick with edges rounded to 2 mm, seen at 45 degrees: on the far side the ray touches the round
    /// 2 (2 - sqrt 2) mm inside of the edge; on the near side it passes the far edge's round as much inside of the 10 mm that the wall takes up.
    /// A board as thick as its rounding is wide is one half circle. Straight above, the edge is where it is.
    #[test]
    fn the_wall_is_seen_on_the_cameras_own_side() {
        let out = |eye: f64, thick: f64, r: f64| {
            let t = turn([eye, 1000.0], 0.0, [0.0, thick], r);
            t.wall_mm - r * t.radii
        };
        let inside = 2.0 * (2.0 - 2f64.sqrt());
        assert!((out(-1000.0, 10.0, 2.0) + inside).abs() < 1e-12);
        assert!((out(1000.0, 10.0, 2.0) - (10.0 - inside)).abs() < 1e-12);
        assert!(out(0.0, 10.0, 2.0).abs() < 1e-12);
        // the circle about 5 mm inside and below: 5 sqrt 2 - (5 - 5) out
        assert!((out(1000.0, 10.0, 5.0) - 5.0 * 2f64.sqrt()).abs() < 1e-12);
    }
}
