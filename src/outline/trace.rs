//! A rail traced by hand, in the pixels of its photo.
use super::svg::{Drawing, Line, fail, read};
use crate::error::{Error, Result};
use crate::geom::Polygon;

/// Most bytes of an SVG read: a trace has some thousands, a photo within it some millions.
const MAX_BYTES: usize = 64 << 20;
/// Ends of an open line that are this near, as a share of its length, were meant to meet: some pixels on a photo. A rail
/// traced but for a hidden wheel leaves more open.
const GAP_RATIO: f64 = 0.005;
/// Vertices looked at for a crossing: one in half a mm of a board's rail, less than a hand's tremor.
const CROSSING_POINTS: usize = 4000;
/// A box is the photo's when their sides are in the same ratio within this: sides are whole pixels.
const RATIO: f64 = 0.01;
/// How far a trace may lie outside its photo, of the photo's side: a hand that follows a rail at the border slips a little.
const OUTSIDE_RATIO: f64 = 0.002;

/// The drawing in an SVG file or in bare path data.
fn drawing(bytes: &[u8]) -> Result<Drawing> {
    if bytes.len() > MAX_BYTES {
        return Err(fail(format!("has {} bytes, the limit is {MAX_BYTES}", bytes.len())));
    }
    read(std::str::from_utf8(bytes).map_err(|_| fail("is not UTF-8 text"))?)
}
fn area(l: &Line) -> f64 {
    (Polygon { points: l.points.clone() }).signed_area().abs()
}
/// The line of a drawing that holds the most area, checked to be one closed curve.
fn largest(drawing: &Drawing) -> Result<Vec<[f64; 2]>> {
    let best = drawing.lines.iter().max_by(|a, b| area(a).total_cmp(&area(b))).filter(|l| area(l) > 0.0);
    let best = best.ok_or_else(|| fail("encloses nothing"))?;
    let line = Polygon { points: best.points.clone() };
    if let (false, [a, .., b]) = (best.closed, best.points.as_slice()) {
        let gap = (a[0] - b[0]).hypot(a[1] - b[1]);
        if gap > GAP_RATIO * line.perimeter() {
            return Err(fail(format!(
                "is open: its ends at ({:.0}, {:.0}) and ({:.0}, {:.0}) are {gap:.0} apart",
                a[0], a[1], b[0], b[1]
            ))
            .hint("close it (command z, or join the end nodes); where the rail is hidden draw it as it must run"));
        }
    }
    let coarse = if line.points.len() > CROSSING_POINTS { line.resampled(CROSSING_POINTS) } else { line.clone() };
    if coarse.crosses_itself() {
        return Err(fail("crosses itself").hint("look for a loop or a swapped pair of nodes, and move them apart"));
    }
    Ok(line.points)
}
/// A line that holds less than this share of the largest one's area is a speck, not a second shape.
const SPECK_RATIO: f64 = 1e-3;
/// The one closed line of an SVG file, or of bare path data, in the units of its root.
pub(crate) fn traced(bytes: &[u8]) -> Result<Vec<[f64; 2]>> {
    let drawing = drawing(bytes)?;
    let line = largest(&drawing)?;
    let most = area(&Line { points: line.clone(), closed: true });
    let shapes = drawing.lines.iter().filter(|l| area(l) > SPECK_RATIO * most).count();
    if shapes > 1 {
        return Err(fail(format!("holds {shapes} closed paths, one is taken: which one is meant cannot be told"))
            .hint("leave the one path of the footprint in the file; openings go into the board file as [[opening]]"));
    }
    Ok(line)
}
/// The same in the pixels of a photo of `size` pixels: the picture in the drawing is the photo; without one its page is;
/// without a page its numbers are pixels.
pub(super) fn traced_over(bytes: &[u8], size: [f64; 2]) -> Result<Vec<[f64; 2]>> {
    let drawing = drawing(bytes)?;
    let mut line = largest(&drawing)?;
    let page = drawing.page.map(|[x, y, w, h]| [[x, y], [w, 0.0], [0.0, h]]);
    if let Some((what, [o, a, b])) = drawing.picture.map(|p| ("picture", p)).or(page.map(|p| ("page", p))) {
        let (w, h) = (a[0].hypot(a[1]), b[0].hypot(b[1]));
        if !((w / h / (size[0] / size[1]) - 1.0).abs() < RATIO) {
            return Err(other_photo(
                format!("lies on a {what} of {w:.0} x {h:.0}, which has not the shape of its photo"),
                size,
            ));
        }
        let det = a[0] * b[1] - a[1] * b[0];
        for p in &mut line {
            let q = [p[0] - o[0], p[1] - o[1]];
            *p = [(q[0] * b[1] - q[1] * b[0]) / det * size[0], (a[0] * q[1] - a[1] * q[0]) / det * size[1]];
        }
    }
    let slack = size.map(|s| OUTSIDE_RATIO * s);
    let inside = |p: &[f64; 2]| (0..2).all(|k| p[k] >= -slack[k] && p[k] <= size[k] + slack[k]);
    match line.iter().find(|p| !inside(p)) {
        Some(p) => Err(other_photo(format!("reaches ({:.0}, {:.0}), outside its photo", p[0], p[1]), size)),
        None => Ok(line),
    }
}
fn other_photo(what: String, size: [f64; 2]) -> Error {
    fail(format!("{what} of {} x {} pixels", size[0], size[1]))
        .hint("trace over this very photo, upright and uncut, and make the page as large as the photo")
}
#[cfg(test)]
mod tests {
    use super::*;
    /// The circle as four arcs of SVG 1.1, paths chapter; area pi r^2.
    const CIRCLE: &str = "M10,50 a40,40 0 0 1 80,0 a40,40 0 0 1 -80,0 z";
    fn circle_area(line: Vec<[f64; 2]>, r: f64) {
        let area = Polygon { points: line }.signed_area().abs();
        assert!((area / (std::f64::consts::PI * r * r) - 1.0).abs() < 1e-3, "{area}");
    }
    #[test]
    fn file_and_bare_data() {
        let file =
            format!("<svg xmlns='x'><path id=\"a\" d='M0 0 h5 v5 z'/><path\n fill=\"none\" d=\"{CIRCLE}\"/></svg>");
        // of a photo's closed paths the largest is the rail; of a footprint's nothing tells which is meant
        for text in [CIRCLE.to_string(), file, format!("M0 0 h5 v5 z {CIRCLE}")] {
            circle_area(traced_over(text.as_bytes(), [100.0, 100.0]).unwrap(), 40.0);
            assert_eq!(traced(text.as_bytes()).is_ok(), text == CIRCLE, "{text}");
        }
    }
    /// A page in mm, a picture placed anywhere on it, a page larger than its photo: the same circle of 160 pixels' radius.
    #[test]
    fn pages_and_pictures_are_brought_to_pixels() {
        for text in [
            format!("<svg viewBox='0 0 100 100' width='210mm'><path d='{CIRCLE}'/></svg>"),
            format!("<svg viewBox='-10 0 100 100'><g transform='translate(-10)'><path d='{CIRCLE}'/></g></svg>"),
            format!(
                "<svg viewBox='0 0 300 70'><image x='0' y='0' width='100' height='100'/><path d='{CIRCLE}'/></svg>"
            ),
            format!(
                "<svg><g transform='rotate(30) scale(4)'><image width='100' height='100'/><path d='{CIRCLE}'/></g></svg>"
            ),
            format!("<svg width='400' height='400'><path transform='scale(4)' d='{CIRCLE}'/></svg>"),
        ] {
            let line = traced_over(text.as_bytes(), [400.0, 400.0]).unwrap_or_else(|e| panic!("{text}: {e}"));
            let (lo, hi) = crate::geom::bounds(&line);
            assert!((lo[0] - 40.0).abs() < 0.1 && (hi[1] - 360.0).abs() < 0.1, "{text}: {lo:?} {hi:?}");
            circle_area(line, 160.0);
        }
    }
    #[test]
    fn faults_are_named() {
        let over = |t: &str| traced_over(t.as_bytes(), [400.0, 300.0]);
        for (text, want) in [
            ("", "encloses nothing"),
            ("M 0 0 L 5", "cannot be read"),
            ("M 0 0 L 1e999 5 L 9 9z", "a number of more than 1000000000"),
            ("<svg><polygon points='0,0 1e308,0 -1e308,9' transform='scale(9)'/></svg>", "finite"),
            ("<svg></svg>", "encloses nothing"),
            ("<svg><path d='M0 0h1v1z'</svg>", "cannot be read"),
            ("<svg><g transform='scale(2,'><path d='M0 0h1v1z'/></g></svg>", "transform"),
            ("<svg><polygon points='0,0 a,b'/></svg>", "in place of numbers"),
            ("M 0 0 L 5 5 z", "encloses nothing"),
            ("M 10 10 H 300 V 200 H 10 V 90", "is open: its ends at (10, 10) and (10, 90) are 80 apart"),
            ("M 10 10 L 300 200 V 10 L 10 220 z", "crosses itself"),
            ("M 10 10 H 900 V 200 H 10 z", "reaches (900, 10), outside its photo of 400 x 300 pixels"),
            ("<svg viewBox='0 0 210 297'><path d='M10 10h90v90z'/></svg>", "page of 210 x 297"),
        ] {
            let e = over(text).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{text}: {e}");
        }
        assert!(traced(&[0xff, 0xfe]).is_err());
        assert!(over("M 10 10 H 300 V 200 H 10 V 11").is_ok(), "a gap of a pixel is meant to be closed");
    }
}
