//! Errors, warnings, and values that carry warnings.
//!
//! An error is one lower-case sentence with value, limit and unit, and a hint that names the next step.

use std::fmt;

/// The stage of the pipeline an error or a warning comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "lowercase")]
#[non_exhaustive]
pub enum Stage {
    /// Reading `board.toml` or a length on the command line.
    Settings,
    /// Reading a scan file.
    Scan,
    /// Isolating the deck, its axes and its scale.
    Frame,
    /// Fitting the underside.
    Surface,
    /// Photo and outline.
    Outline,
    /// Trimmed surface and solid.
    Deck,
    /// Footprint, offset and mating face.
    Mating,
    /// The enclosure's body.
    Enclosure,
    /// Gap maps.
    Gap,
    /// Writing files.
    Export,
}

/// Characters of a message that are kept: some ten lines of a terminal. Far fewer would cut the lines that a board file's error
/// shows; without an end, a damaged header of one endless line would be shown whole.
const LONGEST: usize = 1000;

/// `text` with control characters written by their codes and cut at [`LONGEST`]: messages quote files, and what a damaged or
/// hostile file holds must not steer a terminal.
fn plain(text: impl Into<String>) -> String {
    let text = text.into();
    let steers = |c: char| c.is_control() && !matches!(c, '\n' | '\t');
    if !text.contains(steers) && text.len() <= LONGEST {
        return text;
    }
    let mut out = String::new();
    for (i, c) in text.chars().enumerate() {
        match c {
            _ if i == LONGEST => {
                out.push_str(" ...");
                break;
            }
            c if steers(c) => out.extend(c.escape_default()),
            c => out.push(c),
        }
    }
    out
}

/// What went wrong, in one sentence, and what to try next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    stage: Stage,
    message: String,
    hint: Option<String>,
}

impl Error {
    /// An error of `stage`: one lower-case sentence without a full stop. Control characters are written by their codes, and a
    /// message of more than 1,000 characters is cut.
    pub fn new(stage: Stage, message: impl Into<String>) -> Self {
        Self { stage, message: plain(message), hint: None }
    }
    /// Adds the next step to try.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(plain(hint));
        self
    }
    /// The stage that failed.
    pub fn stage(&self) -> Stage {
        self.stage
    }
    /// The sentence alone.
    pub fn message(&self) -> &str {
        &self.message
    }
    /// The hint, where there is one.
    pub fn hint_text(&self) -> Option<&str> {
        self.hint.as_deref()
    }
}

impl fmt::Display for Error {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.message)?;
        if let Some(h) = &self.hint {
            write!(f, "\n\nhint: {h}")?;
        }
        Ok(())
    }
}
impl std::error::Error for Error {}

/// The library's result.
pub type Result<T> = std::result::Result<T, Error>;

/// Something doubtful that did not stop the work.
#[derive(Debug, Clone, PartialEq, Eq, serde::Serialize)]
pub struct Warning {
    /// Where it was noticed.
    pub stage: Stage,
    /// One lower-case sentence.
    pub message: String,
    /// The next step.
    pub hint: String,
}
impl Warning {
    /// A warning of `stage`, with control characters and length as in [`Error::new`].
    pub fn new(stage: Stage, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { stage, message: plain(message), hint: plain(hint) }
    }
}

/// A value with what was doubtful on the way to it.
#[derive(Debug, Clone)]
pub struct Warned<T> {
    /// The value.
    pub value: T,
    /// What was doubtful.
    pub warnings: Vec<Warning>,
}
impl<T> Warned<T> {
    /// A value without warnings.
    pub fn clean(value: T) -> Self {
        Self { value, warnings: Vec::new() }
    }
    /// A value with warnings.
    pub fn with(value: T, warnings: Vec<Warning>) -> Self {
        Self { value, warnings }
    }
    /// Moves the warnings into `sink` and returns the value.
    pub fn drain_into(self, sink: &mut Vec<Warning>) -> T {
        sink.extend(self.warnings);
        self.value
    }
}
