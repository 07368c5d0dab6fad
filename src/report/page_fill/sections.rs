//! Cross-sections with the scan's points, and curves along the board.
use crate::geom::Polygon;
use crate::num::{TensorSpline, rms};
use crate::pipeline::Reconstruction;
use crate::report::curvature::bends;
use crate::report::{Packed, PageCurve, PagePlot, PageStation};
use nalgebra::Point3;

/// Cross-sections shown.
const STATIONS: usize = 11;
/// Samples along a curve: finer than a screen shows.
const SAMPLES: usize = 160;
/// Half the width of a station's slice of points, mm: narrow against any bend of a deck.
const HALF_SLICE_MM: f64 = 3.0;
/// Points shown in a slice: a picture of more is a blot.
const SLICE_POINTS: usize = 500;

pub(super) fn stations(rec: &Reconstruction, outline: &Polygon) -> Vec<PageStation> {
    let z = &rec.deck.underside;
    let (lo, hi) = outline.bounds();
    let place = |i: usize| lo[0] + (hi[0] - lo[0]) * (i as f64 + 0.5) / STATIONS as f64;
    (0..STATIONS)
        .map(|i| {
            let x_mm = place(i);
            let curve = rec.deck.section(x_mm, SAMPLES);
            let near: Vec<&Point3<f64>> = rec.sheet.iter().filter(|p| (p.x - x_mm).abs() < HALF_SLICE_MM).collect();
            let r: Vec<f64> = near.iter().map(|p| z.beyond([p.x, p.y, p.z])).collect();
            let stride = near.len().div_ceil(SLICE_POINTS).max(1);
            let ends = curve.first().zip(curve.last());
            PageStation {
                x_mm,
                half_slice_mm: HALF_SLICE_MM,
                residual_rms_mm: (!r.is_empty()).then(|| rms(&r)),
                count: near.len(),
                middle_mm: ends.map_or(0.0, |(a, b)| z.at(x_mm, (a[0] + b[0]) / 2.0) - (a[1] + b[1]) / 2.0),
                bend: curve.iter().map(|p| bends(z, x_mm, p[0])[1]).collect(),
                y: curve.iter().map(|p| p[0]).collect(),
                z: curve.iter().map(|p| p[1]).collect(),
                point_y: near.iter().step_by(stride).map(|p| p.y).collect(),
                residual: r.iter().step_by(stride).copied().collect(),
            }
        })
        .collect()
}

pub(super) fn profiles(z: &TensorSpline, outline: &Polygon) -> Vec<PagePlot> {
    let (lo, hi) = outline.bounds();
    let x: Vec<f64> = (1..2 * SAMPLES).map(|i| lo[0] + (hi[0] - lo[0]) * i as f64 / (2 * SAMPLES) as f64).collect();
    let plot = |title: &str, about: &str, up: &str, unit: &str, f: &dyn Fn(f64) -> f64| PagePlot {
        title: title.into(),
        about: about.into(),
        from: "underside.step".into(),
        along: "along the board, mm (nose to the right)".into(),
        up: up.into(),
        unit: unit.into(),
        curves: vec![PageCurve {
            name: up.into(),
            x: x.iter().copied().collect(),
            y: x.iter().map(|x| f(*x)).collect(),
            band: Packed::default(),
        }],
        ..PagePlot::default()
    };
    vec![
        plot("Centre line", "The underside along the middle, board upturned.", "height", "mm", &|x| z.at(x, 0.0)),
        plot(
            "Bend of the centre line",
            "Curvature along the middle. One over it is a radius in metres.",
            "curvature",
            "1/m",
            &|x| bends(z, x, 0.0)[0],
        ),
        plot(
            "Concave along the board",
            "Middle of each section against the line between its rails.",
            "middle over rails",
            "mm",
            &|x| {
                let c = outline.crossings(x);
                let (a, b) = c.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
                z.at(x, (a + b) / 2.0) - (z.at(x, a) + z.at(x, b)) / 2.0
            },
        ),
    ]
}
