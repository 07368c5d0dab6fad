//! OBJ by its crate; a file of points alone is read too.
use super::fail;
use super::raw::Raw;
use crate::error::Result;
use std::collections::HashMap;
use std::io::Cursor;

/// Lines looked at, beside comments and blank ones, before a text is said not to be an OBJ file: names and libraries.
const LINES: usize = 200;

/// The lines of the file without blanks around them or a byte order mark before them.
fn lines(bytes: &[u8]) -> impl Iterator<Item = &[u8]> {
    without_mark(bytes).split(|&b| b == b'\n').map(<[u8]>::trim_ascii)
}
fn without_mark(bytes: &[u8]) -> &[u8] {
    bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes)
}
fn point(line: &[u8]) -> Option<&[u8]> {
    line.strip_prefix(b"v ").or_else(|| line.strip_prefix(b"v\t"))
}
pub(super) fn looks_like(bytes: &[u8]) -> bool {
    lines(bytes).filter(|l| !l.is_empty() && !l.starts_with(b"#")).take(LINES).any(|l| point(l).is_some())
}
pub(super) fn read(bytes: &[u8]) -> Result<Raw> {
    let wrong = |e: &dyn std::fmt::Display| {
        fail(format!("the OBJ file cannot be read: {e}")).hint("export the scan again, best as PLY")
    };
    let mut raw = Raw::named("obj");
    // the crate gives the points of faces only, rounded to f32 and numbered anew in every group: points are read here,
    // and a face finds its own by the rounded value
    let mut by_value: HashMap<[u32; 3], u64> = HashMap::new();
    for rest in lines(bytes).filter_map(point) {
        let text = std::str::from_utf8(rest).map_err(|e| wrong(&e))?;
        let mut words = text.split_whitespace();
        let (mut p, mut rounded) = ([0.0; 3], [0; 3]);
        for k in 0..3 {
            let word = words.next().unwrap_or("");
            match (word.parse::<f64>(), word.parse::<f32>()) {
                (Ok(v), Ok(r)) => (p[k], rounded[k]) = (v, r.to_bits()),
                _ => return Err(wrong(&format!("the point \"{}\" has not three numbers", text.trim()))),
            }
        }
        by_value.entry(rounded).or_insert(raw.points.len() as u64);
        raw.points.push(p);
        // colours after the place are common practice of scanning apps: 0 to 1
        let rgb: Vec<f64> = words.filter_map(|w| w.parse().ok()).collect();
        if let [r, g, b] = rgb[..] {
            raw.colors.push([r, g, b].map(|c| (255.0 * c).round().clamp(0.0, 255.0) as u8));
        }
    }
    let options =
        tobj::LoadOptions { triangulate: true, ignore_points: true, ignore_lines: true, ..Default::default() };
    let faces =
        tobj::load_obj_buf(&mut Cursor::new(without_mark(bytes)), &options, |_| Err(tobj::LoadError::OpenFileFailed));
    let models = match faces {
        Ok((models, _)) => models,
        Err(tobj::LoadError::ReadError | tobj::LoadError::GenericFailure) => return Err(wrong(&"unreadable")),
        Err(e) => return Err(wrong(&e)),
    };
    for m in models {
        let corners: Option<Vec<u64>> = m
            .mesh
            .indices
            .iter()
            .map(|&i| {
                let p = m.mesh.positions.get(3 * i as usize..)?.first_chunk::<3>()?;
                by_value.get(&p.map(f32::to_bits)).copied()
            })
            .collect();
        let corners = corners.ok_or_else(|| wrong(&"a face names a point that is not in the file"))?;
        raw.triangles.extend(corners.as_chunks::<3>().0);
    }
    Ok(raw)
}
