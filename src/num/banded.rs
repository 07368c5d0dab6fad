//! Symmetric positive definite band matrices and their Cholesky factor.

/// The lower band of a symmetric matrix: entry (i, j), `i - w <= j <= i`.
#[derive(Debug, Clone)]
pub struct Banded {
    n: usize,
    w: usize,
    a: Vec<f64>,
    factored: bool,
}
impl Banded {
    /// A zero `n` x `n` matrix with half-bandwidth `w`.
    pub fn zeros(n: usize, w: usize) -> Self {
        Self { n, w, a: vec![0.0; n * (w + 1)], factored: false }
    }
    /// Adds `v` at (i, j) and its mirror image; call it once per unordered pair.
    pub fn add(&mut self, i: usize, j: usize, v: f64) {
        let (i, j) = if i >= j { (i, j) } else { (j, i) };
        self.a[i * (self.w + 1) + self.w + j - i] += v;
    }
    /// Entry (i, j) of the lower band (of the factor, once factored).
    pub fn get(&self, i: usize, j: usize) -> f64 {
        self.a[i * (self.w + 1) + self.w + j - i]
    }
    /// Adds `s` times `other`, of the same shape.
    pub fn add_scaled(&mut self, other: &Self, s: f64) {
        assert!(self.n == other.n && self.w == other.w);
        for (a, b) in self.a.iter_mut().zip(&other.a) {
            *a += s * b;
        }
    }
    /// Cholesky factor in place; `Err(row)` names the failing pivot.
    pub fn factor(mut self) -> Result<Self, usize> {
        let (n, w, s) = (self.n, self.w, self.w + 1);
        for i in 0..n {
            let lo = i.saturating_sub(w);
            for j in lo..=i {
                let k0 = lo.max(j.saturating_sub(w));
                let (ri, rj) = (i * s + w - i, j * s + w - j);
                let mut sum = self.a[ri + j];
                sum -= dot(&self.a[ri + k0..ri + j], &self.a[rj + k0..rj + j]);
                if i == j {
                    if !(sum > 0.0) {
                        return Err(i);
                    }
                    self.a[ri + i] = sum.sqrt();
                } else {
                    self.a[ri + j] = sum / self.a[rj + j];
                }
            }
        }
        self.factored = true;
        Ok(self)
    }
    /// Solves with the factor.
    ///
    /// # Panics
    /// When the matrix is not factored.
    pub fn solve(&self, b: &[f64]) -> Vec<f64> {
        assert!(self.factored);
        let mut x = self.solve_lower(b);
        let (w, s) = (self.w, self.w + 1);
        for i in (0..self.n).rev() {
            let r = i * s + w - i;
            x[i] /= self.a[r + i];
            let xi = x[i];
            for k in i.saturating_sub(w)..i {
                x[k] -= self.a[r + k] * xi;
            }
        }
        x
    }
    /// Solves `L y = b` with the factor: `|y|^2` is `b' A^-1 b`, a variance.
    pub fn solve_lower(&self, b: &[f64]) -> Vec<f64> {
        assert!(self.factored);
        let (w, s) = (self.w, self.w + 1);
        let mut x = b.to_vec();
        // rows before the first non-zero stay zero; a basis row is zero but for a few, so this halves the work on average
        for i in x.iter().position(|v| *v != 0.0).unwrap_or(self.n)..self.n {
            let (r, lo) = (i * s + w - i, i.saturating_sub(w));
            x[i] = (x[i] - dot(&self.a[r + lo..r + i], &x[lo..i])) / self.a[r + i];
        }
        x
    }
}
/// Sum of products in four lanes, which processors add at once; always in the same order.
fn dot(a: &[f64], b: &[f64]) -> f64 {
    const LANES: usize = 4;
    let (fours, rest) = (a.chunks_exact(LANES).zip(b.chunks_exact(LANES)), a.len() / LANES * LANES);
    let mut lanes = [0.0; LANES];
    for (p, q) in fours {
        for k in 0..LANES {
            lanes[k] += p[k] * q[k];
        }
    }
    let end: f64 = a[rest..].iter().zip(&b[rest..]).map(|(p, q)| p * q).sum();
    (lanes[0] + lanes[1]) + (lanes[2] + lanes[3]) + end
}
#[cfg(test)]
mod tests {
    use super::*;
    /// Whittaker smoother, difference order 2, y = (1,3,2,5,4,6), lambda = 1: z = (5/4, 9/4, 3, 4, 19/4, 23/4)
    /// (Eilers & Marx 1996, cited from memory; values derived exactly).
    #[test]
    fn whittaker() {
        let y = [1.0, 3.0, 2.0, 5.0, 4.0, 6.0];
        let mut a = Banded::zeros(6, 2);
        for i in 0..6 {
            a.add(i, i, 1.0);
        }
        for r in 0..4 {
            let d = [1.0, -2.0, 1.0];
            for p in 0..3 {
                for q in 0..=p {
                    a.add(r + p, r + q, d[p] * d[q]);
                }
            }
        }
        let z = a.factor().unwrap().solve(&y);
        for (g, w) in z.iter().zip([1.25, 2.25, 3.0, 4.0, 4.75, 5.75]) {
            assert!((g - w).abs() < 1e-13);
        }
    }
    #[test]
    fn names_the_failing_pivot() {
        let mut a = Banded::zeros(3, 1);
        a.add(0, 0, 1.0);
        a.add(1, 1, -1.0);
        a.add(2, 2, 1.0);
        assert_eq!(a.factor().unwrap_err(), 1);
    }
}
