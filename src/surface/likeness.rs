//! Whether a fitted surface can be a deck's: what has a board's outline, a log or a roof tile, need not have its sections.
use super::Underside;
use crate::error::{Error, Result, Stage};
use crate::frame::SCAN_ALONE;
use crate::geom::Polygon;
use crate::num::median;

/// Most that a deck is bent across, as a share of its width: deep concaves are an inch on ten (common practice, no source); of 74 drawn
/// boards the deepest was found 5.9 % deep.
const DEEPEST: f64 = 0.15;
/// Most that a section's left half differs from its right as root mean square, as a share of the width, tilt apart: decks are pressed in
/// moulds that are the same on both sides, and wear and drift of a scan are a millimetre or two; of 74 drawn boards none was 0.1 %.
const LOPSIDED: f64 = 0.015;
/// Sections along the middle of the board, places across each, and the share of the half width that they reach: the surface's last
/// millimetres are carried on.
const SECTIONS: usize = 15;
const PLACES: usize = 12;
const ALONG: [f64; 2] = [0.2, 0.8];
const ACROSS: f64 = 0.9;

/// How deep a section is and how lopsided, each as a share of its width.
fn section(underside: &Underside, x: f64, (lo, hi): (f64, f64)) -> [f64; 2] {
    let (middle, half) = ((lo + hi) / 2.0, (hi - lo) / 2.0);
    let places = || (0..=PLACES).map(|i| ACROSS * i as f64 / PLACES as f64);
    let z = |u: f64| underside.z.at(x, middle + u * half);
    let even: Vec<f64> = places().map(|u| (z(u) + z(-u)) / 2.0).collect();
    let (least, most) = even.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, m), v| (l.min(*v), m.max(*v)));
    let odd: Vec<(f64, f64)> = places().map(|u| (u, (z(u) - z(-u)) / 2.0)).collect();
    // without its tilt, by least squares
    let tilt = odd.iter().map(|(u, d)| u * d).sum::<f64>() / odd.iter().map(|(u, _)| u * u).sum::<f64>();
    let square = odd.iter().map(|(u, d)| (d - tilt * u).powi(2)).sum::<f64>() / odd.len() as f64;
    [most - least, square.sqrt()].map(|mm| mm / (hi - lo))
}

/// Refuses a surface over `rim` that no deck has.
///
/// # Errors
/// A surface bent across by more, or with halves that differ by more, than those of boards.
pub(crate) fn like_a_deck(underside: &Underside, rim: &Polygon) -> Result<()> {
    let (lo, hi) = rim.bounds();
    let at = |i: usize| lo[0] + (hi[0] - lo[0]) * (ALONG[0] + (ALONG[1] - ALONG[0]) * i as f64 / (SECTIONS - 1) as f64);
    let sections: Vec<[f64; 2]> = (0..SECTIONS)
        .filter_map(|i| rim.span(at(i)).map(|span| section(underside, at(i), span)))
        .filter(|s| s.iter().all(|v| v.is_finite()))
        .collect();
    if sections.is_empty() {
        return Ok(());
    }
    let of = |k: usize| 100.0 * median(&sections.iter().map(|s| s[k]).collect::<Vec<_>>());
    let (deep, lopsided) = (of(0), of(1));
    let (most_deep, most_lopsided) = (100.0 * DEEPEST, 100.0 * LOPSIDED);
    let what = if deep > most_deep {
        format!("is bent across by {deep:.0} % of its width, but boards by {most_deep:.0} % at most")
    } else if lopsided > most_lopsided {
        format!(
            "has halves that differ by {lopsided:.1} % of its width, but those of boards by {most_lopsided} % at most"
        )
    } else {
        return Ok(());
    };
    Err(Error::new(Stage::Surface, format!("the scan shows no board: the surface found {what}")).hint(SCAN_ALONE))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::{Knots, Sample, TensorFit};
    use crate::surface::{ErrorMap, SurfaceReport};
    fn of(z: impl Fn(f64, f64) -> f64) -> Result<()> {
        let samples: Vec<Sample> = (-80..=80)
            .flat_map(|i| (-22..=22).map(move |j| [5.0 * f64::from(i), 5.0 * f64::from(j)]))
            .map(|[x, y]| Sample { x, y, z: z(x, y), w: 1.0 })
            .collect();
        let (kx, ky) = (Knots::uniform(3, 40, -400.0, 400.0), Knots::uniform(3, 12, -110.0, 110.0));
        let fit = TensorFit::new(kx, ky, &samples, |_, _| [1.0; 3]).solve(1e-9).unwrap();
        let error = ErrorMap::constant([-400.0, -110.0], [400.0, 110.0], 0.1);
        let rim = Polygon { points: vec![[-390.0, -105.0], [390.0, -105.0], [390.0, 105.0], [-390.0, 105.0]] };
        like_a_deck(&Underside { z: fit.z, error, report: SurfaceReport::default() }, &rim)
    }
    /// A log on the floor and a wavy sheet once became decks, exit 0.
    #[test]
    fn a_log_and_a_lopsided_sheet_are_no_decks() {
        let log = |_: f64, y: f64| (130.0 * 130.0 - y * y).sqrt();
        assert!(of(log).unwrap_err().message().contains("bent across by 19 %"), "{}", of(log).unwrap_err());
        let sheet = |_: f64, y: f64| 8.0 * (y / 25.0).sin();
        assert!(of(sheet).unwrap_err().message().contains("halves that differ"));
        // a deep concave, kicks, twist and half a millimetre of drift
        let deck = |x: f64, y: f64| {
            -25.0 * (y / 105.0).powi(2) - 60.0 * (x / 390.0).powi(6) + 0.03 * y * x / 390.0 + 0.5 * (y / 30.0).sin()
        };
        of(deck).unwrap();
    }
}
