//! The strap inside a joint: a lining of walls and floor that laps over both parts.
use super::joint::GLUE_MM;
use super::{Enclosure, fail};
use crate::error::Result;
use crate::geom::{Brep, Layer, Ring, Wall, layered, plan};
use crate::num::Curve;

/// Thickness of the strap, mm (common practice, no source).
const STRAP_MM: f64 = 2.0;
/// How far it laps over each part, mm (common practice, no source).
pub(super) const LAP_MM: f64 = 12.0;
/// What it takes of the room inside, mm.
pub(super) const TAKEN_MM: f64 = GLUE_MM + STRAP_MM;

/// The strap before it is cut to length: it stays below the flange.
pub(super) fn lining(e: &Enclosure) -> Result<Brep> {
    let s = &e.shell;
    let moved = |p: &[Curve<2>], d: f64| {
        plan::parallel(p, -d).ok_or_else(|| {
            fail("the strap inside the joint folds at a corner".into(), "make enclosure.corner_radius larger")
        })
    };
    let lining = |d: f64| -> Result<[Vec<Curve<2>>; 2]> { Ok([moved(&s.wall_in[0], d)?, moved(&s.wall_in[1], d)?]) };
    let (outer, inner) = (lining(GLUE_MM)?, lining(TAKEN_MM)?);
    let under = s.floor_in.moved(1.0, [0.0, 0.0, -GLUE_MM]);
    let over = s.floor_in.moved(1.0, [0.0, 0.0, -TAKEN_MM]);
    let layers = [
        Layer { name: "strap edge", z: &s.back, up: false },
        Layer { name: "strap inside", z: &over, up: false },
        Layer { name: "strap outside", z: &under, up: true },
    ];
    let wall = |rings: [Vec<Curve<2>>; 2], head: usize, inside| {
        let [foot, top] = rings;
        Wall {
            name: "strap side".into(),
            foot: Ring { layer: 0, pieces: foot },
            head: Ring { layer: head, pieces: top },
            inside,
            breaks: vec![],
        }
    };
    Ok(layered("strap", &layers, &[wall(outer, 2, true), wall(inner, 1, false)]))
}
