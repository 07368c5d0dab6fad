//! `board.toml`: everything measured or chosen.
mod body;
mod deck;
mod enclosure;
mod fit_check;
mod gasket;
mod keys;
mod length;
mod limits;
mod new_board;
mod output;
mod part_text;
mod photo;
mod plan;
mod quantity;
mod rider;
mod rim;
mod scan;
mod tape;
pub use enclosure::INSET_MM;
pub use keys::{Form, GROUPS, Group, Key, LeftOut, explain};
pub use length::{parse_length, parse_positive_length};
pub use new_board::{Given, NewBoard};
pub use photo::PhotoFile;
pub use scan::ScanSide;

use crate::enclosure::BodySpec;
use crate::error::{Error, Result, Stage, meant};
use crate::export::OutputOptions;
use crate::fit_check::FitCheckSpec;
use crate::frame::{FrameOptions, Tape};
use crate::gap::{Flange, Gasket, Growth};
use crate::load::{RiderSpec, Sag};
use crate::mating::EnclosureSpec;
use enclosure::EnclosureTable;
use gasket::GasketTable;
use rider::RiderTable;
use scan::ScanTable;
use serde::Deserialize;

/// Greatest error of one reading of a class II tape below 1 m from the hook: 0.3 + 0.2 + 0.2 mm
/// (EU 2014/32, annex MI-008).
pub const TAPE_CLASS_II_MM: f64 = 0.7;
/// Usual thickness of a stiff maple deck (common practice, no source).
pub(crate) const THICKNESS_MM: f64 = 11.0;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct File {
    scan: ScanTable,
    tape: tape::TapeTable,
    photo: Option<photo::PhotoTables>,
    #[serde(default)]
    deck: deck::DeckTable,
    enclosure: Option<EnclosureTable>,
    rider: Option<RiderTable>,
    #[serde(default)]
    limits: limits::LimitsTable,
    screws: Option<body::ScrewTable>,
    #[serde(default)]
    part: Vec<body::PartTable>,
    #[serde(default)]
    opening: Vec<body::OpeningTable>,
    trucks: Option<body::TruckTable>,
    printer: Option<body::PrinterTable>,
    #[serde(default)]
    output: output::OutputTable,
    #[serde(default)]
    fit_check: fit_check::FitCheckTable,
    #[serde(default)]
    gasket: GasketTable,
    #[serde(default)]
    rim: rim::RimTable,
}
/// A checked `board.toml`.
#[derive(Debug, Clone, PartialEq)]
pub struct Board {
    /// Name of the board, for titles.
    pub name: String,
    /// Paths of the scans, as written; at least one.
    pub scan_files: Vec<String>,
    /// Which side was scanned.
    pub scan_side: ScanSide,
    /// What isolation is told.
    pub frame: FrameOptions,
    /// The photos.
    pub photos: Vec<PhotoFile>,
    /// What to do when no photo can serve.
    pub unusable_photo: crate::outline::Unusable,
    /// What the builder measured.
    pub tape: Tape,
    /// Thickness of the deck, mm.
    pub thickness_mm: f64,
    /// Whether nobody said it.
    pub thickness_assumed: bool,
    /// Rails and truck holes of the deck's solid.
    pub deck_details: crate::deck::DeckDetails,
    /// The enclosure; without it no mating face is made.
    pub enclosure: Option<EnclosureSpec>,
    /// Path of the enclosure's footprint as SVG, as written; [`Board::with_footprint`] takes its bytes.
    pub footprint_file: Option<String>,
    /// The enclosure's body; without it only the mating face is made.
    pub body: Option<BodySpec>,
    /// What the scan file may ask for.
    pub read_limits: crate::scan::ReadLimits,
    /// What its photos may ask for.
    pub photo_limits: crate::picture::PhotoLimits,
    /// Which files, how fine, on which paper.
    pub output: OutputOptions,
    /// The pieces that are printed first.
    pub fit_check: FitCheckSpec,
    /// The gasket's strip; 0 mm thick without an enclosure.
    pub gasket: Gasket,
    /// The rider; without it the gap is known at rest only.
    pub rider: Option<RiderSpec>,
    /// What the rim is made of.
    pub flange: Flange,
    /// How enclosure and deck grow with temperature.
    pub growth: Growth,
}

fn length(key: &str, v: &toml::Value) -> Result<f64> {
    match v {
        toml::Value::String(s) => parse_length(s).map_err(|e| prefix(key, &e)),
        toml::Value::Integer(_) | toml::Value::Float(_) => {
            Err(Error::new(Stage::Settings, format!("{key} = {v} has no unit"))
                .hint(format!("write it as text with a unit: {key} = \"{v} mm\"")))
        }
        _ => Err(Error::new(Stage::Settings, format!("{key} must be a length such as \"209.5 mm\", but is {v}"))
            .hint("put the value and its unit between quotation marks")),
    }
}
fn prefix(key: &str, e: &Error) -> Error {
    Error::new(Stage::Settings, format!("{key}: {}", e.message())).hint(e.hint_text().unwrap_or_default())
}
fn within(key: &str, mm: f64, lo: f64, hi: f64) -> Result<f64> {
    if mm >= lo && mm <= hi {
        Ok(mm)
    } else {
        Err(Error::new(
            Stage::Settings,
            format!("{key} is {mm} mm, outside the {lo} mm to {hi} mm that faydeck works with"),
        )
        .hint("check the number and its unit"))
    }
}
fn bounded(key: &str, v: &toml::Value, lo: f64, hi: f64) -> Result<f64> {
    within(key, length(key, v)?, lo, hi)
}
fn optional(key: &str, v: Option<&toml::Value>, default: f64, lo: f64, hi: f64) -> Result<f64> {
    v.map_or(Ok(default), |v| bounded(key, v, lo, hi))
}
fn ratio(key: &str, v: &toml::Value) -> Result<f64> {
    let number = match v {
        toml::Value::String(s) => s.trim().strip_suffix('%').and_then(|n| n.trim().parse::<f64>().ok()),
        _ => None,
    };
    match number {
        Some(p) if (0.0..100.0).contains(&p) => Ok(p / 100.0),
        Some(p) => {
            Err(Error::new(Stage::Settings, format!("{key} is {p} %, but must be at least 0 % and below 100 %"))
                .hint("gasket makers usually ask for 20 % to 50 %"))
        }
        None => Err(Error::new(Stage::Settings, format!("{key} = {v} is not a percentage"))
            .hint(format!("write it as text, for example {key} = \"30 %\""))),
    }
}

/// Widths of boards, mm: what is outside is a slip of the decimal point or of the unit, and the work grows with the cube of it.
const WIDTH_MM: (f64, f64) = (100.0, 500.0);
/// Lengths of boards, mm.
const LENGTH_MM: (f64, f64) = (200.0, 2000.0);
/// Longest length taken for anything on a board, mm.
const LONGEST_MM: f64 = LENGTH_MM.1;
/// Widths between two marks or at the ends of a board, mm.
const LEAST_MM: f64 = 10.0;

/// Refuses a board that is none by its size.
///
/// # Errors
/// A length beyond what boards have.
pub(crate) fn board_length(what: &str, mm: f64) -> Result<()> {
    likely(what, mm, LENGTH_MM)
}
/// Refuses a size that no board has, with what may have been meant.
fn likely(what: &str, mm: f64, (lo, hi): (f64, f64)) -> Result<()> {
    if mm >= lo && mm <= hi {
        return Ok(());
    }
    // the slips that are made: a decimal point, and inches or centimetres written as mm
    let slips = [("", 0.1), ("", 10.0), (" in", 25.4), ("", 0.01), ("", 100.0)];
    let meant = slips.iter().find(|(_, factor)| (lo..=hi).contains(&(mm * factor)));
    let hint = match meant {
        Some((" in", _)) => format!("did you mean \"{mm} in\"?"),
        // no more digits than were typed
        Some((_, factor)) => {
            format!("check the decimal point and the unit: did you mean \"{} mm\"?", rounded(mm * factor))
        }
        None => "check the number and its unit".into(),
    };
    Err(Error::new(Stage::Settings, format!("{what} is {mm} mm, but boards have {lo} mm to {hi} mm")).hint(hint))
}
fn rounded(mm: f64) -> f64 {
    (1e6 * mm).round() / 1e6
}
/// Refuses a list of more than `most` entries, each of which is worked on.
fn few(key: &str, n: usize, most: usize) -> Result<()> {
    if n <= most {
        return Ok(());
    }
    Err(Error::new(Stage::Settings, format!("the board file has {n} times {key}, the limit is {most}"))
        .hint("each takes its time; keep those that matter"))
}
/// What a board file that cannot be read says of it, with the key that was meant.
fn unreadable(text: &str, e: &toml::de::Error) -> Error {
    let line = e.span().map_or(1, |s| text.get(..s.start).unwrap_or("").matches('\n').count() + 1);
    let message = e.message().replace('\n', " ");
    let hint = "`faydeck new SCAN --width LEN` writes a commented board file to start from";
    // the parser's words: unknown field `a`, expected one of `b`, `c`
    let mut quoted = message.split('`').skip(1).step_by(2);
    let meant = message.starts_with("unknown field").then(|| meant(quoted.next()?, quoted)).flatten();
    let hint = meant.map_or_else(|| hint.to_owned(), |m| format!("did you mean \"{m}\"?"));
    Error::new(Stage::Settings, format!("board file, line {line}: {message}")).hint(hint)
}

impl Board {
    /// Reads and checks the text of a `board.toml`.
    ///
    /// # Errors
    /// Text that is not TOML, unknown or missing keys, lengths without a unit or out of range.
    pub fn parse(text: &str) -> Result<Self> {
        let text = text.trim_start_matches('\u{feff}');
        let f: File = toml::from_str(text).map_err(|e| unreadable(text, &e))?;
        let hi = LONGEST_MM;
        let tape = f.tape.checked()?;
        let width = tape.width_mm;
        let thickness_mm = optional("deck.thickness", f.deck.thickness.as_ref(), THICKNESS_MM, 1.0, width / 2.0)?;
        let (scan_side, frame) = f.scan.checked(thickness_mm)?;
        let enclosure = f.enclosure.as_ref().map(|e| e.spec(width)).transpose()?;
        let rider = f
            .rider
            .as_ref()
            .map(|r| r.checked(width, f.trucks.as_ref().map(body::TruckTable::wheelbase).or(f.tape.wheelbase())))
            .transpose()?;
        // a sag that is computed from the deck is put in when the deck is known
        let sag_mm = rider.as_ref().map_or(0.0, |r| if let Sag::Measured(mm) = r.sag { mm } else { 0.0 });
        let gasket = f.gasket.checked(enclosure.as_ref().map_or(0.0, |e| e.gasket_mm))?;
        let body = (f.enclosure.as_ref())
            .map(|e| body::body(&e.body_tables(&f, gasket.width_mm), width, sag_mm))
            .transpose()?
            .flatten();
        if let (None, Some(insert)) = (&f.deck.thickness, body.as_ref().and_then(|b| b.screws.insert_mm)) {
            return Err(Error::new(
                Stage::Settings,
                format!("inserts of {insert} mm are asked for, but deck.thickness is missing: how much wood stays under them is not known"),
            )
            .hint("measure the deck at a truck hole or the rail and write deck.thickness"));
        }
        let (photos, unusable_photo) = photo::photos(f.photo)?;
        let (flange, growth) = f.rim.checked(enclosure.as_ref(), body.as_ref())?;
        Ok(Self {
            deck_details: f.deck.details(thickness_mm, hi)?,
            name: f.deck.name.unwrap_or_else(|| "deck".into()),
            scan_files: f.scan.paths()?,
            photos,
            unusable_photo,
            scan_side,
            frame,
            tape,
            thickness_mm,
            thickness_assumed: f.deck.thickness.is_none(),
            footprint_file: f.enclosure.as_ref().and_then(|e| e.footprint.clone()),
            enclosure,
            body,
            read_limits: f.limits.limits()?,
            photo_limits: f.limits.photo_limits()?,
            fit_check: f.fit_check.checked(f.printer.as_ref())?,
            output: f.output.checked()?,
            gasket,
            rider,
            flange,
            growth,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_slip_of_the_decimal_point_is_asked_about_before_any_work() {
        let board =
            |width: &str, more: &str| Board::parse(&format!("[scan]\nfile='s'\n[tape]\nwidth='{width}'\n{more}"));
        for (width, more, said, hint) in [
            ("2145 mm", "", "tape.width is 2145 mm, but boards have 100 mm to 500 mm", "did you mean \"214.5 mm\""),
            ("3999 mm", "", "3999 mm", "\"399.9 mm\""),
            ("21.45 mm", "", "21.45 mm", "\"214.5 mm\""),
            ("8.25 mm", "", "8.25 mm", "\"8.25 in\""),
            (
                "214.5 mm",
                "length='7.62 m'\n",
                "tape.length is 7620 mm, but boards have 200 mm to 2000 mm",
                "\"762 mm\"",
            ),
            ("214.5 mm", "lenght='762 mm'\n", "lenght", "did you mean \"length\""),
            ("214.5 mm", "[enclosure]\nlength='30 cm'\ngasket='30 mm'\n", "enclosure.gasket is 30 mm", "unit"),
            (
                "214.5 mm",
                "[enclosure]\nlength='30 cm'\ndepth='3 cm'\nseat='grove'\n",
                "grove",
                "did you mean \"groove\"",
            ),
        ] {
            let e = board(width, more).unwrap_err();
            assert!(e.message().contains(said) && e.hint_text().is_some_and(|h| h.contains(hint)), "{e}");
        }
    }
    #[test]
    fn a_list_of_thousands_is_refused_before_any_work() {
        let part = "[[part]]\nname='a'\nlength='5 mm'\nwidth='5 mm'\nheight='5 mm'\n";
        let opening = "[[opening]]\nname='a'\nat=['0 mm','0 mm']\ndiameter='3 mm'\n";
        let box_of = |n: usize, what: &str| format!("[enclosure]\nlength='30 cm'\ndepth='3 cm'\n{}", what.repeat(n));
        for (text, most) in [
            ("[[deck.hole]]\nat=['0 mm','0 mm']\n".repeat(3000), 50),
            (format!("[output]\nstations=[{}]\n", "'0 mm',".repeat(30_000)), 100),
            ("[[tape.at]]\nfrom_end='1 cm'\nwidth='15 cm'\n".repeat(500), 40),
            (box_of(500, part), 50),
            (box_of(500, opening), 50),
        ] {
            let e = Board::parse(&format!("[scan]\nfile='s'\n[tape]\nwidth='21 cm'\n{text}")).unwrap_err();
            assert!(e.message().contains(&format!("the limit is {most}")), "{e}");
        }
        let files = format!("[scan]\nfiles=[{}]\n[tape]\nwidth='21 cm'\n", "'s',".repeat(100));
        assert!(Board::parse(&files).unwrap_err().message().contains("the limit is 10"));
    }
    #[test]
    fn faults_are_named() {
        let ok = "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n";
        assert!(Board::parse(ok).is_ok());
        for (text, want) in [
            (ok.replace("'21 cm'", "210"), "has no unit"),
            (ok.replace("'21 cm'", "'0 mm'"), "tape.width is 0 mm"),
            (ok.replace("'21 cm'", "'-3 cm'"), "tape.width is -30 mm"),
            (ok.replace("21 cm", "21"), "has no unit"),
            (ok.replace("width", "breadth"), "line 4"),
            (format!("{ok}length='20 cm'\n"), "more than tape.width"),
            (format!("{ok}[enclosure]\nlength='30 cm'\nsqueeze='130 %'\n"), "130 %"),
            (format!("{ok}[enclosure]\nlength='30 cm'\nsqueeze=0.3\n"), "not a percentage"),
            ("[scan".into(), "line 1"),
            (ok.replace("file='s.ply'", ""), "scan.file is missing"),
            (ok.replace("file='s.ply'", "files=[]"), "scan.files is empty"),
            (ok.replace("file='s.ply'", "file='a'\nfiles=['b']"), "both scan.file and scan.files"),
        ] {
            let e = Board::parse(&text).unwrap_err();
            assert!(e.message().contains(want), "{text}: {e}");
            assert!(e.hint_text().is_some());
        }
    }
}
