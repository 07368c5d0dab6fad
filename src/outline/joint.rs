//! Everything measured, solved together: the scan's rim, the photos' edges, the tape, known lengths.
//!
//! Unknown are the rail's offset from the scan's rim and the surface's error under the rail (both along the rim), the radius of
//! the rail's rounding, how much of its wall in sight looks like board, the scale, each camera's lens and each photo's pose and edge bias. What is believed beforehand enters as observations with its
//! standard deviation, so the inverse normal matrix is the covariance.
//!
//! # References
//! JCGM 100:2008 (GUM) and JCGM 102:2011, least squares with several output quantities; D. J. C. MacKay, *Bayesian
//! interpolation*, 1992, for the choice of the standard deviations by the evidence.
mod descent;
mod doubt;
mod rim_sd;
mod rows;
mod view;

use super::camera::{Camera, LENS, POSE};
use super::prior::{Believed, smooth};
use super::readings::SeenTrucks;
use super::rim::{CONTROLS, Rim, lift, offset};
use super::widest::Widest;
use crate::frame::{Tape, TruckSpan};
use crate::geom::{Polygon, longest_across, width_angle};
use crate::num::{CAUCHY_TUNING, each, mad_sigma};
use nalgebra::{DMatrix, DVector};
use rim_sd::{LONG_SD_MM, SHORT_SD_MM, Tried};
use view::bias_sd_px;
pub(super) use view::{Known, Seen, Turn, View};

/// A surface carried over the rounded rail has one error over half a width: correlated over this share of the way round.
const SURFACE_RATIO: f64 = 1.0 / 16.0;
/// Standard deviation of how far a scan's colours lie beside its points as a whole, mm: cameras and depth sensors of a phone are a
/// calibration apart.
const SHIFT_MM: f64 = 1.0;
/// The same of how much farther at the board's sides and ends than at its middle: a scan drifts while it is taken, and what of that its
/// points and its colours do not share grows along it.
const WARP_MM: f64 = 0.5;
/// Unknowns of where the colours lie: in plan along and across, each with its changes along and across.
const WARP: usize = 6;
const WARP_SD_MM: [f64; WARP] = [SHIFT_MM, WARP_MM, WARP_MM, SHIFT_MM, WARP_MM, WARP_MM];

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
/// Where ln of the scale stands among the unknowns.
pub(super) const SCALE: usize = 2 * CONTROLS;
const RADIUS: usize = SCALE + 1;
const LEAN: usize = RADIUS + 1;
const WALL: usize = LEAN + 1;
const SHIFT: usize = WALL + 1;

fn inverse(m: DMatrix<f64>) -> Option<DMatrix<f64>> {
    m.cholesky().map(|c| c.inverse())
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
    /// Estimates each view's scatter and how far its residuals go together.
    pub fn weigh(&mut self) {
        let r: Vec<Vec<f64>> = self.views.iter().map(|v| self.residuals(v)).collect();
        for (v, r) in self.views.iter_mut().zip(&r) {
            // a border's bias changes from tone to tone
            v.sigma_px = mad_sigma(r).max(bias_sd_px(v));
            v.together = together(r, CAUCHY_TUNING * v.sigma_px);
        }
    }
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
