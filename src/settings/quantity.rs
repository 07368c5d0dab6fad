//! Numbers with units other than lengths.
use crate::error::{Error, Result, Stage};

/// The number of `v` in the first unit of `units` (name, worth in the first's unit), between `lo` and `hi`.
pub(super) fn quantity(key: &str, v: &toml::Value, units: &[(&str, f64)], lo: f64, hi: f64) -> Result<f64> {
    let names: Vec<&str> = units.iter().map(|u| u.0).collect();
    let example =
        format!("write it as text with its unit ({}), for example {key} = \"{lo} {}\"", names.join(", "), names[0]);
    let text = v.as_str().map(str::trim);
    let found = text.and_then(|t| {
        let (number, worth) = units.iter().find_map(|(name, worth)| Some((t.strip_suffix(name)?, worth)))?;
        Some(number.trim().parse::<f64>().ok()? * worth)
    });
    match found {
        Some(x) if x >= lo && x <= hi => Ok(x),
        Some(x) => {
            Err(Error::new(Stage::Settings, format!("{key} is {x} {}, outside {lo} to {hi} {}", names[0], names[0]))
                .hint("check the number and its unit"))
        }
        None => Err(Error::new(Stage::Settings, format!("{key} = {v} has no unit that is known")).hint(example)),
    }
}
/// As [`quantity`], or `default` where nothing is given.
pub(super) fn quantity_or(
    key: &str,
    v: Option<&toml::Value>,
    default: f64,
    units: &[(&str, f64)],
    lo: f64,
    hi: f64,
) -> Result<f64> {
    v.map_or(Ok(default), |v| quantity(key, v, units, lo, hi))
}
/// Units of a modulus, the first N/mm2.
pub(super) const MODULUS: [(&str, f64); 2] = [("MPa", 1.0), ("GPa", 1000.0)];
