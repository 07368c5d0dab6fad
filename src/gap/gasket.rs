//! The gasket: squeeze, pressure, verdict per place, the strip that would do.
use super::RimLoop;
use crate::tolerance::{CHORD_MM, OFFSET_MM};
use serde::Serialize;

/// A gasket strip.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Gasket {
    /// Free thickness, mm.
    pub thickness_mm: f64,
    /// Width of the strip, mm.
    pub width_mm: f64,
    /// Least squeeze that seals, 1 - gap / free thickness.
    pub least_ratio: f64,
    /// Squeeze to aim at.
    pub ideal_ratio: f64,
    /// Most squeeze the foam bears.
    pub most_ratio: f64,
    /// Pressure at 25 % squeeze, kPa (ASTM D1056: grade 1 14 to 34, grade 2 34 to 62, grade 3 62 to 90).
    pub pressure_at_25_kpa: f64,
    /// Least and greatest of it within the grade, kPa.
    pub pressure_range_kpa: [f64; 2],
}
impl Gasket {
    /// A strip of grade 2 in the middle of its range (ASTM D1056: 34 to 62 kPa), squeezed 20 % at least, 35 % at best, 50 % at
    /// most (gasket makers' guides differ by material).
    pub fn usual(thickness_mm: f64) -> Self {
        Self {
            thickness_mm,
            width_mm: 10.0,
            least_ratio: 0.20,
            ideal_ratio: 0.35,
            most_ratio: 0.50,
            pressure_at_25_kpa: 48.0,
            pressure_range_kpa: [34.5, 62.1],
        }
    }
    /// Squeeze at a gap.
    pub fn squeeze(&self, gap_mm: f64) -> f64 {
        if self.thickness_mm > 0.0 { 1.0 - gap_mm / self.thickness_mm } else { 0.0 }
    }
    /// Estimated pressure at a squeeze, kPa: gas shut in closed cells, p ~ s / (1 - s), through the grade's value at 25 %
    /// (Gibson & Ashby's gas term, from memory). Beyond 90 % the cells have burst and the law means nothing: held there.
    pub fn pressure_kpa(&self, squeeze: f64) -> f64 {
        let law = |s: f64| s / (1.0 - s);
        self.pressure_at_25_kpa * law(squeeze.clamp(0.0, 0.9)) / law(0.25)
    }
    /// The verdict for a mean and a least gap, mm; a rim drawn exactly at a limit is not judged by the noise of its mesh.
    pub fn verdict(&self, gap_mm: f64, least_mm: f64) -> Verdict {
        self.verdict_within(gap_mm, least_mm, MESH_MM)
    }
    /// The verdict where the limits of sealing may be passed by `by_mm`.
    fn verdict_within(&self, gap_mm: f64, least_mm: f64, by_mm: f64) -> Verdict {
        let at = |squeeze: f64| self.thickness_mm * (1.0 - squeeze);
        if least_mm < 0.0 {
            Verdict::Clash
        } else if gap_mm >= self.thickness_mm {
            Verdict::Open
        } else if gap_mm > at(self.least_ratio) + by_mm {
            Verdict::Light
        } else if gap_mm >= at(self.most_ratio) - by_mm {
            Verdict::Sealed
        } else {
            Verdict::Hard
        }
    }
}
/// How far a rim's mesh and its samples lie off the face that was drawn, mm: its chords, and the face's own fit.
const MESH_MM: f64 = CHORD_MM + OFFSET_MM;
/// What a gasket does at one place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Verdict {
    /// The gasket does not reach.
    Open,
    /// Touched, squeezed less than seals.
    Light,
    /// Squeezed as it should be.
    Sealed,
    /// Squeezed more than the foam bears.
    Hard,
    /// The rim cuts into the deck.
    Clash,
}
/// Thicknesses strips are sold in, mm (common practice, no source).
pub(crate) const USUAL_MM: [f64; 7] = [2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0];

/// How much of a rim has which verdict, shares of its stations.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize)]
pub struct VerdictShares {
    /// Open.
    pub open_ratio: f64,
    /// Light.
    pub light_ratio: f64,
    /// Sealed.
    pub sealed_ratio: f64,
    /// Hard.
    pub hard_ratio: f64,
    /// Clash.
    pub clash_ratio: f64,
}
impl VerdictShares {
    pub(super) fn of(verdicts: &[Verdict]) -> Self {
        let share = |v: Verdict| verdicts.iter().filter(|x| **x == v).count() as f64 / verdicts.len().max(1) as f64;
        Self {
            open_ratio: share(Verdict::Open),
            light_ratio: share(Verdict::Light),
            sealed_ratio: share(Verdict::Sealed),
            hard_ratio: share(Verdict::Hard),
            clash_ratio: share(Verdict::Clash),
        }
    }
}
/// What the gasket does round one rim. Forces are estimates.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct GasketReport {
    /// One verdict per station, in their order.
    pub verdicts: Vec<Verdict>,
    /// How much of the rim has which.
    pub shares: VerdictShares,
    /// Whether every station is sealed and the rim is closed and complete.
    pub sealed_all_round: bool,
    /// Whether it is so too when every gap is wider, and when every gap is tighter, by twice its standard uncertainty.
    pub sealed_for_sure: bool,
    /// The thinnest usual strip that would be sealed at every station, once the screws have drawn the rim by `drawn_mm`; `None` when no
    /// usual strip bridges the gap's range.
    pub thinnest_usual_mm: Option<f64>,
    /// The same, with the gap's range widened by twice its standard uncertainty at either end.
    pub thinnest_usual_with_doubt_mm: Option<f64>,
    /// How far the rim moves towards the deck (+) from where it is drawn, to sit that strip best, mm.
    pub drawn_mm: Option<f64>,
    /// Estimated force that holds the gasket squeezed as it is all round, N.
    pub force_n: f64,
    /// Estimated force at the squeeze that is drawn all round, N.
    pub ideal_force_n: f64,
}

/// Judges a gasket along a rim.
pub fn judge(rim: &RimLoop, gasket: &Gasket) -> GasketReport {
    let verdicts: Vec<Verdict> = rim.stations.iter().map(|s| gasket.verdict(s.gap_mm, s.least_mm)).collect();
    let range = |k: f64| {
        rim.stations.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| {
            let u = k * s.standard_uncertainty_mm;
            (l.min(s.gap_mm - u), h.max(s.gap_mm + u))
        })
    };
    // squeezes between least and most bridge a range of thickness x (most - least)
    let window = gasket.most_ratio - gasket.least_ratio;
    // thickness, and how far the rim is drawn: the middle of the gaps comes to the middle of the window
    let thinnest = |k: f64| {
        let (low, high) = range(k);
        let nearest = rim.stations.iter().map(|s| s.least_mm - k * s.standard_uncertainty_mm).fold(high, f64::min);
        (USUAL_MM.into_iter().filter(|t| high - low <= t * window))
            .map(|t| (t, (low + high) / 2.0 - t * (1.0 - (gasket.most_ratio + gasket.least_ratio) / 2.0)))
            // the strip's nearer edge must not clash there
            .find(|(_, drawn)| nearest >= *drawn)
    };
    let thin = thinnest(0.0);
    let whole = rim.closed && rim.missing_ratio == 0.0 && !verdicts.is_empty();
    let sealed = |k: f64| {
        whole
            && rim.stations.iter().all(|s| {
                let by = k * s.standard_uncertainty_mm;
                // within the doubt nothing is given away
                let noise = if k == 0.0 { MESH_MM } else { 0.0 };
                gasket.verdict_within(s.gap_mm + by, s.least_mm + by, noise) == Verdict::Sealed
            })
    };
    let step = rim.length_mm * (1.0 - rim.missing_ratio) / rim.stations.len().max(1) as f64;
    // 1 kPa on 1 mm2 is 0.001 N
    let force = |p: f64| p * gasket.width_mm * step * 1e-3;
    GasketReport {
        shares: VerdictShares::of(&verdicts),
        sealed_all_round: sealed(0.0),
        sealed_for_sure: sealed(2.0) && sealed(-2.0),
        thinnest_usual_mm: thin.map(|t| t.0),
        thinnest_usual_with_doubt_mm: thinnest(2.0).map(|t| t.0),
        drawn_mm: thin.map(|t| t.1),
        force_n: rim.stations.iter().map(|s| force(gasket.pressure_kpa(gasket.squeeze(s.gap_mm)))).sum(),
        ideal_force_n: force(gasket.pressure_kpa(gasket.ideal_ratio)) * rim.stations.len() as f64,
        verdicts,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gap::RimStation;

    fn rim(gaps: &[f64], u: f64) -> RimLoop {
        let stations = gaps
            .iter()
            .enumerate()
            .map(|(i, &g)| RimStation {
                along_mm: 2.0 * i as f64,
                x_mm: 0.0,
                y_mm: 0.0,
                gap_mm: g,
                least_mm: g,
                greatest_mm: g,
                standard_uncertainty_mm: u,
            })
            .collect();
        RimLoop { length_mm: 2.0 * gaps.len() as f64, width_mm: 16.0, closed: true, missing_ratio: 0.0, stations }
    }
    /// Squeeze about 20 % least, 50 % most (gasket makers' guides): a 3 mm strip seals gaps from 1.5 to 2.4 mm.
    #[test]
    fn verdicts_by_place() {
        use Verdict::{Clash, Hard, Light, Open, Sealed};
        let r = judge(&rim(&[3.1, 2.5, 2.39, 1.51, 1.4, -0.1], 0.0), &Gasket::usual(3.0));
        assert_eq!(r.verdicts, [Open, Light, Sealed, Sealed, Hard, Clash]);
        assert!(!r.sealed_all_round && !r.sealed_for_sure);
        let s = r.shares;
        let shares = [s.open_ratio, s.light_ratio, s.sealed_ratio, s.hard_ratio, s.clash_ratio];
        assert_eq!(shares.map(|s| (6.0 * s).round()), [1.0, 1.0, 2.0, 1.0, 1.0]);
        assert!(judge(&rim(&[2.0, 1.9], 0.0), &Gasket::usual(3.0)).sealed_all_round);
        // 2.3 mm is sealed up to 2.4 mm, 1.6 mm down to 1.5 mm: known to 0.04 mm for sure, known to 0.06 mm not
        for (u, sure) in [(0.04, true), (0.06, false)] {
            for g in [2.3, 1.6] {
                let r = judge(&rim(&[2.0, g], u), &Gasket::usual(3.0));
                assert_eq!((r.sealed_all_round, r.sealed_for_sure), (true, sure), "{g} {u}");
            }
        }
        for (closed, missing_ratio) in [(false, 0.0), (true, 0.01)] {
            let r = judge(&RimLoop { closed, missing_ratio, ..rim(&[2.0, 1.9], 0.0) }, &Gasket::usual(3.0));
            assert!(!r.sealed_all_round && !r.sealed_for_sure && r.shares.sealed_ratio == 1.0);
        }
    }
    /// A rim drawn at 20 or 50 % was "light 3 %" or "hard 96 %" by the noise of its mesh.
    #[test]
    fn a_rim_at_its_limit_is_not_judged_by_its_meshs_noise() {
        for drawn in [2.4, 1.5] {
            let r = judge(&rim(&[drawn - 0.02, drawn, drawn + 0.02], 0.05), &Gasket::usual(3.0));
            assert!(r.sealed_all_round && !r.sealed_for_sure, "{r:?}");
        }
    }
    /// ASTM D1056: grade 2 is 34 to 62 kPa at 25 %. 10 mm wide and 100 mm long at 48 kPa is 48 N.
    #[test]
    fn force_by_grade() {
        let g = Gasket::usual(4.0);
        assert!((g.pressure_kpa(0.25) - 48.0).abs() < 1e-12);
        assert!((judge(&rim(&[3.0; 50], 0.0), &g).force_n - 48.0).abs() < 1e-9);
        // s / (1 - s): three times the value at 25 % when pressed to half
        assert!((g.pressure_kpa(0.5) - 144.0).abs() < 1e-9);
        assert!(judge(&rim(&[5.0; 50], 0.0), &g).force_n == 0.0);
    }
    /// Gaps over a range of 1.4 mm need 1.4 / 0.3 = 4.67 mm: 5 mm of the usual list; with 0.2 mm of doubt 2.2 / 0.3 = 7.3: 8 mm.
    #[test]
    fn the_thinnest_strip() {
        let r = judge(&rim(&[1.0, 2.4], 0.2), &Gasket::usual(3.0));
        assert_eq!((r.thinnest_usual_mm, r.thinnest_usual_with_doubt_mm), (Some(5.0), Some(8.0)));
        let drawn = r.drawn_mm.unwrap();
        for g in [1.0, 2.4] {
            assert_eq!(Gasket::usual(5.0).verdict(g - drawn, g - drawn), Verdict::Sealed);
        }
        assert_eq!(judge(&rim(&[0.0, 9.0], 0.0), &Gasket::usual(3.0)).thinnest_usual_mm, None);
        // an edge that would be drawn 1.2 mm into the deck is no seal: 3 mm strips draw the mean from 6 to 1.95 mm
        let mut steep = rim(&[6.0, 6.1], 0.0);
        steep.stations[0].least_mm = 2.9;
        let r = judge(&steep, &Gasket::usual(3.0));
        let (t, drawn) = (r.thinnest_usual_mm.unwrap(), r.drawn_mm.unwrap());
        assert!(t == 5.0 && 2.9 - drawn >= 0.0, "{t} {drawn}");
    }
}
