//! `[[opening]]`.
use super::{LONGEST_MM, Value, bounded, choice, optional, place, wrong};
use crate::enclosure::{OpeningShape, OpeningSpec, SealSpec, Through};
use crate::error::Result;
use serde::Deserialize;

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
