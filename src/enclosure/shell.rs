//! Surfaces and plan curves of the body.
use super::fail;
use crate::deck::{Deck, offset_error};
use crate::error::{Result, Stage};
use crate::geom::{Brep, Layer, Polygon, Ring, Wall, layered, offset_height, plan, trim};
use crate::mating::MatingFace;
use crate::num::{Curve, TensorSpline};
use crate::tolerance::CHORD_MM;

/// Walls, floor and flange.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShellSpec {
    /// Thickness of the walls, mm.
    pub wall_mm: f64,
    /// How far the walls lean in towards the floor, radians.
    pub draft: f64,
    /// Thickness of the floor, mm.
    pub floor_mm: f64,
    /// Whether the floor follows the deck instead of being flat.
    pub follow: bool,
    /// Thickness of the flange, mm.
    pub flange_mm: f64,
}
/// Surfaces z(x, y) and counter-clockwise plan loops of the body, mm, deck frame.
#[derive(Debug, Clone)]
pub struct Shell {
    /// The face towards the deck.
    pub seat: TensorSpline,
    /// The flange's other face.
    pub back: TensorSpline,
    /// The floor inside.
    pub floor_in: TensorSpline,
    /// The floor outside.
    pub floor_out: TensorSpline,
    /// The flange's border.
    pub rim: Vec<Curve<2>>,
    /// The wall's outer face: at the flange's back and at the floor.
    pub wall_out: [Vec<Curve<2>>; 2],
    /// The wall's inner face: at the seat and at the floor.
    pub wall_in: [Vec<Curve<2>>; 2],
    /// What was asked.
    pub spec: ShellSpec,
}

/// Room between flange and floor below which there is no wall to speak of, mm: a few printed layers.
const LEAST_WALL_HEIGHT_MM: f64 = 1.0;

fn flat(like: &TensorSpline, z: f64) -> TensorSpline {
    let (x, y) = (like.x.range(), like.y.range());
    let k = |r: (f64, f64)| crate::num::Knots::uniform(3, 1, r.0, r.1);
    TensorSpline { x: k(x), y: k(y), c: vec![z; 16] }
}

pub(super) fn make_shell(deck: &Deck, mating: &MatingFace, spec: &ShellSpec, depth_mm: f64) -> Result<Shell> {
    let foot: Vec<Curve<2>> = mating.footprint.inner.iter().rev().map(Curve::reversed).collect();
    let moved = |pieces: &[Curve<2>], d: f64| {
        plan::parallel(pieces, -d).ok_or_else(|| {
            fail(
                format!(
                    "a wall of {:.1} mm, leaning in {:.1} mm, folds at a corner",
                    spec.wall_mm,
                    (d - spec.wall_mm).max(0.0)
                ),
                "make enclosure.corner_radius larger, or enclosure.wall or enclosure.draft smaller",
            )
        })
    };
    let lean = depth_mm * spec.draft.tan();
    let wall_out = [foot.clone(), moved(&foot, lean)?];
    let wall_in = [moved(&foot, spec.wall_mm)?, moved(&foot, spec.wall_mm + lean)?];
    let cavity = trim::polygon(&wall_in[0], CHORD_MM);
    let coarse = mating.footprint.outer_polygon.resampled(300);
    let parallel = |what: &str, d: f64| {
        offset_height(&deck.underside, d, |x, y| coarse.contains([x, y]))
            .map_err(|f| offset_error(Stage::Enclosure, what, d, &f))
    };
    let back = parallel("the flange's back", mating.standoff_mm + spec.flange_mm)?;
    let (floor_in, floor_out) = if spec.follow {
        (parallel("the floor", depth_mm)?, parallel("the floor's outside", depth_mm + spec.floor_mm)?)
    } else {
        let z = inner_points(&cavity).map(|p| deck.underside.at(p[0], p[1])).fold(f64::NEG_INFINITY, f64::max);
        (flat(&deck.underside, z + depth_mm), flat(&deck.underside, z + depth_mm + spec.floor_mm))
    };
    let shell = Shell {
        seat: mating.face.clone(),
        back,
        floor_in,
        floor_out,
        rim: mating.footprint.outer.clone(),
        wall_out,
        wall_in,
        spec: *spec,
    };
    // both faces of the wall must have a height everywhere, and the floor must begin beyond the flange
    let least = |line: &[Curve<2>], low: &TensorSpline, high: &TensorSpline| {
        let l = trim::polygon(line, CHORD_MM);
        l.points.iter().map(|p| high.at(p[0], p[1]) - low.at(p[0], p[1])).fold(f64::INFINITY, f64::min)
    };
    let room = least(&shell.wall_out[0], &shell.back, &shell.floor_out).min(least(
        &shell.wall_in[0],
        &shell.seat,
        &shell.floor_in,
    ));
    if room < LEAST_WALL_HEIGHT_MM {
        return Err(fail(
            format!(
                "a depth of {depth_mm:.1} mm leaves {room:.1} mm between flange and floor, {LEAST_WALL_HEIGHT_MM} mm are needed"
            ),
            format!("make enclosure.depth at least {:.0} mm", (depth_mm + LEAST_WALL_HEIGHT_MM - room).ceil()),
        ));
    }
    Ok(shell)
}

/// Spacing of a grid inside the walls, mm: concave and kicks change over tens of mm.
const GRID_MM: f64 = 2.0;

/// A grid inside `p`, and its border.
pub(super) fn inner_points(p: &Polygon) -> impl Iterator<Item = [f64; 2]> + '_ {
    let (lo, hi) = p.bounds();
    let n = [0, 1].map(|k| ((hi[k] - lo[k]) / GRID_MM).ceil() as usize);
    (0..=n[0])
        .flat_map(move |i| (0..=n[1]).map(move |j| [lo[0] + GRID_MM * i as f64, lo[1] + GRID_MM * j as f64]))
        .filter(|q| p.contains(*q))
        .chain(p.points.iter().copied())
}

impl Shell {
    /// The border of the floor inside, as a polygon: the narrowest place between the walls.
    pub fn floor_polygon(&self) -> Polygon {
        trim::polygon(&self.wall_in[1], CHORD_MM)
    }
    /// The flange's border as a polygon.
    pub fn rim_polygon(&self) -> Polygon {
        trim::polygon(&self.rim, CHORD_MM)
    }
    /// The border of the wall's outer face at the flange, as a polygon.
    pub fn wall_polygon(&self) -> Polygon {
        trim::polygon(&self.wall_out[0], CHORD_MM)
    }
    /// The closed solid with `bores` through the flange and `openings` through the floor, loops counter-clockwise in plan.
    pub fn solid(&self, name: &str, bores: &[Vec<Curve<2>>], openings: &[Vec<Curve<2>>]) -> Brep {
        let layers = [
            Layer { name: "mating face", z: &self.seat, up: false },
            Layer { name: "flange back", z: &self.back, up: true },
            Layer { name: "floor inside", z: &self.floor_in, up: false },
            Layer { name: "floor outside", z: &self.floor_out, up: true },
        ];
        let wall = |name: String, foot: (usize, &[Curve<2>]), head: (usize, &[Curve<2>]), inside| {
            let [foot, head] = [foot, head].map(|(layer, p)| Ring { layer, pieces: p.to_vec() });
            Wall { name, foot, head, inside }
        };
        let mut walls = vec![
            wall("rim".into(), (0, &self.rim), (1, &self.rim), true),
            wall("wall outside".into(), (1, &self.wall_out[0]), (3, &self.wall_out[1]), true),
            wall("wall inside".into(), (0, &self.wall_in[0]), (2, &self.wall_in[1]), false),
        ];
        walls.extend(bores.iter().enumerate().map(|(i, b)| wall(format!("hole {}", i + 1), (0, b), (1, b), false)));
        walls.extend(
            openings.iter().enumerate().map(|(i, o)| wall(format!("opening {}", i + 1), (2, o), (3, o), false)),
        );
        layered(name, &layers, &walls)
    }
}
