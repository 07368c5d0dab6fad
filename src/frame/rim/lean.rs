//! How a rail's wall leans: cut upright in plan or square to the underside, or between.
use super::square::Across;
use super::{Layer, Near, wall_depth};
use crate::geom::Polygon;
use nalgebra::{Matrix3, Vector3, Vector4};

/// Nothing said beforehand: a wall may be anything from upright (0) to square (1), a rectangular law (JCGM 100:2008, 4.3.7).
pub(super) const HALF_WAY: f64 = 0.5;

/// Plan points with those below the underside moved towards the feet of their perpendiculars by a share of the way: to the rail's edge
/// of a wall that leans so.
pub(super) fn upright(points: &[Near], lean: f64) -> Vec<Near> {
    points.iter().map(|n| Near { at: [0, 1].map(|k| n.at[k] + lean * n.foot[k]), ..*n }).collect()
}
/// The share by which the walls lean, by least squares over the wall points about `course`: how far out they lie by their depth
/// (a rounding is alike all the way round: a parabola) and by what a wall square to the underside would have them lie in.
pub(super) fn lean(points: &[Near], course: &Polygon, spacing: f64) -> f64 {
    let Some(across) = Across::new(course) else { return HALF_WAY };
    let depth = wall_depth(across.width, spacing);
    let mut at_station: Vec<Vec<Vector4<f64>>> = vec![Vec::new(); across.count()];
    for n in points.iter().filter(|n| n.layer == Layer::Wall) {
        let Some(k) = across.nearest(n.at) else { continue };
        let (out, inwards) = (across.of(k, n.at)[0], -across.turned(k, n.foot)[0]);
        // the course was taken half way
        if (out + HALF_WAY * inwards).abs() <= depth {
            let d = n.depth / depth;
            at_station[k].push(Vector4::new(d, d * d, inwards, out));
        }
    }
    // where the rail lies at a station is its own: what counts is how points of one station differ
    let rows: Vec<(Vector3<f64>, f64)> = at_station
        .iter()
        .flat_map(|of| {
            let mean = of.iter().sum::<Vector4<f64>>() / of.len().max(1) as f64;
            of.iter().map(move |r| r - mean)
        })
        .map(|r| (Vector3::new(r[0], r[1], r[2]), r[3]))
        .collect();
    let prior = (HALF_WAY / 3f64.sqrt()).powi(-2);
    let solve = |noise: f64| {
        let mut a = Matrix3::zeros();
        let mut b = Vector3::zeros();
        for (r, y) in &rows {
            a += r * r.transpose() / (noise * noise);
            b += r * (y / (noise * noise));
        }
        a[(2, 2)] += prior;
        b[2] += HALF_WAY * prior;
        a.cholesky().map(|c| c.solve(&b))
    };
    let Some(first) = solve(depth) else { return HALF_WAY };
    let noise = (rows.iter().map(|(r, y)| (y - r.dot(&first)).powi(2)).sum::<f64>() / rows.len() as f64).sqrt();
    solve(noise.max(f64::EPSILON * depth)).map_or(HALF_WAY, |p| p[2].clamp(0.0, 1.0))
}
#[cfg(test)]
mod tests {
    use super::*;
    /// Walls of a rounded rail about an ellipse whose underside slopes down towards its ends by one half, planted upright, half way and
    /// square; each place has its own distance from the course.
    #[test]
    fn planted_lean_comes_back() {
        let course = Polygon {
            points: (0..240)
                .map(|i| f64::from(i) / 240.0 * std::f64::consts::TAU)
                .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
                .collect(),
        };
        let normals = crate::geom::outward_normals(&course.points);
        for planted in [0.0, 0.5, 1.0] {
            let mut points = Vec::new();
            for (i, (c, m)) in course.points.iter().zip(&normals).enumerate() {
                for k in 1..=8 {
                    let depth = f64::from(k);
                    let foot = [0.5 * depth * m[0] * m[0].abs(), 0.5 * depth * m[1] * m[0].abs()];
                    // strewn by a millimetre in turn, and rounded within the upper 3 mm
                    let strewn = 0.5 * f64::from((i as i32 * 7 + k * 3) % 5 - 2);
                    let out = 0.8 * (i as f64 / 9.0).sin() - (3.0 - depth).max(0.0).powi(2) / 6.0 + strewn;
                    let at = [0, 1].map(|a| c[a] + out * m[a] - planted * foot[a]);
                    points.push(Near { at, layer: Layer::Wall, depth, foot });
                }
            }
            let got = lean(&points, &course, 2.0);
            assert!((got - planted).abs() < 0.1, "{planted}: {got}");
        }
        assert_eq!(lean(&[], &course, 2.0), HALF_WAY);
    }
}
