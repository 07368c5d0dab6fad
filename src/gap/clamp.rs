//! Screws and flange against the gasket: force of each screw, and whether the rim stays closed between two. Estimates.
use super::{Gasket, RimLoop};
use crate::load::{opening_between, second_moment};
use serde::Serialize;

/// The flange as a beam between its screws.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Flange {
    /// What it is printed from.
    pub material: String,
    /// Young's modulus of the material under a quick load, N/mm2.
    pub modulus_mpa: f64,
    /// Share of it that is left under a load that lasts (plastics creep).
    pub lasting_ratio: f64,
    /// Width of the flange, mm.
    pub width_mm: f64,
    /// Its thickness, mm.
    pub thickness_mm: f64,
    /// Thickness of the wall that stands on it, mm.
    pub wall_mm: f64,
    /// Height of that wall, mm; 0 where nothing is known of it.
    pub wall_height_mm: f64,
    /// Distance of the screws where their places are not known, mm.
    pub pitch_mm: f64,
}
impl Flange {
    /// E I of the flange alone and with its wall, lasting, N mm2.
    fn stiffness(&self) -> [f64; 2] {
        let plate = (self.width_mm, self.thickness_mm / 2.0, self.thickness_mm);
        let wall = (self.wall_mm, self.thickness_mm + self.wall_height_mm / 2.0, self.wall_height_mm);
        let e = self.modulus_mpa * self.lasting_ratio;
        [e * second_moment(&[plate]).0, e * second_moment(&[plate, wall]).0]
    }
    /// How far the flange bends crosswise about its wall in the middle between two screws, mm, under `load_n_mm` N of gasket for
    /// each mm of rim: a cantilever of the flange's thickness from the wall to the strip, P a^3 / 3 E I, once where the strip
    /// pulls evenly and once at a screw, which holds a whole pitch of it by a piece as wide as 45 degrees to either side reach at
    /// the wall. Neither the plate's Poisson effect nor the foam's giving way is counted: told somewhat too large.
    fn crosswise(&self, load_n_mm: f64, pitch_mm: f64) -> f64 {
        let arm = self.width_mm / 2.0;
        let stiffness_of_mm = self.modulus_mpa * self.lasting_ratio * self.thickness_mm.powi(3) / 12.0;
        let tip = |n_mm: f64| n_mm * arm.powi(3) / (3.0 * stiffness_of_mm);
        if arm > 0.0 { tip(load_n_mm) + tip(load_n_mm * pitch_mm / (2.0 * arm)) } else { 0.0 }
    }
}
/// How a rim's flange holds between its screws.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Seat {
    /// The flange alone keeps the gasket squeezed enough.
    Closed,
    /// Only together with the wall on it.
    ClosedByWall,
    /// The gasket is squeezed less than seals between two screws.
    Opens,
}
/// Screws and flange of one rim.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ClampReport {
    /// The flange.
    pub flange: Flange,
    /// Screws whose places are known; 0 when the pitch alone is.
    pub screws: usize,
    /// Greatest distance of two screws along the rim, mm.
    pub pitch_mm: f64,
    /// Force of the screw that has the longest piece of gasket to hold at its ideal squeeze, N: for the least, the middle and the
    /// greatest pressure of the foam's grade.
    pub force_per_screw_n: [f64; 3],
    /// How much wider than at the screws the gap gets in the middle of the longest span, mm, for the hardest foam of the grade:
    /// of the flange alone.
    pub opening_mm: f64,
    /// How far the flange bends crosswise about its wall there, mm; `None` without a wall.
    pub crosswise_mm: Option<f64>,
    /// The opening of flange and wall together, each carrying its part of the gasket: the flange lengthwise from screw to screw,
    /// and crosswise to the wall, which bends with it; `None` without a wall.
    pub opening_with_wall_mm: Option<f64>,
    /// Squeeze there, of the flange alone, when it is ideal at the screws.
    pub squeeze_between_ratio: f64,
    /// The verdict.
    pub seat: Seat,
    /// Longest pitch at which the flange alone would stay closed, mm.
    pub longest_pitch_mm: f64,
}

/// Pitches tried, mm: as fine as anyone drills.
const PITCH_STEP_MM: f64 = 5.0;
/// Longest pitch told, mm: beyond it screws no longer go round a box.
const LONGEST_MM: f64 = 400.0;

/// Lengths of rim between screws, and the longest piece of rim that one screw holds.
fn spans(rim: &RimLoop, screws: &[[f64; 2]]) -> (Vec<f64>, f64) {
    let mut at: Vec<f64> = screws.iter().filter_map(|p| rim.nearest(*p)).map(|s| s.along_mm).collect();
    at.sort_by(f64::total_cmp);
    let n = at.len();
    let spans: Vec<f64> =
        (0..n).map(|i| if i + 1 < n { at[i + 1] - at[i] } else { at[0] + rim.length_mm - at[i] }).collect();
    let piece = (0..n).map(|i| (spans[i] + spans[(i + n - 1) % n]) / 2.0).fold(0.0, f64::max);
    (spans, piece)
}

/// Judges the flange of `rim` between its `screws` (places in plan, mm; fewer than two take the flange's own pitch) under
/// `gasket`, whose pressure at 25 % lies within its grade's range.
///
/// The gasket is a bed whose stiffness is the chord from the ideal to the least squeeze: its pressure falls faster at first, so
/// where the rim stays closed the opening is told too large, and where it opens too small.
pub fn clamp(rim: &RimLoop, gasket: &Gasket, flange: &Flange, screws: &[[f64; 2]]) -> ClampReport {
    let (spans, piece) = spans(rim, screws);
    let known = spans.len() > 1 && rim.closed;
    let pitch_mm = if known { spans.iter().copied().fold(0.0, f64::max) } else { flange.pitch_mm };
    let piece = if known { piece } else { flange.pitch_mm };
    let of = |kpa: f64| Gasket { pressure_at_25_kpa: kpa, ..gasket.clone() };
    // 1 kPa on 1 mm2 is 0.001 N
    let line = |g: &Gasket, squeeze: f64| g.pressure_kpa(squeeze) * g.width_mm * 1e-3;
    let [low, high] = gasket.pressure_range_kpa;
    let hard = of(high);
    let load = line(&hard, gasket.ideal_ratio);
    let slack = gasket.thickness_mm * (gasket.ideal_ratio - gasket.least_ratio);
    let bed = if slack > 0.0 { (load - line(&hard, gasket.least_ratio)) / slack } else { 0.0 };
    let [plate, with_wall] = flange.stiffness();
    let opening = |pitch: f64, stiffness: f64| opening_between(pitch, load, bed, stiffness);
    let opening_mm = opening(pitch_mm, plate);
    let crosswise_mm = (flange.wall_height_mm > 0.0).then(|| flange.crosswise(load, pitch_mm));
    // two ways side by side share the load so that both give way alike: a grillage without its twist
    let opening_with_wall_mm = crosswise_mm.map(|c| {
        let by_wall = opening(pitch_mm, with_wall) + c;
        if by_wall > 0.0 { opening_mm * by_wall / (opening_mm + by_wall) } else { 0.0 }
    });
    let seat = if opening_mm <= slack {
        Seat::Closed
    } else if opening_with_wall_mm.is_some_and(|w| w <= slack) {
        Seat::ClosedByWall
    } else {
        Seat::Opens
    };
    let steps = (LONGEST_MM / PITCH_STEP_MM) as usize;
    let longest = (1..=steps).map(|i| i as f64 * PITCH_STEP_MM).take_while(|p| opening(*p, plate) <= slack).last();
    ClampReport {
        flange: flange.clone(),
        screws: if known { spans.len() } else { 0 },
        pitch_mm,
        force_per_screw_n: [low, gasket.pressure_at_25_kpa, high].map(|k| line(&of(k), gasket.ideal_ratio) * piece),
        opening_mm,
        crosswise_mm,
        opening_with_wall_mm,
        squeeze_between_ratio: if gasket.thickness_mm > 0.0 {
            gasket.ideal_ratio - opening_mm / gasket.thickness_mm
        } else {
            0.0
        },
        seat,
        longest_pitch_mm: longest.unwrap_or(0.0),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::gap::RimStation;
    /// A square rim of side 200 mm.
    fn square() -> RimLoop {
        let at = |i: i32| {
            let s = f64::from(i) * 2.0;
            let (side, t) = ((s / 200.0) as usize, s % 200.0 - 100.0);
            let (x, y) = [(100.0, t), (-t, 100.0), (-100.0, -t), (t, -100.0)][side];
            let gap_mm = 2.0;
            let (least_mm, greatest_mm, standard_uncertainty_mm) = (gap_mm, gap_mm, 0.0);
            RimStation { along_mm: s, x_mm: x, y_mm: y, gap_mm, least_mm, greatest_mm, standard_uncertainty_mm }
        };
        RimLoop {
            length_mm: 800.0,
            width_mm: 16.0,
            closed: true,
            missing_ratio: 0.0,
            stations: (0..400).map(at).collect(),
        }
    }
    fn flange(thickness_mm: f64, wall_height_mm: f64) -> Flange {
        Flange {
            material: "PETG".into(),
            modulus_mpa: 2000.0,
            lasting_ratio: 0.5,
            width_mm: 16.0,
            thickness_mm,
            wall_mm: 3.5,
            wall_height_mm,
            pitch_mm: 120.0,
        }
    }
    const SCREWS: [[f64; 2]; 8] = [
        [100.0, -100.0],
        [100.0, 0.0],
        [100.0, 100.0],
        [0.0, 100.0],
        [-100.0, 100.0],
        [-100.0, 0.0],
        [-100.0, -100.0],
        [0.0, -100.0],
    ];
    /// ASTM D1056, grade 2: 34 to 62 kPa at 25 %. A strip of 10 mm between screws 100 mm apart at 25 % squeeze asks
    /// 48 kPa x 1000 mm2 = 48 N of each.
    #[test]
    fn force_of_a_screw() {
        let g = Gasket { ideal_ratio: 0.25, ..Gasket::usual(3.0) };
        let c = clamp(&square(), &g, &flange(5.0, 0.0), &SCREWS);
        assert_eq!((c.screws, c.pitch_mm), (8, 100.0));
        assert!((c.force_per_screw_n[1] - 48.0).abs() < 0.3, "{c:?}");
        assert!(c.force_per_screw_n[0] < 35.0 && c.force_per_screw_n[2] > 61.0);
        let without = clamp(&square(), &g, &flange(5.0, 0.0), &[]);
        assert_eq!((without.screws, without.pitch_mm), (0, 120.0));
        assert!((without.force_per_screw_n[1] / c.force_per_screw_n[1] - 1.2).abs() < 1e-9);
    }
    /// A thick flange stays closed, a thin one opens, and a wall holds what the thin one does not; fixed ends without a bed,
    /// q L^4 / 384 E I (handbook beam tables), are an upper bound.
    #[test]
    fn thin_flanges_open() {
        let g = Gasket::usual(3.0);
        let [thick, thin, walled] =
            [(8.0, 0.0), (3.0, 0.0), (3.0, 35.0)].map(|(t, w)| clamp(&square(), &g, &flange(t, w), &SCREWS));
        assert_eq!([thick.seat, thin.seat, walled.seat], [Seat::Closed, Seat::Opens, Seat::ClosedByWall]);
        let q = g.pressure_range_kpa[1] * (0.35 / 0.65) / (0.25 / 0.75) * g.width_mm * 1e-3;
        let free = |t: f64| q * 100.0_f64.powi(4) / (384.0 * 1000.0 * 16.0 * t.powi(3) / 12.0);
        assert!(thin.opening_mm < free(3.0) && thin.opening_mm > 0.45, "{} {}", thin.opening_mm, free(3.0));
        // a thick flange bends so little that the bed hardly matters
        assert!((0.7..1.0).contains(&(thick.opening_mm / free(8.0))), "{} {}", thick.opening_mm, free(8.0));
        assert!(thin.longest_pitch_mm < 100.0 && thick.longest_pitch_mm >= 100.0);
        // side by side with the wall no more than a half of the larger, no less than a half of the smaller
        let (both, cross) = (walled.opening_with_wall_mm.unwrap(), walled.crosswise_mm.unwrap());
        assert!(both < walled.opening_mm.min(cross + 0.05) && both > walled.opening_mm.min(cross) / 2.0, "{walled:?}");
        assert_eq!((thin.crosswise_mm, thin.opening_with_wall_mm), (None, None));
    }
    /// Handbook beam tables, cantilever: P L^3 / 3 E I at its end. Here E 1000 N/mm2 (half of 2000), 8 mm from the wall, 3 mm thick:
    /// 1 N on each mm of a strip 1 mm wide gives 512 / (3 x 1000 x 2.25) = 0.0759 mm, and the screw's 100 N on 16 mm of wall 6.25
    /// times as much.
    #[test]
    fn crosswise_as_a_cantilever() {
        let got = flange(3.0, 35.0).crosswise(1.0, 100.0);
        assert!((got - 0.075_852 * 7.25).abs() < 1e-4, "{got}");
        // by the thickness's third power
        assert!((flange(6.0, 35.0).crosswise(1.0, 100.0) * 8.0 - got).abs() < 1e-12);
    }
}
