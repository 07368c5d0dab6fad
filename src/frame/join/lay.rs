//! One piece laid on another by a similarity: its equations, cost and fit.
use super::piece::Piece;
use crate::geom::Similarity;
use crate::num::{BIWEIGHT_TUNING, biweight, median};
use nalgebra::{Point3, Rotation3, SMatrix, SVector, Vector3};

type Vector7 = SVector<f64, 7>;
type Matrix7 = SMatrix<f64, 7, 7>;

/// A miss beyond this, in widths, says no more than that nothing is there: some 10 mm.
const MOST_MISS: f64 = 0.05;
/// A neighbour sideways by more than this many spacings is no part of the same face: the point lies beyond a border.
const BESIDE_SPACINGS: f64 = 1.5;
/// What is within this of either cut, in widths, is left out: patches fray there.
const FRAY: f64 = 0.1;
/// A fit first counts misses of [`MOST_MISS`], each step only this share of that: what is far off at first is not left out as
/// strays, and what stays far off is.
const NARROWING: f64 = 0.8;
/// Least standard deviation for the weights, in widths: a tenth of a millimetre on a usual board.
const LEAST_SIGMA: f64 = 5e-4;
/// Another pose whose mean square miss is within this factor of the best one's is as good: scatter of the mean squares of two
/// good poses stays within some 10 %, a wrong pose on a bent board misses by several times.
const AS_GOOD: f64 = 1.5;
/// A step that moves the piece by less, in widths, ends a fit: some 0.01 mm.
const DONE: f64 = 5e-5;
/// Slices of the overlap whose residuals count as one piece of evidence each: scans warp over a hand's breadth.
const SLICES: usize = 12;

/// What is laid on what.
pub(super) struct Pair<'a> {
    pub fixed: &'a Piece,
    pub moving: &'a Piece,
}
/// One equation: how its residual changes with the pose (turn, move, size).
struct Row {
    j: Vector7,
    /// The same by the normal of the other scan: its noise is another.
    by_other: Vector7,
    residual: f64,
    weight: f64,
    slice: usize,
}
/// A pose of the moving piece on the fixed one, with what it costs.
#[derive(Clone)]
pub(super) struct Laid {
    pub pose: Similarity,
    /// Root mean square miss in the overlap, either way, in widths, each at most [`MOST_MISS`].
    pub cost: f64,
    /// Where the overlap begins and ends along the fixed piece.
    pub overlap: [f64; 2],
    /// Share of the points in the overlap that have the other scan's face at hand.
    pub matched_ratio: f64,
    /// Root mean square distance of those from it, in widths.
    pub residual: f64,
}
impl Laid {
    /// Length of the overlap, in widths of the fixed piece.
    pub fn shared(&self) -> f64 {
        self.overlap[1] - self.overlap[0]
    }
    /// Whether this one fits about as well as the best.
    pub fn as_good_as(&self, best: &Self) -> bool {
        self.cost.powi(2) < AS_GOOD * best.cost.powi(2)
    }
}

impl Pair<'_> {
    /// Where the moving piece begins and ends along the fixed one.
    pub fn ends(&self, pose: &Similarity) -> [f64; 2] {
        let [a, b] = self.moving.ends.map(|x| pose.apply(&Point3::new(x, 0.0, 0.0)).x);
        [a.min(b), a.max(b)]
    }
    /// Equations and cost by some `samples` points of either piece, those that miss by `reach` or less with a weight;
    /// `None` without an overlap.
    fn look(&self, pose: &Similarity, samples: usize, reach: f64) -> Option<(Vec<Row>, Laid)> {
        let placed = self.ends(pose);
        let overlap = [placed[0].max(self.fixed.ends[0]), placed[1].min(self.fixed.ends[1])];
        let inner = [overlap[0] + FRAY, overlap[1] - FRAY];
        if !(inner[1] > inner[0]) {
            return None;
        }
        let back = pose.inverse();
        let mut rows = Vec::new();
        let mut add = |q: Point3<f64>, at: Point3<f64>, normal: Vector3<f64>, other: Vector3<f64>, spacing: f64| {
            let d = q - at;
            let off = d.dot(&normal);
            let beside = (d.norm_squared() - off * off).max(0.0).sqrt();
            let (n, other, residual) = if beside < BESIDE_SPACINGS * spacing {
                (normal, other * other.dot(&normal).signum(), off)
            } else {
                (d.normalize(), d.normalize(), d.norm())
            };
            let change = |n: Vector3<f64>| {
                let t = q.coords.cross(&n);
                Vector7::from_column_slice(&[t.x, t.y, t.z, n.x, n.y, n.z, n.dot(&q.coords)])
            };
            let slice = ((q.x - inner[0]) / (inner[1] - inner[0]) * SLICES as f64) as usize;
            let slice = slice.min(SLICES - 1);
            rows.push(Row { j: change(n), by_other: change(other), residual, weight: 0.0, slice });
        };
        let within = |x: f64| x > inner[0] && x < inner[1];
        let stride = |n: usize| n.div_ceil(samples).max(1);
        let turned = |k: usize| pose.rotation * self.moving.normals[k];
        for (k, p) in self.moving.points.iter().enumerate().step_by(stride(self.moving.points.len())) {
            let q = pose.apply(p);
            if within(q.x)
                && let Some(i) = self.fixed.nearest(&q)
            {
                add(q, self.fixed.points[i], self.fixed.normals[i], turned(k), self.fixed.spacing);
            }
        }
        let all = self.fixed.points.iter().enumerate().step_by(stride(self.fixed.points.len()));
        for (k, p) in all.filter(|(_, p)| within(p.x)) {
            if let Some(i) = self.moving.nearest(&back.apply(p)) {
                let q = pose.apply(&self.moving.points[i]);
                add(q, *p, turned(i), self.fixed.normals[k], pose.scale * self.moving.spacing);
            }
        }
        let sizes: Vec<f64> = rows.iter().map(|r| r.residual.abs()).collect();
        // 1.4826 times the median size is the standard deviation of a normal law about zero
        let sigma = (1.4826 * median(&sizes)).max(LEAST_SIGMA);
        for r in &mut rows {
            r.weight = biweight(r.residual / (BIWEIGHT_TUNING * sigma).max(reach)) / (sigma * sigma);
        }
        let n = rows.len() as f64;
        let cost = (sizes.iter().map(|s| s.min(MOST_MISS).powi(2)).sum::<f64>() / n).sqrt();
        let matched: Vec<f64> = rows.iter().filter(|r| r.weight > 0.0).map(|r| r.residual).collect();
        let laid = Laid {
            pose: pose.clone(),
            cost,
            overlap,
            matched_ratio: matched.len() as f64 / n,
            residual: crate::num::rms(&matched),
        };
        (n > 0.0).then_some((rows, laid))
    }
    /// The best pose within so many steps from `from`; a freedom that holds little moves little while `spring` is large.
    pub fn fit(&self, from: &Similarity, samples: usize, steps: usize, spring: f64) -> Option<Laid> {
        let mut pose = from.clone();
        let mut best: Option<Laid> = None;
        let mut reach = MOST_MISS;
        for _ in 0..steps {
            let Some((rows, laid)) = self.look(&pose, samples, reach) else { break };
            reach *= NARROWING;
            if best.as_ref().is_none_or(|b| laid.cost < b.cost) {
                best = Some(laid);
            }
            let (mut normal, mut right) = normal_equations(&rows);
            let most = normal.diagonal().max();
            normal += Matrix7::identity() * (spring * most);
            let Some(step) = normal.cholesky().map(|c| c.solve(&right)) else { break };
            // about the fixed piece's middle: half a width at most at a time, for the equations are straight
            let size = step.amax();
            right = step * (0.2 / size.max(0.2));
            if !(size < 1e3) {
                break;
            }
            pose = stepped(&pose, &right);
            if size < DONE && reach < LEAST_SIGMA {
                break;
            }
        }
        best
    }
    /// Greatest root mean square error of a place of the moving piece, in widths; `None` where nothing but noise holds a freedom.
    ///
    /// Normals carry noise, and a normal's own square would count it as shape that holds a slide. The product with the normal
    /// of the other scan does not, for its noise is independent: the normals of one scan are instruments for those of the
    /// other. What that estimate says against `pose` is its bias; its variance is the jackknife's over the slices, so that
    /// residuals may hang together within a slice, and a freedom that one slice holds alone is in doubt.
    ///
    /// # References
    /// W. A. Fuller, Measurement Error Models (1987), 1.4 (instrumental variables); B. Efron, The Jackknife, the Bootstrap and
    /// Other Resampling Plans (1982), chapter 3. Both from memory.
    pub fn doubt(&self, pose: &Similarity, samples: usize) -> Option<f64> {
        let (rows, _) = self.look(pose, samples, 0.0)?;
        let mut slices = vec![(Matrix7::zeros(), Vector7::zeros()); SLICES];
        for r in rows.iter().filter(|r| r.weight > 0.0) {
            let (normal, right) = &mut slices[r.slice];
            let product = r.weight * r.by_other * r.j.transpose();
            *normal += (product + product.transpose()) / 2.0;
            *right -= r.weight * r.residual * r.by_other;
        }
        let sum = slices.iter().fold((Matrix7::zeros(), Vector7::zeros()), |a, s| (a.0 + s.0, a.1 + s.1));
        let bias = sum.0.cholesky()?.solve(&sum.1);
        let without = |s: &(Matrix7, Vector7)| Some((sum.0 - s.0).cholesky()?.solve(&(sum.1 - s.1)));
        let left: Vec<Vector7> = slices.iter().map(without).collect::<Option<_>>()?;
        let mean = left.iter().sum::<Vector7>() / SLICES as f64;
        let spread = left.iter().fold(Matrix7::zeros(), |m, l| m + (l - mean) * (l - mean).transpose());
        let cov = bias * bias.transpose() + spread * ((SLICES as f64 - 1.0) / SLICES as f64);
        let worst = self.moving.ends.iter().map(|&x| {
            let q = pose.apply(&Point3::new(x, 0.0, 0.0)).coords;
            let move_of = SMatrix::<f64, 3, 7>::from_fn(|r, c| match c {
                0..3 => Vector3::ith(c, 1.0).cross(&q)[r],
                3..6 => f64::from(u8::from(r == c - 3)),
                _ => q[r],
            });
            (move_of * cov * move_of.transpose()).trace().max(0.0).sqrt()
        });
        worst.fold(None, |m: Option<f64>, e| Some(m.map_or(e, |m| m.max(e))))
    }
}
fn normal_equations(rows: &[Row]) -> (Matrix7, Vector7) {
    let (mut normal, mut right) = (Matrix7::zeros(), Vector7::zeros());
    for r in rows.iter().filter(|r| r.weight > 0.0) {
        normal += r.weight * r.j * r.j.transpose();
        right -= r.weight * r.residual * r.j;
    }
    (normal, right)
}
/// `pose` after a small turn, move and change of size about the fixed piece's middle.
fn stepped(pose: &Similarity, step: &Vector7) -> Similarity {
    let turn = Rotation3::from_scaled_axis(Vector3::new(step[0], step[1], step[2]));
    let by = Similarity {
        rotation: *turn.matrix(),
        scale: step[6].exp(),
        translation: Vector3::new(step[3], step[4], step[5]),
    };
    by.after(pose)
}
