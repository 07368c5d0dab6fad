//! A stiff smooth surface over a board's plan box, to tell what is board from what runs out of it.
use crate::num::{BIWEIGHT_TUNING, biweight, mad_sigma};
use nalgebra::{DMatrix, DVector};

/// Degrees along the board and across it: two kicks and a concave with a ridge in its middle, and no step down to a floor.
const DEGREES: [usize; 2] = [6, 4];
/// Points from which it is fitted: some hundred for each of its coefficients.
const FITTED: usize = 4000;
/// Passes of robust weights.
const PASSES: usize = 5;

/// Heights over a box, -1 to 1 along both axes, as a product of Chebyshev series.
pub(super) struct Smooth(DVector<f64>);

fn row(x: f64, y: f64) -> DVector<f64> {
    let [tx, ty] = [(x, DEGREES[0] + 1), (y, DEGREES[1] + 1)].map(|(v, n)| chebyshev(v, n));
    DVector::from_fn(tx.len() * ty.len(), |k, _| tx[k / ty.len()] * ty[k % ty.len()])
}
/// The first `n` Chebyshev polynomials at `x`.
fn chebyshev(x: f64, n: usize) -> Vec<f64> {
    let mut t = vec![1.0, x];
    for k in 2..n {
        t.push(2.0 * x * t[k - 1] - t[k - 2]);
    }
    t
}

impl Smooth {
    /// Least squares through points (x, y, height).
    pub fn fit(points: &[[f64; 3]]) -> Option<Self> {
        Self::weighted(&sampled(points), |_| 1.0)
    }
    /// The same, that points off it do not draw.
    pub fn robust(points: &[[f64; 3]]) -> Option<Self> {
        let some = sampled(points);
        let mut fit = Self::weighted(&some, |_| 1.0)?;
        for _ in 0..PASSES {
            let off = |p: &[f64; 3]| p[2] - fit.at(p[0], p[1]);
            let cut = BIWEIGHT_TUNING * mad_sigma(&some.iter().map(off).collect::<Vec<_>>());
            if !(cut > 0.0) {
                break;
            }
            fit = Self::weighted(&some, |p| biweight(off(p) / cut))?;
        }
        Some(fit)
    }
    fn weighted(points: &[[f64; 3]], weight: impl Fn(&[f64; 3]) -> f64) -> Option<Self> {
        let n = (DEGREES[0] + 1) * (DEGREES[1] + 1);
        let mut a = DMatrix::<f64>::identity(n, n) * f64::EPSILON.sqrt();
        let mut b = DVector::<f64>::zeros(n);
        for p in points {
            let (r, w) = (row(p[0], p[1]), weight(p));
            a.ger(w, &r, &r, 1.0);
            b.axpy(w * p[2], &r, 1.0);
        }
        Some(Self(a.cholesky()?.solve(&b)))
    }
    /// Height at a place in the box.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        row(x, y).dot(&self.0)
    }
}
fn sampled(points: &[[f64; 3]]) -> Vec<[f64; 3]> {
    points.iter().step_by(points.len().div_ceil(FITTED).max(1)).copied().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A shape within its degrees comes back.
    #[test]
    fn a_dished_board_with_kicks_comes_back() {
        let board = |x: f64, y: f64| 3.0 - 6.0 * y * y - 8.0 * x.powi(4) + 2.0 * x * y;
        let mut points = Vec::new();
        for i in -60i32..=60 {
            for j in -20i32..=20 {
                let (x, y) = (f64::from(i) / 60.0, f64::from(j) / 20.0);
                points.push([x, y, board(x, y)]);
            }
        }
        let plain = Smooth::fit(&points).unwrap();
        for [x, y, z] in points {
            assert!((plain.at(x, y) - z).abs() < 1e-3, "{x} {y}");
        }
    }
}
