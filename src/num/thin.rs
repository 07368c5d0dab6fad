//! Fewer knot lines for a tensor spline, within a bound that holds everywhere.
//!
//! A spline on fewer knots is also a spline on the old ones, with coefficients found by inserting the missing knots. The
//! difference of both is then a spline whose coefficients bound it, since the basis functions are not negative and sum to 1.
//!
//! # References
//! T. Lyche, K. Mørken, *A data-reduction strategy for splines with applications to the approximation of functions and data*,
//! IMA Journal of Numerical Analysis 8, 1988, pp. 185-208; insertion by W. Boehm, as algorithm A5.1 of L. Piegl, W. Tiller,
//! *The NURBS Book*, 2nd ed. (all cited from memory).
use super::{Knots, TensorSpline, each};
use nalgebra::DMatrix;

/// A spline on fewer knots.
#[derive(Debug, Clone)]
pub struct Thinned {
    /// The spline.
    pub z: TensorSpline,
    /// No place that matters is further from the old surface than this, in the unit of the heights.
    pub bound: f64,
}

/// The matrix that takes coefficients on `coarse` to those of the same spline on `fine`. `None` when `fine` lacks one of the
/// coarse knots or has another degree.
fn insertion(coarse: &Knots, fine: &Knots) -> Option<DMatrix<f64>> {
    let (n, p) = (coarse.len(), coarse.degree());
    if fine.degree() != p || fine.range() != coarse.range() {
        return None;
    }
    let mut have = coarse.as_slice().to_vec();
    let mut rows: Vec<Vec<f64>> = (0..n).map(|i| (0..n).map(|j| f64::from(u8::from(i == j))).collect()).collect();
    for (at, &u) in fine.as_slice().iter().enumerate() {
        match have.get(at) {
            Some(&k) if k == u => continue,
            Some(&k) if k > u && at > p => {}
            _ => return None,
        }
        // u falls into the span that begins at the last knot not above it: the rows of that span's functions change
        let i = at - 1;
        let between = |j: usize| -> Vec<f64> {
            let a = (u - have[j]) / (have[j + p] - have[j]);
            rows[j].iter().zip(&rows[j - 1]).map(|(r, q)| a * r + (1.0 - a) * q).collect()
        };
        let changed: Vec<Vec<f64>> = (i + 1 - p..=i).map(between).collect();
        rows.splice(i + 1 - p..i, changed);
        have.insert(at, u);
    }
    (have.len() == fine.as_slice().len()).then(|| DMatrix::from_fn(rows.len(), n, |i, j| rows[i][j]))
}

/// One direction of the old surface and the choice of its knots.
struct Axis {
    old: Knots,
    halved: Knots,
    kept: Choice,
}
/// A choice of knots: from old coefficients to the nearest new ones by least squares, and from new ones to the halved knots.
struct Choice {
    knots: Knots,
    nearest: DMatrix<f64>,
    fine: DMatrix<f64>,
}
impl Axis {
    fn new(old: &Knots) -> Option<Self> {
        let halved = old.halved();
        let kept = Choice {
            knots: old.clone(),
            nearest: DMatrix::identity(old.len(), old.len()),
            fine: insertion(old, &halved)?,
        };
        Some(Self { old: old.clone(), halved, kept })
    }
    fn without(&self, u: f64) -> Option<Choice> {
        let knots: Vec<f64> = self.kept.knots.as_slice().iter().copied().filter(|k| *k != u).collect();
        let knots = Knots::new(self.old.degree(), knots)?;
        let a = insertion(&knots, &self.old)?;
        let nearest = (a.transpose() * &a).cholesky()?.solve(&a.transpose());
        let fine = insertion(&knots, &self.halved)?;
        Some(Choice { knots, nearest, fine })
    }
}

impl TensorSpline {
    /// The same surface on as few of its knot lines as hold it within `tolerance` wherever `matters` says so of a cell given
    /// by its lower and upper corner. The bound is taken on knots halved once, where it is closer to the true difference.
    pub fn thinned(&self, tolerance: f64, matters: impl Fn([f64; 2], [f64; 2]) -> bool) -> Thinned {
        let same = || Thinned { z: self.clone(), bound: 0.0 };
        let (Some(x), Some(y)) = (Axis::new(&self.x), Axis::new(&self.y)) else { return same() };
        let mut axes = [x, y];
        let c = DMatrix::from_row_slice(self.x.len(), self.y.len(), &self.c);
        let target = &axes[0].kept.fine * &c * axes[1].kept.fine.transpose();
        let support = |k: &Knots| -> Vec<[f64; 2]> {
            (0..k.len()).map(|i| [k.as_slice()[i], k.as_slice()[i + k.degree() + 1]]).collect()
        };
        let (sx, sy) = (support(&axes[0].halved), support(&axes[1].halved));
        let counts = DMatrix::from_fn(sx.len(), sy.len(), |i, j| matters([sx[i][0], sy[j][0]], [sx[i][1], sy[j][1]]));
        let bound = |x: &Choice, y: &Choice| {
            let near = &x.fine * (&x.nearest * &c * y.nearest.transpose()) * y.fine.transpose();
            near.iter()
                .zip(&target)
                .zip(&counts)
                .filter(|(_, m)| **m)
                .map(|((a, b), _)| (a - b).abs())
                .fold(0.0, f64::max)
        };
        // the lines that matter least go first, weighed by the control points that go with them
        let all = [0, 1].map(|k| inner(&axes[k].old).into_iter().map(move |u| (k, u))).into_iter().flatten();
        let all: Vec<(usize, f64)> = all.collect();
        let weighed = each(all.len(), |i| {
            let (k, u) = all[i];
            let choice = axes[k].without(u)?;
            let b = if k == 0 { bound(&choice, &axes[1].kept) } else { bound(&axes[0].kept, &choice) };
            Some((b / axes[1 - k].old.len() as f64, k, u))
        });
        let mut lines: Vec<(f64, usize, f64)> = weighed.into_iter().flatten().collect();
        lines.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)).then(a.2.total_cmp(&b.2)));
        let mut reached = 0.0;
        for (_, k, u) in lines {
            let Some(choice) = axes[k].without(u) else { continue };
            let b = if k == 0 { bound(&choice, &axes[1].kept) } else { bound(&axes[0].kept, &choice) };
            if b <= tolerance {
                axes[k].kept = choice;
                reached = b;
            }
        }
        let [x, y] = axes.map(|a| a.kept);
        let near = &x.nearest * &c * y.nearest.transpose();
        let c = (0..x.knots.len()).flat_map(|i| near.row(i).iter().copied().collect::<Vec<_>>()).collect();
        Thinned { z: Self { x: x.knots, y: y.knots, c }, bound: reached }
    }
}
/// The knots inside the domain.
fn inner(k: &Knots) -> Vec<f64> {
    let b = k.breaks();
    b[1..b.len() - 1].to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;
    /// Values on the fine knots are those on the coarse ones, at every place.
    #[test]
    fn insertion_keeps_the_spline() {
        let coarse = Knots::new(3, vec![0., 0., 0., 0., 0.33, 0.66, 1., 1., 1., 1.]).unwrap();
        let fine = Knots::new(3, vec![0., 0., 0., 0., 0.1, 0.33, 0.5, 0.5, 0.66, 0.9, 1., 1., 1., 1.]).unwrap();
        let a = insertion(&coarse, &fine).unwrap();
        let c = [5.0, 10.0, 20.0, 35.0, 45.0, -50.0];
        let value = |k: &Knots, c: &[f64], u: f64| {
            let (i, b) = k.basis(u);
            (0..4).map(|j| b[j] * c[i + j]).sum::<f64>()
        };
        let d: Vec<f64> = (0..fine.len()).map(|i| (0..6).map(|j| a[(i, j)] * c[j]).sum()).collect();
        for i in 0..=50 {
            let u = f64::from(i) / 50.0;
            assert!((value(&coarse, &c, u) - value(&fine, &d, u)).abs() < 1e-12, "{u}");
        }
        assert!(insertion(&fine, &coarse).is_none());
        assert!(insertion(&coarse, &Knots::uniform(3, 4, 0.0, 1.0)).is_none());
    }
    fn sampled(f: impl Fn(f64, f64) -> f64) -> TensorSpline {
        let (x, y) = (Knots::uniform(3, 30, -300.0, 300.0), Knots::uniform(3, 12, -120.0, 120.0));
        let (gx, gy) = (x.greville(), y.greville());
        let v = DMatrix::from_fn(gx.len(), gy.len(), |i, j| f(gx[i], gy[j]));
        let both = crate::num::interpolate(&y, &crate::num::interpolate(&x, &v).unwrap().transpose()).unwrap();
        let c = (0..gx.len()).flat_map(|i| (0..gy.len()).map(move |j| (i, j))).map(|(i, j)| both[(j, i)]).collect();
        TensorSpline::new(x, y, c).unwrap()
    }
    /// A cubic needs no inner knot at all.
    #[test]
    fn a_cubic_keeps_no_inner_knot() {
        let z = sampled(|x, y| 1e-7 * x.powi(3) - 2e-5 * x * y * y + 3e-6 * y.powi(3) + 4.0);
        let t = z.thinned(1e-6, |_, _| true);
        assert_eq!((t.z.x.len(), t.z.y.len()), (4, 4));
        assert!(t.bound < 1e-6);
    }
    /// A kick keeps its knots, the flat middle does not, and no place is further off than the bound.
    #[test]
    fn no_place_is_further_off_than_the_bound() {
        let z = sampled(|x, y| 0.004 * (x.abs() - 200.0).max(0.0).powi(2) + 8.0 * (y / 120.0).powi(2));
        let t = z.thinned(0.02, |_, _| true);
        let mut worst = 0.0f64;
        for i in 0..=600 {
            for j in 0..=120 {
                let (x, y) = (f64::from(i - 300), 2.0 * f64::from(j - 60));
                worst = worst.max((z.at(x, y) - t.z.at(x, y)).abs());
            }
        }
        assert!(t.bound <= 0.02 && worst <= t.bound, "{worst} {}", t.bound);
        // the bound is no idle one
        assert!(worst > t.bound / 4.0, "{worst} {}", t.bound);
        assert!(t.z.x.len() < z.x.len() && t.z.y.len() < 7, "{} {}", t.z.x.len(), t.z.y.len());
        let inner = t.z.x.breaks();
        let middle = inner.iter().filter(|u| u.abs() < 120.0).count();
        let bends = inner.iter().filter(|u| (u.abs() - 200.0).abs() < 50.0).count();
        assert!(bends > 2 * middle, "{inner:?}");
    }
    /// What does not matter costs no knots.
    #[test]
    fn a_corner_that_does_not_matter_costs_nothing() {
        let z = sampled(|x, y| if x > 220.0 && y > 60.0 { ((x * 0.3).sin() + y).sin() } else { 0.0 });
        let all = z.thinned(0.02, |_, _| true);
        let some = z.thinned(0.02, |lo, _| lo[0] < 150.0);
        assert!(some.z.c.len() < all.z.c.len());
        assert!((0..100).all(|i| some.z.at(-300.0 + 4.0 * f64::from(i), 90.0).abs() <= 0.02));
    }
}
