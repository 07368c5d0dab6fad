//! A drawing true to size: lines and words in mm, y upwards, knowing nothing of pages.
use crate::export::svg::Sheet;
use crate::geom::bounds;

/// How a line is drawn, and so what is done with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pen {
    /// Cut or drill here.
    Cut,
    /// Something to line up with.
    Mark,
    /// A centre line.
    Centre,
}
impl Pen {
    /// Width and dashes (drawn, left out, ...), mm.
    pub(super) fn stroke_mm(self) -> (f64, &'static [f32]) {
        match self {
            Self::Cut => (0.25, &[]),
            Self::Mark => (0.13, &[3.0, 1.5]),
            Self::Centre => (0.13, &[8.0, 2.0, 1.0, 2.0]),
        }
    }
}
/// One line of a drawing.
#[derive(Debug, Clone, PartialEq)]
pub struct Stroke {
    /// Its points, mm.
    pub points: Vec<[f64; 2]>,
    /// Whether the last point joins the first.
    pub closed: bool,
    /// How it is drawn.
    pub pen: Pen,
    /// What it is, for the list of lines.
    pub what: String,
}
/// Words on a drawing, beginning at `at`.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// Left end of the base line, mm.
    pub at: [f64; 2],
    /// The words.
    pub text: String,
}
/// Lines and words, mm.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Drawing {
    /// The lines.
    pub strokes: Vec<Stroke>,
    /// The words.
    pub labels: Vec<Label>,
}
/// Height of letters, mm: read at arm's length.
pub(super) const LETTER_MM: f64 = 3.5;
/// Room round an SVG drawing, mm.
const ROOM_MM: f64 = 10.0;
/// Segments of a circle: its chords stay within 0.001 mm at the 3 mm radius of a screw hole.
const CIRCLE: usize = 96;

impl Drawing {
    /// Adds a line.
    pub fn line(&mut self, points: Vec<[f64; 2]>, closed: bool, pen: Pen, what: &str) {
        self.strokes.push(Stroke { points, closed, pen, what: what.into() });
    }
    /// Adds words.
    pub fn label(&mut self, at: [f64; 2], text: impl Into<String>) {
        self.labels.push(Label { at, text: text.into() });
    }
    /// Adds a hole with a cross to centre the drill on, and its name beside it.
    pub fn hole(&mut self, [x, y]: [f64; 2], diameter_mm: f64, name: &str, what: &str) {
        let r = diameter_mm / 2.0;
        let round = (0..CIRCLE).map(|i| (i as f64 / CIRCLE as f64 * std::f64::consts::TAU).sin_cos());
        self.line(round.map(|(s, c)| [x + r * c, y + r * s]).collect(), true, Pen::Cut, what);
        let arm = r + 3.0;
        self.line(vec![[x - arm, y], [x + arm, y]], false, Pen::Centre, "centre line");
        self.line(vec![[x, y - arm], [x, y + arm]], false, Pen::Centre, "centre line");
        self.label([x + r + 1.0, y + r], name);
    }
    /// Lower and upper corner of the box round all lines.
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        let all: Vec<[f64; 2]> = self.strokes.iter().flat_map(|s| s.points.iter().copied()).collect();
        bounds(&all)
    }
    /// The drawing moved by `by` mm.
    #[must_use]
    pub fn moved(mut self, by: [f64; 2]) -> Self {
        let points = self.strokes.iter_mut().flat_map(|s| s.points.iter_mut());
        for p in points.chain(self.labels.iter_mut().map(|l| &mut l.at)) {
            *p = [p[0] + by[0], p[1] + by[1]];
        }
        self
    }
    /// Each kind of line once, in the order of drawing.
    pub fn legend(&self) -> Vec<(Pen, &str)> {
        let mut out: Vec<(Pen, &str)> = Vec::new();
        for s in &self.strokes {
            if !out.contains(&(s.pen, s.what.as_str())) {
                out.push((s.pen, &s.what));
            }
        }
        out
    }
}

/// Drawings one below the other as one SVG, with title, notes, the list of lines and a bar of 100 mm.
pub fn drawings_svg(title: &str, notes: &[String], drawings: &[Drawing]) -> Vec<u8> {
    let mut s = Sheet { body: String::new(), width: 140.0, height: ROOM_MM };
    for d in drawings {
        let (lo, hi) = d.bounds();
        let top = s.height;
        let map = |p: [f64; 2]| [p[0] - lo[0] + ROOM_MM, hi[1] - p[1] + top];
        for k in &d.strokes {
            let points: Vec<[f64; 2]> = k.points.iter().map(|p| map(*p)).collect();
            s.path(&points, k.closed, &style(k.pen));
        }
        for l in &d.labels {
            let [x, y] = map(l.at);
            s.text(x, y, &l.text);
        }
        s.height = top + hi[1] - lo[1] + ROOM_MM;
        s.width = s.width.max(hi[0] - lo[0] + 2.0 * ROOM_MM);
    }
    let mut y = s.height + ROOM_MM;
    s.text(ROOM_MM, y, &format!("{title}. The bar below is 100 mm long."));
    s.path(&[[ROOM_MM, y + 4.0], [ROOM_MM + 100.0, y + 4.0]], false, &style(Pen::Cut));
    y += 12.0;
    for (pen, what) in drawings.first().map(Drawing::legend).unwrap_or_default() {
        s.path(&[[ROOM_MM, y - 1.5], [ROOM_MM + 25.0, y - 1.5]], false, &style(pen));
        s.text(ROOM_MM + 28.0, y, what);
        y += 6.0;
    }
    for note in notes {
        s.text(ROOM_MM, y, note);
        s.width = s.width.max(2.0 * ROOM_MM + 2.2 * note.chars().count() as f64);
        y += 6.0;
    }
    s.height = y + ROOM_MM;
    s.finish()
}
fn style(pen: Pen) -> String {
    let (width, dashes) = pen.stroke_mm();
    let dashes: Vec<String> = dashes.iter().map(f32::to_string).collect();
    let dashes = if dashes.is_empty() { String::new() } else { format!(" stroke-dasharray=\"{}\"", dashes.join(" ")) };
    format!("fill=\"none\" stroke=\"black\" stroke-width=\"{width}\"{dashes}")
}
