//! How far a shape is from being its own mirror image about an axis near x.
use super::Polygon;
use crate::num::{CAUCHY_TUNING, mad_sigma, rms};

/// Points laid beside the mirror image, and corners of the polygon they are laid beside: between corners a polygon lies inside of a curve
/// by less than a tenth of a mm on a board.
const POINTS: usize = 180;
const CORNERS: usize = 360;
/// Most steps of the axis: each takes nearly all of what is left.
const STEPS: usize = 8;
/// A step of less than this share of the differences moves no point by what tells.
const STILL: f64 = 1e-4;

/// A line `y = height + slope (x - middle)`.
#[derive(Debug, Clone, Copy)]
struct Axis {
    middle: f64,
    height: f64,
    slope: f64,
}
impl Axis {
    fn mirrored(self, p: [f64; 2]) -> [f64; 2] {
        let (sin, cos) = self.slope.atan().sin_cos();
        let [x, y] = [p[0] - self.middle, p[1] - self.height];
        let across = cos * y - sin * x;
        [p[0] + 2.0 * across * sin, p[1] - 2.0 * across * cos]
    }
}
/// Rms distance of a closed shape, whose length lies along x, from its mirror image about the axis that fits most of it: in the shape's
/// unit. Zero for a shape of no length or width.
pub fn asymmetry(shape: &Polygon) -> f64 {
    let (lo, hi) = shape.bounds();
    let size = [hi[0] - lo[0], hi[1] - lo[1]];
    if !(size[0] > 0.0 && size[1] > 0.0) {
        return 0.0;
    }
    let (points, shape) = (shape.resampled(POINTS).points, shape.resampled(CORNERS));
    let off = |a: Axis| points.iter().map(|p| shape.signed_distance(a.mirrored(*p))).collect::<Vec<f64>>();
    let mut axis = Axis { middle: (lo[0] + hi[0]) / 2.0, height: (lo[1] + hi[1]) / 2.0, slope: 0.0 };
    // differences over a thousandth of the width: short beside it, long beside rounding
    let h = size[1] / 1000.0;
    let h = [h, h / size[0]];
    let mut r = off(axis);
    for _ in 0..STEPS {
        let j = [off(Axis { height: axis.height + h[0], ..axis }), off(Axis { slope: axis.slope + h[1], ..axis })];
        let limit = CAUCHY_TUNING * mad_sigma(&r).max(f64::MIN_POSITIVE);
        let (mut a, mut b) = ([0.0; 3], [0.0; 2]);
        for (i, r) in r.iter().enumerate() {
            let w = 1.0 / (1.0 + (r / limit).powi(2));
            let [u, v] = [0, 1].map(|k| (j[k][i] - r) / h[k]);
            a = [a[0] + w * u * u, a[1] + w * u * v, a[2] + w * v * v];
            b = [b[0] - w * u * r, b[1] - w * v * r];
        }
        let det = a[0] * a[2] - a[1] * a[1];
        if !(det > 0.0) {
            break;
        }
        let step = [(a[2] * b[0] - a[1] * b[1]) / det, (a[0] * b[1] - a[1] * b[0]) / det];
        axis.height += step[0];
        axis.slope += step[1];
        r = off(axis);
        if (0..2).all(|k| step[k].abs() < STILL * h[k]) {
            break;
        }
    }
    rms(&r)
}
#[cfg(test)]
mod tests {
    use super::*;
    /// An egg 800 x 200 mm whose upper side bulges by `bump` mm, turned by `turn` and moved.
    fn egg(bump: f64, turn: f64) -> Polygon {
        let points = (0..720)
            .map(|i| f64::from(i) / 720.0 * std::f64::consts::TAU)
            .map(|a| {
                let x = 400.0 * a.cos();
                let out = bump * (-((x - 50.0) / 40.0).powi(2)).exp() * f64::from(u8::from(a.sin() > 0.0));
                [x + 30.0, (100.0 + 15.0 * a.cos()) * a.sin() + out - 12.0]
            })
            .collect();
        Polygon { points }.turned(turn)
    }
    /// What is its own mirror image is so wherever it lies.
    #[test]
    fn an_egg_is_its_own_mirror_image() {
        for turn in [0.0, 0.02, -0.05] {
            let a = asymmetry(&egg(0.0, turn));
            assert!(a < 0.05, "{turn}: {a}");
        }
        assert_eq!(asymmetry(&Polygon { points: vec![] }), 0.0);
    }
    /// By hand: a bump of 5 exp(-(x / 40)^2) mm on one side is off on either side of the mirror image; its mean square along x is
    /// 25 x 40 sqrt(pi / 2) mm^3 a side, over a perimeter of some 1,720 mm (Ramanujan's formula for the ellipse): 1.21 mm rms.
    #[test]
    fn a_bump_on_one_side_is_measured() {
        let want = (2.0 * 25.0 * 40.0 * (std::f64::consts::PI / 2.0).sqrt() / 1720.0).sqrt();
        let a = asymmetry(&egg(5.0, 0.01));
        assert!((a - want).abs() < 0.15 * want, "{a} {want}");
    }
}
