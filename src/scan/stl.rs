//! STL by its crate, with the size rule checked first.
use super::{Raw, fail};
use crate::error::{Error, Result};
use std::io::Cursor;

/// Bytes before the first facet of a binary STL: 80 of header, 4 of count.
pub(super) const HEADER: usize = 84;
/// Bytes of one facet.
const FACET: usize = 50;

/// The number of facets that a binary STL's header claims.
pub(super) fn claims(bytes: &[u8]) -> Option<u32> {
    bytes.get(80..HEADER)?.try_into().ok().map(u32::from_le_bytes)
}
pub(super) fn is_binary(bytes: &[u8]) -> bool {
    claims(bytes).is_some_and(|n| bytes.len() as u64 == HEADER as u64 + FACET as u64 * u64::from(n))
}
/// The word that opens a text STL; capitals and blanks before it are common.
const SOLID: &[u8] = b"solid";

pub(super) fn is_ascii(bytes: &[u8]) -> bool {
    opens(bytes.trim_ascii_start(), SOLID) && !bytes.contains(&0)
}
fn opens(text: &[u8], word: &[u8]) -> bool {
    text.get(..word.len()).is_some_and(|t| t.eq_ignore_ascii_case(word))
}
pub(super) fn wrong_size(bytes: &[u8]) -> Error {
    let n = claims(bytes).unwrap_or(0);
    let want = HEADER as u64 + FACET as u64 * u64::from(n);
    fail(format!(
        "the file looks like a binary STL of {n} facets, which takes {want} bytes, but it has {} bytes",
        bytes.len()
    ))
    .hint("the file is cut off or of another format; export it again as PLY, STL or OBJ")
}
/// One lower-case solid of all the solids of a text STL: the crate stops after the first and wants it named.
fn one_solid(bytes: &[u8]) -> Result<Vec<u8>> {
    let mut out = b"solid all\n".to_vec();
    let mut open = false;
    for line in bytes.split(|&b| b == b'\n').map(<[u8]>::trim_ascii).filter(|l| !l.is_empty()) {
        if opens(line, SOLID) {
            open = true;
        } else if opens(line, b"endsolid") {
            open = false;
        } else {
            out.extend(line.to_ascii_lowercase());
            out.push(b'\n');
        }
    }
    if open {
        return Err(fail(format!("the STL file ends after {} bytes without \"endsolid\"", bytes.len()))
            .hint("the file is cut off; export it again"));
    }
    out.extend(b"endsolid\n");
    Ok(out)
}
pub(super) fn read(bytes: &[u8]) -> Result<Raw> {
    let copy;
    let bytes = if !is_binary(bytes) {
        copy = one_solid(bytes)?;
        &copy
    } else if bytes.starts_with(SOLID) {
        // the size has settled that it is binary; the crate would go by the header's first line
        let mut plain = bytes.to_vec();
        plain[..SOLID.len()].fill(b' ');
        copy = plain;
        &copy
    } else {
        bytes
    };
    let mesh = stl_io::read_stl(&mut Cursor::new(bytes))
        .map_err(|e| fail(format!("the STL file cannot be read: {e}")).hint("export it again, best as binary STL"))?;
    Ok(Raw {
        points: mesh.vertices.iter().map(|v| [f64::from(v[0]), f64::from(v[1]), f64::from(v[2])]).collect(),
        normals: Vec::new(),
        triangles: mesh.faces.iter().map(|f| f.vertices.map(|i| i as u64)).collect(),
    })
}
