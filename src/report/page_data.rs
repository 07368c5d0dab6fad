//! What the report page shows, as plain values: built from finished stage outputs, drawn by the script in `page/`.
use super::packed::{Bytes, Indices, Packed};
use crate::enclosure::Enclosure;
pub use crate::error::PointRole;
use crate::error::Warning;
use serde::Serialize;

/// Everything on a report page. Lengths in mm, deck frame. What is empty or `None` is left off the page.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageData {
    /// Name of the board, as the builder wrote it; escaped where it is printed.
    pub title: String,
    /// What the page is, for example "deck report".
    pub kind: String,
    /// Version of faydeck that wrote it.
    pub version: String,
    /// The few figures printed large at the top.
    pub headline: Vec<PageNumber>,
    /// Why there is no deck; `None` where there is one.
    pub refusal: Option<PageRefusal>,
    /// What was doubtful, with the next step.
    pub warnings: Vec<Warning>,
    /// All figures, in groups.
    pub numbers: Vec<PageNumber>,
    /// Cautions.
    pub cautions: Vec<String>,
    /// Files written beside the page.
    pub files: Vec<PageFile>,
    /// The board to turn.
    pub mesh: PageMesh,
    /// The enclosure on it.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub body: Option<PageBody>,
    /// Colours that can be laid over it; the first shows at the start.
    pub layers: Vec<PageLayer>,
    /// Lines drawn on the underside.
    pub lines: Vec<PageLine>,
    /// Cross-sections with the scan's points beside them.
    pub stations: Vec<PageStation>,
    /// Curves along the board.
    pub profiles: Vec<PagePlot>,
    /// The gap along the rim, unrolled: distance round the rim against gap, screws as marks, verdicts as zones.
    pub rim: Option<PagePlot>,
    /// Points of the scan by what became of them.
    pub points: Vec<PagePoints>,
    /// Curves along the outline: its distance from the scan's rim, its standard error.
    pub rail: Vec<PagePlot>,
    /// The photos with the outline.
    pub photos: Vec<PagePhoto>,
}
/// Why no deck could be made of a scan.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageRefusal {
    /// The refusal in one sentence.
    pub message: String,
    /// What it means, in short sentences.
    pub meaning: String,
    /// What to do.
    pub next: String,
    /// Unit of the points' places.
    pub unit: String,
}
/// One figure with its uncertainty and where it is written.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageNumber {
    /// Heading it stands under.
    pub group: String,
    /// What it is.
    pub name: String,
    /// The value with its unit.
    pub value: String,
    /// How sure it is, with unit; empty where nothing is known.
    pub uncertainty: String,
    /// What it means to a builder, in one sentence.
    pub meaning: String,
    /// File and key it is taken from.
    pub from: String,
}
/// A file beside the page.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageFile {
    /// Its name.
    pub name: String,
    /// What it holds; may be empty.
    pub what: String,
}
/// The deck as triangles over the plan: each vertex has a height on the underside and one on the top.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageMesh {
    /// Places in plan, mm.
    pub x: Packed,
    /// Places in plan, mm.
    pub y: Packed,
    /// Heights of the underside, mm.
    pub under: Packed,
    /// Heights of the top, mm.
    pub top: Packed,
    /// Triangles of the underside, counter-clockwise seen from outside.
    pub triangles: Indices,
    /// The first so many vertices are the outline, in order, counter-clockwise.
    pub border: usize,
}
/// A body as triangles, mm, deck frame.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageBody {
    /// Places of its vertices.
    pub x: Packed,
    /// Places of its vertices.
    pub y: Packed,
    /// Places of its vertices.
    pub z: Packed,
    /// Triangles, counter-clockwise seen from outside.
    pub triangles: Indices,
}
/// Chord height of a body's triangles, mm: below what a screen shows, and some ten times fewer than in the files.
const BODY_CHORD_MM: f64 = 0.3;
impl PageBody {
    /// An enclosure as a screen shows it.
    pub fn of(e: &Enclosure) -> Self {
        let shown = e.solid().mesh(BODY_CHORD_MM);
        let m = shown.as_ref().unwrap_or_else(|| e.mesh());
        let along = |k: usize| m.points.iter().map(|p| p[k]).collect();
        Self { x: along(0), y: along(1), z: along(2), triangles: Indices(m.triangles.clone()) }
    }
}
/// How a layer is coloured.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum LayerColours {
    /// Dark to light from `least` to `most`.
    #[default]
    Rising,
    /// Two colours from a neutral zero in the middle.
    Signed,
    /// As `Rising`, but values below 0 stand out and are hatched.
    Gap,
    /// Those of the scan: one for each node in `rgb`.
    Own,
}
/// Values over the plan, one per node of a square grid.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageLayer {
    /// Short name without spaces, unique.
    pub key: String,
    /// What a builder reads on the button.
    pub name: String,
    /// Unit of the values.
    pub unit: String,
    /// What it shows, in one or two sentences.
    pub about: String,
    /// File or key it is taken from.
    pub from: String,
    /// Colouring.
    pub colours: LayerColours,
    /// Value at the dark end of the scale, in `unit`.
    pub least: f64,
    /// Value at the light end of the scale, in `unit`.
    pub most: f64,
    /// Places on the scale with a name (verdicts), from the least up; may be empty.
    pub zones: Vec<PageZone>,
    /// Node with the least x and y, mm.
    pub origin_mm: [f64; 2],
    /// Distance of the nodes, mm.
    pub step_mm: f64,
    /// Nodes along x and y.
    pub nodes: [usize; 2],
    /// Values in `unit`, x index outside: `values[i * nodes[1] + j]`; not a number where there is none.
    pub values: Packed,
    /// Red, green and blue of each node in the order of `values`, where `colours` is `Own`; empty elsewhere.
    pub rgb: Bytes,
}
/// A named part of a scale or of a plot's height.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageZone {
    /// Its name.
    pub name: String,
    /// Where it begins, in the unit of what it belongs to; `None` is without end.
    pub above: Option<f64>,
    /// Where it ends.
    pub below: Option<f64>,
}
/// A line on the underside.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageLine {
    /// What it is.
    pub name: String,
    /// Whether its last point joins its first.
    pub closed: bool,
    /// Places in plan, mm.
    pub x: Packed,
    /// Places in plan, mm.
    pub y: Packed,
    /// Heights, mm.
    pub z: Packed,
}
/// A cross-section: curve, bend, and the scan's points near it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageStation {
    /// Place along the board, mm.
    pub x_mm: f64,
    /// Half the width of the slice whose points are shown, mm.
    pub half_slice_mm: f64,
    /// Root mean square of the residuals of the points in the slice, mm; `None` without points.
    pub residual_rms_mm: Option<f64>,
    /// Points of the scan in the slice, of which some are shown.
    pub count: usize,
    /// How far the middle lies above (+) or below the line between the rails, mm.
    pub middle_mm: f64,
    /// Along the section from the right rail to the left, mm.
    pub y: Packed,
    /// Heights there, mm.
    pub z: Packed,
    /// Curvature across the board there, 1/m; positive where the underside is hollow.
    pub bend: Packed,
    /// The scan's points: across, mm.
    pub point_y: Packed,
    /// The scan's points: distance from the surface along its normal, mm.
    pub residual: Packed,
}
/// Curves in one picture.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PagePlot {
    /// Its title.
    pub title: String,
    /// What to see in it.
    pub about: String,
    /// File or key it is taken from.
    pub from: String,
    /// What runs along, with unit.
    pub along: String,
    /// What runs up, without unit.
    pub up: String,
    /// Unit of what runs up.
    pub unit: String,
    /// The curves.
    pub curves: Vec<PageCurve>,
    /// Named heights (verdicts).
    pub zones: Vec<PageZone>,
    /// Named places along (screws).
    pub marks: Vec<PageMark>,
}
/// A curve with a band of uncertainty where it is known.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageCurve {
    /// Its name.
    pub name: String,
    /// Along.
    pub x: Packed,
    /// Up; not a number breaks the curve.
    pub y: Packed,
    /// Half-width of the band about it, in the unit of `y`: empty, or one per point.
    pub band: Packed,
}
/// A named place along a plot.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PageMark {
    /// Its name.
    pub name: String,
    /// Where, in the unit of the plot's x.
    pub at: f64,
}
/// Points of one kind, thinned for the page.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PagePoints {
    /// What became of them.
    pub role: PointRole,
    /// What a builder reads.
    pub name: String,
    /// How many there are among those looked at.
    pub count: usize,
    /// Those shown, mm.
    pub x: Packed,
    /// Those shown, mm.
    pub y: Packed,
    /// Those shown, mm.
    pub z: Packed,
}
/// A photo with lines over it.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PagePhoto {
    /// "image/jpeg" or "image/png".
    pub media_type: String,
    /// The picture's file.
    pub bytes: Bytes,
    /// Size of the picture the lines are drawn on, pixels; the file may be smaller.
    pub size_px: [usize; 2],
    /// Lines, pixels of `size_px`.
    pub lines: Vec<PhotoLine>,
    /// What is to be seen.
    pub about: String,
    /// Name of the photo's file, as the builder wrote it.
    pub from: String,
}
/// What a line on a photo tells.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PhotoRole {
    /// The rail, found.
    #[default]
    Found,
    /// The rail where it is hidden.
    Bridged,
    /// The scan's rim.
    ScanRim,
    /// Bolt holes, as crosses.
    Holes,
}
/// A line on a photo, perhaps in pieces.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct PhotoLine {
    /// What it is.
    pub name: String,
    /// What it tells, for its looks.
    pub role: PhotoRole,
    /// Whether its last point joins its first.
    pub closed: bool,
    /// Pixels, x right; not a number parts two pieces.
    pub x: Packed,
    /// Pixels, y down.
    pub y: Packed,
}
