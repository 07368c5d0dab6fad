//! `[[opening]]`.
use super::super::keys::{Form, Key};
use super::{LONGEST_MM, Value, bounded, choice, optional, place, wrong};
use crate::enclosure::{OpeningShape, OpeningSpec, SealSpec, Through};
use crate::error::Result;
use serde::Deserialize;

/// `[[opening]]`.
pub(in crate::settings) const KEYS: &[Key] = &[
    Key::new("name", Form::Other("text"), "the opening's name").needed().example("\"charge port\""),
    Key::new("at", Form::Place, "its middle; one in a wall goes into the nearest wall")
        .more("One round a corner of the wall is refused.")
        .needed()
        .example("[\"110 mm\", \"0 mm\"]"),
    Key::new("diameter", Form::Length, "the diameter of a round one")
        .otherwise("opening.length and opening.width are needed")
        .example("\"12 mm\""),
    Key::new("length", Form::Length, "the length of one with corners, along the board or the wall")
        .instead(&["diameter"])
        .beside("width = \"8 mm\"")
        .otherwise("opening.diameter is needed")
        .example("\"14 mm\""),
    Key::new("width", Form::Length, "the width of one with corners")
        .instead(&["diameter"])
        .beside("length = \"14 mm\"")
        .otherwise("opening.diameter is needed")
        .example("\"8 mm\""),
    Key::new("corner_radius", Form::Length, "the radius of its corners")
        .instead(&["diameter"])
        .beside("length = \"14 mm\"\nwidth = \"8 mm\"")
        .usual("\"0 mm\"")
        .example("\"2 mm\""),
    Key::new("through", Form::Word(&["floor", "wall"]), "what it goes through")
        .more("\"wall\" goes square through the wall nearest to opening.at, and needs opening.above_floor.")
        .usual("\"floor\""),
    Key::new("above_floor", Form::Length, "height of its middle over the floor's inside, for one in a wall")
        .beside("through = \"wall\"")
        .otherwise("needed for an opening in a wall")
        .example("\"15 mm\""),
    Key::new(
        "seal",
        Form::Length,
        "width of a flat face round it, sunk into the outside, for a plate or plug that seals",
    )
    .otherwise("no such face")
    .example("\"6 mm\""),
    Key::new("seal_depth", Form::Length, "how deep that face is sunk").beside("seal = \"6 mm\"").usual("\"1 mm\""),
];

/// Depth of a seal face in the outside of floor or wall, mm: a few printed layers.
pub(super) const SEAL_DEPTH_MM: f64 = 1.0;

/// `[[opening]]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::settings) struct OpeningTable {
    name: String,
    at: toml::Value,
    diameter: Value,
    length: Value,
    width: Value,
    corner_radius: Value,
    through: Option<String>,
    above_floor: Value,
    seal: Value,
    seal_depth: Value,
}

/// The opening it describes.
pub(super) fn opening(o: &OpeningTable) -> Result<OpeningSpec> {
    let size = |key: &str, v| bounded(&format!("opening.{key} of '{}'", o.name), v, 0.5, LONGEST_MM);
    let shape = match (&o.diameter, &o.length, &o.width) {
        (Some(d), None, None) => OpeningShape::Circle(size("diameter", d)?),
        (None, Some(l), Some(w)) => {
            let radius = optional("opening.corner_radius", o.corner_radius.as_ref(), 0.0, 0.0, 200.0)?;
            OpeningShape::Rectangle([size("length", l)?, size("width", w)?], radius)
        }
        _ => {
            return Err(wrong(
                format!("the opening '{}' has neither a diameter alone nor a length and a width", o.name),
                "give opening.diameter, or opening.length and opening.width",
            ));
        }
    };
    let in_wall = choice("opening.through", o.through.as_ref(), &[("floor", false), ("wall", true)])?;
    let seal = (o.seal.as_ref())
        .map(|v| -> Result<SealSpec> {
            Ok(SealSpec {
                width_mm: size("seal", v)?,
                depth_mm: optional("opening.seal_depth", o.seal_depth.as_ref(), SEAL_DEPTH_MM, 0.2, 30.0)?,
            })
        })
        .transpose()?;
    let through = match (in_wall, &o.above_floor) {
        (true, Some(v)) => Through::Wall { above_floor_mm: size("above_floor", v)?, seal },
        (false, None) => Through::Floor { seal },
        _ => {
            return Err(wrong(
                format!("the opening '{}' mixes what a wall and a floor ask for", o.name),
                "with through = \"wall\" give above_floor, from the floor's inside to its middle; without it leave it out",
            ));
        }
    };
    Ok(OpeningSpec { name: o.name.clone(), at: place("opening.at", &o.at)?, shape, through })
}
