//! A pose on its way to the mating face: its equations, cost and fit.
use super::border::border_points;
use super::freedom::Row;
use crate::gap::grid::Grid;
use crate::gap::rim::{self, DEPTH_MM};
use crate::geom::{Polygon, Similarity, TriMesh};
use crate::mating::MatingFace;
use crate::num::{BIWEIGHT_TUNING, TensorSpline, biweight, median};
use nalgebra::{Matrix6, Rotation3, Vector3, Vector6};

/// A step that moves the rim by less, mm, ends the fit: a hundredth of any print's unevenness.
const DONE_MM: f64 = 1e-3;
/// Sectors of the rim whose residuals count as one piece of evidence each: some 40 mm of a usual rim, as long as a print's warp.
pub(super) const SECTORS: usize = 24;
/// Least standard deviations for the weights, mm: of the face a print's layer, of the border a bead's.
const LEAST_SIGMA_MM: [f64; 2] = [0.05, 0.2];
/// Distance over which the way off the footprint's border is told, mm: far below a corner's radius.
const NEAR_MM: f64 = 0.01;

/// What the enclosure is laid on.
pub(super) struct Seat<'a> {
    pub underside: &'a TensorSpline,
    pub outline: &'a Polygon,
    pub mating: &'a MatingFace,
}
/// A pose under way.
#[derive(Clone)]
pub(super) struct Candidate {
    pub pose: Similarity,
    /// Mean miss over rim and footprint, mm, each at most a box's depth.
    pub cost: f64,
}

pub(super) fn moved(mesh: &TriMesh, pose: &Similarity) -> TriMesh {
    TriMesh { points: mesh.points.iter().map(|p| pose.apply(p)).collect(), triangles: mesh.triangles.clone() }
}
/// `pose` after a small move and turn about the deck frame's axes.
fn stepped(pose: &Similarity, step: &Vector6<f64>) -> Similarity {
    let turn = Rotation3::from_scaled_axis(Vector3::new(step[3], step[4], step[5]));
    let by = Similarity { rotation: *turn.matrix(), scale: 1.0, translation: Vector3::new(step[0], step[1], step[2]) };
    by.after(pose)
}

/// Weights of face and border, each by the scatter of its own residuals.
fn weigh(rows: &mut [Row]) {
    for border in [false, true] {
        let sizes: Vec<f64> = rows.iter().filter(|r| r.border == border).map(|r| r.residual.abs()).collect();
        // 1.4826 times the median size is the standard deviation of a normal law about zero
        let sigma = (1.4826 * median(&sizes)).max(LEAST_SIGMA_MM[usize::from(border)]);
        for r in rows.iter_mut().filter(|r| r.border == border) {
            r.weight = biweight(r.residual / (BIWEIGHT_TUNING * sigma)) / (sigma * sigma);
        }
    }
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
    pub(super) fn look(&self, mesh: &TriMesh, pose: &Similarity, cell: f64) -> Option<(Vec<Row>, f64)> {
        let placed = moved(mesh, pose);
        let grid = Grid::new(&placed, self.underside, self.outline, cell);
        let found = rim::find(&grid, None);
        let part = found.rims.first()?;
        let (outer, inner) = (&self.mating.footprint.outer_polygon, &self.mating.footprint.inner_polygon);
        let (within, hole) = (grid.inside(outer), grid.inside(inner));
        let in_ring = |i: usize| within[i] && !hole[i];
        let mut rows = Vec::new();
        let (mut miss, mut met) = (0.0, 0.0);
        for &i in part {
            let residual = grid.rough_gap(i) - self.mating.standoff_mm;
            let [x, y] = grid.centre(i);
            rows.push(self.row(Vector3::new(x, y, grid.z[i]), grid.normal(i), residual, false));
            met += f64::from(u8::from(in_ring(i)));
            miss += if in_ring(i) { residual.abs().min(DEPTH_MM) } else { DEPTH_MM };
        }
        // footprint without rim, on the grid and beyond it
        let area = (outer.signed_area().abs() - inner.signed_area().abs()) / (cell * cell);
        let bare = (area - met).max(0.0);
        let cost = (miss + bare * DEPTH_MM) / (rows.len() as f64 + bare).max(1.0);
        for [x, y, z] in border_points(&placed, &grid, part) {
            let d = |x: f64, y: f64| outer.signed_distance([x, y]);
            let m = Vector3::new(d(x + NEAR_MM, y) - d(x - NEAR_MM, y), d(x, y + NEAR_MM) - d(x, y - NEAR_MM), 0.0);
            if let Some(m) = m.try_normalize(NEAR_MM) {
                rows.push(self.row(Vector3::new(x, y, z), m, d(x, y), true));
            }
        }
        weigh(&mut rows);
        Some((rows, cost))
    }
    /// The pose after at most so many steps, or the best on the way.
    pub(super) fn fit(&self, mesh: &TriMesh, from: &Similarity, cell: f64, steps: usize) -> Option<Candidate> {
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
