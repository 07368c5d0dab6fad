//! The way down to the solution.
use super::super::camera::{LENS, POSE};
use super::super::rim::CONTROLS;
use super::super::widest::Widest;
use super::{Joint, LEAN, RADIUS, SCALE, SHIFT, WALL, WARP};
use crate::geom::asymmetry;
use nalgebra::DVector;

/// Rounds of the solve, and the step (mm, or as small in the other parameters) below which it has converged.
const ROUNDS: usize = 30;
const STEP: f64 = 1e-7;
/// What the cost, a chi-square, may still fall by when the steps are over: the unknowns are then within a tenth of their standard deviation.
const CLOSE: f64 = 0.01;

impl Joint<'_> {
    pub(super) fn step(&mut self, x: &DVector<f64>) {
        self.d += x.rows(0, CONTROLS);
        self.h += x.rows(CONTROLS, CONTROLS);
        self.ln_scale += x[SCALE];
        self.radius += x[RADIUS];
        self.lean += x[LEAN];
        self.wall += x[WALL];
        (0..WARP).for_each(|k| self.warp[k] += x[SHIFT + k]);
        for v in 0..self.views.len() {
            let (l, p) = (self.lens_at(self.views[v].lens), self.view_at(v));
            let view = &mut self.views[v];
            view.camera.lens = view.camera.lens.changed(&x.as_slice()[l..l + LENS]);
            view.camera = view.camera.moved(&x.as_slice()[p..p + POSE]);
            view.bias_px += x[p + POSE];
        }
    }
    /// Solves at the present weights; whether it converged. Where the last steps creep or no step goes lower, the place counts
    /// when it is close to the minimum for what is known.
    pub fn solve(&mut self) -> bool {
        let converged = self.descend();
        self.over_mm = Widest::of(&self.rail()).over_mm;
        self.asymmetry_mm = self.ln_scale.exp() * asymmetry(&self.along_axes());
        converged
    }
    fn descend(&mut self) -> bool {
        let mut m = self.whole(self.normal());
        let mut damping = 1e-9;
        let mut to_go = f64::INFINITY;
        for _ in 0..ROUNDS {
            let mut a = m.a.clone();
            self.add_bends(&mut a);
            for i in 0..a.nrows() {
                a[(i, i)] *= 1.0 + damping;
            }
            let Some(c) = a.cholesky() else { return false };
            let x = c.solve(&m.b);
            if !x.iter().all(|v| v.is_finite()) {
                return false;
            }
            if damping <= 1e-9 {
                to_go = m.b.dot(&x);
            }
            let kept = (
                self.d.clone(),
                self.h.clone(),
                self.ln_scale,
                self.radius,
                [self.lean, self.wall],
                self.warp,
                self.views.clone(),
            );
            self.step(&x);
            let next = self.whole(self.normal());
            if next.cost <= m.cost {
                let small = x.amax() < STEP || m.cost - next.cost < STEP * m.cost;
                m = next;
                damping = (damping / 10.0).max(1e-9);
                if small {
                    return true;
                }
            } else {
                (self.d, self.h, self.ln_scale, self.radius, [self.lean, self.wall], self.warp, self.views) = kept;
                damping = (damping * 100.0).max(1e-6);
                if x.amax() < STEP {
                    return true;
                }
                if damping > 1e6 {
                    break;
                }
            }
        }
        to_go < CLOSE
    }
}
