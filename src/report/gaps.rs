//! The report of a gap map, `gaps.json`: everything a page needs to draw it.
use super::CAUTIONS;
use super::gaps_next::next_steps;
use crate::error::Warning;
use crate::gap::{
    Bent, ClampReport, GapSummary, Gasket, GasketReport, GrowthReport, OtherParts, Registration, RideReport, RimLoop,
    RimStation, ScannedPart, clamp, growth, judge, ride,
};
use crate::load::{Rider, SagReport};
use crate::proof::{Proof, ScrewPlace};
use crate::settings::Board;
use serde::Serialize;

/// One screw of a rim: how the deck slips under it along the board, towards the nose (+).
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ScrewReport {
    /// Its number in the drill list.
    pub number: usize,
    /// Its place in plan, mm, deck frame.
    pub at_mm: [f64; 2],
    /// Distance along the rim, mm.
    pub along_mm: f64,
    /// Slip under the rider standing still, mm; 0 without a rider.
    pub standing_slip_mm: f64,
    /// Slip under the rider jumping, mm; 0 without a rider.
    pub jumping_slip_mm: f64,
    /// How far the enclosure grows past the deck there for the warmest of the temperatures, mm.
    pub growth_mm: f64,
    /// How much longer than wide its hole must be, mm: room for the jump's slip and the growth to both sides.
    pub slot_mm: f64,
    /// How much longer than wide it is made, mm.
    pub made_slot_mm: f64,
    /// How much wider than the thread it is, mm.
    pub play_mm: f64,
    /// How much wider the widest class of hole is, mm.
    #[serde(skip)]
    pub most_play_mm: f64,
}
/// The lands beside a strip that lies in a groove: hard plastic over the deck.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct LandReport {
    /// Least gap at rest, mm.
    pub rest_mm: f64,
    /// Least gap under the rider standing still, estimated, mm; none without a rider.
    pub standing_mm: Option<f64>,
    /// Least gap under the rider jumping, estimated, mm.
    pub jumping_mm: Option<f64>,
}
/// One rim with its gasket, at rest and under the rider.
#[derive(Debug, Clone, Serialize)]
pub struct RimReport {
    /// The rim unrolled.
    #[serde(flatten)]
    pub rim: RimLoop,
    /// The gasket at rest.
    pub gasket: GasketReport,
    /// Screws and flange against the gasket, estimated.
    pub clamp: ClampReport,
    /// Under the rider standing still, estimated.
    pub standing: Option<RideReport>,
    /// Under the rider jumping, estimated.
    pub jumping: Option<RideReport>,
    /// Growth with temperature, estimated.
    pub growth: GrowthReport,
    /// The screws whose places are known.
    pub screws: Vec<ScrewReport>,
    /// The lands beside the strip's groove; none on a plain seat.
    pub lands: Option<LandReport>,
    /// The squeeze that is drawn, 1 - gap / free thickness: screws are judged at it.
    pub drawn_squeeze_ratio: f64,
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
    /// How the enclosure was found, where it was not given in the deck frame.
    pub registration: Option<Registration>,
    /// How a scanned part was brought to size.
    pub scanned_part: Option<ScannedPart>,
    /// The gasket's strip.
    pub gasket: Gasket,
    /// The rider, where given.
    pub rider: Option<Rider>,
    /// How the sag was computed, where it was not measured.
    pub sag: Option<SagReport>,
    /// The rims, the largest first.
    pub rims: Vec<RimReport>,
    /// What else faces the deck.
    pub other_parts: OtherParts,
    /// What was doubtful, with the next step.
    pub warnings: Vec<Warning>,
    /// Cautions.
    pub cautions: [&'static str; 6],
}

fn rim_report(board: &Board, proof: &Proof, rim: &RimLoop) -> RimReport {
    let gasket = &board.gasket;
    // screws stand in the flange, beside the strip; a rim of another plan has none of them so near
    let reach = rim.width_mm.max(board.flange.width_mm + board.flange.wall_mm);
    let near = |p: [f64; 2]| rim.nearest(p).filter(|s| (s.x_mm - p[0]).hypot(s.y_mm - p[1]) <= reach);
    let places: Vec<&ScrewPlace> = proof.screws.iter().filter(|s| near(s.at_mm).is_some()).collect();
    let screws: Vec<[f64; 2]> = places.iter().map(|s| s.at_mm).collect();
    // what the screws have to press is what is drawn, not what would be ideal
    let drawn = board.enclosure.as_ref().map_or(gasket.ideal_ratio, |e| e.squeeze_ratio);
    let pressed = Gasket { ideal_ratio: drawn, ..gasket.clone() };
    let held_at: Vec<f64> = screws.iter().map(|p| p[0]).collect();
    // from the bending section's own axis down to the mating face: the underside there and the gasket as it sits
    let axis_mm = |s: &RimStation| {
        let axis = proof.bending.section(s.x_mm).1;
        proof.bending.height(s.x_mm, s.y_mm) - axis + gasket.thickness_mm * (1.0 - drawn)
    };
    let rest_slope = |x: f64| proof.bending.rest_slope(x);
    let under = |factor: &dyn Fn(&Rider) -> f64| {
        let rider = proof.rider?;
        let bent = Bent { rider, axis_mm: &axis_mm, rest_slope: &rest_slope, held_at: &held_at };
        Some(ride(rim, gasket, &bent, rider.sag_mm * factor(&rider)))
    };
    let (standing, jumping) = (under(&|_| 1.0), under(&|r| r.jump_ratio));
    let growth = growth(rim, &board.growth);
    let middle = held_at.iter().sum::<f64>() / held_at.len().max(1) as f64;
    let strain = growth.held_strain_ratio;
    let screw_report = |place: &&ScrewPlace| {
        let p = &place.at_mm;
        let s = near(*p)?;
        let slip = |ride: &Option<RideReport>| {
            let found = ride.as_ref().and_then(|r| r.stations.iter().find(|x| x.along_mm == s.along_mm));
            found.map_or(0.0, |x| x.slip_mm)
        };
        let (standing_slip_mm, jumping_slip_mm) = (slip(&standing), slip(&jumping));
        let growth_mm = strain * (p[0] - middle);
        Some(ScrewReport {
            number: place.number,
            made_slot_mm: place.slot_mm,
            play_mm: place.play_mm,
            most_play_mm: place.most_play_mm,
            at_mm: *p,
            along_mm: s.along_mm,
            standing_slip_mm,
            jumping_slip_mm,
            growth_mm,
            slot_mm: 2.0 * (jumping_slip_mm.abs().max(standing_slip_mm.abs()) + growth_mm.abs()),
        })
    };
    // lands and strip move alike where the deck does
    let with_land = |rest_mm: f64, ride: &Option<RideReport>| {
        let moved = |r: &RideReport| {
            let change = rim.stations.iter().zip(&r.stations).map(|(s, b)| b.gap_mm - s.gap_mm);
            rest_mm + change.fold(f64::INFINITY, f64::min)
        };
        ride.as_ref().map(moved)
    };
    let lands = proof.lands_mm.map(|rest_mm| LandReport {
        rest_mm,
        standing_mm: with_land(rest_mm, &standing),
        jumping_mm: with_land(rest_mm, &jumping),
    });
    RimReport {
        rim: rim.clone(),
        gasket: judge(rim, &pressed),
        clamp: clamp(rim, &pressed, &board.flange, &screws),
        screws: places.iter().filter_map(screw_report).collect(),
        lands,
        drawn_squeeze_ratio: drawn,
        standing,
        jumping,
        growth,
    }
}

impl GapsReport {
    /// Judges the rims of `proof` with the gasket, the flange and the growth of `board`.
    pub fn new(board: &Board, proof: &Proof, mut warnings: Vec<Warning>) -> Self {
        let rims: Vec<RimReport> = proof.map.rims.iter().map(|rim| rim_report(board, proof, rim)).collect();
        // what keeps the rim from closing comes first
        let drawn = board.enclosure.as_ref().map(|e| e.squeeze_ratio);
        warnings.splice(0..0, next_steps(&rims, &board.gasket, drawn));
        Self {
            faydeck: env!("CARGO_PKG_VERSION"),
            name: board.name.clone(),
            gap: proof.map.summary.clone(),
            registration: proof.registration.clone(),
            scanned_part: proof.scanned.clone(),
            rims,
            gasket: board.gasket.clone(),
            rider: proof.rider,
            sag: proof.sag,
            other_parts: proof.map.other.clone(),
            warnings,
            cautions: CAUTIONS,
        }
    }
    /// `gaps.json`, ending in a line break.
    pub fn to_json(&self) -> String {
        format!("{:#}\n", serde_json::to_value(self).unwrap_or_default())
    }
}
