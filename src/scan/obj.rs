//! OBJ: points, their colours, and faces by point number; lines, curves, textures and materials are passed over.
//!
//! # References
//! Wavefront, "Object Files (.obj)", appendix B1 of the Advanced Visualizer manual.
use super::raw::{More, Raw, three};
use super::{ReadLimits, fail};
use crate::error::Result;
use std::borrow::Cow;

/// Lines looked at, beside comments and blank ones, before a text is said not to be an OBJ file: names and libraries.
const LINES: usize = 200;

/// The lines of the file without blanks around them or a byte order mark before them.
fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    bytes.split(|&b| b == b'\n').map(<[u8]>::trim_ascii)
}
/// What follows the keyword, where the line has it.
fn after(line: &[u8], keyword: u8) -> Option<&[u8]> {
    line.strip_prefix(&[keyword]).filter(|rest| rest.starts_with(b" ") || rest.starts_with(b"\t"))
}
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    lines(bytes).filter(|l| !l.is_empty() && !l.starts_with(b"#")).take(LINES).any(|l| after(l, b'v').is_some())
}
/// A line that ends with a backslash goes on in the next one.
fn joined(bytes: &[u8]) -> Cow<'_, [u8]> {
    if !bytes.windows(2).any(|w| w == b"\\\n" || w == b"\\\r") {
        return Cow::Borrowed(bytes);
    }
    let mut out = Vec::with_capacity(bytes.len());
    for line in bytes.split_inclusive(|&b| b == b'\n') {
        match line.trim_ascii_end().strip_suffix(b"\\") {
            Some(part) => out.extend_from_slice(part),
            None => out.extend_from_slice(line),
        }
    }
    Cow::Owned(out)
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let mut raw = Raw::named("obj", limits);
    let mut polygon = Vec::new();
    for (at, line) in lines(&joined(bytes)).enumerate() {
        let (place, face) = (after(line, b'v'), after(line, b'f'));
        let Some(rest) = place.or(face) else { continue };
        let wrong = |why: &str| {
            let shown = line[..line.len().min(60)].escape_ascii();
            fail(format!("the OBJ file's line {} {why}: \"{shown}\"", at + 1))
                .hint("export the scan again, best as PLY")
        };
        let text = std::str::from_utf8(rest).map_err(|_| wrong("is no text"))?;
        let words = text.split_ascii_whitespace();
        if place.is_some() {
            raw.allow(More { points: 1, colors: 1, ..More::default() })?;
            raw.points.push(three(words.clone()).ok_or_else(|| wrong("has not three numbers"))?);
            // colours after the place are common practice of scanning apps: 0 to 1
            let rgb: Vec<f64> = words.skip(3).filter_map(|w| w.parse().ok()).collect();
            if let [r, g, b] = rgb[..] {
                raw.colors.push([r, g, b].map(|c| (255.0 * c).round().clamp(0.0, 255.0) as u8));
            }
            continue;
        }
        polygon.clear();
        for word in words.take_while(|w| !w.starts_with('#')) {
            // place/texture/normal, numbered from 1, or from the last backwards
            let number: i64 =
                word.split('/').next().and_then(|n| n.parse().ok()).ok_or_else(|| wrong("names no point"))?;
            let index = if number < 0 { number.checked_add(raw.points.len() as i64) } else { number.checked_sub(1) };
            polygon.push(
                index.and_then(|i| u64::try_from(i).ok()).ok_or_else(|| wrong("names a point before the first"))?,
            );
        }
        if polygon.len() < 3 {
            return Err(wrong("is a face of fewer than three points"));
        }
        raw.allow(More { triangles: polygon.len() as u64, ..More::default() })?;
        raw.fan(&polygon);
    }
    Ok(raw)
}
