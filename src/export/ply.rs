//! PLY, binary little endian, double.
use nalgebra::{Point3, Vector3};
use ply_rs::ply::{Addable, DefaultElement, ElementDef, Encoding, Header, PropertyDef, PropertyType, ScalarType};
use ply_rs::writer::Writer;

/// A PLY file of points in mm, with normals and triangles where given; normals not one per point are left out.
pub fn write_ply(points: &[Point3<f64>], normals: Option<&[Vector3<f64>]>, triangles: &[[u32; 3]]) -> Vec<u8> {
    let normals = normals.filter(|n| n.len() == points.len());
    let Some(mut out) = header(points.len(), normals.is_some(), triangles.len()) else { return Vec::new() };
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

/// The header's bytes; the numbers behind it are written directly, for a scan has millions of them.
fn header(points: usize, normals: bool, triangles: usize) -> Option<Vec<u8>> {
    let mut header = Header::new();
    header.encoding = Encoding::BinaryLittleEndian;
    header.comments.push("lengths in mm".into());
    let mut vertex = ElementDef::new("vertex".into());
    vertex.count = points;
    let names = ["x", "y", "z", "nx", "ny", "nz"];
    for name in &names[..if normals { 6 } else { 3 }] {
        vertex.properties.add(PropertyDef::new((*name).into(), PropertyType::Scalar(ScalarType::Double)));
    }
    header.elements.add(vertex);
    if triangles > 0 {
        let mut face = ElementDef::new("face".into());
        face.count = triangles;
        let list = PropertyType::List(ScalarType::UChar, ScalarType::Int);
        face.properties.add(PropertyDef::new("vertex_indices".into(), list));
        header.elements.add(face);
    }
    let mut out = Vec::new();
    // writing into memory does not fail
    Writer::<DefaultElement>::new().write_header(&mut out, &header).ok()?;
    Some(out)
}
