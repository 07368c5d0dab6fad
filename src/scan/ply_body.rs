//! PLY: the records, in text or in either byte order, read straight into points and triangles.
use super::ply::{Element, Encoding, Header, Number};
use super::raw::{More, Raw};
use super::skin::{Skin, Source, Wrap};
use super::{DAMAGED, ReadLimits, fail};
use crate::error::{Error, Result};

/// Names of a vertex's place in the picture, right and up, as programs write them.
const IN_PICTURE: [[&str; 2]; 3] = [["s", "t"], ["u", "v"], ["texture_u", "texture_v"]];

/// Where a vertex record keeps what is wanted of it: x, y, z, nx, ny, nz, red, green, blue, and its place in the picture.
struct Wanted {
    places: [Option<usize>; 11],
    normals: bool,
    colors: bool,
    textured: bool,
    /// A colour value times this is 0 to 255.
    color_scale: f64,
}
impl Wanted {
    fn of(e: &Element, textured: bool) -> Self {
        let place = |name: &str| e.find(name).filter(|&i| e.properties[i].length.is_none());
        let either = |name: &str| place(name).or_else(|| place(&format!("diffuse_{name}")));
        let in_picture =
            IN_PICTURE.map(|names| names.map(place)).into_iter().find(|p| p.iter().all(Option::is_some) && textured);
        let [right, up] = in_picture.unwrap_or_default();
        let places = [
            place("x"),
            place("y"),
            place("z"),
            place("nx"),
            place("ny"),
            place("nz"),
            either("red"),
            either("green"),
            either("blue"),
            right,
            up,
        ];
        let all = |r: std::ops::Range<usize>| places[r].iter().all(Option::is_some);
        let color_scale = match places[6].map(|i| e.properties[i].kind) {
            Some(Number::F32 | Number::F64) => 255.0,
            Some(Number::U16) => 255.0 / 65535.0,
            _ => 1.0,
        };
        Self { places, normals: all(3..6), colors: all(6..9), textured: right.is_some(), color_scale }
    }
    /// What `n` records become.
    fn more(&self, n: usize) -> More {
        let [normals, colors] = [self.normals, self.colors].map(|wanted| if wanted { n as u64 } else { 0 });
        More { points: n as u64, normals, colors, ..More::default() }
    }
    fn take(&self, value: impl Fn(usize) -> f64, raw: &mut Raw) {
        let get = |k: usize| self.places[k].map_or(0.0, &value);
        raw.points.push([get(0), get(1), get(2)]);
        if self.normals {
            raw.normals.push([get(3), get(4), get(5)]);
        }
        if self.colors {
            raw.colors.push([6, 7, 8].map(|k| (get(k) * self.color_scale).round().clamp(0.0, 255.0) as u8));
        }
        if self.textured {
            raw.in_picture.push([get(9) as f32, 1.0 - get(10) as f32]);
        }
    }
}

/// The lists of a face that are wanted: its corners, and their places in a picture.
struct FaceLists {
    corners: Option<usize>,
    places: Option<usize>,
    /// Which of the header's pictures; the first where that is not told.
    number: Option<usize>,
    polygon: Vec<u64>,
    in_picture: Vec<[f32; 2]>,
}
impl FaceLists {
    fn of(e: &Element, textured: bool) -> Self {
        let list = |name: &str| e.find(name).filter(|&i| e.name == "face" && e.properties[i].length.is_some());
        Self {
            corners: list("vertex_indices").or_else(|| list("vertex_index")),
            places: list("texcoord").filter(|_| textured),
            number: e.find("texnumber").filter(|&i| e.properties[i].length.is_none()),
            polygon: Vec::new(),
            in_picture: Vec::new(),
        }
    }
    /// Takes the list of property `i`.
    fn take(&mut self, i: usize, values: impl Iterator<Item = f64>) {
        if self.corners == Some(i) {
            self.polygon.clear();
            self.polygon.extend(values.map(index));
        } else if self.places == Some(i) {
            self.in_picture.clear();
            let mut values = values.map(|v| v as f32);
            while let (Some(right), Some(up)) = (values.next(), values.next()) {
                self.in_picture.push([right, 1.0 - up]);
            }
        }
    }
    /// Adds the face whose record has ended.
    fn add(&mut self, values: &[f64], raw: &mut Raw) -> Result<()> {
        if self.corners.is_none() {
            return Ok(());
        }
        let number = self.number.map_or(Some(0), |i| u32::try_from(index(values[i])).ok());
        let known = number.filter(|&n| (n as usize) < raw.skins.len());
        let skin = known.filter(|_| self.places.is_some() && self.in_picture.len() == self.polygon.len());
        let triangles = self.polygon.len() as u64;
        raw.allow(More { triangles, skinned: skin.map_or(0, |_| triangles), ..More::default() })?;
        raw.fan(&self.polygon);
        if let Some(skin) = skin {
            raw.skin_fan(&self.polygon, &self.in_picture, skin);
        }
        Ok(())
    }
}

pub(super) fn read(header: &Header, body: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let name = match header.encoding {
        Encoding::Ascii => "ply ascii",
        Encoding::Little => "ply binary little endian",
        Encoding::Big => "ply binary big endian",
    };
    let mut raw = Raw::named(name, limits);
    for name in &header.textures {
        let picture = raw.picture(name, Source::Beside);
        raw.skin(Skin { picture, wrap: [Wrap::Repeat; 2], factor: [1.0; 3] });
    }
    if let Some(vertex) = header.elements.iter().find(|e| e.name == "vertex" && !header.textures.is_empty()) {
        raw.beside_bytes += (size_of::<[f32; 2]>() * vertex.count) as u64;
    }
    match header.encoding {
        Encoding::Ascii => ascii(header, body, &mut raw)?,
        Encoding::Little => binary::<true>(header, body, &mut raw)?,
        Encoding::Big => binary::<false>(header, body, &mut raw)?,
    }
    // one picture over all of it, laid down at its points
    if !raw.skins.is_empty() && raw.skinned.is_empty() && raw.in_picture.len() == raw.points.len() {
        raw.allow(More { skinned: raw.triangles.len() as u64, ..More::default() })?;
        let in_picture = std::mem::take(&mut raw.in_picture);
        for t in 0..raw.triangles.len() {
            let corners = raw.triangles[t];
            let at = corners.map(|i| in_picture.get(i as usize).copied().unwrap_or([f32::NAN; 2]));
            raw.skin_fan(&corners.map(u64::from), &at, 0);
        }
    }
    Ok(raw)
}

fn cut(e: &Element, done: usize) -> Error {
    fail(format!("the PLY file ends after {done} of {} records \"{}\"", e.count, e.name)).hint(DAMAGED)
}
/// An index; what cannot be one becomes one that no file has, and is refused with those out of range.
fn index(v: f64) -> u64 {
    if v >= 0.0 && v.fract() == 0.0 { v as u64 } else { u64::MAX }
}

fn ascii(header: &Header, body: &[u8], raw: &mut Raw) -> Result<()> {
    let mut lines = body.split(|&b| b == b'\n' || b == b'\r').map(<[u8]>::trim_ascii).filter(|l| !l.is_empty());
    for e in &header.elements {
        let wanted = (e.name == "vertex").then(|| Wanted::of(e, !header.textures.is_empty()));
        wanted.as_ref().map_or(Ok(()), |w| raw.make_room(w.more(e.count)))?;
        let mut face = FaceLists::of(e, !header.textures.is_empty());
        let (mut values, mut list) = (Vec::new(), Vec::new());
        for done in 0..e.count {
            let line = lines.next().ok_or_else(|| cut(e, done))?;
            let wrong = |why: &str| {
                let shown = line[..line.len().min(60)].escape_ascii();
                fail(format!("the PLY file's record {} \"{}\" {why}: \"{shown}\"", done + 1, e.name)).hint(DAMAGED)
            };
            let mut words = std::str::from_utf8(line).map_err(|_| wrong("is no text"))?.split_ascii_whitespace();
            let mut number = || -> Result<f64> {
                let word = words.next().ok_or_else(|| wrong("has too few values"))?;
                word.parse().map_err(|_| wrong("has a value that is no number"))
            };
            values.clear();
            for (i, p) in e.properties.iter().enumerate() {
                if p.length.is_none() {
                    values.push(number()?);
                    continue;
                }
                values.push(0.0);
                let n = number()?;
                if !(n >= 0.0 && n <= line.len() as f64) {
                    return Err(wrong("has a list of impossible length"));
                }
                // a number takes more memory than its word, and a corner becomes a face
                raw.allow(More { triangles: n as u64, ..More::default() })?;
                list.clear();
                for _ in 0..n as usize {
                    list.push(number()?);
                }
                face.take(i, list.iter().copied());
            }
            face.add(&values, raw)?;
            if let Some(w) = &wanted {
                w.take(|i| values[i], raw);
            }
        }
    }
    Ok(())
}

/// The number at `at`, in little or big byte order; the caller has checked that it is there.
#[inline]
fn number<const LITTLE: bool>(b: &[u8], at: usize, kind: Number) -> f64 {
    macro_rules! of {
        ($t:ty) => {{
            let mut a = [0; size_of::<$t>()];
            a.copy_from_slice(&b[at..at + size_of::<$t>()]);
            f64::from(if LITTLE { <$t>::from_le_bytes(a) } else { <$t>::from_be_bytes(a) })
        }};
    }
    match kind {
        Number::I8 => of!(i8),
        Number::U8 => of!(u8),
        Number::I16 => of!(i16),
        Number::U16 => of!(u16),
        Number::I32 => of!(i32),
        Number::U32 => of!(u32),
        Number::F32 => of!(f32),
        Number::F64 => of!(f64),
    }
}

fn binary<const LITTLE: bool>(header: &Header, body: &[u8], raw: &mut Raw) -> Result<()> {
    let mut rest = body;
    for e in &header.elements {
        let wanted = (e.name == "vertex").then(|| Wanted::of(e, !header.textures.is_empty()));
        if e.properties.iter().all(|p| p.length.is_none()) {
            rest = fixed::<LITTLE>(e, wanted.as_ref(), rest, raw)?;
            continue;
        }
        wanted.as_ref().map_or(Ok(()), |w| raw.make_room(w.more(e.count)))?;
        let mut face = FaceLists::of(e, !header.textures.is_empty());
        let mut values = vec![0.0; e.properties.len()];
        for done in 0..e.count {
            for (i, p) in e.properties.iter().enumerate() {
                let size = p.kind.bytes();
                let Some(length) = p.length else {
                    values[i] = number::<LITTLE>(rest.get(..size).ok_or_else(|| cut(e, done))?, 0, p.kind);
                    rest = &rest[size..];
                    continue;
                };
                let n = number::<LITTLE>(rest.get(..length.bytes()).ok_or_else(|| cut(e, done))?, 0, length);
                rest = &rest[length.bytes()..];
                // a negative length becomes one that no file can hold
                let list = usize::try_from(index(n))
                    .ok()
                    .and_then(|n| rest.get(..n.checked_mul(size)?))
                    .ok_or_else(|| cut(e, done))?;
                raw.allow(More { triangles: n as u64, ..More::default() })?;
                face.take(i, (0..list.len() / size).map(|k| number::<LITTLE>(list, k * size, p.kind)));
                rest = &rest[list.len()..];
            }
            face.add(&values, raw)?;
            if let Some(w) = &wanted {
                w.take(|i| values[i], raw);
            }
        }
    }
    Ok(())
}

/// Records of one size: all of them are there or none is read.
fn fixed<'a, const LITTLE: bool>(
    e: &Element,
    wanted: Option<&Wanted>,
    rest: &'a [u8],
    raw: &mut Raw,
) -> Result<&'a [u8]> {
    let mut offsets = Vec::new();
    let mut stride = 0;
    for p in &e.properties {
        offsets.push((stride, p.kind));
        stride += p.kind.bytes();
    }
    let all =
        e.count.checked_mul(stride).and_then(|n| rest.get(..n)).ok_or_else(|| cut(e, rest.len() / stride.max(1)))?;
    if let Some(w) = wanted {
        raw.make_room(w.more(e.count))?;
        for record in all.chunks_exact(stride) {
            w.take(|i| number::<LITTLE>(record, offsets[i].0, offsets[i].1), raw);
        }
    }
    Ok(&rest[all.len()..])
}
