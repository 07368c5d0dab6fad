//! A rail traced by hand over the photo, as SVG.
use crate::error::{Error, Result, Stage};
use crate::geom::Polygon;
use kurbo::{BezPath, PathEl};

/// Most bytes of an SVG read: a hand-made trace has some thousands.
const MAX_BYTES: usize = 4 << 20;
/// Most points of a flattened trace.
const MAX_POINTS: usize = 100_000;
/// Greatest distance of the flattened line from the curve, pixels: far below what a hand can trace.
const FLATNESS_PX: f64 = 0.02;

fn fail(what: impl std::fmt::Display, hint: &str) -> Error {
    Error::new(Stage::Outline, format!("the traced path {what}")).hint(hint)
}
/// The closed line of an SVG file's path (of several the one that holds the most area), or of bare path data, in pixels.
pub(crate) fn traced(bytes: &[u8]) -> Result<Vec<[f64; 2]>> {
    let hint = "trace the rail as one closed path over the photo at its own size, and export it as plain SVG";
    if bytes.len() > MAX_BYTES {
        return Err(fail(format!("has {} bytes, the limit is {MAX_BYTES}", bytes.len()), hint));
    }
    let text = std::str::from_utf8(bytes).map_err(|_| fail("is not UTF-8 text", hint))?;
    let data: Vec<&str> = if text.contains('<') {
        if text.contains("transform=") {
            return Err(fail(
                "has a transform",
                "apply all transforms before the export, so that its numbers are pixels",
            ));
        }
        path_data(text)
    } else {
        vec![text]
    };
    let mut best: Option<(f64, Vec<[f64; 2]>)> = None;
    for d in data {
        let path = BezPath::from_svg(d.trim()).map_err(|e| fail(format!("cannot be read: {e}"), hint))?;
        for line in flat(&path, hint)? {
            let area = Polygon { points: line.clone() }.signed_area().abs();
            if area > 0.0 && area.is_finite() && best.as_ref().is_none_or(|b| area > b.0) {
                best = Some((area, line));
            }
        }
    }
    best.map(|b| b.1).ok_or_else(|| fail("encloses nothing", hint))
}
/// The `d` of each path element.
fn path_data(text: &str) -> Vec<&str> {
    text.split("<path")
        .skip(1)
        .filter_map(|t| {
            let tag = t.split('>').next()?;
            let at = [" d=", "\nd=", "\td="].into_iter().find_map(|k| tag.find(k).map(|i| i + k.len()))?;
            let quote = tag[at..].chars().next().filter(|c| *c == '"' || *c == '\'')?;
            tag[at + 1..].split(quote).next()
        })
        .collect()
}
fn flat(path: &BezPath, hint: &str) -> Result<Vec<Vec<[f64; 2]>>> {
    let mut lines: Vec<Vec<[f64; 2]>> = Vec::new();
    let mut count = 0;
    kurbo::flatten(path, FLATNESS_PX, |e| match e {
        PathEl::MoveTo(p) => lines.push(vec![[p.x, p.y]]),
        PathEl::LineTo(p) if count < MAX_POINTS => {
            count += 1;
            if let Some(l) = lines.last_mut() {
                l.push([p.x, p.y]);
            }
        }
        _ => {}
    });
    if count >= MAX_POINTS {
        return Err(fail(format!("has more than {MAX_POINTS} points"), hint));
    }
    Ok(lines)
}
#[cfg(test)]
mod tests {
    use super::*;
    /// The circle as four arcs of SVG 1.1, paths chapter; area pi r^2.
    #[test]
    fn file_and_bare_data() {
        let circle = "M10,50 a40,40 0 0 1 80,0 a40,40 0 0 1 -80,0 z";
        let file =
            format!("<svg xmlns='x'><path id=\"a\" d='M0 0 h5 v5 z'/><path\n fill=\"none\" d=\"{circle}\"/></svg>");
        for text in [circle.to_string(), file] {
            let area = Polygon { points: traced(text.as_bytes()).unwrap() }.signed_area().abs();
            assert!((area - std::f64::consts::PI * 1600.0).abs() < 5.0, "{area}");
        }
    }
    #[test]
    fn faults_are_named() {
        for (text, want) in [
            ("", "encloses nothing"),
            ("M 0 0 L 5", "cannot be read"),
            ("<svg></svg>", "encloses nothing"),
            ("<svg><g transform='scale(2)'><path d='M0 0h1v1z'/></g></svg>", "transform"),
            ("M 0 0 L 5 5 z", "encloses nothing"),
        ] {
            let e = traced(text.as_bytes()).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{text}: {e}");
        }
        assert!(traced(&[0xff, 0xfe]).is_err());
    }
}
