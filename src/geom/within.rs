//! Many places against one distance from a polygon's border, without looking at every edge for each.
use super::Polygon;
use crate::num::each;

/// Cells over a polygon's box: so few cost less than the places asked for, and of those only the ones in cells along the line sought
/// (one in ten on a board) need all edges.
const CELLS: f64 = 6000.0;
/// What rounding adds to half a cell's diagonal, as a share of it: far more than any.
const ROUNDING: f64 = 1e-6;

/// The places whose signed distance from a polygon's border is less than a limit.
pub struct Within<'a> {
    polygon: &'a Polygon,
    limit: f64,
    lo: [f64; 2],
    cell: f64,
    n: [usize; 2],
    /// Whether all of a cell is within or none of it; neither where the line passes.
    cells: Vec<Option<bool>>,
}
impl Polygon {
    /// The places whose [`Polygon::signed_distance`] is less than `limit`: negative for those that deep inside.
    pub fn within(&self, limit: f64) -> Within<'_> {
        let (lo, hi) = self.bounds();
        // nothing farther from the box than the limit is that near to the border
        let (lo, hi) = (lo.map(|v| v - limit.max(0.0)), hi.map(|v| v + limit.max(0.0)));
        let size = [hi[0] - lo[0], hi[1] - lo[1]];
        let cell = (size[0] * size[1] / CELLS).sqrt();
        if !(cell > 0.0 && cell.is_finite()) {
            return Within { polygon: self, limit, lo, cell, n: [0; 2], cells: Vec::new() };
        }
        // a box far longer than wide has no more cells along it than over all
        let cell = cell.max(size[0].max(size[1]) / CELLS);
        let n = size.map(|s| (s / cell) as usize + 1);
        // a place is no farther from the border than its cell's middle and half the diagonal together
        let half = cell * std::f64::consts::FRAC_1_SQRT_2 * (1.0 + ROUNDING);
        let cells = each(n[0] * n[1], |k| {
            let middle = [(k / n[1]) as f64 + 0.5, (k % n[1]) as f64 + 0.5];
            let d = self.signed_distance([0, 1].map(|k| lo[k] + middle[k] * cell));
            if d + half < limit {
                Some(true)
            } else if d - half > limit {
                Some(false)
            } else {
                None
            }
        });
        Within { polygon: self, limit, lo, cell, n, cells }
    }
}
impl Within<'_> {
    /// Whether `p` is one of them.
    pub fn holds(&self, p: [f64; 2]) -> bool {
        let at = [0, 1].map(|k| (p[k] - self.lo[k]) / self.cell);
        // NaN is nowhere
        if !(0..2).all(|k| at[k] >= 0.0 && at[k] < self.n[k] as f64) {
            return false;
        }
        let known = self.cells[at[0] as usize * self.n[1] + at[1] as usize];
        known.unwrap_or_else(|| self.polygon.signed_distance(p) < self.limit)
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    /// The same answers as by all edges: a star, places all over and beside it, several limits; and shapes without an area.
    #[test]
    fn answers_as_the_signed_distance_does() {
        let star = (0..60)
            .map(|i| (f64::from(i) * std::f64::consts::TAU / 60.0, if i % 2 == 0 { 100.0 } else { 60.0 }))
            .map(|(a, r)| [3.0 * r * a.cos(), r * a.sin()])
            .collect();
        let flat = vec![[0.0, 0.0], [5.0, 0.0], [9.0, 0.0]];
        for points in [star, flat, Vec::new(), vec![[1.0, 2.0]]] {
            let polygon = Polygon { points };
            for limit in [-1e4, -55.0, -8.0, 0.0, 6.5, 1e4] {
                let within = polygon.within(limit);
                let mut inside = 0;
                for k in 0..20_000 {
                    let p = [f64::from(k % 200) * 3.3 - 330.0, f64::from(k / 200) * 2.2 - 110.0];
                    let want = polygon.signed_distance(p) < limit;
                    assert_eq!(within.holds(p), want, "{limit} {p:?}");
                    inside += usize::from(want);
                }
                assert!(polygon.points.len() < 60 || (inside > 100) == (limit > -60.0), "{limit} {inside}");
                assert!(!within.holds([f64::NAN, 0.0]));
            }
        }
    }
}
