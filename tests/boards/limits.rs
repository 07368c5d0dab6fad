//! What a reconstruction of a planted board must reach, and what it misses.
use super::case::{Case, Given, Kind};
use super::score::Score;

/// Rms of the underside that the accuracy table asks for on clouds and on fused depth, mm.
const UNDERSIDE_MM: [f64; 2] = [0.25, 0.20];
/// Rms of the outline from a photo with the width alone, and with a length too, mm; the table's least strict rows.
const OUTLINE_MM: [f64; 2] = [0.60, 0.40];
/// Error of the scale from a photo and the width alone, and wherever there is a length, per cent.
const SCALE_PCT: [f64; 2] = [0.3, 0.1];
/// What the rim alone gave in trials at worst: outline rms, mm, and scale, per cent.
const RIM_ALONE: (f64, f64) = (5.0, 1.7);
/// A tape read to half a mm is off by a quarter at most.
const READING_MM: f64 = 0.25;
/// Stated 95 % bands must hold between 90 and 99 % of the time.
const HONEST: [f64; 2] = [0.90, 0.99];
/// An error beyond three stated standard uncertainties is not an accident: one row in 370.
const HONEST_Z: f64 = 3.0;

/// The limits of one row.
pub struct Limits {
    pub underside_mm: f64,
    pub outline_mm: f64,
    pub scale_pct: f64,
}
/// The table's figures, widened by what was planted and cannot be seen from the inputs given: a false bend, drift, half
/// of the smooth noise; without a photo the rail's displacement too.
pub fn limits(case: &Case, given: Given) -> Limits {
    let d = &case.damage;
    let (kind, drift) = match case.kind {
        Kind::Cloud(c) => (0, if c.passes > 1 { c.drift_mm } else { 0.0 }),
        Kind::Depth(_) => (1, 0.0),
    };
    let hidden = [UNDERSIDE_MM[kind], d.bend_mm, drift, d.smooth_mm / 2.0];
    let underside_mm = hidden.iter().map(|v| v * v).sum::<f64>().sqrt();
    let (l, w) = (case.shape.length_mm, case.shape.width_mm);
    let by = usize::from(given.length);
    let tape = 100.0 * READING_MM / if given.length { l } else { w };
    let mut scale_pct = SCALE_PCT[by] + tape;
    let mut outline_mm = OUTLINE_MM[by];
    if !given.photo {
        // with a length the mean loss is solved for, its scatter between ends and sides stays
        let unseen = 2.0 * d.loss_varies_mm;
        let loss = if given.length { unseen } else { d.loss_mm + unseen };
        scale_pct += 100.0 * 2.0 * loss / if given.length { l - w } else { w };
        outline_mm = (0.25f64.powi(2) + loss * loss + (d.ragged_mm / 2.0).powi(2)).sqrt();
    }
    // a wrong scale moves the outline by a share of its distance from the middle: rms about half of half the length
    outline_mm += scale_pct / 100.0 * l / 4.0;
    if !given.photo {
        outline_mm = outline_mm.min(RIM_ALONE.0);
        scale_pct = scale_pct.min(RIM_ALONE.1);
    }
    Limits { underside_mm, outline_mm, scale_pct }
}
/// What a row misses, in fixed words; empty for a row that meets every limit.
pub fn misses(case: &Case, given: Given, result: &Result<Score, String>) -> Vec<&'static str> {
    let Ok(s) = result else { return vec!["refused"] };
    let want = limits(case, given);
    [
        ("upside down", s.upside_down),
        ("underside", !(s.fit_rms <= want.underside_mm)),
        ("outline", !(s.edge_rms <= want.outline_mm)),
        ("scale", !(s.scale_pct.abs() <= want.scale_pct)),
        ("stated scale", !(s.scale_z().abs() <= HONEST_Z)),
        ("stated error", !(s.within >= HONEST[0] && s.within <= HONEST[1])),
    ]
    .into_iter()
    .filter_map(|(what, missed)| missed.then_some(what))
    .collect()
}
