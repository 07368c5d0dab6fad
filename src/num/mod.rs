//! Knots, curves, tensor splines, banded least squares, Levenberg-Marquardt, robust weights; knows no boards and no files.
mod banded;
mod curve;
mod fit;
mod interpolate;
mod knots;
mod lm;
mod robust;
mod tensor;
mod thin;
pub use banded::Banded;
pub use curve::Curve;
pub use fit::{Sample, TensorFit, TensorSolution};
pub use interpolate::interpolate;
pub use knots::Knots;
pub use lm::{LmOptions, LmReport, LmStop, minimize};
pub use robust::{BIWEIGHT_TUNING, biweight, mad_sigma, median, quantile, quantile_select, rms};
pub use tensor::TensorSpline;
pub use thin::Thinned;
