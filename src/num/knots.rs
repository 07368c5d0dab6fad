//! Clamped knot vectors and B-spline basis functions (Cox-de Boor).
//!
//! # References
//! L. Piegl, W. Tiller, *The NURBS Book*, 2nd ed., ch. 2 (algorithms A2.1 to A2.3).

/// A clamped knot vector with its degree.
#[derive(Debug, Clone, PartialEq)]
pub struct Knots {
    degree: usize,
    knots: Vec<f64>,
    /// At each knot, 1 over the distance to the first, second, ... knot after it: a basis function asks for six of them, and
    /// dividing is slow.
    inverse: Vec<[f64; MAX_DEGREE]>,
}

/// Highest degree supported; basis buffers live on the stack.
pub const MAX_DEGREE: usize = 5;

impl Knots {
    /// Takes a full clamped knot vector (first and last knots `degree + 1` times). `None` when it is not one.
    pub fn new(degree: usize, knots: Vec<f64>) -> Option<Self> {
        let p = degree;
        let ok = (1..=MAX_DEGREE).contains(&p)
            && knots.len() >= 2 * (p + 1)
            && knots.iter().all(|k| k.is_finite())
            && knots.windows(2).all(|w| w[0] <= w[1])
            && knots[0] == knots[p]
            && knots[knots.len() - 1 - p] == knots[knots.len() - 1]
            && knots[0] < knots[knots.len() - 1];
        ok.then(|| Self::over(degree, knots))
    }
    fn over(degree: usize, knots: Vec<f64>) -> Self {
        let to = |i: usize, j: usize| knots.get(i + j + 1).map_or(f64::INFINITY, |k| 1.0 / (k - knots[i]));
        let inverse = (0..knots.len()).map(|i| std::array::from_fn(|j| to(i, j))).collect();
        Self { degree, knots, inverse }
    }
    /// A clamped vector on `[lo, hi]` with `spans` equal spans.
    ///
    /// # Panics
    /// When `lo >= hi`, `spans == 0` or the degree is out of 1..=5: a programming error.
    pub fn uniform(degree: usize, spans: usize, lo: f64, hi: f64) -> Self {
        assert!(lo < hi && spans > 0 && (1..=MAX_DEGREE).contains(&degree));
        let mut k = vec![lo; degree];
        k.extend((0..=spans).map(|i| if i == spans { hi } else { lo + (hi - lo) * i as f64 / spans as f64 }));
        k.extend(std::iter::repeat_n(hi, degree));
        Self::over(degree, k)
    }
    /// The knots of f(-u).
    pub fn reversed(&self) -> Self {
        Self::over(self.degree, self.knots.iter().rev().map(|u| -u).collect())
    }
    /// The degree.
    pub fn degree(&self) -> usize {
        self.degree
    }
    /// The full knot vector.
    pub fn as_slice(&self) -> &[f64] {
        &self.knots
    }
    /// Number of basis functions.
    pub fn len(&self) -> usize {
        self.knots.len() - self.degree - 1
    }
    /// Never true: a knot vector has at least `degree + 1` functions.
    pub fn is_empty(&self) -> bool {
        false
    }
    /// The domain.
    pub fn range(&self) -> (f64, f64) {
        (self.knots[0], self.knots[self.knots.len() - 1])
    }
    /// The distinct knots, rising.
    pub fn breaks(&self) -> Vec<f64> {
        let mut b = self.knots.clone();
        b.dedup();
        b
    }
    /// Every span halved by a knot in its middle.
    #[must_use]
    pub fn halved(&self) -> Self {
        let middles: Vec<f64> = self.breaks().windows(2).map(|w| (w[0] + w[1]) / 2.0).collect();
        let mut knots = [self.knots.as_slice(), &middles].concat();
        knots.sort_unstable_by(f64::total_cmp);
        Self::over(self.degree, knots)
    }
    /// The index `i` with `knots[i] <= u < knots[i + 1]`; the last span at the end; `u` outside is clamped.
    pub fn span(&self, u: f64) -> usize {
        let (p, n) = (self.degree, self.len());
        self.knots[p + 1..n].partition_point(|&k| k <= u) + p
    }
    /// The first non-zero function's index and the `degree + 1` values at `u` (outside the domain: extrapolated polynomial).
    pub fn basis(&self, u: f64) -> (usize, [f64; MAX_DEGREE + 1]) {
        let (first, [b]) = self.derivatives_to::<1>(u);
        (first, b)
    }
    /// As [`Knots::basis`], with derivatives: row `d` holds the `d`-th derivatives, `d` up to 2.
    pub fn derivatives(&self, u: f64) -> (usize, [[f64; MAX_DEGREE + 1]; 3]) {
        self.derivatives_to::<3>(u)
    }
    /// The first `N` rows of [`Knots::derivatives`].
    pub(super) fn derivatives_to<const N: usize>(&self, u: f64) -> (usize, [[f64; MAX_DEGREE + 1]; N]) {
        let (p, i) = (self.degree, self.span(u));
        let (k, inverse) = (&self.knots[i + 1 - p..=i + p], &self.inverse[i + 1 - p..=i]);
        // this is the innermost loop of every stage: for the usual degrees its length is known to the compiler
        let rows = match p {
            3 => rows_within(k, inverse, u, 3),
            1 => rows_within(k, inverse, u, 1),
            _ => rows_within(k, inverse, u, p),
        };
        (i - p, rows)
    }
    /// The Greville abscissae: control points at these make the spline the identity.
    pub fn greville(&self) -> Vec<f64> {
        let p = self.degree;
        (0..self.len()).map(|i| self.knots[i + 1..=i + p].iter().sum::<f64>() / p as f64).collect()
    }
    /// The same functions over the domain `u -> a u + b`, `a > 0`.
    #[must_use]
    pub fn mapped(&self, a: f64, b: f64) -> Self {
        Self::over(self.degree, self.knots.iter().map(|k| a * k + b).collect())
    }
}
/// As [`Knots::derivatives_to`] for degree `p`, from the `2 p` knots that count and what [`Knots::inverse`] holds of the first `p`.
#[inline(always)]
fn rows_within<const N: usize>(
    k: &[f64],
    inverse: &[[f64; MAX_DEGREE]],
    u: f64,
    p: usize,
) -> [[f64; MAX_DEGREE + 1]; N] {
    let (k, inverse) = (&k[..2 * p], &inverse[..p]);
    let mut out = [[0.0; MAX_DEGREE + 1]; N];
    let mut b = [0.0; MAX_DEGREE + 1];
    b[0] = 1.0;
    // from degree to degree; the d-th derivative begins with the functions d degrees lower
    for j in 0..=p {
        let mut saved = 0.0;
        for r in 0..j {
            let (right, left) = (k[p + r], k[p + r - j]);
            let t = b[r] * inverse[p + r - j][j - 1];
            b[r] = saved + (right - u) * t;
            saved = (u - left) * t;
        }
        if j > 0 {
            b[j] = saved;
        }
        if p - j < N {
            out[p - j] = b;
        }
    }
    for d in 1..N.min(p + 1) {
        // differentiate back up from degree p-d to p
        for q in p - d + 1..=p {
            let mut prev = 0.0;
            for r in 0..q {
                let t = q as f64 * out[d][r] * inverse[p + r - q][q - 1];
                out[d][r] = prev - t;
                prev = t;
            }
            out[d][q] = prev;
        }
    }
    out
}
#[cfg(test)]
mod tests {
    use super::*;
    /// Piegl & Tiller, The NURBS Book, 2nd ed., examples 2.3 to 2.5, pp. 55-72.
    #[test]
    fn nurbs_book_example() {
        let k = Knots::new(2, vec![0., 0., 0., 1., 2., 3., 4., 4., 5., 5., 5.]).unwrap();
        assert_eq!(k.span(2.5), 4);
        let (f, d) = k.derivatives(2.5);
        assert_eq!(f, 2);
        let want = [[0.125, 0.75, 0.125], [-0.5, 0.0, 0.5], [1.0, -2.0, 1.0]];
        for (g, w) in d.iter().zip(want) {
            for (a, b) in g.iter().zip(w) {
                assert!((a - b).abs() < 1e-15);
            }
        }
        assert_eq!(k.basis(2.5).1[..3], d[0][..3]);
    }
}
