//! Binary STL: 84 + 50 n bytes; the format carries no unit, so the header says mm.
use crate::geom::TriMesh;
use nalgebra::Vector3;
use stl_io::{Normal, Triangle, Vertex};

/// A binary STL file of a mesh in mm.
pub fn write_stl(mesh: &TriMesh) -> Vec<u8> {
    let single = |v: Vector3<f64>| [v.x as f32, v.y as f32, v.z as f32];
    let facets: Vec<Triangle> = (0..mesh.triangles.len())
        .map(|t| {
            let [a, b, c] = mesh.corners(t);
            let n = (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_default();
            Triangle { normal: Normal::new(single(n)), vertices: [a, b, c].map(|p| Vertex::new(single(p.coords))) }
        })
        .collect();
    let mut out = Vec::new();
    // writing into memory does not fail
    if stl_io::write_stl(&mut out, facets.iter()).is_ok() {
        let title = b"faydeck, lengths in mm";
        out[..80].fill(b' ');
        out[..title.len()].copy_from_slice(title);
    }
    out
}
