//! `[output]`: which files, how fine, on which paper.
use super::keys::{Form, Key};
use super::{LONGEST_MM, bounded, few};
use crate::error::Result;
use crate::export::{OutputOptions, Paper};
use crate::tolerance::CHORD_MM;
use serde::Deserialize;

/// `[output]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("only", Form::Other("a list of texts"), "the files to write, by name, first part or ending")
        .more("The option --only does the same.")
        .otherwise("all files")
        .example("[\"pdf\", \"deck.step\"]"),
    Key::new("chord", Form::Length, "how far a mesh may lie off the true surface").usual("\"0.02 mm\""),
    Key::new("paper", Form::Word(&["A4", "A3", "Letter"]), "the paper of the templates").usual("\"A4\""),
    Key::new(
        "stations",
        Form::Other("a list of lengths"),
        "where ribs are cut, along the board from its middle to the nose",
    )
    .otherwise("three places")
    .example("[\"-100 mm\", \"0 mm\", \"100 mm\"]"),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct OutputTable {
    #[serde(default)]
    only: Vec<String>,
    chord: Option<toml::Value>,
    paper: Option<String>,
    stations: Option<Vec<toml::Value>>,
}
/// Chord heights taken, mm: below the first a mesh of a board has millions of triangles, above the second it misses kicks.
const CHORD_RANGE_MM: (f64, f64) = (0.002, 1.0);

/// Most stations: a rib each 20 mm of the longest board.
const MOST_STATIONS: usize = 100;

impl OutputTable {
    pub(super) fn checked(self) -> Result<OutputOptions> {
        let (lo, hi) = CHORD_RANGE_MM;
        Ok(OutputOptions {
            only: self.only,
            chord_mm: self.chord.as_ref().map_or(Ok(CHORD_MM), |v| bounded("output.chord", v, lo, hi))?,
            paper: self.paper.as_deref().map_or(Ok(Paper::default()), Paper::parse)?,
            stations_mm: self
                .stations
                .map(|s| {
                    few("output.stations", s.len(), MOST_STATIONS)?;
                    s.iter().map(|v| bounded("output.stations", v, -LONGEST_MM, LONGEST_MM)).collect::<Result<_>>()
                })
                .transpose()?,
        })
    }
}
#[cfg(test)]
mod tests {
    use crate::Board;
    use crate::export::Paper;
    #[test]
    fn output_is_read_and_checked() {
        let text = |t: &str| format!("[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[output]\n{t}\n");
        let b = Board::parse(&text("only=['pdf']\nchord='0.1 mm'\npaper='A3'\nstations=['-5 cm', '0 mm']")).unwrap();
        assert_eq!((b.output.chord_mm, b.output.paper), (0.1, Paper::A3));
        assert_eq!(b.output.stations_mm, Some(vec![-50.0, 0.0]));
        for (t, want) in [("chord='5 mm'", "5 mm"), ("paper='B5'", "B5"), ("stations=[3]", "no unit"), ("bed=1", "bed")]
        {
            let e = Board::parse(&text(t)).unwrap_err();
            assert!(e.message().contains(want), "{e}");
        }
    }
}
