//! How far off the scan's rim is along it: what is tried, and the choice by the evidence.
use super::super::prior::RimPrior;
use super::super::rim::CONTROLS;
use super::Joint;
use crate::num::each;
use nalgebra::{Cholesky, DMatrix, DVector, Dyn};

/// Standard deviations tried for the rim's error along it, mm, long and short: from less than any scan's to what the
/// pipeline takes for a wrong rim.
pub(super) const LONG_SD_MM: [f64; 9] = [0.1, 0.15, 0.25, 0.4, 0.6, 1.0, 1.6, 2.5, 4.0];
pub(super) const SHORT_SD_MM: [f64; 6] = [0.05, 0.1, 0.2, 0.4, 0.8, 1.6];

/// ln of the determinant of what was factored.
fn log_det(c: &Cholesky<f64, Dyn>) -> f64 {
    2.0 * c.l_dirty().diagonal().iter().map(|v| v.ln()).sum::<f64>()
}
/// Standard deviations of the rim's error tried, long and short, and the precision of the offsets they mean.
pub(super) struct Tried {
    sd_mm: [f64; 2],
    precision: DMatrix<f64>,
    /// ln of the precision's determinant.
    log_det: f64,
}
impl Tried {
    pub fn new(rim: &RimPrior, sd_mm: [f64; 2]) -> Option<Self> {
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
impl Joint<'_> {
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
}
