//! PLY, binary little endian, double.
//!
//! # References
//! G. Turk, "The PLY Polygon File Format" (1994): header words, list properties; red, green, blue as most programs write them.
use nalgebra::{Point3, Vector3};

/// A PLY file of points in mm, with normals and triangles where given; normals not one per point are left out.
pub fn write_ply(points: &[Point3<f64>], normals: Option<&[Vector3<f64>]>, triangles: &[[u32; 3]]) -> Vec<u8> {
    write_coloured_ply(points, normals, None, triangles)
}

/// As [`write_ply`], with a colour for each point; colours not one per point are left out.
pub fn write_coloured_ply(
    points: &[Point3<f64>],
    normals: Option<&[Vector3<f64>]>,
    colours: Option<&[[u8; 3]]>,
    triangles: &[[u32; 3]],
) -> Vec<u8> {
    let normals = normals.filter(|n| n.len() == points.len());
    let colours = colours.filter(|c| c.len() == points.len());
    let mut out = header(points.len(), normals.is_some(), colours.is_some(), triangles.len()).into_bytes();
    for (i, p) in points.iter().enumerate() {
        let numbers = p.iter().chain(normals.and_then(|n| n.get(i)).into_iter().flat_map(|n| n.iter()));
        out.extend(numbers.flat_map(|v| v.to_le_bytes()));
        out.extend(colours.and_then(|c| c.get(i)).into_iter().flatten());
    }
    for t in triangles {
        out.push(3);
        out.extend(t.iter().flat_map(|i| i.to_le_bytes()));
    }
    out
}

fn header(points: usize, normals: bool, colours: bool, triangles: usize) -> String {
    let mut out = format!("ply\nformat binary_little_endian 1.0\ncomment lengths in mm\nelement vertex {points}\n");
    let numbers = ["x", "y", "z"].into_iter().chain(normals.then_some(["nx", "ny", "nz"]).into_iter().flatten());
    out.extend(numbers.map(|name| format!("property double {name}\n")));
    if colours {
        out.extend(["red", "green", "blue"].map(|name| format!("property uchar {name}\n")));
    }
    if triangles > 0 {
        out += &format!("element face {triangles}\nproperty list uchar int vertex_indices\n");
    }
    out + "end_header\n"
}
