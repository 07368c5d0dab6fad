//! What the fit reports: residuals over all, by sections, standard errors.
use super::bins::Bin;
use super::error::Found;
use super::fit::SurfaceOptions;
use super::smoothing::Chosen;
use super::{StationReport, SurfaceReport, Underside};
use crate::error::{Stage, Warned, Warning};
use crate::geom::Within;
use crate::num::{BIWEIGHT_TUNING, Sample, TensorFit, Thinned, each, mad_sigma, quantile, rms};
use nalgebra::Point3;

/// Sections reported.
const STATIONS: usize = 9;
/// Points looked at: residual figures of more differ in the third digit.
const POINTS: usize = 50_000;
/// Share of the sheet's points that a surface may throw out: noise throws out next to none, so that more are another surface that was taken
/// for the deck's. Of 97 drawn scenes with a right surface the most was 5.0 %; a box as wide as the deck that had melted into it made 9.2 %.
const MOST_REJECTED: f64 = 0.07;

/// A finished fit and what it was made from.
pub(super) struct Fitted<'a> {
    pub fit: TensorFit,
    pub sheet: &'a [Point3<f64>],
    /// Where points were taken, within the rim's bounds.
    pub inside: &'a Within<'a>,
    pub bounds: ([f64; 2], [f64; 2]),
    pub cells: &'a [Bin],
    pub samples: &'a [Sample],
    pub options: &'a SurfaceOptions,
    pub chosen: Chosen,
    pub thinned: Thinned,
}
impl Fitted<'_> {
    pub fn report(self) -> Warned<Underside> {
        let z = self.thinned.z;
        let (lo, hi) = self.bounds;
        let stride = (self.sheet.len() / POINTS).max(1);
        let beyond = |p: &Point3<f64>| self.inside.holds([p.x, p.y]).then(|| (p.x, z.beyond([p.x, p.y, p.z])));
        let used = each(self.sheet.len().div_ceil(stride), |i| beyond(&self.sheet[i * stride]));
        let used: Vec<(f64, f64)> = used.into_iter().flatten().collect();
        let values: Vec<f64> = used.iter().map(|u| u.1).collect();
        let cut = BIWEIGHT_TUNING * mad_sigma(&values);
        let kept: Vec<(f64, f64)> = used.iter().copied().filter(|u| u.1.abs() <= cut).collect();
        let inside: Vec<f64> = kept.iter().map(|u| u.1).collect();
        let half = (hi[0] - lo[0]) / (2.0 * STATIONS as f64);
        let stations = (0..STATIONS)
            .map(|i| {
                let x = lo[0] + half * (2 * i + 1) as f64;
                let near = self.options.span_mm / 2.0;
                let r: Vec<f64> = kept.iter().filter(|u| (u.0 - x).abs() < near).map(|u| u.1).collect();
                StationReport { x_mm: x, residual_rms_mm: rms(&r), points: r.len() * stride }
            })
            .collect();
        let found = Found::new(self.fit, &self.chosen, self.samples, self.cells, &kept, self.thinned.bound);
        let fitted = &self.chosen.solution.z;
        let report = SurfaceReport {
            points: kept.len() * stride,
            rejected_ratio: 1.0 - kept.len() as f64 / used.len().max(1) as f64,
            residual_rms_mm: rms(&inside),
            residual_p95_mm: quantile(&inside.iter().map(|r| r.abs()).collect::<Vec<_>>(), 0.95),
            noise_error_mm: found.noise_mm,
            drift_error_mm: found.drift_mm,
            bow_error_mm: found.bow_mm,
            standard_error_mm: found.median_mm,
            control_points: [z.x.len(), z.y.len()],
            control_points_fitted: [fitted.x.len(), fitted.y.len()],
            thinning_mm: self.thinned.bound,
            smoothing: self.chosen.lambda,
            stations,
        };
        let mut warnings = Vec::new();
        if report.rejected_ratio > MOST_REJECTED {
            warnings.push(Warning::new(
                Stage::Surface,
                format!(
                    "THE SHAPE MAY BE WRONG: {:.0} % of the points that were taken for the deck lie beside its surface, {:.0} % is usual at most",
                    100.0 * report.rejected_ratio,
                    100.0 * MOST_REJECTED
                ),
                "take off what lies on the board and scan it again in one pass; look at the heights in report.html before you print",
            ));
        }
        Warned::with(Underside { z, error: found.map, report }, warnings)
    }
}
