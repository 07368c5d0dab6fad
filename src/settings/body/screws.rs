//! `[screws]`.
use super::super::keys::{Form, Key};
use super::{Value, bounded, choice, optional, wrong};
use crate::enclosure::{Along, Fit, ScrewSize, ScrewSpec};
use crate::error::Result;
use serde::Deserialize;

/// `[screws]`.
pub(in crate::settings) const KEYS: &[Key] = &[
    Key::new("size", Form::Word(&["M3", "M4", "M5", "M6"]), "the screws' thread").usual("\"M4\""),
    Key::new("fit", Form::Word(&["fine", "medium", "coarse"]), "how wide the clearance hole is, by ISO 273").usual("\"medium\""),
    Key::new("pitch", Form::Length, "the greatest distance from screw to screw").usual("\"110 mm\""),
    Key::new("edge", Form::Length, "distance of the screws from the flange's border")
        .otherwise("the flange's middle, or nearer to the border where the strip on a plain seat needs the room inside the holes")
        .example("\"8 mm\""),
    Key::new("slip", Form::Length, "holes become slots along the board, this much at the ends").usual("\"0 mm\""),
    Key::new("insert", Form::Length, "length of threaded inserts in the deck, set from below")
        .more("It needs deck.thickness, and is refused where less than 2 mm of deck would stay.")
        .otherwise("bolts through the deck")
        .example("\"8 mm\""),
    Key::new("along", Form::Word(&["bench", "deck"]), "which way the holes run")
        .more("\"bench\" bores along z, square to the board on the bench; \"deck\" along the deck's normal.")
        .usual("\"bench\""),
    Key::new("boss", Form::Flag, "true makes a boss with a face square to z at each hole").usual("false"),
];

/// Distance from screw to screw, mm (common practice, no source: 100 to 120).
const PITCH_MM: f64 = 110.0;

/// `[screws]`.
#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(in crate::settings) struct ScrewTable {
    size: Option<String>,
    fit: Option<String>,
    pitch: Value,
    edge: Value,
    slip: Value,
    insert: Value,
    along: Option<String>,
    #[serde(default)]
    boss: bool,
}

/// The screws it asks for; what is usual where it is left out.
pub(super) fn screws(table: Option<&ScrewTable>) -> Result<ScrewSpec> {
    let none = ScrewTable::default();
    let s = table.unwrap_or(&none);
    let size = s.size.as_deref().unwrap_or("M4");
    let spec = ScrewSpec {
        size: ScrewSize::named(size).ok_or_else(|| {
            wrong(format!("screws.size is \"{size}\", which is none of M3, M4, M5, M6"), "M4 is usual")
        })?,
        fit: choice(
            "screws.fit",
            s.fit.as_ref(),
            &[("medium", Fit::Medium), ("fine", Fit::Fine), ("coarse", Fit::Coarse)],
        )?,
        pitch_mm: optional("screws.pitch", s.pitch.as_ref(), PITCH_MM, 10.0, 1000.0)?,
        edge_mm: s.edge.as_ref().map(|v| bounded("screws.edge", v, 1.0, 200.0)).transpose()?,
        slip_mm: optional("screws.slip", s.slip.as_ref(), 0.0, 0.0, 30.0)?,
        insert_mm: s.insert.as_ref().map(|v| bounded("screws.insert", v, 1.0, 100.0)).transpose()?,
        along: choice("screws.along", s.along.as_ref(), &[("bench", Along::Bench), ("deck", Along::Deck)])?,
        boss: s.boss,
    };
    if spec.boss && spec.along == Along::Deck {
        return Err(wrong(
            "screws.boss is asked for holes along the deck's normal, to which the flange's back is square as it is"
                .into(),
            "take screws.boss out, or screws.along = \"bench\"",
        ));
    }
    Ok(spec)
}
