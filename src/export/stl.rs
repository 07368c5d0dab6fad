//! Binary STL: 84 + 50 n bytes; the format carries no unit, so the header says mm.
//!
//! # References
//! 3D Systems, "StereoLithography Interface Specification" (1989), binary form: 80 bytes, count, then normal, three corners
//! and two spare bytes a facet (from memory).
use crate::geom::TriMesh;

const TITLE: &[u8] = b"faydeck, lengths in mm";

/// A binary STL file of a mesh in mm.
pub fn write_stl(mesh: &TriMesh) -> Vec<u8> {
    let mut out = TITLE.to_vec();
    out.resize(80, b' ');
    out.extend((mesh.triangles.len() as u32).to_le_bytes());
    for t in 0..mesh.triangles.len() {
        let corners = mesh.corners(t);
        let [a, b, c] = corners;
        let normal = (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_default();
        for v in std::iter::once(normal).chain(corners.map(|p| p.coords)) {
            out.extend(v.iter().flat_map(|x| (*x as f32).to_le_bytes()));
        }
        out.extend([0; 2]);
    }
    out
}
