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
    /// A zero matrix of the same shape.
    pub fn zeroed(&self) -> Self {
        Self::zeros(self.n, self.w)
    }
    /// Adds `v` at (i, j) and its mirror image; call it once per unordered pair.
    pub fn add(&mut self, i: usize, j: usize, v: f64) {
        let (i, j) = if i >= j { (i, j) } else { (j, i) };
        self.a[i * (self.w + 1) + self.w + j - i] += v;
    }
    /// Entries (i, j), (i, j + 1), ... (i, j + n - 1) of the lower band.
    pub fn row(&self, i: usize, j: usize, n: usize) -> &[f64] {
        let at = i * (self.w + 1) + self.w + j - i;
        &self.a[at..at + n]
    }
    /// The same, to be changed.
    pub fn row_mut(&mut self, i: usize, j: usize, n: usize) -> &mut [f64] {
        let at = i * (self.w + 1) + self.w + j - i;
        &mut self.a[at..at + n]
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
        let (w, s) = (self.w, self.w + 1);
        let mut x = b.to_vec();
        for i in 0..self.n {
            let (r, lo) = (i * s + w - i, i.saturating_sub(w));
            x[i] = (x[i] - dot(&self.a[r + lo..r + i], &x[lo..i])) / self.a[r + i];
        }
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
    /// The entries of the inverse that lie within the band, from the factor: from the last row up, each row of the inverse
    /// follows from those below it (K. Takahashi, J. Fagan, M.-S. Chin, *Formation of a sparse bus impedance matrix*, 1973, cited
    /// from memory). Costs about as much as the factor.
    ///
    /// # Panics
    /// When the matrix is not factored.
    pub fn inverse_band(&self) -> Self {
        assert!(self.factored);
        let (n, w, s) = (self.n, self.w, self.w + 1);
        let mut z = Self::zeros(n, w);
        // column i of the factor below its diagonal, and the part of the inverse found so far that meets it
        let (mut column, mut found) = (vec![0.0; w], vec![0.0; w]);
        for i in (0..n).rev() {
            let below = w.min(n - 1 - i);
            for (k, c) in column[..below].iter_mut().enumerate() {
                *c = self.a[(i + 1 + k) * s + w - 1 - k];
            }
            let diagonal = self.a[i * s + w];
            found[..below].fill(0.0);
            // z(j, i) for j = i + 1 + r is -sum over k of z(j, i + 1 + k) column(k) / diagonal
            for r in 0..below {
                let row = &z.a[(i + 1 + r) * s + w - r..(i + 1 + r) * s + w + 1];
                found[r] += dot(row, &column[..=r]);
                for (f, v) in found[..r].iter_mut().zip(row) {
                    *f += v * column[r];
                }
            }
            for r in 0..below {
                z.a[(i + 1 + r) * s + w - 1 - r] = -found[r] / diagonal;
            }
            z.a[i * s + w] = (1.0 / diagonal + dot(&found[..below], &column[..below]) / diagonal) / diagonal;
        }
        z
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
    /// The inverse's columns by solving for the unit vectors.
    #[test]
    fn inverse_band_is_the_inverse() {
        for (n, w) in [(9, 3), (5, 7), (12, 1), (4, 0)] {
            let w = std::cmp::min(w, n - 1);
            let mut a = Banded::zeros(n, w);
            for i in 0..n {
                a.add(i, i, 9.0 + (i as f64).sin());
                (i.saturating_sub(w)..i).for_each(|j| a.add(i, j, ((3 * i + j) as f64).cos()));
            }
            let factor = a.factor().unwrap();
            let z = factor.inverse_band();
            for j in 0..n {
                let mut unit = vec![0.0; n];
                unit[j] = 1.0;
                let column = factor.solve(&unit);
                for i in j..n.min(j + w + 1) {
                    assert!((z.get(i, j) - column[i]).abs() < 1e-15, "{n} {w}: {i} {j}");
                }
            }
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
