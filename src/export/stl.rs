//! Binary STL: 84 + 50 n bytes; the format carries no unit, so the header says mm.
use crate::geom::TriMesh;

/// A binary STL file of a mesh in mm.
pub fn write_stl(mesh: &TriMesh) -> Vec<u8> {
    let mut out = vec![b' '; 80];
    let title = b"faydeck, lengths in mm";
    out[..title.len()].copy_from_slice(title);
    out.extend((mesh.triangles.len() as u32).to_le_bytes());
    for t in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(t);
        let n = (b - a).cross(&(c - a)).try_normalize(0.0).unwrap_or_default();
        for v in [n, a.coords, b.coords, c.coords] {
            for k in 0..3 {
                out.extend((v[k] as f32).to_le_bytes());
            }
        }
        out.extend([0, 0]);
    }
    out
}
