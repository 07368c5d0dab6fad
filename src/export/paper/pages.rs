//! Which part of a drawing goes on which page.
use super::drawing::{Drawing, LETTER_MM};
use crate::error::{Error, Result, Stage};
use crate::geom::bounds;

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Paper {
    /// 210 x 297 mm (ISO 216).
    #[default]
    A4,
    /// 297 x 420 mm (ISO 216).
    A3,
    /// 8.5 x 11 in (ASME Y14.1, size A).
    Letter,
}
impl Paper {
    /// By its name: A4, A3 or Letter, in any case.
    ///
    /// # Errors
    /// Another name.
    pub fn parse(name: &str) -> Result<Self> {
        match name.trim().to_lowercase().as_str() {
            "a4" => Ok(Self::A4),
            "a3" => Ok(Self::A3),
            "letter" => Ok(Self::Letter),
            _ => {
                Err(Error::new(Stage::Settings, format!("output.paper is \"{name}\", which is none of A4, A3, Letter"))
                    .hint("write paper = \"A4\", \"A3\" or \"Letter\""))
            }
        }
    }
    /// Width and height upright, mm.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::A3 => [297.0, 420.0],
            Self::Letter => [215.9, 279.4],
        }
    }
}
/// Left free at the paper's edges, mm: printers leave 3 to 6 mm blank (common practice, no source).
pub(super) const MARGIN_MM: f64 = 10.0;
/// Strip at the foot of each page for its words and bar, mm.
pub(super) const FOOT_MM: f64 = 10.0;
/// Shared by neighbouring pages, mm: enough to lay one on the other and tape them.
pub(super) const OVERLAP_MM: f64 = 12.0;
/// Free space round a drawing within its pages, mm: lines at the edge of the tile stay whole.
const SLACK_MM: f64 = 2.0;

/// A page's window on a drawing.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Tile {
    pub drawing: usize,
    /// Lower left corner in the drawing, mm.
    pub corner: [f64; 2],
    /// Whether there is a page to the left, below, to the right, above.
    pub joins: [bool; 4],
}
/// All windows on some drawings.
pub(super) struct Layout {
    /// Width and height of a page, mm.
    pub page: [f64; 2],
    /// Width and height of a window, mm.
    pub window: [f64; 2],
    pub tiles: Vec<Tile>,
}

/// The layout with fewest pages, upright or lying.
pub(super) fn lay_out(drawings: &[Drawing], paper: Paper) -> Layout {
    let [w, h] = paper.size_mm();
    let (upright, lying) = (try_page(drawings, [w, h]), try_page(drawings, [h, w]));
    if lying.tiles.len() < upright.tiles.len() { lying } else { upright }
}
fn try_page(drawings: &[Drawing], page: [f64; 2]) -> Layout {
    let window = [page[0] - 2.0 * MARGIN_MM, page[1] - 2.0 * MARGIN_MM - FOOT_MM];
    let mut tiles = Vec::new();
    for (k, d) in drawings.iter().enumerate() {
        let (lo, hi) = d.bounds();
        let size = [0, 1].map(|i| hi[i] - lo[i] + 2.0 * SLACK_MM);
        let step = window.map(|w| w - OVERLAP_MM);
        let count = [0, 1].map(|i| (((size[i] - OVERLAP_MM) / step[i]).ceil().max(1.0)) as usize);
        // what is left over goes evenly to both sides
        let start = [0, 1].map(|i| {
            let all = step[i] * count[i] as f64 + OVERLAP_MM;
            lo[i] - SLACK_MM - (all - size[i]) / 2.0
        });
        let corner = |c: usize, r: usize| [start[0] + step[0] * c as f64, start[1] + step[1] * r as f64];
        let used = |c: usize, r: usize| touches(d, corner(c, r), window);
        // rows from the top, as one reads
        for r in (0..count[1]).rev() {
            for c in (0..count[0]).filter(|c| used(*c, r)) {
                let joins = [
                    c > 0 && used(c - 1, r),
                    r > 0 && used(c, r - 1),
                    c + 1 < count[0] && used(c + 1, r),
                    r + 1 < count[1] && used(c, r + 1),
                ];
                tiles.push(Tile { drawing: k, corner: corner(c, r), joins });
            }
        }
    }
    Layout { page, window, tiles }
}
/// Whether any line of `d` runs through the window: a box round each segment decides, so a page too many is possible.
fn touches(d: &Drawing, corner: [f64; 2], window: [f64; 2]) -> bool {
    let meets = |a: [f64; 2], b: [f64; 2]| {
        (0..2).all(|i| a[i].max(b[i]) >= corner[i] && a[i].min(b[i]) <= corner[i] + window[i])
    };
    d.strokes.iter().any(|s| {
        let closing = s.closed.then(|| s.points.last().zip(s.points.first())).flatten();
        s.points.windows(2).any(|w| meets(w[0], w[1])) || closing.is_some_and(|(a, b)| meets(*a, *b))
    })
}

/// Small drawings gathered one above the other as long as they fit the height of a lying page.
pub(super) fn gathered(parts: Vec<Drawing>, paper: Paper) -> Vec<Drawing> {
    let [w, _] = paper.size_mm();
    let room = w - 2.0 * MARGIN_MM - FOOT_MM - 2.0 * SLACK_MM;
    let gap = 3.0 * LETTER_MM;
    let mut out: Vec<Drawing> = Vec::new();
    for p in parts {
        let (lo, hi) = p.bounds();
        match out.last_mut() {
            Some(last) if last.bounds().1[1] - last.bounds().0[1] + gap + hi[1] - lo[1] <= room => {
                let below = last.bounds().0[1] - gap - hi[1];
                let p = p.moved([0.0, below]);
                last.strokes.extend(p.strokes);
                last.labels.extend(p.labels);
            }
            _ => out.push(p),
        }
    }
    out
}

/// The strokes' boxes, to leave out what a page does not show.
pub(super) fn shown(points: &[[f64; 2]], corner: [f64; 2], window: [f64; 2]) -> bool {
    let (lo, hi) = bounds(points);
    (0..2).all(|i| hi[i] >= corner[i] && lo[i] <= corner[i] + window[i])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::paper::Pen;
    /// Every point of a long line lies on some page, and neighbouring pages share the overlap.
    #[test]
    fn pages_cover_a_drawing() {
        let mut d = Drawing::default();
        let line: Vec<[f64; 2]> = (0..=400).map(|i| f64::from(i) * 2.2).map(|x| [x, 0.25 * x]).collect();
        d.line(line.clone(), false, Pen::Cut, "line");
        for paper in [Paper::A4, Paper::A3, Paper::Letter] {
            let l = lay_out(std::slice::from_ref(&d), paper);
            let on = |p: &[f64; 2], t: &Tile| (0..2).all(|i| p[i] >= t.corner[i] && p[i] <= t.corner[i] + l.window[i]);
            assert!(line.iter().all(|p| l.tiles.iter().any(|t| on(p, t))));
            assert!(l.tiles.iter().all(|t| t.joins.iter().any(|j| *j)));
            assert!(l.tiles.iter().all(|t| line.iter().any(|p| on(p, t))));
        }
    }
    #[test]
    fn names_of_paper() {
        assert_eq!(Paper::parse(" letter").unwrap(), Paper::Letter);
        assert!(Paper::parse("A5").unwrap_err().message().contains("\"A5\""));
    }
}
