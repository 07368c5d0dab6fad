//! The enclosure's part of the report.
use crate::enclosure::{Check, Enclosure, PlacedPart, PrintFigures, Screw, ScrewSize};
use crate::num::shown;
use serde::Serialize;
use std::fmt::Write;

/// Figures of the enclosure's body.
#[derive(Debug, Clone, Serialize)]
pub struct EnclosureSection {
    /// Least clear height between deck and floor, mm.
    pub depth_mm: f64,
    /// Along the board, across it and high over all, mm.
    pub size_mm: [f64; 3],
    /// Material, mm3.
    pub volume_mm3: f64,
    /// Screws, in order round the rim from the nose's middle, counter-clockwise seen from the underside.
    pub screws: Vec<Screw>,
    /// Their size.
    pub screw_size: ScrewSize,
    /// Length of the threaded inserts in the deck, mm; none for bolts through it.
    pub insert_mm: Option<f64>,
    /// Greatest angle between the deck's normal and a hole, degrees.
    pub greatest_tilt_deg: f64,
    /// Parts in their places.
    pub parts: Vec<PlacedPart>,
    /// Clearances.
    pub clearances: Vec<Check>,
    /// Parts for the printer.
    pub prints: Vec<PrintFigures>,
}
impl EnclosureSection {
    pub(super) fn new(e: &Enclosure) -> Self {
        let (lo, hi) = e.bounds();
        Self {
            depth_mm: e.depth_mm,
            size_mm: [0, 1, 2].map(|k| hi[k] - lo[k]),
            volume_mm3: e.volume_mm3(),
            greatest_tilt_deg: e.screws.iter().map(|s| s.tilt_deg).fold(0.0, f64::max),
            screws: e.screws.clone(),
            screw_size: e.screw_size,
            insert_mm: e.insert_mm,
            parts: e.parts.clone(),
            clearances: e.checks.clone(),
            prints: e.print_parts.iter().map(|p| p.figures.clone()).collect(),
        }
    }
    /// Lines for a terminal.
    pub(super) fn words(&self, o: &mut String) {
        let [l, w, h] = self.size_mm;
        let _ = writeln!(
            o,
            "enclosure  {l:.1} x {w:.1} x {h:.1} mm, {:.1} mm deep inside, {:.0} cm3 of material",
            self.depth_mm,
            self.volume_mm3 / 1000.0
        );
        let _ = writeln!(
            o,
            "screws     {} of {:?}, {}; the deck's normal leans by up to {:.1} degrees at a hole",
            self.screws.len(),
            self.screw_size,
            match self.insert_mm {
                Some(mm) => format!("in threaded inserts {mm:.1} mm deep in the deck"),
                None => "bolts through the deck".into(),
            },
            self.greatest_tilt_deg
        );
        for c in &self.clearances {
            let verdict = if c.met { "" } else { ", too little" };
            let _ = writeln!(
                o,
                "clearance  {}: {:.1} mm (wanted {:.0} mm){verdict}",
                c.name,
                shown(c.have_mm, 1),
                c.want_mm
            );
        }
        for p in &self.prints {
            let way = &p.way;
            let [w, d, h] = way.size_mm;
            let layers = if way.layers_across_bending { "across" } else { "along" };
            let _ = writeln!(
                o,
                "print      {}: on its {}, {w:.0} x {d:.0} x {h:.0} mm, layers {layers} the bending, {:.0} mm2 on the bed, {:.0} mm2 overhanging up to {:.0} mm",
                p.name,
                way.stands_on.name(),
                way.bed_contact_mm2,
                way.overhang_mm2,
                way.highest_overhang_mm
            );
        }
        for p in &self.parts {
            let verdict = if p.fits { "fits" } else { "DOES NOT FIT" };
            let cable = p.cable.map_or(String::new(), |c| format!(", with {:.0} mm for cables", c.room_mm));
            let _ = writeln!(
                o,
                "part       {} {verdict} at x = {:.0} mm, y = {:.0} mm: {:.1} mm left above, {:.1} mm beside, beyond the clearance of {:.1} mm{cable}",
                p.name,
                shown(p.at_mm[0], 0),
                shown(p.at_mm[1], 0),
                p.height_left_mm,
                p.side_left_mm,
                p.clearance_mm
            );
        }
    }
}
