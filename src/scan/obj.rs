//! OBJ: points, their colours, and faces by point number with their materials' pictures; lines and curves are passed over.
//!
//! # References
//! Wavefront, "Object Files (.obj)", appendix B1 of the Advanced Visualizer manual.
use super::mtl::{self, Materials};
use super::raw::{More, Raw, three};
use super::{ReadLimits, Textures, fail};
use crate::error::Result;
use std::borrow::Cow;
use std::collections::BTreeMap;

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

/// What the faces that follow are made of, as the lines before them say.
#[derive(Default)]
struct Dress {
    /// Places in a picture, from its left lower corner, as they are told.
    places: Vec<[f32; 2]>,
    /// Files of materials.
    libraries: Vec<String>,
    /// Materials that faces name, and the place of each in that list.
    names: Vec<String>,
    numbers: BTreeMap<String, u32>,
    current: Option<u32>,
}
impl Dress {
    /// Takes a line that says something of it; false for another.
    fn takes(&mut self, line: &[u8]) -> bool {
        let told = |keyword: &[u8]| {
            let rest = line.strip_prefix(keyword).filter(|r| r.first().is_some_and(u8::is_ascii_whitespace))?;
            Some(String::from_utf8_lossy(rest).trim().to_owned())
        };
        if let Some(place) = told(b"vt") {
            let mut numbers = place.split_ascii_whitespace().map(|w| w.parse().unwrap_or(f32::NAN));
            // the second may be left out, and is 0 then
            self.places.push([numbers.next().unwrap_or(f32::NAN), numbers.next().unwrap_or(0.0)]);
        } else if let Some(name) = told(b"usemtl") {
            let next = self.names.len() as u32;
            self.current = Some(*self.numbers.entry(name).or_insert_with_key(|name| {
                self.names.push(name.clone());
                next
            }));
        } else if let Some(name) = told(b"mtllib") {
            self.libraries.push(name);
        } else {
            return false;
        }
        true
    }
    /// The place that a face's corner names after its point, from the picture's left upper corner.
    fn place(&self, word: &str) -> Option<[f32; 2]> {
        let number: i64 = word.split('/').nth(1)?.parse().ok()?;
        let index = if number < 0 { number.checked_add(self.places.len() as i64)? } else { number.checked_sub(1)? };
        self.places.get(usize::try_from(index).ok()?).map(|[u, v]| [*u, 1.0 - v])
    }
    /// The materials of all files that are named; one that is missing is told where it may matter.
    fn materials(&self, textures: Textures, raw: &mut Raw) -> Materials {
        let mut all = Materials::new();
        for name in &self.libraries {
            // a line names one file, whose name may hold blanks, or several
            let one = textures.file(name).map(|f| vec![f]);
            let found = one.or_else(|| name.split_ascii_whitespace().map(|n| textures.file(n)).collect());
            let files: Vec<Vec<u8>> = found.unwrap_or_default();
            if files.is_empty() && !raw.skinned.is_empty() {
                raw.warn(
                    format!("the scan's materials {name} are not beside it: the colours of its textures are not used"),
                    "keep a scan's .mtl file and its textures in its folder, or export it as one file (GLB)",
                );
            }
            files.iter().for_each(|f| mtl::read(f, &mut all));
        }
        all
    }
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    let mut raw = Raw::named("obj", limits);
    let mut dress = Dress::default();
    let (mut polygon, mut places) = (Vec::new(), Vec::new());
    for (at, line) in lines(&joined(bytes)).enumerate() {
        let (place, face) = (after(line, b'v'), after(line, b'f'));
        let Some(rest) = place.or(face) else {
            if textures.wanted() && dress.takes(line) {
                raw.beside_bytes = (size_of::<[f32; 2]>() * dress.places.len()) as u64;
            }
            continue;
        };
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
        places.clear();
        for word in words.take_while(|w| !w.starts_with('#')) {
            // the corners of one endless face are memory too, and are asked for each time that there are twice as many
            if polygon.len().is_power_of_two() {
                raw.allow(More { triangles: 2 * polygon.len() as u64, ..More::default() })?;
            }
            places.extend(dress.current.and_then(|_| dress.place(word)));
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
        let corners = polygon.len() as u64;
        let skin = dress.current.filter(|_| places.len() == polygon.len());
        raw.allow(More { triangles: corners, skinned: skin.map_or(0, |_| corners), ..More::default() })?;
        raw.fan(&polygon);
        if let Some(skin) = skin {
            raw.skin_fan(&polygon, &places, skin);
        }
    }
    let materials = dress.materials(textures, &mut raw);
    mtl::dress(&mut raw, &dress.names, &materials);
    Ok(raw)
}
