//! Points as lines of text: XYZ, CSV and PTS, with blanks, commas, semicolons or tabs between the numbers.
use super::raw::{More, Raw};
use super::text_names::Names;
use super::{DAMAGED, ReadLimits, fail};
use crate::error::{Error, Result};

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
    /// The line that holds no point but names, or a title.
    names_at: Option<usize>,
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
        let mut quoted = false;
        line.split(move |c: char| {
            quoted ^= c == '"';
            !quoted && mark.map_or(c.is_ascii_whitespace(), |m| c == m)
        })
        .map(|w| w.trim().trim_matches('"').trim())
        .filter(move |w| mark.is_some() || !w.is_empty())
    }
    fn number(&self, word: &str) -> Option<f64> {
        if self.decimal_comma && word.contains(',') { word.replace(',', ".").parse().ok() } else { word.parse().ok() }
    }
    /// The way in which a line of numbers is written.
    fn of_line(line: &str) -> Self {
        let blanks: Vec<&str> = line.split_ascii_whitespace().collect();
        let between = if line.contains("\",\"") {
            Between::Mark(',')
        } else if line.contains(';') {
            Between::Mark(';')
        } else if line.contains(',') && (blanks.len() < 3 || blanks.iter().any(|w| w.ends_with(',') || *w == ",")) {
            Between::Mark(',')
        } else {
            Between::Blanks
        };
        Self {
            between,
            decimal_comma: (between != Between::Mark(',') || line.contains('"'))
                && line.contains(',')
                && !line.contains('.'),
            columns: 0,
            xyz: [0, 1, 2],
            normal: None,
            color: None,
            counted: false,
            names_at: None,
        }
    }
    /// Takes the columns from a line of names; false when it does not name x, y and z.
    fn name(&mut self, line: &str) -> bool {
        let line = Names::without_units(line);
        let names = Names::of(self.words(&line));
        let Some(xyz) = names.xyz() else { return false };
        (self.xyz, self.normal, self.color) = (xyz, names.normal(), names.color());
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
        let from = self.xyz[0];
        self.normal = [3, 4, 6].into_iter().map(|i| from + i).find(|&i| normal(i)).map(at);
        self.color = [4, 3, 6].into_iter().map(|i| from + i).find(|&i| color(i) && self.normal != Some(at(i))).map(at);
    }
}
/// Whether a word is a date or a time of day: figures with more than one mark between them.
fn is_time(word: &str) -> bool {
    let marks = word.matches([':', '-', '/']).count();
    marks > 1 && word.chars().all(|c| c.is_ascii_digit() || ":-/.+TZ ".contains(c))
}
/// Whether the text begins as grids of a scanner's rows and columns do (PTX): two counts, the scanner's place and three axes,
/// and a matrix of four by four.
pub(super) fn is_grid(bytes: &[u8]) -> bool {
    let numbers = |line: &[u8]| {
        let words = std::str::from_utf8(line).ok()?.split_ascii_whitespace();
        words.map(|w| w.parse().ok()).collect::<Option<Vec<f64>>>().map(|n| n.len())
    };
    let head = [1, 1, 3, 3, 3, 3, 4, 4, 4, 4];
    lines(bytes).take(head.len()).map(|(_, l)| numbers(l)).eq(head.map(Some))
}
/// The refusal of such a text.
pub(super) fn grid() -> Error {
    fail("the text begins with two counts, as grids of a scanner's rows and columns do (PTX), which are not read here")
        .hint("export it as PTS, PLY or E57")
}

/// How the lines are to be read, or nothing when they are no list of points.
///
/// # Errors
/// A list whose named columns are not those of points.
pub(super) fn layout(bytes: &[u8]) -> Result<Option<Layout>> {
    let Some((mut layout, names, rows)) = head(bytes) else { return Ok(None) };
    let Some(first) = rows.first() else { return Ok(None) };
    layout.columns = first.len();
    if names.is_some_and(|n| layout.name(n)) {
        let numbers = |row: &Vec<Cell>| layout.xyz.iter().all(|&i| matches!(row.get(i), Some(Cell::Number(_))));
        return Ok(rows.iter().all(numbers).then_some(layout));
    }
    // names that are none, or a text whose lines differ in length, are something else
    if rows.iter().any(|r| r.len() != layout.columns || r.contains(&Cell::Other)) {
        return Ok(None);
    }
    if let (Some(names), Some(_)) = (names, layout.names_at) {
        let plain = Names::without_units(names);
        let all: Vec<&str> = layout.words(&plain).collect();
        if all.len() == layout.columns && all.iter().all(|w| w.starts_with(|c: char| c.is_alphabetic() || c == '_')) {
            return Err(fail(format!(
                "the columns of the text are named {}, and none of them x, y and z",
                all.join(", ")
            ))
            .hint("name the columns of the points x, y and z in the first line"));
        }
    }
    // times at the beginning of the lines
    let times = first.iter().take_while(|c| **c == Cell::Time).count();
    layout.xyz = [times, times + 1, times + 2];
    let numbers: Vec<Vec<f64>> = (rows.iter())
        .map(|r| r.iter().map(|c| if let Cell::Number(v) = c { *v } else { f64::NAN }).collect())
        .collect();
    let known = |r: &Vec<Cell>| (times..times + 3).all(|i| matches!(r.get(i), Some(Cell::Number(_))));
    if !rows.iter().all(known) {
        return Ok(None);
    }
    layout.guess(&numbers);
    Ok(Some(layout))
}
/// What stands in one column of one line.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Cell {
    Number(f64),
    Time,
    Other,
}
/// How a text's lines are laid out, its line of names, and its first lines' cells.
type Head<'a> = (Layout, Option<&'a str>, Vec<Vec<Cell>>);
/// The way the first lines are written, the line of names or a title, and the cells of the first points.
fn head(bytes: &[u8]) -> Option<Head<'_>> {
    let mut names: Option<(Option<usize>, &str)> = None;
    let mut counts = 0;
    let mut layout: Option<Layout> = None;
    let mut rows: Vec<Vec<Cell>> = Vec::new();
    for (at, line) in lines(bytes) {
        let line = std::str::from_utf8(line).ok()?;
        if line.contains('\0') {
            return None;
        }
        if let Some(rest) = comment(line) {
            names = names.or(Some((None, rest)).filter(|r| r.1.to_ascii_lowercase().contains('x')));
            continue;
        }
        let way = layout.get_or_insert_with(|| Layout::of_line(line));
        let cell = |w: &str| match way.number(w) {
            Some(v) => Cell::Number(v),
            None if is_time(w) => Cell::Time,
            None => Cell::Other,
        };
        let row: Vec<Cell> = way.words(line).map(cell).collect();
        let numbers = row.iter().filter(|c| matches!(c, Cell::Number(_))).count();
        let other = row.contains(&Cell::Other);
        match row[..] {
            [Cell::Number(n)] if rows.is_empty() && n >= 0.0 && n.fract() == 0.0 => {
                counts += 1;
                layout = None;
            }
            // the count of a further block
            [Cell::Number(_)] if counts > 0 => {}
            _ if numbers >= 3 && (!other || names.is_some()) => rows.push(row),
            // a line of names before the first number
            _ if rows.is_empty() && names.is_none() && numbers < row.len() => {
                names = Some((Some(at), line));
                layout = None;
            }
            _ => return None,
        }
        if rows.len() == LINES {
            break;
        }
    }
    let mut layout = layout?;
    layout.counted = counts > 0;
    layout.names_at = names.and_then(|n| n.0);
    Some((layout, names.map(|n| n.1), rows))
}

pub(super) fn read(bytes: &[u8], layout: &Layout, limits: &ReadLimits) -> Result<Raw> {
    const SAME_COLUMNS: &str = "every line needs the same columns, x y z first or named in the first line";
    let mut raw = Raw::named(if layout.counted { "text points, counted" } else { "text points" }, limits);
    let (mut promised, mut counts_in_row) = (0.0, 0);
    let mut values = Vec::new();
    for (at, line) in lines(bytes) {
        let wrong = |why: &str| {
            let shown = line[..line.len().min(60)].escape_ascii();
            fail(format!("the text's line {at} {why}: \"{shown}\"")).hint(SAME_COLUMNS)
        };
        let text = std::str::from_utf8(line).map_err(|_| wrong("is not UTF-8"))?;
        if comment(text).is_some() || layout.names_at == Some(at) {
            continue;
        }
        values.clear();
        values.extend(layout.words(text).map(|w| layout.number(w)));
        if layout.counted && values.len() == 1 {
            promised += values[0].filter(|n| *n >= 0.0).ok_or_else(|| wrong("is no count"))?;
            counts_in_row += 1;
            if counts_in_row > 1 {
                return Err(grid());
            }
            continue;
        }
        counts_in_row = 0;
        let three = |place: [usize; 3]| -> Option<[f64; 3]> {
            let get = |i: usize| values.get(i).copied().flatten();
            Some([get(place[0])?, get(place[1])?, get(place[2])?])
        };
        raw.allow(More { points: 1, normals: 1, colors: 1, ..More::default() })?;
        raw.points.push(three(layout.xyz).ok_or_else(|| wrong("has not three numbers for a point"))?);
        if let Some(n) = layout.normal.and_then(three) {
            raw.normals.push(n);
        }
        if let Some(c) = layout.color.and_then(three) {
            raw.colors.push(c.map(|v| v.round().clamp(0.0, 255.0) as u8));
        }
    }
    if layout.counted && promised != raw.points.len() as f64 {
        return Err(fail(format!("the text promises {promised} points, but has {}", raw.points.len())).hint(DAMAGED));
    }
    Ok(raw)
}

#[cfg(test)]
mod tests {
    use super::super::{ReadLimits, read_scan, read_scan_within};
    use std::fmt::Write;

    /// Twelve lines, each the point (i + 0.5, 2 i, -i) as `line` writes it.
    fn text(head: &str, line: impl Fn(f64, f64, f64, usize) -> String) -> String {
        let mut o = head.to_owned();
        for i in 0..12 {
            let v = i as f64;
            let _ = writeln!(o, "{}", line(v + 0.5, 2.0 * v, -v, i));
        }
        o
    }
    #[test]
    fn columns_are_taken_by_their_names_and_not_by_their_place() {
        let id = |x, y, z, i| format!("{i},{x},{y},{z}");
        let time = |x, y, z, i| format!("2026-05-01T12:00:{i:02}Z,{x},{y},{z}");
        for file in [
            text("id,x [m],y [m],z [m]\n", id),
            text("Point ID;X (mm);Y (mm);Z (mm)\n", |x, y, z, i| format!("{i};{x};{y};{z}")),
            text("\"id\",\"x\",\"y\",\"z\"\n", |x, y, z, i| format!("\"{i}\",\"{x}\",\"{y}\",\"{z}\"")),
            text("\"x\",\"y\",\"z\"\n", |x, y, z, _| format!("\"{x}\",\"{y}\",\"{z}\"").replace('.', ",")),
            text("label z_coord pos_y x\n", |x, y, z, i| format!("{i} {z} {y} {x}")),
            text("# id x y z\n", |x, y, z, i| format!("{i} {x} {y} {z}")),
            text("time,x,y,z\n", time),
            text("", time),
            text("", |x, y, z, i| format!("2026-05-01 12:00:{i:02} {x} {y} {z}")),
            text("name,x,y,z\n", |x, y, z, i| format!("\"corner, {i}\",{x},{y},{z}")),
        ] {
            let c = read_scan(file.as_bytes()).unwrap_or_else(|e| panic!("{file}: {e}")).value;
            assert_eq!(c.points.len(), 12, "{file}");
            assert!(
                c.points.iter().enumerate().all(|(i, p)| {
                    let v = i as f64;
                    (p.x, p.y, p.z) == (v + 0.5, 2.0 * v, -v)
                }),
                "{file}"
            );
        }
        let colors = text("id,x,y,z,Red,Green,Blue\n", |x, y, z, i| format!("{i},{x},{y},{z},{i},7,255"));
        assert_eq!(read_scan(colors.as_bytes()).unwrap().value.colors.unwrap()[3], [3, 7, 255]);
    }
    #[test]
    fn columns_with_other_names_are_asked_about_and_not_guessed() {
        let file = text("id,east,north,up\n", |x, y, z, i| format!("{i},{x},{y},{z}"));
        let e = read_scan(file.as_bytes()).unwrap_err();
        assert!(e.message().contains("id, east, north, up") && e.hint_text().unwrap().contains("x, y and z"), "{e}");
    }
    #[test]
    fn a_grid_of_a_scanner_is_refused_with_the_way_out() {
        let mut file =
            String::from("3\r\n4\r\n0 0 0\r\n1 0 0\r\n0 1 0\r\n0 0 1\r\n1 0 0 0\r\n0 1 0 0\r\n0 0 1 0\r\n0 0 0 1\r\n");
        file.push_str(&"0.5 0.25 1 0.5 10 20 30\r\n".repeat(12));
        let e = read_scan(file.as_bytes()).unwrap_err();
        assert!(e.message().contains("PTX") && e.hint_text().unwrap().contains("PLY"), "{e}");
    }
    #[test]
    fn a_small_packed_text_takes_no_more_memory_than_it_may() {
        let file = text("", |x, y, z, _| format!("{x} {y} {z}"));
        let limits = ReadLimits { memory_bytes: 300, ..ReadLimits::default() };
        let e = read_scan_within(file.as_bytes(), &limits).unwrap_err();
        assert!(e.message().contains("memory") && e.hint_text().unwrap().contains("limits.memory"), "{e}");
    }
}
