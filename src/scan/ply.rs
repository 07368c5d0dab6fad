//! PLY by its crate, with the header checked first.
use super::{Raw, fail};
use crate::error::Result;
use ply_rs::parser::{Parser, Reader};
use ply_rs::ply::{Property, PropertyAccess, PropertyAccessResult};
use std::collections::BTreeSet;
use std::io::Cursor;

/// A vertex or a face; what the reader needs of either.
#[derive(Default)]
struct Record {
    position: [f64; 3],
    normal: [f64; 3],
    indices: Vec<i64>,
}
impl PropertyAccess for Record {
    fn new() -> Self {
        Self::default()
    }
    fn set_float(&mut self, name: &str, v: f32) -> PropertyAccessResult {
        self.set_number(name, f64::from(v))
    }
    fn set_double(&mut self, name: &str, v: f64) -> PropertyAccessResult {
        self.set_number(name, v)
    }
    fn set_property(&mut self, name: &str, p: Property) -> PropertyAccessResult {
        let list: Vec<i64> = match p {
            Property::Char(v) => return self.set_number(name, f64::from(v)),
            Property::UChar(v) => return self.set_number(name, f64::from(v)),
            Property::Short(v) => return self.set_number(name, f64::from(v)),
            Property::UShort(v) => return self.set_number(name, f64::from(v)),
            Property::Int(v) => return self.set_number(name, f64::from(v)),
            Property::UInt(v) => return self.set_number(name, f64::from(v)),
            Property::Float(v) => return self.set_number(name, f64::from(v)),
            Property::Double(v) => return self.set_number(name, v),
            Property::ListChar(v) => v.into_iter().map(i64::from).collect(),
            Property::ListUChar(v) => v.into_iter().map(i64::from).collect(),
            Property::ListShort(v) => v.into_iter().map(i64::from).collect(),
            Property::ListUShort(v) => v.into_iter().map(i64::from).collect(),
            Property::ListInt(v) => v.into_iter().map(i64::from).collect(),
            Property::ListUInt(v) => v.into_iter().map(i64::from).collect(),
            _ => return PropertyAccessResult::Ignored,
        };
        if name == "vertex_indices" || name == "vertex_index" {
            self.indices = list;
            return PropertyAccessResult::Set;
        }
        PropertyAccessResult::Ignored
    }
}
impl Record {
    fn set_number(&mut self, name: &str, v: f64) -> PropertyAccessResult {
        match name {
            "x" => self.position[0] = v,
            "y" => self.position[1] = v,
            "z" => self.position[2] = v,
            "nx" => self.normal[0] = v,
            "ny" => self.normal[1] = v,
            "nz" => self.normal[2] = v,
            _ => return PropertyAccessResult::Ignored,
        }
        PropertyAccessResult::Set
    }
}

/// Refuses what the crate would accept silently or allocate for: counts that the file cannot hold, names given twice.
/// Returns whether there are normals.
fn check_header(bytes: &[u8]) -> Result<bool> {
    const END: &[u8] = b"end_header";
    let mut end = 0;
    for line in bytes.split_inclusive(|&b| b == b'\n') {
        if line.trim_ascii() == END {
            break;
        }
        end += line.len();
    }
    if end == bytes.len() {
        return Err(fail("the PLY header has no end (\"end_header\")").hint("the file is cut off; export it again"));
    }
    let text = String::from_utf8_lossy(&bytes[..end]);
    let body = bytes.len() - end;
    let (mut element, mut count, mut stride) = (String::new(), 0u64, 0u64);
    let mut names = BTreeSet::new();
    let mut seen = BTreeSet::new();
    let mut of_vertex = BTreeSet::new();
    let hint = "the file is damaged or cut off; export it again";
    let room = |element: &str, count: u64, stride: u64| {
        // every record takes at least a byte, in ASCII (two: a digit and a break) as in binary
        if count.saturating_mul(stride.max(1)) > body as u64 {
            return Err(fail(format!(
                "the PLY header promises {count} records \"{element}\" of at least {stride} bytes, but only {body} bytes follow"
            ))
            .hint(hint));
        }
        Ok(())
    };
    let ascii = text.lines().any(|l| l.trim().starts_with("format ascii"));
    for line in text.lines() {
        let w: Vec<&str> = line.split_whitespace().collect();
        match w.as_slice() {
            ["element", name, n] => {
                room(&element, count, stride)?;
                element = (*name).to_owned();
                if !seen.insert(element.clone()) {
                    return Err(fail(format!("the PLY header names the element \"{element}\" twice")).hint(hint));
                }
                count = n.parse().map_err(|_| {
                    fail(format!("the PLY header promises {n} records \"{name}\", which is no possible number"))
                        .hint(hint)
                })?;
                stride = 0;
                names.clear();
            }
            ["property", rest @ .., name] => {
                if !names.insert((*name).to_owned()) {
                    return Err(
                        fail(format!("the PLY header names the property \"{name}\" of \"{element}\" twice")).hint(hint)
                    );
                }
                if element == "vertex" && rest.first() != Some(&"list") {
                    of_vertex.insert((*name).to_owned());
                }
                let kind = rest.first().copied().unwrap_or("");
                let of = |k: &str| match k {
                    "double" | "float64" => 8,
                    "float" | "float32" | "int" | "int32" | "uint" | "uint32" => 4,
                    "short" | "int16" | "ushort" | "uint16" => 2,
                    _ => 1,
                };
                stride += if ascii {
                    2
                } else if kind == "list" {
                    of(rest.get(1).copied().unwrap_or(""))
                } else {
                    of(kind)
                };
            }
            _ => {}
        }
    }
    room(&element, count, stride)?;
    if !seen.contains("vertex") {
        return Err(
            fail("the PLY file has no element \"vertex\"").hint("export the scan as points or a mesh with vertices")
        );
    }
    let has = |name: &str| of_vertex.contains(name);
    for axis in ["x", "y", "z"] {
        if !has(axis) {
            return Err(fail(format!("the vertices of the PLY file have no property \"{axis}\"")).hint(hint));
        }
    }
    Ok(has("nx") && has("ny") && has("nz"))
}

pub(super) fn read(bytes: &[u8]) -> Result<Raw> {
    let with_normals = check_header(bytes)?;
    let parser = Parser::<Record>::new();
    let mut reader = Reader::new(Cursor::new(bytes));
    let wrong = |e: &dyn std::fmt::Display| {
        fail(format!("the PLY file cannot be read: {e}")).hint("the file is damaged or cut off; export it again")
    };
    let header = parser.read_header(&mut reader).map_err(|e| wrong(&e))?;
    let mut raw = Raw::default();
    for (name, definition) in &header.elements {
        let records = parser.read_payload_for_element(&mut reader, definition, &header).map_err(|e| wrong(&e))?;
        match name.as_str() {
            "vertex" => {
                if with_normals {
                    raw.normals = records.iter().map(|r| r.normal).collect();
                }
                raw.points = records.iter().map(|r| r.position).collect();
            }
            "face" => {
                for r in &records {
                    // a negative index becomes one that no file can have, and is refused with the others
                    let polygon: Vec<u64> = r.indices.iter().map(|&i| u64::try_from(i).unwrap_or(u64::MAX)).collect();
                    raw.fan(&polygon);
                }
            }
            _ => {}
        }
    }
    Ok(raw)
}
