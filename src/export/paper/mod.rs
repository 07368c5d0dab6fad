//! Paper, true to size: drawings in mm, as SVG and as pages of PDF.
mod drawing;
mod pages;
mod pdf;
mod templates;
pub use drawing::{Drawing, Label, Pen, Stroke, drawings_svg};
pub use pages::Paper;
pub use pdf::drawings_pdf;
pub(super) use pdf::{Section, words_pdf};
pub use templates::{Hole, Laid, footprint_template, outline_template, rib_template, rocker_template};

use super::OutputFile;
use crate::deck::Deck;
use crate::mating::MatingFace;

/// Printed where holes are drilled.
const DRILLING: &str = "Drilling a deck weakens it: no more holes than the seal needs, short of the other face. Screws must not reach a battery: take it out before one is driven. Dust needs a mask and eye protection.";

/// Stations of ribs where none are chosen: the enclosure's middle and near both its ends, or the board's quarters.
pub fn default_stations(deck: &Deck, mating: Option<&MatingFace>) -> Vec<f64> {
    let (lo, hi) = match mating {
        Some(m) => m.footprint.outer_polygon.bounds(),
        None => deck.outline_polygon().bounds(),
    };
    // a tenth from the ends of a rim is past its corners; a quarter of a board is past its kicks
    let share = if mating.is_some() { 0.1 } else { 0.25 };
    [share, 0.5, 1.0 - share].map(|s| lo[0] + (hi[0] - lo[0]) * s).to_vec()
}

/// Every template as PDF and SVG: `outline`, `ribs`, `rocker`, and with a mating face `footprint`. Stations off the board
/// are left out.
pub fn paper_files(
    name: &str,
    deck: &Deck,
    mating: Option<&MatingFace>,
    holes: &[Hole],
    stations: &[f64],
    paper: Paper,
) -> Vec<OutputFile> {
    let mut files = Vec::new();
    let mut add = |file: &str, what: &str, notes: &[String], drawings: Vec<Drawing>| {
        if !drawings.is_empty() {
            let title = format!("{name}: {what}");
            files.push(OutputFile::new(&format!("{file}.pdf"), drawings_pdf(&title, notes, &drawings, paper)));
            files.push(OutputFile::new(&format!("{file}.svg"), drawings_svg(&title, notes, &drawings)));
        }
    };
    let outline = outline_template(deck, mating, stations);
    let (lo, hi) = deck.outline_polygon().bounds();
    let size = format!(
        "The underside seen from above, {:.1} x {:.1} mm in plan: stand the board over it and look straight down.",
        hi[0] - lo[0],
        hi[1] - lo[1]
    );
    add("outline", "outline template", &[size], vec![outline]);
    if let Some(m) = mating {
        let (drawing, misfit) = footprint_template(deck, m, holes);
        let notes = [
            "Press the paper onto the underside: lengths are those along the curved deck, longer than in plan.".into(),
            format!("Lengthwise, paper and deck differ by up to {misfit:.2} mm at the rim's sides (estimate)."),
            DRILLING.into(),
        ];
        add("footprint", "footprint and drill template", &notes, vec![drawing]);
    }
    let ribs: Vec<Drawing> = stations.iter().filter_map(|x| rib_template(deck, mating, *x)).collect();
    let notes = ["Glue on card, cut out, stand each rib upright at its station: light below it is the error.".into()];
    add("ribs", "rib templates", &notes, pages::gathered(ribs, paper));
    let notes = ["Glue on card, cut out, stand it upright along the centre line of the underside.".into()];
    add("rocker", "rocker template", &notes, rocker_template(deck, stations).into_iter().collect());
    files
}
