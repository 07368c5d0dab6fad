//! E57 by its crate: all clouds, each at its pose.
//!
//! # References
//! ASTM E2807-11: metres; spherical or Cartesian points, scaled integers, states of invalid points.
use super::raw::{More, Raw};
use super::{ReadLimits, fail};
use crate::error::Result;
use e57::{CartesianCoordinate, E57Reader, PointCloud};
use std::io::Cursor;

/// Points that a byte of the file can hold at most: one bit each. A file may state more at no cost at all.
const POINTS_PER_BYTE: u64 = 8;
/// Packets in a row without a whole point (indices, parts of a point) before a file is given up: more than any index has.
const EMPTY_PACKETS: usize = 1000;
/// The standard's unit of length is the metre.
const METRE_MM: f64 = 1000.0;

/// Most attributes of an element: real ones have some ten, and each is compared with all before it.
const MOST_ATTRIBUTES: usize = 1000;

/// The most attributes that an element of `xml` has, by its equals signs outside of quotation marks.
fn most_attributes(xml: &[u8]) -> usize {
    // what is no element ends with its own mark
    const OTHER: [(&[u8], &[u8]); 3] = [(b"<!--", b"-->"), (b"<![CDATA[", b"]]>"), (b"<?", b"?>")];
    let find = |from: usize, what: &[u8]| xml[from..].windows(what.len()).position(|w| w == what).map(|n| from + n);
    let (mut at, mut most) = (0, 0);
    while let Some(start) = find(at, b"<") {
        if let Some((_, end)) = OTHER.iter().find(|(begin, _)| xml[start..].starts_with(begin)) {
            at = find(start, end).map_or(xml.len(), |n| n + end.len());
            continue;
        }
        let (mut quote, mut now) = (None, 0);
        at = xml.len();
        for (i, &b) in xml.iter().enumerate().skip(start) {
            match (quote, b) {
                (Some(q), _) if q == b => quote = None,
                (Some(_), _) => {}
                (None, b'"' | b'\'') => quote = Some(b),
                (None, b'=') => now += 1,
                (None, b'>') => {
                    at = i + 1;
                    break;
                }
                _ => {}
            }
        }
        most = most.max(now);
    }
    most
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let wrong = |e: &dyn std::fmt::Display| {
        fail(format!("the E57 file cannot be read: {e}")).hint("the file is damaged or cut off; export it again")
    };
    let xml = E57Reader::raw_xml(Cursor::new(bytes)).map_err(|e| wrong(&e))?;
    let attributes = most_attributes(&xml);
    if attributes > MOST_ATTRIBUTES {
        return Err(wrong(&format!(
            "an element of its description has {attributes} attributes, the limit is {MOST_ATTRIBUTES}"
        )));
    }
    let mut file = E57Reader::new(Cursor::new(bytes)).map_err(|e| wrong(&e))?;
    let clouds = file.pointclouds();
    let count = clouds.iter().fold(0u64, |n, c| n.saturating_add(c.records));
    if count > POINTS_PER_BYTE.saturating_mul(bytes.len() as u64) {
        return Err(wrong(&format!("it promises {count} points, more than its {} bytes can hold", bytes.len())));
    }
    limits.allow_points(count)?;
    let mut raw = Raw::named(format!("e57, {} clouds", clouds.len()), &limits.of_packed(bytes.len()));
    raw.unit_mm = Some(METRE_MM);
    let colored = clouds.iter().all(PointCloud::has_color);
    raw.make_room(More { points: count, colors: if colored { count } else { 0 }, ..More::default() })?;
    let mut invalid = 0;
    for cloud in &clouds {
        let mut points = file.pointcloud_simple(cloud).map_err(|e| wrong(&e))?;
        points.spherical_to_cartesian(true);
        points.intensity_to_color(false);
        points.normalize_color(true);
        points.apply_pose(true);
        let mut empty = 0;
        for point in points {
            let point = match point {
                // what the crate says of a packet without a whole point in it; the next one goes on
                Err(e57::Error::Internal { .. }) if empty < EMPTY_PACKETS => {
                    empty += 1;
                    continue;
                }
                point => point.map_err(|e| wrong(&e))?,
            };
            empty = 0;
            let CartesianCoordinate::Valid { x, y, z } = point.cartesian else {
                invalid += 1;
                continue;
            };
            raw.points.push([x, y, z]);
            if colored && let Some(c) = point.color {
                raw.colors.push([c.red, c.green, c.blue].map(|v| (255.0 * v).round().clamp(0.0, 255.0) as u8));
            }
        }
    }
    if invalid > 0 {
        raw.warn(
            format!("{invalid} of {count} points are marked as invalid and were left out"),
            "scan again if parts of the board are missing",
        );
    }
    Ok(raw)
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_description_that_would_take_minutes_is_told_by_its_attributes() {
        let many: String = (0..5000).map(|i| format!(" a{i}=\"x=y>\"")).collect();
        for (xml, want) in [
            (format!("<e57Root a='1' b=\"<='\"><x/></e57Root{many}>"), 5000),
            (format!("<!-- it's = --><?a b='?><![CDATA[<'=]]><x{many}/>"), 5000),
            ("<a b='1'>= = =<c d='' e=''/></a>".into(), 2),
            ("a = b".into(), 0),
            ("<a b='".into(), 1),
        ] {
            assert_eq!(most_attributes(xml.as_bytes()), want, "{}", &xml[..xml.len().min(60)]);
        }
    }
}
