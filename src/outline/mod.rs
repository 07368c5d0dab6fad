//! The outline in plan, from the scan's rim.
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::frame::{Framed, Tape};
use crate::geom::{Polygon, closed_fit};
use crate::num::Curve;

/// Control points round the outline: on a board of a metre one every 35 mm, short enough for wheel wells and tight ends.
const SPANS: usize = 64;

/// Where the outline comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OutlineSource {
    /// The scan's own rim.
    ScanRim,
}
/// The outline in plan, in the frame and mm of the surface it was lifted onto.
#[derive(Debug, Clone)]
pub struct Outline {
    /// Closed clamped cubic, counter-clockwise, first point = last point, tangent-continuous there.
    pub curve: Curve<2>,
    /// Where it comes from.
    pub source: OutlineSource,
    /// All lengths (this curve's too) times this are true to the tape.
    pub scale_factor: f64,
    /// Relative standard uncertainty of the scale after this stage.
    pub scale_relative_uncertainty: f64,
    /// What the solve found.
    pub report: OutlineReport,
}
/// What the outline stage found.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct OutlineReport {
    /// How far the scan's rim lies inside the true rail, mm; known only with a second tape measurement.
    pub rim_displacement_mm: Option<f64>,
    /// Share of the rail that was hidden and bridged.
    pub bridged_ratio: f64,
}

/// The outline from the scan's rim, and the scale that makes it true to the tape.
///
/// # Errors
/// A rim that gives no closed curve.
pub fn find_outline(framed: &Framed, tape: &Tape, has_photo: bool) -> Result<Warned<Outline>> {
    let out = framed.report.rim_displacement_mm.unwrap_or(0.0);
    let curve = closed_fit(&grown(&framed.rim, out), SPANS).ok_or_else(|| {
        Error::new(Stage::Outline, format!("a rim of {} points gives no closed curve", framed.rim.points.len()))
            .hint("the rim of the scan is too ragged; scan the rails too")
    })?;
    let width = {
        let y: Vec<f64> = (0..2000).map(|i| curve.at(f64::from(i) / 2000.0)[1]).collect();
        y.iter().copied().fold(f64::NEG_INFINITY, f64::max) - y.iter().copied().fold(f64::INFINITY, f64::min)
    };
    // with a length the frame solved scale and displacement together; with the width alone it is set here, on the fair curve
    let scale_factor = if tape.length_mm.is_some() { 1.0 } else { tape.width_mm / width };
    let mut warnings = Vec::new();
    if has_photo {
        warnings.push(Warning::new(
            Stage::Outline,
            "the photo is read but not yet used: the outline comes from the scan's rim, which a scan rounds",
            "measure the length too (tape.length), and check outline.svg on the real board",
        ));
    } else {
        warnings.push(Warning::new(
            Stage::Outline,
            "without a photo the outline comes from the scan's rim, which a scan rounds and shifts by a millimetre or more",
            "measure the length too (tape.length), and check outline.svg on the real board",
        ));
    }
    let report = OutlineReport {
        rim_displacement_mm: framed.report.rim_displacement_mm,
        bridged_ratio: framed.report.rim_bridged_ratio,
    };
    let relative = framed.scale.standard_uncertainty / framed.scale.mm_per_unit;
    let outline = Outline { curve, source: OutlineSource::ScanRim, scale_factor, scale_relative_uncertainty: relative, report };
    Ok(Warned::with(outline, warnings))
}

/// The polygon (counter-clockwise) moved outwards by `by` along its vertex normals.
fn grown(polygon: &Polygon, by: f64) -> Polygon {
    let n = polygon.points.len();
    let points = (0..n)
        .map(|i| {
            let (a, p, b) = (polygon.points[(i + n - 1) % n], polygon.points[i], polygon.points[(i + 1) % n]);
            let (tx, ty) = (b[0] - a[0], b[1] - a[1]);
            let l = tx.hypot(ty).max(f64::MIN_POSITIVE);
            [p[0] + by * ty / l, p[1] - by * tx / l]
        })
        .collect();
    Polygon { points }
}
