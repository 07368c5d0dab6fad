//! STL, binary and text: triangles whose equal corners are one point.
//!
//! # References
//! 3D Systems, "StereoLithography Interface Specification" (1989): 80 bytes, a count, 50 bytes a facet.
use super::raw::{More, Raw, three};
use super::{ReadLimits, fail};
use crate::error::{Error, Result};
use std::collections::HashMap;

/// Bytes before the first facet of a binary STL: 80 of header, 4 of count.
const HEADER: usize = 84;
/// Bytes of one facet: a normal and three corners of three floats, and two spare bytes.
const FACET: usize = 50;
/// Where the first corner begins, after the normal.
const CORNERS: usize = 12;
/// The word that opens a text STL; capitals and blanks before it are common.
const SOLID: &[u8] = b"solid";

/// The number of facets that a binary STL's header claims.
fn claims(bytes: &[u8]) -> Option<u32> {
    bytes.get(80..HEADER)?.try_into().ok().map(u32::from_le_bytes)
}
fn wanted_size(facets: u32) -> u64 {
    HEADER as u64 + FACET as u64 * u64::from(facets)
}
pub(super) fn is_binary(bytes: &[u8]) -> bool {
    claims(bytes).is_some_and(|n| bytes.len() as u64 == wanted_size(n))
}
pub(super) fn is_text(bytes: &[u8]) -> bool {
    opens(bytes.trim_ascii_start(), SOLID) && !bytes.contains(&0)
}
fn opens(text: &[u8], word: &[u8]) -> bool {
    text.get(..word.len()).is_some_and(|t| t.eq_ignore_ascii_case(word))
}
/// Whether a file of the wrong size still looks like a binary STL: whole facets at its end are missing or too many, and
/// the first facet's spare bytes and numbers are such as a facet has.
pub(super) fn nearly(bytes: &[u8]) -> bool {
    let Some(first) = bytes.get(HEADER..HEADER + FACET) else { return false };
    // a coordinate of a scan in mm or m; random bytes and text are outside this nine times in ten
    let sensible = |v: f32| v == 0.0 || (1e-6..1e6).contains(&v.abs());
    let numbers = first.as_chunks::<4>().0.iter().all(|c| sensible(f32::from_le_bytes(*c)));
    numbers && claims(bytes).is_some_and(|n| n > 0)
}
pub(super) fn wrong_size(bytes: &[u8]) -> Error {
    let n = claims(bytes).unwrap_or(0);
    fail(format!(
        "the file looks like a binary STL of {n} facets, which takes {} bytes, but it has {} bytes",
        wanted_size(n),
        bytes.len()
    ))
    .hint("the file is cut off or of another format; export it again as PLY, STL or OBJ")
}

/// Bytes that the look-up of a corner takes: its entry, and a seventh more that a table leaves free.
const NUMBERED: u64 = 40;

/// Gives equal corners one number, in the order in which they appear.
#[derive(Default)]
struct Weld {
    number: HashMap<[u64; 3], u64>,
    raw: Raw,
}
impl Weld {
    fn corner(&mut self, p: [f64; 3]) -> u64 {
        // 0 and -0 are one place
        let key = p.map(|c| (c + 0.0).to_bits());
        let next = self.raw.points.len() as u64;
        let number = *self.number.entry(key).or_insert(next);
        if number == next {
            self.raw.beside_bytes += NUMBERED;
            self.raw.points.push(p);
        }
        number
    }
}

pub(super) fn read_binary(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let mut weld = Weld { raw: Raw::named("stl binary", limits), ..Weld::default() };
    for facet in bytes[HEADER..].chunks_exact(FACET) {
        let (numbers, _) = facet[CORNERS..].as_chunks::<4>();
        let value = |i: usize| f64::from(f32::from_le_bytes(numbers[i]));
        let t = [0, 3, 6].map(|i| weld.corner([value(i), value(i + 1), value(i + 2)]));
        weld.raw.triangle(t);
        weld.raw.allow(More::default())?;
    }
    Ok(weld.raw)
}

pub(super) fn read_text(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    const DAMAGED: &str = "export it again, best as binary STL";
    let mut weld = Weld { raw: Raw::named("stl text", limits), ..Weld::default() };
    let (mut open, mut corners) = (false, Vec::new());
    let lines = bytes.split(|&b| b == b'\n' || b == b'\r').map(<[u8]>::trim_ascii).enumerate();
    for (at, line) in lines.filter(|l| !l.1.is_empty()) {
        let wrong = |why: &str| {
            let shown = line[..line.len().min(60)].escape_ascii();
            fail(format!("the STL file's line {} {why}: \"{shown}\"", at + 1)).hint(DAMAGED)
        };
        if opens(line, SOLID) {
            open = true;
        } else if opens(line, b"endsolid") {
            open = false;
        } else if opens(line, b"vertex") {
            let text = std::str::from_utf8(line).map_err(|_| wrong("is no text"))?;
            let p = three(text.split_ascii_whitespace().skip(1)).ok_or_else(|| wrong("has not three numbers"))?;
            corners.push(weld.corner(p));
            weld.raw.allow(More::default())?;
        } else if opens(line, b"endloop") {
            if corners.len() < 3 {
                return Err(wrong(&format!("ends a facet of {} corners", corners.len())));
            }
            weld.raw.fan(&corners);
            corners.clear();
        } else if ![&b"facet"[..], b"outer", b"endfacet"].iter().any(|w| opens(line, w)) {
            return Err(wrong("is none that the format has"));
        }
    }
    if open {
        return Err(fail(format!("the STL file ends after {} bytes without \"endsolid\"", bytes.len()))
            .hint("the file is cut off; export it again"));
    }
    Ok(weld.raw)
}
