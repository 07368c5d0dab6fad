//! Room inside: boxes under the dished deck.
use super::shell::inner_points;
use super::{Shell, fail};
use crate::deck::Deck;
use crate::error::{Result, Stage, Warned, Warning};
use crate::geom::{Polygon, trim};
use crate::tolerance::CHORD_MM;

/// Where a part goes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Position {
    /// Its middle, mm, deck frame.
    At([f64; 2]),
    /// Wherever there is most room.
    Anywhere,
}
/// A direction in plan.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Side {
    /// Towards the nose.
    Nose,
    /// Towards the board's left, seen from the underside.
    Left,
    /// Towards the tail.
    Tail,
    /// Towards the board's right.
    Right,
}
impl Side {
    const ALL: [Self; 4] = [Self::Nose, Self::Left, Self::Tail, Self::Right];
    /// The direction after some quarter turns, counter-clockwise.
    fn turned(self, quarters: usize) -> Self {
        let at = Self::ALL.iter().position(|s| *s == self).unwrap_or(0);
        Self::ALL[(at + quarters) % 4]
    }
    fn direction(self) -> [f64; 2] {
        match self {
            Self::Nose => [1.0, 0.0],
            Self::Left => [0.0, 1.0],
            Self::Tail => [-1.0, 0.0],
            Self::Right => [0.0, -1.0],
        }
    }
}
/// Room for a plug and the bend of its cable beside a part.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
pub struct CableRoom {
    /// From the part's face, mm.
    pub room_mm: f64,
    /// The face it comes out of.
    pub side: Side,
}
impl CableRoom {
    /// Middle and size of a box at `at` with the room beyond its clearance.
    pub fn kept(&self, at: [f64; 2], size: [f64; 3], clearance_mm: f64) -> ([f64; 2], [f64; 3]) {
        let more = (self.room_mm - clearance_mm).max(0.0);
        let d = self.side.direction();
        let grown = [size[0] + more * d[0].abs(), size[1] + more * d[1].abs(), size[2]];
        ([0, 1].map(|k| at[k] + more / 2.0 * d[k]), grown)
    }
}
/// A part as a box.
#[derive(Debug, Clone, PartialEq)]
pub struct PartSpec {
    /// Its name.
    pub name: String,
    /// Along the board, across it, and high, mm.
    pub size_mm: [f64; 3],
    /// Kept free on all sides and above it, mm.
    pub clearance_mm: f64,
    /// Kept free for its cables; turns with the part.
    pub cable: Option<CableRoom>,
    /// Where it goes.
    pub position: Position,
    /// Whether it is a battery pack.
    pub battery: bool,
}
/// A part in its place.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PlacedPart {
    /// Its name.
    pub name: String,
    /// Its middle, mm, deck frame.
    pub at_mm: [f64; 2],
    /// Along the board, across it, and high, mm.
    pub size_mm: [f64; 3],
    /// Room kept for its cables.
    pub cable: Option<CableRoom>,
    /// Kept free on all sides and above it, mm.
    pub clearance_mm: f64,
    /// Height left above its clearance under the lowest place of the deck over it, mm; negative when too tall.
    pub height_left_mm: f64,
    /// Least distance left beyond its clearance and cable room to the walls and the parts placed before it, mm; negative when it overlaps.
    pub side_left_mm: f64,
    /// Whether it fits.
    pub fits: bool,
}

/// Depth that the tallest part asks for.
pub(super) fn depth_for(parts: &[PartSpec]) -> Result<f64> {
    let tallest = parts.iter().map(|p| p.size_mm[2] + p.clearance_mm).fold(0.0, f64::max);
    if tallest > 0.0 {
        return Ok(tallest);
    }
    Err(fail(
        "enclosure.depth is \"parts\", but the board file has no [[part]]".into(),
        "add a [[part]], or give enclosure.depth as a length",
    ))
}

/// Spacing of the places tried for a part, mm: finer than anyone sets a part by hand.
const TRY_MM: f64 = 4.0;
/// Points on the border of a part.
const BORDER_POINTS: usize = 120;

fn footprint(at: [f64; 2], size: [f64; 3]) -> Polygon {
    let h = [size[0] / 2.0, size[1] / 2.0];
    let corners = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    Polygon { points: corners.map(|k| [at[0] + k[0] * h[0], at[1] + k[1] * h[1]]).to_vec() }
}
/// Distance between two boxes along x or y, whichever is more; negative when they overlap.
fn between(a: ([f64; 2], [f64; 3]), b: ([f64; 2], [f64; 3])) -> f64 {
    let gap = |k: usize| (a.0[k] - b.0[k]).abs() - (a.1[k] + b.1[k]) / 2.0;
    gap(0).max(gap(1))
}

pub(super) fn place(deck: &Deck, shell: &Shell, parts: &[PartSpec]) -> Warned<Vec<PlacedPart>> {
    let walls = trim::polygon(&shell.wall_in[1], CHORD_MM);
    let coarse = walls.resampled(BORDER_POINTS * 2);
    let (lo, hi) = walls.bounds();
    let mut placed: Vec<Option<PlacedPart>> = vec![None; parts.len()];
    // fixed ones first, then the largest first
    let mut order: Vec<usize> = (0..parts.len()).collect();
    let area = |i: usize| parts[i].size_mm[0] * parts[i].size_mm[1];
    order.sort_by(|&a, &b| {
        let free = |i: usize| parts[i].position == Position::Anywhere;
        free(a).cmp(&free(b)).then(area(b).total_cmp(&area(a))).then(a.cmp(&b))
    });
    // middles and sizes with cable room of those placed so far
    let mut taken: Vec<([f64; 2], [f64; 3])> = Vec::new();
    for i in order {
        let p = &parts[i];
        let turned = |quarters: usize| {
            let [l, w, h] = p.size_mm;
            let size = if quarters.is_multiple_of(2) { [l, w, h] } else { [w, l, h] };
            (size, p.cable.map(|c| CableRoom { side: c.side.turned(quarters), ..c }))
        };
        type Turned = ([f64; 3], Option<CableRoom>);
        let side = |at: [f64; 2], (size, cable): Turned, border: &Polygon| {
            let kept = cable.map_or((at, size), |c| c.kept(at, size, p.clearance_mm));
            let to_wall = footprint(kept.0, kept.1)
                .resampled(BORDER_POINTS)
                .points
                .iter()
                .map(|q| -border.signed_distance(*q))
                .fold(f64::INFINITY, f64::min);
            taken.iter().map(|o| between(kept, *o)).fold(to_wall, f64::min) - p.clearance_mm
        };
        // as `side`, of its points only those beside the corners
        let at_corners = |at: [f64; 2], (size, cable): Turned| {
            let kept = cable.map_or((at, size), |c| c.kept(at, size, p.clearance_mm));
            let least = taken.iter().map(|o| between(kept, *o)).fold(f64::INFINITY, f64::min);
            let border = footprint(kept.0, kept.1).resampled(BORDER_POINTS).points;
            let [l, w, _] = kept.1;
            let beside = [0.0, l, l + w, 2.0 * l + w].map(|far| (far / (2.0 * (l + w)) * border.len() as f64) as usize);
            let corners = beside.iter().flat_map(|i| [border[i % border.len()], border[(i + 1) % border.len()]]);
            corners.map(|q| -coarse.signed_distance(q)).fold(least, f64::min) - p.clearance_mm
        };
        let height = |at: [f64; 2], size: [f64; 3]| {
            inner_points(&footprint(at, size))
                .map(|q| shell.floor_in.at(q[0], q[1]) - deck.underside.at(q[0], q[1]))
                .fold(f64::INFINITY, f64::min)
                - size[2]
                - p.clearance_mm
        };
        let (at, way) = match p.position {
            Position::At(at) => (at, turned(0)),
            Position::Anywhere => {
                let middle = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
                let mut best = (f64::NEG_INFINITY, middle, turned(0));
                // a box is the same turned end for end, its cables are not
                for quarters in 0..if p.cable.is_some() { 4 } else { 2 } {
                    let way = turned(quarters);
                    let far_out = |best: [f64; 2]| ((best[0] - middle[0]) / TRY_MM).abs() as i32;
                    let n = [0, 1].map(|k| ((hi[k] - lo[k] - way.0[k]).max(0.0) / 2.0 / TRY_MM) as i32);
                    for x in -n[0]..=n[0] {
                        for y in -n[1]..=n[1] {
                            let at = [middle[0] + TRY_MM * f64::from(x), middle[1] + TRY_MM * f64::from(y)];
                            // no more than a place that is free counts: of such only one farther out is looked for
                            if best.0 >= 0.0 && x.abs() <= far_out(best.1) {
                                continue;
                            }
                            // side room is cheap to tell and decides first, and that at the corners is no less
                            if at_corners(at, way).min(0.0) < best.0 {
                                continue;
                            }
                            let s = side(at, way, &coarse);
                            if s.min(0.0) < best.0 {
                                continue;
                            }
                            let score = s.min(0.0) + height(at, way.0).min(0.0);
                            // what is packed tight leaves room for the next: of free places the outermost along the board
                            if score > best.0 || (score == best.0 && x.abs() > far_out(best.1)) {
                                best = (score, at, way);
                            }
                        }
                    }
                }
                (best.1, best.2)
            }
        };
        let (size, cable) = way;
        let (side_left_mm, height_left_mm) = (side(at, way, &walls), height(at, size));
        taken.push(cable.map_or((at, size), |c| c.kept(at, size, p.clearance_mm)));
        placed[i] = Some(PlacedPart {
            name: p.name.clone(),
            at_mm: at,
            size_mm: size,
            cable,
            clearance_mm: p.clearance_mm,
            height_left_mm,
            side_left_mm,
            fits: side_left_mm >= 0.0 && height_left_mm >= 0.0,
        });
    }
    let placed: Vec<PlacedPart> = placed.into_iter().flatten().collect();
    let mut warnings = Vec::new();
    for (p, spec) in placed.iter().zip(parts) {
        if p.height_left_mm < 0.0 {
            let more = -p.height_left_mm;
            warnings.push(Warning::new(
                Stage::Enclosure,
                format!("the part '{}' is {more:.1} mm too tall under the deck", p.name),
                format!("make enclosure.depth {:.1} mm larger", more),
            ));
        }
        if p.side_left_mm < 0.0 {
            warnings.push(Warning::new(
                Stage::Enclosure,
                format!("the part '{}' lacks {:.1} mm to a wall or another part", p.name, -p.side_left_mm),
                if p.cable.is_some() {
                    "make enclosure.length larger, enclosure.inset or part.cable smaller, take another part.cable_side, or move it with part.at"
                } else {
                    "make enclosure.length larger or enclosure.inset smaller, or move it with part.at"
                },
            ));
        }
        if spec.battery {
            warnings.push(Warning::new(
                Stage::Enclosure,
                format!("'{}' is a battery: no screw, edge or wire may reach it", p.name),
                "give it its own protection circuit and a fuse, hold it off the screws with a rigid liner, keep the box sealed but serviceable, and charge it under watch",
            ));
        }
    }
    Warned::with(placed, warnings)
}
