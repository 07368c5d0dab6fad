//! An enclosure in any pose, found by its rim against the mating face.
mod border;
mod freedom;
mod start;
pub use freedom::Freedom;

use super::PoseDoubt;
use super::grid::Grid;
use super::rim::{self, DEPTH_MM};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Polygon, Similarity, TriMesh};
use crate::mating::MatingFace;
use crate::num::{BIWEIGHT_TUNING, TensorSpline, biweight, median, quantile};
use border::border_points;
use freedom::{Row, covariance, freedoms};
use nalgebra::{Matrix6, Point3, Rotation3, Vector3, Vector6};
use serde::Serialize;
use start::{Start, starts, strewn};

/// Grid cells of the search, of the best few, and of the end, mm: a flange of 10 mm still holds three of the first.
const CELLS_MM: [f64; 3] = [4.0, 3.0, 2.0];
/// Steps of the fit on each grid, at most.
const STEPS: [usize; 3] = [6, 10, 40];
/// Poses carried on after the search by the cost of where they start, and after the second grid.
const CARRIED: [usize; 2] = [10, 4];
/// A step that moves the rim by less, mm, ends the fit: a hundredth of any print's unevenness.
const DONE_MM: f64 = 1e-3;
/// Sectors of the rim whose residuals count as one piece of evidence each: some 40 mm of a usual rim, as long as a print's warp.
const SECTORS: usize = 24;
/// Least standard deviations for the weights, mm: of the face a print's layer, of the border a bead's.
const LEAST_SIGMA_MM: [f64; 2] = [0.05, 0.2];
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
    /// The six freedoms.
    pub freedoms: Vec<Freedom>,
    /// Another pose that fits as well, the best of them.
    pub alternative: Option<Alternative>,
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

/// What the enclosure is laid on.
struct Seat<'a> {
    underside: &'a TensorSpline,
    outline: &'a Polygon,
    mating: &'a MatingFace,
}
/// A pose under way.
#[derive(Clone)]
struct Candidate {
    pose: Similarity,
    /// Mean miss over rim and footprint, mm, each at most a box's depth.
    cost: f64,
}

fn moved(mesh: &TriMesh, pose: &Similarity) -> TriMesh {
    TriMesh { points: mesh.points.iter().map(|p| pose.apply(p)).collect(), triangles: mesh.triangles.clone() }
}
/// `pose` after a small move and turn about the deck frame's axes.
fn stepped(pose: &Similarity, step: &Vector6<f64>) -> Similarity {
    let turn = Rotation3::from_scaled_axis(Vector3::new(step[3], step[4], step[5]));
    let by = Similarity { rotation: *turn.matrix(), scale: 1.0, translation: Vector3::new(step[0], step[1], step[2]) };
    by.after(pose)
}

impl Seat<'_> {
    fn row(&self, p: Vector3<f64>, n: Vector3<f64>, residual: f64, border: bool) -> Row {
        let t = p.cross(&n);
        let (lo, hi) = self.mating.footprint.outer_polygon.bounds();
        let u = (p.x - (lo[0] + hi[0]) / 2.0) / (hi[0] - lo[0]);
        let v = (p.y - (lo[1] + hi[1]) / 2.0) / (hi[1] - lo[1]);
        let turn = v.atan2(u) / std::f64::consts::TAU + 0.5;
        let sector = ((turn * SECTORS as f64) as usize).min(SECTORS - 1);
        Row { j: Vector6::new(n.x, n.y, n.z, t.x, t.y, t.z), residual, border, sector, weight: 0.0 }
    }
    /// Equations and cost of a pose; `None` when nothing faces the deck there.
    fn look(&self, mesh: &TriMesh, pose: &Similarity, cell: f64) -> Option<(Vec<Row>, f64)> {
        let placed = moved(mesh, pose);
        let grid = Grid::new(&placed, self.underside, self.outline, cell);
        let found = rim::find(&grid, None);
        let part = found.rims.first()?;
        let (outer, inner) = (&self.mating.footprint.outer_polygon, &self.mating.footprint.inner_polygon);
        let standoff = self.mating.standoff_mm;
        let mut in_rim = vec![false; grid.z.len()];
        part.iter().for_each(|&i| in_rim[i] = true);
        let (within, hole) = (grid.inside(outer), grid.inside(inner));
        let (mut rows, mut miss, mut seen) = (Vec::new(), 0.0, 0.0);
        let mut ring = 0.0;
        for i in 0..grid.z.len() {
            let in_ring = within[i] && !hole[i];
            ring += f64::from(u8::from(in_ring));
            if !in_rim[i] {
                continue;
            }
            let [x, y] = grid.centre(i);
            let residual = grid.rough_gap(i) - standoff;
            seen += 1.0;
            miss += if in_ring { residual.abs().min(DEPTH_MM) } else { DEPTH_MM };
            let n = grid.normal(i);
            rows.push(self.row(Vector3::new(x, y, grid.z[i]), n, residual, false));
            if in_ring {
                ring -= 1.0;
            }
        }
        // footprint without rim, on the grid and beyond it
        let area = (outer.signed_area().abs() - inner.signed_area().abs()) / (cell * cell);
        let on_grid = (0..grid.z.len()).filter(|&i| within[i] && !hole[i]).count() as f64;
        let bare = ring + (area - on_grid).max(0.0);
        let cost = (miss + bare * DEPTH_MM) / (seen + bare).max(1.0);
        for [x, y, z] in border_points(&placed, &grid, part) {
            let d = |x: f64, y: f64| outer.signed_distance([x, y]);
            let h = 0.01;
            let m = Vector3::new(d(x + h, y) - d(x - h, y), d(x, y + h) - d(x, y - h), 0.0);
            if let Some(m) = m.try_normalize(h) {
                rows.push(self.row(Vector3::new(x, y, z), m, d(x, y), true));
            }
        }
        for border in [false, true] {
            let own = |r: &&Row| r.border == border;
            let sizes: Vec<f64> = rows.iter().filter(own).map(|r| r.residual.abs()).collect();
            // 1.4826 times the median size is the standard deviation of a normal law about zero
            let sigma = (1.4826 * median(&sizes)).max(LEAST_SIGMA_MM[usize::from(border)]);
            for r in rows.iter_mut().filter(|r| r.border == border) {
                r.weight = biweight(r.residual / (BIWEIGHT_TUNING * sigma)) / (sigma * sigma);
            }
        }
        Some((rows, cost))
    }
    fn fit(&self, mesh: &TriMesh, from: &Similarity, cell: f64, steps: usize) -> Option<Candidate> {
        let mut pose = from.clone();
        let mut best: Option<Candidate> = None;
        for _ in 0..steps {
            let Some((rows, cost)) = self.look(mesh, &pose, cell) else { break };
            if best.as_ref().is_none_or(|b| cost <= b.cost) {
                best = Some(Candidate { pose: pose.clone(), cost });
            }
            let (mut normal, mut right) = (Matrix6::zeros(), Vector6::zeros());
            for r in &rows {
                normal += r.weight * r.j * r.j.transpose();
                right -= r.weight * r.residual * r.j;
            }
            // a freedom that nothing holds stays where it is: a spring of a millionth of the stiffest
            let levers = Vector6::new(1.0, 1.0, 1.0, 1e4, 1e4, 1e4);
            let spring = 1e-6 * (0..3).map(|k| normal[(k, k)]).fold(0.0, f64::max);
            normal += Matrix6::from_diagonal(&(spring * levers));
            let Some(step) = normal.cholesky().map(|c| c.solve(&right)) else { break };
            if !step.iter().all(|s| s.is_finite()) {
                break;
            }
            pose = stepped(&pose, &step);
            // a turn moves the ends of a usual rim by some 100 mm times its angle
            if step.fixed_rows::<3>(0).norm() < DONE_MM && 100.0 * step.fixed_rows::<3>(3).norm() < DONE_MM {
                break;
            }
        }
        best
    }
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
    let seat = Seat { underside, outline, mating };
    let outer = &mating.footprint.outer_polygon;
    let heights: Vec<f64> = outer.points.iter().map(|p| underside.at(p[0], p[1])).collect();
    let points = strewn(mesh);
    let all = starts(&points, outer, median(&heights) + mating.standoff_mm);
    let rough = |s: &Start| {
        let cost = seat.look(mesh, &s.pose, CELLS_MM[0])?.1;
        Some(Candidate { pose: s.pose.clone(), cost })
    };
    let (lo, hi) = outer.bounds();
    let plan = [hi[0] - lo[0], hi[1] - lo[1]];
    // a box on its side has a plan far from the footprint's; twice or half is beyond any lid or wall that hangs over
    let alike = |s: &&Start| (0..2).all(|k| (0.5..2.0).contains(&(s.size[k] / plan[k].max(f64::MIN_POSITIVE))));
    let mut found: Vec<Candidate> = all.iter().filter(alike).filter_map(rough).collect();
    let sort = |c: &mut Vec<Candidate>| c.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    for stage in 0..2 {
        sort(&mut found);
        found.truncate(CARRIED[stage]);
        found = found.iter().filter_map(|c| seat.fit(mesh, &c.pose, CELLS_MM[stage], STEPS[stage])).collect();
    }
    sort(&mut found);
    let mut kept: Vec<Candidate> = Vec::new();
    for c in found {
        if kept.iter().all(|k| turn_between(&k.pose, &c.pose) > SAME_TURN) {
            kept.extend(seat.fit(mesh, &c.pose, CELLS_MM[2], STEPS[2]));
        }
    }
    sort(&mut kept);
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
    let Some((rows, _)) = seat.look(mesh, &best.pose, CELLS_MM[2]) else {
        return Err(Error::new(Stage::Gap, "the registered enclosure has no rim").hint("check the mesh"));
    };
    let cov = covariance(&rows, SECTORS).unwrap_or_else(Matrix6::zeros);
    let middle = |f: &dyn Fn(&Row) -> f64, border: bool| -> Vec<f64> {
        rows.iter().filter(|r| r.border == border).map(f).collect()
    };
    let rms = |v: &[f64]| (v.iter().map(|r| r * r).sum::<f64>() / v.len().max(1) as f64).sqrt();
    let face = middle(&|r| r.residual, false);
    let border = middle(&|r| r.residual, true);
    let other = kept[1..].iter().find(|c| c.cost <= (AS_GOOD_RATIO * best.cost).max(best.cost + AS_GOOD_MM));
    let alternative = other.and_then(|c| {
        let rows = seat.look(mesh, &c.pose, CELLS_MM[2])?.0;
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
        freedoms: freedoms(&rows, &cov, levers(&points, &best.pose)),
        alternative,
    };
    let warnings = doubts(&report);
    let doubt = PoseDoubt { covariance: std::array::from_fn(|i| std::array::from_fn(|j| cov[(i, j)])) };
    Ok(Warned::with(Registered { pose: best.pose, report, doubt }, warnings))
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
                "the enclosure fits as well after a turn of {:.0} degrees: residual rms {:.2} mm there, {:.2} mm here",
                a.turn_deg, a.residual_rms_mm, r.residual_rms_mm
            ),
            "mark the end that points to the nose, place the mesh on mating-face.stl that way and leave --register out",
        );
    }
    if let Some(b) = r.border_rms_mm.filter(|b| *b > 2.0) {
        add(
            format!("the rim's border lies {b:.1} mm (rms) from the footprint's"),
            "check enclosure.length, .inset, .offset and .corner_radius: the enclosure's plan is another one",
        );
    }
    let loose: Vec<String> =
        r.freedoms.iter().filter(|f| f.weak).map(|f| format!("{} ({:.2} mm)", f.name, f.standard_error_mm)).collect();
    if r.border_rms_mm.is_none() && !loose.is_empty() {
        add(
            format!("nothing but the face holds the enclosure, which leaves it free to {}", loose.join(", ")),
            "the rim shows no border over the footprint; place the mesh on mating-face.stl instead",
        );
    }
    w
}

#[cfg(test)]
mod tests;
