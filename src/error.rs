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

/// What went wrong, in one sentence, and what to try next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Error {
    stage: Stage,
    message: String,
    hint: Option<String>,
}

impl Error {
    /// An error of `stage`: one lower-case sentence without a full stop.
    pub fn new(stage: Stage, message: impl Into<String>) -> Self {
        Self { stage, message: message.into(), hint: None }
    }
    /// Adds the next step to try.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(hint.into());
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
    /// A warning of `stage`.
    pub fn new(stage: Stage, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { stage, message: message.into(), hint: hint.into() }
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
