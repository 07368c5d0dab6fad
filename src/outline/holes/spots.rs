//! Small dark or bright discs on the deck, in a picture of it laid flat.
use crate::num::{each, median};

/// Side of a cell of the flattened picture, mm: a hole of 5 mm is ten cells wide.
pub(super) const CELL_MM: f64 = 0.5;
/// A truck's bolt hole is 5 to 5.5 mm wide (common practice, no source): what lies within this of its middle is hole.
const DISC_MM: f64 = 2.0;
/// And what lies in this ring is deck, whatever the pixel's blur.
const RING_MM: [f64; 2] = [4.0, 5.5];
/// Least difference between disc and ring, grey levels of 255: below it are noise and grain.
const LEAST_CONTRAST: f64 = 12.0;
/// The disc stands out from its ring by this many of the ring's standard deviations.
const CLEAR_SIGMAS: f64 = 3.0;
/// Two discs are nearer than this only by being one, mm.
const APART_MM: f64 = 5.0;
/// Greatest ratio of a disc's two second moments: a circle seen 35 degrees off square (1.5), and the noise of a few pixels;
/// beyond lies grain.
const MOST_OBLONG: f64 = 2.2;
/// Widest disc, as the root of its mean squared radius, mm: 5.5 mm holes with a blur of 2 mm.
const MOST_SPREAD_MM: f64 = 2.8;

/// A strip of the deck laid flat: grey levels, row by row along x.
pub(super) struct Flat {
    pub lo: [f64; 2],
    pub n: [usize; 2],
    pub grey: Vec<f32>,
}
/// A disc: middle, mm, and how much lighter than its surroundings it is, grey levels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spot {
    pub at: [f64; 2],
    pub contrast: f64,
}
/// Cells between two radii about a cell.
fn ring(from_mm: f64, to_mm: f64) -> Vec<[i64; 2]> {
    let r = (to_mm / CELL_MM).ceil() as i64;
    let inside = |i: i64, j: i64| (from_mm..=to_mm).contains(&((i as f64).hypot(j as f64) * CELL_MM));
    (-r..=r).flat_map(|i| (-r..=r).map(move |j| [i, j])).filter(|c| inside(c[0], c[1])).collect()
}
impl Flat {
    /// Cells within `reach` mm of a place: where they are from it, mm, and their grey.
    pub fn about(&self, at: [f64; 2], reach: f64) -> impl Iterator<Item = ([f64; 2], f64)> {
        let c = [0, 1].map(|k| (at[k] - self.lo[k]) / CELL_MM - 0.5);
        let n = self.n.map(|n| n as i64);
        let [i, j] = c.map(|c| c.round() as i64);
        ring(0.0, reach)
            .into_iter()
            .map(move |[a, b]| [i + a, j + b])
            .filter(move |[i, j]| *i >= 0 && *j >= 0 && *i < n[0] && *j < n[1])
            .map(move |[i, j]| ([(i as f64 - c[0]) * CELL_MM, (j as f64 - c[1]) * CELL_MM], self.at(i, j)))
    }
    fn at(&self, i: i64, j: i64) -> f64 {
        f64::from(self.grey[i as usize * self.n[1] + j as usize])
    }
    /// Difference of disc and ring, and the ring's mean; zero difference where it does not stand out.
    fn contrast(&self, i: i64, j: i64, disc: &[[i64; 2]], round: &[[i64; 2]]) -> (f64, f64) {
        let mean = |c: &[[i64; 2]]| c.iter().map(|c| self.at(i + c[0], j + c[1])).sum::<f64>() / c.len() as f64;
        let (d, r) = (mean(disc), mean(round));
        if (d - r).abs() < LEAST_CONTRAST {
            return (0.0, r);
        }
        let v = round.iter().map(|c| (self.at(i + c[0], j + c[1]) - r).powi(2)).sum::<f64>() / round.len() as f64;
        if (d - r).abs() < CLEAR_SIGMAS * v.sqrt() { (0.0, r) } else { (d - r, r) }
    }
    /// Discs that stand out from their surroundings, lighter and darker ones.
    pub fn spots(&self) -> Vec<Spot> {
        let (disc, round) = (ring(0.0, DISC_MM), ring(RING_MM[0], RING_MM[1]));
        let margin = (RING_MM[1] / CELL_MM).ceil() as i64 + 1;
        let [n, m] = self.n.map(|n| n as i64);
        // every other cell is enough to hit a disc; its middle is found afterwards
        let every_other = |n: i64| (margin..n - margin).step_by(2).collect::<Vec<_>>();
        let (rows, columns) = (every_other(n), every_other(m));
        let found = each(rows.len(), |k| {
            let at = columns.iter().map(|j| (rows[k], *j));
            let with = at.map(|(i, j)| (i, j, self.contrast(i, j, &disc, &round)));
            with.filter(|(.., (c, _))| *c != 0.0).map(|(i, j, (c, r))| (i, j, c, r)).collect::<Vec<_>>()
        });
        let mut found: Vec<(i64, i64, f64, f64)> = found.concat();
        found.sort_by(|a, b| b.2.abs().total_cmp(&a.2.abs()).then((a.0, a.1).cmp(&(b.0, b.1))));
        let mut out: Vec<Spot> = Vec::new();
        for (i, j, contrast, ground) in found {
            let Some(at) = self.middle(i, j, contrast, ground, margin) else { continue };
            if out.iter().all(|s| (s.at[0] - at[0]).hypot(s.at[1] - at[1]) > APART_MM) {
                out.push(Spot { at, contrast });
            }
        }
        out
    }
    /// Centre of gravity of what is darker (lighter) than halfway, where it is round and small.
    fn middle(&self, i: i64, j: i64, contrast: f64, ground: f64, reach: i64) -> Option<[f64; 2]> {
        let mut c = [i as f64, j as f64];
        for last in [false, false, true] {
            let (ci, cj) = (c[0].round() as i64, c[1].round() as i64);
            if ci < reach || cj < reach || ci + reach >= self.n[0] as i64 || cj + reach >= self.n[1] as i64 {
                return None;
            }
            let (mut sum, mut first, mut second) = (0.0, [0.0; 2], [0.0; 3]);
            for [a, b] in ring(0.0, RING_MM[0]) {
                let w = ((self.at(ci + a, cj + b) - ground) / contrast - 0.4).clamp(0.0, 0.6);
                let (x, y) = ((ci + a) as f64 - c[0], (cj + b) as f64 - c[1]);
                sum += w;
                first = [first[0] + w * x, first[1] + w * y];
                second = [second[0] + w * x * x, second[1] + w * x * y, second[2] + w * y * y];
            }
            if !(sum > 0.0) {
                return None;
            }
            if last {
                let [xx, xy, yy] = second.map(|s| s / sum);
                let (half, off) = ((xx + yy) / 2.0, ((xx - yy) / 2.0).hypot(xy));
                let spread = (xx + yy).sqrt() * CELL_MM;
                if half + off > MOST_OBLONG * (half - off) || spread > MOST_SPREAD_MM {
                    return None;
                }
            }
            c = [c[0] + first[0] / sum, c[1] + first[1] / sum];
        }
        Some([0, 1].map(|k| self.lo[k] + (c[k] + 0.5) * CELL_MM))
    }
}
/// The spots of one sign whose contrast is like that of the given ones: within this factor of their median.
pub(super) fn alike(spots: &[Spot], like: &[Spot]) -> usize {
    let c = median(&like.iter().map(|s| s.contrast).collect::<Vec<_>>());
    spots.iter().filter(|s| (1.0 / LIKE..=LIKE).contains(&(s.contrast / c))).count()
}
/// Holes of one board look alike: within this factor, with shade at one end.
pub(super) const LIKE: f64 = 2.5;
#[cfg(test)]
mod tests {
    use super::*;
    fn flat(paint: impl Fn(f64, f64) -> f64) -> Flat {
        let n = [200, 120];
        let at = |i: usize| [(i / n[1]) as f64, (i % n[1]) as f64].map(|k| (k + 0.5) * CELL_MM);
        Flat { lo: [0.0; 2], n, grey: (0..n[0] * n[1]).map(|i| paint(at(i)[0], at(i)[1]) as f32).collect() }
    }
    #[test]
    fn discs_are_found_where_they_are_and_lines_are_not() {
        let holes = [([20.3, 15.1], 30.0), ([61.7, 44.4], 220.0)];
        let f = flat(|x, y| {
            let hole = holes.iter().find(|h| (x - h.0[0]).hypot(y - h.0[1]) < 2.6);
            let line = (x - 90.0).abs() < 2.0 || (y - 0.3 * x - 25.0).abs() < 1.0 && x > 70.0;
            hole.map_or(if line { 20.0 } else { 128.0 }, |h| h.1)
        });
        let mut found = f.spots();
        found.sort_by(|a, b| a.at[0].total_cmp(&b.at[0]));
        assert_eq!(found.len(), 2, "{found:?}");
        for (s, h) in found.iter().zip(holes) {
            assert!((s.at[0] - h.0[0]).hypot(s.at[1] - h.0[1]) < 0.15, "{s:?} {h:?}");
            assert!((s.contrast - (h.1 - 128.0)).abs() < 8.0, "{s:?}");
        }
    }
    #[test]
    fn an_even_deck_and_large_discs_have_none() {
        assert!(flat(|x, y| 100.0 + 3.0 * (7.3 * x + 2.9 * y).sin()).spots().is_empty());
        assert!(flat(|x, y| if (x - 50.0).hypot(y - 30.0) < 7.0 { 20.0 } else { 128.0 }).spots().is_empty());
    }
}
