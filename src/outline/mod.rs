//! The sharp outline from a photo, or from the scan's rim.
use crate::num::Curve;

/// Where the outline comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OutlineSource {
    /// The edge found in the photo.
    Photo,
    /// The border of a cut-out's alpha.
    CutOut,
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
    /// Residual rms of the rim in the photo, pixels.
    pub residual_px: Option<f64>,
    /// The same on the board, mm.
    pub residual_mm: Option<f64>,
    /// How far the scan's rim lies inside the true rail, mm.
    pub rim_displacement_mm: Option<f64>,
    /// Focal length found, pixels.
    pub focal_px: Option<f64>,
    /// Radial distortion k1 found.
    pub k1: Option<f64>,
    /// Share of the rail that was hidden and bridged.
    pub bridged_ratio: f64,
    /// The rail found in the photo, pixels (x right, y down), for pictures.
    #[serde(skip)]
    pub contour_px: Vec<[f64; 2]>,
}
