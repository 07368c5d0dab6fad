//! Fair closed curves through noisy contour points.
use crate::geom::{Polygon, closed_curve, periodic_cubic};
use crate::num::Curve;
use nalgebra::DMatrix;

/// Control points of a closed outline: a span of 20-30 mm on a usual board, short against its corner radii.
const CONTROL_POINTS: usize = 80;
/// Smoothing weights tried, as powers of ten: from interpolation to nearly an ellipse.
const LOG_SMOOTHING: std::ops::RangeInclusive<i32> = -5..=1;

/// A closed penalised cubic through `points` (in order, without repetition), clamped with equal end points and tangents,
/// counter-clockwise. The smoothing has the least generalised cross-validation score. `None` for degenerate points.
pub(super) fn fair_closed(points: &[[f64; 2]]) -> Option<Curve<2>> {
    let mut points: Vec<[f64; 2]> = points.iter().copied().filter(|p| p[0].is_finite() && p[1].is_finite()).collect();
    points.dedup();
    let m = points.len();
    if m < 8 {
        return None;
    }
    let polygon = Polygon { points: points.clone() };
    if polygon.signed_area() < 0.0 {
        points.reverse();
    }
    let n = CONTROL_POINTS.min(m / 2);
    let mut s = vec![0.0];
    for i in 0..m {
        let (a, b) = (points[i], points[(i + 1) % m]);
        s.push(s[i] + (a[0] - b[0]).hypot(a[1] - b[1]));
    }
    let total = s[m];
    if total.is_nan() || total <= 0.0 {
        return None;
    }
    let mut b = DMatrix::zeros(m, n);
    for i in 0..m {
        let (k, weights) = periodic_cubic(s[i] / total * n as f64);
        for (j, w) in weights.into_iter().enumerate() {
            b[(i, (k + j) % n)] += w;
        }
    }
    let mut d = DMatrix::zeros(n, n);
    for i in 0..n {
        for (j, w) in [-1.0, 3.0, -3.0, 1.0].into_iter().enumerate() {
            d[(i, (i + j) % n)] += w;
        }
    }
    let y = DMatrix::from_fn(m, 2, |i, k| points[i][k]);
    let (btb, dtd, bty) = (b.tr_mul(&b), d.tr_mul(&d), b.tr_mul(&y));
    let mut best: Option<(f64, DMatrix<f64>)> = None;
    for e in LOG_SMOOTHING {
        let a = &btb + &dtd * (10f64.powi(e) * m as f64 / n as f64);
        let Some(ch) = a.cholesky() else { continue };
        let c = ch.solve(&bty);
        let free = m as f64 - ch.solve(&btb).trace();
        let score = (&b * &c - &y).norm_squared() / (free * free);
        if best.as_ref().is_none_or(|(s, _)| score < *s) {
            best = Some((score, c));
        }
    }
    let c: Vec<[f64; 2]> = best?.1.row_iter().map(|r| [r[0], r[1]]).collect();
    closed_curve(&c)
}
/// Points at equal parameter steps on a closed curve.
pub(super) fn sampled(curve: &Curve<2>, n: usize) -> Vec<[f64; 2]> {
    let (lo, hi) = curve.knots.range();
    (0..n).map(|i| curve.at(lo + (hi - lo) * i as f64 / n as f64)).collect()
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::length_and_width;
    #[test]
    fn ellipse_comes_back_closed_and_smooth() {
        let p: Vec<[f64; 2]> = (0..300)
            .map(|i| f64::from(i) / 300.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 150.0 * a.sin()])
            .collect();
        let c = fair_closed(&p).unwrap();
        let (a, b) = (c.derivatives(0.0), c.derivatives(1.0));
        for k in 0..2 {
            assert!((a[0][k] - b[0][k]).abs() < 1e-9 && (a[1][k] - b[1][k]).abs() < 1e-6);
        }
        // equal parameter steps are equal arc lengths only to the fit's accuracy; the shape must hold to .05 mm
        for q in sampled(&c, 1000) {
            let r = (q[0] / 400.0).hypot(q[1] / 150.0);
            assert!((r - 1.0).abs() * 150.0 < 0.05, "{q:?} {r}");
        }
        let (l, w) = length_and_width(&Polygon { points: sampled(&c, 2000) });
        assert!((l - 800.0).abs() < 0.1 && (w - 300.0).abs() < 0.1);
        let mut r = p.clone();
        r.reverse();
        assert!(Polygon { points: sampled(&fair_closed(&r).unwrap(), 100) }.signed_area() > 0.0);
        assert!(fair_closed(&p[..4]).is_none());
    }
}
