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
/// Steps without a lower cost that end the fit: noise moves cells in and out of the rim, which keeps a fit that is done stirring.
const PATIENCE: usize = 6;
/// Sectors of the rim whose residuals count as one piece of evidence each: some 40 mm of a usual rim, as long as a print's warp.
pub(super) const SECTORS: usize = 24;
/// Least standard deviations for the weights, mm: of the face a print's layer, of the border a bead's.
const LEAST_SIGMA_MM: [f64; 2] = [0.05, 0.2];
/// Grid cells of the search, of the best few, and of the end, mm: a flange of 10 mm still holds three of the first.
const CELLS_MM: [f64; 3] = [4.0, 3.0, 2.0];

/// What the enclosure is laid on.
pub(in crate::gap) struct Seat<'a> {
    pub(super) underside: &'a TensorSpline,
    pub(super) mating: &'a MatingFace,
    /// The deck's plan in cells of each size, and which of them the footprint's ring covers.
    plans: [(Grid, Vec<bool>); 3],
}
/// A pose under way.
#[derive(Clone)]
pub(in crate::gap) struct Candidate {
    pub(in crate::gap) pose: Similarity,
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

impl<'a> Seat<'a> {
    pub(in crate::gap) fn new(underside: &'a TensorSpline, outline: &Polygon, mating: &'a MatingFace) -> Self {
        let (outer, inner) = (&mating.footprint.outer_polygon, &mating.footprint.inner_polygon);
        let plans = CELLS_MM.map(|cell| {
            let grid = Grid::bare(underside, outline, outline.bounds(), cell);
            let ring = grid.inside(outer).into_iter().zip(grid.inside(inner)).map(|(o, i)| o && !i).collect();
            (grid, ring)
        });
        Self { underside, mating, plans }
    }
    /// Length and width of the footprint, mm.
    pub(super) fn plan_mm(&self) -> [f64; 2] {
        let (lo, hi) = self.mating.footprint.outer_polygon.bounds();
        [hi[0] - lo[0], hi[1] - lo[1]]
    }
    fn row(&self, p: Vector3<f64>, n: Vector3<f64>, residual: f64, border: bool) -> Row {
        let t = p.cross(&n);
        let (lo, hi) = self.mating.footprint.outer_polygon.bounds();
        let u = (p.x - (lo[0] + hi[0]) / 2.0) / (hi[0] - lo[0]);
        let v = (p.y - (lo[1] + hi[1]) / 2.0) / (hi[1] - lo[1]);
        let turn = v.atan2(u) / std::f64::consts::TAU + 0.5;
        let sector = ((turn * SECTORS as f64) as usize).min(SECTORS - 1);
        Row { j: Vector6::new(n.x, n.y, n.z, t.x, t.y, t.z), residual, border, sector, weight: 0.0 }
    }
    /// Equations and cost of a pose on the plan of the `level`-th size of cells; `None` when nothing faces the deck there.
    pub(super) fn look(&self, mesh: &TriMesh, pose: &Similarity, level: usize) -> Option<(Vec<Row>, f64)> {
        let placed = moved(mesh, pose);
        let (plan, ring) = &self.plans[level];
        let grid = plan.with(&placed, self.underside);
        let found = rim::find(&grid, None);
        let part = found.rims.first()?;
        let (outer, inner) = (&self.mating.footprint.outer_polygon, &self.mating.footprint.inner_polygon);
        let mut rows = Vec::new();
        let (mut miss, mut met) = (0.0, 0.0);
        for &i in part {
            let residual = grid.rough_gap(i) - self.mating.standoff_mm;
            let [x, y] = grid.centre(i);
            rows.push(self.row(Vector3::new(x, y, grid.z[i]), grid.normal(i), residual, false));
            met += f64::from(u8::from(ring[i]));
            miss += if ring[i] { residual.abs().min(DEPTH_MM) } else { DEPTH_MM };
        }
        // footprint without rim, on the grid and beyond it
        let area = (outer.signed_area().abs() - inner.signed_area().abs()) / (grid.cell * grid.cell);
        let bare = (area - met).max(0.0);
        let cost = (miss + bare * DEPTH_MM) / (rows.len() as f64 + bare).max(1.0);
        for [x, y, z] in border_points(&placed, &grid, part) {
            let (off, [a, b]) = outer.off([x, y]);
            rows.push(self.row(Vector3::new(x, y, z), Vector3::new(a, b, 0.0), off, true));
        }
        weigh(&mut rows);
        Some((rows, cost))
    }
    /// The pose after at most so many steps, or the best on the way.
    pub(super) fn fit(&self, mesh: &TriMesh, from: &Similarity, level: usize, steps: usize) -> Option<Candidate> {
        let mut pose = from.clone();
        let mut best: Option<Candidate> = None;
        let mut since = 0;
        for _ in 0..steps {
            let Some((rows, cost)) = self.look(mesh, &pose, level) else { break };
            since += 1;
            if best.as_ref().is_none_or(|b| cost <= b.cost) {
                best = Some(Candidate { pose: pose.clone(), cost });
                since = 0;
            }
            if since == PATIENCE {
                break;
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
