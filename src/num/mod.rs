//! Knots, curves, tensor splines, banded least squares, Levenberg-Marquardt, robust weights; knows no boards and no files.
mod banded;
mod curve;
mod fit;
mod interpolate;
mod knots;
mod lm;
mod parallel;
mod robust;
mod tensor;
mod thin;
pub use banded::Banded;
pub use curve::Curve;
pub use fit::{Sample, TensorFit, TensorSolution};
pub use interpolate::interpolate;
pub use knots::{Knots, MAX_DEGREE};
pub use lm::{LmOptions, LmReport, LmStop, minimize};
pub(crate) use parallel::{at_once, each, sort_by};
pub use robust::{BIWEIGHT_TUNING, CAUCHY_TUNING, biweight, mad_sigma, median, quantile, quantile_select, rms};
pub use tensor::TensorSpline;
pub use thin::Thinned;

/// A value as it is shown with so many `digits` after the point: one that rounds to nought has no sign.
pub fn shown(v: f64, digits: i32) -> f64 {
    let k = 10f64.powi(digits);
    (v * k).round() / k + 0.0
}

#[cfg(test)]
mod tests {
    /// Reports said "x = -0.0" and "-0.0 mm".
    #[test]
    fn nought_is_shown_without_a_sign() {
        assert_eq!(
            format!("{:.1} {:+.1} {:.2}", super::shown(-0.04, 1), super::shown(-0.0, 1), super::shown(-0.004, 2)),
            "0.0 +0.0 0.00"
        );
        assert_eq!(super::shown(-0.06, 1), -0.1);
    }
}
