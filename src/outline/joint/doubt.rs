//! What is sure of the solution, and how much.
use super::super::rim::{CONTROLS, basis, offset};
use super::{Joint, RADIUS, SCALE, inverse};
use nalgebra::DMatrix;

impl Joint<'_> {
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
