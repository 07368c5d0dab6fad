//! A flat seal face sunk into the outside of a wall, along the wall's lean.
use super::openings::SealSpec;
use super::{LEAST_LAND_MM, Shell, fail};
use crate::error::Result;
use crate::geom::{Sight, trim};
use crate::num::{Curve, TensorSpline};
use crate::tolerance::CHORD_MM;
use nalgebra::Vector3;

/// Samples along and up a piece of the wall: less than 1 mm apart, over which a wall bends by a hundredth of one.
const SAMPLES: [usize; 2] = [400, 60];

/// The plane of the seal face of an opening `name`: square to the wall at (u, v) of its `piece`, v from flange to floor, and as
/// deep as asked below the lowest place of the wall within the border drawn about there.
///
/// # Errors
/// A wall that is left too thin behind it.
pub(super) fn sunk(
    shell: &Shell,
    name: &str,
    seal: SealSpec,
    (piece, u, v): (usize, f64, f64),
    border: &[Curve<2>],
) -> Result<Sight> {
    let on = |rings: &[Vec<Curve<2>>; 2], z: [&TensorSpline; 2], u: f64, v: f64| {
        let [a, b] = [0, 1].map(|k| {
            let p = rings[k][piece].at(u);
            Vector3::new(p[0], p[1], z[k].at(p[0], p[1]))
        });
        a + (b - a) * v
    };
    let outside = |u: f64, v: f64| on(&shell.wall_out, [&shell.back, &shell.floor_out], u, v);
    let inside = |u: f64, v: f64| on(&shell.wall_in, [&shell.back, &shell.floor_in], u, v);
    let [_, along, _] = shell.wall_out[0][piece].derivatives(u);
    let right = Vector3::new(along[0], along[1], 0.0).normalize();
    let upright = outside(u, 1.0) - outside(u, 0.0);
    let up = (upright - right * upright.dot(&right)).normalize();
    let out = right.cross(&up);
    let middle = outside(u, v);
    let sight = |origin: Vector3<f64>| Sight { origin: origin.into(), right: right.into(), up: up.into() };
    let level = sight(middle);
    let border = trim::polygon(border, CHORD_MM);
    // heights over the wall's tangent plane of the places seen within the border, and the middle's own
    let heights = |face: &dyn Fn(f64, f64) -> Vector3<f64>| -> Vec<f64> {
        let (lo, hi) = shell.wall_out[0][piece].knots.range();
        (0..=SAMPLES[0])
            .flat_map(|i| (0..=SAMPLES[1]).map(move |j| (i as f64 / SAMPLES[0] as f64, j as f64 / SAMPLES[1] as f64)))
            .map(|(s, t)| face(lo + (hi - lo) * s, t))
            .filter(|p| border.contains(level.seen((*p).into())))
            .chain(std::iter::once(face(u, v)))
            .map(|p| (p - middle).dot(&out))
            .collect()
    };
    let face = heights(&outside).into_iter().fold(f64::INFINITY, f64::min) - seal.depth_mm;
    let left = face - heights(&inside).into_iter().fold(f64::NEG_INFINITY, f64::max);
    if left < LEAST_LAND_MM {
        return Err(fail(
            format!(
                "the seal face of '{name}' leaves {left:.1} mm of a wall of {:.1} mm, {LEAST_LAND_MM} mm must stay",
                shell.spec.wall_mm
            ),
            "make opening.seal_depth or opening.seal smaller, enclosure.wall thicker, or move it to where the wall is straighter",
        ));
    }
    Ok(sight(middle + out * face))
}
