//! Tensor-product B-spline functions z(x, y).
use super::Knots;

/// A scalar tensor-product spline over a rectangle; coefficients row by row, `x` index outside: `c[i * ny + j]`.
#[derive(Debug, Clone, PartialEq)]
pub struct TensorSpline {
    /// Knots along x.
    pub x: Knots,
    /// Knots along y.
    pub y: Knots,
    /// Coefficients, `x.len() * y.len()` of them.
    pub c: Vec<f64>,
}
impl TensorSpline {
    /// A spline; `None` when the number of coefficients does not match.
    pub fn new(x: Knots, y: Knots, c: Vec<f64>) -> Option<Self> {
        (c.len() == x.len() * y.len()).then_some(Self { x, y, c })
    }
    /// The height at (x, y); outside the rectangle the border polynomial goes on.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let ((i, bx), (j, by)) = (self.x.basis(x), self.y.basis(y));
        self.combine(i, &bx, j, &by)
    }
    fn combine(&self, i: usize, bx: &[f64], j: usize, by: &[f64]) -> f64 {
        let (p, q, n) = (self.x.degree(), self.y.degree(), self.y.len());
        let mut z = 0.0;
        for a in 0..=p {
            let row = &self.c[(i + a) * n + j..=(i + a) * n + j + q];
            z += bx[a] * row.iter().zip(by).map(|(c, b)| c * b).sum::<f64>();
        }
        z
    }
    /// The same surface after half a turn about the x axis: z'(x, y) = -z(x, -y).
    pub fn turned(&self) -> Self {
        let n = self.y.len();
        let c = self.c.chunks(n).flat_map(|row| row.iter().rev().map(|c| -c)).collect();
        Self { x: self.x.clone(), y: self.y.reversed(), c }
    }
    /// Height, zx, zy, zxx, zxy, zyy at (x, y).
    pub fn derivatives(&self, x: f64, y: f64) -> [f64; 6] {
        let ((i, bx), (j, by)) = (self.x.derivatives(x), self.y.derivatives(y));
        [(0, 0), (1, 0), (0, 1), (2, 0), (1, 1), (0, 2)].map(|(a, b)| self.combine(i, &bx[a], j, &by[b]))
    }
    /// Height, zx, zy at (x, y).
    pub fn slopes(&self, x: f64, y: f64) -> [f64; 3] {
        let ((i, bx), (j, by)) = (self.x.derivatives_to::<2>(x), self.y.derivatives_to::<2>(y));
        [(0, 0), (1, 0), (0, 1)].map(|(a, b): (usize, usize)| self.combine(i, &bx[a], j, &by[b]))
    }
    /// The unit normal with positive z.
    pub fn normal(&self, x: f64, y: f64) -> [f64; 3] {
        let [_, p, q] = self.slopes(x, y);
        let l = (1.0 + p * p + q * q).sqrt();
        [-p / l, -q / l, 1.0 / l]
    }
    /// How far a point lies above the surface, along the normal below it.
    pub fn beyond(&self, [x, y, z]: [f64; 3]) -> f64 {
        let [h, p, q] = self.slopes(x, y);
        (z - h) * (1.0 / (1.0 + p * p + q * q).sqrt())
    }
    /// The two principal curvatures (1/mm), signed along the normal with positive z.
    pub fn curvatures(&self, x: f64, y: f64) -> (f64, f64) {
        let [_, p, q, r, s, t] = self.derivatives(x, y);
        let g = 1.0 + p * p + q * q;
        let h = ((1.0 + q * q) * r - 2.0 * p * q * s + (1.0 + p * p) * t) / (2.0 * g * g.sqrt());
        let k = (r * t - s * s) / (g * g);
        let d = (h * h - k).max(0.0).sqrt();
        (h - d, h + d)
    }
    /// The same surface scaled by `s` about the origin, then moved by `by`.
    #[must_use]
    pub fn moved(&self, s: f64, by: [f64; 3]) -> Self {
        Self {
            x: self.x.mapped(s, by[0]),
            y: self.y.mapped(s, by[1]),
            c: self.c.iter().map(|c| s * c + by[2]).collect(),
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    /// Surface values on which two general-purpose spline libraries agree to 1e-12 (x and y are affine in u and v here,
    /// so the height's derivatives follow from the chain rule).
    #[test]
    fn reference_surface() {
        let z = [
            [-10., -5., 0., 0., -5., -10.],
            [-8., -4., -4., -4., -4., -8.],
            [-5., -3., -8., -8., -3., -5.],
            [-3., -2., -8., -8., -2., -3.],
            [-8., -4., -4., -4., -4., -8.],
            [-10., -5., 2., 2., -5., -10.],
        ];
        let k = Knots::new(3, vec![0., 0., 0., 0., 0.33, 0.66, 1., 1., 1., 1.]).unwrap();
        let s = TensorSpline::new(k.clone(), k, z.concat()).unwrap();
        for (u, v, w) in [(0.3, 0.4, -6.265540290), (0.6, 0.6, -6.801765599), (0.35, 0.35, -6.308402135)] {
            assert!((s.at(u, v) - w).abs() < 1e-8, "{}", s.at(u, v));
        }
        let d = s.derivatives(0.35, 0.35);
        assert!((d[1] + 5.57489066).abs() < 1e-7 && (d[2] + 8.30996461).abs() < 1e-7, "{d:?}");
        assert_eq!(s.slopes(0.35, 0.35), d[..3]);
        // a step along the normal
        let n = s.normal(0.35, 0.35);
        assert!((s.beyond([0.35, 0.35, d[0] + 0.5]) - 0.5 * n[2]).abs() < 1e-15);
    }
}
