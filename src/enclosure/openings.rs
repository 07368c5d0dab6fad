//! Openings through floor and walls: where they are, what must stay round them.
use super::seal::sunk;
use super::shell::flat;
use super::{LEAST_LAND_MM, Shell, fail};
use crate::error::Result;
use crate::geom::{Polygon, Sight, plan, trim};
use crate::num::{Curve, TensorSpline};
use crate::tolerance::CHORD_MM;

/// An opening.
#[derive(Debug, Clone, PartialEq)]
pub struct OpeningSpec {
    /// What it is for.
    pub name: String,
    /// Its middle in plan, mm, deck frame; of one in a wall the place on the wall nearest to it is taken.
    pub at: [f64; 2],
    /// Its shape.
    pub shape: OpeningShape,
    /// Where it goes through.
    pub through: Through,
}
/// The shape of an opening.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum OpeningShape {
    /// Diameter, mm.
    Circle(f64),
    /// In a floor along and across the board, in a wall along the wall and upright, mm; and radius of its corners.
    Rectangle([f64; 2], f64),
}
/// What an opening goes through.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Through {
    /// The floor.
    Floor {
        /// A flat face round it, sunk into the floor's outside, for a plate that seals (a heat sink).
        seal: Option<SealSpec>,
    },
    /// A wall, square to it in plan.
    Wall {
        /// From the floor's inside to its middle, mm.
        above_floor_mm: f64,
        /// A flat face round it, sunk into the wall's outside along its lean, for a plate or a plug's flange that seals.
        seal: Option<SealSpec>,
    },
}
/// What is asked of a seal face.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SealSpec {
    /// Width round the opening, mm.
    pub width_mm: f64,
    /// Depth below the outside where that is lowest, mm.
    pub depth_mm: f64,
}
impl OpeningShape {
    /// The loop about `at`, `grow` mm larger on all sides.
    fn drawn(self, at: [f64; 2], grow: f64) -> Vec<Curve<2>> {
        match self {
            Self::Circle(d) => plan::circle(at, d / 2.0 + grow),
            Self::Rectangle(size, radius) => plan::rectangle(at, size.map(|s| s + 2.0 * grow), radius + grow),
        }
    }
    /// Half its size along both directions, mm.
    fn half(self) -> [f64; 2] {
        match self {
            Self::Circle(d) => [d / 2.0; 2],
            Self::Rectangle(size, _) => size.map(|s| s / 2.0),
        }
    }
}

/// An opening through the floor: loops in plan.
pub(super) struct FloorHole {
    pub hole: Vec<Curve<2>>,
    pub seal: Option<(Vec<Curve<2>>, TensorSpline)>,
}
/// An opening through a wall.
pub(super) struct WallHole {
    pub name: String,
    /// Piece of the wall's loop that it goes through.
    pub piece: usize,
    pub sight: Sight,
    pub drawing: Vec<Curve<2>>,
    /// Border of its seal face on the drawing.
    pub seal: Option<Vec<Curve<2>>>,
    /// A place in the wall's (u, v) near it.
    pub from: [f64; 2],
    half: [f64; 2],
    /// What it takes in plan.
    pub plan: Vec<Curve<2>>,
    /// What it opens onto.
    port: Port,
}
/// An opening in a wall as what lies behind it sees it.
#[derive(Clone)]
pub(super) struct Port {
    pub name: String,
    /// Its middle on the wall's inner face at the floor, in plan, and the unit vector out of the box.
    at: [f64; 2],
    out: [f64; 2],
    /// Half its width along the wall, mm.
    pub half_mm: f64,
    /// From and to above the floor, mm.
    pub low_mm: f64,
    pub high_mm: f64,
}
impl Port {
    /// A place in plan: along the wall from the port's middle, and inwards from the wall's inner face, mm.
    pub fn seen(&self, p: [f64; 2]) -> [f64; 2] {
        let d = [p[0] - self.at[0], p[1] - self.at[1]];
        [d[1] * self.out[0] - d[0] * self.out[1], -(d[0] * self.out[0] + d[1] * self.out[1])]
    }
}
impl OpeningSpec {
    /// Its border in plan, of one in the floor.
    pub(super) fn plan(&self) -> Polygon {
        trim::polygon(&self.shape.drawn(self.at, 0.0), CHORD_MM)
    }
}
/// All openings, and the loops they take in plan.
#[derive(Default)]
pub(super) struct Openings {
    pub floor: Vec<FloorHole>,
    pub walls: Vec<WallHole>,
    pub plan: Vec<Vec<Curve<2>>>,
    pub ports: Vec<Port>,
}

/// Points on the border of an opening.
const BORDER_POINTS: usize = 200;
/// Steps from the nearest sample to the foot point: each leaves a small share of the way on walls that bend gently.
const FOOT_STEPS: usize = 4;
/// Samples along a piece of the wall when the place nearest to an opening is sought: then about 1 mm apart.
const WALL_SAMPLES: usize = 400;

pub(super) fn place(shell: &Shell, wanted: &[OpeningSpec]) -> Result<Openings> {
    let mut out = Openings::default();
    let mut borders: Vec<(String, Polygon)> = Vec::new();
    for o in wanted {
        match o.through {
            Through::Floor { seal } => {
                let (hole, border) = in_floor(shell, o, seal, &borders)?;
                out.plan.extend(hole.seal.iter().map(|s| s.0.clone()));
                out.plan.push(hole.hole.clone());
                borders.push((o.name.clone(), border));
                out.floor.push(hole);
            }
            Through::Wall { above_floor_mm, seal } => {
                let hole = in_wall(shell, o, above_floor_mm, seal)?;
                for other in &out.walls {
                    let far = |k: usize| (other.sight.seen(hole.sight.origin)[k]).abs() - other.half[k] - hole.half[k];
                    let apart = far(0).max(far(1));
                    // one beyond a corner is seen at no distance, but lies far off in plan
                    let off = [0, 1].map(|k| other.sight.origin[k] - hole.sight.origin[k]);
                    if apart < LEAST_LAND_MM && off[0].hypot(off[1]) < other.half[0] + hole.half[0] + LEAST_LAND_MM {
                        return Err(too_near(&other.name, &o.name, apart));
                    }
                }
                out.plan.push(hole.plan.clone());
                out.ports.push(hole.port.clone());
                out.walls.push(hole);
            }
        }
    }
    Ok(out)
}
fn too_near(a: &str, b: &str, apart: f64) -> crate::error::Error {
    fail(
        format!("the openings '{a}' and '{b}' are {apart:.1} mm apart, {LEAST_LAND_MM} mm must stay"),
        "move one of them with opening.at",
    )
}

fn in_floor(
    shell: &Shell,
    o: &OpeningSpec,
    seal: Option<SealSpec>,
    others: &[(String, Polygon)],
) -> Result<(FloorHole, Polygon)> {
    let hole = o.shape.drawn(o.at, 0.0);
    let outer = o.shape.drawn(o.at, seal.map_or(0.0, |s| s.width_mm));
    let border = trim::polygon(&outer, CHORD_MM);
    let dense = border.resampled(BORDER_POINTS);
    let inside = shell.floor_polygon();
    let room = dense.points.iter().map(|p| -inside.signed_distance(*p)).fold(f64::INFINITY, f64::min);
    if room < LEAST_LAND_MM {
        return Err(fail(
            format!("the opening '{}' comes {room:.1} mm near the wall, {LEAST_LAND_MM} mm must stay", o.name),
            "move it with opening.at, or make it smaller",
        ));
    }
    for (name, other) in others {
        let apart = dense.points.iter().map(|p| other.signed_distance(*p)).fold(f64::INFINITY, f64::min);
        if apart < LEAST_LAND_MM || other.points.iter().any(|p| border.contains(*p)) {
            return Err(too_near(name, &o.name, apart));
        }
    }
    let seal = match seal {
        None => None,
        Some(s) => {
            let points = || super::shell::inner_points(&border);
            let face = points().map(|p| shell.floor_out.at(p[0], p[1])).fold(f64::INFINITY, f64::min) - s.depth_mm;
            let left = points().map(|p| face - shell.floor_in.at(p[0], p[1])).fold(f64::INFINITY, f64::min);
            if left < LEAST_LAND_MM {
                return Err(fail(
                    format!(
                        "the seal face of '{}' leaves {left:.1} mm of a floor of {:.1} mm, {LEAST_LAND_MM} mm must stay",
                        o.name, shell.spec.floor_mm
                    ),
                    "make opening.seal_depth smaller or enclosure.floor thicker",
                ));
            }
            Some((outer, flat(&shell.floor_out, face)))
        }
    };
    Ok((FloorHole { hole, seal }, border))
}

fn in_wall(shell: &Shell, o: &OpeningSpec, above_floor_mm: f64, seal: Option<SealSpec>) -> Result<WallHole> {
    let square = |p: [f64; 2]| (p[0] - o.at[0]).powi(2) + (p[1] - o.at[1]).powi(2);
    let mut best = (f64::INFINITY, 0, 0.0);
    for (k, c) in shell.wall_out[0].iter().enumerate() {
        let (lo, hi) = c.knots.range();
        for i in 0..=WALL_SAMPLES {
            let u = lo + (hi - lo) * i as f64 / WALL_SAMPLES as f64;
            let d = square(c.at(u));
            if d < best.0 {
                best = (d, k, u);
            }
        }
    }
    let (_, piece, mut u) = best;
    let (lo, hi) = shell.wall_out[0][piece].knots.range();
    for _ in 0..FOOT_STEPS {
        let [p, v, _] = shell.wall_out[0][piece].derivatives(u);
        let step = ((o.at[0] - p[0]) * v[0] + (o.at[1] - p[1]) * v[1]) / (v[0] * v[0] + v[1] * v[1]);
        u = (u + step).clamp(lo, hi);
    }
    let [p, v, _] = shell.wall_out[0][piece].derivatives(u);
    let speed = v[0].hypot(v[1]);
    // counter-clockwise: the outside is on the right of the way along
    let (along, out) = ([v[0] / speed, v[1] / speed], [v[1] / speed, -v[0] / speed]);
    let inner = shell.wall_in[1][piece].at(u);
    let z = shell.floor_in.at(inner[0], inner[1]) - above_floor_mm;
    let hole = o.shape.half();
    let half = hole.map(|h| h + seal.map_or(0.0, |s| s.width_mm));
    // the room from flange to floor, all along it
    let (mut above, mut below) = (f64::INFINITY, above_floor_mm - hole[1]);
    for t in [-1.0, -0.5, 0.0, 0.5, 1.0] {
        let q = [p[0] + t * half[0] * along[0], p[1] + t * half[0] * along[1]];
        above = above.min(z - half[1] - shell.back.at(q[0], q[1]) - shell.spec.flange_chamfer_mm);
        let edge = shell.floor_edge.as_ref().map_or(0.0, |e| e.spec.size_mm);
        below = below.min(shell.floor_out.at(q[0], q[1]) - edge - z - half[1]);
    }
    for (left, what, cure) in [
        (above, "flange", "move it towards the floor with a smaller opening.above_floor"),
        (below, "floor", "move it away with a larger opening.above_floor"),
    ] {
        if left < LEAST_LAND_MM {
            return Err(fail(
                format!("the opening '{}' comes {left:.1} mm near the {what}, {LEAST_LAND_MM} mm must stay", o.name),
                format!("{cure}, make it lower, or make enclosure.depth larger"),
            ));
        }
    }
    let (foot, head) = (shell.back.at(p[0], p[1]), shell.floor_out.at(p[0], p[1]));
    let from = [u, (z - foot) / (head - foot)];
    let mut sight = Sight { origin: [p[0], p[1], z], right: [along[0], along[1], 0.0], up: [0.0, 0.0, 1.0] };
    let mut border = None;
    if let Some(s) = seal {
        let drawn = o.shape.drawn([0.0, 0.0], s.width_mm);
        sight = sunk(shell, &o.name, s, (piece, u, from[1]), &drawn)?;
        border = Some(drawn);
    }
    let corner = |a: f64, d: f64| [0, 1].map(|k| p[k] + a * half[0] * along[k] - d * out[k]);
    let deep = shell.spec.wall_mm + shell.wall_lean_mm();
    let plan = [corner(-1.0, 0.0), corner(1.0, 0.0), corner(1.0, deep), corner(-1.0, deep)];
    Ok(WallHole {
        name: o.name.clone(),
        piece,
        sight,
        drawing: o.shape.drawn([0.0, 0.0], 0.0),
        seal: border,
        from,
        half,
        port: Port {
            name: o.name.clone(),
            at: inner,
            out,
            half_mm: hole[0],
            low_mm: above_floor_mm - hole[1],
            high_mm: above_floor_mm + hole[1],
        },
        plan: (0..4).map(|i| Curve::line(plan[i], plan[(i + 1) % 4])).collect(),
    })
}
