//! Meshes and clouds, and the bytes of their files.
use nalgebra::{Point3, Vector3};

/// Points, with normals and triangles where there are any.
#[derive(Clone, Default)]
pub struct Mesh {
    pub points: Vec<Point3<f64>>,
    pub normals: Option<Vec<Vector3<f64>>>,
    pub triangles: Vec<[u32; 3]>,
}
impl Mesh {
    /// Normals at the points, weighted by area; up where no triangle meets.
    pub fn vertex_normals(&self) -> Vec<Vector3<f64>> {
        let mut n = vec![Vector3::zeros(); self.points.len()];
        for t in &self.triangles {
            let [a, b, c] = t.map(|i| self.points[i as usize]);
            for i in t {
                n[*i as usize] += (b - a).cross(&(c - a));
            }
        }
        n.iter().map(|n| n.try_normalize(0.0).unwrap_or(Vector3::z())).collect()
    }
    /// Keeps some points and the triangles among them.
    pub fn retain(&mut self, keep: &[bool]) {
        let mut new = vec![u32::MAX; keep.len()];
        let mut points = Vec::new();
        for (i, p) in self.points.iter().enumerate() {
            if keep[i] {
                new[i] = points.len() as u32;
                points.push(*p);
            }
        }
        self.points = points;
        self.triangles = self
            .triangles
            .iter()
            .map(|t| t.map(|i| new[i as usize]))
            .filter(|t| t.iter().all(|i| *i != u32::MAX))
            .collect();
    }
    pub fn append(&mut self, other: &Self) {
        let k = self.points.len() as u32;
        self.points.extend(&other.points);
        self.triangles.extend(other.triangles.iter().map(|t| t.map(|i| i + k)));
    }
    /// Binary PLY with single precision, as most scanners write.
    pub fn to_ply(&self) -> Vec<u8> {
        let mut head = format!("ply\nformat binary_little_endian 1.0\nelement vertex {}\n", self.points.len());
        for p in ["x", "y", "z"] {
            head += &format!("property float {p}\n");
        }
        if self.normals.is_some() {
            head += "property float nx\nproperty float ny\nproperty float nz\n";
        }
        if !self.triangles.is_empty() {
            head += &format!("element face {}\nproperty list uchar int vertex_indices\n", self.triangles.len());
        }
        let mut out = (head + "end_header\n").into_bytes();
        let put = |v: &Vector3<f64>, out: &mut Vec<u8>| v.iter().for_each(|c| out.extend((*c as f32).to_le_bytes()));
        for (i, p) in self.points.iter().enumerate() {
            put(&p.coords, &mut out);
            if let Some(n) = &self.normals {
                put(&n[i], &mut out);
            }
        }
        for t in &self.triangles {
            out.push(3);
            t.iter().for_each(|i| out.extend(i.to_le_bytes()));
        }
        out
    }
    /// Binary STL.
    pub fn to_stl(&self) -> Vec<u8> {
        let mut out = vec![b' '; 80];
        out.extend((self.triangles.len() as u32).to_le_bytes());
        for t in &self.triangles {
            let [a, b, c] = t.map(|i| self.points[i as usize]);
            let n = (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_default();
            for v in [n, a.coords, b.coords, c.coords] {
                v.iter().for_each(|c| out.extend((*c as f32).to_le_bytes()));
            }
            out.extend([0, 0]);
        }
        out
    }
}
