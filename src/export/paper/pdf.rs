//! Drawings on pages: a first page with bars, map and list of lines, then the tiles.
use super::drawing::{Drawing, LETTER_MM, Pen};
use super::pages::{FOOT_MM, Layout, MARGIN_MM, OVERLAP_MM, Paper, Tile, lay_out, shown};
use pdf_writer::{Content, Finish, Name, Pdf, Rect, Ref, Str, TextStr};

/// Points in one mm: PDF counts 72 to the inch.
const POINTS_PER_MM: f64 = 72.0 / 25.4;
/// Lengths of the bars on the first page and at each page's foot, mm.
const BAR_MM: f64 = 100.0;
const FOOT_BAR_MM: f64 = 50.0;
/// Thickness of bars, mm: their ends are to be measured, not their middle.
const BAR_THICK_MM: f64 = 1.5;
const FONT: Name = Name(b"F1");
/// Mean width of a letter of the font over its height; lines of words are broken by it.
const LETTER_RATIO: f64 = 0.52;

/// Words in the font's encoding (Latin-1 but for controls); other letters become question marks.
fn latin(s: &str) -> Vec<u8> {
    s.chars()
        .map(|c| match u32::from(c) {
            k @ (0x20..=0x7e | 0xa0..=0xff) => k as u8,
            _ => b'?',
        })
        .collect()
}
/// The words in lines of at most `width` mm.
fn lines(words: &str, width: f64) -> Vec<String> {
    let most = (width / (LETTER_RATIO * LETTER_MM)) as usize;
    let mut out = vec![String::new()];
    for w in words.split_whitespace() {
        let last = out.last_mut().expect("never empty");
        if !last.is_empty() && last.chars().count() + 1 + w.chars().count() > most {
            out.push(w.into());
        } else {
            if !last.is_empty() {
                last.push(' ');
            }
            last.push_str(w);
        }
    }
    out
}

/// A page's content in mm.
struct Ink(Content);
impl Ink {
    fn new() -> Self {
        let mut c = Content::new();
        let k = POINTS_PER_MM as f32;
        c.transform([k, 0.0, 0.0, k, 0.0, 0.0]);
        Self(c)
    }
    fn text(&mut self, x: f64, y: f64, size: f64, s: &str) {
        self.0.begin_text().set_font(FONT, size as f32).next_line(x as f32, y as f32).show(Str(&latin(s))).end_text();
    }
    fn path(&mut self, points: impl IntoIterator<Item = [f64; 2]>, closed: bool, pen: Pen, thin: f64) {
        let (width, dashes) = pen.stroke_mm();
        self.0.set_line_width((width * thin) as f32);
        self.0.set_dash_pattern(dashes.iter().map(|d| d * thin as f32), 0.0);
        for (i, p) in points.into_iter().enumerate() {
            let (x, y) = (p[0] as f32, p[1] as f32);
            if i == 0 {
                self.0.move_to(x, y);
            } else {
                self.0.line_to(x, y);
            }
        }
        if closed {
            self.0.close_and_stroke();
        } else {
            self.0.stroke();
        }
    }
    fn bar(&mut self, x: f64, y: f64, w: f64, h: f64) {
        self.0.rect(x as f32, y as f32, w as f32, h as f32).fill_nonzero();
    }
    fn words(&mut self, x: f64, y: &mut f64, width: f64, s: &str) {
        for l in lines(s, width) {
            self.text(x, *y, LETTER_MM, &l);
            *y -= 1.5 * LETTER_MM;
        }
    }
}

/// A4, A3 or Letter pages of drawings true to size.
pub fn drawings_pdf(title: &str, notes: &[String], drawings: &[Drawing], paper: Paper) -> Vec<u8> {
    let layout = lay_out(drawings, paper);
    let mut contents = vec![first_page(title, notes, drawings, &layout)];
    let all = layout.tiles.len() + 1;
    for (i, t) in layout.tiles.iter().enumerate() {
        let words = format!("{title}: page {} of {all}. The bar is {FOOT_BAR_MM} mm.", i + 2);
        contents.push(tile_page(&words, &drawings[t.drawing], t, &layout));
    }
    pages(title, contents, layout.page)
}

/// Words under a head line.
pub struct Section<'a> {
    /// The head line.
    pub head: &'a str,
    /// What stands under it, a paragraph each.
    pub lines: Vec<String>,
}
/// How far a section's words stand in from its head line, mm.
const INDENT_MM: f64 = 4.0;

/// Words on upright pages.
pub fn words_pdf(title: &str, sections: &[Section], paper: Paper) -> Vec<u8> {
    let page = paper.size_mm();
    let [width, top] = [page[0] - 2.0 * MARGIN_MM, page[1] - MARGIN_MM - 6.0];
    let mut ink = Ink::new();
    ink.text(MARGIN_MM, top, 6.0, title);
    let mut contents = Vec::new();
    let mut y = top - 9.0;
    for s in sections {
        for (i, line) in s.lines.iter().enumerate() {
            // a head line stays with its first paragraph, a paragraph on its page
            let head = if i == 0 { 3.0 * LETTER_MM } else { 0.0 };
            let tall = 1.5 * LETTER_MM * lines(line, width - INDENT_MM).len() as f64;
            if y - head - tall < MARGIN_MM && y < top {
                contents.push(std::mem::replace(&mut ink, Ink::new()));
                y = top;
            }
            if i == 0 {
                y -= LETTER_MM;
                ink.text(MARGIN_MM, y, HEAD_MM, s.head);
                y -= 2.0 * LETTER_MM;
            }
            ink.words(MARGIN_MM + INDENT_MM, &mut y, width - INDENT_MM, line);
        }
    }
    contents.push(ink);
    let all = contents.len();
    for (i, ink) in contents.iter_mut().enumerate() {
        ink.text(MARGIN_MM, MARGIN_MM / 2.0, LETTER_MM, &format!("{title}: page {} of {all}", i + 1));
    }
    pages(title, contents, page)
}
/// Height of a head line's letters, mm.
const HEAD_MM: f64 = 4.5;

/// A document of pages of one size.
fn pages(title: &str, contents: Vec<Ink>, page: [f64; 2]) -> Vec<u8> {
    let (catalog, tree, font, info) = (Ref::new(1), Ref::new(2), Ref::new(3), Ref::new(4));
    let page_ref = |i: usize| Ref::new(5 + 2 * i as i32);
    let content_ref = |i: usize| Ref::new(6 + 2 * i as i32);
    let mut pdf = Pdf::new();
    let mut c = pdf.catalog(catalog);
    c.pages(tree);
    c.viewer_preferences().pair(Name(b"PrintScaling"), Name(b"None"));
    c.finish();
    pdf.document_info(info).title(TextStr(title)).producer(TextStr("faydeck"));
    pdf.pages(tree).kids((0..contents.len()).map(page_ref)).count(contents.len() as i32);
    let size = page.map(|v| (v * POINTS_PER_MM) as f32);
    for (i, ink) in contents.into_iter().enumerate() {
        let mut p = pdf.page(page_ref(i));
        p.media_box(Rect::new(0.0, 0.0, size[0], size[1])).parent(tree).contents(content_ref(i));
        p.resources().fonts().pair(FONT, font);
        p.finish();
        pdf.stream(content_ref(i), &ink.0.finish());
    }
    pdf.type1_font(font).base_font(Name(b"Helvetica")).encoding_predefined(Name(b"WinAnsiEncoding"));
    pdf.finish()
}

fn tile_page(words: &str, d: &Drawing, t: &Tile, l: &Layout) -> Ink {
    let mut ink = Ink::new();
    let (x0, y0, [w, h]) = (MARGIN_MM, MARGIN_MM + FOOT_MM, l.window);
    ink.text(x0 + FOOT_BAR_MM + 4.0, MARGIN_MM, LETTER_MM, words);
    ink.bar(x0, MARGIN_MM, FOOT_BAR_MM, BAR_THICK_MM);
    ink.0.save_state();
    ink.0.rect(x0 as f32, y0 as f32, w as f32, h as f32).clip_nonzero().end_path();
    let map = |p: [f64; 2]| [p[0] - t.corner[0] + x0, p[1] - t.corner[1] + y0];
    for s in d.strokes.iter().filter(|s| shown(&s.points, t.corner, l.window)) {
        ink.path(s.points.iter().map(|p| map(*p)), s.closed, s.pen, 1.0);
    }
    for a in &d.labels {
        let [x, y] = map(a.at);
        ink.text(x, y, LETTER_MM, &a.text);
    }
    ink.0.restore_state();
    // joins run along the middle of each overlap; crosses on them lie at the same places of both pages
    let half = OVERLAP_MM / 2.0;
    for (k, _) in t.joins.iter().enumerate().filter(|j| *j.1) {
        let upright = k % 2 == 0;
        let across = [x0 + half, y0 + half, x0 + w - half, y0 + h - half][k];
        let (lo, hi) = if upright { (y0, y0 + h) } else { (x0, x0 + w) };
        let at = |along: f64| if upright { [across, along] } else { [along, across] };
        ink.path([at(lo), at(hi)], false, Pen::Mark, 1.0);
        for q in [0.25, 0.75] {
            let c = at(lo + (hi - lo) * q);
            ink.path([[c[0] - 4.0, c[1]], [c[0] + 4.0, c[1]]], false, Pen::Cut, 0.5);
            ink.path([[c[0], c[1] - 4.0], [c[0], c[1] + 4.0]], false, Pen::Cut, 0.5);
        }
    }
    ink
}

fn first_page(title: &str, notes: &[String], drawings: &[Drawing], l: &Layout) -> Ink {
    let mut ink = Ink::new();
    let [pw, ph] = l.page;
    let (x0, width) = (MARGIN_MM, pw - 2.0 * MARGIN_MM);
    let mut y = ph - MARGIN_MM - 6.0;
    ink.text(x0, y, 6.0, title);
    y -= 9.0;
    let how = format!(
        "Print at 100 % (no fitting to the page). Check both bars with a ruler: {BAR_MM} mm each. Where pages meet, cut one \
         of them along the dashed join, lay it on the other so that the crosses meet, and tape."
    );
    ink.words(x0, &mut y, width, &how);
    for n in notes {
        ink.words(x0, &mut y, width, n);
    }
    let mut legend: Vec<(Pen, &str)> = Vec::new();
    for k in drawings.iter().flat_map(Drawing::legend) {
        if !legend.contains(&k) {
            legend.push(k);
        }
    }
    for (pen, what) in legend {
        ink.path([[x0, y + 1.0], [x0 + 25.0, y + 1.0]], false, pen, 1.0);
        ink.words(x0 + 28.0, &mut y, width - 28.0, what);
    }
    // bars along two edges of the page, clear of the map
    ink.bar(x0, MARGIN_MM, BAR_MM, BAR_THICK_MM);
    ink.text(x0 + BAR_MM + 3.0, MARGIN_MM, LETTER_MM, "100 mm");
    ink.bar(x0, MARGIN_MM + 5.0, BAR_THICK_MM, BAR_MM);
    ink.text(x0 + 3.0, MARGIN_MM + 6.0, LETTER_MM, "100 mm");
    let (mx, my) = (x0 + 20.0, MARGIN_MM + 10.0);
    page_map(&mut ink, drawings, l, [mx, my], [pw - MARGIN_MM - mx, y - my]);
    ink
}
/// The drawings reduced, with the page number in each window.
fn page_map(ink: &mut Ink, drawings: &[Drawing], l: &Layout, at: [f64; 2], room: [f64; 2]) {
    let boxes: Vec<([f64; 2], [f64; 2])> = (0..drawings.len())
        .map(|k| {
            l.tiles.iter().filter(|t| t.drawing == k).fold(drawings[k].bounds(), |(a, b), t| {
                ([0, 1].map(|i| a[i].min(t.corner[i])), [0, 1].map(|i| b[i].max(t.corner[i] + l.window[i])))
            })
        })
        .collect();
    let gap = 4.0;
    let tall: f64 = boxes.iter().map(|b| b.1[1] - b.0[1]).sum();
    let wide = boxes.iter().map(|b| b.1[0] - b.0[0]).fold(1.0, f64::max);
    let k = ((room[1] - gap * boxes.len() as f64) / tall).min(room[0] / wide);
    if !(k > 0.0) {
        return;
    }
    let mut top = at[1] + room[1];
    for (i, (d, (lo, hi))) in drawings.iter().zip(&boxes).enumerate() {
        let map = |p: [f64; 2]| [at[0] + k * (p[0] - lo[0]), top - k * (hi[1] - p[1])];
        for s in &d.strokes {
            ink.path(s.points.iter().map(|p| map(*p)), s.closed, Pen::Cut, 0.5);
        }
        for (n, t) in l.tiles.iter().enumerate().filter(|t| t.1.drawing == i) {
            let [w, h] = l.window;
            let c = [[0.0, 0.0], [w, 0.0], [w, h], [0.0, h]].map(|o| map([t.corner[0] + o[0], t.corner[1] + o[1]]));
            ink.path(c, true, Pen::Mark, 0.7);
            ink.text(c[0][0] + 1.5, c[3][1] - 4.5, LETTER_MM, &format!("{}", n + 2));
        }
        top -= k * (hi[1] - lo[1]) + gap;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn words_break_and_letters_stay() {
        assert_eq!(latin("ü 漢"), [0xfc, b' ', b'?']);
        assert!(lines(&"word ".repeat(100), 190.0).iter().all(|l| l.len() as f64 * LETTER_RATIO * LETTER_MM <= 190.0));
    }
    #[test]
    fn words_go_on_as_many_pages_as_they_need() {
        let section = |n: usize| Section { head: "To buy", lines: vec!["sixteen letters, ".repeat(30); n] };
        let pages = |s: &[Section]| {
            let bytes = words_pdf("board", s, Paper::A4);
            String::from_utf8_lossy(&bytes).matches("/Type /Page\n").count()
        };
        assert_eq!((pages(&[]), pages(&[section(1)])), (1, 1));
        // 30 repeats are 510 letters, 5 lines of 184 mm; a page has some 50 lines
        assert!((4..=6).contains(&pages(&[section(25), section(20)])));
    }
    /// ISO 32000-1, 8.3.2.3 and table 150: 1/72 in to the unit; scaling by the printer's dialogue turned off.
    #[test]
    fn pages_have_their_size() {
        let mut d = Drawing::default();
        d.line(vec![[0.0, 0.0], [500.0, 0.0]], false, Pen::Cut, "line");
        let bytes = drawings_pdf("board", &[], &[d], Paper::Letter);
        let text = String::from_utf8_lossy(&bytes).into_owned();
        assert!(text.contains("/MediaBox [0 0 792 612]"), "lying Letter");
        assert!(text.contains("/PrintScaling /None"));
        assert_eq!(text.matches("/Type /Page\n").count(), 3);
    }
}
