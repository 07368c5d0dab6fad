//! PLY, binary little endian, double.
use nalgebra::{Point3, Vector3};

/// A PLY file of points in mm, with normals and triangles where given; normals not one per point are left out.
pub fn write_ply(points: &[Point3<f64>], normals: Option<&[Vector3<f64>]>, triangles: &[[u32; 3]]) -> Vec<u8> {
    let normals = normals.filter(|n| n.len() == points.len());
    let mut head =
        format!("ply\nformat binary_little_endian 1.0\ncomment lengths in mm\nelement vertex {}\n", points.len());
    for p in ["x", "y", "z"] {
        head += &format!("property double {p}\n");
    }
    if normals.is_some() {
        head += "property double nx\nproperty double ny\nproperty double nz\n";
    }
    if !triangles.is_empty() {
        head += &format!("element face {}\nproperty list uchar int vertex_indices\n", triangles.len());
    }
    head += "end_header\n";
    let mut out = head.into_bytes();
    for (i, p) in points.iter().enumerate() {
        for k in 0..3 {
            out.extend(p[k].to_le_bytes());
        }
        if let Some(n) = normals.and_then(|n| n.get(i)) {
            for k in 0..3 {
                out.extend(n[k].to_le_bytes());
            }
        }
    }
    for t in triangles {
        out.push(3);
        for i in t {
            out.extend(i.to_le_bytes());
        }
    }
    out
}
