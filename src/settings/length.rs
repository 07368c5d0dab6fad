//! Lengths with a unit: `"209.5 mm"`, `"21 cm"`, `"8 1/4 in"`, `8.25"`.
use crate::error::{Error, Result, Stage};

/// Exact by definition: one inch is 25.4 mm.
const MM_PER_INCH: f64 = 25.4;
/// Lengths are taken to this many parts of a mm: the digits beyond are those of the arithmetic.
const PER_MM: f64 = 1e9;

/// Reads a length with its unit into mm. Decimal comma and mixed fractions are taken.
///
/// # Errors
/// No number, no unit, an unknown unit, or a value that is not finite.
pub fn parse_length(text: &str) -> Result<f64> {
    let t = text.trim();
    let fail = |why: &str| {
        Error::new(Stage::Settings, format!("the length \"{t}\" {why}"))
            .hint("write a number and its unit, for example \"209.5 mm\", \"21 cm\" or \"8 1/4 in\"")
    };
    let split = t.find(|c: char| c.is_alphabetic() || c == '"' || c == '″').unwrap_or(t.len());
    let (number, unit) = (t[..split].trim(), t[split..].trim());
    let factor = match unit {
        "mm" => 1.0,
        "cm" => 10.0,
        "m" => 1000.0,
        "in" | "inch" | "inches" | "\"" | "″" => MM_PER_INCH,
        "" => return Err(fail("has no unit")),
        other => return Err(fail(&format!("has the unit \"{other}\", which is none of mm, cm, m, in"))),
    };
    let mut value = 0.0;
    let mut parts = 0;
    let (sign, number) = number.strip_prefix('-').map_or((1.0, number), |n| (-1.0, n));
    for part in number.split_whitespace() {
        let part = part.replace(',', ".");
        let number = |s: &str| {
            let plain = !s.is_empty() && s.chars().all(|c| c.is_ascii_digit() || c == '.');
            if plain { s.parse::<f64>().ok() } else { None }
        };
        value += match part.split_once('/') {
            Some((a, b)) => match (number(a), number(b)) {
                (Some(a), Some(b)) if b > 0.0 => a / b,
                _ => return Err(fail("has a fraction that cannot be read")),
            },
            None => number(&part).ok_or_else(|| fail("has no number that can be read"))?,
        };
        parts += 1;
    }
    if parts == 0 || parts > 2 {
        return Err(fail("has no number that can be read"));
    }
    // a picometre is no length that anyone wrote: 5448.3 m in mm is no 5448.299999999999
    let mm = sign * (value * factor * PER_MM).round() / PER_MM;
    if mm.is_finite() { Ok(mm) } else { Err(fail("is not finite")) }
}

/// As [`parse_length`], and more than zero.
///
/// # Errors
/// As there, and for zero or less.
pub fn parse_positive_length(what: &str, text: &str) -> Result<f64> {
    let mm = parse_length(text)?;
    if mm > 0.0 {
        Ok(mm)
    } else {
        Err(Error::new(Stage::Settings, format!("{what} is {mm} mm, but must be more than 0 mm"))
            .hint("measure it on the board with a tape"))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn units_and_fractions() {
        for (t, mm) in [
            ("209.5 mm", 209.5),
            ("21cm", 210.0),
            ("8 1/4 in", 209.55),
            ("8.25\"", 209.55),
            ("1/2 in", 12.7),
            ("0,5 m", 500.0),
            ("-4 mm", -4.0),
        ] {
            assert!((parse_length(t).unwrap() - mm).abs() < 1e-9, "{t}");
        }
        for t in ["209.5", "", "mm", "8 x mm", "1/0 in", "5 furlongs", "1 2 3 mm", "nan mm", "inf mm", "1e999 mm"] {
            assert!(parse_length(t).is_err(), "{t}");
        }
        assert!(parse_positive_length("the width", "0 mm").unwrap_err().message().contains("0 mm"));
    }
}
