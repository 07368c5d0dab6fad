//! `[tape]`: what was read with the tape.
use super::keys::{Form, Key};
use super::{LEAST_MM, LONGEST_MM, TAPE_CLASS_II_MM, WIDTH_MM, board_length, bounded, few, length, likely, within};
use crate::error::{Error, Result, Stage};
use crate::frame::{StationWidth, Tape};
use serde::Deserialize;

/// `[tape]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("width", Form::Length, "from rail to rail at the widest place").needed().example("\"209.5 mm\""),
    Key::new("length", Form::Length, "from nose to tail, straight")
        .more("The second measurement that helps most.")
        .otherwise("the size comes from the width alone")
        .example("\"812 mm\""),
    Key::new("wheelbase", Form::Length, "from the middle of one truck's four holes to the other's, straight")
        .more(
            "It is laid beside the bolt holes in a photo, else beside the trucks in the scan (to some 5 mm); where neither shows \
             them a warning says so.",
        )
        .example("\"444 mm\""),
    Key::new("tolerance", Form::Length, "the greatest error of one reading")
        .more("0.7 mm has a class II tape that is read from its hook.")
        .usual("\"0.7 mm\""),
    Key::new("at", Form::Table, "a width at a distance from either end"),
];
/// `[[tape.at]]`.
pub(super) const STATION_KEYS: &[Key] = &[
    Key::new("from_end", Form::Length, "the place's distance from either end, along the board")
        .needed()
        .example("\"100 mm\""),
    Key::new("width", Form::Length, "the width there, from rail to rail").needed().example("\"190 mm\""),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TapeTable {
    width: toml::Value,
    length: Option<toml::Value>,
    wheelbase: Option<toml::Value>,
    tolerance: Option<toml::Value>,
    #[serde(default)]
    at: Vec<StationTable>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct StationTable {
    from_end: toml::Value,
    width: toml::Value,
}

/// Most widths at stations: a board has some ten places worth reading, and each is a row of every solve.
const MOST_STATIONS: usize = 40;

impl TapeTable {
    /// Between the middles of the trucks' holes, as written.
    pub(super) fn wheelbase(&self) -> Option<&toml::Value> {
        self.wheelbase.as_ref()
    }
    pub(super) fn checked(&self) -> Result<Tape> {
        few("[[tape.at]]", self.at.len(), MOST_STATIONS)?;
        let of = |key: &str, v: &Option<toml::Value>| v.as_ref().map(|v| length(key, v)).transpose();
        let width = length("tape.width", &self.width)?;
        let mut tape = Tape::new(width, of("tape.length", &self.length)?, of("tape.tolerance", &self.tolerance)?)?;
        let longest = tape.length_mm.unwrap_or(LONGEST_MM);
        tape.wheelbase_mm =
            self.wheelbase.as_ref().map(|v| bounded("tape.wheelbase", v, LEAST_MM, longest)).transpose()?;
        for s in &self.at {
            tape.stations.push(StationWidth {
                from_end_mm: bounded("tape.at.from_end", &s.from_end, 0.0, longest)?,
                width_mm: bounded("tape.at.width", &s.width, LEAST_MM, width)?,
            });
        }
        Ok(tape)
    }
}

impl Tape {
    /// Checked tape measurements, mm; `None` takes the tolerance of a class II tape.
    ///
    /// # Errors
    /// A value outside what a board can have.
    pub fn new(width_mm: f64, length_mm: Option<f64>, tolerance_mm: Option<f64>) -> Result<Self> {
        likely("tape.width", width_mm, WIDTH_MM)?;
        if let Some(l) = length_mm {
            board_length("tape.length", l)?;
            if l <= width_mm {
                return Err(Error::new(
                    Stage::Settings,
                    format!("tape.length is {l} mm, but must be more than tape.width, {width_mm} mm"),
                )
                .hint("length is read along the board from nose to tail, width from rail to rail"));
            }
        }
        let tolerance_mm = tolerance_mm.unwrap_or(TAPE_CLASS_II_MM);
        within("tape.tolerance", tolerance_mm, 0.01, width_mm / 10.0)?;
        Ok(Self { width_mm, length_mm, tolerance_mm, ..Self::default() })
    }
}

#[cfg(test)]
mod tests {
    use crate::Board;
    #[test]
    fn further_readings_are_read_and_bounded() {
        let text = |t: &str| format!("[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\nlength='80 cm'\n{t}\n");
        let read = "wheelbase='17 1/2 in'\n[[tape.at]]\nfrom_end='10 cm'\nwidth='19 cm'";
        let tape = Board::parse(&text(read)).unwrap().tape;
        assert_eq!(tape.wheelbase_mm, Some(444.5));
        assert_eq!((tape.stations[0].from_end_mm, tape.stations[0].width_mm), (100.0, 190.0));
        for (t, want) in [
            ("wheelbase=450", "no unit"),
            ("wheelbase='81 cm'", "tape.wheelbase is 810 mm"),
            ("[[tape.at]]\nfrom_end='81 cm'\nwidth='19 cm'", "tape.at.from_end is 810 mm"),
            ("[[tape.at]]\nfrom_end='1 cm'\nwidth='22 cm'", "tape.at.width is 220 mm"),
        ] {
            let e = Board::parse(&text(t)).unwrap_err();
            assert!(e.message().contains(want), "{t}: {e}");
        }
    }
}
