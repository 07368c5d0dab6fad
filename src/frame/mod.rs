//! Isolates the deck, finds its axes and its scale.
mod isolate;
mod patch;
mod rim;
mod thin;

pub use isolate::frame_deck;

use crate::geom::{Polygon, Similarity};
use nalgebra::Point3;

/// What the builder measured.
#[derive(Debug, Clone, PartialEq)]
pub struct Tape {
    /// Width rail to rail at the widest place, mm.
    pub width_mm: f64,
    /// Length over all in plan, mm.
    pub length_mm: Option<f64>,
    /// Greatest error of one reading, mm.
    pub tolerance_mm: f64,
}
/// Greatest loss of a scan's rail believed, mm; more is a wrong tape reading or a wrong rim: scans lose up to some 5 mm.
pub(crate) const MOST_DISPLACEMENT_MM: f64 = 15.0;

impl Tape {
    /// How far a rim `length` long and `width` wide lies inside the rail, in its own unit: the d for which
    /// (length + 2 d) : (width + 2 d) is as the tape says. `None` without a length, or where the tape's two are equal.
    pub(crate) fn rim_displacement(&self, length: f64, width: f64) -> Option<f64> {
        let ratio = self.length_mm? / self.width_mm;
        let d = (length - ratio * width) / (2.0 * (ratio - 1.0));
        d.is_finite().then_some(d)
    }
}
/// mm per scan unit with its standard uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Scale {
    /// mm per scan unit.
    pub mm_per_unit: f64,
    /// Standard uncertainty of it, in the same unit.
    pub standard_uncertainty: f64,
}
/// The isolated deck in a provisional deck frame: x along the board, z out of the underside, mm.
#[derive(Debug, Clone)]
pub struct Framed {
    /// Scan units to mm in the provisional deck frame.
    pub scan_to_deck: Similarity,
    /// The scale by the scan's own rim.
    pub scale: Scale,
    /// Points of the underside, rim band included, what stands on it removed.
    pub sheet: Vec<Point3<f64>>,
    /// The rail in plan as far as the scan alone shows it, counter-clockwise.
    pub rim: Polygon,
    /// Points of what stands over the underside (trucks, wheels), thinned.
    pub standing: Vec<Point3<f64>>,
    /// What was found and left out.
    pub report: FrameReport,
}
/// What isolation found.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct FrameReport {
    /// Points looked at.
    pub points: usize,
    /// Points of the underside kept.
    pub sheet_points: usize,
    /// Points of the floor.
    pub floor_points: usize,
    /// Points standing over the underside.
    pub standing_points: usize,
    /// Other points left out (floaters, stand, sides).
    pub other_points: usize,
    /// Spacing of neighbouring points on the underside, mm.
    pub spacing_mm: f64,
    /// Share of the rim that the scan does not show.
    pub rim_bridged_ratio: f64,
    /// How far the scan's rim lies inside the rail by width and length together, where both were measured, mm.
    pub rim_displacement_mm: Option<f64>,
}
