//! Errors, warnings, and values that carry warnings.
//!
//! An error is one lower-case sentence with value, limit and unit, and a hint that names the next step. One that refuses a scan carries
//! what its points were taken for.
mod refusal;
pub use refusal::{PointRole, Refusal, RefusedPoints};

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

/// Whether a character steers a terminal, or what it shows: controls, and the marks that turn the direction of writing or end a
/// line unseen (Unicode Standard Annex 9, 2; U+2028 and U+2029).
fn steers(c: char) -> bool {
    let turns = matches!(c, '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}' | '\u{61c}');
    turns || c.is_control() && !matches!(c, '\n' | '\t')
}
/// `text` for a terminal: what would steer it is written by its code. Names of boards, parts and files come from others.
pub fn printable(text: &str) -> std::borrow::Cow<'_, str> {
    if !text.contains(steers) {
        return text.into();
    }
    let mut out = String::with_capacity(text.len());
    for c in text.chars() {
        if steers(c) { out.extend(c.escape_default()) } else { out.push(c) }
    }
    out.into()
}

/// `text` with control characters written by their codes and cut at [`LONGEST`]: messages quote files, and what a damaged or
/// hostile file holds must not steer a terminal.
fn plain(text: impl Into<String>) -> String {
    let text = text.into();
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

/// The one of `names` that was meant by `word`, most likely a slip of the hand: with one letter in four wrong at most.
pub(crate) fn meant<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    nearest(word, names).first().copied()
}
/// Those of `names` that may be meant by `word`, the likeliest first.
pub(crate) fn nearest<'a>(word: &str, names: impl IntoIterator<Item = &'a str>) -> Vec<&'a str> {
    let word = word.trim().to_lowercase();
    let letters = word.chars().count();
    let slips = names.into_iter().map(|n| (distance(&word, &n.to_lowercase()), n));
    let mut near: Vec<_> = slips.filter(|(slips, _)| *slips <= 1 + letters / 4 && *slips < letters).collect();
    near.sort_by_key(|n| n.0);
    near.into_iter().map(|n| n.1).collect()
}
/// Longest word compared, characters: longer ones are no slip of a key, and the work grows with the square.
const WORD: usize = 60;
/// Letters to add, take out, change or swap with the next to make `b` of `a`.
///
/// # References
/// F. J. Damerau, Communications of the ACM 7 (1964), 171: the four kinds of slip; the restricted distance.
fn distance(a: &str, b: &str) -> usize {
    let (a, b): (Vec<char>, Vec<char>) = (a.chars().take(WORD).collect(), b.chars().take(WORD).collect());
    let mut rows = vec![(0..=b.len()).collect::<Vec<_>>()];
    for i in 1..=a.len() {
        let mut row = vec![i];
        for j in 1..=b.len() {
            let changed = rows[i - 1][j - 1] + usize::from(a[i - 1] != b[j - 1]);
            let mut least = changed.min(rows[i - 1][j] + 1).min(row[j - 1] + 1);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                least = least.min(rows[i - 2][j - 2] + 1);
            }
            row.push(least);
        }
        rows.push(row);
    }
    rows[a.len()][b.len()]
}

/// What went wrong, in one sentence, and what to try next.
#[derive(Debug, Clone, PartialEq)]
pub struct Error {
    stage: Stage,
    message: String,
    hint: Option<String>,
    refusal: Option<Box<Refusal>>,
}

impl Error {
    /// An error of `stage`: one lower-case sentence without a full stop. Control characters are written by their codes, and a
    /// message of more than 1,000 characters is cut.
    pub fn new(stage: Stage, message: impl Into<String>) -> Self {
        Self { stage, message: plain(message), hint: None, refusal: None }
    }
    /// Adds the next step to try.
    #[must_use]
    pub fn hint(mut self, hint: impl Into<String>) -> Self {
        self.hint = Some(plain(hint));
        self
    }
    /// Adds what the scan was taken for that is refused; what an earlier stage has added stays.
    #[must_use]
    pub(crate) fn refusing(mut self, refusal: impl FnOnce() -> Refusal) -> Self {
        self.refusal.get_or_insert_with(|| Box::new(refusal()));
        self
    }
    /// The same error in other words.
    pub(crate) fn retold(self, message: impl Into<String>, hint: impl Into<String>) -> Self {
        Self { message: plain(message), hint: Some(plain(hint)), ..self }
    }
    /// What the scan was taken for, where it is the scan that is refused.
    pub fn refusal(&self) -> Option<&Refusal> {
        self.refusal.as_deref()
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

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn no_name_steers_a_terminal() {
        let every = (0..=0x2069).filter_map(char::from_u32);
        let name: String = every.collect();
        assert!(!printable(&name).contains(|c: char| c.is_control() && c != '\n' && c != '\t'));
        assert_eq!(printable("a\u{1b}[31m\u{202e}b\r"), "a\\u{1b}[31m\\u{202e}b\\r");
        assert_eq!(printable("my scan ß\n"), "my scan ß\n");
    }
    #[test]
    fn a_slip_of_the_hand_is_understood_and_another_word_is_not() {
        let names = ["width", "length", "wheelbase", "tolerance", "at"];
        for (word, want) in [
            ("widht", Some("width")),
            ("Width", Some("width")),
            ("lenght", Some("length")),
            ("whelbase", Some("wheelbase")),
            ("breadth", None),
            ("x", None),
            ("", None),
        ] {
            assert_eq!(meant(word, names), want, "{word}");
        }
    }
}
