//! The fair underside as a tensor-product B-spline z(x, y).
mod bins;
mod error;
mod fit;
mod likeness;
mod sections;
mod smoothing;

pub(crate) use error::BOW_RELATIVE;
pub use error::ErrorMap;
pub use fit::{SurfaceOptions, fit_underside};
pub(crate) use likeness::like_a_deck;

use crate::num::TensorSpline;

/// The fitted underside.
#[derive(Debug, Clone)]
pub struct Underside {
    /// Height over the plan, mm; defined on a rectangle that holds the rim with a margin.
    pub z: TensorSpline,
    /// Standard error of the heights over the same plan, mm.
    pub error: ErrorMap,
    /// Residuals and what was left out.
    pub report: SurfaceReport,
}
/// How well the underside fits the scan.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct SurfaceReport {
    /// Points used.
    pub points: usize,
    /// Share of points down-weighted to nothing.
    pub rejected_ratio: f64,
    /// Root mean square of the residuals of the points used, along the normal, mm.
    pub residual_rms_mm: f64,
    /// Their 95 % quantile, mm.
    pub residual_p95_mm: f64,
    /// Median standard error of the surface from the scan's noise, mm.
    pub noise_error_mm: f64,
    /// Standard uncertainty from passes of the scan that lie apart, mm; 0 where no doubled layer shows.
    pub drift_error_mm: f64,
    /// Standard uncertainty from a bend of the whole scan that nothing in it shows, mm; by experience, not from this scan.
    pub bow_error_mm: f64,
    /// All together: the median standard error of the surface, mm.
    pub standard_error_mm: f64,
    /// Control points along x and y.
    pub control_points: [usize; 2],
    /// Control points along x and y of the fit, before knots were taken out.
    pub control_points_fitted: [usize; 2],
    /// No place on the board moved by more than this when knots were taken out, mm.
    pub thinning_mm: f64,
    /// The smoothing chosen.
    pub smoothing: f64,
    /// Stations along x (mm) with the residual rms (mm) and number of points of each section.
    pub stations: Vec<StationReport>,
}
impl SurfaceReport {
    /// The same once all lengths are found to be `s` times as large and the origin lies `-shift` along the board, mm.
    #[must_use]
    pub(crate) fn moved(mut self, s: f64, shift: f64) -> Self {
        for mm in [
            &mut self.residual_rms_mm,
            &mut self.residual_p95_mm,
            &mut self.noise_error_mm,
            &mut self.drift_error_mm,
            &mut self.bow_error_mm,
            &mut self.standard_error_mm,
            &mut self.thinning_mm,
        ] {
            *mm *= s;
        }
        for station in &mut self.stations {
            station.x_mm = s * station.x_mm + shift;
            station.residual_rms_mm *= s;
        }
        self
    }
}
/// One section's fit.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct StationReport {
    /// Place along the board, mm.
    pub x_mm: f64,
    /// Residual rms of the points near it, mm.
    pub residual_rms_mm: f64,
    /// Points near it.
    pub points: usize,
}
