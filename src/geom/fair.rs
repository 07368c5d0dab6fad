//! A fair closed cubic through contour points.
use super::Polygon;
use crate::num::{Curve, Knots, interpolate};
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
    // uniform periodic cubic basis on parameter u in [0, n): functions i, i+1, i+2, i+3 (mod n) on span i
    let basis = |u: f64| {
        let (i, t) = (u.floor(), u.fract());
        let w = [
            (1.0 - t).powi(3),
            3.0 * t.powi(3) - 6.0 * t * t + 4.0,
            -3.0 * t.powi(3) + 3.0 * t * t + 3.0 * t + 1.0,
            t.powi(3),
        ];
        (i as usize % n, w.map(|v| v / 6.0))
    };
    let m = dense.len();
    let mut a = DMatrix::<f64>::zeros(n, n);
    let (mut bx, mut by) = (DVector::<f64>::zeros(n), DVector::<f64>::zeros(n));
    for (k, p) in dense.iter().enumerate() {
        let (i, w) = basis(k as f64 * n as f64 / m as f64);
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
    // the same function in a clamped basis, which contains it exactly
    let knots = Knots::uniform(3, n, 0.0, 1.0);
    let g = knots.greville();
    let values = DMatrix::from_fn(g.len(), 2, |k, axis| {
        let (i, w) = basis((g[k] * n as f64).min(n as f64 * (1.0 - f64::EPSILON)));
        let c = if axis == 0 { &x } else { &y };
        (0..4).map(|r| w[r] * c[(i + r) % n]).sum::<f64>()
    });
    let c = interpolate(&knots, &values)?;
    let mut control: Vec<[f64; 2]> = (0..g.len()).map(|i| [c[(i, 0)], c[(i, 1)]]).collect();
    let last = control.len() - 1;
    control[last] = control[0];
    Curve::new(knots, control)
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
