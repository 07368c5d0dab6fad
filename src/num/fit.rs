//! Penalised least squares for tensor-product splines: points against bending energy.
//!
//! # References
//! P. Eilers, B. Marx, *Flexible smoothing with B-splines and penalties*, 1996 (cited from memory); the penalty here is the
//! exact thin-plate energy of the spline, by Gauss quadrature.
use super::{Banded, Knots, TensorSpline, at_once, each};

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
    /// Gathers the normal equations of `samples` and the bending energy on cubic knots; `stiffness(x, y)` multiplies the energies
    /// of zxx, zxy and zyy there.
    ///
    /// # Panics
    /// When the knots are not cubic: a programming error.
    pub fn new(x: Knots, y: Knots, samples: &[Sample], stiffness: impl Fn(f64, f64) -> [f64; 3] + Sync + Send) -> Self {
        assert!(x.degree() + 1 == SIDE && y.degree() + 1 == SIDE);
        let (nx, ny) = (x.len(), y.len());
        let w = x.degree() * ny + y.degree();
        let zeros = || Banded::zeros(nx * ny, w);
        let gathered = || gather(&x, &y, samples, zeros());
        let (energy, (normal, rhs)) = at_once(|| energy(&x, &y, stiffness, zeros()), gathered);
        Self { x, y, normal, rhs, energy }
    }
    /// Replaces the samples, keeping the energy.
    pub fn set_samples(&mut self, samples: &[Sample]) {
        (self.normal, self.rhs) = gather(&self.x, &self.y, samples, self.normal.zeroed());
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
/// Normal matrix and right side of samples.
fn gather(x: &Knots, y: &Knots, samples: &[Sample], mut normal: Banded) -> (Banded, Vec<f64>) {
    let mut rhs = vec![0.0; x.len() * y.len()];
    for s in samples {
        let row = Row::at(x, y, s.x, s.y);
        for (r, v) in row.entries() {
            rhs[r] += s.w * v * s.z;
        }
        row.add_square(&mut normal, s.w);
    }
    (normal, rhs)
}
/// The bending energy's matrix.
fn energy(
    kx: &Knots,
    ky: &Knots,
    stiffness: impl Fn(f64, f64) -> [f64; 3] + Sync + Send,
    mut energy: Banded,
) -> Banded {
    let nodes = |k: &Knots| -> Vec<(f64, f64)> {
        k.breaks()
            .windows(2)
            .flat_map(|s| GAUSS.map(|(t, w)| ((s[0] + s[1] + t * (s[1] - s[0])) / 2.0, w * (s[1] - s[0]) / 2.0)))
            .collect()
    };
    let (gx, gy) = (nodes(kx), nodes(ky));
    let stiff = each(gx.len(), |k| gy.iter().map(|g| stiffness(gx[k].0, g.0)).collect::<Vec<_>>());
    let across: Vec<_> = gy.iter().map(|g| ky.derivatives(g.0)).collect();
    for (&(x, wx), stiff) in gx.iter().zip(&stiff) {
        let (i, bx) = kx.derivatives(x);
        for ((&(_, wy), (j, by)), s) in gy.iter().zip(&across).zip(stiff) {
            for (k, (a, b)) in [(2, 0), (1, 1), (0, 2)].into_iter().enumerate() {
                let twice = if k == 1 { 2.0 } else { 1.0 };
                let row = Row::new(ky, (i, &bx[a]), (*j, &by[b]));
                row.add_square(&mut energy, wx * wy * s[k] * twice);
            }
        }
    }
    energy
}
impl TensorSolution {
    /// Variances of the surface, place by place.
    pub fn leverages(&self) -> Leverages<'_> {
        Leverages { z: &self.z, inverse: self.factor.inverse_band() }
    }
}
/// Variances of a [`TensorSolution`]; see [`Leverages::at`].
#[derive(Debug, Clone)]
pub struct Leverages<'a> {
    z: &'a TensorSpline,
    inverse: Banded,
}
impl Leverages<'_> {
    /// `a' (A'WA + lambda E)^-1 a` for the evaluation row `a` at (x, y): times the residual variance per unit weight it is
    /// the (Bayesian) variance of the surface there.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        Row::at(&self.z.x, &self.z.y, x, y).square(&self.inverse)
    }
}

/// Basis functions of a cubic tensor product at a place: four neighbours along y of each of four along x.
struct Row {
    /// Index of the first.
    first: usize,
    /// From one x to the next.
    stride: usize,
    v: [[f64; SIDE]; SIDE],
}
/// Functions of a cubic basis at a place.
const SIDE: usize = 4;
impl Row {
    fn at(x: &Knots, y: &Knots, u: f64, v: f64) -> Self {
        let ((i, bx), (j, by)) = (x.basis(u), y.basis(v));
        Self::new(y, (i, &bx), (j, &by))
    }
    fn new(y: &Knots, (i, bx): (usize, &[f64]), (j, by): (usize, &[f64])) -> Self {
        let v = std::array::from_fn(|a| std::array::from_fn(|b| bx[a] * by[b]));
        Self { first: i * y.len() + j, stride: y.len(), v }
    }
    fn entries(&self) -> impl Iterator<Item = (usize, f64)> + '_ {
        let start = |a: usize| self.first + a * self.stride;
        self.v.iter().enumerate().flat_map(move |(a, v)| v.iter().enumerate().map(move |(b, v)| (start(a) + b, *v)))
    }
    /// Adds `w` times the row's square to a band.
    fn add_square(&self, band: &mut Banded, w: f64) {
        for a in 0..SIDE {
            for b in 0..SIDE {
                let (r, v) = (self.first + a * self.stride + b, w * self.v[a][b]);
                for (k, u) in self.v[..=a].iter().enumerate() {
                    let n = if k == a { b + 1 } else { SIDE };
                    let at = band.row_mut(r, self.first + k * self.stride, n);
                    at.iter_mut().zip(u).for_each(|(at, u)| *at += v * u);
                }
            }
        }
    }
    /// The row times a band times the row.
    fn square(&self, band: &Banded) -> f64 {
        let mut sum = 0.0;
        for a in 0..SIDE {
            for b in 0..SIDE {
                let (r, v) = (self.first + a * self.stride + b, self.v[a][b]);
                for (k, u) in self.v[..a].iter().enumerate() {
                    let at = band.row(r, self.first + k * self.stride, SIDE);
                    sum += 2.0 * v * at.iter().zip(u).map(|(at, u)| at * u).sum::<f64>();
                }
                let at = band.row(r, self.first + a * self.stride, b + 1);
                let own: f64 = at[..b].iter().zip(&self.v[a]).map(|(at, u)| at * u).sum();
                sum += v * (2.0 * own + at[b] * v);
            }
        }
        sum
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
