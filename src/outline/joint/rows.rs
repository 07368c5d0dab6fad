//! What is measured and believed as rows of the normal equations.
use super::super::camera::{Camera, LENS, POSE};
use super::super::graphic::Match;
use super::super::prior::LEAN_SD;
use super::super::rim::{CONTROLS, basis, offset};
use super::super::widest::Widest;
use super::view::{Known, Seen, bias_sd_px};
use super::{Joint, LEAN, RADIUS, SCALE, SHIFT, WALL, WARP, WARP_SD_MM};
use crate::frame::tape_sd_mm;
use crate::num::CAUCHY_TUNING;
use nalgebra::{DMatrix, DVector};

/// Normal matrix (its lower half: more is not looked at), right side, robust cost of everything but the priors on `d`.
pub(super) struct Normal {
    pub a: DMatrix<f64>,
    pub b: DVector<f64>,
    pub cost: f64,
}
impl Normal {
    /// Adds an observation: residual over its sd, weight, derivative of the *prediction* over the sd.
    fn add(&mut self, r: f64, w: f64, j: &[(usize, f64)]) {
        for &(p, u) in j {
            let u = w * u;
            self.b[p] += u * r;
            for &(q, v) in j {
                if q <= p {
                    self.a[(p, q)] += u * v;
                }
            }
        }
    }
}
impl Joint<'_> {
    pub(super) fn normal(&self) -> Normal {
        let n = self.view_at(self.views.len());
        let mut m = Normal { a: DMatrix::zeros(n, n), b: DVector::zeros(n), cost: 0.0 };
        for (v, view) in self.views.iter().enumerate() {
            let (lens, pose) = (self.lens_at(view.lens), self.view_at(v));
            let sd = view.sigma_px * view.together.sqrt();
            let cut = CAUCHY_TUNING * view.sigma_px;
            for s @ Seen { station: i, px: p, normal, turn } in &view.seen {
                let at = view.edge.plan_point(*i, self.out(view, s));
                let z = view.edge.z.slopes(at[0], at[1]);
                let q = view.camera.projection([at[0], at[1], z[0] + offset(&self.h, *i)]);
                let across = |g: [f64; 2]| (g[0] * normal[0] + g[1] * normal[1]) / sd;
                let r = (p[0] - q.pixel[0]) * normal[0] + (p[1] - q.pixel[1]) * normal[1] - view.bias_px;
                let t2 = (r / cut).powi(2);
                m.cost += (cut / sd).powi(2) * t2.ln_1p();
                let out = view.edge.normal[*i];
                let rise = z[1] * out[0] + z[2] * out[1];
                let g = q.point * nalgebra::Vector3::new(out[0], out[1], rise);
                let up = [q.point[(0, 2)], q.point[(1, 2)]];
                let (k, w) = basis(*i);
                let (gd, gh) = (across([g[0], g[1]]), across(up));
                let mut j: Vec<(usize, f64)> = Vec::with_capacity(10 + LENS + POSE + 1);
                for c in 0..4 {
                    j.push(((k + c) % CONTROLS, gd * w[c]));
                    j.push((CONTROLS + (k + c) % CONTROLS, gh * w[c]));
                }
                j.push((RADIUS, -gd * turn.radii));
                j.push((LEAN, gd * view.edge.lean_mm[*i]));
                j.push((WALL, gd * turn.wall_mm));
                j.extend(q.lens.iter().enumerate().map(|(c, g)| (lens + c, across(*g))));
                j.extend(q.pose.iter().enumerate().map(|(c, g)| (pose + c, across(*g))));
                j.push((pose + POSE, 1.0 / sd));
                m.add(r / sd, 1.0 / (1.0 + t2), &j);
            }
            let bias_sd = bias_sd_px(view);
            m.add(-view.bias_px / bias_sd, 1.0, &[(pose + POSE, 1.0 / bias_sd)]);
            m.cost += (view.bias_px / bias_sd).powi(2);
            for known in &view.known {
                self.add_known(&mut m, v, known);
            }
            for found in &view.matches {
                self.add_match(&mut m, v, found);
            }
        }
        for (l, prior) in self.believed.lenses.iter().enumerate() {
            let Some(view) = self.views.iter().find(|v| v.lens == l) else { continue };
            let at = self.lens_at(l);
            for (k, (u, sd)) in prior.deviation(&view.camera.lens).into_iter().zip(prior.sd()).enumerate() {
                m.add(-u / sd, 1.0, &[(at + k, 1.0 / sd)]);
                m.cost += (u / sd).powi(2);
            }
        }
        self.add_tape(&mut m);
        let [radius, sd] = self.believed.radius;
        let r = (self.radius - radius) / sd;
        m.add(-r, 1.0, &[(RADIUS, 1.0 / sd)]);
        m.cost += r * r;
        let r = self.lean / LEAN_SD;
        m.add(-r, 1.0, &[(LEAN, 1.0 / LEAN_SD)]);
        m.cost += r * r;
        // anywhere between none and all: a rectangular law (GUM)
        let r = (self.wall - 0.5) / LEAN_SD;
        m.add(-r, 1.0, &[(WALL, 1.0 / LEAN_SD)]);
        m.cost += r * r;
        for (k, (by, sd)) in self.warp.iter().zip(WARP_SD_MM).enumerate() {
            m.add(-by / sd, 1.0, &[(SHIFT + k, 1.0 / sd)]);
            m.cost += (by / sd).powi(2);
        }
        let hs = &self.surface_precision * &self.h;
        m.cost += self.h.dot(&hs);
        for i in 0..CONTROLS {
            m.b[CONTROLS + i] -= hs[i];
            for j in 0..CONTROLS {
                m.a[(CONTROLS + i, CONTROLS + j)] += self.surface_precision[(i, j)];
            }
        }
        m
    }
    /// Adds what slopes do not tell of the next step: where the rail is too wide in several places, narrowing one does not do.
    pub(super) fn add_bends(&self, a: &mut DMatrix<f64>) {
        let rail = self.rail();
        let widest = Widest::of(&rail);
        let width = widest.row(&rail, "width", self.tape.width_mm, tape_sd_mm(self.tape));
        if width.residual_mm < 0.0 {
            let bends = -width.residual_mm / width.sd_mm.powi(2) * widest.bends(&rail);
            for p in 0..CONTROLS {
                (0..=p).for_each(|q| a[(p, q)] += bends[(p, q)]);
            }
        }
    }
    fn add_tape(&self, m: &mut Normal) {
        for row in self.tape_rows().0 {
            let r = row.residual_mm / row.sd_mm;
            let j: Vec<_> = row.j.iter().map(|(k, g)| (*k, g / row.sd_mm)).collect();
            m.add(r, row.weight, &j);
            // a weight of 1 is least squares; else Cauchy's cost, of which the weight 1 / (1 + t^2) is the derivative
            let robust = row.weight < 1.0;
            m.cost += if robust { CAUCHY_TUNING.powi(2) * -row.weight.ln() } else { r * r };
        }
    }
    /// The true distance of two pixels of a view on the surface, mm, and its derivatives.
    pub fn between_row(&self, v: usize, px: [[f64; 2]; 2]) -> Option<(f64, Vec<(usize, f64)>)> {
        let view = &self.views[v];
        let (lens, pose) = (self.lens_at(view.lens), self.view_at(v));
        let s = self.ln_scale.exp();
        let now = s * self.between(view.edge, &view.camera, px)?;
        // a lifted pixel has no handy closed derivative; differences of a smooth function do for one row
        let h = 1e-6;
        let mut j = vec![(SCALE, now)];
        let mut with = |at: usize, c: Camera| {
            if let Some(moved) = self.between(view.edge, &c, px) {
                j.push((at, (s * moved - now) / h));
            }
        };
        for k in 0..LENS {
            let mut x = [0.0; LENS];
            x[k] = h;
            with(lens + k, Camera { lens: view.camera.lens.changed(&x), ..view.camera.clone() });
        }
        for k in 0..POSE {
            let mut x = [0.0; POSE];
            x[k] = h;
            with(pose + k, view.camera.moved(&x));
        }
        Some((now, j))
    }
    fn add_known(&self, m: &mut Normal, v: usize, known: &Known) {
        let Some((now, mut j)) = self.between_row(v, known.px) else { return };
        j.iter_mut().for_each(|(_, g)| *g /= known.sd_mm);
        // a slip of the hand or a wrong unit must not bend all the rest: Cauchy weights as for an edge
        let r = (known.mm - now) / known.sd_mm;
        let t2 = (r / CAUCHY_TUNING).powi(2);
        m.add(r, 1.0 / (1.0 + t2), &j);
        m.cost += CAUCHY_TUNING.powi(2) * t2.ln_1p();
    }
    /// 1 and where a place lies along and across, from -1 at one end or side to 1 at the other.
    fn near_middle(&self, at: [f64; 2]) -> [f64; 3] {
        let (length, width) = self.rim.size;
        [1.0, 2.0 * at[0] / length, 2.0 * at[1] / width]
    }
    /// A place of the scan's colours seen in a view.
    fn add_match(&self, m: &mut Normal, v: usize, found: &Match) {
        let view = &self.views[v];
        let root = found.root();
        let near = self.near_middle(found.at);
        let by = [0, 1].map(|c| (0..3).map(|k| near[k] * self.warp[3 * c + k]).sum::<f64>());
        let Some(off) = found.off(&view.camera, view.edge.z, by) else { return };
        let r = root * off.mm;
        let t2 = r.norm_squared() / (CAUCHY_TUNING * CAUCHY_TUNING);
        m.cost += CAUCHY_TUNING * CAUCHY_TUNING * t2.ln_1p();
        let (lens, pose) = (self.lens_at(view.lens), self.view_at(v));
        for k in 0..2 {
            let mut j: Vec<(usize, f64)> = Vec::with_capacity(2 + LENS + POSE);
            j.extend((0..WARP).map(|c| (SHIFT + c, near[c % 3] * root[(k, c / 3)])));
            j.extend(off.lens.iter().enumerate().map(|(c, g)| (lens + c, (root * g)[k])));
            j.extend(off.pose.iter().enumerate().map(|(c, g)| (pose + c, (root * g)[k])));
            m.add(r[k], 1.0 / (1.0 + t2), &j);
        }
    }
    pub(super) fn whole(&self, mut m: Normal) -> Normal {
        let p = &self.rim_precision * &self.d;
        m.cost += self.d.dot(&p);
        for i in 0..CONTROLS {
            m.b[i] -= p[i];
            for j in 0..CONTROLS {
                m.a[(i, j)] += self.rim_precision[(i, j)];
            }
        }
        m
    }
}
