//! Surfaces and plan curves of the body.
use super::edges::{self, BrokenEdge, EdgeSpec};
use super::{LEAST_LAND_MM, fail};
use crate::deck::{Deck, offset_error};
use crate::error::{Result, Stage};
use crate::geom::{Polygon, offset_height, plan, trim};
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
    /// Thickness of the flange, mm; of a grooved one under the groove.
    pub flange_mm: f64,
    /// The groove for the gasket's strip; `None` seats the strip on a plain rim.
    pub groove: Option<GrooveSpec>,
    /// How the floor's outer edge is broken; `None` leaves it sharp.
    pub floor_edge: Option<EdgeSpec>,
    /// Chamfer of 45 degrees between the flange's back and the wall, mm; 0 leaves a sharp corner.
    pub flange_chamfer_mm: f64,
}
/// What is asked of a groove.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GrooveSpec {
    /// Width of the strip, mm.
    pub strip_mm: f64,
    /// Gap between the lands beside the groove and the deck, mm.
    pub land_mm: f64,
}
/// A groove round the inside: the strip lies on its floor, at the squeezed thickness from the deck.
#[derive(Debug, Clone)]
pub struct Groove {
    /// Its floor z(x, y).
    pub floor: TensorSpline,
    /// Outer and inner border, counter-clockwise, mm.
    pub borders: [Vec<Curve<2>>; 2],
    /// Depth below the lands, mm.
    pub depth_mm: f64,
}
/// Surfaces z(x, y) and counter-clockwise plan loops of the body, mm, deck frame.
#[derive(Debug, Clone)]
pub struct Shell {
    /// The face towards the deck: where the strip lies, or the lands beside its groove.
    pub seat: TensorSpline,
    /// The groove.
    pub groove: Option<Groove>,
    /// Distance of where the strip lies from the deck, mm.
    pub standoff_mm: f64,
    /// The flange's other face.
    pub back: TensorSpline,
    /// The floor inside.
    pub floor_in: TensorSpline,
    /// The floor outside.
    pub floor_out: TensorSpline,
    /// The flange's border.
    pub rim: Vec<Curve<2>>,
    /// The wall's outer face: at the flange's back and at the floor, as if no edge were broken.
    pub wall_out: [Vec<Curve<2>>; 2],
    /// The wall's inner face: from the seat to the flange's back, and at the floor.
    pub wall_in: [Vec<Curve<2>>; 2],
    /// The floor's outer edge where it is broken.
    pub floor_edge: Option<BrokenEdge>,
    /// The chamfer between the flange's back and the wall.
    pub flange_chamfer: Option<BrokenEdge>,
    /// What was asked.
    pub spec: ShellSpec,
}

/// Play of the strip in its groove on each side, mm: a printed groove comes out that much narrower (common practice, no source).
pub(super) const STRIP_PLAY_MM: f64 = 0.3;
/// Least depth of a groove, mm: two printed layers; less holds no strip.
const LEAST_GROOVE_MM: f64 = 0.4;
/// Points on the border of the walls over which their height is averaged.
const BORDER_POINTS: usize = 200;
/// Room between flange and floor below which there is no wall to speak of, mm: a few printed layers.
const LEAST_WALL_HEIGHT_MM: f64 = 1.0;

pub(super) fn flat(like: &TensorSpline, z: f64) -> TensorSpline {
    let (x, y) = (like.x.range(), like.y.range());
    let k = |r: (f64, f64)| crate::num::Knots::uniform(3, 1, r.0, r.1);
    TensorSpline { x: k(x), y: k(y), c: vec![z; 16] }
}

/// The surfaces and plan curves; `seam` shares of a piece further on the walls' pieces meet than the footprint's do.
pub(super) fn make_shell(
    deck: &Deck,
    mating: &MatingFace,
    spec: &ShellSpec,
    depth_mm: f64,
    seam: f64,
) -> Result<Shell> {
    let foot = mating
        .footprint
        .inner_from(seam)
        .ok_or_else(|| fail("the border of the walls folds".into(), "make enclosure.corner_radius larger"))?;
    let moved = |pieces: &[Curve<2>], d: f64| {
        plan::parallel(pieces, -d).ok_or_else(|| {
            fail(
                format!(
                    "a wall of {:.1} mm, leaning in {:.1} mm, folds at a corner whose radius is {:.1} mm",
                    spec.wall_mm,
                    (d - spec.wall_mm).max(0.0),
                    plan::least_radius(pieces)
                ),
                format!(
                    "make enclosure.corner_radius at least {:.0} mm, or enclosure.wall or enclosure.draft smaller",
                    plan::radius_for(d).ceil()
                ),
            )
        })
    };
    // as thick square to its faces as asked, also where it leans
    let across_mm = spec.wall_mm / spec.draft.cos();
    let wall_top = moved(&foot, across_mm)?;
    let cavity = trim::polygon(&wall_top, CHORD_MM);
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
    // from the flange's back on both faces lean alike: the wall is as thick all the way down
    let border = trim::polygon(&foot, CHORD_MM).resampled(BORDER_POINTS).points;
    let leans = |floor: &TensorSpline| {
        let high = border.iter().map(|p| floor.at(p[0], p[1]) - back.at(p[0], p[1])).sum::<f64>() / border.len() as f64;
        high.max(0.0) * spec.draft.tan()
    };
    let lean = [leans(&floor_in), leans(&floor_out)];
    let wall_out = [foot.clone(), moved(&foot, lean[1])?];
    let wall_in = [wall_top, moved(&foot, across_mm + lean[0])?];
    let (seat, groove) = match &spec.groove {
        None => (mating.face.clone(), None),
        Some(g) => {
            let depth_mm = mating.standoff_mm - g.land_mm;
            // lengths are typed in tenths: what rounding leaves is none too little
            if depth_mm < LEAST_GROOVE_MM - 1e-9 {
                return Err(fail(
                    format!(
                        "a strip squeezed to {:.2} mm and lands {:.2} mm off the deck leave a groove of {depth_mm:.2} mm, {LEAST_GROOVE_MM} mm are needed",
                        mating.standoff_mm, g.land_mm
                    ),
                    "make enclosure.land smaller, enclosure.gasket thicker, or take enclosure.seat = \"plain\"",
                ));
            }
            // over the wall's inner edge stays a land; the strip has play on both sides
            let inner = spec.wall_mm - LEAST_LAND_MM;
            let width = g.strip_mm + 2.0 * STRIP_PLAY_MM;
            let borders = [moved(&foot, inner - width)?, moved(&foot, inner)?];
            (parallel("the lands", g.land_mm)?, Some(Groove { floor: mating.face.clone(), borders, depth_mm }))
        }
    };
    let floor_edge = edges::floor_edge(&foot, lean[1], spec, &floor_out)?;
    let flange_chamfer = edges::flange_chamfer(&foot, spec, &back)?;
    let shell = Shell {
        seat,
        groove,
        standoff_mm: mating.standoff_mm,
        back,
        floor_in,
        floor_out,
        rim: mating.footprint.outer.clone(),
        wall_out,
        wall_in,
        floor_edge,
        flange_chamfer,
        spec: *spec,
    };
    // both faces of the wall must have a height everywhere, and the floor must begin beyond the flange
    let least = |line: &[Curve<2>], low: &TensorSpline, high: &TensorSpline| {
        let l = trim::polygon(line, CHORD_MM);
        l.points.iter().map(|p| high.at(p[0], p[1]) - low.at(p[0], p[1])).fold(f64::INFINITY, f64::min)
    };
    let broken = spec.flange_chamfer_mm + spec.floor_edge.map_or(0.0, |e| e.size_mm);
    let room = (least(&shell.wall_out[0], &shell.back, &shell.floor_out) - broken).min(least(
        &shell.wall_in[0],
        &shell.back,
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
    /// Where the flange's back ends at the wall or its chamfer, as a polygon.
    pub fn wall_polygon(&self) -> Polygon {
        trim::polygon(self.flange_chamfer.as_ref().map_or(&self.wall_out[0], |c| &c.on_face), CHORD_MM)
    }
    /// The border of the floor's flat outside, as a polygon.
    pub fn floor_outside_polygon(&self) -> Polygon {
        trim::polygon(self.floor_edge.as_ref().map_or(&self.wall_out[1], |e| &e.on_face), CHORD_MM)
    }
    /// Distance of the flange's back from the deck, mm.
    pub fn back_mm(&self) -> f64 {
        self.standoff_mm + self.spec.flange_mm
    }
    /// How far the walls lean in from the flange's back to the floor's inside, mm.
    pub fn wall_lean_mm(&self) -> f64 {
        let far = trim::polygon(&self.wall_in[0], CHORD_MM).signed_distance(self.wall_in[1][0].points[0]);
        -far
    }
    /// Distance of the face towards the deck from it, mm.
    pub fn seat_mm(&self) -> f64 {
        self.standoff_mm - self.groove.as_ref().map_or(0.0, |g| g.depth_mm)
    }
}
