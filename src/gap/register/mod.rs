//! An enclosure in any pose, found by its rim against the mating face.
mod border;
mod freedom;
mod seat;
mod start;
pub use freedom::Freedom;

use super::PoseDoubt;
use super::rim::DEPTH_MM;
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Polygon, Similarity, TriMesh};
use crate::mating::MatingFace;
use crate::num::{TensorSpline, median, quantile, rms};
use freedom::{Row, covariance, freedoms};
use nalgebra::{Matrix6, Point3, Rotation3, Vector3};
pub(super) use seat::Seat;
use seat::{Candidate, SECTORS};
use serde::Serialize;
use start::{Start, starts, strewn};
use std::f64::consts::PI;

/// Steps of the fit on each size of cells, at most.
const STEPS: [usize; 3] = [6, 10, 40];
/// The finest cells.
const LAST: usize = STEPS.len() - 1;
/// Poses carried on after the search by the cost of where they start, and after the second grid.
const CARRIED: [usize; 2] = [10, 4];
/// Two poses are the same where the rim's turn from one to the other is below this, radians: starts lie a quarter turn apart.
const SAME_TURN: f64 = 0.2;
/// Another pose is as good when its cost is at most this many times the best one's, or within a bead of it.
const AS_GOOD_RATIO: f64 = 1.5;
const AS_GOOD_MM: f64 = 0.1;
/// A rim that fits the footprint worse than this is not the rim of this enclosure, mm: half of what a miss counts.
const POOR_MM: f64 = DEPTH_MM / 2.0;

/// Another pose in which the enclosure fits nearly as well.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Alternative {
    /// Root mean square of the face's residuals there, mm.
    pub residual_rms_mm: f64,
    /// Turn from the pose taken, degrees.
    pub turn_deg: f64,
    /// 4 x 4, row-major: the enclosure's frame to mm in the deck frame.
    pub enclosure_to_deck: [[f64; 4]; 4],
}
/// How an enclosure was found.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Registration {
    /// 4 x 4, row-major: the enclosure's frame to mm in the deck frame.
    pub enclosure_to_deck: [[f64; 4]; 4],
    /// Root mean square distance of the rim's face from the mating face, mm.
    pub residual_rms_mm: f64,
    /// 95 % of the rim's face lie nearer to the mating face, mm.
    pub residual_p95_mm: f64,
    /// Root mean square distance in plan of the rim's border from the footprint's, mm; `None` where no border was found.
    pub border_rms_mm: Option<f64>,
    /// Cells of the rim's face used.
    pub cells: usize,
    /// Places of its border used.
    pub border_places: usize,
    /// How far its middle rose from the gasket's distance in the mean, mm, so that its rim touches the deck where it would cut into
    /// it.
    pub lifted_mm: f64,
    /// How far it tilted with that, degrees.
    pub tilted_deg: f64,
    /// The six freedoms.
    pub freedoms: Vec<Freedom>,
    /// Another pose that fits as well, the best of them.
    pub alternative: Option<Alternative>,
}
impl Registration {
    /// Takes in the `step` that brought the enclosure, laid by `pose`, to rest over `footprint`.
    pub(crate) fn rise(&mut self, step: &Similarity, pose: &Similarity, footprint: &Polygon) {
        let (lo, hi) = footprint.bounds();
        self.lifted_mm = step.apply(&Point3::new((lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0, 0.0)).z;
        self.tilted_deg = step.rotation[(2, 2)].clamp(-1.0, 1.0).acos().to_degrees();
        self.enclosure_to_deck = step.after(pose).to_rows();
    }
}
/// The pose with what it takes to go on.
#[derive(Debug, Clone)]
pub struct Registered {
    /// From the enclosure's frame to mm in the deck frame.
    pub pose: Similarity,
    /// What is reported.
    pub report: Registration,
    /// Its uncertainty, for the gap's.
    pub doubt: PoseDoubt,
}

fn turn_between(a: &Similarity, b: &Similarity) -> f64 {
    let r = a.rotation * b.rotation.transpose();
    ((r.trace() - 1.0) / 2.0).clamp(-1.0, 1.0).acos()
}

/// Lays `mesh`, in mm in a frame of its own, on the mating face by its rim: rigid, robust, from every symmetric start.
///
/// The rim's face goes to the gasket's distance from the deck and its border onto the footprint's, by iterated least squares
/// with redescending weights.
///
/// # Errors
/// A mesh without area, and one that fits the footprint in no pose.
pub fn register(
    mesh: &TriMesh,
    underside: &TensorSpline,
    outline: &Polygon,
    mating: &MatingFace,
) -> Result<Warned<Registered>> {
    register_on(&Seat::new(underside, outline, mating), mesh)
}

/// Whether a pose of one cost fits about as well as the best, of another.
fn as_good(cost: f64, best: f64) -> bool {
    cost <= (AS_GOOD_RATIO * best).max(best + AS_GOOD_MM)
}
fn by_cost(c: &mut [Candidate]) {
    c.sort_by(|a, b| a.cost.total_cmp(&b.cost));
}
/// Where `mesh` could lie, the likeliest first, found on coarse cells.
pub(super) fn laid(seat: &Seat, mesh: &TriMesh) -> Vec<Candidate> {
    let outer = &seat.mating.footprint.outer_polygon;
    let heights: Vec<f64> = outer.points.iter().map(|p| seat.underside.at(p[0], p[1])).collect();
    let all = starts(&strewn(mesh), outer, median(&heights) + seat.mating.standoff_mm);
    let rough = |s: &Start| {
        let cost = seat.look(mesh, &s.pose, 0)?.1;
        Some(Candidate { pose: s.pose.clone(), cost })
    };
    let plan = seat.plan_mm();
    // a box on its side has a plan far from the footprint's; twice or half is beyond any lid or wall that hangs over
    let alike = |s: &&Start| (0..2).all(|k| (0.5..2.0).contains(&(s.size[k] / plan[k].max(f64::MIN_POSITIVE))));
    let mut found: Vec<Candidate> = all.iter().filter(alike).filter_map(rough).collect();
    for stage in 0..LAST {
        by_cost(&mut found);
        found.truncate(CARRIED[stage]);
        found = found.iter().filter_map(|c| seat.fit(mesh, &c.pose, stage, STEPS[stage])).collect();
    }
    by_cost(&mut found);
    found
}

/// [`register`] on a seat that is made already.
pub(super) fn register_on(seat: &Seat, mesh: &TriMesh) -> Result<Warned<Registered>> {
    let plan = seat.plan_mm();
    let mut kept: Vec<Candidate> = Vec::new();
    for c in laid(seat, mesh) {
        if kept.iter().all(|k| turn_between(&k.pose, &c.pose) > SAME_TURN) {
            kept.extend(seat.fit(mesh, &c.pose, LAST, STEPS[LAST]));
        }
    }
    by_cost(&mut kept);
    let Some(best) = kept.first().filter(|b| b.cost < POOR_MM).cloned() else {
        let near = kept.first().map_or(String::new(), |b| format!("; the best pose misses it by {:.1} mm", b.cost));
        return Err(Error::new(
            Stage::Gap,
            format!("no rim of the enclosure fits the footprint of {:.0} x {:.0} mm{near}", plan[0], plan[1]),
        )
        .hint(
            "check enclosure.length, .inset and .flange and that the mesh is in mm, or place it on mating-face.stl",
        ));
    };
    let Some((rows, _)) = seat.look(mesh, &best.pose, LAST) else {
        return Err(Error::new(Stage::Gap, "the registered enclosure has no rim").hint("check the mesh"));
    };
    let cov = covariance(&rows, SECTORS).unwrap_or_else(Matrix6::zeros);
    let middle = |f: &dyn Fn(&Row) -> f64, border: bool| -> Vec<f64> {
        rows.iter().filter(|r| r.border == border).map(f).collect()
    };
    let face = middle(&|r| r.residual, false);
    let border = middle(&|r| r.residual, true);
    let other = kept[1..].iter().find(|c| as_good(c.cost, best.cost));
    let alternative = other.and_then(|c| {
        let rows = seat.look(mesh, &c.pose, LAST)?.0;
        let face: Vec<f64> = rows.iter().filter(|r| !r.border).map(|r| r.residual).collect();
        Some(Alternative {
            residual_rms_mm: rms(&face),
            turn_deg: turn_between(&best.pose, &c.pose).to_degrees(),
            enclosure_to_deck: c.pose.to_rows(),
        })
    });
    let report = Registration {
        enclosure_to_deck: best.pose.to_rows(),
        residual_rms_mm: rms(&face),
        residual_p95_mm: quantile(&face.iter().map(|r| r.abs()).collect::<Vec<_>>(), 0.95),
        border_rms_mm: (!border.is_empty()).then(|| rms(&border)),
        cells: face.len(),
        border_places: border.len(),
        lifted_mm: 0.0,
        tilted_deg: 0.0,
        freedoms: freedoms(&rows, &cov, levers(&mesh.points, &best.pose)),
        alternative,
    };
    let warnings = doubts(&report);
    let doubt = PoseDoubt { covariance: std::array::from_fn(|i| std::array::from_fn(|j| cov[(i, j)])) };
    Ok(Warned::with(Registered { pose: best.pose, report, doubt }, warnings))
}

/// A pose in which a mesh fits the footprint clearly better than where it was said to lie.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct BetterPlace {
    /// How far its middle moves along the board and across, mm.
    pub moved_mm: [f64; 2],
    /// How far it turns about the vertical, degrees.
    pub turn_deg: f64,
    /// What its rim misses the mating face by, mm in the mean: as it lies, and there.
    pub miss_mm: [f64; 2],
}
/// Moves in plan, mm, and turns, degrees, below these are how a mesh was drawn, not another place: a millimetre or two are a clearance.
const ASIDE_MM: f64 = 3.0;
const TURNED_DEG: f64 = 1.0;

/// How a mesh that was said to lie in the deck frame lies there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Lies {
    /// Where it fits as well as anywhere near by.
    There,
    /// A step aside of where it fits clearly better, or end for end.
    Aside(BetterPlace),
    /// Poorly, and clearly better in another pose: its rim is this far off the mating face, mm in the mean.
    Elsewhere { miss_mm: f64 },
}
/// How `mesh`, said to lie in the deck frame in mm, lies there.
pub(crate) fn as_it_lies(mesh: &TriMesh, underside: &TensorSpline, outline: &Polygon, mating: &MatingFace) -> Lies {
    let seat = Seat::new(underside, outline, mating);
    let given = Similarity::identity();
    let Some((_, here)) = seat.look(mesh, &given, LAST) else { return Lies::There };
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let middle = Point3::new((lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0, 0.0);
    let mut ends = given.clone();
    ends.rotation = *Rotation3::from_axis_angle(&Vector3::z_axis(), PI).matrix();
    ends.translation = middle.coords - ends.rotation * middle.coords;
    let [beside, turned] = [given, ends].map(|from| seat.fit(mesh, &from, LAST, STEPS[LAST]));
    // a box that is alike at both ends is not turned
    let best = match (beside, turned) {
        (Some(b), Some(t)) if !as_good(b.cost, t.cost) => Some(t),
        (b, t) => b.or(t),
    };
    let better = best.filter(|b| !as_good(here, b.cost)).and_then(|best| {
        let step = best.pose.apply(&middle) - middle;
        let turn_deg = best.pose.rotation[(1, 0)].atan2(best.pose.rotation[(0, 0)]).to_degrees();
        let aside = step.xy().norm() > ASIDE_MM || turn_deg.abs() > TURNED_DEG;
        aside.then(|| BetterPlace { moved_mm: [step.x, step.y], turn_deg, miss_mm: [here, best.cost] })
    });
    if let Some(better) = better {
        return Lies::Aside(better);
    }
    let elsewhere = || {
        let found = seat.fit(mesh, &laid(&seat, mesh).first()?.pose, LAST, STEPS[LAST])?;
        (!as_good(here, found.cost)).then_some(Lies::Elsewhere { miss_mm: here })
    };
    if here > POOR_MM { elsewhere().unwrap_or(Lies::There) } else { Lies::There }
}

/// The pose next to `from` in which `mesh` lies best on the mating face; `None` where it has no rim there.
pub(super) fn settle(seat: &Seat, mesh: &TriMesh, from: &Similarity) -> Option<Similarity> {
    seat.fit(mesh, from, LAST - 1, STEPS[LAST - 1]).map(|c| c.pose)
}

/// Root mean square distances of the enclosure from the deck frame's axes, mm.
fn levers(points: &[Point3<f64>], pose: &Similarity) -> [f64; 3] {
    let n = points.len().max(1) as f64;
    let mut s = [0.0; 3];
    for p in points.iter().map(|p| pose.apply(p)) {
        for k in 0..3 {
            s[k] += p[k] * p[k] / n;
        }
    }
    [(s[1] + s[2]).sqrt(), (s[0] + s[2]).sqrt(), (s[0] + s[1]).sqrt()]
}

fn doubts(r: &Registration) -> Vec<Warning> {
    let mut w = Vec::new();
    let mut add = |message: String, hint: &str| w.push(Warning::new(Stage::Gap, message, hint));
    if let Some(a) = &r.alternative {
        add(
            format!(
                "the enclosure also fits turned by {:.0} degrees: {:.2} mm (rms) off the deck there, {:.2} mm here",
                a.turn_deg, a.residual_rms_mm, r.residual_rms_mm
            ),
            "mark the end that points to the nose; to be sure, place the mesh on mating-face.stl that way, and do not give --register",
        );
    }
    if let Some(b) = r.border_rms_mm.filter(|b| *b > 2.0) {
        add(
            format!("the edge of the rim lies {b:.1} mm (rms) off the edge that the board file gives"),
            "check enclosure.length, .inset, .offset and .corner_radius: seen from above this is another enclosure",
        );
    }
    let loose: Vec<String> =
        r.freedoms.iter().filter(|f| f.weak).map(|f| format!("{} ({:.2} mm)", f.name, f.standard_error_mm)).collect();
    if r.border_rms_mm.is_none() && !loose.is_empty() {
        add(
            format!("the rim shows no edge to place it by, so that it may be off: {}", loose.join(", ")),
            "place the mesh on mating-face.stl instead",
        );
    }
    w
}

#[cfg(test)]
mod tests;
