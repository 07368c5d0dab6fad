//! Closed polygons in plan.
use std::f64::consts::{PI, TAU};

/// Lower and upper corner of the box round plan points; infinite and turned round for no points.
pub fn bounds(points: &[[f64; 2]]) -> ([f64; 2], [f64; 2]) {
    points.iter().fold(([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]), |(l, h), p| {
        ([l[0].min(p[0]), l[1].min(p[1])], [h[0].max(p[0]), h[1].max(p[1])])
    })
}

/// Outward unit normals at the vertices of a counter-clockwise closed polygon, by central differences.
pub fn outward_normals(points: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let n = points.len();
    (0..n)
        .map(|i| {
            let (a, b) = (points[(i + n - 1) % n], points[(i + 1) % n]);
            let l = (b[0] - a[0]).hypot(b[1] - a[1]).max(f64::MIN_POSITIVE);
            [(b[1] - a[1]) / l, (a[0] - b[0]) / l]
        })
        .collect()
}

/// Square of the distance of `p` from the edge from `a` to `b`.
fn edge_distance_sq(p: [f64; 2], a: [f64; 2], b: [f64; 2]) -> f64 {
    let (ex, ey) = (b[0] - a[0], b[1] - a[1]);
    let l = ex * ex + ey * ey;
    let t = if l > 0.0 { (((p[0] - a[0]) * ex + (p[1] - a[1]) * ey) / l).clamp(0.0, 1.0) } else { 0.0 };
    (p[0] - a[0] - t * ex).powi(2) + (p[1] - a[1] - t * ey).powi(2)
}
/// Sine of the angle below which a point counts as on a line: far above rounding, far below any drawn corner.
const ON_LINE: f64 = 1e-9;

/// A closed polygon in plan; the last vertex joins the first. Counter-clockwise where a function says so.
#[derive(Debug, Clone, PartialEq)]
pub struct Polygon {
    /// Vertices without repetition of the first.
    pub points: Vec<[f64; 2]>,
}
impl Polygon {
    /// Signed area: positive when counter-clockwise.
    pub fn signed_area(&self) -> f64 {
        self.edges().map(|(a, b)| a[0] * b[1] - b[0] * a[1]).sum::<f64>() / 2.0
    }
    /// The edges as pairs of vertices.
    pub fn edges(&self) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
        let p = &self.points;
        p.windows(2).map(|w| (w[0], w[1])).chain(p.last().map(|last| (*last, p[0])))
    }
    /// Length round the border.
    pub fn perimeter(&self) -> f64 {
        self.edges().map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).sum()
    }
    /// Lower and upper corner of the bounding box.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        bounds(&self.points)
    }
    /// Where the border crosses the line across the plan at `x`: the y of each crossing, in the border's order.
    pub fn crossings(&self, x: f64) -> Vec<f64> {
        self.edges()
            .filter(|(a, b)| (a[0] > x) != (b[0] > x))
            .map(|(a, b)| a[1] + (x - a[0]) / (b[0] - a[0]) * (b[1] - a[1]))
            .collect()
    }
    /// The outermost of the [`Polygon::crossings`]; `None` where the line at `x` does not cut the polygon.
    pub fn span(&self, x: f64) -> Option<(f64, f64)> {
        let cuts = self.crossings(x);
        let (lo, hi) = cuts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
        (lo < hi).then_some((lo, hi))
    }
    /// The polygon turned by `a` radians, counter-clockwise, about the origin.
    #[must_use]
    pub fn turned(&self, a: f64) -> Self {
        let (sin, cos) = a.sin_cos();
        Self { points: self.points.iter().map(|p| [p[0] * cos - p[1] * sin, p[0] * sin + p[1] * cos]).collect() }
    }
    /// The polygon with x and y exchanged.
    pub fn transposed(&self) -> Self {
        Self { points: self.points.iter().map(|p| [p[1], p[0]]).collect() }
    }
    /// The same border begun `far` mm along it from its first vertex.
    #[must_use]
    pub fn begun_at(&self, far: f64) -> Self {
        let n = self.points.len();
        let mut left = far.rem_euclid(self.perimeter().max(f64::MIN_POSITIVE));
        for (i, (a, b)) in self.edges().enumerate() {
            let l = (a[0] - b[0]).hypot(a[1] - b[1]);
            if left < l {
                let t = left / l;
                let mut points = vec![[a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]];
                points.extend((1..=n).map(|k| self.points[(i + k) % n]));
                if left == 0.0 {
                    points.pop();
                }
                return Self { points };
            }
            left -= l;
        }
        self.clone()
    }
    /// Whether two edges that do not share a vertex cross (every pair is tried: for some hundreds of vertices).
    pub fn crosses_itself(&self) -> bool {
        let p = &self.points;
        let n = p.len();
        // the side of a-b on which c lies; none on the line itself, where rounding would decide
        let side = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
            let (u, v) = ([b[0] - a[0], b[1] - a[1]], [c[0] - a[0], c[1] - a[1]]);
            let cross = u[0] * v[1] - u[1] * v[0];
            if cross.abs() <= ON_LINE * u[0].hypot(u[1]) * v[0].hypot(v[1]) { 0.0 } else { cross.signum() }
        };
        (0..n).any(|i| {
            let (a, b) = (p[i], p[(i + 1) % n]);
            (i + 2..n).filter(|j| (j + 1) % n != i).any(|j| {
                let (c, d) = (p[j], p[(j + 1) % n]);
                side(a, b, c) * side(a, b, d) < 0.0 && side(c, d, a) * side(c, d, b) < 0.0
            })
        })
    }
    /// Whether `p` is inside (even-odd rule).
    pub fn contains(&self, p: [f64; 2]) -> bool {
        let mut inside = false;
        for (a, b) in self.edges() {
            if (a[1] > p[1]) != (b[1] > p[1]) && p[0] < a[0] + (p[1] - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) {
                inside = !inside;
            }
        }
        inside
    }
    /// Distance from `p` to the border; negative inside.
    pub fn signed_distance(&self, p: [f64; 2]) -> f64 {
        // squares are compared, and one root taken: this is the innermost loop of several stages
        let d = self.edges().map(|(a, b)| edge_distance_sq(p, a, b)).fold(f64::INFINITY, f64::min).sqrt();
        if self.contains(p) { -d } else { d }
    }
    /// [`Polygon::signed_distance`] of `p`, and the outward unit normal of the edge nearest to it; a polygon without edges has none.
    pub fn off(&self, p: [f64; 2]) -> (f64, [f64; 2]) {
        let with = |(a, b): ([f64; 2], [f64; 2])| (edge_distance_sq(p, a, b), a, b);
        let Some((d_sq, a, b)) = self.edges().map(with).min_by(|a, b| a.0.total_cmp(&b.0)) else {
            return (f64::INFINITY, [0.0; 2]);
        };
        let d = if self.contains(p) { -d_sq.sqrt() } else { d_sq.sqrt() };
        let l = (b[0] - a[0]).hypot(b[1] - a[1]).max(f64::MIN_POSITIVE) * self.signed_area().signum();
        (d, [(b[1] - a[1]) / l, (a[0] - b[0]) / l])
    }
    /// Fewer vertices, of its own, whose border passes within `by` of all others.
    ///
    /// # References
    /// J. Sklansky and V. Gonzalez, Pattern Recognition 12 (1980), 327: from one vertex on, the directions that pass near enough
    /// to all since are kept as one angle, so that the work is linear.
    #[must_use]
    pub fn thinned(&self, by: f64) -> Self {
        let Some((&first, rest)) = self.points.split_first() else { return self.clone() };
        let mut out = vec![first];
        let (mut from, mut before, mut farthest) = (first, first, 0.0_f64);
        // directions left, as angles from that to the first vertex outside of the circle
        let mut cone: Option<(f64, f64, f64)> = None;
        for &p in rest.iter().chain([&first]) {
            let far = |from: [f64; 2]| (p[0] - from[0]).hypot(p[1] - from[1]);
            let angle = |from: [f64; 2]| (p[1] - from[1]).atan2(p[0] - from[0]);
            let turned = |to: f64, from: f64| (to - from + PI).rem_euclid(TAU) - PI;
            let d = far(from);
            let seen = cone.is_none_or(|(middle, lo, hi)| {
                let a = turned(angle(from), middle);
                a >= lo && a <= hi && d >= farthest - by
            });
            if !seen {
                out.push(before);
                (from, cone, farthest) = (before, None, 0.0);
            }
            let d = far(from);
            if d > by {
                let half = (by / d).asin();
                let (middle, lo, hi) = cone.unwrap_or((angle(from), -PI, PI));
                let a = turned(angle(from), middle);
                cone = Some((middle, lo.max(a - half), hi.min(a + half)));
            }
            farthest = farthest.max(d);
            before = p;
        }
        Self { points: out }
    }
    /// `n` points at equal distances along the border, from the first vertex on.
    #[must_use]
    pub fn resampled(&self, n: usize) -> Self {
        let step = self.perimeter() / n as f64;
        let mut out = Vec::with_capacity(n);
        let (mut s, mut next) = (0.0, 0.0);
        for (a, b) in self.edges() {
            let l = (a[0] - b[0]).hypot(a[1] - b[1]);
            while out.len() < n && next <= s + l {
                let t = if l > 0.0 { (next - s) / l } else { 0.0 };
                out.push([a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1])]);
                next = step * out.len() as f64;
            }
            s += l;
        }
        Self { points: out }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_drawing_of_thousands_of_points_keeps_its_shape_with_few() {
        let n = 40_000;
        let at = |i: usize| TAU * i as f64 / n as f64;
        let round = Polygon { points: (0..n).map(|i| [130.0 * at(i).cos(), 40.0 * at(i).sin()]).collect() };
        // a spur that goes out and comes back along the same line
        let spur = vec![[0.0, 0.0], [10.0, 0.0], [20.0, 0.0], [12.0, 0.0], [12.0, 5.0], [0.0, 5.0]];
        for (p, most) in [(round, 400), (Polygon { points: spur.clone() }, 6)] {
            let few = p.thinned(0.01);
            assert!(few.points.len() <= most && few.points.len() > 3, "{}", few.points.len());
            for q in &p.points {
                let off = few.edges().map(|(a, b)| edge_distance_sq(*q, a, b)).fold(f64::INFINITY, f64::min).sqrt();
                assert!(off <= 0.011, "{q:?} {off}");
            }
        }
        assert_eq!(Polygon { points: spur }.thinned(0.01).points.len(), 5);
        assert!(Polygon { points: Vec::new() }.thinned(0.1).points.is_empty());
    }
    #[test]
    fn bow_tie_crosses_itself_and_a_notched_square_does_not() {
        let bow = [[0.0, 0.0], [2.0, 2.0], [2.0, 0.0], [0.0, 2.0]];
        let notched = [[0.0, 0.0], [2.0, 0.0], [2.0, 2.0], [1.0, 0.5], [0.0, 2.0]];
        assert!(Polygon { points: bow.to_vec() }.crosses_itself());
        assert!(!Polygon { points: notched.to_vec() }.crosses_itself());
        // vertices along one slanted side, and a vertex told twice
        let mut sided: Vec<[f64; 2]> = (0..=40).map(|i| [0.1 * f64::from(i), 0.07 * f64::from(i) + 0.3]).collect();
        sided.extend([[3.0, 9.0], [1e-16, 0.3]]);
        assert!(!Polygon { points: sided }.crosses_itself());
    }
    /// The way off the nearest edge is the gradient of the distance, and the sign the same.
    #[test]
    fn off_is_the_distance_with_its_direction() {
        let p = Polygon { points: vec![[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]] };
        for at in [[2.0, -1.5], [2.0, 0.5], [4.7, 1.0], [3.9, 1.2]] {
            let (d, n) = p.off(at);
            assert!((d - p.signed_distance(at)).abs() < 1e-15);
            let slope = |k: usize| {
                let moved = |s: f64| {
                    p.signed_distance([at[0] + if k == 0 { s } else { 0.0 }, at[1] + if k == 1 { s } else { 0.0 }])
                };
                (moved(1e-6) - moved(-1e-6)) / 2e-6
            };
            assert!((slope(0) - n[0]).abs() < 1e-6 && (slope(1) - n[1]).abs() < 1e-6, "{at:?} {n:?}");
        }
    }
}
