//! Penalised least squares for tensor-product splines: points against bending energy.
//!
//! # References
//! P. Eilers, B. Marx, *Flexible smoothing with B-splines and penalties*, 1996 (cited from memory); the penalty here is the
//! exact thin-plate energy of the spline, by Gauss quadrature.
use super::{Banded, Knots, TensorSpline};

/// One weighted observation of a height.
#[derive(Debug, Clone, Copy)]
pub struct Sample {
    /// Place along x.
    pub x: f64,
    /// Place along y.
    pub y: f64,
    /// Height.
    pub z: f64,
    /// Weight: inverse variance, up to a common factor.
    pub w: f64,
}

/// Nodes and weights of the 4-point Gauss-Legendre rule on [-1, 1]: exact to degree 7, and the integrand has degree 6.
const GAUSS: [(f64, f64); 4] = [
    (-0.861_136_311_594_052_6, 0.347_854_845_137_453_86),
    (-0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
    (0.339_981_043_584_856_26, 0.652_145_154_862_546_1),
    (0.861_136_311_594_052_6, 0.347_854_845_137_453_86),
];

/// A cubic tensor-product fit on fixed knots.
#[derive(Debug, Clone)]
pub struct TensorFit {
    x: Knots,
    y: Knots,
    normal: Banded,
    rhs: Vec<f64>,
    energy: Banded,
}
/// The solution of a [`TensorFit`].
#[derive(Debug, Clone)]
pub struct TensorSolution {
    /// The fitted spline.
    pub z: TensorSpline,
    /// Cholesky factor of `A'WA + lambda E`.
    pub factor: Banded,
}

impl TensorFit {
    /// Gathers the normal equations of `samples` and the bending energy; `stiffness(x, y)` multiplies the energies of
    /// zxx, zxy and zyy there.
    pub fn new(x: Knots, y: Knots, samples: &[Sample], stiffness: impl Fn(f64, f64) -> [f64; 3]) -> Self {
        let (nx, ny) = (x.len(), y.len());
        let w = x.degree() * ny + y.degree();
        let mut fit = Self {
            normal: Banded::zeros(nx * ny, w),
            rhs: vec![0.0; nx * ny],
            energy: Banded::zeros(nx * ny, w),
            x,
            y,
        };
        fit.gather(samples);
        fit.gather_energy(stiffness);
        fit
    }
    /// Replaces the samples, keeping the energy.
    pub fn set_samples(&mut self, samples: &[Sample]) {
        let (n, w) = (self.x.len() * self.y.len(), self.x.degree() * self.y.len() + self.y.degree());
        self.normal = Banded::zeros(n, w);
        self.rhs = vec![0.0; n];
        self.gather(samples);
    }
    fn local(&self, i: usize, bx: &[f64], j: usize, by: &[f64]) -> Vec<(usize, f64)> {
        let (p, q, ny) = (self.x.degree(), self.y.degree(), self.y.len());
        (0..=p).flat_map(|a| (0..=q).map(move |b| ((i + a) * ny + j + b, bx[a] * by[b]))).collect()
    }
    fn gather(&mut self, samples: &[Sample]) {
        for s in samples {
            let ((i, bx), (j, by)) = (self.x.basis(s.x), self.y.basis(s.y));
            let row = self.local(i, &bx, j, &by);
            for (k, &(r, v)) in row.iter().enumerate() {
                self.rhs[r] += s.w * v * s.z;
                for &(c, u) in &row[..=k] {
                    self.normal.add(r, c, s.w * v * u);
                }
            }
        }
    }
    fn gather_energy(&mut self, stiffness: impl Fn(f64, f64) -> [f64; 3]) {
        let nodes = |k: &Knots| -> Vec<(f64, f64)> {
            k.breaks()
                .windows(2)
                .flat_map(|s| GAUSS.map(|(t, w)| ((s[0] + s[1] + t * (s[1] - s[0])) / 2.0, w * (s[1] - s[0]) / 2.0)))
                .collect()
        };
        let (gx, gy) = (nodes(&self.x), nodes(&self.y));
        for &(x, wx) in &gx {
            let (i, bx) = self.x.derivatives(x);
            for &(y, wy) in &gy {
                let (j, by) = self.y.derivatives(y);
                let s = stiffness(x, y);
                for (k, (a, b)) in [(2, 0), (1, 1), (0, 2)].into_iter().enumerate() {
                    let twice = if k == 1 { 2.0 } else { 1.0 };
                    let weight = wx * wy * s[k] * twice;
                    let row = self.local(i, &bx[a], j, &by[b]);
                    for (n, &(r, v)) in row.iter().enumerate() {
                        for &(c, u) in &row[..=n] {
                            self.energy.add(r, c, weight * v * u);
                        }
                    }
                }
            }
        }
    }
    /// Solves for smoothing `lambda` > 0. `None` when the samples do not determine a surface.
    pub fn solve(&self, lambda: f64) -> Option<TensorSolution> {
        let mut a = self.normal.clone();
        a.add_scaled(&self.energy, lambda);
        let factor = a.factor().ok()?;
        let c = factor.solve(&self.rhs);
        Some(TensorSolution { z: TensorSpline { x: self.x.clone(), y: self.y.clone(), c }, factor })
    }
}
impl TensorSolution {
    /// `a' (A'WA + lambda E)^-1 a` for the evaluation row `a` at (x, y): times the residual variance per unit weight it is
    /// the (Bayesian) variance of the surface there.
    pub fn leverage(&self, x: f64, y: f64) -> f64 {
        let z = &self.z;
        let ((i, bx), (j, by)) = (z.x.basis(x), z.y.basis(y));
        let mut row = vec![0.0; z.c.len()];
        for a in 0..=z.x.degree() {
            for b in 0..=z.y.degree() {
                row[(i + a) * z.y.len() + j + b] = bx[a] * by[b];
            }
        }
        self.factor.solve_lower(&row).iter().map(|v| v * v).sum()
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    /// A plane has no bending energy, so any smoothing returns it exactly.
    #[test]
    fn planes_cost_nothing() {
        let s: Vec<Sample> = (0..60)
            .map(|k| {
                let (x, y) = (f64::from(k % 10), f64::from(k / 10));
                Sample { x, y, z: 1.0 + 0.5 * x - 0.25 * y, w: 1.0 }
            })
            .collect();
        let f = TensorFit::new(Knots::uniform(3, 5, 0.0, 9.0), Knots::uniform(3, 3, 0.0, 5.0), &s, |_, _| [1.0; 3]);
        for lambda in [1e-3, 1.0, 1e6] {
            let z = f.solve(lambda).unwrap().z;
            assert!(s.iter().all(|p| (z.at(p.x, p.y) - p.z).abs() < 1e-7), "{lambda}");
        }
    }
}
