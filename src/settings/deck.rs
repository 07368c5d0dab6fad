//! `[deck]`: thickness, rail, truck holes.
use super::keys::{Form, Key};
use super::{bounded, few, length, optional};
use crate::deck::{DeckDetails, DeckHole};
use crate::error::{Error, Result, Stage};
use serde::Deserialize;

/// `[deck]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("name", Form::Other("text"), "the board's name, for titles").usual("\"deck\""),
    Key::new("thickness", Form::Length, "the deck's thickness, measured at a truck hole or the rail")
        .more("Threaded inserts need it.")
        .otherwise("11 mm is assumed, which every report says")
        .example("\"12 mm\""),
    Key::new("rail_radius", Form::Length, "radius of the rounds between rail and faces, up to half the thickness")
        .more("`deck.*` gets them, and a photo is read with them.")
        .otherwise("found with the photo; `deck.*` has a square rail")
        .example("\"4 mm\""),
    Key::new("hole", Form::Table, "holes through the deck, along its normal"),
];
/// `[[deck.hole]]`.
pub(super) const HOLE_KEYS: &[Key] = &[
    Key::new("at", Form::Place, "the hole's middle, or the middle of the four")
        .needed()
        .example("[\"330 mm\", \"0 mm\"]"),
    Key::new(
        "pattern",
        Form::Other("\"new school\", \"old school\" or two lengths, along the board and across"),
        "makes four holes",
    )
    .more("\"new school\" is 2 1/8 x 1 5/8 in, \"old school\" is 2 1/2 x 1 5/8 in.")
    .otherwise("one hole")
    .example("\"63.5 x 41.3 mm\""),
    Key::new("diameter", Form::Length, "the hole's diameter").usual("\"5.5 mm\""),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct DeckTable {
    pub(super) name: Option<String>,
    pub(super) thickness: Option<toml::Value>,
    rail_radius: Option<toml::Value>,
    #[serde(default)]
    hole: Vec<HoleTable>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct HoleTable {
    at: [toml::Value; 2],
    pattern: Option<String>,
    diameter: Option<toml::Value>,
}
/// A clearance hole for truck bolts, 5 to 5.5 mm (common practice, no source).
const DIAMETER_MM: f64 = 5.5;
/// Holes taken, mm: from a pilot hole to a handle's.
const DIAMETER_RANGE_MM: (f64, f64) = (0.5, 200.0);
/// Truck holes along the board and across, mm: 2 1/8 or 2 1/2 by 1 5/8 in (common practice, no source).
const PATTERNS: [(&str, [f64; 2]); 2] = [("new school", [53.975, 41.275]), ("old school", [63.5, 41.275])];
/// Distances of truck holes taken, mm: two bolts beside each other to the largest plates.
const PATTERN_RANGE_MM: (f64, f64) = (10.0, 300.0);

fn pattern(text: &str) -> Result<[f64; 2]> {
    if let Some((_, size)) = PATTERNS.iter().find(|(name, _)| text.trim().eq_ignore_ascii_case(name)) {
        return Ok(*size);
    }
    let key = "deck.hole.pattern";
    let wrong = || {
        let names = PATTERNS.map(|(name, _)| format!("\"{name}\"")).join(" or ");
        Error::new(Stage::Settings, format!("{key} is \"{text}\", but must be {names}, or two lengths"))
            .hint("for example pattern = \"63.5 x 41.3 mm\", along the board and across")
    };
    let (a, b) = text.split_once('x').ok_or_else(wrong)?;
    // one unit at the end serves both
    let unit = b.trim_start_matches(|c: char| c.is_ascii_digit() || " ./,".contains(c));
    let (lo, hi) = PATTERN_RANGE_MM;
    let side = |s: &str| bounded(key, &toml::Value::String(format!("{} {unit}", s.trim())), lo, hi);
    Ok([side(a)?, side(b.strip_suffix(unit).unwrap_or(b))?])
}

/// Most entries of holes, of up to four holes each: trucks have two or three, and each hole is bored through both faces.
const MOST_HOLES: usize = 50;

impl DeckTable {
    /// `longest` bounds places on the board, mm.
    pub(super) fn details(&self, thickness_mm: f64, longest: f64) -> Result<DeckDetails> {
        few("[[deck.hole]]", self.hole.len(), MOST_HOLES)?;
        let hole = |h: &HoleTable| -> Result<DeckHole> {
            let place = |v| bounded("deck.hole.at", v, -longest, longest);
            let (lo, hi) = DIAMETER_RANGE_MM;
            Ok(DeckHole {
                at_mm: [place(&h.at[0])?, place(&h.at[1])?],
                pattern_mm: h.pattern.as_deref().map_or(Ok([0.0; 2]), pattern)?,
                diameter_mm: optional("deck.hole.diameter", h.diameter.as_ref(), DIAMETER_MM, lo, hi)?,
            })
        };
        let rail = self.rail_radius.as_ref().map_or(Ok(0.0), |v| length("deck.rail_radius", v))?;
        if !(0.0..=thickness_mm / 2.0).contains(&rail) {
            let most = thickness_mm / 2.0;
            return Err(Error::new(
                Stage::Settings,
                format!("deck.rail_radius is {rail} mm, it must be 0 mm to {most} mm, half of deck.thickness"),
            )
            .hint("0 mm leaves the rail square, half the thickness rounds all of it"));
        }
        Ok(DeckDetails { rail_radius_mm: rail, holes: self.hole.iter().map(hole).collect::<Result<_>>()? })
    }
}

#[cfg(test)]
mod tests {
    use crate::Board;
    fn board(t: &str) -> crate::Result<Board> {
        Board::parse(&format!("[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[deck]\nthickness='12 mm'\n{t}\n"))
    }
    #[test]
    fn rails_and_holes_are_read() {
        let b = board("rail_radius='4 mm'\n[[deck.hole]]\nat=['-330 mm', '0 mm']\npattern='Old School'\n[[deck.hole]]\nat=['33 cm', '0 mm']\npattern='2.125 x 1.625 in'\ndiameter='6 mm'\n[[deck.hole]]\nat=['1 cm', '2 cm']").unwrap();
        let d = b.deck_details;
        assert_eq!(d.rail_radius_mm, 4.0);
        assert_eq!(
            (d.holes[0].at_mm, d.holes[0].pattern_mm, d.holes[0].diameter_mm),
            ([-330.0, 0.0], [63.5, 41.275], 5.5)
        );
        assert!((d.holes[1].pattern_mm[0] - 53.975).abs() < 1e-9 && (d.holes[1].pattern_mm[1] - 41.275).abs() < 1e-9);
        assert_eq!(d.holes[1].diameter_mm, 6.0);
        assert_eq!((d.holes[2].at_mm, d.holes[2].pattern_mm), ([10.0, 20.0], [0.0, 0.0]));
        assert_eq!(board("").unwrap().deck_details, crate::DeckDetails::default());
    }
    #[test]
    fn wrong_rails_and_holes_are_refused() {
        let hole = |t: &str| format!("[[deck.hole]]\nat=['0 mm', '0 mm']\n{t}");
        for (t, want) in [
            ("rail_radius='6.1 mm'".to_owned(), "0 mm to 6 mm"),
            ("rail_radius=3".to_owned(), "no unit"),
            (hole("pattern='middle school'"), "middle school"),
            (hole("pattern='60 mm'"), "two lengths"),
            (hole("pattern='60 x 40'"), "pattern"),
            (hole("diameter='0 mm'"), "0.5 mm"),
        ] {
            let e = board(&t).unwrap_err();
            assert!(e.message().contains(want), "{t}: {e}");
        }
    }
}
