//! Curvature along the centre line and across the sections, for programs.
use crate::geom::Polygon;
use crate::num::TensorSpline;
use crate::report::PageStation;
use serde::Serialize;

/// mm in a metre: bends are told in 1/m, whose inverse is a radius in m.
const MM_PER_M: f64 = 1000.0;
/// Places along the centre line: some 10 mm apart on a usual board, finer than its knots.
const PLACES: usize = 99;

/// Curvature (1/m) along the direction of x and of y; positive where the underside is hollow.
pub(super) fn bends(z: &TensorSpline, x: f64, y: f64) -> [f64; 2] {
    let d = z.derivatives(x, y);
    [MM_PER_M * d[3] / (1.0 + d[1] * d[1]).powf(1.5), MM_PER_M * d[5] / (1.0 + d[2] * d[2]).powf(1.5)]
}

/// Curvature of the underside, positive where it is hollow.
#[derive(Debug, Clone, Default, Serialize)]
pub struct CurvatureSection {
    /// Along the centre line from tail to nose.
    pub centre_line: Vec<CentreBend>,
    /// Across the board at the stations of the page.
    pub stations: Vec<StationBend>,
}
/// Curvature at one place of the centre line.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct CentreBend {
    /// Place along the board, mm.
    pub x_mm: f64,
    /// Curvature along the board there, 1/m.
    pub bend_per_m: f64,
}
/// One section: how it bends and how the scan lies about it.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct StationBend {
    /// Place along the board, mm.
    pub x_mm: f64,
    /// Curvature across the board half-way between the rails, 1/m.
    pub middle_bend_per_m: f64,
    /// Least curvature across the board, 1/m.
    pub least_bend_per_m: f64,
    /// Greatest curvature across the board, 1/m.
    pub most_bend_per_m: f64,
    /// Rms distance of the scan's points in a slice there, mm, rail included; none without points.
    pub residual_rms_mm: Option<f64>,
    /// Points in the slice.
    pub points: usize,
}
impl CurvatureSection {
    pub(super) fn new(z: &TensorSpline, outline: &Polygon, stations: &[PageStation]) -> Self {
        let (lo, hi) = outline.bounds();
        let place = |i: usize| lo[0] + (hi[0] - lo[0]) * i as f64 / (PLACES + 1) as f64;
        Self {
            centre_line: (1..=PLACES)
                .map(|i| CentreBend { x_mm: place(i), bend_per_m: bends(z, place(i), 0.0)[0] })
                .collect(),
            stations: (stations.iter())
                .filter_map(|s| {
                    let (a, b) = (s.y.0.first()?, s.y.0.last()?);
                    Some(StationBend {
                        x_mm: s.x_mm,
                        middle_bend_per_m: bends(z, s.x_mm, (a + b) / 2.0)[1],
                        least_bend_per_m: s.bend.0.iter().copied().fold(f64::INFINITY, f64::min),
                        most_bend_per_m: s.bend.0.iter().copied().fold(f64::NEG_INFINITY, f64::max),
                        residual_rms_mm: s.residual_rms_mm,
                        points: s.count,
                    })
                })
                .collect(),
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::{Knots, interpolate};
    /// A circle bends by one over its radius at every slope (differential geometry, exact): R = 0.4 m gives 2.5 per m.
    #[test]
    fn a_circle_bends_by_one_over_its_radius() {
        let (x, y) = (Knots::uniform(3, 1, -100.0, 100.0), Knots::uniform(3, 40, -120.0, 120.0));
        let gy = y.greville();
        let v = nalgebra::DMatrix::from_fn(gy.len(), 1, |j, _| 400.0 - (160_000.0 - gy[j] * gy[j]).sqrt());
        let c = interpolate(&y, &v).unwrap();
        let z = TensorSpline::new(x, y, (0..4).flat_map(|_| c.iter().copied()).collect()).unwrap();
        for at in [-90.0, 0.0, 75.0] {
            let [along, across] = bends(&z, 10.0, at);
            assert!(along.abs() < 1e-9 && (across - 2.5).abs() < 0.01, "{along} {across}");
        }
    }
}
