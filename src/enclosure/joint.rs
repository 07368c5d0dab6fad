//! Joints across the body: where they may be, a tongue round walls and floor, pins in the flanges.
use super::{Enclosure, LEAST_LAND_MM, strap};
use crate::geom::{Brep, Polygon, plan, trim};
use crate::num::{Curve, Knots};
use crate::tolerance::CHORD_MM;

/// How the parts of the body meet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum JointKind {
    /// A tongue round walls and floor in a groove, pins in the flanges.
    Tongue,
    /// Flat faces, pins in flanges and floor.
    Butt,
}

/// Room for glue between the parts, mm: what epoxy asks for (common practice, no source: 0.1 to 0.3).
pub(super) const GLUE_MM: f64 = 0.2;
/// How far the tongue reaches into the other part, mm: more than it is thick, so that glue in it is sheared; a longer one
/// would leave walls that bend.
const TONGUE_MM: f64 = 4.0;
/// Material on either side of the groove, and least thickness of the tongue, mm: two lines of a common 0.4 mm nozzle.
const LIP_MM: f64 = 0.8;
/// Share of a lip that may be lost where the walls bend away over the length of the tongue.
const LIP_LOST_RATIO: f64 = 0.25;
/// Pins are lengths of 1.75 mm filament; radius of their holes and depth, mm.
pub(super) const PIN_MM: [f64; 2] = [1.0, 6.0];
/// Furthest that a joint is moved away from where it is wanted, and the steps tried, mm.
pub(super) const MOVE_MM: [f64; 2] = [40.0, 1.0];
/// Spans of the curves along the floor: concave bends over tens of mm.
const FLOOR_SPANS: usize = 12;

/// Least thickness of walls and floor that a tongue has room in, mm.
pub(super) const LEAST_FOR_TONGUE_MM: f64 = 2.0 * (LIP_MM + GLUE_MM) + LIP_MM;

/// A joint at x: what stands on the part before it and is sunk into the part beyond it.
pub(super) struct Joint {
    pub x: f64,
    /// Its border on the part before the joint, and the groove's beyond it, in (y, z).
    tongue: Option<[Vec<Curve<2>>; 2]>,
    /// Places (y, z) of the pins.
    pins: Vec<[f64; 2]>,
}

/// Places for a joint near `wanted`, the nearest first, clear of screws and openings.
pub(super) fn places(e: &Enclosure, wanted: f64) -> Vec<f64> {
    // pins and strap reach into both parts: what they must not meet keeps that far off, and a land more
    let pins = PIN_MM[1] + LEAST_LAND_MM;
    let mut busy: Vec<[f64; 2]> = Vec::new();
    for s in &e.screws {
        let taken = s.boss.as_ref().map_or_else(|| s.bore(), |b| b.border.clone());
        let (lo, hi) = trim::polygon(&taken, CHORD_MM).bounds();
        busy.push([lo[0] - pins, hi[0] + pins]);
    }
    let lap = strap::LAP_MM + LEAST_LAND_MM;
    for o in &e.openings {
        let (lo, hi) = trim::polygon(o, CHORD_MM).bounds();
        busy.push([lo[0] - lap, hi[0] + lap]);
    }
    let steps = (MOVE_MM[0] / MOVE_MM[1]) as i32;
    (0..=2 * steps)
        // 0, 1, -1, 2, -2 ... steps from the wanted place
        .map(|i| wanted + MOVE_MM[1] * f64::from(if i % 2 == 0 { -i / 2 } else { (i + 1) / 2 }))
        .filter(|x| busy.iter().all(|b| *x < b[0] || *x > b[1]))
        .collect()
}

/// The two places where a closed line in plan meets x, right then left of the board; `None` for another number.
fn sides(line: &[Curve<2>], x: f64) -> Option<[f64; 2]> {
    let [a, b] = trim::polygon(line, CHORD_MM).crossings(x).try_into().ok()?;
    Some([f64::min(a, b), f64::max(a, b)])
}

/// The section of walls and floor at x in (y, z), counter-clockwise, without the flanges; `None` near the ends.
fn section(e: &Enclosure, x: f64) -> Option<Vec<Curve<2>>> {
    let s = &e.shell;
    let [out_high, out_low] = [sides(&s.wall_out[0], x)?, sides(&s.wall_out[1], x)?];
    let [in_high, in_low] = [sides(&s.wall_in[0], x)?, sides(&s.wall_in[1], x)?];
    // under a groove only its floor is material all along
    let seat = |y: f64| s.groove.as_ref().map_or(&s.seat, |g| &g.floor).at(x, y);
    let floor = |z: &crate::num::TensorSpline, from: f64, to: f64| {
        plan::through(&Knots::uniform(3, FLOOR_SPANS, 0.0, 1.0), |t| {
            let y = from + t * (to - from);
            [y, z.at(x, y)]
        })
    };
    let [left, right] = [0, 1].map(|k| {
        let low = [out_low[k], s.floor_out.at(x, out_low[k])];
        let high = [out_high[k], s.back.at(x, out_high[k])];
        // the wall's outside carried on through the flange
        let lean = (low[0] - high[0]) / (low[1] - high[1]);
        let top = seat(high[0]);
        let inside = in_high[k];
        [
            [high[0] + lean * (top - high[1]), top],
            low,
            [inside, seat(inside)],
            [inside, s.back.at(x, inside)],
            [in_low[k], s.floor_in.at(x, in_low[k])],
        ]
    });
    let mut around = Vec::new();
    if let Some(edge) = &s.floor_edge {
        // a round bulges beyond its chord: the wall there is no thinner
        let (wall, flat) = (sides(&edge.on_wall, x)?, sides(&edge.on_face, x)?);
        let low = [0, 1].map(|k| [wall[k], edge.wall_z.at(x, wall[k])]);
        let under = [0, 1].map(|k| [flat[k], s.floor_out.at(x, flat[k])]);
        around.push(Curve::line(right[0], low[1]));
        around.push(Curve::line(low[1], under[1]));
        around.push(floor(&s.floor_out, flat[1], flat[0]));
        around.push(Curve::line(under[0], low[0]));
        around.push(Curve::line(low[0], left[0]));
    } else {
        around.push(Curve::line(right[0], right[1]));
        around.push(floor(&s.floor_out, right[1][0], left[1][0]));
        around.push(Curve::line(left[1], left[0]));
    }
    around.extend([
        Curve::line(left[0], left[2]),
        Curve::line(left[2], left[3]),
        Curve::line(left[3], left[4]),
        floor(&s.floor_in, left[4][0], right[4][0]),
        Curve::line(right[4], right[3]),
        Curve::line(right[3], right[2]),
        Curve::line(right[2], right[0]),
    ]);
    Some(around)
}

/// Borders of the tongue and of its groove in the joint at x; `None` where the walls bend away from it.
fn tongue(e: &Enclosure, x: f64) -> Option<[Vec<Curve<2>>; 2]> {
    let here = section(e, x)?;
    let made = [plan::inset(&here, LIP_MM + GLUE_MM)?, plan::inset(&here, LIP_MM)?];
    let groove = trim::polygon(&made[1], CHORD_MM);
    if groove.crosses_itself() || groove.signed_area() <= 0.0 {
        return None;
    }
    // the groove runs straight along x, the walls do not
    let end = trim::polygon(&section(e, x + GLUE_MM / 2.0 + TONGUE_MM)?, CHORD_MM);
    let lip = groove.points.iter().map(|p| -end.signed_distance(*p)).fold(f64::INFINITY, f64::min);
    (lip >= LIP_MM * (1.0 - LIP_LOST_RATIO)).then_some(made)
}

/// Material round a pin hole, mm: two lines of a common 0.4 mm nozzle.
const PIN_WALL_MM: f64 = 0.8;

/// Places (y, z) of the pins in the joint at `x`: one in each flange and, where no tongue takes it, two in the floor, where
/// there is material round them.
fn pins(e: &Enclosure, x: f64, floor_free: bool) -> Vec<[f64; 2]> {
    let s = &e.shell;
    let ends = |p: &Polygon| {
        p.crossings(x).iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), y| (a.min(*y), b.max(*y)))
    };
    let (rim, wall, floor) = (ends(&s.rim_polygon()), ends(&s.wall_polygon()), ends(&s.floor_polygon()));
    let need = 2.0 * (PIN_MM[0] + PIN_WALL_MM);
    let mut out = Vec::new();
    if s.spec.flange_mm >= need {
        for y in [(rim.0 + wall.0) / 2.0, (rim.1 + wall.1) / 2.0] {
            out.push([y, (s.seat.at(x, y) + s.back.at(x, y)) / 2.0]);
        }
    }
    if floor_free && s.spec.floor_mm >= need {
        for t in [0.25, 0.75] {
            let y = floor.0 + t * (floor.1 - floor.0);
            out.push([y, (s.floor_in.at(x, y) + s.floor_out.at(x, y)) / 2.0]);
        }
    }
    out
}

/// The joint of a kind at x; `None` where the walls have no room for it.
pub(super) fn at(e: &Enclosure, kind: JointKind, x: f64) -> Option<Joint> {
    let tongue = match kind {
        JointKind::Tongue => Some(tongue(e, x)?),
        JointKind::Butt => None,
    };
    let pins = pins(e, x, tongue.is_none());
    Some(Joint { x, tongue, pins })
}

impl Joint {
    /// The part of `solid` beyond the joint (`above`) or before it, with its half of the joint; `None` where it cannot be cut.
    pub(super) fn part(&self, solid: &Brep, above: bool) -> Option<Brep> {
        let half = if above { GLUE_MM / 2.0 } else { -GLUE_MM / 2.0 };
        let mut part = solid.cut(self.x + half, above)?;
        for p in &self.pins {
            part.extrude_joint("pin hole", &plan::circle(*p, PIN_MM[0]), PIN_MM[1]);
        }
        match &self.tongue {
            // both begin half the glue off the joint, so that the tongue's end has its room too
            Some([tongue, _]) if !above => part.extrude_joint("tongue", tongue, -TONGUE_MM),
            Some([_, groove]) => part.extrude_joint("groove for the tongue", groove, TONGUE_MM),
            _ => {}
        }
        Some(part)
    }
    /// What the glue, pins and tongue add to the volumes of the two parts to make up the whole, mm3, for a joint of an area.
    #[cfg(test)]
    pub(super) fn missing_mm3(&self, area_mm2: f64) -> f64 {
        let pins = 2.0 * self.pins.len() as f64 * std::f64::consts::PI * PIN_MM[0].powi(2) * PIN_MM[1];
        let area = |p: &[Curve<2>]| trim::polygon(p, 1e-3).signed_area();
        let tongue = self.tongue.as_ref().map_or(0.0, |[t, g]| TONGUE_MM * (area(g) - area(t)));
        area_mm2 * GLUE_MM + pins + tongue
    }
}
