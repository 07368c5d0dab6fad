//! Length and width of a closed shape as a tape takes them.
//!
//! A tape is laid across from rail to rail at one place along the board. Callipers, two parallel lines about the shape, are as far
//! apart where that is least on a convex shape (the least width of a convex body is the least over directions of its longest
//! chord: T. Bonnesen and W. Fenchel, *Theorie der konvexen Körper*, 1934, from memory), but farther where one side stands
//! out here and the other there.
use super::{Polygon, bounds};

/// A line across a shape at one x, from its outermost border to its outermost.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Across {
    /// Where it is.
    pub x: f64,
    /// Its lower and its upper end.
    pub ends: [f64; 2],
    /// The corners after which the edges begin that it ends on.
    pub edges: [usize; 2],
}
impl Across {
    /// From end to end; negative where the shape has no inside.
    pub fn length(&self) -> f64 {
        self.ends[1] - self.ends[0]
    }
}
/// The lines across a shape at each x of `at`, which ascend; without an inside where it has none.
fn lines_at(shape: &Polygon, at: impl IntoIterator<Item = f64>) -> Vec<Across> {
    let none = |x| Across { x, ends: [f64::INFINITY, f64::NEG_INFINITY], edges: [0; 2] };
    let mut lines: Vec<Across> = at.into_iter().map(none).collect();
    // an edge straight across ends where two others do
    for (i, (a, b)) in shape.edges().enumerate().filter(|(_, (a, b))| a[0] != b[0]) {
        let (lo, hi) = if a[0] < b[0] { (a, b) } else { (b, a) };
        let slope = (hi[1] - lo[1]) / (hi[0] - lo[0]);
        let from = lines.partition_point(|l| l.x < lo[0]);
        for line in lines[from..].iter_mut().take_while(|l| l.x <= hi[0]) {
            let y = lo[1] + slope * (line.x - lo[0]);
            if y < line.ends[0] {
                (line.ends[0], line.edges[0]) = (y, i);
            }
            if y > line.ends[1] {
                (line.ends[1], line.edges[1]) = (y, i);
            }
        }
    }
    lines
}
/// The line across a shape at `x`; `None` beside it.
pub fn line_across(shape: &Polygon, x: f64) -> Option<Across> {
    lines_at(shape, [x]).pop().filter(|l| l.length() > 0.0)
}
/// The lines across a shape at its corners. A line's length changes evenly from one to the next, so that the longest is among them.
pub fn lines_across(shape: &Polygon) -> Vec<Across> {
    // those of a border along x are sorted already but for a few runs
    let mut at: Vec<f64> = shape.points.iter().map(|p| p[0]).collect();
    at.sort_by(f64::total_cmp);
    lines_at(shape, at)
}
/// The longest line across a shape: its x and its length; 0 long for a shape without an inside.
pub fn longest_across(shape: &Polygon) -> (f64, f64) {
    let lines = lines_across(shape);
    lines.iter().map(|l| (l.x, l.length())).fold((0.0, 0.0), |best, line| if line.1 > best.1 { line } else { best })
}
/// The angle near the x axis, radians, at which the longest line square to it across a closed shape is shortest.
pub fn width_angle(shape: &Polygon) -> f64 {
    // a tenth of a degree is .005 mm of width on a 200 mm board at its least; the frame's axis is right within 5 degrees
    (-50..=50)
        .map(|i| (f64::from(i) * 0.1).to_radians())
        .map(|a| (a, longest_across(&shape.turned(-a)).1))
        .fold((0.0, f64::INFINITY), |b, e| if e.1 < b.1 { e } else { b })
        .0
}
/// Length and width of a closed shape, its length by callipers, at the angle near the x axis where the width is least.
pub fn length_and_width(shape: &Polygon) -> (f64, f64) {
    let shape = shape.turned(-width_angle(shape));
    let (lo, hi) = bounds(&shape.points);
    (hi[0] - lo[0], longest_across(&shape).1)
}
#[cfg(test)]
mod tests {
    use super::*;
    fn shape(points: &[[f64; 2]]) -> Polygon {
        Polygon { points: points.to_vec() }
    }
    #[test]
    fn ellipse_and_rectangle_lying_askew() {
        let ellipse = (0..4000)
            .map(|i| f64::from(i) / 4000.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let rectangle = shape(&[[-400.0, -100.0], [400.0, -100.0], [400.0, 100.0], [-400.0, 100.0]]);
        for (upright, within) in [(Polygon { points: ellipse }, 1e-3), (rectangle, 1e-9)] {
            for degrees in [-3.0f64, 0.0, 2.0] {
                let askew = upright.turned(degrees.to_radians());
                let (l, w) = length_and_width(&askew);
                assert!((l - 800.0).abs() < within && (w - 200.0).abs() < within, "{degrees}: {l} {w}");
                assert!((width_angle(&askew).to_degrees() - degrees).abs() < 1e-9);
            }
        }
    }
    /// One side stands out by 2 at -100, the other at 100: a line across meets one of them, 82 long. Callipers turned by the angle
    /// whose sine is 1 / 150 touch such a tip and a corner on either side and read 82.67, and more turned otherwise.
    #[test]
    fn what_stands_out_on_either_side_is_not_added() {
        let half = [[-200.0, -40.0], [80.0, -40.0], [100.0, -42.0], [120.0, -40.0], [200.0, -40.0]];
        let other = half.map(|p| p.map(|v| -v));
        let (l, w) = length_and_width(&shape(&[half, other].concat()));
        assert!((l - 400.0).abs() < 1e-9 && (w - 82.0).abs() < 1e-9, "{l} {w}");
    }
    /// Across a forked tail a tape reads from tip to tip, and at the waist less.
    #[test]
    fn from_rail_to_rail_over_what_is_cut_out() {
        let fork = shape(&[
            [0.0, -19.0],
            [50.0, -10.0],
            [100.0, -20.0],
            [60.0, 0.0],
            [100.0, 20.0],
            [50.0, 10.0],
            [0.0, 19.0],
        ]);
        assert_eq!(longest_across(&fork), (100.0, 40.0));
        // the ends of a border that doubles back lie over each other
        let hooked = shape(&[[0.0, 0.0], [30.0, 0.0], [20.0, -8.0], [50.0, 0.0], [50.0, 10.0], [0.0, 10.0]]);
        assert_eq!(longest_across(&hooked), (20.0, 18.0));
        assert_eq!(longest_across(&shape(&[])).1, 0.0);
        assert_eq!(longest_across(&shape(&[[1.0, 2.0]; 3])).1, 0.0);
    }
}
