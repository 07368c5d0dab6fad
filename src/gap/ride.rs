//! The gap under the rider. Figures are estimates.
use super::{Gasket, RimLoop, RimStation, Verdict, VerdictShares};
use crate::load::Rider;
use serde::Serialize;

/// One place along a rim under the rider, in the order of the rim's stations.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RideStation {
    /// Distance along the rim, mm.
    pub along_mm: f64,
    /// Gap of a rigid enclosure, mm.
    pub gap_mm: f64,
    /// What the gasket does then.
    pub verdict: Verdict,
    /// How far the deck's underside slips lengthwise past a rigid enclosure, towards the nose (+), mm.
    pub slip_mm: f64,
}
/// A rim under the rider, standing or jumping: the enclosure rigid, held at its screws or evenly along its rim. One that follows
/// the deck keeps its gaps at rest, for `following_strain_ratio`.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RideReport {
    /// Sag at mid wheelbase, mm.
    pub sag_mm: f64,
    /// Along the rim.
    pub stations: Vec<RideStation>,
    /// How much of the rim has which verdict then.
    pub shares: VerdictShares,
    /// Least gap, mm.
    pub least_mm: f64,
    /// Greatest gap, mm.
    pub greatest_mm: f64,
    /// Length of travel that a lengthwise slot needs beside the screw's own hole, to both sides, mm.
    pub slot_travel_mm: f64,
    /// Greatest strain of a rim that is forced to follow the deck's underside (its gap stays as at rest).
    pub following_strain_ratio: f64,
}

/// How the deck bends where the rim lies.
pub struct Bent<'a> {
    /// The rider, with the sag standing still.
    pub rider: Rider,
    /// Distance from the bending section's neutral axis down to the mating face at a station, mm.
    pub axis_mm: &'a dyn Fn(&RimStation) -> f64,
    /// Slope of the deck's centre line at rest, at a place along the board.
    pub rest_slope: &'a dyn Fn(f64) -> f64,
    /// Places along the board at which screws hold the enclosure, mm; empty when it is held evenly along its rim.
    pub held_at: &'a [f64],
}
/// Longest piece of the board over which a slope is taken as even, mm.
const PIECE_MM: f64 = 5.0;

impl Bent<'_> {
    /// How much nearer to the place `from` along the board the neutral axis comes at `x` when the deck bends to the `shape`: the
    /// arc keeps its length, so its plan shortens by (slope^2 - slope at rest^2) / 2.
    fn shortening(&self, shape: &Rider, from: f64, x: f64) -> f64 {
        let pieces = ((x - from).abs() / PIECE_MM).ceil().max(1.0);
        let step = (x - from) / pieces;
        (0..pieces as usize)
            .map(|i| {
                let at = from + (i as f64 + 0.5) * step;
                let (bend, rest) = (shape.shape(at)[1], (self.rest_slope)(at));
                ((rest + bend).powi(2) - rest * rest) / 2.0 * step
            })
            .sum()
    }
}

/// The gap of `rim` when the deck sags to `sag_mm` under the rider's load.
///
/// A rigid enclosure takes the place that fits the sagging rim best (least squares in height and tilt at its screws, or along
/// the rim). The slip is that of the bent section's turning about its neutral axis and of the arc's shortening in plan.
pub fn ride(rim: &RimLoop, gasket: &Gasket, bent: &Bent, sag_mm: f64) -> RideReport {
    let r = Rider { sag_mm, ..bent.rider };
    let along: Vec<f64> = rim.stations.iter().map(|s| s.x_mm).collect();
    // two screws at one place along the board hold no tilt
    let spread = bent.held_at.iter().any(|x| (x - bent.held_at[0]).abs() > PIECE_MM);
    let held = if spread { bent.held_at } else { &along };
    let mean = |f: &dyn Fn(f64) -> f64| held.iter().map(|x| f(*x)).sum::<f64>() / held.len().max(1) as f64;
    let (mx, mw) = (mean(&|x| x), mean(&|x| r.shape(x)[0]));
    let var = mean(&|x| (x - mx).powi(2));
    let tilt = if var > 0.0 { mean(&|x| (x - mx) * (r.shape(x)[0] - mw)) / var } else { 0.0 };
    let slips: Vec<f64> = (rim.stations.iter())
        .map(|s| -(bent.axis_mm)(s) * (r.shape(s.x_mm)[1] - tilt) - bent.shortening(&r, mx, s.x_mm))
        .collect();
    let middle = slips.iter().sum::<f64>() / slips.len().max(1) as f64;
    let stations: Vec<RideStation> = (rim.stations.iter().zip(&slips))
        .map(|(s, slip)| {
            // the deck sags towards the ground, which is out of the underside
            let change = mw + tilt * (s.x_mm - mx) - r.shape(s.x_mm)[0];
            let verdict = gasket.verdict(s.gap_mm + change, s.least_mm + change);
            RideStation { along_mm: s.along_mm, gap_mm: s.gap_mm + change, verdict, slip_mm: slip - middle }
        })
        .collect();
    let over = |f: &dyn Fn(&RideStation) -> f64| stations.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
    let verdicts: Vec<Verdict> = stations.iter().map(|s| s.verdict).collect();
    RideReport {
        sag_mm,
        shares: VerdictShares::of(&verdicts),
        least_mm: -over(&|s| -s.gap_mm),
        greatest_mm: over(&|s| s.gap_mm),
        slot_travel_mm: 2.0 * over(&|s| s.slip_mm.abs()),
        following_strain_ratio: rim
            .stations
            .iter()
            .map(|s| ((bent.axis_mm)(s) * r.shape(s.x_mm)[2]).abs())
            .fold(0.0, f64::max),
        stations,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::load::Load;
    /// A straight rim of 400 mm about the middle of a wheelbase of 700 mm.
    fn straight(gap: f64) -> RimLoop {
        let at = |x: f64| RimStation {
            along_mm: x + 200.0,
            x_mm: x,
            y_mm: 0.0,
            gap_mm: gap,
            least_mm: gap,
            greatest_mm: gap,
            standard_uncertainty_mm: 0.0,
        };
        let stations = (-100..=100).map(|i| at(2.0 * f64::from(i))).collect();
        RimLoop { length_mm: 402.0, width_mm: 16.0, closed: true, missing_ratio: 0.0, stations }
    }
    fn flat(_: f64) -> f64 {
        0.0
    }
    fn eight(_: &RimStation) -> f64 {
        8.0
    }
    fn bent(held_at: &[f64]) -> Bent<'_> {
        Bent { rider: FEET, axis_mm: &eight, rest_slope: &flat, held_at }
    }
    const FEET: Rider =
        Rider { sag_mm: 9.0, wheelbase_mm: 700.0, load: Load::Feet { apart_mm: 400.0 }, jump_ratio: 2.0 };
    /// Between two equal loads the beam is an arc of even curvature k (handbook beam tables): over a length l the chord's
    /// sagitta is k l^2 / 8, parted by least squares into k l^2 / 24 in the middle and k l^2 / 12 at the ends; the underside
    /// at c from the axis slips c k l / 2 at either end, and the strain is c k.
    #[test]
    fn an_arc_opens_the_ends_and_presses_the_middle() {
        let k = FEET.shape(0.0)[2].abs();
        let r = ride(&straight(2.0), &Gasket::usual(3.0), &bent(&[]), 9.0);
        let l2 = 400.0_f64 * 400.0;
        // sums over 201 stations instead of integrals: within a hundredth of the sagitta
        let near = 0.01 * k * l2 / 8.0;
        assert!((2.0 - r.least_mm - k * l2 / 24.0).abs() < near, "{} {}", r.least_mm, k * l2 / 24.0);
        assert!((r.greatest_mm - 2.0 - k * l2 / 12.0).abs() < near, "{}", r.greatest_mm);
        // the arc of slope k x is k^2 x^3 / 6 shorter in plan, which takes from the outward slip
        let shorter = k * k * 200.0_f64.powi(3) / 6.0;
        assert!((r.slot_travel_mm - 2.0 * (8.0 * k * 200.0 - shorter)).abs() < 1e-3 * shorter, "{}", r.slot_travel_mm);
        assert!((r.following_strain_ratio - 8.0 * k).abs() < 1e-12);
        assert!(r.stations[0].slip_mm < 0.0, "the underside lengthens: its tail end moves to the tail");
        let twice = ride(&straight(2.0), &Gasket::usual(3.0), &bent(&[]), 18.0);
        assert!((twice.greatest_mm - 2.0 - 2.0 * (r.greatest_mm - 2.0)).abs() < 1e-9, "linear in the sag");
    }
    /// Held at its two ends only, the chord's sagitta k l^2 / 8 is all in the middle.
    #[test]
    fn held_at_the_ends_the_middle_presses() {
        let k = FEET.shape(0.0)[2].abs();
        let r = ride(&straight(2.0), &Gasket::usual(3.0), &bent(&[-200.0, -200.0, 200.0, 200.0]), 9.0);
        assert!((2.0 - r.least_mm - k * 400.0 * 400.0 / 8.0).abs() < 1e-9 && (r.greatest_mm - 2.0).abs() < 1e-9);
    }
    /// A deck that is cambered up at rest by just what it sags lies flat then: its plan grows by what its arch had taken.
    #[test]
    fn a_cambered_deck_grows_when_it_sags_flat() {
        let arch = |x: f64| -FEET.shape(x)[1];
        let b = Bent { rider: FEET, axis_mm: &|_| 0.0, rest_slope: &arch, held_at: &[] };
        let r = ride(&straight(2.0), &Gasket::usual(3.0), &b, 9.0);
        let k = FEET.shape(0.0)[2].abs();
        let want = k * k * 200.0_f64.powi(3) / 6.0;
        assert!((r.slot_travel_mm - 2.0 * want).abs() < 1e-3 * want && r.stations[0].slip_mm < 0.0);
    }
}
