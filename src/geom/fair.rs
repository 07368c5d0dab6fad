//! A fair closed cubic through contour points.
use super::Polygon;
use crate::num::{Curve, Knots};
use nalgebra::{DMatrix, DVector};

/// Weight of the third differences against the points (mean square, per span): light, the points are dense and already
/// smoothed; it only bridges places without points.
const FAIRNESS: f64 = 1e-3;

/// Fits a closed cubic of `spans` spans to a polygon, in its own sense, tangent- and curvature-continuous where it
/// closes. `None` for too few points.
pub fn closed_fit(contour: &Polygon, spans: usize) -> Option<Curve<2>> {
    if contour.points.len() < 4 || spans < 4 || !(contour.perimeter() > 0.0) {
        return None;
    }
    let dense = contour.resampled(spans * 12).points;
    let n = spans;
    let m = dense.len();
    let mut a = DMatrix::<f64>::zeros(n, n);
    let (mut bx, mut by) = (DVector::<f64>::zeros(n), DVector::<f64>::zeros(n));
    for (k, p) in dense.iter().enumerate() {
        let (i, w) = periodic_cubic(k as f64 * n as f64 / m as f64);
        for r in 0..4 {
            let row = (i + r) % n;
            bx[row] += w[r] * p[0];
            by[row] += w[r] * p[1];
            for c in 0..4 {
                a[(row, (i + c) % n)] += w[r] * w[c];
            }
        }
    }
    let d = [-1.0, 3.0, -3.0, 1.0];
    let weight = FAIRNESS * m as f64 / n as f64;
    for i in 0..n {
        for r in 0..4 {
            for c in 0..4 {
                a[((i + r) % n, (i + c) % n)] += weight * d[r] * d[c];
            }
        }
    }
    let lu = a.lu();
    let (x, y) = (lu.solve(&bx)?, lu.solve(&by)?);
    let control: Vec<[f64; 2]> = (0..n).map(|i| [x[i], y[i]]).collect();
    closed_curve(&control)
}

/// The span of `u` and the values there of the four uniform periodic cubics that begin with it.
pub fn periodic_cubic(u: f64) -> (usize, [f64; 4]) {
    let (f, g) = (u - u.floor(), 1.0 - (u - u.floor()));
    let w = [g * g * g, 4.0 - 6.0 * f * f + 3.0 * f * f * f, 4.0 - 6.0 * g * g + 3.0 * g * g * g, f * f * f];
    (u.floor() as usize, w.map(|v| v / 6.0))
}

/// The closed curve of the periodic control points `c` (span `k` blends the four from `k` on, round and round), clamped: the same
/// function, its ends at the first join. `None` for fewer than 4 points.
pub fn closed_curve(c: &[[f64; 2]]) -> Option<Curve<2>> {
    if c.len() < 4 {
        return None;
    }
    let mix = |w: [f64; 3]| [0, 1].map(|k| w[0] * c[0][k] + w[1] * c[1][k] + w[2] * c[2][k]);
    let join = mix([1.0 / 6.0, 4.0 / 6.0, 1.0 / 6.0]);
    let mut p = vec![join, mix([0.0, 2.0 / 3.0, 1.0 / 3.0])];
    p.extend_from_slice(&c[2..]);
    p.extend([c[0], mix([1.0 / 3.0, 2.0 / 3.0, 0.0]), join]);
    Curve::new(Knots::uniform(3, c.len(), 0.0, 1.0), p)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn an_ellipse_comes_back() {
        let points = (0..500)
            .map(|i| {
                let a = f64::from(i) * std::f64::consts::TAU / 500.0;
                [400.0 * a.cos(), 120.0 * a.sin()]
            })
            .collect();
        let c = closed_fit(&Polygon { points }, 64).unwrap();
        let line: Vec<[f64; 2]> = (0..1000).map(|i| c.at(f64::from(i) / 1000.0)).collect();
        assert!(line.iter().all(|p| ((p[0] / 400.0).hypot(p[1] / 120.0) - 1.0).abs() < 5e-4));
        let p = Polygon { points: line };
        assert!((p.signed_area() / (std::f64::consts::PI * 400.0 * 120.0) - 1.0).abs() < 1e-3);
        let (a, b) = (c.derivatives(0.0)[1], c.derivatives(1.0)[1]);
        assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-6 * a[0].hypot(a[1]));
    }
}
