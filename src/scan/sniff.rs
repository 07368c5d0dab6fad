//! Which format a file is, by its content.
use super::raw::Raw;
use super::{ReadLimits, Textures, e57, fail, gltf, las, obj, ply, stl, text, threemf};
use crate::error::Result;
use flate2::read::MultiGzDecoder;

const KINDS: &str = "give a PLY, STL, OBJ, glTF, E57, LAS, LAZ, 3MF or XYZ file; most scanning apps export one of them";
/// RFC 1952, 2.3.1.
const GZIP: &[u8] = b"\x1f\x8b";

pub(super) fn read(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    if !bytes.starts_with(GZIP) {
        return plain(bytes, limits, textures);
    }
    let inner = limits.unpack("the gzip file", bytes.len(), MultiGzDecoder::new(bytes))?;
    if inner.starts_with(GZIP) {
        return Err(fail("the gzip file holds another gzip file").hint("unpack it once and give what is inside"));
    }
    let mut raw = plain(&inner, &limits.of_packed(bytes.len()), textures)?;
    raw.format.push_str(", gzip");
    Ok(raw)
}

fn plain(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Raw> {
    if bytes.is_empty() {
        return Err(fail("the file is empty (0 bytes)").hint(KINDS));
    }
    if bytes.starts_with(b"\xff\xfe") || bytes.starts_with(b"\xfe\xff") {
        return Err(fail("the file is UTF-16 text").hint("save it as UTF-8 or plain ASCII text"));
    }
    if ply::is_ply(bytes) {
        ply::read(bytes, limits, textures)
    } else if gltf::is_binary(bytes) {
        gltf::read_binary(bytes, limits, textures)
    } else if bytes.starts_with(b"PK\x03\x04") {
        threemf::read(bytes, limits)
    } else if bytes.starts_with(b"ASTM-E57") {
        e57::read(bytes, limits)
    } else if bytes.starts_with(b"LASF") {
        las::read(bytes, limits)
    } else if stl::is_binary(bytes) {
        stl::read_binary(bytes, limits)
    } else if stl::is_text(bytes) {
        stl::read_text(bytes, limits)
    } else if gltf::is_text(bytes) {
        gltf::read_text(bytes, limits, textures)
    } else if obj::looks_like(bytes) {
        obj::read(bytes, limits, textures)
    } else if text::is_grid(bytes) {
        Err(text::grid())
    } else if let Some(layout) = text::layout(bytes)? {
        text::read(bytes, &layout, limits)
    } else if stl::nearly(bytes) {
        Err(stl::wrong_size(bytes))
    } else {
        // enough to recognise a web page or another format by
        let start = bytes[..bytes.len().min(16)].escape_ascii();
        Err(fail(format!(
            "the file is none of the formats known (PLY, STL, OBJ, glTF, E57, LAS, LAZ, 3MF, XYZ): its {} bytes begin with \"{start}\"",
            bytes.len()
        ))
        .hint(KINDS))
    }
}
