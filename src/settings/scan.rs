//! The `[scan]` table: the file, and what the builder says where the scan is not told rightly.
use super::keys::{Form, Key};
use crate::error::{Error, Result, Stage};
use crate::frame::FrameOptions;
use serde::Deserialize;

/// `[scan]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("file", Form::File, "the scan's file")
        .more("PLY, STL, OBJ, glTF or GLB, E57, LAS or LAZ, 3MF or points as text, gzipped or not; the content tells which.")
        .needed()
        .example("\"scan.ply\""),
    Key::new("files", Form::Other("a list of files"), "several scans of one board, each of its own size")
        .more("Each is laid on those before it by their overlap. It needs tape.length.")
        .instead(&["file"])
        .example("[\"nose.ply\", \"tail.ply\"]"),
    Key::new("side", Form::Word(&["underside", "top"]), "which side was scanned")
        .more("A top needs deck.thickness: the underside is laid so much below it.")
        .usual("\"underside\""),
    Key::new("flip", Form::Flag, "true where the board comes out inside out").usual("false"),
    Key::new("floor", Form::Flag, "whether the scan holds a floor").otherwise("found out from the scan").example("true"),
    Key::new(
        "box",
        Form::Other("two opposite corners, six numbers in the scan's own units"),
        "only what lies inside this box counts",
    )
    .otherwise("all of the scan counts")
    .example("[[-0.6, -0.3, -0.1], [0.6, 0.3, 0.4]]"),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ScanTable {
    file: Option<String>,
    files: Option<Vec<String>>,
    side: Option<String>,
    flip: Option<bool>,
    floor: Option<bool>,
    #[serde(rename = "box")]
    keep: Option<[[f64; 3]; 2]>,
}
/// Which side of the board was scanned.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub enum ScanSide {
    /// The side that looks at the ground.
    #[default]
    Underside,
    /// The side one stands on; the underside is taken one thickness below it.
    Top,
}
/// Most scans of one board: each is laid on all before it.
const MOST_FILES: usize = 10;

impl ScanTable {
    /// The scans' paths, at least one.
    pub fn paths(&self) -> Result<Vec<String>> {
        let fail = |m: &str| {
            Error::new(Stage::Settings, m).hint("write file = \"scan.ply\", or files = [\"nose.ply\", \"tail.ply\"]")
        };
        match (&self.file, &self.files) {
            (Some(file), None) => Ok(vec![file.clone()]),
            (None, Some(files)) if !files.is_empty() => {
                super::few("scan.files", files.len(), MOST_FILES)?;
                Ok(files.clone())
            }
            (None, Some(_)) => Err(fail("scan.files is empty")),
            (Some(_), Some(_)) => Err(fail("both scan.file and scan.files are given")),
            (None, None) => Err(fail("scan.file is missing")),
        }
    }
    /// The side and what isolation is told of a deck so thick.
    pub fn checked(&self, thickness_mm: f64) -> Result<(ScanSide, FrameOptions)> {
        let side = match self.side.as_deref() {
            None | Some("underside") => ScanSide::Underside,
            Some("top") => ScanSide::Top,
            Some(other) => {
                return Err(Error::new(Stage::Settings, format!("scan.side is \"{other}\""))
                    .hint("write side = \"underside\" or side = \"top\""));
            }
        };
        if let Some([a, b]) = self.keep
            && (0..3).any(|k| !(a[k] - b[k]).is_finite() || a[k] == b[k])
        {
            return Err(Error::new(Stage::Settings, format!("scan.box from {a:?} to {b:?} holds no room"))
                .hint("give two opposite corners in the scan's own units: box = [[x, y, z], [x, y, z]]"));
        }
        Ok((side, FrameOptions { flip: self.flip.unwrap_or(false), keep: self.keep, floor: self.floor, thickness_mm }))
    }
}
