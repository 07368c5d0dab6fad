//! B-spline curves in any dimension.
use super::Knots;

/// A clamped B-spline curve in `D` dimensions.
#[derive(Debug, Clone, PartialEq)]
pub struct Curve<const D: usize> {
    /// The knots.
    pub knots: Knots,
    /// Control points, one per basis function.
    pub points: Vec<[f64; D]>,
}
impl<const D: usize> Curve<D> {
    /// A curve; `None` when the number of points is not the number of functions.
    pub fn new(knots: Knots, points: Vec<[f64; D]>) -> Option<Self> {
        (points.len() == knots.len()).then_some(Self { knots, points })
    }
    /// The straight line from `a` to `b` over `[0, 1]`.
    pub fn line(a: [f64; D], b: [f64; D]) -> Self {
        Self { knots: Knots::uniform(1, 1, 0.0, 1.0), points: vec![a, b] }
    }
    /// The point at `u`.
    pub fn at(&self, u: f64) -> [f64; D] {
        let (f, b) = self.knots.basis(u);
        self.combine(f, &b)
    }
    /// Point, first and second derivative at `u`.
    pub fn derivatives(&self, u: f64) -> [[f64; D]; 3] {
        let (f, b) = self.knots.derivatives(u);
        [0, 1, 2].map(|d| self.combine(f, &b[d]))
    }
    fn combine(&self, first: usize, b: &[f64]) -> [f64; D] {
        let mut o = [0.0; D];
        for (c, w) in self.points[first..=first + self.knots.degree()].iter().zip(b) {
            for d in 0..D {
                o[d] += w * c[d];
            }
        }
        o
    }
    /// The same curve run backwards over the same domain.
    #[must_use]
    pub fn reversed(&self) -> Self {
        let (lo, hi) = self.knots.range();
        let knots = self.knots.as_slice().iter().rev().map(|k| lo + hi - k).collect();
        let knots = Knots::new(self.knots.degree(), knots).expect("a mirrored clamped vector is clamped");
        Self { knots, points: self.points.iter().rev().copied().collect() }
    }
    /// Inserts the knot `u` once; the curve stays the same.
    #[must_use]
    pub fn with_knot(&self, u: f64) -> Self {
        let (p, i, k) = (self.knots.degree(), self.knots.span(u), self.knots.as_slice());
        let mut pts = Vec::with_capacity(self.points.len() + 1);
        for j in 0..=self.points.len() {
            pts.push(if j + p <= i {
                self.points[j]
            } else if j > i {
                self.points[j - 1]
            } else {
                let a = (u - k[j]) / (k[j + p] - k[j]);
                std::array::from_fn(|d| a * self.points[j][d] + (1.0 - a) * self.points[j - 1][d])
            });
        }
        let mut kn = k.to_vec();
        kn.insert(i + 1, u);
        Self { knots: Knots::new(p, kn).expect("a knot inside the domain keeps it clamped"), points: pts }
    }
    /// Splits at the interior parameter `u` into the parts before and after it.
    pub fn split(&self, u: f64) -> (Self, Self) {
        let p = self.knots.degree();
        let mut c = self.clone();
        while c.knots.as_slice().iter().filter(|&&k| k == u).count() < p {
            c = c.with_knot(u);
        }
        let k = c.knots.as_slice();
        let first = k.partition_point(|&x| x < u);
        let mut ka = k[..first + p].to_vec();
        ka.push(u);
        let mut kb = vec![u];
        kb.extend_from_slice(&k[first..]);
        let (a, b) = (c.points[..first].to_vec(), c.points[first - 1..].to_vec());
        (
            Self { knots: Knots::new(p, ka).expect("clamped"), points: a },
            Self { knots: Knots::new(p, kb).expect("clamped"), points: b },
        )
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    fn reference() -> Curve<2> {
        let k = Knots::new(3, vec![0., 0., 0., 0., 0.33, 0.66, 1., 1., 1., 1.]).unwrap();
        Curve::new(k, vec![[5., 5.], [10., 10.], [20., 15.], [35., 15.], [45., 10.], [50., 5.]]).unwrap()
    }
    /// Values of a general-purpose spline library (FITPACK family, scipy 1.17).
    #[test]
    fn fitpack_values() {
        let c = reference();
        for (u, w) in
            [(0.3, [18.61758077, 13.37716003]), (0.5, [27.64549231, 14.69170222]), (0.6, [32.14320622, 14.32813561])]
        {
            let g = c.at(u);
            assert!((g[0] - w[0]).abs() < 1e-8 && (g[1] - w[1]).abs() < 1e-8, "{u} {g:?}");
        }
        let d = c.derivatives(0.35);
        for (g, w) in d[1].iter().chain(&d[2]).zip([45.20015428, 9.98746256, -1.33443409, -68.74685709]) {
            assert!((g - w).abs() < 1e-7, "{g} {w}");
        }
    }
    #[test]
    fn split_and_insertion_keep_the_curve() {
        let c = reference();
        let (a, b) = c.split(0.4);
        for i in 0..=50 {
            let u = f64::from(i) / 50.0;
            let w = c.at(u);
            let g = if u < 0.4 { a.at(u) } else { b.at(u) };
            assert!((g[0] - w[0]).abs() < 1e-12 && (g[1] - w[1]).abs() < 1e-12);
        }
    }
}
