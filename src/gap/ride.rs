//! The gap under the rider. Figures are estimates.
use super::{Gasket, RimLoop, Verdict};
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
/// A rim under the rider, standing or jumping: the enclosure rigid and held evenly along its rim.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RideReport {
    /// Sag at mid wheelbase, mm.
    pub sag_mm: f64,
    /// Along the rim.
    pub stations: Vec<RideStation>,
    /// Least gap, mm.
    pub least_mm: f64,
    /// Greatest gap, mm.
    pub greatest_mm: f64,
    /// Length of travel that a lengthwise slot needs beside the screw's own hole, to both sides, mm.
    pub slot_travel_mm: f64,
    /// Greatest strain of a rim that is forced to follow the deck's underside (its gap stays as at rest).
    pub following_strain_ratio: f64,
}

/// The gap of `rim` when the deck sags to `sag_mm` under `rider`'s load. `axis_mm` is the distance from the deck's neutral axis
/// to the mating face: half the thickness of a flat deck and the gasket.
///
/// A rigid enclosure takes the place that fits the sagging rim best (least squares in height and tilt, as even springs hold it).
/// The slip is that of the bent section's turning about its neutral axis; the far smaller shortening of the arc is left out.
pub fn ride(rim: &RimLoop, gasket: &Gasket, rider: &Rider, sag_mm: f64, axis_mm: f64) -> RideReport {
    let r = Rider { sag_mm, ..*rider };
    let n = rim.stations.len().max(1) as f64;
    let mean = |f: &dyn Fn(f64) -> f64| rim.stations.iter().map(|s| f(s.x_mm)).sum::<f64>() / n;
    let (mx, mw) = (mean(&|x| x), mean(&|x| r.shape(x)[0]));
    let var = mean(&|x| (x - mx).powi(2));
    let tilt = if var > 0.0 { mean(&|x| (x - mx) * (r.shape(x)[0] - mw)) / var } else { 0.0 };
    let slip = |x: f64| -axis_mm * (r.shape(x)[1] - tilt);
    let middle = mean(&slip);
    let stations: Vec<RideStation> = rim
        .stations
        .iter()
        .map(|s| {
            // the deck sags towards the ground, which is out of the underside
            let change = mw + tilt * (s.x_mm - mx) - r.shape(s.x_mm)[0];
            let verdict = gasket.verdict(s.gap_mm + change, s.least_mm + change);
            RideStation { along_mm: s.along_mm, gap_mm: s.gap_mm + change, verdict, slip_mm: slip(s.x_mm) - middle }
        })
        .collect();
    let over = |f: &dyn Fn(&RideStation) -> f64| stations.iter().map(f).fold(f64::NEG_INFINITY, f64::max);
    RideReport {
        sag_mm,
        least_mm: -over(&|s| -s.gap_mm),
        greatest_mm: over(&|s| s.gap_mm),
        slot_travel_mm: 2.0 * over(&|s| s.slip_mm.abs()),
        following_strain_ratio: rim.stations.iter().map(|s| axis_mm * r.shape(s.x_mm)[2].abs()).fold(0.0, f64::max),
        stations,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gap::RimStation;
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
    const FEET: Rider =
        Rider { sag_mm: 9.0, wheelbase_mm: 700.0, load: Load::Feet { apart_mm: 400.0 }, jump_ratio: 2.0 };
    /// Between two equal loads the beam is an arc of even curvature k (handbook beam tables): over a length l the chord's
    /// sagitta is k l^2 / 8, parted by least squares into k l^2 / 24 in the middle and k l^2 / 12 at the ends; the underside
    /// at c from the axis slips c k l / 2 at either end, and the strain is c k.
    #[test]
    fn an_arc_opens_the_ends_and_presses_the_middle() {
        let k = FEET.shape(0.0)[2].abs();
        let r = ride(&straight(2.0), &Gasket::usual(3.0), &FEET, 9.0, 8.0);
        let l2 = 400.0_f64 * 400.0;
        // sums over 201 stations instead of integrals: within a hundredth of the sagitta
        let near = 0.01 * k * l2 / 8.0;
        assert!((2.0 - r.least_mm - k * l2 / 24.0).abs() < near, "{} {}", r.least_mm, k * l2 / 24.0);
        assert!((r.greatest_mm - 2.0 - k * l2 / 12.0).abs() < near, "{}", r.greatest_mm);
        assert!((r.slot_travel_mm - 2.0 * 8.0 * k * 200.0).abs() < 1e-9);
        assert!((r.following_strain_ratio - 8.0 * k).abs() < 1e-12);
        assert!(r.stations[0].slip_mm < 0.0, "the underside lengthens: its tail end moves to the tail");
        let twice = ride(&straight(2.0), &Gasket::usual(3.0), &FEET, 18.0, 8.0);
        assert!((twice.greatest_mm - 2.0 - 2.0 * (r.greatest_mm - 2.0)).abs() < 1e-9, "linear in the sag");
    }
}
