//! `[printer]`.
use super::super::keys::{Form, Key};
use super::{bounded, choice, wrong};
use crate::enclosure::{JointKind, PrinterSpec};
use crate::error::Result;
use serde::Deserialize;

/// `[printer]`.
pub(in crate::settings) const KEYS: &[Key] = &[
    Key::new("bed", Form::Other("three lengths: width x depth x height"), "the room that the printer has")
        .more("A longer body is cut into as few parts as fit, and strapped; the fit check is split. Without [printer] it is one piece.")
        .needed()
        .example("\"220 x 220 x 250 mm\""),
    Key::new("joint", Form::Word(&["tongue", "butt"]), "how the parts of a longer body meet")
        .more(
            "\"tongue\" runs round walls and floor, 4 mm long, with 0.2 mm for glue, and has pins in the flanges; \"butt\" has pins \
             in flanges and floor.",
        )
        .usual("\"tongue\""),
    Key::new("layers", Form::Word(&["any", "along"]), "how the parts may lie in print")
        .more(
            "\"any\" makes the fewest parts, lying where they fit; \"along\" makes no part with layers across the board's bending, \
             even if that takes more parts.",
        )
        .usual("\"any\""),
];

/// `[printer]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::settings) struct PrinterTable {
    bed: String,
    joint: Option<String>,
    layers: Option<String>,
}

/// Three lengths with one unit at the end: "220 x 220 x 250 mm".
pub(in crate::settings) fn printer(p: &PrinterTable) -> Result<PrinterSpec> {
    let unit = p.bed.trim_end().rfind(|c: char| c.is_ascii_digit()).map_or("", |i| &p.bed[i + 1..]);
    let sides: Vec<f64> = p
        .bed
        .trim()
        .strip_suffix(unit.trim())
        .unwrap_or(&p.bed)
        .split('x')
        .map(|s| bounded("printer.bed", &toml::Value::String(format!("{} {}", s.trim(), unit.trim())), 50.0, 2000.0))
        .collect::<Result<_>>()?;
    let joint = choice("printer.joint", p.joint.as_ref(), &[("tongue", JointKind::Tongue), ("butt", JointKind::Butt)])?;
    let layers_along = choice("printer.layers", p.layers.as_ref(), &[("any", false), ("along", true)])?;
    match sides.as_slice() {
        &[x, y, z] => Ok(PrinterSpec { bed_mm: [x, y, z], joint, layers_along }),
        _ => Err(wrong(
            format!("printer.bed is \"{}\", but must be width x depth x height", p.bed),
            "for example bed = \"220 x 220 x 250 mm\"",
        )),
    }
}
