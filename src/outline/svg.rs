//! What of an SVG drawing serves as a trace: its lines, its page and the picture in it, all transforms applied.
//!
//! # References
//! W3C, *Scalable Vector Graphics (SVG) 1.1*, chapters 7 (coordinate systems), 8 (paths), 9 (basic shapes).
use crate::error::{Error, Result, Stage};
use kurbo::{Affine, BezPath, PathEl, Point, Rect};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use std::cell::Cell;

/// Most points of all flattened lines.
const MAX_POINTS: usize = 100_000;
/// Greatest distance of a flattened line from its curve as a share of the drawing's size: of a photo's 5000 pixels a
/// hundredth, far below what a hand can trace.
const FLATNESS_RATIO: f64 = 2e-6;
/// Groups within groups: drawings have some ten.
const MAX_DEPTH: usize = 200;

pub(super) fn fail(what: impl std::fmt::Display) -> Error {
    Error::new(Stage::Outline, format!("the traced path {what}"))
        .hint("trace the rail as one closed path over the photo, and export it as plain SVG")
}
/// A polyline of a drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Line {
    pub points: Vec<[f64; 2]>,
    pub closed: bool,
}
/// A drawing's lines and boxes in the root's own units.
#[derive(Debug, Clone, Default)]
pub(super) struct Drawing {
    pub lines: Vec<Line>,
    /// The view box.
    pub page: Option<[f64; 4]>,
    /// Corner, side along and side down of the first picture in it.
    pub picture: Option<[[f64; 2]; 3]>,
}
struct Builder {
    drawing: Drawing,
    paths: Vec<BezPath>,
}
/// Reads an SVG file, or bare path data.
pub(super) fn read(text: &str) -> Result<Drawing> {
    let mut b = Builder { drawing: Drawing::default(), paths: Vec::new() };
    if text.contains('<') {
        b.elements(text)?;
    } else {
        b.paths.push(path(text)?);
    }
    let mut size = 0.0_f64;
    for p in &b.paths {
        let r = kurbo::Shape::bounding_box(p);
        if ![r.x0, r.y0, r.x1, r.y1].iter().all(|v| v.is_finite()) {
            return Err(fail("has a number that is not finite"));
        }
        size = size.max(r.width()).max(r.height());
    }
    let count = Cell::new(0);
    for p in &b.paths {
        flatten(p, FLATNESS_RATIO * size, &mut b.drawing.lines, &count)?;
    }
    Ok(b.drawing)
}
/// Largest number of some path data, in the drawing's units: a metre in nanometres.
const LARGEST: f64 = 1e9;
/// Whether no number of some path data is larger than [`LARGEST`]: an arc is cut into as many pieces as the sixth root of its
/// radius, and would never end with 1e200.
fn drawable(data: &str) -> bool {
    let digits = |s: &str| s.len() - s.trim_start_matches(|c: char| c.is_ascii_digit()).len();
    let mut rest = data;
    while let Some(at) = rest.find(|c: char| c.is_ascii_digit() || c == '.') {
        rest = &rest[at..];
        let mut n = digits(rest);
        if rest[n..].starts_with('.') {
            n += 1 + digits(&rest[n + 1..]);
        }
        if let Some(exponent) = rest[n..].strip_prefix(['e', 'E']) {
            let sign = usize::from(exponent.starts_with(['+', '-']));
            n += 1 + sign + digits(&exponent[sign..]);
        }
        if rest[..n].parse().is_ok_and(|v: f64| v > LARGEST) {
            return false;
        }
        rest = &rest[n..];
    }
    true
}
fn path(data: &str) -> Result<BezPath> {
    if !drawable(data) {
        return Err(fail(format!("has a number of more than {LARGEST:.0}")));
    }
    BezPath::from_svg(data.trim()).map_err(|e| fail(format!("cannot be read: {e}")))
}
fn flatten(path: &BezPath, flatness: f64, lines: &mut Vec<Line>, count: &Cell<usize>) -> Result<()> {
    if !(flatness > 0.0) {
        return Ok(());
    }
    let enough = || count.get() >= MAX_POINTS;
    kurbo::flatten(path.iter().take_while(|_| !enough()), flatness, |e| match e {
        PathEl::MoveTo(p) => lines.push(Line { points: vec![[p.x, p.y]], closed: false }),
        PathEl::LineTo(p) if !enough() => {
            count.set(count.get() + 1);
            if let Some(l) = lines.last_mut() {
                l.points.push([p.x, p.y]);
            }
        }
        PathEl::ClosePath => lines.last_mut().into_iter().for_each(|l| l.closed = true),
        _ => {}
    });
    if enough() {
        return Err(fail(format!("has more than {MAX_POINTS} points")));
    }
    Ok(())
}
impl Builder {
    fn elements(&mut self, text: &str) -> Result<()> {
        let mut reader = Reader::from_str(text);
        let mut places = vec![Affine::IDENTITY];
        // what is only defined is not drawn
        let mut unseen = 0;
        loop {
            let event = reader.read_event();
            let wrong = |e: &dyn std::fmt::Display| fail(format!("cannot be read: {e}"));
            match event.map_err(|e| wrong(&format!("{e} at byte {}", reader.error_position())))? {
                Event::Start(tag) => {
                    let name = tag.local_name();
                    unseen += usize::from(unseen > 0 || UNSEEN.contains(&name.as_ref()));
                    let outer = places[places.len() - 1];
                    places.push(outer * transform(&tag)?);
                    if places.len() > MAX_DEPTH {
                        return Err(fail(format!("lies in more than {MAX_DEPTH} groups")));
                    }
                    if unseen == 0 {
                        self.element(&tag, places[places.len() - 1], places.len() == 2)?;
                    }
                }
                Event::Empty(tag) if unseen == 0 => {
                    let place = places[places.len() - 1] * transform(&tag)?;
                    self.element(&tag, place, false)?;
                }
                Event::End(_) => {
                    unseen = unseen.saturating_sub(1);
                    if places.len() > 1 {
                        places.pop();
                    }
                }
                Event::Eof => return Ok(()),
                _ => {}
            }
        }
    }
    fn element(&mut self, tag: &BytesStart, place: Affine, root: bool) -> Result<()> {
        let number = |name: &str| -> Result<Option<f64>> {
            Ok(attribute(tag, name)?.and_then(|t| t.trim().trim_end_matches("px").parse().ok()))
        };
        match tag.local_name().as_ref() {
            "svg" if root => {
                let numbers = attribute(tag, "viewBox")?.map(|t| numbers(&t)).transpose()?;
                self.drawing.page =
                    numbers.and_then(|n| <[f64; 4]>::try_from(n).ok()).filter(|b| b[2] > 0.0 && b[3] > 0.0);
            }
            "path" => {
                if let Some(d) = attribute(tag, "d")? {
                    self.paths.push(place * path(&d)?);
                }
            }
            name @ ("polygon" | "polyline") => {
                let n = numbers(&attribute(tag, "points")?.unwrap_or_default())?;
                let mut p = BezPath::new();
                for (i, q) in n.chunks_exact(2).map(|q| Point::new(q[0], q[1])).enumerate() {
                    if i == 0 { p.move_to(q) } else { p.line_to(q) }
                }
                if name == "polygon" && n.len() >= 2 {
                    p.close_path();
                }
                self.paths.push(place * p);
            }
            "image" if self.drawing.picture.is_none() => {
                if let (Some(w), Some(h)) = (number("width")?, number("height")?) {
                    let (x, y) = (number("x")?.unwrap_or(0.0), number("y")?.unwrap_or(0.0));
                    let r = Rect::new(x, y, x + w, y + h);
                    let at = |u: f64, v: f64| place * Point::new(u, v);
                    let (o, a, b) = (at(r.x0, r.y0), at(r.x1, r.y0), at(r.x0, r.y1));
                    self.drawing.picture = Some([[o.x, o.y], [a.x - o.x, a.y - o.y], [b.x - o.x, b.y - o.y]]);
                }
            }
            _ => {}
        }
        Ok(())
    }
}
/// Elements whose children are not drawn where they stand.
const UNSEEN: [&str; 6] = ["defs", "clipPath", "mask", "marker", "pattern", "symbol"];

fn attribute(tag: &BytesStart, name: &str) -> Result<Option<String>> {
    for a in tag.attributes() {
        let a = a.map_err(|e| fail(format!("cannot be read: {e}")))?;
        if a.key.as_ref() == name {
            let value = a.normalized_value(XmlVersion::Implicit1_0);
            return value.map(|v| Some(v.into_owned())).map_err(|e| fail(format!("cannot be read: {e}")));
        }
    }
    Ok(None)
}
fn numbers(text: &str) -> Result<Vec<f64>> {
    text.split(|c: char| c == ',' || c.is_ascii_whitespace())
        .filter(|w| !w.is_empty())
        .map(|w| w.parse::<f64>().ok().filter(|v| v.is_finite()))
        .collect::<Option<_>>()
        .ok_or_else(|| fail(format!("has \"{}\" in place of numbers", text.chars().take(40).collect::<String>())))
}
/// The `transform` of an element (SVG 1.1, 7.6): angles in degrees, the first named is applied last.
fn transform(tag: &BytesStart) -> Result<Affine> {
    let Some(text) = attribute(tag, "transform")? else { return Ok(Affine::IDENTITY) };
    let bad = |part: &str| fail(format!("has the transform \"{}\", which cannot be read", part.trim()));
    let mut all = Affine::IDENTITY;
    let mut rest = text.trim_matches(|c: char| c == ',' || c.is_ascii_whitespace());
    while !rest.is_empty() {
        let (name, tail) = rest.split_once('(').ok_or_else(|| bad(rest))?;
        let (inner, tail) = tail.split_once(')').ok_or_else(|| bad(rest))?;
        let n = numbers(inner)?;
        all *= match (name.trim(), n.as_slice()) {
            ("matrix", &[a, b, c, d, e, f]) => Affine::new([a, b, c, d, e, f]),
            ("translate", &[x]) => Affine::translate((x, 0.0)),
            ("translate", &[x, y]) => Affine::translate((x, y)),
            ("scale", &[s]) => Affine::scale(s),
            ("scale", &[x, y]) => Affine::scale_non_uniform(x, y),
            ("rotate", &[a]) => Affine::rotate(a.to_radians()),
            ("rotate", &[a, x, y]) => Affine::rotate_about(a.to_radians(), (x, y)),
            ("skewX", &[a]) => Affine::new([1.0, 0.0, a.to_radians().tan(), 1.0, 0.0, 0.0]),
            ("skewY", &[a]) => Affine::new([1.0, a.to_radians().tan(), 0.0, 1.0, 0.0, 0.0]),
            _ => return Err(bad(rest)),
        };
        rest = tail.trim_start_matches(|c: char| c == ',' || c.is_ascii_whitespace());
    }
    Ok(all)
}
#[cfg(test)]
mod tests {
    use super::*;
    fn points(text: &str) -> Vec<[f64; 2]> {
        read(text).unwrap().lines.remove(0).points
    }
    /// Worked by the matrices of SVG 1.1, 7.6.
    #[test]
    fn transforms_of_groups_and_paths_are_applied() {
        for (transform, want) in [
            ("translate(50,90) rotate(-45) translate(130,160)", [-45f64, 0.0, 0.0]),
            ("matrix(.707106781 -.707106781 .707106781 .707106781 255.060965 111.213203)", [-45.0, 0.0, 0.0]),
        ] {
            // the nested example of 7.6 of SVG 1.1: its current transformation matrix as printed there
            let p = points(&format!("<svg><g transform='{transform}'><path d='M0 0L1 0L0 1z'/></g></svg>"));
            assert!((p[0][0] - 255.03).abs() < 0.05 && (p[0][1] - 111.21).abs() < 0.05, "{p:?}");
            let a = (p[1][1] - p[0][1]).atan2(p[1][0] - p[0][0]).to_degrees();
            assert!((a - want[0]).abs() < 1e-6, "{a}");
        }
        let p = points(
            "<svg><g transform='scale(2)'><path transform='translate(1,3), skewX(45)' d='M0 0 0 1 1 1z'/></g></svg>",
        );
        assert!((p[1][0] - 4.0).abs() < 1e-12 && (p[1][1] - 8.0).abs() < 1e-12, "{p:?}");
        let p = points("<svg><path transform='rotate(90 10 20)' d='M12 20 0 1 1 1z'/></svg>");
        assert!((p[0][0] - 10.0).abs() < 1e-12 && (p[0][1] - 22.0).abs() < 1e-12, "{p:?}");
    }
    #[test]
    fn shapes_page_and_picture() {
        let d = read(
            "<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 100 50' width='100mm'>
             <defs><path d='M0 0h9v9z'/></defs><image x='1' y='2' width='80px' height='40' transform='scale(.5)'/>
             <polygon points='0,0 4,0 4,3'/><polyline points='0 0 4 0 4 3'/><path id='e'/></svg>",
        )
        .unwrap();
        assert_eq!(d.page, Some([0.0, 0.0, 100.0, 50.0]));
        assert_eq!(d.picture, Some([[0.5, 1.0], [40.0, 0.0], [0.0, 20.0]]));
        assert_eq!(d.lines.iter().map(|l| l.closed).collect::<Vec<_>>(), [true, false]);
    }
    /// An arc of such a radius would be cut into 10^33 pieces; numbers may stand without blanks (SVG 1.1, 8.3.1).
    #[test]
    fn an_arc_of_endless_radius_is_refused() {
        for text in ["M0 0A1e200 1e200 0 0 1 1e200 0", "M0 0a5 5 0 0 1 1-99999999999", "M.5.5h1e+10z", "M0 0h1E0010"] {
            let e = read(text).unwrap_err();
            assert!(e.message().contains("a number of more than 1000000000"), "{text}: {e}");
        }
        for text in ["M.5.5h1e-300v1e9z", "M0 0a5,5 0 0150,20z", "M1e8-1e8h-5v.e"] {
            assert!(drawable(text), "{text}");
        }
    }
    #[test]
    fn millions_of_curves_are_given_up_early() {
        let e = read(&format!("M0 0{}", "c9 9 9-9 1 1".repeat(500_000))).unwrap_err();
        assert!(e.message().contains("more than 100000 points"), "{e}");
    }
}
