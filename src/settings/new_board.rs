//! A new board file: what a builder has said so far, each word of it checked as the board file checks it, and the commented text.
use super::keys::{Group, Key, LeftOut, group};
use super::part_text::PartText;
use super::{Board, WIDTH_MM, parse_length};
use crate::error::{Error, Result, Stage};
use crate::frame::Tape;
use std::collections::BTreeMap;
use std::fmt::Write;

/// Share of a room that is taken: by the tape's width alone a scan's size is known to some 2 %.
const SURE_RATIO: f64 = 0.98;
/// A room shorter than this holds no enclosure, mm: two flanges and a hand's width.
const LEAST_LENGTH_MM: f64 = 120.0;
/// Length of an enclosure over the board's width that fits between the trucks of most boards (common practice, no source).
const USUAL_RATIO: f64 = 1.5;
/// Column of the comments.
const COMMENTS_AT: usize = 30;

/// What a new board file can be told.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Given {
    /// `tape.width`.
    Width,
    /// `tape.length`.
    Length,
    /// `tape.wheelbase`.
    Wheelbase,
    /// `deck.thickness`.
    Thickness,
    /// `rider.mass`.
    Rider,
    /// `enclosure.depth`.
    Depth,
    /// `enclosure.gasket`.
    Gasket,
    /// `enclosure.length`.
    EnclosureLength,
    /// `enclosure.offset`.
    Offset,
    /// `screws.size`.
    Screw,
    /// `printer.bed`.
    Bed,
}
/// What a new board file says.
#[derive(Debug, Clone, PartialEq)]
pub struct NewBoard {
    /// Path of the scan, relative to the board file.
    pub scan_file: String,
    /// Path of the photo.
    pub photo_file: Option<String>,
    /// The room that is free along the board, from and to from its middle, mm; none where nothing tells.
    pub free_mm: Option<[f64; 2]>,
    given: BTreeMap<Given, String>,
    parts: Vec<PartText>,
}

impl NewBoard {
    /// Nothing but a scan.
    pub fn new(scan_file: impl Into<String>) -> Self {
        Self { scan_file: scan_file.into(), photo_file: None, free_mm: None, given: BTreeMap::new(), parts: Vec::new() }
    }
    /// What was given, as it was typed.
    pub fn get(&self, what: Given) -> Option<&str> {
        self.given.get(&what).map(String::as_str)
    }
    /// Takes `text` for `what`, once a board file with it could be read.
    ///
    /// # Errors
    /// What the board file's reader refuses; then nothing is changed.
    pub fn set(&mut self, what: Given, text: &str) -> Result<()> {
        let mut next = self.clone();
        next.given.insert(what, text.trim().to_owned());
        next.settle(what == Given::Depth)?;
        *self = next;
        Ok(())
    }
    /// Takes one more part, told as `pack 180x84x28 mm battery`.
    ///
    /// # Errors
    /// Not a name, three sizes and a unit, or what the board file's reader refuses; then nothing is changed.
    pub fn add_part(&mut self, text: &str) -> Result<()> {
        let mut next = self.clone();
        next.parts.push(PartText::read(text)?);
        next.settle(false)?;
        *self = next;
        Ok(())
    }
    /// Whether there are parts.
    pub fn has_parts(&self) -> bool {
        !self.parts.is_empty()
    }
    /// How deep a body is asked for: where nobody said it, as deep as the parts ask.
    fn depth(&self) -> Option<&str> {
        self.get(Given::Depth).or_else(|| self.has_parts().then_some(PARTS))
    }
    /// Whether a body is made, and not the mating face alone.
    pub fn has_body(&self) -> bool {
        self.depth().is_some()
    }
    /// Refuses what a board file may not hold. What is not said yet is taken as it hinders least: the narrowest board, some depth.
    fn settle(&self, depth_now: bool) -> Result<()> {
        if depth_now && self.get(Given::Depth) == Some(PARTS) {
            self.parts_for_depth()?;
        }
        let mut whole = self.clone();
        whole.given.entry(Given::Width).or_insert_with(|| millimetres(WIDTH_MM.0));
        whole.given.entry(Given::Depth).or_insert_with(|| PARTS.into());
        Board::parse(&whole.written()).map(|_| ())
    }
    fn parts_for_depth(&self) -> Result<()> {
        if self.has_parts() {
            return Ok(());
        }
        Err(Error::new(Stage::Settings, "enclosure.depth is \"parts\", but no part is given that says how deep")
            .hint("give each part with --part, for example --part \"pack 180x84x28 mm battery\", or a depth such as \"45 mm\""))
    }
    /// The tape's readings.
    ///
    /// # Errors
    /// No width, or what [`NewBoard::text`] refuses.
    pub fn tape(&self) -> Result<Tape> {
        Ok(self.board()?.tape)
    }
    fn board(&self) -> Result<Board> {
        if self.get(Given::Width).is_none() {
            return Err(Error::new(Stage::Settings, "the width of the board is missing: a scan has no size of its own")
                .hint("read it with a tape from rail to rail at the widest place, and give it with its unit: --width \"209.5 mm\""));
        }
        if self.get(Given::Screw).is_some() && !self.has_body() {
            return Err(Error::new(Stage::Settings, "a screw's size is given, but not how deep the enclosure is")
                .hint("give --depth \"45 mm\", or each part with --part and --depth parts"));
        }
        Board::parse(&self.written())
    }
    /// The commented text.
    ///
    /// # Errors
    /// No width, a screw without a body, or what does not go together.
    pub fn text(&self) -> Result<String> {
        self.board()?;
        Ok(self.written())
    }

    /// Length of an enclosure in the room that is free, mm, where nobody said it, and whether that room is known; none without a width.
    pub fn usual_length(&self) -> Option<(f64, bool)> {
        let width_mm = parse_length(self.get(Given::Width)?).ok()?;
        let ([length, _], known) = self.place(width_mm, None);
        Some((length, known))
    }
    /// Length and offset of an enclosure, mm, its length as given or as it fits; whether the room for it is known.
    fn place(&self, width_mm: f64, length_mm: Option<f64>) -> ([f64; 2], bool) {
        let usual = USUAL_RATIO * width_mm;
        let Some([a, b]) = self.free_mm.filter(|[a, b]| b - a >= LEAST_LENGTH_MM) else {
            return ([length_mm.unwrap_or_else(|| usual.round()), 0.0], false);
        };
        let length = length_mm.unwrap_or_else(|| (SURE_RATIO * (b - a)).min(usual).floor());
        // where it is free about the middle, it stays there
        let (least, most) = ((a + length / 2.0).ceil(), (b - length / 2.0).floor());
        let offset = if least <= most { 0f64.clamp(least, most) } else { ((a + b) / 2.0).round() };
        ([length, offset + 0.0], true)
    }

    /// The text as it stands.
    fn written(&self) -> String {
        let out = "# Everything measured or chosen for one board. Lengths are text with a unit: mm, cm, m or in.\n\
                   # A line that begins with \"#\" is not read: take the \"#\" away to use it. `faydeck explain KEY` tells what a key means.\n";
        let mut t = Text { out: out.into(), group: None, off: false };
        let value = |what| self.get(what).map(quoted);
        t.group("scan");
        t.line("file", Some(quoted(&self.scan_file)));
        t.group("tape");
        t.line("width", value(Given::Width));
        t.line("length", value(Given::Length));
        t.line("wheelbase", value(Given::Wheelbase));
        t.line("tolerance", None);
        t.optional_group("photo", self.photo_file.is_some());
        t.line("file", self.photo_file.as_deref().map(quoted));
        t.group("deck");
        t.line("name", None);
        t.line("thickness", value(Given::Thickness));
        self.write_enclosure(&mut t);
        if self.has_body() {
            self.write_body(&mut t);
        }
        t.optional_group("printer", self.get(Given::Bed).is_some());
        t.line("bed", value(Given::Bed));
        t.optional_group("rider", self.get(Given::Rider).is_some());
        t.line("mass", value(Given::Rider));
        t.commented("sag");
        t.out
    }
    fn write_enclosure(&self, t: &mut Text) {
        let mm = |text: Option<&str>| text.and_then(|t| parse_length(t).ok());
        let width_mm = mm(self.get(Given::Width)).unwrap_or(WIDTH_MM.0);
        let length_mm = mm(self.get(Given::EnclosureLength));
        let ([length, offset], known) = self.place(width_mm, length_mm);
        let room = match self.free_mm.filter(|_| known) {
            Some([a, b]) => {
                let by = if self.get(Given::Wheelbase).is_some() { "the scan and the wheelbase" } else { "the scan" };
                format!("free by {by}: x from {:.0} to {:.0} mm", a.ceil() + 0.0, b.floor() + 0.0)
            }
            None if length_mm.is_some() => "the scan shows no room: measure it between the trucks".into(),
            None => "ASSUMED: the scan shows no room; measure it between the trucks".into(),
        };
        t.group("enclosure");
        let of = |what, mm: f64| quoted(&self.get(what).map_or_else(|| millimetres(mm), str::to_owned));
        t.line_with("length", Some(of(Given::EnclosureLength, length)), &room);
        t.line("offset", Some(of(Given::Offset, offset)));
        t.usual("inset");
        t.usual("flange");
        match self.get(Given::Gasket) {
            Some(mm) => t.line("gasket", Some(quoted(mm))),
            None => t.usual("gasket"),
        }
        t.usual("squeeze");
        let why = if self.depth() == Some(PARTS) { "\"parts\": as deep as the tallest part asks" } else { "" };
        t.line_with("depth", self.depth().map(quoted), why);
        if self.has_body() {
            for name in ["wall", "floor", "flange_thickness"] {
                t.usual(name);
            }
            t.commented("draft");
            t.commented("flange_chamfer");
        }
    }
    fn write_body(&self, t: &mut Text) {
        t.group("screws");
        match self.get(Given::Screw) {
            Some(size) => t.line("size", Some(quoted(size))),
            None => t.usual("size"),
        }
        t.usual("fit");
        t.usual("pitch");
        t.commented("insert");
        for p in &self.parts {
            t.group("part");
            t.line("name", Some(quoted(&p.name)));
            for (name, size) in ["length", "width", "height"].into_iter().zip(&p.sizes) {
                t.line(name, Some(quoted(size)));
            }
            if p.battery {
                t.line("battery", Some("true".into()));
            }
            t.line_with("at", None, "without it, where there is room");
        }
        t.optional_group("opening", false);
        for name in ["name", "at", "diameter"] {
            t.commented(name);
        }
        t.optional_group("trucks", false);
        for name in ["wheelbase", "wheel", "axle_height"] {
            t.commented(name);
        }
    }
}
/// The word for a depth that the parts decide.
const PARTS: &str = "parts";

fn quoted(text: &str) -> String {
    toml::Value::String(text.to_owned()).to_string()
}
fn millimetres(mm: f64) -> String {
    format!("{mm} mm")
}

/// The text of a board file as it grows, with what the keys mean as comments.
struct Text {
    out: String,
    group: Option<&'static Group>,
    /// Whether the group is a comment as a whole.
    off: bool,
}
impl Text {
    fn group(&mut self, name: &str) {
        self.optional_group(name, true);
    }
    /// A group that is only shown as a comment where it is not `wanted`.
    fn optional_group(&mut self, name: &str, wanted: bool) {
        self.group = group(name);
        self.off = !wanted;
        let head = self.group.map(Group::head).unwrap_or_default();
        let brief = self.group.map_or("", |g| g.brief);
        self.out.push('\n');
        self.write(&head, brief);
    }
    fn key(&self, name: &str) -> Option<&'static Key> {
        self.group.and_then(|g| g.key(name))
    }
    /// `name = value`, or where there is none an example of it as a comment.
    fn line(&mut self, name: &str, value: Option<String>) {
        self.line_with(name, value, "");
    }
    /// The same with more to say of it.
    fn line_with(&mut self, name: &str, value: Option<String>, more: &str) {
        let Some(key) = self.key(name) else { return };
        let comment = if more.is_empty() { key.brief.to_owned() } else { format!("{}; {more}", key.brief) };
        let off = self.off;
        self.off |= value.is_none();
        self.write(&format!("{name} = {}", value.unwrap_or_else(|| key.value().to_owned())), &comment);
        self.off = off;
    }
    /// A key with its usual value.
    fn usual(&mut self, name: &str) {
        let value = self.key(name).map(|k| match k.left_out {
            LeftOut::Value(v) => v.to_owned(),
            _ => k.value().to_owned(),
        });
        self.line(name, value);
    }
    /// A key that may be wanted, as a comment.
    fn commented(&mut self, name: &str) {
        self.line(name, None);
    }
    fn write(&mut self, line: &str, comment: &str) {
        let line = if self.off { format!("# {line}") } else { line.to_owned() };
        let _ = writeln!(self.out, "{line:<COMMENTS_AT$} # {comment}");
    }
}

impl Board {
    /// A commented board file to start from, for a scan with what the tape read, mm.
    pub fn template(scan_file: &str, photo_file: Option<&str>, width_mm: f64, length_mm: Option<f64>) -> String {
        let mut b = NewBoard::new(scan_file);
        b.photo_file = photo_file.map(str::to_owned);
        b.given.insert(Given::Width, millimetres(width_mm));
        b.given.extend(length_mm.map(|mm| (Given::Length, millimetres(mm))));
        b.written()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::enclosure::{Depth, ScrewSize};
    use crate::load::Sag;

    fn enclosure(free: Option<[f64; 2]>) -> crate::mating::EnclosureSpec {
        let mut b = NewBoard::new("s.ply");
        b.set(Given::Width, "209.5 mm").unwrap();
        b.free_mm = free;
        Board::parse(&b.text().unwrap()).unwrap().enclosure.unwrap()
    }
    #[test]
    fn template_reads_back() {
        let b = Board::parse(&Board::template("my \"scan\".ply", Some("p.jpg"), 209.5, Some(812.0))).unwrap();
        assert_eq!(b.scan_files, ["my \"scan\".ply"]);
        assert_eq!(b.photos[0].file, "p.jpg");
        assert_eq!((b.tape.width_mm, b.tape.length_mm), (209.5, Some(812.0)));
        let e = b.enclosure.unwrap();
        assert_eq!((e.inset_mm, e.flange_mm, e.gasket_mm, e.squeeze_ratio), (14.0, 16.0, 3.0, 0.3));
        assert!(b.thickness_assumed && b.body.is_none());
    }
    /// `new` wrote 314 mm on a board whose trucks leave 250.
    #[test]
    fn a_new_board_file_asks_for_no_more_than_the_room_between_the_trucks() {
        for (free, want) in
            [([-120.0, 130.0], (245.0, 3.0)), ([-250.0, 230.0], (314.0, 0.0)), ([-100.0, 400.0], (314.0, 57.0))]
        {
            let e = enclosure(Some(free));
            assert_eq!((e.length_mm, e.offset_mm), want);
        }
        let guess = Board::template("s.ply", None, 209.5, None);
        assert!(guess.contains("ASSUMED") && Board::parse(&guess).is_ok());
        assert_eq!(enclosure(Some([-50.0, 50.0])).length_mm, 314.0, "100 mm is no room");
    }
    #[test]
    fn an_enclosure_of_a_given_length_is_laid_into_the_room() {
        let mut b = NewBoard::new("s.ply");
        b.free_mm = Some([-100.0, 400.0]);
        b.set(Given::Width, "209.5 mm").unwrap();
        b.set(Given::EnclosureLength, "40 cm").unwrap();
        let e = Board::parse(&b.text().unwrap()).unwrap().enclosure.unwrap();
        assert_eq!((e.length_mm, e.offset_mm), (400.0, 100.0));
        b.set(Given::Offset, "-2 cm").unwrap();
        assert_eq!(Board::parse(&b.text().unwrap()).unwrap().enclosure.unwrap().offset_mm, -20.0);
    }
    #[test]
    fn what_was_given_is_what_the_board_file_says() {
        let mut b = NewBoard::new("scan \n\u{1f6f9}.ply");
        b.photo_file = Some("p 'x'.jpg".into());
        b.add_part("12s \"big\" pack 180x84x28 mm battery").unwrap();
        b.add_part("control 6.4 cm x 44 mm x 2 cm").unwrap();
        for (what, text) in [
            (Given::Width, "8 1/4 in"),
            (Given::Length, "812 mm"),
            (Given::Wheelbase, "44,4 cm"),
            (Given::Thickness, " 12 mm "),
            (Given::Rider, "80 kg"),
            (Given::Depth, "45 mm"),
            (Given::EnclosureLength, "250 mm"),
            (Given::Gasket, "6 mm"),
            (Given::Offset, "-5 mm"),
            (Given::Screw, "M5"),
            (Given::Bed, "220 x 200 x 250 mm"),
        ] {
            b.set(what, text).unwrap();
        }
        let said = Board::parse(&b.text().unwrap()).unwrap();
        assert_eq!((said.scan_files[0].as_str(), said.photos[0].file.as_str()), ("scan \n\u{1f6f9}.ply", "p 'x'.jpg"));
        assert_eq!((said.tape.width_mm, said.tape.length_mm), (209.55, Some(812.0)));
        assert_eq!((said.tape.wheelbase_mm, said.thickness_mm, said.thickness_assumed), (Some(444.0), 12.0, false));
        let rider = said.rider.unwrap();
        assert!(matches!(rider.sag, Sag::Weight(w) if w.mass_kg == 80.0));
        assert_eq!(rider.wheelbase_mm, 444.0, "the span is what the tape read");
        let e = said.enclosure.unwrap();
        assert_eq!((e.length_mm, e.offset_mm, e.gasket_mm), (250.0, -5.0, 6.0));
        let body = said.body.unwrap();
        assert_eq!((body.depth, body.screws.size), (Depth::Clear(45.0), ScrewSize::M5));
        assert_eq!(body.printer.unwrap().bed_mm, [220.0, 200.0, 250.0]);
        let parts: Vec<_> = body.parts.iter().map(|p| (p.name.as_str(), p.size_mm, p.battery)).collect();
        let pack = ("12s \"big\" pack", [180.0, 84.0, 28.0], true);
        assert_eq!(parts, [pack, ("control", [64.0, 44.0, 20.0], false)]);
    }
    #[test]
    fn parts_alone_say_how_deep() {
        let mut b = NewBoard::new("s.ply");
        b.add_part("pack 180x84x28 mm battery").unwrap();
        b.set(Given::Width, "21 cm").unwrap();
        assert_eq!(Board::parse(&b.text().unwrap()).unwrap().body.unwrap().depth, Depth::Parts);
    }
    /// Nothing is left of what was refused.
    #[test]
    fn what_a_board_file_may_not_say_is_refused_at_once() {
        let mut b = NewBoard::new("s.ply");
        assert!(b.text().unwrap_err().message().contains("width"));
        for (what, text, want) in [
            (Given::Width, "2145 mm", "boards have"),
            (Given::Width, "21", "no unit"),
            (Given::Length, "20 mm", "boards have"),
            (Given::Thickness, "12", "no unit"),
            (Given::Thickness, "0 mm", "outside"),
            (Given::Wheelbase, "9 m", "outside"),
            (Given::Rider, "80", "no unit"),
            (Given::Rider, "800 kg", "outside"),
            (Given::Depth, "deep", "unit \"deep\""),
            (Given::Depth, "parts", "no part"),
            (Given::Gasket, "30 mm", "outside"),
            (Given::EnclosureLength, "1 mm", "outside"),
            (Given::Offset, "5", "no unit"),
            (Given::Screw, "M9", "M3, M4"),
            (Given::Bed, "220 x 220 mm", "width x depth x height"),
        ] {
            let e = b.set(what, text).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{text}: {e}");
        }
        let e = b.add_part("pack 0x84x28 mm").unwrap_err();
        assert!(e.message().contains("part.length of 'pack' is 0 mm"), "{e}");
        assert_eq!(b, NewBoard::new("s.ply"));
        b.set(Given::Width, "21 cm").unwrap();
        assert!(b.set(Given::Length, "20 cm").unwrap_err().message().contains("more than tape.width"));
        b.set(Given::Screw, "M4").unwrap();
        assert!(b.text().unwrap_err().message().contains("how deep"));
    }
    #[test]
    fn every_line_says_what_it_means() {
        let mut b = NewBoard::new("s.ply");
        b.set(Given::Width, "21 cm").unwrap();
        b.add_part("pack 180x84x28 mm battery").unwrap();
        let text = b.text().unwrap();
        for line in text.lines().skip(2).filter(|l| !l.is_empty()) {
            let comment = line.split('#').next_back().unwrap_or("").trim();
            assert!(comment.len() > 3 && line.contains(" # "), "{line}");
        }
        // what is a comment reads as well once it is none
        let whole: String = text
            .lines()
            .skip(2)
            .filter(|l| !l.contains("[[opening]]") && !l.starts_with("# diameter") && !l.starts_with("# at"))
            .filter(|l| !l.starts_with("# name"))
            .map(|l| format!("{}\n", l.strip_prefix("# ").unwrap_or(l)))
            .collect();
        Board::parse(&whole).unwrap();
    }
}
