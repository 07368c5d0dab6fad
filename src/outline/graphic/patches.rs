//! Patches of the scan's colours found in the photo laid flat.
//!
//! The correlation is of what is left of both when each patch's mean and slope are taken away, so that light, and light that grows
//! across a patch, does not count. With a gain and a noise that nobody knows, n independent pixels that correlate by r are likelier by
//! -n/2 ln(1 - r^2) than by chance: the logarithm's curvature at its peak is the information on the displacement.
//!
//! # References
//! J. P. Lewis 1995, *Fast normalized cross-correlation*, for the measure; A. van den Bos 2007, *Parameter estimation for scientists
//! and engineers*, for the likelihood's curvature as information (both from memory).
use super::flat::Flat;
use super::painted::Cell;
use crate::num::each;
use nalgebra::{Matrix2, Vector2};

/// Neighbouring cells share the blur of both pictures, and three channels say nearly one thing: so many cells count as one, to begin with
/// (the scatter of what is found tells better).
const CELLS_TOGETHER: f64 = 2.0;
/// Least cells of a patch: what four that count leave of a mean and two slopes is no more than a guess.
pub(super) const LEAST_CELLS: usize = 40;
/// Another place is a rival when it is no less likely than this many to one, and farther off than so many standard deviations.
const RIVAL: f64 = 4.0;
const RIVAL_SIGMAS: f64 = 4.0;
/// Least logarithm of the likelihood against chance: twenty to one, for one that is wrong does no harm among others.
const LEAST_GAIN: f64 = 3.0;

/// Cells of the scan that are looked for together.
pub(super) struct Patch {
    /// Their middle in plan.
    pub at: [f64; 2],
    cells: Vec<Cell>,
    /// How far its colours are off their mean and slope, rms of a channel, levels.
    pub contrast: f64,
    /// Colours without mean and slope, of length 1.
    colours: Vec<[f32; 3]>,
    /// 1, x, y made orthonormal over the cells.
    light: Vec<[f32; 3]>,
}
impl Patch {
    /// `None` where all are of one colour or lie on a line.
    fn new(cells: Vec<Cell>) -> Option<Self> {
        let n = cells.len() as f64;
        let at = [0, 1].map(|k| cells.iter().map(|c| c.at[k]).sum::<f64>() / n);
        let off = |c: &Cell| [c.at[0] - at[0], c.at[1] - at[1]];
        let of = |f: &dyn Fn(&[f64; 2], &[f64; 2]) -> f64| cells.iter().map(|c| f(&off(c), &off(c))).sum::<f64>();
        let (xx, xy) = (of(&|a, b| a[0] * b[0]), of(&|a, b| a[0] * b[1]));
        let lean = xy / xx;
        let yy = of(&|a, b| (a[1] - lean * a[0]) * (b[1] - lean * b[0]));
        if !(xx > 0.0 && yy > 1e-6 * xx) {
            return None;
        }
        let light: Vec<[f32; 3]> = cells
            .iter()
            .map(|c| {
                let [x, y] = off(c);
                [1.0 / n.sqrt(), x / xx.sqrt(), (y - lean * x) / yy.sqrt()].map(|v| v as f32)
            })
            .collect();
        let mut colours: Vec<[f32; 3]> = cells.iter().map(|c| c.colour).collect();
        for k in 0..3 {
            let share = [0, 1, 2].map(|l| colours.iter().zip(&light).map(|(c, q)| c[k] * q[l]).sum::<f32>());
            for (c, q) in colours.iter_mut().zip(&light) {
                c[k] -= share[0] * q[0] + share[1] * q[1] + share[2] * q[2];
            }
        }
        let length = colours.iter().flatten().map(|v| v * v).sum::<f32>().sqrt();
        // less than whole levels' rounding is no colour
        if length < 0.3 * (3.0 * n as f32).sqrt() {
            return None;
        }
        colours.iter_mut().flatten().for_each(|v| *v /= length);
        let contrast = f64::from(length) / (3.0 * n).sqrt();
        Some(Self { at, contrast, cells, colours, light })
    }
    /// How many independent pixels it counts for.
    fn independent(&self) -> f64 {
        self.cells.len() as f64 / CELLS_TOGETHER
    }
    /// The same of `flat` at its place.
    pub fn contrast_in(&self, flat: &Flat) -> Option<f64> {
        let squared = self.sums(flat, 0)?.first().map(left)?;
        squared.is_finite().then(|| (squared.max(0.0) / (3.0 * self.cells.len() as f64)).sqrt())
    }
    /// What a correlation with `flat` takes at each displacement of up to `reach` steps either way; y inside.
    fn sums(&self, flat: &Flat, reach: usize) -> Option<Vec<[f32; 11]>> {
        let side = 2 * reach + 1;
        // per displacement: product, square, and the three lights of three channels
        let mut sums = vec![[0f32; 11]; side * side];
        for ((cell, a), q) in self.cells.iter().zip(&self.colours).zip(&self.light) {
            let [u, v] = [0, 1].map(|k| (cell.at[k] - flat.lo[k]) / flat.step - reach as f64);
            if !(u >= 0.0 && v >= 0.0) {
                return None;
            }
            let (i, j) = (u as usize, v as usize);
            if i + side >= flat.nodes[0] || j + side >= flat.nodes[1] {
                return None;
            }
            let (s, t) = ((u - i as f64) as f32, (v - j as f64) as f32);
            let w = [(1.0 - s) * (1.0 - t), (1.0 - s) * t, s * (1.0 - t), s * t];
            for di in 0..side {
                let from = (i + di) * flat.nodes[1] + j;
                let near = &flat.colours[from..=from + side];
                let far = &flat.colours[from + flat.nodes[1]..=from + flat.nodes[1] + side];
                for (dj, sum) in sums[di * side..(di + 1) * side].iter_mut().enumerate() {
                    for k in 0..3 {
                        let b = w[0] * near[dj][k] + w[1] * near[dj + 1][k] + w[2] * far[dj][k] + w[3] * far[dj + 1][k];
                        sum[0] += a[k] * b;
                        sum[1] += b * b;
                        sum[2 + k] += q[0] * b;
                        sum[5 + k] += q[1] * b;
                        sum[8 + k] += q[2] * b;
                    }
                }
            }
        }
        Some(sums)
    }
    /// Its correlation there.
    fn correlations(&self, flat: &Flat, reach: usize) -> Option<Vec<f64>> {
        let correlation = |s: &[f32; 11]| {
            let left = left(s);
            // what is left of a plain picture is rounding
            if left <= 1e-4 * f64::from(s[1]) { 0.0 } else { f64::from(s[0]) / left.sqrt() }
        };
        let out: Vec<f64> = self.sums(flat, reach)?.iter().map(correlation).collect();
        out.iter().all(|r| r.is_finite()).then_some(out)
    }
    /// Where it is found, in mm from where it was looked for, with the information on that; what is seen in several places is not.
    pub fn found(&self, flat: &Flat, reach: usize) -> Option<Displaced> {
        let side = 2 * reach + 1;
        let n = self.independent();
        let gain: Vec<f64> = (self.correlations(flat, reach)?.into_iter())
            .map(|r| -0.5 * n * (1.0 - r.clamp(0.0, 0.9999).powi(2)).ln())
            .collect();
        // the camera is believed within the window, half of it as a standard deviation: along an edge, where nothing else tells
        let believed = |k: usize| {
            let d = [k / side, k % side].map(|i| (i as f64 - reach as f64) / (0.5 * reach as f64));
            gain[k] - 0.5 * (d[0] * d[0] + d[1] * d[1])
        };
        let peak = (0..side * side).fold(0, |b, k| if believed(k) > believed(b) { k } else { b });
        let (i, j) = (peak / side, peak % side);
        if gain[peak] < LEAST_GAIN || i == 0 || j == 0 || i + 1 == side || j + 1 == side {
            return None;
        }
        // a quadratic through the nine about the peak, by least squares
        let at = |a: i32, b: i32| gain[(i as i32 + a) as usize * side + (j as i32 + b) as usize];
        let sum = |f: &dyn Fn(f64, f64) -> f64| {
            let nine = (-1..=1).flat_map(|a| (-1..=1).map(move |b| (a, b)));
            nine.map(|(a, b)| f(f64::from(a), f64::from(b)) * at(a, b)).sum::<f64>()
        };
        let slope = Vector2::new(sum(&|a, _| a) / 6.0, sum(&|_, b| b) / 6.0);
        let (aa, bb) = (sum(&|a, _| a * a - 2.0 / 3.0), sum(&|_, b| b * b - 2.0 / 3.0));
        let ab = sum(&|a, b| a * b) / 4.0;
        let eigen = Matrix2::new(-aa, -ab, -ab, -bb).symmetric_eigen();
        let values = eigen.eigenvalues.map(|v| v.max(0.0));
        let information = eigen.eigenvectors * Matrix2::from_diagonal(&values) * eigen.eigenvectors.transpose();
        // along an edge nothing is told: within a step
        let by = (information + Matrix2::identity()).try_inverse()? * slope;
        let rival = |k: usize| {
            let d = Vector2::new((k / side) as f64 - i as f64, (k % side) as f64 - j as f64) - by;
            gain[k] > gain[peak] - RIVAL && d.dot(&(information * d)) > RIVAL_SIGMAS * RIVAL_SIGMAS
        };
        if (0..side * side).any(rival) {
            return None;
        }
        let steps = Vector2::new(i as f64, j as f64) - Vector2::repeat(reach as f64) + by.map(|v| v.clamp(-1.0, 1.0));
        Some(Displaced { by: steps * flat.step, information: information / flat.step.powi(2) })
    }
}
/// The square of what is left of a picture without its light.
fn left(s: &[f32; 11]) -> f64 {
    f64::from(s[1]) - s[2..].iter().map(|v| f64::from(*v).powi(2)).sum::<f64>()
}
/// A patch found in a photo.
#[derive(Debug, Clone, Copy)]
pub(super) struct Displaced {
    /// mm in plan.
    pub by: Vector2<f64>,
    /// Inverse of its covariance, 1 / mm2, of the pictures' noise alone.
    pub information: Matrix2<f64>,
}
/// The cells parted into squares of about `side` mm.
pub(super) fn patches(cells: &[Cell], lo: [f64; 2], side: f64) -> Vec<Patch> {
    let square = |c: &Cell| [0, 1].map(|k| ((c.at[k] - lo[k]) / side).floor() as i64);
    let mut by: Vec<([i64; 2], usize)> = cells.iter().enumerate().map(|(k, c)| (square(c), k)).collect();
    by.sort_unstable();
    let groups: Vec<&[([i64; 2], usize)]> = by.chunk_by(|a, b| a.0 == b.0).filter(|g| g.len() >= LEAST_CELLS).collect();
    each(groups.len(), |g| Patch::new(groups[g].iter().map(|(_, k)| cells[*k]).collect()))
        .into_iter()
        .flatten()
        .collect()
}
