//! PLY, binary little endian, double.
use nalgebra::{Point3, Vector3};
use ply_rs::ply::{Addable, DefaultElement, ElementDef, Encoding, Header, PropertyDef, PropertyType, ScalarType};
use ply_rs::writer::Writer;

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
    let has = (normals.is_some(), colours.is_some());
    let Some(mut out) = header(points.len(), has.0, has.1, triangles.len()) else { return Vec::new() };
    let put = |out: &mut Vec<u8>, numbers: &[f64]| numbers.iter().for_each(|v| out.extend_from_slice(&v.to_le_bytes()));
    for (i, p) in points.iter().enumerate() {
        put(&mut out, p.coords.as_slice());
        if let Some(n) = normals.and_then(|n| n.get(i)) {
            put(&mut out, n.as_slice());
        }
        if let Some(c) = colours.and_then(|c| c.get(i)) {
            out.extend_from_slice(c);
        }
    }
    for t in triangles {
        out.push(3);
        t.iter().for_each(|i| out.extend_from_slice(&i.to_le_bytes()));
    }
    out
}

/// The header's bytes; the numbers behind it are written directly, for a scan has millions of them.
fn header(points: usize, normals: bool, colours: bool, triangles: usize) -> Option<Vec<u8>> {
    let mut header = Header::new();
    header.encoding = Encoding::BinaryLittleEndian;
    header.comments.push("lengths in mm".into());
    let mut vertex = ElementDef::new("vertex".into());
    vertex.count = points;
    let mut add = |name: &str, kind| vertex.properties.add(PropertyDef::new(name.into(), PropertyType::Scalar(kind)));
    let numbers = ["x", "y", "z", "nx", "ny", "nz"];
    numbers[..if normals { 6 } else { 3 }].iter().for_each(|name| add(name, ScalarType::Double));
    if colours {
        ["red", "green", "blue"].iter().for_each(|name| add(name, ScalarType::UChar));
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
