//! `[[part]]`.
use super::super::keys::{Form, Key};
use super::{LONGEST_MM, Value, bounded, choice, optional, place, wrong};
use crate::enclosure::{CableRoom, PartSpec, Position, Side};
use crate::error::Result;
use serde::Deserialize;

/// `[[part]]`.
pub(in crate::settings) const KEYS: &[Key] = &[
    Key::new("name", Form::Other("text"), "the part's name").needed().example("\"pack\""),
    Key::new("length", Form::Length, "its length, along the board").needed().example("\"180 mm\""),
    Key::new("width", Form::Length, "its width, across the board").needed().example("\"84 mm\""),
    Key::new("height", Form::Length, "its height, from deck to floor").needed().example("\"28 mm\""),
    Key::new("clearance", Form::Length, "what is kept free round it").usual("\"3 mm\""),
    Key::new("cable", Form::Length, "room from its face for plugs and bends of cables")
        .otherwise("none")
        .example("\"20 mm\""),
    Key::new("cable_side", Form::Word(&["nose", "tail", "left", "right"]), "the side at which that room is")
        .more("It turns with a part that goes anywhere.")
        .beside("cable = \"20 mm\"")
        .usual("\"nose\""),
    Key::new(
        "at",
        Form::Other("a place, two lengths as in [\"-46 mm\", \"0 mm\"], or \"anywhere\""),
        "where its middle is",
    )
    .usual("\"anywhere\"")
    .example("[\"-46 mm\", \"0 mm\"]"),
    Key::new("battery", Form::Flag, "true for a battery: the report warns of what may reach it")
        .usual("false")
        .example("true"),
];

/// Kept free round a part, mm: foam or a cable's width (common practice, no source).
const CLEARANCE_MM: f64 = 3.0;

/// `[[part]]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::settings) struct PartTable {
    name: String,
    length: toml::Value,
    width: toml::Value,
    height: toml::Value,
    clearance: Value,
    cable: Value,
    cable_side: Option<String>,
    at: Value,
    #[serde(default)]
    battery: bool,
}

/// The part it describes.
pub(super) fn part(p: &PartTable) -> Result<PartSpec> {
    let size = |key: &str, v| bounded(&format!("part.{key} of '{}'", p.name), v, 0.1, LONGEST_MM);
    let sides = [("nose", Side::Nose), ("tail", Side::Tail), ("left", Side::Left), ("right", Side::Right)];
    let side = choice("part.cable_side", p.cable_side.as_ref(), &sides)?;
    if p.cable_side.is_some() && p.cable.is_none() {
        return Err(wrong(
            format!("part.cable_side of '{}' is given, but no room for cables", p.name),
            "add part.cable, how far plugs and bends of cables reach from the part, or take part.cable_side out",
        ));
    }
    let cable = p.cable.as_ref().map(|v| Ok(CableRoom { room_mm: size("cable", v)?, side })).transpose()?;
    Ok(PartSpec {
        name: p.name.clone(),
        cable,
        size_mm: [size("length", &p.length)?, size("width", &p.width)?, size("height", &p.height)?],
        clearance_mm: optional("part.clearance", p.clearance.as_ref(), CLEARANCE_MM, 0.0, 100.0)?,
        position: match &p.at {
            None => Position::Anywhere,
            Some(toml::Value::String(s)) if s.trim() == "anywhere" => Position::Anywhere,
            Some(v) => Position::At(place("part.at", v)?),
        },
        battery: p.battery,
    })
}
