//! What was measured, as JSON for programs, text for the terminal and a page for people.
mod curvature;
mod enclosure;
mod gaps;
mod gaps_next;
mod gaps_text;
mod html;
mod mating;
mod numbers;
mod packed;
mod page_data;
mod page_fill;
mod page_photo;
mod page_rim;
mod refused;
mod shapes;
mod text;

pub use packed::{Bytes, Indices, Packed};
pub use page_data::{
    LayerColours, PageBody, PageCurve, PageData, PageFile, PageLayer, PageLine, PageMark, PageMesh, PageNumber,
    PagePhoto, PagePlot, PagePoints, PageRefusal, PageStation, PageZone, PhotoLine, PhotoRole, PointRole,
};

/// JSON Schema of `gaps.json`: every key with its meaning and unit.
pub const GAPS_SCHEMA: &str = include_str!("../../schema/gaps.schema.json");
/// JSON Schema of `report.json`: every key with its meaning and unit.
pub const REPORT_SCHEMA: &str = include_str!("../../schema/report.schema.json");

use crate::enclosure::Enclosure;
pub use gaps::{GapsReport, LandReport, RimReport, ScrewReport};

use crate::error::Warning;
use crate::fit_check::FitFigures;
use crate::frame::{FrameReport, JoinReport, Scale, TapeReport};
use crate::geom::length_and_width;
use crate::mating::MatingFace;
use crate::outline::{OutlineReport, OutlineSource};
use crate::pipeline::Reconstruction;
use crate::scan::ReadReport;
use crate::settings::Board;
use crate::surface::SurfaceReport;
pub use curvature::{CentreBend, CurvatureSection, StationBend};
pub use enclosure::EnclosureSection;
pub use mating::MatingSection;
pub use refused::{refused_kind, refused_page};
use serde::Serialize;
pub use shapes::ShapeMeasure;

/// Cautions printed where someone could be hurt.
pub const CAUTIONS: [&str; 6] = [
    "drilling a deck weakens it; drill no more holes than the seal needs",
    "screws must not reach a battery, and must end 2 to 3 mm short of the deck's other face or go through with a washer",
    "a lithium pack needs its own protection circuit, a fuse, and a box that is sealed but can be opened",
    "metal, wood and epoxy dust need a mask and eye protection",
    "wear protection, and test at walking speed first",
    "electric boards are regulated: follow local rules and let licensed people do licensed work; figures of strength, sag and fit here are estimates",
];

/// The outline's part of the report.
#[derive(Debug, Clone, Serialize)]
pub struct OutlineSection {
    /// Where the outline comes from.
    pub source: OutlineSource,
    /// Length over all in plan, mm.
    pub length_mm: f64,
    /// Widest width, mm.
    pub width_mm: f64,
    /// Standard uncertainty of the length, mm: what the tape read is known better than the scale alone tells.
    pub length_uncertainty_mm: f64,
    /// Standard uncertainty of the width, mm.
    pub width_uncertainty_mm: f64,
    /// What the solve found.
    #[serde(flatten)]
    pub found: OutlineReport,
}
/// The deck's part of the report.
#[derive(Debug, Clone, Serialize)]
pub struct DeckSection {
    /// Thickness, mm.
    pub thickness_mm: f64,
    /// Whether nobody measured it: the board file does not say it.
    pub thickness_assumed: bool,
    /// Plan area, mm2.
    pub plan_area_mm2: f64,
    /// Highest less lowest place of the centre line between 5 % and 95 % of the length, mm.
    pub centre_line_rise_mm: f64,
    /// How far the centre stands above (+) or below the rails at mid length, mm.
    pub concave_at_mid_length_mm: f64,
}
/// Everything measured in one build. Keys end in their unit.
#[derive(Debug, Clone, Serialize)]
pub struct Report {
    /// Version of faydeck that wrote it.
    pub faydeck: &'static str,
    /// Name of the board.
    pub name: String,
    /// The scan as read.
    pub scan: ReadReport,
    /// How further scans were laid on the first one; empty for one scan.
    pub joined: Vec<JoinReport>,
    /// What isolation kept and left out.
    pub frame: FrameReport,
    /// Every tape reading, how well it agrees with all the rest, and the one that would help most.
    pub tape: TapeReport,
    /// mm per scan unit.
    pub scale: Scale,
    /// What the scale's standard uncertainty means over the board's length, mm.
    pub scale_uncertainty_over_length_mm: f64,
    /// 4 x 4, row-major: scan units to mm in the deck frame.
    pub scan_to_deck: [[f64; 4]; 4],
    /// The fit.
    pub surface: SurfaceReport,
    /// How the underside bends.
    pub curvature: CurvatureSection,
    /// The outline.
    pub outline: OutlineSection,
    /// The deck.
    pub deck: DeckSection,
    /// The mating face, where an enclosure is asked for.
    pub mating: Option<MatingSection>,
    /// The enclosure's body, where one is asked for.
    pub enclosure: Option<EnclosureSection>,
    /// Area and volume of the shapes written as STEP.
    pub shapes: Vec<ShapeMeasure>,
    /// The pieces that are printed first.
    pub fit_check: Vec<FitFigures>,
    /// What was doubtful, with the next step.
    pub warnings: Vec<Warning>,
    /// Wall time by stage, filled in by the front end; the only part that differs between two runs.
    pub seconds: Vec<(String, f64)>,
    /// Cautions.
    pub cautions: [&'static str; 6],
    /// What the page shows; parts that are still empty can be filled before [`Report::to_html`].
    #[serde(skip)]
    pub page: PageData,
}
impl Report {
    /// Gathers what the stages report.
    pub fn new(board: &Board, rec: &Reconstruction, mating: Option<&MatingFace>, warnings: Vec<Warning>) -> Self {
        let polygon = rec.deck.outline_polygon();
        let (lo, hi) = polygon.bounds();
        let (length_mm, width_mm) = length_and_width(&polygon);
        let z = &rec.deck.underside;
        // the last twentieth at either end belongs to the rail's own rounding, not to the rocker
        let line: Vec<f64> =
            (0..=90).map(|i| z.at(lo[0] + (hi[0] - lo[0]) * (0.05 + 0.01 * f64::from(i)), 0.0)).collect();
        let rise =
            line.iter().copied().fold(f64::NEG_INFINITY, f64::max) - line.iter().copied().fold(f64::INFINITY, f64::min);
        let middle = (lo[0] + hi[0]) / 2.0;
        // between the rails there: a waisted board is narrower than its box
        let (right, left) = polygon.span(middle).unwrap_or((lo[1], hi[1]));
        let concave = z.at(middle, (right + left) / 2.0) - (z.at(middle, right) + z.at(middle, left)) / 2.0;
        let mut report = Self {
            faydeck: env!("CARGO_PKG_VERSION"),
            name: board.name.clone(),
            scan: rec.read.clone(),
            joined: rec.joined.clone(),
            frame: rec.frame.clone(),
            tape: rec.tape.clone(),
            scale: rec.scale,
            scale_uncertainty_over_length_mm: rec.scale.standard_uncertainty / rec.scale.mm_per_unit * length_mm,
            scan_to_deck: rec.scan_to_deck.to_rows(),
            surface: rec.surface.clone(),
            curvature: CurvatureSection::default(),
            outline: OutlineSection {
                source: rec.outline_source,
                length_mm,
                width_mm,
                length_uncertainty_mm: rec.tape.size_uncertainty_mm[0],
                width_uncertainty_mm: rec.tape.size_uncertainty_mm[1],
                found: rec.outline.clone(),
            },
            deck: DeckSection {
                thickness_mm: rec.deck.thickness_mm,
                thickness_assumed: board.thickness_assumed,
                plan_area_mm2: polygon.signed_area().abs(),
                centre_line_rise_mm: rise,
                concave_at_mid_length_mm: concave,
            },
            mating: mating.zip(board.enclosure.as_ref()).map(|(m, e)| MatingSection::new(m, e, rec)),
            enclosure: None,
            shapes: ShapeMeasure::all(&rec.deck, mating),
            fit_check: Vec::new(),
            warnings,
            seconds: Vec::new(),
            cautions: CAUTIONS,
            page: PageData::default(),
        };
        report.page = page_fill::fill(&report, rec, mating);
        report.curvature = CurvatureSection::new(z, &polygon, &report.page.stations);
        report
    }
    /// Adds what the enclosure's body measures.
    #[must_use]
    pub fn with_enclosure(mut self, enclosure: Option<&Enclosure>) -> Self {
        self.enclosure = enclosure.map(EnclosureSection::new);
        self.page.body = enclosure.map(PageBody::of);
        self
    }
    /// Adds the gaps of the enclosure made with the deck, written to `file`: its rim to the page, and what is doubtful of its fit.
    pub fn add_gaps(&mut self, own: &GapsReport, file: &str) {
        self.page.add_rim(own, file);
        for warnings in [&mut self.warnings, &mut self.page.warnings] {
            warnings.extend_from_slice(&own.warnings);
        }
    }
    /// `report.json`, ending in a line break.
    pub fn to_json(&self) -> String {
        let mut value = serde_json::to_value(self).unwrap_or_default();
        if let Some(map) = value.as_object_mut() {
            let seconds = self.seconds.iter().map(|(k, v)| (k.clone(), serde_json::json!(v))).collect();
            map.insert("seconds".into(), serde_json::Value::Object(seconds));
        }
        format!("{value:#}\n")
    }
    /// A short summary for a terminal.
    pub fn to_text(&self) -> String {
        text::summary(self)
    }
    /// `report.html`: one self-contained page of [`Report::page`].
    pub fn to_html(&self) -> String {
        html::page(&self.page)
    }
}
