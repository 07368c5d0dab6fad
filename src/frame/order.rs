//! A scan's points in an order of their own, whatever order the file had, and thinned to voxel means.
use crate::num::{each, quantile_select, sort_by};
use nalgebra::{Point3, Vector3};

/// Voxels aimed at: 4 to 7 mm on a board with its floor, so that the neighbours of a point lie on its own layer of a depth
/// scan that has a false one some 20 mm behind, and few enough for neighbour searches in a fraction of a second.
const VOXELS: usize = 50_000;
/// Points sorted into sheet, rail and the rest; more are thinned evenly in space first. On a board they lie half a millimetre
/// apart, far closer than any shape of a deck asks.
const MOST_POINTS: usize = 1_000_000;
/// Share of points at either end of an axis that do not say how large the scan is: floaters.
const STRAY: f64 = 0.005;
/// Bits of one coordinate of a cell.
const BITS: u32 = 21;

/// Points in a fixed order (Z-order of fine cells, then coordinates), without far strays.
pub(super) struct Ordered {
    /// The points, at most [`MOST_POINTS`].
    pub points: Vec<Point3<f64>>,
    /// Points left out because they lie far outside what holds all but a few of them.
    pub strays: usize,
    codes: Vec<u64>,
    lo: Point3<f64>,
    cell: f64,
}

/// Spreads the low [`BITS`] bits of `v` to every third bit.
fn spread_bits(v: u64) -> u64 {
    let mut x = v & ((1 << BITS) - 1);
    x = (x | x << 32) & 0x001f_0000_0000_ffff;
    x = (x | x << 16) & 0x001f_0000_ff00_00ff;
    x = (x | x << 8) & 0x100f_00f0_0f00_f00f;
    x = (x | x << 4) & 0x10c3_0c30_c30c_30c3;
    (x | x << 2) & 0x1249_2492_4924_9249
}

impl Ordered {
    /// Orders `points`; they must be finite and at least one.
    pub fn new(points: &[Point3<f64>]) -> Self {
        let mut axis = vec![0.0; points.len()];
        let (mut lo, mut hi) = (Point3::origin(), Point3::origin());
        for k in 0..3 {
            for (a, p) in axis.iter_mut().zip(points) {
                *a = p[k];
            }
            lo[k] = quantile_select(&mut axis, STRAY);
            hi[k] = quantile_select(&mut axis, 1.0 - STRAY);
        }
        // what holds nearly all points, widened by half its greatest side, holds all that belongs to them
        let room = (hi - lo).max() / 2.0;
        // all points in one place are in one cell, however rounding falls
        let room = room.max(f64::EPSILON * lo.coords.amax()).max(f64::MIN_POSITIVE);
        let (lo, hi) = (lo - Vector3::repeat(room), hi + Vector3::repeat(room));
        let cell = (hi - lo).max() / f64::from(1u32 << BITS);
        let inside = |p: &Point3<f64>| (0..3).all(|k| p[k] >= lo[k] && p[k] < hi[k]);
        let code = |p: &Point3<f64>| {
            (0..3).fold(0, |c, k| c | spread_bits((((p[k] - lo[k]) / cell) as u64).min((1 << BITS) - 1)) << k)
        };
        let mut keyed: Vec<(u64, u32)> =
            (0u32..).zip(points).filter(|(_, p)| inside(p)).map(|(i, p)| (code(p), i)).collect();
        let by_place = |a: &(u64, u32), b: &(u64, u32)| {
            a.0.cmp(&b.0).then_with(|| {
                let (p, q) = (&points[a.1 as usize], &points[b.1 as usize]);
                p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y)).then(p.z.total_cmp(&q.z))
            })
        };
        sort_by(&mut keyed, by_place);
        let strays = points.len() - keyed.len();
        let step = keyed.len().div_ceil(MOST_POINTS).max(1);
        let kept = keyed.iter().step_by(step);
        Self {
            points: kept.clone().map(|k| points[k.1 as usize]).collect(),
            codes: kept.map(|k| k.0).collect(),
            strays,
            lo,
            cell,
        }
    }

    /// The edge length of voxels that thin the points to some [`VOXELS`], and the means of the points in each, in a fixed
    /// order.
    pub fn thinned(&self) -> (f64, Vec<Point3<f64>>) {
        // Z-order cells fine enough not to be seen in the result carry the sums, so that the search below is quick
        let mut level = BITS;
        let mut cells = self.level(level);
        while level > 0 {
            let coarser = self.level(level - 1);
            if coarser.len() < 8 * VOXELS {
                break;
            }
            (level, cells) = (level - 1, coarser);
        }
        let extent = self.cell * f64::from(1u32 << BITS);
        let mut size = extent / 60.0;
        let mut out = self.voxels(&cells, size);
        // the count grows by about two with each step on a surface; floaters make it grow by up to 1.4 cubed
        while out.len() < VOXELS && out.len() < cells.len() * 3 / 4 && size > extent * 1e-4 {
            size /= 1.4;
            out = self.voxels(&cells, size);
        }
        (size, out)
    }
    /// Sums and counts of the points in the cells of a level: `BITS` is the finest.
    fn level(&self, level: u32) -> Vec<(Vector3<f64>, f64)> {
        let shift = 3 * (BITS - level);
        let mut out: Vec<(Vector3<f64>, f64)> = Vec::new();
        let mut last = None;
        for (code, p) in self.codes.iter().zip(&self.points) {
            let code = code >> shift;
            match out.last_mut() {
                Some((sum, n)) if last == Some(code) => {
                    *sum += p.coords;
                    *n += 1.0;
                }
                _ => out.push((p.coords, 1.0)),
            }
            last = Some(code);
        }
        out
    }
    fn voxels(&self, cells: &[(Vector3<f64>, f64)], size: f64) -> Vec<Point3<f64>> {
        // the three numbers in one, which sorts the same way and faster
        let key = |sum: &Vector3<f64>, n: f64| {
            (0..3).fold(0u64, |key, k| key << BITS | (((sum[k] / n - self.lo[k]) / size) as u64).min((1 << BITS) - 1))
        };
        let keys = each(cells.len(), |i| key(&cells[i].0, cells[i].1));
        // neighbours in Z-order are mostly in one voxel: runs of cells are sorted, not cells
        let mut runs: Vec<(u64, u32, u32)> = Vec::new();
        for (i, key) in (0u32..).zip(keys) {
            match runs.last_mut() {
                Some((last, _, end)) if *last == key => *end = i + 1,
                _ => runs.push((key, i, i + 1)),
            }
        }
        sort_by(&mut runs, Ord::cmp);
        runs.chunk_by(|a, b| a.0 == b.0)
            .map(|v| {
                let all = v.iter().flat_map(|(_, from, to)| &cells[*from as usize..*to as usize]);
                let (sum, n) = all.fold((Vector3::zeros(), 0.0), |s, c| (s.0 + c.0, s.1 + c.1));
                Point3::from(sum / n)
            })
            .collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    fn cloud() -> Vec<Point3<f64>> {
        (0..40_000u32)
            .map(|i| {
                let (a, b) = (f64::from(i % 400), f64::from(i / 400));
                Point3::new(a * 2.0, b * 2.0, (a * 0.1).sin() + (b * 0.7).cos())
            })
            .collect()
    }
    /// The order of the points in the file changes not a bit of the result.
    #[test]
    fn order_of_points_does_not_matter() {
        let mut points = cloud();
        let one = Ordered::new(&points);
        points.reverse();
        points.rotate_left(12_345);
        let two = Ordered::new(&points);
        assert_eq!(one.points, two.points);
        assert_eq!(one.thinned(), two.thinned());
    }
    /// One stray point at a thousand box sizes neither counts nor changes the voxels.
    #[test]
    fn far_strays_are_left_out() {
        let mut points = cloud();
        let (size, thin) = Ordered::new(&points).thinned();
        points.push(Point3::new(8e5, 0.0, 0.0));
        let with = Ordered::new(&points);
        assert_eq!(with.strays, 1);
        let (s, t) = with.thinned();
        assert!((s / size - 1.0).abs() < 0.05 && t.len().abs_diff(thin.len()) < thin.len() / 10);
    }
    #[test]
    fn one_place_is_one_voxel() {
        let (_, t) = Ordered::new(&[Point3::new(1.0, 2.0, 3.0); 10]).thinned();
        assert_eq!(t, vec![Point3::new(1.0, 2.0, 3.0)]);
    }
}
