//! Triangle meshes.
use nalgebra::Point3;
use std::collections::HashMap;

/// Indexed triangles; counter-clockwise seen from outside.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct TriMesh {
    /// Vertices in mm.
    pub points: Vec<Point3<f64>>,
    /// Vertex indices, three per triangle.
    pub triangles: Vec<[u32; 3]>,
}
impl TriMesh {
    /// The corners of triangle `t`.
    pub fn corners(&self, t: usize) -> [Point3<f64>; 3] {
        self.triangles[t].map(|i| self.points[i as usize])
    }
    /// Sum of the triangles' areas.
    pub fn area(&self) -> f64 {
        (0..self.triangles.len())
            .map(|t| {
                let [a, b, c] = self.corners(t);
                (b - a).cross(&(c - a)).norm() / 2.0
            })
            .sum()
    }
    /// Enclosed volume (divergence theorem): meaningful for a closed mesh, positive when normals point out.
    pub fn volume(&self) -> f64 {
        (0..self.triangles.len())
            .map(|t| {
                let [a, b, c] = self.corners(t);
                a.coords.dot(&b.coords.cross(&c.coords)) / 6.0
            })
            .sum()
    }
    /// Edges that are not shared by exactly two triangles in opposite order: none for a closed, oriented mesh
    /// (the rule of the 3MF core specification).
    pub fn open_edges(&self) -> Vec<(u32, u32)> {
        let mut seen: HashMap<(u32, u32), i32> = HashMap::new();
        for t in &self.triangles {
            for k in 0..3 {
                *seen.entry((t[k], t[(k + 1) % 3])).or_default() += 1;
            }
        }
        let mut bad: Vec<_> =
            seen.iter().filter(|(k, n)| **n != 1 || seen.get(&(k.1, k.0)) != Some(&1)).map(|(k, _)| *k).collect();
        bad.sort_unstable();
        bad
    }
}
