//! The build sheet: what to buy, print, drill and tighten, on paper beside the work.
use super::paper::{Section, words_pdf};
use super::{OutputFile, Paper};
use crate::deck::Deck;
use crate::enclosure::{Enclosure, Hardware, tightening_order};
use crate::fit_check::FitPiece;
use crate::report::CAUTIONS;

/// What a build sheet is made from.
#[derive(Clone, Copy)]
pub struct BuildSheet<'a> {
    /// Name of the board.
    pub title: &'a str,
    /// The deck.
    pub deck: &'a Deck,
    /// Whether nobody said how thick it is.
    pub thickness_assumed: bool,
    /// The enclosure.
    pub enclosure: &'a Enclosure,
    /// The pieces that are printed first.
    pub fit_check: &'a [FitPiece],
    /// Free thickness of the gasket's strip, mm.
    pub gasket_mm: f64,
    /// The paper.
    pub paper: Paper,
}
/// Bought longer than needed, as a share: strips are cut and joined (common practice, no source).
const SPARE_RATIO: f64 = 0.1;
/// Strips are sold by the tenth of a metre or finer, mm.
const STRIP_STEP_MM: f64 = 100.0;

impl BuildSheet<'_> {
    /// `build-sheet.pdf`.
    pub fn file(&self) -> OutputFile {
        let h = Hardware::of(self.deck, self.enclosure);
        let sections = [
            Section { head: "To buy", lines: self.buying(&h) },
            Section { head: "To print", lines: self.printing() },
            Section { head: "Order of work", lines: self.order() },
            Section { head: "Drilling", lines: self.drilling(&h) },
            Section { head: "Tightening", lines: self.tightening(&h) },
            Section { head: "Cautions", lines: CAUTIONS.iter().map(|c| sentence(c)).collect() },
        ];
        let title = format!("{}: build sheet", self.title);
        OutputFile::new("build-sheet.pdf", words_pdf(&title, &sections, self.paper))
    }

    fn buying(&self, h: &Hardware) -> Vec<String> {
        let (name, n) = (h.size.name(), h.screws);
        let inserts = self.enclosure.insert_mm;
        let mut out = vec![match h.length_mm {
            Some(length) => format!(
                "{n} screws {name} x {length:.0} mm, hexagon socket, ISO 4762. They must be {:.1} mm long at least.",
                h.least_mm
            ),
            None => format!(
                "{n} screws {name}, {:.1} mm long at least: longer than ISO 4762 is sold in this size. Cut threaded rod.",
                h.least_mm
            ),
        }];
        match inserts {
            Some(mm) => {
                out.push(format!("{n} threaded inserts {name} for wood, {mm:.1} mm long."));
                let why = if h.washers > 1 {
                    format!(", {} on each screw: with fewer it would stand on the ground of its hole", h.washers)
                } else {
                    String::new()
                };
                out.push(format!("{} washers {name}, ISO 7089{why}.", n * h.washers));
            }
            None => {
                out.push(format!("{n} lock nuts {name}, ISO 7040."));
                out.push(format!(
                    "{} washers {name}, ISO 7089: one under each head, one under each nut.",
                    n * h.washers
                ));
                if self.thickness_assumed {
                    out.push(format!(
                        "NOT SURE: the deck is taken as {:.0} mm thick. Measure it at a truck hole before you buy screws.",
                        self.deck.thickness_mm
                    ));
                }
            }
        }
        let strip = ((1.0 + SPARE_RATIO) * h.strip_length_mm / STRIP_STEP_MM).ceil() * STRIP_STEP_MM;
        out.push(format!(
            "{:.1} m of closed-cell foam strip, {:.0} mm wide, {:.1} mm thick before it is pressed ({:.0} mm go round the rim).",
            strip / 1000.0,
            self.enclosure.strip_mm,
            self.gasket_mm,
            h.strip_length_mm
        ));
        out
    }
    fn printing(&self) -> Vec<String> {
        let size = |s: &[f64; 3]| format!("{:.0} x {:.0} x {:.0} mm", s[0], s[1], s[2]);
        let mut out: Vec<String> = (self.fit_check.iter())
            .map(|p| {
                format!(
                    "First: {}.3mf, to try the fit: {}, some {:.0} minutes.",
                    p.figures.name,
                    size(&p.figures.size_mm),
                    p.figures.print_estimate_min
                )
            })
            .collect();
        let parts = &self.enclosure.print_parts;
        out.extend(parts.iter().map(|p| {
            let way = &p.figures.way;
            let support = if way.overhang_mm2 > 0.0 {
                format!("support under {:.0} mm2, up to {:.0} mm high", way.overhang_mm2, way.highest_overhang_mm)
            } else {
                "no support".into()
            };
            let fits = if way.fits_bed { "" } else { " IT DOES NOT FIT THE BED." };
            format!("{}.3mf, on its {}: {}, {support}.{fits}", p.name, way.stands_on.name(), size(&way.size_mm))
        }));
        if parts.is_empty() {
            let (lo, hi) = self.enclosure.bounds();
            out.push(format!("enclosure.3mf, in one piece: {}.", size(&[0, 1, 2].map(|k| hi[k] - lo[k]))));
        }
        let cm3 = self.enclosure.volume_mm3() / 1000.0;
        out.push(format!("The enclosure takes {cm3:.0} cm3 of plastic, if it is printed solid."));
        out
    }
    fn order(&self) -> Vec<String> {
        let mut out: Vec<String> = Vec::new();
        let mut step = |text: &str| out.push(format!("{}. {text}", out.len() + 1));
        if !self.fit_check.is_empty() {
            step(
                "Print the pieces to try the fit, and lay them on the deck: light under them is what the gasket has to take.",
            );
        }
        step("Print outline.pdf and footprint.pdf at 100 % and check their bars.");
        step("Print the enclosure.");
        if self.enclosure.print_parts.len() > 1 {
            step("Glue its parts together, with their strap, and let them set.");
        }
        step("Lay the enclosure on the deck, empty, and see that it meets it all round.");
        step("Press footprint.pdf onto the underside, and mark every hole through its cross.");
        step("Take batteries and electronics away. Drill.");
        if self.enclosure.insert_mm.is_some() {
            step("Set the inserts, straight, no deeper than the deck's face.");
        }
        step("Stick the strip on the rim, its ends cut square and pressed together.");
        step("Put the parts in, then the enclosure on, and tighten.");
        out
    }
    fn drilling(&self, h: &Hardware) -> Vec<String> {
        let screws = &self.enclosure.screws;
        let mut out = vec![match self.enclosure.insert_mm {
            Some(mm) => format!(
                "{} holes from the underside, {mm:.1} mm deep and no deeper: set a stop on the bit. {:.1} mm of deck stay over them. The bit is the one that the maker of the insert names; try it in a piece of the same wood.",
                h.screws,
                self.deck.thickness_mm - mm
            ),
            None => format!(
                "{} holes through the deck, with a bit of {:.1} mm. Lay wood under the deck, so that its face does not break out.",
                h.screws,
                screws.first().map_or(0.0, |s| s.hole_mm)
            ),
        }];
        // along z: the board lies still, and every hole is drilled the same way
        let bench = screws.iter().all(|s| s.axis[0] == 0.0 && s.axis[1] == 0.0);
        out.push(if bench {
            "All holes are square to the bench on which the board lies, not to the deck.".into()
        } else {
            "Each hole is square to the deck at its own place.".into()
        });
        out.push("Places: footprint.pdf, numbered; in mm in drill.csv.".into());
        out
    }
    fn tightening(&self, h: &Hardware) -> Vec<String> {
        let order: Vec<String> = tightening_order(h.screws).iter().map(usize::to_string).collect();
        vec![
            format!("In this order, by the numbers of footprint.pdf: {}.", order.join(", ")),
            "Three times round: first by hand until each head touches, then half a turn each, then until the strip is pressed."
                .into(),
            format!(
                "The strip is pressed from {:.1} mm to {:.1} mm. Then stop: tighter bends the rim.",
                self.gasket_mm, self.enclosure.shell.standoff_mm
            ),
        ]
    }
}
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).chain(['.']).collect())
}
