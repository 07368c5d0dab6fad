//! Points as lines of text: XYZ, CSV and PTS, with blanks, commas, semicolons or tabs between the numbers.
use super::fail;
use super::raw::Raw;
use crate::error::Result;

/// Lines of data that must agree before a text is taken for a list of points.
const LINES: usize = 10;
/// A column is taken for part of a unit normal when the three squares sum to one within this: normals are printed with
/// three digits or more, and three chance coordinates rarely fall into it ten times in a row.
const UNIT: f64 = 0.01;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Between {
    Blanks,
    Mark(char),
}
/// How the lines of a file are to be read.
#[derive(Debug)]
pub(super) struct Layout {
    between: Between,
    /// The comma is a decimal point, as in much of Europe.
    decimal_comma: bool,
    columns: usize,
    xyz: [usize; 3],
    normal: Option<[usize; 3]>,
    color: Option<[usize; 3]>,
    /// Whether the lines stand behind their count (PTS).
    counted: bool,
    named: bool,
}

/// Lines with their number from 1, without blank ones and comments.
fn lines(bytes: &[u8]) -> impl Iterator<Item = (usize, &[u8])> {
    let bytes = bytes.strip_prefix("\u{feff}".as_bytes()).unwrap_or(bytes);
    bytes
        .split(|&b| b == b'\n' || b == b'\r')
        .map(<[u8]>::trim_ascii)
        .enumerate()
        .map(|(i, l)| (i + 1, l))
        .filter(|(_, l)| !l.is_empty())
}
fn comment(line: &str) -> Option<&str> {
    line.strip_prefix("//").or_else(|| line.strip_prefix(['#', '%']))
}

impl Layout {
    fn words<'a>(&self, line: &'a str) -> impl Iterator<Item = &'a str> {
        let mark = match self.between {
            Between::Blanks => None,
            Between::Mark(m) => Some(m),
        };
        // a mark at the end of the line closes the last value and opens none
        let line = mark.map_or(line, |m| line.strip_suffix(m).unwrap_or(line));
        line.split(move |c: char| mark.map_or(c.is_ascii_whitespace(), |m| c == m))
            .map(str::trim)
            .filter(move |w| mark.is_some() || !w.is_empty())
    }
    fn number(&self, word: &str) -> Option<f64> {
        if self.decimal_comma && word.contains(',') { word.replace(',', ".").parse().ok() } else { word.parse().ok() }
    }
    fn numbers(&self, line: &str) -> Option<Vec<f64>> {
        self.words(line).map(|w| self.number(w)).collect()
    }
    /// The way in which a line of numbers is written.
    fn of_line(line: &str) -> Self {
        let blanks: Vec<&str> = line.split_ascii_whitespace().collect();
        let between = if line.contains(';') {
            Between::Mark(';')
        } else if line.contains(',') && (blanks.len() < 3 || blanks.iter().any(|w| w.ends_with(',') || *w == ",")) {
            Between::Mark(',')
        } else {
            Between::Blanks
        };
        Self {
            between,
            decimal_comma: between != Between::Mark(',') && line.contains(',') && !line.contains('.'),
            columns: 0,
            xyz: [0, 1, 2],
            normal: None,
            color: None,
            counted: false,
            named: false,
        }
    }
    /// Takes the columns from a line of names; false when it does not name x, y and z.
    fn name(&mut self, line: &str) -> bool {
        let names: Vec<String> =
            self.words(line).map(|w| w.trim_matches(['"', '\'', '/', '#']).to_ascii_lowercase()).collect();
        let place = |long: &str, short: &str| names.iter().position(|n| n == long || n == short);
        let three = |a: [(&str, &str); 3]| -> Option<[usize; 3]> {
            Some([place(a[0].0, a[0].1)?, place(a[1].0, a[1].1)?, place(a[2].0, a[2].1)?])
        };
        let Some(xyz) = three([("x", "x"), ("y", "y"), ("z", "z")]) else { return false };
        self.xyz = xyz;
        self.normal = three([("nx", "nx"), ("ny", "ny"), ("nz", "nz")]);
        self.color = three([("red", "r"), ("green", "g"), ("blue", "b")]);
        self.named = true;
        true
    }
    /// Guesses what unnamed columns are from lines of numbers.
    fn guess(&mut self, rows: &[Vec<f64>]) {
        let color = |at: usize| {
            rows.iter().all(|r| {
                r.get(at..at + 3).is_some_and(|c| c.iter().all(|v| (0.0..=255.0).contains(v) && v.fract() == 0.0))
            })
        };
        let normal = |at: usize| {
            rows.iter()
                .all(|r| r.get(at..at + 3).is_some_and(|n| (n.iter().map(|v| v * v).sum::<f64>() - 1.0).abs() < UNIT))
        };
        let at = |i: usize| [i, i + 1, i + 2];
        // x y z, then perhaps an intensity, then a colour or a normal
        self.normal = [3, 4, 6].into_iter().find(|&i| normal(i)).map(at);
        self.color = [4, 3, 6].into_iter().find(|&i| color(i) && self.normal != Some(at(i))).map(at);
    }
}

/// How the lines are to be read, or nothing when they are no list of points.
pub(super) fn layout(bytes: &[u8]) -> Option<Layout> {
    let mut names: Option<&str> = None;
    let mut counts = 0;
    let mut layout: Option<Layout> = None;
    let mut rows = Vec::new();
    for (_, line) in lines(bytes) {
        let line = std::str::from_utf8(line).ok()?;
        if line.contains('\0') {
            return None;
        }
        if let Some(rest) = comment(line) {
            names = names.or(Some(rest).filter(|r| r.to_ascii_lowercase().contains('x')));
            continue;
        }
        let numbers = layout.get_or_insert_with(|| Layout::of_line(line)).numbers(line);
        match numbers {
            Some(n) if n.len() == 1 && rows.is_empty() && n[0] >= 0.0 && n[0].fract() == 0.0 => {
                counts += 1;
                layout = None;
            }
            // the count of a further block
            Some(n) if n.len() == 1 && counts > 0 => {}
            Some(n) if n.len() >= 3 => rows.push(n),
            // a line of names before the first number
            None if rows.is_empty() && names.is_none() => {
                names = Some(line);
                layout = None;
            }
            _ => return None,
        }
        if rows.len() == LINES {
            break;
        }
    }
    let mut layout = layout?;
    layout.columns = rows.first()?.len();
    layout.counted = counts > 0;
    if !names.is_some_and(|n| layout.name(n)) {
        // names that are none, or a text whose lines differ in length, are something else
        if rows.iter().any(|r| r.len() != layout.columns) {
            return None;
        }
        layout.guess(&rows);
    }
    Some(layout)
}

pub(super) fn read(bytes: &[u8], layout: &Layout) -> Result<Raw> {
    const DAMAGED: &str = "every line needs the same columns, x y z first or named in the first line";
    let mut raw = Raw::named(if layout.counted { "text points, counted" } else { "text points" });
    let (mut promised, mut started, mut counts_in_row) = (0.0, false, 0);
    let mut values = Vec::new();
    for (at, line) in lines(bytes) {
        let wrong = |why: &str| {
            let shown = line[..line.len().min(60)].escape_ascii();
            fail(format!("the text's line {at} {why}: \"{shown}\"")).hint(DAMAGED)
        };
        let text = std::str::from_utf8(line).map_err(|_| wrong("is not UTF-8"))?;
        if comment(text).is_some() {
            continue;
        }
        values.clear();
        values.extend(layout.words(text).map(|w| layout.number(w)));
        if layout.counted && values.len() == 1 {
            promised += values[0].filter(|n| *n >= 0.0).ok_or_else(|| wrong("is no count"))?;
            counts_in_row += 1;
            if counts_in_row > 1 {
                return Err(fail("the text begins with two counts, as grids of a scanner's rows and columns do")
                    .hint("export it as PTS, PLY or E57"));
            }
            continue;
        }
        counts_in_row = 0;
        if !started && values.iter().any(Option::is_none) && !layout.counted {
            started = true;
            // the line of names
            continue;
        }
        started = true;
        let three = |place: [usize; 3]| -> Option<[f64; 3]> {
            let get = |i: usize| values.get(i).copied().flatten();
            Some([get(place[0])?, get(place[1])?, get(place[2])?])
        };
        raw.points.push(three(layout.xyz).ok_or_else(|| wrong("has not three numbers for a point"))?);
        if let Some(n) = layout.normal.and_then(three) {
            raw.normals.push(n);
        }
        if let Some(c) = layout.color.and_then(three) {
            raw.colors.push(c.map(|v| v.round().clamp(0.0, 255.0) as u8));
        }
    }
    if layout.counted && promised != raw.points.len() as f64 {
        return Err(fail(format!("the text promises {promised} points, but has {}", raw.points.len()))
            .hint("the file is damaged or cut off; export it again"));
    }
    Ok(raw)
}
