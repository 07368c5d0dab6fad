//! SVG drawings, true to size: width and height carry mm, one user unit is one mm.
use super::words::xml;
use crate::geom::bounds;
use std::fmt::Write;

/// Room round a drawing, mm.
pub(super) const ROOM: f64 = 10.0;

/// A drawing being written: its elements, width and height in mm, y downwards.
pub(super) struct Sheet {
    pub(super) body: String,
    pub(super) width: f64,
    pub(super) height: f64,
}
impl Sheet {
    pub(super) fn path(&mut self, points: &[[f64; 2]], closed: bool, style: &str) {
        let mut d = String::new();
        for (i, p) in points.iter().enumerate() {
            let _ = write!(d, "{}{:.3} {:.3}", if i == 0 { "M" } else { " L" }, p[0], p[1]);
        }
        let _ = writeln!(self.body, "<path d=\"{d}{}\" {style}/>", if closed { " Z" } else { "" });
    }
    pub(super) fn text(&mut self, x: f64, y: f64, t: &str) {
        let t = xml(t);
        let _ = writeln!(
            self.body,
            "<text x=\"{x:.2}\" y=\"{y:.2}\" font-size=\"4\" font-family=\"sans-serif\">{t}</text>"
        );
    }
    pub(super) fn finish(self) -> Vec<u8> {
        format!(
            "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{:.3}mm\" height=\"{:.3}mm\" viewBox=\"0 0 {:.3} {:.3}\">\n{}</svg>\n",
            self.width, self.height, self.width, self.height, self.body
        )
        .into_bytes()
    }
}
pub(super) const LINE: &str = "fill=\"none\" stroke=\"black\" stroke-width=\"0.25\"";
pub(super) const THIN: &str = "fill=\"none\" stroke=\"black\" stroke-width=\"0.1\" stroke-dasharray=\"3 2\"";

/// Sections one below the other, each with its station; points are (y, z) in mm.
pub fn sections_svg(title: &str, sections: &[(f64, Vec<[f64; 2]>)]) -> Vec<u8> {
    let mut s = Sheet { body: String::new(), width: 0.0, height: ROOM };
    s.text(ROOM, 6.0, title);
    for (x, points) in sections {
        let (lo, hi) = bounds(points);
        if points.is_empty() {
            continue;
        }
        let top = s.height + ROOM;
        let line: Vec<[f64; 2]> = points.iter().map(|p| [p[0] - lo[0] + ROOM, hi[1] - p[1] + top]).collect();
        let words = format!("station x = {x:.1} mm, {:.1} mm wide, {:.1} mm high", hi[0] - lo[0], hi[1] - lo[1]);
        s.text(ROOM, top - 2.0, &words);
        s.path(&line, false, LINE);
        s.height = top + hi[1] - lo[1];
        s.width = s.width.max(hi[0] - lo[0] + 2.0 * ROOM);
    }
    s.height += ROOM;
    s.finish()
}
