//! Length and width of a closed shape as a tape takes them.
//!
//! A tape is laid across from rail to rail at one place along the board. Callipers, two parallel lines about the shape, are as far
//! apart where that is least on a convex shape (the least width of a convex body is the least over directions of its longest
//! chord: T. Bonnesen and W. Fenchel, *Theorie der konvexen Körper*, 1934, from memory), but farther where one side stands
//! out here and the other there.
use super::{Polygon, bounds};

/// The longest line across a shape at one x, from its outermost border to its outermost: its x and its length; 0 long for a
/// shape without an inside.
pub fn longest_across(shape: &Polygon) -> (f64, f64) {
    // the line's length changes evenly between neighbouring corners, so that the longest goes through one; those of a border
    // along x are sorted already but for a few runs
    let mut at: Vec<f64> = shape.points.iter().map(|p| p[0]).collect();
    at.sort_by(f64::total_cmp);
    let mut sides = vec![(f64::INFINITY, f64::NEG_INFINITY); at.len()];
    // an edge straight across ends where two others do
    for (a, b) in shape.edges().filter(|(a, b)| a[0] != b[0]) {
        let (lo, hi) = if a[0] < b[0] { (a, b) } else { (b, a) };
        let slope = (hi[1] - lo[1]) / (hi[0] - lo[0]);
        let from = at.partition_point(|x| *x < lo[0]);
        for (x, side) in at.iter().zip(&mut sides).skip(from).take_while(|(x, _)| **x <= hi[0]) {
            let y = lo[1] + slope * (x - lo[0]);
            *side = (side.0.min(y), side.1.max(y));
        }
    }
    let lines = at.into_iter().zip(sides).map(|(x, (lo, hi))| (x, hi - lo));
    lines.fold((0.0, 0.0), |best, line| if line.1 > best.1 { line } else { best })
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
