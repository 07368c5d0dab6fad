//! The report of a gap map, `gaps.json`: everything a page needs to draw it.
use super::CAUTIONS;
use crate::error::Warning;
use crate::gap::{GapMap, GapSummary, Gasket, GasketReport, OtherParts, RideReport, RimLoop, judge, ride};
use crate::load::Rider;
use crate::settings::Board;
use serde::Serialize;
use std::fmt::Write;

/// One rim with its gasket, at rest and under the rider.
#[derive(Debug, Clone, Serialize)]
pub struct RimReport {
    /// The rim unrolled.
    #[serde(flatten)]
    pub rim: RimLoop,
    /// The gasket at rest.
    pub gasket: GasketReport,
    /// Under the rider standing still, estimated.
    pub standing: Option<RideReport>,
    /// Under the rider jumping, estimated.
    pub jumping: Option<RideReport>,
}
/// Everything measured of one enclosure. Keys end in their unit.
#[derive(Debug, Clone, Serialize)]
pub struct GapsReport {
    /// Version of faydeck that wrote it.
    pub faydeck: &'static str,
    /// Name of the board.
    pub name: String,
    /// Figures over all samples.
    pub gap: GapSummary,
    /// The gasket's strip.
    pub gasket: Gasket,
    /// The rider, where given.
    pub rider: Option<Rider>,
    /// The rims, the largest first.
    pub rims: Vec<RimReport>,
    /// What else faces the deck.
    pub other_parts: OtherParts,
    /// What was doubtful, with the next step.
    pub warnings: Vec<Warning>,
    /// Cautions.
    pub cautions: [&'static str; 6],
}
impl GapsReport {
    /// Judges the rims of `map` with the gasket and the rider of `board`.
    pub fn new(board: &Board, map: &GapMap, warnings: Vec<Warning>) -> Self {
        let gasket = board.gasket.clone();
        // the neutral axis of a flat deck lies half its thickness above the underside, the mating face a gasket below
        let axis = board.thickness_mm / 2.0 + gasket.thickness_mm * (1.0 - gasket.ideal_ratio);
        let rims = map.rims.iter().map(|rim| {
            let under = |factor: &dyn Fn(&Rider) -> f64| {
                board.rider.as_ref().map(|r| ride(rim, &gasket, r, r.sag_mm * factor(r), axis))
            };
            RimReport {
                rim: rim.clone(),
                gasket: judge(rim, &gasket),
                standing: under(&|_| 1.0),
                jumping: under(&|r| r.jump_ratio),
            }
        });
        Self {
            faydeck: env!("CARGO_PKG_VERSION"),
            name: board.name.clone(),
            gap: map.summary.clone(),
            rims: rims.collect(),
            gasket,
            rider: board.rider,
            other_parts: map.other.clone(),
            warnings,
            cautions: CAUTIONS,
        }
    }
    /// `gaps.json`, ending in a line break.
    pub fn to_json(&self) -> String {
        format!("{:#}\n", serde_json::to_value(self).unwrap_or_default())
    }
    /// A short summary for a terminal.
    pub fn to_text(&self) -> String {
        let mut o = String::new();
        let _ = writeln!(
            o,
            "doubt      +- {:.2} mm on any gap (twice its greatest standard uncertainty)",
            2.0 * self.gap.standard_uncertainty_mm
        );
        let strip = |t: Option<f64>| t.map_or("none of the usual strips".into(), |t| format!("{t} mm"));
        for r in &self.rims {
            let _ = writeln!(
                o,
                "gasket     {}; thinnest strip that would: {}, with the doubt: {}; about {:.0} N to press it ideally",
                if r.gasket.sealed_all_round { "sealed all round" } else { "not sealed all round" },
                strip(r.gasket.thinnest_usual_mm),
                strip(r.gasket.thinnest_usual_with_doubt_mm),
                r.gasket.ideal_force_n
            );
            for (word, s) in [("standing", &r.standing), ("jumping", &r.jumping)] {
                if let Some(s) = s {
                    let _ = writeln!(
                        o,
                        "{word:<10} estimated {:.2} to {:.2} mm under a rigid box, slots {:.1} mm longer than the hole",
                        s.least_mm, s.greatest_mm, s.slot_travel_mm
                    );
                }
            }
        }
        o
    }
}
