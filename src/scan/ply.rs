//! PLY: the header, checked before anything is believed.
//!
//! # References
//! G. Turk, "The PLY Polygon File Format" (1994).
use super::raw::Raw;
use super::{DAMAGED, ReadLimits, Textures, fail, ply_body};
use crate::error::{Error, Result};

/// Most elements, and most properties of one: files have two or three, and some ten or sixty.
const MOST_NAMES: usize = 1000;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Encoding {
    Ascii,
    Little,
    Big,
}
/// The number types of the format.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Number {
    I8,
    U8,
    I16,
    U16,
    I32,
    U32,
    F32,
    F64,
}
impl Number {
    fn named(word: &str) -> Option<Self> {
        Some(match word {
            "char" | "int8" => Self::I8,
            "uchar" | "uint8" => Self::U8,
            "short" | "int16" => Self::I16,
            "ushort" | "uint16" => Self::U16,
            "int" | "int32" => Self::I32,
            "uint" | "uint32" => Self::U32,
            "float" | "float32" => Self::F32,
            "double" | "float64" => Self::F64,
            _ => return None,
        })
    }
    pub fn bytes(self) -> usize {
        match self {
            Self::I8 | Self::U8 => 1,
            Self::I16 | Self::U16 => 2,
            Self::I32 | Self::U32 | Self::F32 => 4,
            Self::F64 => 8,
        }
    }
    fn real(self) -> bool {
        matches!(self, Self::F32 | Self::F64)
    }
}
pub(super) struct Property {
    pub name: String,
    /// The type of a list's length, for a list.
    pub length: Option<Number>,
    pub kind: Number,
}
pub(super) struct Element {
    pub name: String,
    pub count: usize,
    pub properties: Vec<Property>,
}
impl Element {
    /// Place of the property with this name.
    pub fn find(&self, name: &str) -> Option<usize> {
        self.properties.iter().position(|p| p.name == name)
    }
    /// Fewest bytes of a record: in text a digit and a break for each property.
    fn least(&self, encoding: Encoding) -> usize {
        let of = |p: &Property| match encoding {
            Encoding::Ascii => 2,
            _ => p.length.unwrap_or(p.kind).bytes(),
        };
        self.properties.iter().map(of).sum::<usize>().max(1)
    }
}
pub(super) struct Header {
    pub encoding: Encoding,
    pub elements: Vec<Element>,
    /// Files of pictures that a comment names, by common practice.
    pub textures: Vec<String>,
}

pub(super) fn is_ply(bytes: &[u8]) -> bool {
    bytes.strip_prefix(b"ply").is_some_and(|rest| rest.first().is_none_or(u8::is_ascii_whitespace))
}

/// The lines before "end_header", and the bytes after it. A line ends with a line feed, a carriage return or both.
fn split(bytes: &[u8]) -> Result<(Vec<String>, &[u8])> {
    let mut lines = Vec::new();
    let mut rest = bytes;
    while let Some(n) = rest.iter().position(|&b| b == b'\n' || b == b'\r') {
        // comments need not be UTF-8
        let line = String::from_utf8_lossy(&rest[..n]).trim().to_owned();
        let both = rest[n..].starts_with(b"\r\n");
        rest = &rest[n + 1 + usize::from(both)..];
        if line == "end_header" {
            return Ok((lines, rest));
        }
        lines.push(line);
    }
    Err(fail("the PLY header has no end (\"end_header\")").hint(DAMAGED))
}

fn header(bytes: &[u8]) -> Result<(Header, &[u8])> {
    let bad = |m: String| -> Error { fail(m).hint(DAMAGED) };
    let few = |n: usize, what: &str| {
        let most = || bad(format!("the PLY header has more than {MOST_NAMES} {what}"));
        (n < MOST_NAMES).then_some(()).ok_or_else(most)
    };
    let (lines, body) = split(bytes)?;
    let mut encoding = None;
    let mut elements: Vec<Element> = Vec::new();
    let mut textures = Vec::new();
    for line in lines.iter().skip(1) {
        let w: Vec<&str> = line.split_whitespace().collect();
        match w.as_slice() {
            ["comment", "TextureFile", _, ..] => {
                few(textures.len(), "textures")?;
                let name = line.split_once("TextureFile").map_or("", |(_, name)| name.trim());
                textures.push(name.to_owned());
            }
            [] | ["comment" | "obj_info", ..] => {}
            ["format", word, ..] => {
                encoding = Some(match *word {
                    "ascii" => Encoding::Ascii,
                    "binary_little_endian" => Encoding::Little,
                    "binary_big_endian" => Encoding::Big,
                    _ => return Err(bad(format!("the PLY format \"{word}\" is not known"))),
                });
            }
            ["element", name, n] => {
                if elements.iter().any(|e| e.name == *name) {
                    return Err(bad(format!("the PLY header names the element \"{name}\" twice")));
                }
                let count = n.parse().map_err(|_| {
                    bad(format!("the PLY header promises {n} records \"{name}\", which is no possible number"))
                })?;
                few(elements.len(), "elements")?;
                elements.push(Element { name: (*name).to_owned(), count, properties: Vec::new() });
            }
            ["property", kinds @ .., name] => {
                let unknown = || bad(format!("the PLY header's line \"{line}\" has no known type"));
                let (length, kind) = match kinds {
                    ["list", length, kind] => {
                        let length = Number::named(length).filter(|l| !l.real()).ok_or_else(unknown)?;
                        (Some(length), Number::named(kind))
                    }
                    [kind] => (None, Number::named(kind)),
                    _ => (None, None),
                };
                let element = elements
                    .last_mut()
                    .ok_or_else(|| bad(format!("the PLY header has \"{line}\" before any element")))?;
                if element.find(name).is_some() {
                    let of = &element.name;
                    return Err(bad(format!("the PLY header names the property \"{name}\" of \"{of}\" twice")));
                }
                few(element.properties.len(), "properties of one element")?;
                let name = (*name).to_owned();
                element.properties.push(Property { name, length, kind: kind.ok_or_else(unknown)? });
            }
            _ => return Err(bad(format!("the PLY header has the line \"{line}\", which means nothing"))),
        }
    }
    let encoding = encoding.ok_or_else(|| bad("the PLY header does not say its format".into()))?;
    for e in &elements {
        let least = e.least(encoding);
        if e.count.saturating_mul(least) > body.len().saturating_add(1) {
            return Err(bad(format!(
                "the PLY header promises {} records \"{}\" of at least {least} bytes, but only {} bytes follow",
                e.count,
                e.name,
                body.len()
            )));
        }
    }
    Ok((Header { encoding, elements, textures }, body))
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    let (mut header, body) = header(bytes)?;
    if !textures.wanted() {
        header.textures.clear();
    }
    let vertex = header.elements.iter().find(|e| e.name == "vertex").ok_or_else(|| {
        fail("the PLY file has no element \"vertex\"").hint("export the scan as points or a mesh with vertices")
    })?;
    for axis in ["x", "y", "z"] {
        if vertex.find(axis).is_none_or(|i| vertex.properties[i].length.is_some()) {
            return Err(fail(format!("the vertices of the PLY file have no property \"{axis}\"")).hint(DAMAGED));
        }
    }
    ply_body::read(&header, body, limits)
}
