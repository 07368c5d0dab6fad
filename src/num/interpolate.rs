//! Spline interpolation at the Greville abscissae.
use super::Knots;
use nalgebra::DMatrix;

/// Coefficients of the splines that take the columns of `values` (one row per function) at the Greville abscissae. `None` when a full
/// interior knot multiplicity makes two abscissae meet.
pub fn interpolate(knots: &Knots, values: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let n = knots.len();
    let mut a = DMatrix::zeros(n, n);
    for (row, u) in knots.greville().into_iter().enumerate() {
        let (f, b) = knots.basis(u);
        for k in 0..=knots.degree() {
            a[(row, f + k)] = b[k];
        }
    }
    a.lu().solve(values)
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn cubics_are_taken_exactly() {
        let k = Knots::uniform(3, 7, 0.0, 2.0);
        let f = |x: f64| 1.0 - 2.0 * x + 0.5 * x * x * x;
        let g = k.greville();
        let c = interpolate(&k, &DMatrix::from_fn(g.len(), 1, |i, _| f(g[i]))).unwrap();
        for i in 0..=20 {
            let x = f64::from(i) / 10.0;
            let (s, b) = k.basis(x);
            let v: f64 = (0..4).map(|j| b[j] * c[(s + j, 0)]).sum();
            assert!((v - f(x)).abs() < 1e-12);
        }
    }
}
