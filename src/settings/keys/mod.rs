//! What each key of a board file means. The words stand beside the tables they describe, once: `explain`, `docs/board-file.md` and the
//! comments of a new board file are made from them.
mod told;
pub use told::explain;

use super::{body, deck, fit_check, gasket, limits, output, photo, rider, rim, scan, tape};

/// What is written after a key's `=`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Form {
    /// Text: a length with its unit.
    Length,
    /// Text: an angle in degrees.
    Angle,
    /// Text: a percentage.
    Percent,
    /// Text: a size of memory or of a file.
    Memory,
    /// A number without a unit.
    Number,
    /// `true` or `false`.
    Flag,
    /// Text: one of these words.
    Word(&'static [&'static str]),
    /// Text: a file's path, relative to the board file.
    File,
    /// Two lengths: along the board towards the nose, and across it to the left seen from the underside.
    Place,
    /// What these words say.
    Other(&'static str),
    /// A table of its own, whose group has the key's name.
    Table,
}
/// What holds where a key is left out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LeftOut {
    /// The board file is refused.
    Refused,
    /// The same as with this value, as TOML.
    Value(&'static str),
    /// What these words say; nothing where they are empty.
    Words(&'static str),
}
/// A key of a board file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// Its name within its group.
    pub name: &'static str,
    /// What is written after its `=`.
    pub form: Form,
    /// What it means, a few words that begin with a small letter.
    pub brief: &'static str,
    /// What else there is to know: whole sentences, or empty.
    pub more: &'static str,
    /// What holds without it.
    pub left_out: LeftOut,
    /// Keys of its group whose place it takes.
    pub instead: &'static [&'static str],
    /// Lines of TOML for other keys of its group that it asks for.
    pub beside: &'static str,
    example: &'static str,
}
impl Key {
    /// A key that may be left out, with nothing to say of it then.
    pub(super) const fn new(name: &'static str, form: Form, brief: &'static str) -> Self {
        let left_out = LeftOut::Words("");
        Self { name, form, brief, more: "", left_out, instead: &[], beside: "", example: "" }
    }
    pub(super) const fn more(self, more: &'static str) -> Self {
        Self { more, ..self }
    }
    pub(super) const fn needed(self) -> Self {
        Self { left_out: LeftOut::Refused, ..self }
    }
    pub(super) const fn usual(self, value: &'static str) -> Self {
        Self { left_out: LeftOut::Value(value), ..self }
    }
    pub(super) const fn otherwise(self, words: &'static str) -> Self {
        Self { left_out: LeftOut::Words(words), ..self }
    }
    pub(super) const fn instead(self, names: &'static [&'static str]) -> Self {
        Self { instead: names, ..self }
    }
    pub(super) const fn beside(self, lines: &'static str) -> Self {
        Self { beside: lines, ..self }
    }
    /// An example of its value, where the usual one is none.
    pub(super) const fn example(self, value: &'static str) -> Self {
        Self { example: value, ..self }
    }
    /// A value for it, as TOML: an example, or else the usual one. A key with a table of its own has none.
    pub fn value(&self) -> &'static str {
        match self.left_out {
            LeftOut::Value(v) if self.example.is_empty() => v,
            _ => self.example,
        }
    }
}
/// A table of a board file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Group {
    /// Its name, such as `tape.at`.
    pub name: &'static str,
    /// Whether there may be several: `[[part]]`.
    pub several: bool,
    /// What it holds, a few words that begin with a small letter.
    pub brief: &'static str,
    /// Its keys.
    pub keys: &'static [Key],
}
impl Group {
    const fn one(name: &'static str, brief: &'static str, keys: &'static [Key]) -> Self {
        Self { name, several: false, brief, keys }
    }
    const fn several(name: &'static str, brief: &'static str, keys: &'static [Key]) -> Self {
        Self { name, several: true, brief, keys }
    }
    /// Its head line: `[tape]` or `[[part]]`.
    pub fn head(&self) -> String {
        if self.several { format!("[[{}]]", self.name) } else { format!("[{}]", self.name) }
    }
    /// The key of this name in it.
    pub fn key(&self, name: &str) -> Option<&'static Key> {
        self.keys.iter().find(|k| k.name == name)
    }
}

/// Every table of a board file with its keys, in the order in which they are worth reading.
pub const GROUPS: &[Group] = &[
    Group::one("scan", "the scan", scan::KEYS),
    Group::one("tape", "what was read with the tape", tape::KEYS),
    Group::several("tape.at", "a width read at another place of the board", tape::STATION_KEYS),
    Group::one("photo", "a photo of the board; several photos are several [[photo]]", photo::KEYS),
    Group::one("photo.known", "a length that is known between two pixels of the photo", photo::KNOWN_KEYS),
    Group::one("deck", "the deck's name, thickness and rails", deck::KEYS),
    Group::several("deck.hole", "a hole through the deck, or four of a truck", deck::HOLE_KEYS),
    Group::one("enclosure", "the enclosure: its place, its rim and its body", super::enclosure::KEYS),
    Group::one("screws", "the screws round the rim", body::SCREW_KEYS),
    Group::several("part", "a part that must fit into the enclosure", body::PART_KEYS),
    Group::several("opening", "an opening in the enclosure's floor or wall", body::OPENING_KEYS),
    Group::one("trucks", "trucks and wheels, for the clearances to them and to the ground", body::TRUCK_KEYS),
    Group::one("printer", "the printer", body::PRINTER_KEYS),
    Group::one("fit_check", "small pieces that are printed first, to try the fit", fit_check::KEYS),
    Group::one("gasket", "the gasket's strip; its thickness is enclosure.gasket", gasket::KEYS),
    Group::one("rider", "the rider, under whom the deck bends", rider::KEYS),
    Group::one("rim", "what the enclosure is printed of, for screws, gasket and warmth", rim::KEYS),
    Group::one("output", "which files, how fine, on which paper", output::KEYS),
    Group::one("limits", "the most that a scan or a photo may ask of the computer", limits::KEYS),
];
/// The table of this name.
pub(super) fn group(name: &str) -> Option<&'static Group> {
    GROUPS.iter().find(|g| g.name == name)
}

#[cfg(test)]
mod tests;
