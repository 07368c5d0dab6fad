//! Isolates the deck, finds its axes and its scale.
mod body;
mod explain;
mod fill;
mod guide;
mod isolate;
mod join;
mod kinds;
mod local;
mod order;
mod own_axes;
mod patch;
mod readings;
mod rim;
mod scale;
mod side;
mod smooth;
mod surfels;
mod trucks;

pub(crate) use readings::{FINE_SD_MM, Row, names, next_reading, tape_sd_mm, widened};
pub(crate) use scale::{
    RimSize, WHEELBASE, WidthThere, beyond, no_trucks, solve_scale, station_name, station_sd_mm, waist, width_from_ends,
};
pub(crate) use surfels::surfels;

pub use isolate::frame_deck;
pub use join::{JoinReport, join_scans};
pub use readings::{NextReading, TapeReading, TapeReport, TapeVerdict, UnusedReading};
pub use trucks::TruckSpan;

use crate::error::{Error, PointRole, Refusal, Stage};
use crate::geom::{Polygon, Similarity};
use nalgebra::Point3;

/// What to do about a scan of something that is no board.
pub(crate) const SCAN_ALONE: &str =
    "scan the board alone, or set scan.box round the part of the scan with the board in it";

fn fail(message: String, hint: &str) -> Error {
    Error::new(Stage::Frame, message).hint(hint)
}

/// What the builder measured.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Tape {
    /// Width rail to rail at the widest place, mm.
    pub width_mm: f64,
    /// Length over all in plan, mm.
    pub length_mm: Option<f64>,
    /// Greatest error of one reading, mm.
    pub tolerance_mm: f64,
    /// Widths read at further places.
    pub stations: Vec<StationWidth>,
    /// From the middle of one truck's holes to the middle of the other's, straight, mm.
    pub wheelbase_mm: Option<f64>,
}
/// A width read at a place along the board.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StationWidth {
    /// Distance of the place from one end of the board, along the board, mm; either end.
    pub from_end_mm: f64,
    /// Width rail to rail there, mm.
    pub width_mm: f64,
}
/// What the builder says about the scan where it cannot be told, or is told wrongly.
#[derive(Debug, Clone, PartialEq)]
pub struct FrameOptions {
    /// The other side of the sheet than the one found is the one that looks out of the board.
    pub flip: bool,
    /// Only points within this box (two opposite corners, scan units) are looked at.
    pub keep: Option<[[f64; 3]; 2]>,
    /// Whether the scan holds a floor; `None` finds out.
    pub floor: Option<bool>,
    /// Thickness of the deck, mm: how far down its rail's wall may be looked for.
    pub thickness_mm: f64,
}
impl Default for FrameOptions {
    fn default() -> Self {
        Self { flip: false, keep: None, floor: None, thickness_mm: THICKNESS_MM }
    }
}
/// Thickness of a deck where nobody measured it, mm (common practice, no source: 10 to 13).
pub const THICKNESS_MM: f64 = 11.0;
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
    /// How the rail's wall leans as far as the scan tells: 0 upright in plan, 1 square to the underside.
    pub rim_lean: f64,
    /// Points kept and left out, thinned, for a picture.
    pub sorted: SortedPoints,
    /// Points of what stands over the underside (trucks, wheels), thinned.
    pub standing: Vec<Point3<f64>>,
    /// Points as high beside the board, thinned: the half of a wheel that hangs over the rail.
    pub overhanging: Vec<Point3<f64>>,
    /// Distance of the trucks where they are seen, in the same mm.
    pub trucks: Option<TruckSpan>,
    /// The tape beside the scan alone.
    pub tape: TapeReport,
    /// What was found and left out.
    pub report: FrameReport,
}
impl Framed {
    /// What the points were taken for, where a later stage makes no deck of them; `meaning` is what that means.
    pub(crate) fn refusal(&self, meaning: &'static str) -> Refusal {
        let (r, p) = (&self.report, &self.sorted);
        Refusal::new(meaning, true)
            .with(PointRole::Kept, r.sheet_points, &p.sheet)
            .with(PointRole::Standing, r.standing_points, &p.standing)
            .with(PointRole::Floor, r.floor_points, &p.floor)
            .with(PointRole::Other, r.other_points, &p.other)
    }
}
/// Some thousand points of each kind in the deck frame, mm.
#[derive(Debug, Clone, Default)]
pub struct SortedPoints {
    /// Of the underside.
    pub sheet: Vec<Point3<f64>>,
    /// Of the floor.
    pub floor: Vec<Point3<f64>>,
    /// Standing over the underside.
    pub standing: Vec<Point3<f64>>,
    /// Other points left out.
    pub other: Vec<Point3<f64>>,
}
impl SortedPoints {
    /// The same points after `map`.
    pub(crate) fn mapped(&self, map: &Similarity) -> Self {
        let all = |points: &[Point3<f64>]| points.iter().map(|p| map.apply(p)).collect();
        Self {
            sheet: all(&self.sheet),
            floor: all(&self.floor),
            standing: all(&self.standing),
            other: all(&self.other),
        }
    }
}
/// What isolation found.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct FrameReport {
    /// Points of the scan.
    pub points: usize,
    /// Points looked at: a denser scan is thinned evenly first, and the counts below are of these.
    pub looked_at: usize,
    /// Points left out first: outside the box to keep, or far from nearly all others.
    pub far_points: usize,
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
    /// How far the scan's rim lies inside the rail at the sides and at the ends, by the tape and the rim's own doubt, mm.
    pub rim_displacement_mm: [f64; 2],
    /// Standard uncertainty of that without the tape, mm.
    pub rim_doubt_mm: [f64; 2],
}
impl FrameReport {
    /// The same once all lengths are found to be `s` times as large.
    #[must_use]
    pub(crate) fn scaled(self, s: f64) -> Self {
        Self {
            spacing_mm: s * self.spacing_mm,
            rim_displacement_mm: self.rim_displacement_mm.map(|d| s * d),
            rim_doubt_mm: self.rim_doubt_mm.map(|d| s * d),
            ..self
        }
    }
}
