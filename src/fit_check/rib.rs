//! A rib across the board: a band along the underside's section, printed lying.
use super::{FitCheckSpec, FitPiece, fail, laid, loops, split};
use crate::deck::Deck;
use crate::error::Result;
use crate::geom::trim;
use crate::num::{Knots, TensorSpline};
use crate::tolerance::CHORD_MM;
use geo::BooleanOps;
use nalgebra::Matrix3;

/// Samples along the section, about 1 mm apart.
const SAMPLES: usize = 240;
/// Height of the band over the section, mm: held by a hand it stays straight at a rib's thickness, has room for the notches
/// and prints in minutes.
const BODY_MM: f64 = 6.0;
/// Samples along the back between two of the section's: the back is measured by nobody.
const BACK_EVERY: usize = 4;
/// Depth and distance of the notches that number a rib, mm: told apart by a fingernail.
const NOTCH_MM: [f64; 2] = [2.0, 6.0];
/// No side of the band's border is split: it is flat.
const SIDE_MM: f64 = f64::INFINITY;

/// The band in (y, z), its lower edge the section at `x`. Rib `number` has as many notches in its back, on the board's left.
fn band(deck: &Deck, x: f64, number: usize) -> geo::MultiPolygon<f64> {
    let section = deck.section(x, SAMPLES);
    let polygon = |p: &[[f64; 2]]| {
        geo::Polygon::new(geo::LineString::from(p.iter().map(|q| (q[0], q[1])).collect::<Vec<_>>()), vec![])
    };
    let back = section.iter().step_by(BACK_EVERY).rev().map(|p| [p[0], p[1] + BODY_MM]);
    let border: Vec<[f64; 2]> = section.iter().copied().chain(back).collect();
    let [deep, apart] = NOTCH_MM;
    let notches: Vec<geo::Polygon<f64>> = (1..=number)
        .map(|k| apart * k as f64)
        .map(|y| (y, deck.underside.at(x, y) + BODY_MM))
        .map(|(y, top)| polygon(&[[y - deep, top + deep], [y, top - deep], [y + deep, top + deep]]))
        .collect();
    geo::MultiPolygon(vec![polygon(&border)]).difference(&geo::MultiPolygon(notches))
}

/// The rib at station `x` in pieces that lie on the bed.
pub(super) fn pieces(deck: &Deck, x: f64, number: usize, spec: &FitCheckSpec) -> Result<Vec<FitPiece>> {
    let mut out: Vec<FitPiece> = Vec::new();
    let parts = split(&band(deck, x, number), spec.bed_mm, "a rib")?;
    for part in &parts {
        let borders = loops(part, SIDE_MM);
        let (lo, hi) = borders[0].bounds();
        let flat = |h: f64| TensorSpline {
            x: Knots::uniform(1, 1, lo[0], hi[0]),
            y: Knots::uniform(1, 1, lo[1], hi[1]),
            c: vec![h; 4],
        };
        let mesh = trim::slab_mesh(&flat(spec.rib_mm), &flat(0.0), &borders, CHORD_MM).ok_or_else(|| {
            fail(format!("the section at x = {x:.1} mm crosses itself"), "choose other output.stations")
        })?;
        let piece = if parts.len() > 1 { format!("-{}", out.len() + 1) } else { String::new() };
        let half = spec.rib_mm / 2.0;
        let place = [[x - half, x + half], [lo[0], hi[0]]];
        out.push(laid(format!("fit-rib-{number}{piece}"), mesh, Matrix3::identity(), place));
    }
    Ok(out)
}
