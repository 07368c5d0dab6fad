//! Screws round the flange: sizes, places, holes.
use super::{Shell, fail};
use crate::deck::Deck;
use crate::error::{Result, Stage, Warned, Warning};
use crate::geom::{Polygon, plan, trim};
use crate::mating::EnclosureSpec;
use crate::num::Curve;
use crate::tolerance::CHORD_MM;

/// A metric screw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum ScrewSize {
    /// 3 mm.
    M3,
    /// 4 mm.
    M4,
    /// 5 mm.
    M5,
    /// 6 mm.
    M6,
}
/// Class of a clearance hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// Fine.
    Fine,
    /// Medium.
    Medium,
    /// Coarse.
    Coarse,
}
impl ScrewSize {
    /// The size named by `text`, such as "M4".
    pub fn named(text: &str) -> Option<Self> {
        [(Self::M3, "M3"), (Self::M4, "M4"), (Self::M5, "M5"), (Self::M6, "M6")]
            .into_iter()
            .find(|s| s.1 == text.trim())
            .map(|s| s.0)
    }
    /// Diameter of the thread, mm.
    pub fn thread_mm(self) -> f64 {
        match self {
            Self::M3 => 3.0,
            Self::M4 => 4.0,
            Self::M5 => 5.0,
            Self::M6 => 6.0,
        }
    }
    /// Diameter of the clearance hole, mm.
    ///
    /// # References
    /// ISO 273:1979.
    pub fn hole_mm(self, fit: Fit) -> f64 {
        let row = match self {
            Self::M3 => [3.2, 3.4, 3.6],
            Self::M4 => [4.3, 4.5, 4.8],
            Self::M5 => [5.3, 5.5, 5.8],
            Self::M6 => [6.4, 6.6, 7.0],
        };
        row[match fit {
            Fit::Fine => 0,
            Fit::Medium => 1,
            Fit::Coarse => 2,
        }]
    }
    /// Outer diameter of a plain washer, mm.
    ///
    /// # References
    /// ISO 7089 (normal series; values from memory).
    pub fn washer_mm(self) -> f64 {
        match self {
            Self::M3 => 7.0,
            Self::M4 => 9.0,
            Self::M5 => 10.0,
            Self::M6 => 12.0,
        }
    }
}
/// What is asked of the screws.
#[derive(Debug, Clone, PartialEq)]
pub struct ScrewSpec {
    /// Size.
    pub size: ScrewSize,
    /// Class of the hole.
    pub fit: Fit,
    /// Greatest distance from screw to screw round the flange, mm.
    pub pitch_mm: f64,
    /// From the flange's border to the screw's middle, mm; `None` takes the flange's middle.
    pub edge_mm: Option<f64>,
    /// How far the deck slips along the flange's ends while it sags, mm: holes become slots, longer towards the ends.
    pub slip_mm: f64,
    /// Length of a threaded insert in the deck, mm; `None` for bolts through it.
    pub insert_mm: Option<f64>,
}
/// One screw.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct Screw {
    /// Its middle, mm, deck frame.
    pub at_mm: [f64; 2],
    /// Height of the deck's underside there, mm.
    pub deck_mm: f64,
    /// Angle of the deck's normal to the hole, degrees.
    pub tilt_deg: f64,
    /// Diameter of the hole in the flange, mm.
    pub hole_mm: f64,
    /// How much longer than wide the hole is, along the board, mm.
    pub slot_mm: f64,
    /// Whether it holds a corner.
    pub corner: bool,
}
impl Screw {
    /// The hole's loop in plan, counter-clockwise.
    pub fn bore(&self) -> Vec<Curve<2>> {
        plan::slot(self.at_mm, self.hole_mm / 2.0, self.slot_mm)
    }
}

/// Deck that must stay under an insert, mm (common practice, no source: 2 to 3 mm).
const LEAST_UNDER_INSERT_MM: f64 = 2.0;
/// A corner turns at least this much, radians, within [`CORNER_MM`] of line: half a right angle, so that rounded ends without
/// corners have none.
const CORNER_TURN: f64 = std::f64::consts::FRAC_PI_4;
/// Length of line over which a corner turns, mm: longer than the arc of common corner radii, shorter than a side.
const CORNER_MM: f64 = 50.0;
/// Spacing of the points on which places are chosen, mm.
const STEP_MM: f64 = 1.0;
/// Slots shorter than this are drilled as holes, mm: less than a hole's own play.
const LEAST_SLOT_MM: f64 = 0.1;

/// Indices of a closed line's corners, in its order: where it turns most.
fn corners(line: &Polygon) -> Vec<usize> {
    let n = line.points.len();
    let step = line.perimeter() / n as f64;
    let half = ((CORNER_MM / 2.0 / step).ceil() as usize).clamp(1, n / 4);
    let at = |i: usize| line.points[i % n];
    let heading = |i: usize| {
        let (a, b) = (at(i + n - 1), at(i + 1));
        (b[1] - a[1]).atan2(b[0] - a[0])
    };
    let turn: Vec<f64> = (0..n)
        .map(|i| {
            let d = heading(i + half) - heading(i + n - half);
            (d + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU) - std::f64::consts::PI
        })
        .collect();
    // summed once more, an arc shorter than the line peaks in its own middle
    let sum: Vec<f64> = (0..n).map(|i| (0..=2 * half).map(|k| turn[(i + n + k - half) % n]).sum()).collect();
    let peak = |i: usize| (1..=half).all(|k| sum[i] >= sum[(i + k) % n] && sum[i] >= sum[(i + n - k) % n]);
    let mut found: Vec<usize> = Vec::new();
    for i in (0..n).filter(|&i| turn[i] > CORNER_TURN && peak(i)) {
        if found.last().is_none_or(|l| i - l > half) {
            found.push(i);
        }
    }
    if found.len() > 1 && found[0] + n - found[found.len() - 1] <= half {
        found.pop();
    }
    found
}

/// Places along a closed line: corners, and between them at equal distances of at most `pitch`.
fn places(line: &Polygon, pitch: f64) -> Vec<([f64; 2], bool)> {
    let n = line.points.len();
    let step = line.perimeter() / n as f64;
    let c = corners(line);
    let mut out: Vec<([f64; 2], bool)> = c.iter().map(|&i| (line.points[i], true)).collect();
    let starts = if c.is_empty() { vec![0] } else { c.clone() };
    for (k, &a) in starts.iter().enumerate() {
        let b = starts[(k + 1) % starts.len()];
        let span = if b > a { b - a } else { b + n - a };
        let parts = ((span as f64 * step / pitch).ceil() as usize).max(1);
        let first = usize::from(!c.is_empty());
        out.extend((first..parts).map(|j| (line.points[(a + (span * j + parts / 2) / parts) % n], false)));
    }
    out
}

pub(super) fn place(deck: &Deck, shell: &Shell, rim: &EnclosureSpec, spec: &ScrewSpec) -> Result<Warned<Vec<Screw>>> {
    if let Some(insert) = spec.insert_mm {
        let left = deck.thickness_mm - insert;
        if left < LEAST_UNDER_INSERT_MM {
            return Err(fail(
                format!(
                    "an insert of {insert:.1} mm leaves {left:.1} mm of a deck of {:.1} mm, {LEAST_UNDER_INSERT_MM} mm must stay",
                    deck.thickness_mm
                ),
                format!(
                    "take inserts of at most {:.1} mm (screws.insert), or bolts through the deck with washers (no screws.insert)",
                    deck.thickness_mm - LEAST_UNDER_INSERT_MM
                ),
            ));
        }
    }
    let hole_mm = spec.size.hole_mm(spec.fit);
    let edge = spec.edge_mm.unwrap_or(rim.flange_mm / 2.0);
    if edge < hole_mm || rim.flange_mm - edge < hole_mm {
        return Err(fail(
            format!(
                "a flange of {:.1} mm has no room for a {hole_mm:.1} mm hole {edge:.1} mm from its border: {hole_mm:.1} mm must stay on both sides of its middle",
                rim.flange_mm
            ),
            "make enclosure.flange wider, screws.size smaller, or change screws.edge",
        ));
    }
    let line = plan::parallel(&shell.rim, -edge).ok_or_else(|| {
        fail(
            format!("the line of screws, {edge:.1} mm inside the border, folds at a corner"),
            "make enclosure.corner_radius larger",
        )
    })?;
    let line = trim::polygon(&line, CHORD_MM);
    let line = line.resampled((line.perimeter() / STEP_MM).ceil() as usize);
    let mut warnings = Vec::new();
    let half = rim.length_mm / 2.0;
    let screws: Vec<Screw> = places(&line, spec.pitch_mm)
        .into_iter()
        .map(|(at_mm, corner)| {
            let slot = spec.slip_mm * ((at_mm[0] - rim.offset_mm) / half).abs();
            Screw {
                at_mm,
                deck_mm: deck.underside.at(at_mm[0], at_mm[1]),
                tilt_deg: deck.underside.normal(at_mm[0], at_mm[1])[2].clamp(-1.0, 1.0).acos().to_degrees(),
                hole_mm,
                slot_mm: if slot < LEAST_SLOT_MM { 0.0 } else { slot },
                corner,
            }
        })
        .collect();
    // a screw along the deck's normal leans in a hole along z by the flange's thickness times the tangent
    let lean = screws.iter().map(|s| shell.spec.flange_mm * s.tilt_deg.to_radians().tan()).fold(0.0, f64::max);
    let play = hole_mm - spec.size.thread_mm();
    if lean > play {
        warnings.push(Warning::new(
            Stage::Enclosure,
            format!("a screw square to the deck leans {lean:.1} mm in a hole that has {play:.1} mm of play"),
            "take screws.fit = \"coarse\", a thinner flange, or drill square to the bench instead of to the deck",
        ));
    }
    Ok(Warned::with(screws, warnings))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 273:1979, series fine, medium, coarse.
    #[test]
    fn clearance_holes_are_those_of_iso_273() {
        let table = [
            (ScrewSize::M3, 3.2, 3.4, 3.6),
            (ScrewSize::M4, 4.3, 4.5, 4.8),
            (ScrewSize::M5, 5.3, 5.5, 5.8),
            (ScrewSize::M6, 6.4, 6.6, 7.0),
        ];
        for (size, fine, medium, coarse) in table {
            let got = [Fit::Fine, Fit::Medium, Fit::Coarse].map(|f| size.hole_mm(f));
            assert_eq!(got, [fine, medium, coarse]);
        }
        assert_eq!(ScrewSize::named("M5"), Some(ScrewSize::M5));
        assert_eq!(ScrewSize::named("5"), None);
    }
    #[test]
    fn corners_come_first_and_no_gap_is_wider_than_the_pitch() {
        let line = trim::polygon(&plan::rectangle([3.0, 0.0], [320.0, 170.0], 14.0), CHORD_MM);
        let line = line.resampled(line.perimeter() as usize);
        let found = places(&line, 110.0);
        assert!(found[..4].iter().all(|p| p.1) && found[4..].iter().all(|p| !p.1), "{found:?}");
        // on the arcs, near their middles
        let inset = 14.0 * (1.0 - 0.5_f64.sqrt());
        for (p, _) in &found[..4] {
            let (dx, dy) = (160.0 - (p[0] - 3.0).abs() - inset, 85.0 - p[1].abs() - inset);
            assert!(dx.hypot(dy) < 6.0, "{p:?}");
        }
        // sides of about 308 and 158 mm need two and one between
        assert_eq!(found.len(), 4 + 2 * 2 + 2);
        let round = trim::polygon(&plan::circle([0.0, 0.0], 100.0), CHORD_MM).resampled(628);
        let even = places(&round, 110.0);
        assert!(even.len() == 6 && even.iter().all(|p| !p.1), "{even:?}");
    }
}
