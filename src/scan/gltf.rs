//! glTF, binary and text: the meshes and clouds of the scene at their places.
//!
//! # References
//! Khronos, "glTF 2.0 Specification" (ISO/IEC 12113): 3.6 accessors, 4.4 the binary container.
use super::gltf_nodes::{Node, Scene, place};
use super::raw::Raw;
use super::{ReadLimits, Textures, fail};
use crate::error::{Error, Result};
use serde::Deserialize;
use std::collections::BTreeMap;

const DAMAGED: &str = "the file is damaged or cut off; export it again, best as PLY";
const NAME: &str = "gltf";
/// The standard's unit of length is the metre.
const METRE_MM: f64 = 1000.0;
/// Most items for each that is told, of values that are nought but for those: a scan has hardly a point at its origin.
const SPARSE: usize = 100;
const MAGIC: &[u8] = b"glTF";
const JSON: u32 = 0x4e4f_534a;
const BIN: u32 = 0x004e_4942;

pub(super) fn wrong(why: impl std::fmt::Display) -> Error {
    fail(format!("the glTF file cannot be read: {why}")).hint(DAMAGED)
}
pub(super) fn is_binary(bytes: &[u8]) -> bool {
    bytes.starts_with(MAGIC)
}
pub(super) fn is_text(bytes: &[u8]) -> bool {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    bytes.trim_ascii_start().starts_with(b"{")
}
/// Whether a report's format is this one.
pub(super) fn is_gltf(format: &str) -> bool {
    format.starts_with(NAME)
}

#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Document {
    asset: Asset,
    #[serde(default)]
    extensions_required: Vec<String>,
    #[serde(default)]
    buffers: Vec<Buffer>,
    #[serde(default)]
    buffer_views: Vec<View>,
    #[serde(default)]
    pub accessors: Vec<Accessor>,
    #[serde(default)]
    pub meshes: Vec<Mesh>,
    #[serde(default)]
    pub nodes: Vec<Node>,
    #[serde(default)]
    pub scenes: Vec<Scene>,
    pub scene: Option<usize>,
    /// As they stand: a fault in them costs the colours and nothing else.
    #[serde(default)]
    pub materials: serde_json::Value,
    #[serde(default)]
    pub textures: serde_json::Value,
    #[serde(default)]
    pub samplers: serde_json::Value,
    #[serde(default)]
    pub images: serde_json::Value,
}
#[derive(Deserialize)]
struct Asset {
    version: String,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Buffer {
    uri: Option<String>,
    byte_length: usize,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct View {
    buffer: usize,
    #[serde(default)]
    byte_offset: usize,
    byte_length: usize,
    byte_stride: Option<usize>,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
pub(super) struct Accessor {
    buffer_view: Option<usize>,
    #[serde(default)]
    byte_offset: usize,
    component_type: u32,
    #[serde(default)]
    normalized: bool,
    pub count: usize,
    #[serde(rename = "type")]
    kind: String,
    sparse: Option<Sparse>,
}
/// Values that differ from the accessor's own, or from nought where it has none (3.6.2.3).
#[derive(Deserialize)]
struct Sparse {
    count: usize,
    indices: SparsePart,
    values: SparsePart,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct SparsePart {
    buffer_view: usize,
    #[serde(default)]
    byte_offset: usize,
    /// Of indices alone.
    component_type: Option<u32>,
}
/// Where and how values lie in the buffers.
struct Items {
    what: String,
    view: usize,
    offset: usize,
    kind: u32,
    normalized: bool,
    /// Components of an item, and how many of them are wanted.
    components: usize,
    width: usize,
    count: usize,
}
#[derive(Deserialize)]
pub(super) struct Mesh {
    pub primitives: Vec<Primitive>,
}
#[derive(Deserialize)]
pub(super) struct Primitive {
    pub attributes: BTreeMap<String, usize>,
    pub indices: Option<usize>,
    pub material: Option<usize>,
    pub mode: Option<u32>,
    #[serde(default)]
    pub extensions: BTreeMap<String, serde_json::Value>,
}

/// A document with the bytes of its buffers.
pub(super) struct File<'a> {
    pub document: Document,
    buffers: Vec<std::borrow::Cow<'a, [u8]>>,
}
impl File<'_> {
    /// The values of an accessor whose items have `width` components, or one more, which is left out.
    pub fn values(&self, accessor: usize, width: usize) -> Result<Vec<f64>> {
        let a = self.document.accessors.get(accessor).ok_or_else(|| wrong(format!("it has no accessor {accessor}")))?;
        let components = match a.kind.as_str() {
            "SCALAR" => 1,
            "VEC2" => 2,
            "VEC3" => 3,
            "VEC4" => 4,
            _ => 0,
        };
        if components != width && !(width == 3 && components == 4) {
            return Err(wrong(format!("the accessor {accessor} is {}, where {width} components belong", a.kind)));
        }
        let of = |what: String, view: usize, offset: usize, count: usize| Items {
            what,
            view,
            offset,
            kind: a.component_type,
            normalized: a.normalized,
            components,
            width,
            count,
        };
        let own = |view| self.items(&of(format!("accessor {accessor}"), view, a.byte_offset, a.count));
        let Some(s) = &a.sparse else {
            return own(a.buffer_view.ok_or_else(|| wrong(format!("the accessor {accessor} has no values")))?);
        };
        let what = |part: &str| format!("sparse accessor {accessor}'s list of {part}");
        let values = self.items(&of(what("values"), s.values.buffer_view, s.values.byte_offset, s.count))?;
        let places = self.items(&Items {
            kind: s.indices.component_type.unwrap_or(0),
            normalized: false,
            components: 1,
            width: 1,
            ..of(what("places"), s.indices.buffer_view, s.indices.byte_offset, s.count)
        })?;
        let mut out = match a.buffer_view {
            Some(view) => own(view)?,
            // nothing in the file bears out this number, but for the values that are no nought
            None if a.count <= SPARSE.saturating_mul(s.count) => vec![0.0; a.count * width],
            None => {
                return Err(wrong(format!(
                    "the sparse accessor {accessor} promises {} items, but has only {} of them",
                    a.count, s.count
                )));
            }
        };
        for (place, value) in places.iter().zip(values.chunks_exact(width)) {
            let at = (*place as usize).saturating_mul(width);
            let item = out.get_mut(at..at.saturating_add(width)).ok_or_else(|| {
                wrong(format!("the sparse accessor {accessor} names the item {place} of {}, numbered from 0", a.count))
            })?;
            item.copy_from_slice(value);
        }
        Ok(out)
    }
    /// The bytes of a view.
    pub fn view(&self, view: usize) -> Option<&[u8]> {
        let view = self.document.buffer_views.get(view)?;
        let end = view.byte_offset.checked_add(view.byte_length)?;
        self.buffers.get(view.buffer)?.get(view.byte_offset..end)
    }
    fn items(&self, i: &Items) -> Result<Vec<f64>> {
        let (size, most) = match i.kind {
            5120 => (1, 127.0),
            5121 => (1, 255.0),
            5122 => (2, 32767.0),
            5123 => (2, 65535.0),
            5125 => (4, f64::from(u32::MAX)),
            5126 => (4, 1.0),
            other => return Err(wrong(format!("the {} has the unknown component type {other}", i.what))),
        };
        let view = self.document.buffer_views.get(i.view).ok_or_else(|| wrong(format!("it has no view {}", i.view)))?;
        let buffer = self.buffers.get(view.buffer).ok_or_else(|| wrong(format!("it has no buffer {}", view.buffer)))?;
        let item = size * i.components;
        let stride = view.byte_stride.unwrap_or(item).max(item);
        let holds = |b: &&[u8]| {
            let last = i.count.saturating_sub(1).checked_mul(stride);
            i.count == 0 || item <= b.len() && last.is_some_and(|n| n <= b.len() - item)
        };
        let bytes = view
            .byte_offset
            .checked_add(view.byte_length)
            .and_then(|end| buffer.get(view.byte_offset..end))
            .and_then(|b| b.get(i.offset..))
            .filter(holds)
            .ok_or_else(|| {
                wrong(format!(
                    "the {} promises {} items of {item} bytes, which its buffer of {} bytes does not hold",
                    i.what,
                    i.count,
                    buffer.len()
                ))
            })?;
        let scale = if i.normalized { 1.0 / most } else { 1.0 };
        let mut out = Vec::with_capacity(i.count * i.width);
        for n in 0..i.count {
            for c in 0..i.width {
                let b = &bytes[n * stride + c * size..];
                let v = match (i.kind, b) {
                    (5120, [x, ..]) => f64::from(x.cast_signed()).max(-most),
                    (5121, [x, ..]) => f64::from(*x),
                    (5122, [x, y, ..]) => f64::from(i16::from_le_bytes([*x, *y])),
                    (5123, [x, y, ..]) => f64::from(u16::from_le_bytes([*x, *y])),
                    (5125, [x, y, z, w, ..]) => f64::from(u32::from_le_bytes([*x, *y, *z, *w])),
                    (_, [x, y, z, w, ..]) => f64::from(f32::from_le_bytes([*x, *y, *z, *w])),
                    _ => f64::NAN,
                };
                out.push(v * scale);
            }
        }
        Ok(out)
    }
}

fn other_version(version: impl std::fmt::Display) -> Error {
    wrong(format!("it is of version {version}, read here is version 2"))
}

pub(super) fn read_binary(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    let word = |i: usize| -> Result<u32> {
        let b = bytes.get(i..).and_then(|b| b.first_chunk()).ok_or_else(|| wrong("it ends within its header"))?;
        Ok(u32::from_le_bytes(*b))
    };
    let (version, length) = (word(4)?, word(8)? as usize);
    if version != 2 {
        return Err(other_version(version));
    }
    let all = bytes
        .get(..length)
        .ok_or_else(|| wrong(format!("it promises {length} bytes, but has only {}", bytes.len())))?;
    let (mut json, mut bin) = (None, None);
    let mut at = 12;
    while at + 8 <= all.len() {
        let (size, kind) = (word(at)? as usize, word(at + 4)?);
        let chunk = all[at + 8..].get(..size).ok_or_else(|| wrong("a chunk is longer than the file"))?;
        match kind {
            JSON if json.is_none() => json = Some(chunk),
            BIN if bin.is_none() => bin = Some(chunk),
            _ => {}
        }
        at += 8 + size;
    }
    read("binary", json.ok_or_else(|| wrong("it has no JSON chunk"))?, bin, bytes.len(), limits, textures)
}
pub(super) fn read_text(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    read("text", bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes), None, bytes.len(), limits, textures)
}

fn read(
    encoding: &str,
    json: &[u8],
    bin: Option<&[u8]>,
    size: usize,
    limits: &ReadLimits,
    textures: Textures,
) -> Result<Raw> {
    let document: Document = serde_json::from_slice(json).map_err(wrong)?;
    if !document.asset.version.starts_with("2.") {
        return Err(other_version(document.asset.version));
    }
    for e in &document.extensions_required {
        // what changes only looks is of no concern
        let harmless = ["KHR_materials_", "KHR_texture_", "EXT_texture_", "KHR_lights_", "KHR_mesh_quantization"];
        if !harmless.iter().any(|h| e.starts_with(h)) {
            return Err(packed(e));
        }
    }
    let buffers = document.buffers.iter().enumerate().map(|(i, b)| {
        let data = match &b.uri {
            None if i == 0 => std::borrow::Cow::Borrowed(bin.unwrap_or_default()),
            None => return Err(wrong(format!("its buffer {i} has no bytes"))),
            Some(uri) => std::borrow::Cow::Owned(embedded(uri)?),
        };
        if data.len() < b.byte_length {
            return Err(wrong(format!("its buffer {i} promises {} bytes, but has {}", b.byte_length, data.len())));
        }
        Ok(data)
    });
    let buffers = buffers.collect::<Result<_>>()?;
    let mut raw = Raw::named(format!("{NAME} {encoding}"), limits);
    raw.unit_mm = Some(METRE_MM);
    place(&File { document, buffers }, &|n| limits.allow("the glTF file", size, n), textures, &mut raw)?;
    Ok(raw)
}
/// The refusal of a file whose points are packed in a way that is not read here.
pub(super) fn packed(extension: &str) -> Error {
    let what = if extension == "KHR_draco_mesh_compression" { "Draco-compressed" } else { "packed" };
    fail(format!("the glTF file is {what} (it needs the extension {extension}), which is not read here"))
        .hint("export it without compression, or as PLY")
}

/// The bytes of a data address (RFC 2397, base 64 of RFC 4648).
pub(super) fn embedded(uri: &str) -> Result<Vec<u8>> {
    let Some((head, text)) = uri.strip_prefix("data:").and_then(|r| r.split_once(',')) else {
        let shown: String = uri.chars().take(60).collect();
        return Err(fail(format!("the glTF file keeps its points in another file, \"{shown}\""))
            .hint("export it as one file (GLB)"));
    };
    let other = || wrong("its embedded buffer is not base 64");
    if !head.ends_with(";base64") {
        return Err(other());
    }
    let mut out = Vec::with_capacity(text.len() / 4 * 3);
    let (mut bits, mut n) = (0u32, 0);
    for c in text.bytes() {
        let v = match c {
            b'A'..=b'Z' => c - b'A',
            b'a'..=b'z' => c - b'a' + 26,
            b'0'..=b'9' => c - b'0' + 52,
            b'+' => 62,
            b'/' => 63,
            b'=' => break,
            _ => return Err(other()),
        };
        bits = bits << 6 | u32::from(v);
        n += 6;
        if n >= 8 {
            n -= 8;
            out.push((bits >> n) as u8);
        }
    }
    Ok(out)
}
