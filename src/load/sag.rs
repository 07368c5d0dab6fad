//! The sag under a rider's weight, from the deck's own sections. An estimate.
use super::{Load, Rider, unit};
use serde::Serialize;

/// Standard acceleration of free fall, m/s2 (CGPM 1901).
const FREE_FALL: f64 = 9.80665;
/// Pieces of the span for the sum.
const PIECES: usize = 400;

/// What the sag is known from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Sag {
    /// Measured at mid wheelbase, mm.
    Measured(f64),
    /// To be computed.
    Weight(Weight),
}
/// A rider on a deck of known make.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Weight {
    /// Of the rider, kg.
    pub mass_kg: f64,
    /// Young's modulus of the wood along its grain, N/mm2.
    pub modulus_mpa: f64,
    /// Share of it that the layup leaves lengthwise.
    pub layup_ratio: f64,
}
/// The rider as the board file tells it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RiderSpec {
    /// Sag, or what it comes from.
    pub sag: Sag,
    /// Between the trucks' axles, about the middle of the board, mm.
    pub wheelbase_mm: f64,
    /// Where the weight acts.
    pub load: Load,
    /// Sag when jumping over sag when standing.
    pub jump_ratio: f64,
}
/// How a computed sag comes about.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SagReport {
    /// Rider and wood.
    #[serde(flatten)]
    pub weight: Weight,
    /// Second moment of area of the section at mid wheelbase, mm4.
    pub second_moment_mm4: f64,
    /// The same over that of a flat plate as wide and thick: what the concave adds.
    pub concave_ratio: f64,
    /// The sag, mm.
    pub sag_mm: f64,
}

/// Stiffness of a crosswise ply over that of a lengthwise one (USDA Wood Handbook, sugar maple, tangential: 0.065).
const CROSS_RATIO: f64 = 0.065;

/// Share of the wood's modulus along the grain that a bending section of equal plies keeps; `plies` from one face to the other,
/// 'L' lengthwise, 'X' across. `None` for other letters or none.
pub fn layup_ratio(plies: &str) -> Option<f64> {
    let n = plies.chars().count() as f64;
    let mut sum = 0.0;
    for (i, c) in plies.chars().enumerate() {
        let (lo, hi) = (i as f64 - n / 2.0, i as f64 + 1.0 - n / 2.0);
        let share = match c {
            'L' => 1.0,
            'X' => CROSS_RATIO,
            _ => return None,
        };
        sum += share * (hi.powi(3) - lo.powi(3));
    }
    // the whole is n^3 / 4
    (n > 0.0).then(|| sum / (n.powi(3) / 4.0))
}

/// Sag at mid span of a simply supported beam, mm, by virtual work: the integral of M m / E I, with E I (N mm2) at each place from
/// mid span.
pub fn sag_of(load: Load, span_mm: f64, force_n: f64, stiffness: impl Fn(f64) -> f64) -> f64 {
    let step = span_mm / PIECES as f64;
    (0..PIECES)
        .map(|i| {
            let x = (i as f64 + 0.5) * step - span_mm / 2.0;
            let moment = -unit(load, span_mm, x)[2] * force_n;
            let virtual_moment = (span_mm / 2.0 - x.abs()) / 2.0;
            moment * virtual_moment / stiffness(x) * step
        })
        .sum()
}

impl RiderSpec {
    /// The rider on a deck whose section at a place from mid wheelbase has the second moment of area `section` (mm4) and, flat,
    /// would have `flat`.
    pub fn on(&self, section: impl Fn(f64) -> f64, flat: impl Fn(f64) -> f64) -> (Rider, Option<SagReport>) {
        let rider =
            |sag_mm| Rider { sag_mm, wheelbase_mm: self.wheelbase_mm, load: self.load, jump_ratio: self.jump_ratio };
        match self.sag {
            Sag::Measured(mm) => (rider(mm), None),
            Sag::Weight(w) => {
                let e = w.modulus_mpa * w.layup_ratio;
                let sag_mm = sag_of(self.load, self.wheelbase_mm, w.mass_kg * FREE_FALL, |x| e * section(x));
                let second_moment_mm4 = section(0.0);
                let concave_ratio = second_moment_mm4 / flat(0.0);
                (rider(sag_mm), Some(SagReport { weight: w, second_moment_mm4, concave_ratio, sag_mm }))
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// Handbook beam tables, the golden values: 240 x 13 mm, 700 mm, 12.6 GPa, 785 N.
    #[test]
    fn even_beams_as_in_the_tables() {
        let ei = 12_600.0 * 43_940.0;
        for (load, want) in [(Load::Centre, 10.1319), (Load::Feet { apart_mm: 400.0 }, 6.1146), (Load::Uniform, 6.3325)]
        {
            let w = sag_of(load, 700.0, 785.0, |_| ei);
            assert!((w / want - 1.0).abs() < 1e-4, "{load:?} {w}");
        }
    }
    /// A cantilever's twin: with E I growing as the moment of a centre load, M / E I is even, an arc of curvature M / E I, whose
    /// sagitta is k L^2 / 8.
    #[test]
    fn a_beam_of_even_bending() {
        let (l, f) = (600.0, 800.0);
        let k = 1e-4;
        let w = sag_of(Load::Centre, l, f, |x| f / 2.0 * (l / 2.0 - x.abs()) / k);
        assert!((w / (k * l * l / 8.0) - 1.0).abs() < 1e-4, "{w}");
    }
    /// 7-ply LXLLLXL .733 of E, 9-ply LLXLLLXLL .874 (derived).
    #[test]
    fn layups() {
        let seven = layup_ratio("LXLLLXL").unwrap();
        assert!((seven - 0.733).abs() < 5e-4, "{seven}");
        assert!((layup_ratio("LLXLLLXLL").unwrap() - 0.874).abs() < 5e-4);
        assert!((layup_ratio("LLLL").unwrap() - 1.0).abs() < 1e-12);
        assert_eq!(layup_ratio("LQ"), None);
    }
    #[test]
    fn a_rider_of_80_kg_on_the_golden_deck() {
        let w = Weight { mass_kg: 785.0 / FREE_FALL, modulus_mpa: 12_600.0, layup_ratio: 1.0 };
        let spec = RiderSpec { sag: Sag::Weight(w), wheelbase_mm: 700.0, load: Load::Centre, jump_ratio: 2.0 };
        let (r, how) = spec.on(|_| 2.0 * 43_940.0, |_| 43_940.0);
        assert!((r.sag_mm - 10.1319 / 2.0).abs() < 1e-3);
        assert_eq!(how.unwrap().concave_ratio, 2.0);
    }
}
