//! OBJ by its crate; a file of points alone is read too.
use super::{Raw, fail};
use crate::error::Result;
use std::io::Cursor;

/// Lines looked at before a text is said not to be an OBJ file: room for a long comment.
const LINES: usize = 200;

pub(super) fn looks_like(bytes: &[u8]) -> bool {
    bytes.split(|&b| b == b'\n').take(LINES).any(|l| l.starts_with(b"v ") || l.starts_with(b"v\t"))
}
pub(super) fn read(bytes: &[u8]) -> Result<Raw> {
    let wrong = |e: &dyn std::fmt::Display| {
        fail(format!("the OBJ file cannot be read: {e}")).hint("export the scan again, best as PLY")
    };
    let mut raw = Raw::default();
    // the crate gives the points of faces only, so points are read here and faces there
    for line in bytes.split(|&b| b == b'\n') {
        let Some(rest) = line.strip_prefix(b"v ").or_else(|| line.strip_prefix(b"v\t")) else { continue };
        let text = std::str::from_utf8(rest).map_err(|e| wrong(&e))?;
        let mut numbers = text.split_whitespace().map(str::parse::<f64>);
        let mut p = [0.0; 3];
        for c in &mut p {
            *c = match numbers.next() {
                Some(Ok(v)) => v,
                _ => return Err(wrong(&format!("the point \"{}\" has not three numbers", text.trim()))),
            };
        }
        raw.points.push(p);
    }
    let options = tobj::LoadOptions { triangulate: true, ..Default::default() };
    let faces = tobj::load_obj_buf(&mut Cursor::new(bytes), &options, |_| Err(tobj::LoadError::OpenFileFailed));
    match faces {
        Ok((models, _)) => {
            for m in models {
                // the crate numbers the points of each model anew: match by value, exactly
                let n = m.mesh.positions.len() / 3;
                let base = raw.points.len() as u64;
                if m.mesh.indices.is_empty() {
                    continue;
                }
                raw.points.extend((0..n).map(|i| std::array::from_fn(|k| f64::from(m.mesh.positions[3 * i + k]))));
                raw.triangles
                    .extend(m.mesh.indices.chunks_exact(3).map(|t| [t[0], t[1], t[2]].map(|i| base + u64::from(i))));
            }
            if !raw.triangles.is_empty() {
                // keep the mesh's own points only: they are the same ones
                let first = raw.triangles.iter().flatten().copied().min().unwrap_or(0);
                raw.points.drain(..first as usize);
                for i in raw.triangles.iter_mut().flatten() {
                    *i -= first;
                }
            }
            Ok(raw)
        }
        Err(tobj::LoadError::ReadError) | Err(tobj::LoadError::GenericFailure) => Err(wrong(&"unreadable")),
        Err(e) => Err(wrong(&e)),
    }
}
