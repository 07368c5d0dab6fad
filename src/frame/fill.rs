//! Points on a mesh's large triangles: a decimated mesh has few vertices where it is flat.
use crate::geom::strewn;
use crate::num::median;
use crate::scan::RawCloud;
use nalgebra::Point3;

/// Points that a mesh is filled up to.
const POINTS: f64 = 60_000.0;
/// Triangles over this many times the share of one point get points of their own; a regular mesh of that spacing has 1/2.
const LARGE: f64 = 2.0;
/// And only those over this many times the median triangle: a mesh of even triangles has its points where it needs them.
const UNEVEN: f64 = 6.0;
/// Most points strewn on one triangle: one that large is a hole filled by the scanning program.
const MOST_ON_ONE: f64 = 2000.0;

/// Vertices and points strewn evenly on large triangles, or `None` where the mesh has none of them (or is a cloud).
pub(super) fn filled(cloud: &RawCloud) -> Option<Vec<Point3<f64>>> {
    let corner = |t: &[u32; 3]| t.map(|i| cloud.points[i as usize]);
    let area = |[a, b, c]: &[Point3<f64>; 3]| (b - a).cross(&(c - a)).norm() / 2.0;
    let areas: Vec<f64> = cloud.triangles.iter().map(|t| area(&corner(t))).collect();
    let share = areas.iter().sum::<f64>() / POINTS;
    let large = (LARGE * share).max(UNEVEN * median(&areas));
    if !(share > 0.0 && share.is_finite()) {
        return None;
    }
    let mut extra = Vec::new();
    for t in &cloud.triangles {
        let [a, b, c] = corner(t);
        let size = area(&[a, b, c]);
        if size <= large {
            continue;
        }
        for k in 1..=((size / share).min(MOST_ON_ONE) as u32) {
            let [u, v] = strewn(k);
            extra.push(a + (b - a) * u + (c - a) * v);
        }
    }
    (!extra.is_empty()).then(|| cloud.points.iter().copied().chain(extra).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A square of two triangles beside many small ones fills evenly: each quarter gets a quarter.
    #[test]
    fn large_triangles_fill_evenly() {
        let points = [[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]].map(|p| Point3::new(p[0], p[1], 0.0)).to_vec();
        let mut cloud = RawCloud { points, triangles: vec![[0, 1, 2], [0, 2, 3]], ..RawCloud::default() };
        assert!(filled(&cloud).is_none());
        cloud.points.extend([[1.0, 0.0], [1.001, 0.0], [1.0, 0.001]].map(|p| Point3::new(p[0], p[1], 0.0)));
        cloud.triangles.extend([[4, 5, 6]; 3]);
        let p = filled(&cloud).unwrap();
        let quarter = p.iter().filter(|p| p.x < 0.5 && p.y < 0.5).count() as f64 / p.len() as f64;
        assert!((quarter - 0.25).abs() < 0.01 && p.len() > 3000, "{quarter} of {}", p.len());
        assert!(p.iter().all(|p| (0.0..=1.001).contains(&p.x) && (0.0..=1.0).contains(&p.y)));
    }
}
