//! Which files are written, and how fine.
use super::{OutputFile, Paper};
use crate::error::{Error, Result, Stage, meant};
use crate::tolerance::CHORD_MM;

/// Choices about the files of a build.
#[derive(Debug, Clone, PartialEq)]
pub struct OutputOptions {
    /// Names (`deck.step`), stems (`deck`) or endings (`pdf`) of the files wanted; all files when empty.
    pub only: Vec<String>,
    /// Greatest chord height of meshes, mm.
    pub chord_mm: f64,
    /// Paper of the templates.
    pub paper: Paper,
    /// Stations of the ribs, mm; `None` chooses three.
    pub stations_mm: Option<Vec<f64>>,
}
impl Default for OutputOptions {
    fn default() -> Self {
        Self { only: Vec::new(), chord_mm: CHORD_MM, paper: Paper::default(), stations_mm: None }
    }
}

/// The files of `files` that `only` names; all of them when it is empty.
///
/// # Errors
/// A name that none of the files answers to.
pub fn chosen(files: Vec<OutputFile>, only: &[String]) -> Result<Vec<OutputFile>> {
    let answers =
        |f: &OutputFile, o: &String| f.name == *o || f.name.split_once('.').is_some_and(|(s, e)| s == o || e == o);
    if let Some(o) = only.iter().find(|o| !files.iter().any(|f| answers(f, o))) {
        let names: Vec<&str> = files.iter().map(|f| f.name.as_str()).collect();
        return Err(Error::new(Stage::Settings, format!("no file of this build answers to \"{o}\"")).hint(format!(
            "{}choose a name, its first part or its ending from: {}",
            meant(o, names.iter().flat_map(|n| n.split('.').chain([*n])))
                .map_or_else(String::new, |m| format!("did you mean \"{m}\"? Else ")),
            names.join(", ")
        )));
    }
    Ok(files.into_iter().filter(|f| only.is_empty() || only.iter().any(|o| answers(f, o))).collect())
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn names_stems_and_endings_choose() {
        let all = || ["deck.step", "deck.stl", "outline.pdf"].map(|n| OutputFile::new(n, Vec::new())).to_vec();
        let pick = |o: &[&str]| {
            chosen(all(), &o.iter().map(|s| (*s).to_owned()).collect::<Vec<_>>())
                .map(|f| f.into_iter().map(|f| f.name).collect::<Vec<_>>())
        };
        assert_eq!(pick(&[]).unwrap().len(), 3);
        assert_eq!(pick(&["deck"]).unwrap(), ["deck.step", "deck.stl"]);
        assert_eq!(pick(&["pdf", "deck.stl"]).unwrap(), ["deck.stl", "outline.pdf"]);
        let e = pick(&["dec"]).unwrap_err();
        assert!(e.message().contains("\"dec\"") && e.hint_text().unwrap().contains("outline.pdf"));
    }
}
