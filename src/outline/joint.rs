//! Everything measured, solved together: the scan's rim, the photos' edges, the tape, known lengths.
//!
//! Unknown are the rail's offset from the scan's rim and the surface's error under the rail (both along the rim), the radius of
//! the rail's rounding, how much of its wall in sight looks like board, the scale, each camera's lens and each photo's pose and edge bias. What is believed beforehand enters as observations with its
//! standard deviation, so the inverse normal matrix is the covariance.
//!
//! # References
//! JCGM 100:2008 (GUM) and JCGM 102:2011, least squares with several output quantities; D. J. C. MacKay, *Bayesian
//! interpolation*, 1992, for the choice of the standard deviations by the evidence.
use super::border::SHARP_PX;
use super::camera::{Camera, LENS, POSE};
use super::graphic::Match;
use super::prior::{Believed, LEAN_SD, RimPrior, smooth};
use super::readings::SeenTrucks;
use super::rim::{CONTROLS, Rim, basis, lift, offset};
use super::widest::Widest;
use crate::frame::{Tape, TruckSpan, tape_sd_mm};
use crate::geom::{Polygon, asymmetry, longest_across, width_angle};
use crate::num::{each, mad_sigma};
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Standard deviation of an edge's bias, in common and from tone to tone, over the edge's width: where in its blur the border between light and dark
/// is found depends on their tones, a quarter of the width to either side at most, by a uniform law.
const BIAS_RATIO: f64 = 0.25 / 1.732_050_807_568_877_2;
/// Cauchy weights: 95 % efficiency for a normal law (Holland & Welsch 1977, from memory).
pub(super) const CAUCHY_TUNING: f64 = 2.385;
/// A surface carried over the rounded rail has one error over half a width: correlated over this share of the way round.
const SURFACE_RATIO: f64 = 1.0 / 16.0;
/// Standard deviations tried for the rim's error along it, mm, long and short: from less than any scan's to what the
/// pipeline takes for a wrong rim.
const LONG_SD_MM: [f64; 9] = [0.1, 0.15, 0.25, 0.4, 0.6, 1.0, 1.6, 2.5, 4.0];
const SHORT_SD_MM: [f64; 6] = [0.05, 0.1, 0.2, 0.4, 0.8, 1.6];
/// Standard deviation of how far a scan's colours lie beside its points as a whole, mm: cameras and depth sensors of a phone are a
/// calibration apart.
const SHIFT_MM: f64 = 1.0;
/// The same of how much farther at the board's sides and ends than at its middle: a scan drifts while it is taken, and what of that its
/// points and its colours do not share grows along it.
const WARP_MM: f64 = 0.5;
/// Unknowns of where the colours lie: in plan along and across, each with its changes along and across.
const WARP: usize = 6;
const WARP_SD_MM: [f64; WARP] = [SHIFT_MM, WARP_MM, WARP_MM, SHIFT_MM, WARP_MM, WARP_MM];
/// Rounds of the solve, and the step (mm, or as small in the other parameters) below which it has converged.
const ROUNDS: usize = 30;
const STEP: f64 = 1e-7;
/// What the cost, a chi-square, may still fall by when the steps are over: the unknowns are then within a tenth of their standard deviation.
const CLOSE: f64 = 0.01;

/// A border pixel of a photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Seen {
    pub station: usize,
    pub px: [f64; 2],
    /// Unit normal out of the board.
    pub normal: [f64; 2],
    pub turn: Turn,
}
/// Where a camera sees the border of the rail beside the rail's edge.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct Turn {
    /// How far inside of it, in radii of its rounding.
    pub radii: f64,
    /// How far outside of it by the wall that is in sight, mm before the scale.
    pub wall_mm: f64,
}

/// A length known between two pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Known {
    pub px: [[f64; 2]; 2],
    pub mm: f64,
    /// Its standard deviation, mm.
    pub sd_mm: f64,
}
/// One photo in the solve.
#[derive(Debug, Clone)]
pub(super) struct View<'a> {
    /// The rail's edge that it shows.
    pub edge: &'a Rim<'a>,
    pub camera: Camera,
    /// Which lens it was taken with.
    pub lens: usize,
    pub seen: Vec<Seen>,
    pub known: Vec<Known>,
    /// Where it shows the scan's colours.
    pub matches: Vec<Match>,
    pub bias_px: f64,
    /// Width of its edges, pixels.
    pub width_px: f64,
    /// Scatter of one border pixel, and how many neighbours go together.
    pub sigma_px: f64,
    pub together: f64,
}
/// The solve's state.
pub(super) struct Joint<'a> {
    pub rim: &'a Rim<'a>,
    pub tape: &'a Tape,
    pub believed: Believed,
    pub views: Vec<View<'a>>,
    /// Offsets outwards and surface errors upwards, mm, at the controls.
    pub d: DVector<f64>,
    pub h: DVector<f64>,
    /// ln of the factor on all lengths.
    pub ln_scale: f64,
    /// Radius of the rail's rounding, mm before the scale.
    pub radius: f64,
    /// By how much the rail's wall leans more than is believed.
    pub lean: f64,
    /// The share of a wall in sight up to which the border is found: all of it where it looks like the face, none where it looks like the floor.
    pub wall: f64,
    /// How far the scan's colours lie beside its points, mm before the scale: in plan along and across, each at the middle, and by how
    /// much more at the end and at the side.
    pub warp: [f64; WARP],
    /// Standard deviations of the rim's error, mm: long, short.
    pub rim_sd_mm: [f64; 2],
    rim_precision: DMatrix<f64>,
    /// What the standard deviations tried mean.
    tried: Vec<Tried>,
    surface_precision: DMatrix<f64>,
    /// By how much the board's axes are turned against the plan's.
    pub angle: f64,
    /// By how much the softened width is more than the widest, true mm, as it was before the solve.
    pub over_mm: f64,
    /// How far the rail is from its mirror image, true mm rms, as it was before the solve: a board's sides mirror each other (common practice,
    /// no source), so that where they do not one of them is found wrong. Of two sides, each with its own error, the width's is as large.
    pub asymmetry_mm: f64,
    /// Truck holes seen in a photo, for a wheelbase read with the tape.
    pub seen_trucks: Option<SeenTrucks>,
    /// The trucks as the scan shows them, before the scale.
    pub trucks: Option<TruckSpan>,
}
/// Normal matrix (its lower half: more is not looked at), right side, robust cost of everything but the priors on `d`.
struct Normal {
    a: DMatrix<f64>,
    b: DVector<f64>,
    cost: f64,
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
/// Where ln of the scale stands among the unknowns.
pub(super) const SCALE: usize = 2 * CONTROLS;
const RADIUS: usize = SCALE + 1;
const LEAN: usize = RADIUS + 1;
const WALL: usize = LEAN + 1;
const SHIFT: usize = WALL + 1;

fn inverse(m: DMatrix<f64>) -> Option<DMatrix<f64>> {
    m.cholesky().map(|c| c.inverse())
}
/// ln of the determinant of what was factored.
fn log_det(c: &Cholesky<f64, Dyn>) -> f64 {
    2.0 * c.l_dirty().diagonal().iter().map(|v| v.ln()).sum::<f64>()
}
/// Standard deviations of the rim's error tried, long and short, and the precision of the offsets they mean.
struct Tried {
    sd_mm: [f64; 2],
    precision: DMatrix<f64>,
    /// ln of the precision's determinant.
    log_det: f64,
}
impl Tried {
    fn new(rim: &RimPrior, sd_mm: [f64; 2]) -> Option<Self> {
        let c = rim.covariance(sd_mm).cholesky()?;
        Some(Self { sd_mm, precision: c.inverse(), log_det: -log_det(&c) })
    }
    /// -2 ln of their evidence, up to a constant, at the offsets `d` with the normal matrix of all else reduced to them.
    fn score(&self, reduced: &DMatrix<f64>, right: &DVector<f64>, d: &DVector<f64>) -> Option<f64> {
        let pd = &self.precision * d;
        let b = right - &pd;
        let c = (reduced + &self.precision).cholesky()?;
        Some(d.dot(&pd) - b.dot(&c.solve(&b)) + log_det(&c) - self.log_det)
    }
}
impl<'a> Joint<'a> {
    /// A solve that begins at the scan's rim moved by `d`. `None` when a prior is not positive definite.
    pub fn new(rim: &'a Rim<'a>, tape: &'a Tape, believed: Believed, views: Vec<View<'a>>, d: f64) -> Option<Self> {
        let mut s = smooth(SURFACE_RATIO);
        for i in 0..CONTROLS {
            for j in 0..CONTROLS {
                s[(i, j)] *= believed.surface_sd[i] * believed.surface_sd[j];
            }
            // a smooth kernel alone is singular to rounding
            s[(i, i)] *= 1.01;
        }
        let mut out = Self {
            rim,
            tape,
            radius: believed.radius[0],
            believed,
            views,
            d: DVector::from_element(CONTROLS, d),
            h: DVector::zeros(CONTROLS),
            ln_scale: 0.0,
            lean: 0.0,
            wall: 0.5,
            warp: [0.0; WARP],
            rim_sd_mm: [LONG_SD_MM[6], SHORT_SD_MM[2]],
            rim_precision: DMatrix::zeros(0, 0),
            tried: Vec::new(),
            surface_precision: inverse(s)?,
            angle: width_angle(&rim.polygon()),
            over_mm: 0.0,
            asymmetry_mm: 0.0,
            seen_trucks: None,
            trucks: None,
        };
        out.rim_precision = inverse(out.believed.rim.covariance(out.rim_sd_mm))?;
        let least = out.believed.rim.least_mm.min(LONG_SD_MM[LONG_SD_MM.len() - 1]);
        let pairs = LONG_SD_MM.into_iter().filter(|long| *long >= least);
        let pairs: Vec<[f64; 2]> = pairs.flat_map(|long| SHORT_SD_MM.map(|short| [long, short])).collect();
        let rim = &out.believed.rim;
        out.tried = each(pairs.len(), |k| Tried::new(rim, pairs[k])).into_iter().flatten().collect();
        out.ln_scale = (tape.width_mm / longest_across(&out.along_axes()).1).ln();
        out.over_mm = Widest::of(&out.rail()).over_mm;
        Some(out)
    }
    /// Where a lens's unknowns begin.
    pub fn lens_at(&self, l: usize) -> usize {
        SHIFT + WARP + LENS * l
    }
    /// Where a view's pose begins, its edge bias behind it.
    pub fn view_at(&self, v: usize) -> usize {
        self.lens_at(self.believed.lenses.len()) + (POSE + 1) * v
    }
    /// The rail now, before the scale, turned so that the width's axes are x and y.
    pub fn along_axes(&self) -> Polygon {
        let points = (0..self.rim.plan.len()).map(|i| self.rim.plan_point(i, offset(&self.d, i))).collect();
        Polygon { points }.turned(-self.angle)
    }
    /// Length and width now, before the scale.
    #[cfg(test)]
    pub fn size(&self) -> (f64, f64) {
        let rail = self.along_axes();
        let (lo, hi) = rail.bounds();
        (hi[0] - lo[0], longest_across(&rail).1)
    }
    /// The rail's edge as a view shows it, before its rounding.
    pub fn rail_px(&self, v: &View) -> Vec<[f64; 2]> {
        v.edge.pixels(&v.camera, &|i| offset(&self.d, i) + self.lean * v.edge.lean_mm[i])
    }
    /// Residuals of a view's border, pixels.
    pub fn residuals(&self, v: &View) -> Vec<f64> {
        v.seen
            .iter()
            .map(|s| {
                let q = v.camera.project(self.place(v, s));
                (s.px[0] - q[0]) * s.normal[0] + (s.px[1] - q[1]) * s.normal[1] - v.bias_px
            })
            .collect()
    }
    /// Where on the surface, before the scale, a camera sees the border of the rail's rounding.
    fn place(&self, v: &View, s: &Seen) -> [f64; 3] {
        let mut p = v.edge.point(s.station, self.out(v, s));
        p[2] += offset(&self.h, s.station);
        p
    }
    /// How far outside its station that is, mm.
    fn out(&self, v: &View, s: &Seen) -> f64 {
        offset(&self.d, s.station) + self.wall * s.turn.wall_mm - self.radius * s.turn.radii
            + self.lean * v.edge.lean_mm[s.station]
    }
    /// mm between two pixels on the face of a rail's edge, before the scale.
    pub fn between(&self, edge: &Rim, c: &Camera, px: [[f64; 2]; 2]) -> Option<f64> {
        let near = edge.point(0, 0.0);
        let [a, b] = [lift(c, edge.z, px[0], near)?, lift(c, edge.z, px[1], near)?];
        Some((a[0] - b[0]).hypot(a[1] - b[1]).hypot(a[2] - b[2]))
    }
    fn normal(&self) -> Normal {
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
    fn add_bends(&self, a: &mut DMatrix<f64>) {
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
    fn whole(&self, mut m: Normal) -> Normal {
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
    fn step(&mut self, x: &DVector<f64>) {
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
    /// Estimates each view's scatter and how far its residuals go together.
    pub fn weigh(&mut self) {
        let r: Vec<Vec<f64>> = self.views.iter().map(|v| self.residuals(v)).collect();
        for (v, r) in self.views.iter_mut().zip(&r) {
            // a border's bias changes from tone to tone
            v.sigma_px = mad_sigma(r).max(bias_sd_px(v));
            v.together = together(r, CAUCHY_TUNING * v.sigma_px);
        }
    }
    /// Chooses the rim's standard deviations by the evidence of all measurements, linear about the present state.
    pub fn choose_rim_sd(&mut self) {
        let m = self.normal();
        // what is no offset of the rim is eliminated once: the standard deviations tried change the offsets' block alone
        let rest = m.a.nrows() - CONTROLS;
        let Some(others) = m.a.view((CONTROLS, CONTROLS), (rest, rest)).into_owned().cholesky() else { return };
        let across = m.a.view((CONTROLS, 0), (rest, CONTROLS)).into_owned();
        let solved = others.solve(&across);
        let reduced = m.a.view((0, 0), (CONTROLS, CONTROLS)) - across.transpose() * &solved;
        let right = m.b.rows(0, CONTROLS) - solved.transpose() * m.b.rows(CONTROLS, rest);
        let (tried, d) = (&self.tried, &self.d);
        let scores = each(tried.len(), |k| tried[k].score(&reduced, &right, d).unwrap_or(f64::INFINITY));
        let best = (0..tried.len()).filter(|k| scores[*k].is_finite()).min_by(|a, b| scores[*a].total_cmp(&scores[*b]));
        if let Some(k) = best {
            self.rim_sd_mm = self.tried[k].sd_mm;
            self.rim_precision = self.tried[k].precision.clone();
        }
    }
    /// Covariance of all unknowns at the solution.
    pub fn covariance(&self) -> Option<DMatrix<f64>> {
        inverse(self.whole(self.normal()).a)
    }
    /// Mean offset and its standard deviation, mm before the scale.
    pub fn mean_offset(&self, covariance: &DMatrix<f64>) -> (f64, f64) {
        let v = covariance.view((0, 0), (CONTROLS, CONTROLS)).sum() / (CONTROLS * CONTROLS) as f64;
        (self.d.mean(), v.max(0.0).sqrt())
    }
    /// Standard deviation of the radius of the rail's rounding, mm before the scale.
    pub fn radius_sd(covariance: &DMatrix<f64>) -> f64 {
        covariance[(RADIUS, RADIUS)].max(0.0).sqrt()
    }
    /// Standard error of the outline across the rail at a station, the scale's about the origin included, mm.
    pub fn standard_error(&self, covariance: &DMatrix<f64>, i: usize) -> f64 {
        let (k, w) = basis(i);
        let s = self.ln_scale.exp();
        let (p, n) = (self.rim.plan_point(i, offset(&self.d, i)), self.rim.normal[i]);
        let mut g: Vec<(usize, f64)> = (0..4).map(|c| ((k + c) % CONTROLS, s * w[c])).collect();
        g.push((SCALE, s * (p[0] * n[0] + p[1] * n[1])));
        let v: f64 = g.iter().flat_map(|a| g.iter().map(move |b| a.1 * b.1 * covariance[(a.0, b.0)])).sum();
        v.max(0.0).sqrt()
    }
    /// Relative standard uncertainty of the scale.
    pub fn scale_sd(covariance: &DMatrix<f64>) -> f64 {
        covariance[(SCALE, SCALE)].max(0.0).sqrt()
    }
}
/// Standard deviation of a view's edge bias, pixels.
fn bias_sd_px(v: &View) -> f64 {
    BIAS_RATIO * v.width_px.max(SHARP_PX)
}
/// How many neighbours in a row of residuals say the same: 1 + 2 times the sum of the correlations up to the first that is
/// not positive.
fn together(r: &[f64], limit: f64) -> f64 {
    let v: Vec<f64> = r.iter().map(|r| r.clamp(-limit, limit)).collect();
    let at = |lag: usize| v.iter().zip(&v[lag..]).map(|(a, b)| a * b).sum::<f64>();
    let zero = at(0);
    if !(zero > 0.0) {
        return 1.0;
    }
    let sum: f64 = (1..v.len() / 4).map(|l| at(l) / zero).take_while(|c| *c > 0.0).sum();
    1.0 + 2.0 * sum
}
#[cfg(test)]
mod tests;
