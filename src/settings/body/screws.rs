//! `[screws]`.
use super::{Value, bounded, choice, optional, wrong};
use crate::enclosure::{Along, Fit, ScrewSize, ScrewSpec};
use crate::error::Result;
use serde::Deserialize;

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
