//! LAS and LAZ: the header and the records are read here, the compressed records by the crate `laz`.
//!
//! # References
//! ASPRS, "LAS Specification 1.4 - R15" (2019), tables 3, 7 to 17.
use super::raw::{More, Raw};
use super::{DAMAGED, ReadLimits, fail};
use crate::error::Result;
use laz::{LasZipDecompressor, LazItemType, LazVlr};
use std::cell::Cell;
use std::io::{Cursor, Read, Seek, SeekFrom};
use std::ops::Range;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Fewest bytes of a record, by point format 0 to 10.
const RECORD: [usize; 11] = [20, 28, 26, 34, 57, 63, 30, 36, 38, 59, 67];
/// Where a record keeps its colour (three 16-bit values), by point format.
const COLOR: [Option<usize>; 11] =
    [None, None, Some(20), Some(28), None, Some(28), None, Some(30), Some(30), None, Some(30)];
/// Point formats from this one on have the longer record head.
const LONG: usize = 6;
/// The bit of a point format's number that says "compressed".
const PACKED: u8 = 0x80;
/// Bytes of a variable length record's head.
const VLR_HEAD: usize = 54;

fn at<const N: usize>(b: &[u8], i: usize) -> Result<[u8; N]> {
    b.get(i..)
        .and_then(|b| b.first_chunk::<N>())
        .copied()
        .ok_or_else(|| fail(format!("the LAS file ends after {} bytes, within its header", b.len())).hint(DAMAGED))
}
fn word(b: &[u8], i: usize) -> Result<usize> {
    Ok(usize::from(u16::from_le_bytes(at(b, i)?)))
}
fn long(b: &[u8], i: usize) -> Result<usize> {
    // a 32-bit machine holds no file in which the cast could matter
    Ok(u32::from_le_bytes(at(b, i)?) as usize)
}
fn real(b: &[u8], i: usize) -> Result<f64> {
    Ok(f64::from_le_bytes(at(b, i)?))
}

/// What is wanted of each record.
struct Records {
    format: usize,
    scale: [f64; 3],
    offset: [f64; 3],
    colors: Vec<[u16; 3]>,
    withheld: usize,
    raw: Raw,
}
impl Records {
    /// Takes one record, which the caller has checked to be long enough for its format.
    fn take(&mut self, r: &[u8]) -> Result<()> {
        let (flags, bit) = if self.format < LONG { (r[15], 0x80) } else { (r[15], 0x04) };
        if flags & bit != 0 {
            self.withheld += 1;
            return Ok(());
        }
        let mut p = [0.0; 3];
        for k in 0..3 {
            p[k] = f64::from(i32::from_le_bytes(at(r, 4 * k)?)) * self.scale[k] + self.offset[k];
        }
        self.raw.points.push(p);
        if let Some(c) = COLOR[self.format] {
            let of = |k: usize| -> Result<u16> { Ok(u16::from_le_bytes(at(r, c + 2 * k)?)) };
            self.colors.push([of(0)?, of(1)?, of(2)?]);
        }
        Ok(())
    }
    fn finish(mut self) -> Raw {
        // many writers put 8-bit values into the 16-bit fields against the specification
        let shift = if self.colors.iter().flatten().all(|&c| c <= 255) { 0 } else { 8 };
        // a scanner without a camera leaves the fields at nought: that is no black board
        if self.colors.iter().flatten().any(|&c| c > 0) {
            self.raw.colors = self.colors.iter().map(|c| c.map(|v| (v >> shift) as u8)).collect();
        }
        if self.withheld > 0 {
            self.raw.warn(
                format!("{} points are marked as withheld and were left out", self.withheld),
                "export the scan again without the mark if they belong to the board",
            );
        }
        self.raw
    }
}

thread_local! {
    static CAUGHT: Cell<bool> = const { Cell::new(false) };
}
/// Whether a panic on this thread would now be one that the library expects of a crate below, catches and turns into an error
/// (packed points out of range). A program's panic hook may say nothing then, as the error comes out all the same.
pub fn panic_is_caught() -> bool {
    CAUGHT.get()
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let (header_size, data, vlrs) = (word(bytes, 94)?, long(bytes, 96)?, long(bytes, 100)?);
    let packed = at::<1>(bytes, 104)?[0] & PACKED != 0;
    let format = usize::from(at::<1>(bytes, 104)?[0] & 0x3f);
    let stride = word(bytes, 105)?;
    let minor = at::<1>(bytes, 25)?[0];
    let mut count = long(bytes, 107)? as u64;
    if minor >= 4 {
        count = count.max(u64::from_le_bytes(at(bytes, 247)?));
    }
    let Some(&least) = RECORD.get(format) else {
        return Err(fail(format!("the LAS file has points of format {format}, known are 0 to 10")).hint(DAMAGED));
    };
    if stride < least {
        return Err(
            fail(format!("the LAS file's records have {stride} bytes, format {format} needs {least}")).hint(DAMAGED)
        );
    }
    limits.allow_points(count)?;
    let body = bytes.get(data..).unwrap_or_default();
    let three = |i: usize| -> Result<[f64; 3]> { Ok([real(bytes, i)?, real(bytes, i + 8)?, real(bytes, i + 16)?]) };
    let mut records = Records {
        format,
        scale: three(131)?,
        offset: three(155)?,
        colors: Vec::new(),
        withheld: 0,
        raw: Raw::named(format!("{} 1.{minor}, point format {format}", if packed { "laz" } else { "las" }), limits),
    };
    let size = count.saturating_mul(stride as u64);
    if packed && cfg!(panic = "abort") {
        return Err(fail("LAZ cannot be unpacked here, as a damaged file would end the program")
            .hint("save the scan as LAS, PLY or E57, or use the command line"));
    }
    if packed {
        limits.allow("the LAZ file", bytes.len(), size)?;
        records.raw.allow(More { points: count, ..More::default() })?;
        let packing = packing(bytes, header_size, vlrs, stride)?;
        // the crate asserts on codes out of range (one damaged file in some thousands); nothing of it is used afterwards
        let work = AssertUnwindSafe(|| unpack(bytes, data, packing, stride, count, &mut records));
        CAUGHT.set(true);
        let worked = catch_unwind(work);
        CAUGHT.set(false);
        worked.unwrap_or_else(|_| {
            Err(fail("the LAZ file cannot be unpacked: its packed points have codes out of range").hint(DAMAGED))
        })?;
    } else {
        if size > body.len() as u64 {
            return Err(fail(format!(
                "the LAS header promises {count} points of {stride} bytes, but only {} bytes follow",
                body.len()
            ))
            .hint(DAMAGED));
        }
        records.raw.make_room(More { points: count, ..More::default() })?;
        for r in body[..size as usize].chunks_exact(stride) {
            records.take(r)?;
        }
    }
    Ok(records.finish())
}

/// The kind of packing without chunks (LASzip: "pointwise").
const ONE_BY_ONE: usize = 1;

/// The record that says how the points are packed, checked against their size, and whether they are packed one by one.
fn packing(bytes: &[u8], header_size: usize, vlrs: usize, stride: usize) -> Result<(LazVlr, bool)> {
    let mut place = header_size;
    for _ in 0..vlrs {
        let (id, size) = (word(bytes, place + 18)?, word(bytes, place + 20)?);
        let user = at::<16>(bytes, place + 2)?;
        place += VLR_HEAD;
        if user.starts_with(LazVlr::USER_ID.as_bytes()) && id == usize::from(LazVlr::RECORD_ID) {
            let record = bytes.get(place..place + size).unwrap_or_default();
            // 34 bytes, then six for each item: type, size, version
            let mut sum = 0;
            for item in 0..word(record, 32)? {
                sum += word(record, 34 + 6 * item + 2)?;
            }
            let vlr = LazVlr::from_buffer(record).map_err(|e| fail(format!("the LAZ file: {e}")).hint(DAMAGED))?;
            if sum != stride || stride == 0 {
                return Err(fail(format!("the LAZ file packs {sum} bytes a point, but its records have {stride}"))
                    .hint(DAMAGED));
            }
            // the record begins with the kind of packing
            return Ok((vlr, word(record, 0)? == ONE_BY_ONE));
        }
        place += size;
    }
    Err(fail("the LAZ file does not say how its points are packed").hint(DAMAGED))
}

/// Layers of a chunk that an item of a point is packed in (ASPRS LAS 1.4 domain profile of LASzip, from memory).
fn layers(item: LazItemType) -> usize {
    match item {
        LazItemType::Point14 => 9,
        LazItemType::RGB14 | LazItemType::WavePacket14 => 1,
        LazItemType::RGBNIR14 => 2,
        LazItemType::Byte14(n) => n.into(),
        _ => 0,
    }
}
/// The file's bytes for the unpacking, which makes room for each layer of a chunk by the size that stands before them: one larger
/// than the file is refused. A chunk begins with its first point, a count, and those sizes.
struct Guarded<'a> {
    source: Cursor<&'a [u8]>,
    /// Bytes read since the point now unpacked was asked for: past 0 only for the first of a chunk.
    read: Arc<AtomicUsize>,
    /// Where the sizes begin and end, in such bytes.
    sizes: Range<usize>,
}
impl Read for Guarded<'_> {
    fn read(&mut self, to: &mut [u8]) -> std::io::Result<usize> {
        let n = self.source.read(to)?;
        let at = self.read.fetch_add(n, Ordering::Relaxed);
        if self.sizes.contains(&at)
            && let Some(size) = to.first_chunk().map(|b| u32::from_le_bytes(*b))
            && u64::from(size) > self.source.get_ref().len() as u64
        {
            return Err(std::io::Error::other(format!("a layer has {size} bytes, more than the file")));
        }
        Ok(n)
    }
}
impl Seek for Guarded<'_> {
    fn seek(&mut self, to: SeekFrom) -> std::io::Result<u64> {
        self.source.seek(to)
    }
}

fn unpack(
    bytes: &[u8],
    data: usize,
    (vlr, one_by_one): (LazVlr, bool),
    stride: usize,
    count: u64,
    to: &mut Records,
) -> Result<()> {
    let wrong = |e: &dyn std::fmt::Display| fail(format!("the LAZ file cannot be unpacked: {e}")).hint(DAMAGED);
    // the table of chunks, at the place that the data begins with or the file ends with, starts with its own length, for
    // which the crate makes room
    let end = bytes.len().saturating_sub(8);
    // points packed one by one, as the first versions did, have no chunks and no table
    let tables = if one_by_one { &[][..] } else { &[data, end][..] };
    for &place in tables {
        let table = u64::from_le_bytes(at(bytes, place)?);
        if let Some(chunks) = usize::try_from(table).ok().and_then(|t| t.checked_add(4)).map(|t| long(bytes, t))
            && chunks.is_ok_and(|n| n > bytes.len())
        {
            return Err(wrong(&format!("its table of chunks is longer than its {} bytes", bytes.len())));
        }
    }
    let read = Arc::new(AtomicUsize::new(0));
    let before = stride + size_of::<u32>();
    let sizes = size_of::<u32>() * vlr.items().iter().map(|i| layers(i.item_type())).sum::<usize>();
    let mut source = Guarded { source: Cursor::new(bytes), read: Arc::clone(&read), sizes: before..before + sizes };
    source.source.set_position(data as u64);
    let mut unpacker = LasZipDecompressor::new(source, vlr).map_err(|e| wrong(&e))?;
    let mut point = vec![0; stride];
    for _ in 0..count {
        read.store(0, Ordering::Relaxed);
        unpacker.decompress_one(&mut point).map_err(|e| wrong(&e))?;
        to.take(&point)?;
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::super::{ReadLimits, read_scan};

    /// The fixture packed in chunks, all of whose points lie in one, as the first versions of the format packed them: the same
    /// codes without a table and its place before them.
    #[test]
    fn a_file_of_the_first_laz_versions_is_read_and_not_called_damaged() {
        let chunked = include_bytes!("../../fixtures/scans/grid-1.2.laz");
        let data = u32::from_le_bytes(*chunked[96..].first_chunk().unwrap()) as usize;
        let mut bytes = [&chunked[..data], &chunked[data + 8..]].concat();
        let record = bytes.windows(13).position(|w| w == b"laszip encode").unwrap() - 2 + super::VLR_HEAD;
        assert_eq!(bytes[record..record + 2], [2, 0]);
        bytes[record] = 1;
        let (got, want) = (read_scan(&bytes).unwrap().value, read_scan(chunked).unwrap().value);
        assert_eq!((got.points, got.colors), (want.points, want.colors));
    }
    /// Point format 2: 26 bytes, the colour at 20.
    fn las(colors: &[[u16; 3]]) -> Vec<u8> {
        let mut b = vec![0; 227];
        b[..4].copy_from_slice(b"LASF");
        (b[24], b[25], b[104]) = (1, 2, 2);
        b[94..96].copy_from_slice(&227u16.to_le_bytes());
        b[96..100].copy_from_slice(&227u32.to_le_bytes());
        b[105..107].copy_from_slice(&26u16.to_le_bytes());
        b[107..111].copy_from_slice(&(colors.len() as u32).to_le_bytes());
        (0..3).for_each(|k| b[131 + 8 * k..139 + 8 * k].copy_from_slice(&1f64.to_le_bytes()));
        for (i, c) in colors.iter().enumerate() {
            let mut r = [0; 26];
            r[..4].copy_from_slice(&(i as i32).to_le_bytes());
            (0..3).for_each(|k| r[20 + 2 * k..22 + 2 * k].copy_from_slice(&c[k].to_le_bytes()));
            b.extend(r);
        }
        b
    }
    #[test]
    fn a_scanner_without_a_camera_gives_no_black_board() {
        assert_eq!(read_scan(&las(&[[0; 3]; 4])).unwrap().value.colors, None);
        let some = read_scan(&las(&[[0; 3], [65535, 256, 0]])).unwrap().value;
        assert_eq!(some.colors, Some(vec![[0; 3], [255, 1, 0]]));
        let limits = ReadLimits { memory_bytes: 40, ..ReadLimits::default() };
        let e = super::super::read_scan_within(&las(&[[0; 3]; 4]), &limits).unwrap_err();
        assert!(e.message().contains("4 points") && e.hint_text().is_some(), "{e}");
    }
}
