//! `[trucks]`.
use super::super::keys::{Form, Key};
use super::{LONGEST_MM, Value, angle, bounded, optional};
use crate::enclosure::TruckSpec;
use crate::error::Result;
use serde::Deserialize;

/// `[trucks]`.
pub(in crate::settings) const KEYS: &[Key] = &[
    Key::new("wheelbase", Form::Length, "from axle to axle")
        .more("Without [trucks] the clearances to ground and wheels are not checked.")
        .needed()
        .example("\"640 mm\""),
    Key::new("wheel", Form::Length, "diameter of a wheel").needed().example("\"90 mm\""),
    Key::new("axle_height", Form::Length, "from the truck's baseplate to the axle's middle")
        .needed()
        .example("\"62 mm\""),
    Key::new("offset", Form::Length, "where the middle between the axles is, towards the nose").usual("\"0 mm\""),
    Key::new("wheel_width", Form::Length, "width of a wheel").usual("\"50 mm\""),
    Key::new("track", Form::Length, "from the middle of one wheel to that of the other on its axle")
        .otherwise("the wheels end with the rail")
        .example("\"160 mm\""),
    Key::new("riser", Form::Length, "thickness of risers between deck and truck").usual("\"0 mm\""),
    Key::new("lean", Form::Angle, "how far the trucks lean at most").usual("\"20 deg\""),
];

/// Width of a wheel, mm (common practice, no source).
const WHEEL_WIDTH_MM: f64 = 50.0;
/// Lean at which trucks stop and most that is taken, degrees (common practice, no source: 20 to 25).
const LEAN_DEG: [f64; 2] = [20.0, 45.0];

/// `[trucks]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(in crate::settings) struct TruckTable {
    wheelbase: toml::Value,
    offset: Value,
    wheel: toml::Value,
    wheel_width: Value,
    track: Value,
    axle_height: toml::Value,
    riser: Value,
    lean: Option<String>,
}
impl TruckTable {
    /// Between the axles, as written.
    pub(in crate::settings) fn wheelbase(&self) -> &toml::Value {
        &self.wheelbase
    }
}

/// The trucks it describes, under a deck `width_mm` wide.
pub(super) fn trucks(t: &TruckTable, width_mm: f64) -> Result<TruckSpec> {
    let positive = |key: &str, v| bounded(&format!("trucks.{key}"), v, 1.0, LONGEST_MM);
    let wheel_width_mm = optional("trucks.wheel_width", t.wheel_width.as_ref(), WHEEL_WIDTH_MM, 1.0, 300.0)?;
    Ok(TruckSpec {
        wheelbase_mm: positive("wheelbase", &t.wheelbase)?,
        offset_mm: optional("trucks.offset", t.offset.as_ref(), 0.0, -LONGEST_MM, LONGEST_MM)?,
        wheel_mm: positive("wheel", &t.wheel)?,
        wheel_width_mm,
        // wheels that end with the rail
        track_mm: t.track.as_ref().map_or(Ok((width_mm - wheel_width_mm).max(1.0)), |v| positive("track", v))?,
        axle_height_mm: positive("axle_height", &t.axle_height)?,
        riser_mm: optional("trucks.riser", t.riser.as_ref(), 0.0, 0.0, 100.0)?,
        lean: angle("trucks.lean", t.lean.as_ref(), LEAN_DEG[0], LEAN_DEG[1])?,
    })
}
