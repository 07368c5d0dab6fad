//! Edges of the body that are broken: the floor's outer edge, and the corner between the flange's back and the wall.
use super::shell::ShellSpec;
use super::{LEAST_LAND_MM, fail};
use crate::error::Result;
use crate::geom::plan;
use crate::num::{Curve, TensorSpline};

/// How an edge is broken.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EdgeSpec {
    /// Height taken of the wall, mm.
    pub size_mm: f64,
    /// A round in place of a chamfer of 45 degrees.
    pub round: bool,
}
/// A broken edge: its borders on the two faces that it joins, counter-clockwise, mm.
#[derive(Debug, Clone)]
pub struct BrokenEdge {
    /// What was asked.
    pub spec: EdgeSpec,
    /// On the floor's outside, or on the flange's back.
    pub on_face: Vec<Curve<2>>,
    /// On the wall.
    pub on_wall: Vec<Curve<2>>,
    /// Height of the border on the wall.
    pub wall_z: TensorSpline,
}

fn moved(foot: &[Curve<2>], d: f64, what: &str, key: &str) -> Result<Vec<Curve<2>>> {
    plan::parallel(foot, -d).ok_or_else(|| {
        fail(format!("{what} folds at a corner"), format!("make enclosure.corner_radius larger or {key} smaller"))
    })
}

/// The floor's outer edge below walls that begin at `foot` and have leaned in by `lean` mm at the floor's outside.
pub(super) fn floor_edge(
    foot: &[Curve<2>],
    lean: f64,
    spec: &ShellSpec,
    floor_out: &TensorSpline,
) -> Result<Option<BrokenEdge>> {
    let Some(edge) = spec.floor_edge else { return Ok(None) };
    let (size, wall, floor) = (edge.size_mm, spec.wall_mm, spec.floor_mm);
    // from the edge between wall and floor inside to the broken face
    let left = if edge.round {
        size.min(wall).min(floor).max(size - (size - wall).max(0.0).hypot((size - floor).max(0.0)))
    } else {
        (wall + floor - size) * std::f64::consts::FRAC_1_SQRT_2
    };
    let least = LEAST_LAND_MM.min(wall).min(floor);
    if left < least {
        return Err(fail(
            format!(
                "the floor's edge, broken by {size:.1} mm, leaves {left:.1} mm between wall and floor, {least:.1} mm must stay"
            ),
            "make enclosure.edge smaller, or enclosure.wall or enclosure.floor thicker",
        ));
    }
    let tan = spec.draft.tan();
    // a round takes as much of both faces, a chamfer stands at 45 degrees to the floor whatever the wall's lean
    let run = if edge.round { size / spec.draft.cos() } else { size * (1.0 - tan) };
    let (what, key) = ("the floor's broken edge", "enclosure.edge");
    Ok(Some(BrokenEdge {
        spec: edge,
        on_face: moved(foot, lean + run, what, key)?,
        on_wall: moved(foot, lean - size * tan, what, key)?,
        wall_z: floor_out.moved(1.0, [0.0, 0.0, -size]),
    }))
}

/// The chamfer between the flange's back and walls that begin at `foot`.
pub(super) fn flange_chamfer(foot: &[Curve<2>], spec: &ShellSpec, back: &TensorSpline) -> Result<Option<BrokenEdge>> {
    let size = spec.flange_chamfer_mm;
    if size <= 0.0 {
        return Ok(None);
    }
    let deeper = size * spec.draft.tan();
    let (what, key) = ("the chamfer under the flange", "enclosure.flange_chamfer");
    Ok(Some(BrokenEdge {
        spec: EdgeSpec { size_mm: size, round: false },
        on_face: moved(foot, deeper - size, what, key)?,
        on_wall: moved(foot, deeper, what, key)?,
        wall_z: back.moved(1.0, [0.0, 0.0, size]),
    }))
}
