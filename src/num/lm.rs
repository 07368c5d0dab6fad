//! Levenberg-Marquardt for small dense problems.
//!
//! # References
//! J. J. Moré, *The Levenberg-Marquardt algorithm: implementation and theory*, 1978; damping update after H. B. Nielsen, 1999.
use nalgebra::{DMatrix, DVector};

/// When to stop.
#[derive(Debug, Clone)]
pub struct LmOptions {
    /// Relative decrease of the objective below which it has converged.
    pub ftol: f64,
    /// Relative step below which it has converged.
    pub xtol: f64,
    /// Most evaluations of residuals with Jacobian.
    pub max_evaluations: usize,
}
impl Default for LmOptions {
    fn default() -> Self {
        Self { ftol: 1e-14, xtol: 1e-12, max_evaluations: 500 }
    }
}
/// Why the solver stopped.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LmStop {
    /// The objective or the step stopped changing.
    Converged,
    /// The evaluations ran out: not a success.
    OutOfPatience,
    /// The start gave residuals that are not finite.
    NotFinite,
}
/// What the solver did.
#[derive(Debug, Clone)]
pub struct LmReport {
    /// Why it stopped.
    pub stop: LmStop,
    /// Evaluations made.
    pub evaluations: usize,
    /// Sum of squared residuals.
    pub rss: f64,
    /// (J'J)^-1 at the end, where it exists: times the residual variance it is the covariance.
    pub inverse_normal: Option<DMatrix<f64>>,
}

/// Longest first step, in scaled lengths of the start.
const FIRST_STEP: f64 = 0.3;

/// Minimises `|r(x)|^2` of these residuals with their Jacobian (rows: residuals).
pub fn minimize(
    x: &mut DVector<f64>,
    options: &LmOptions,
    residuals: impl Fn(&DVector<f64>) -> DVector<f64>,
    jacobian: impl Fn(&DVector<f64>) -> DMatrix<f64>,
) -> LmReport {
    let (mut r, mut j) = (residuals(x), jacobian(x));
    let mut rss = r.norm_squared();
    let mut evaluations = 1;
    if !rss.is_finite() {
        return LmReport { stop: LmStop::NotFinite, evaluations, rss, inverse_normal: None };
    }
    let n = x.len();
    let (mut mu, mut nu) = (1e-3_f64, 2.0_f64);
    let mut scale = DVector::from_element(n, 0.0_f64);
    let mut first = true;
    let mut stop = LmStop::OutOfPatience;
    'outer: while evaluations < options.max_evaluations {
        let g = j.tr_mul(&r);
        for k in 0..n {
            scale[k] = scale[k].max(j.column(k).norm());
        }
        loop {
            // stacked QR keeps the precision that normal equations lose
            let mut stacked = DMatrix::zeros(j.nrows() + n, n);
            stacked.rows_mut(0, j.nrows()).copy_from(&j);
            for k in 0..n {
                stacked[(j.nrows() + k, k)] = mu.sqrt() * if scale[k] > 0.0 { scale[k] } else { 1.0 };
            }
            let mut rhs = DVector::zeros(j.nrows() + n);
            rhs.rows_mut(0, j.nrows()).copy_from(&(-&r));
            let qr = stacked.qr();
            qr.q_tr_mul(&mut rhs);
            let Some(step) = qr.r().solve_upper_triangular(&rhs.rows(0, n).into_owned()) else { break 'outer };
            // the first step stays within the scaled length of the start (Moré's bound): BoxBOD flies off without it
            let scaled = |v: &DVector<f64>| v.component_mul(&scale).norm();
            if first && scaled(x) > 0.0 && scaled(&step) > FIRST_STEP * scaled(x) && mu < 1e12 {
                mu *= 4.0;
                continue;
            }
            let small = (0..n).all(|k| step[k].abs() <= options.xtol * (x[k].abs() + options.xtol));
            let trial = &*x + &step;
            let rt = residuals(&trial);
            evaluations += 1;
            let rss_t = rt.norm_squared();
            let predicted = -(2.0 * g.dot(&step) + (&j * &step).norm_squared());
            let rho = (rss - rss_t) / predicted.max(f64::MIN_POSITIVE);
            if rss_t.is_finite() && rss_t <= rss && rho > 0.0 {
                let flat = (rss - rss_t) <= options.ftol * rss && predicted <= options.ftol * rss;
                x.copy_from(&trial);
                (r, rss) = (rt, rss_t);
                j = jacobian(x);
                mu *= (1.0 / 3.0_f64).max(1.0 - (2.0 * rho - 1.0).powi(3));
                nu = 2.0;
                first = false;
                if flat || small || rss == 0.0 {
                    stop = LmStop::Converged;
                    break 'outer;
                }
                break;
            }
            if small || predicted <= options.ftol * rss {
                stop = LmStop::Converged;
                break 'outer;
            }
            mu *= nu;
            nu *= 2.0;
            if evaluations >= options.max_evaluations || !mu.is_finite() {
                break 'outer;
            }
        }
    }
    let inverse_normal = j.clone().qr().r().try_inverse().map(|ri| &ri * ri.transpose());
    LmReport { stop, evaluations, rss, inverse_normal }
}
#[cfg(test)]
mod tests {
    use super::*;
    fn saturating(x: &[f64], y: &[f64], start: [f64; 2]) -> (DVector<f64>, LmReport) {
        let mut b = DVector::from_column_slice(&start);
        let residuals = |b: &DVector<f64>| {
            DVector::from_iterator(x.len(), x.iter().zip(y).map(|(x, y)| b[0] * (1.0 - (-b[1] * x).exp()) - y))
        };
        let rep = minimize(&mut b, &LmOptions::default(), residuals, |b| {
            DMatrix::from_fn(x.len(), 2, |i, k| {
                let e = (-b[1] * x[i]).exp();
                if k == 0 { 1.0 - e } else { b[0] * x[i] * e }
            })
        });
        (b, rep)
    }
    /// NIST Statistical Reference Datasets, Misra1a, certified values, both starts.
    #[test]
    fn nist_misra1a() {
        let y = [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78];
        let x = [77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0];
        for s in [[500.0, 1e-4], [250.0, 5e-4]] {
            let (b, r) = saturating(&x, &y, s);
            assert_eq!(r.stop, LmStop::Converged);
            assert!((b[0] / 238.94212918 - 1.0).abs() < 1e-7 && (b[1] / 5.5015643181e-4 - 1.0).abs() < 1e-7);
            assert!((r.rss / 0.12455138894 - 1.0).abs() < 1e-8);
            let sd = (r.rss / 12.0 * r.inverse_normal.unwrap()[(0, 0)]).sqrt();
            assert!((sd / 2.7070075241 - 1.0).abs() < 1e-5);
        }
    }
    /// NIST Statistical Reference Datasets, BoxBOD; its first start breaks plain Gauss-Newton.
    #[test]
    fn nist_boxbod() {
        let (b, r) = saturating(&[1., 2., 3., 5., 7., 10.], &[109., 149., 149., 191., 213., 224.], [1.0, 1.0]);
        assert!((b[0] / 213.80940889 - 1.0).abs() < 1e-6 && (b[1] / 0.54723748542 - 1.0).abs() < 1e-6, "{b} {r:?}");
    }
}
