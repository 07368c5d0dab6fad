//! What a page may ask, and how question and answer are laid out.
use crate::Bench;
use faydeck::{Error, Stage};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

/// A question. `board` is the table of a `board.toml` as JSON.
#[derive(Debug, Clone, Deserialize)]
#[serde(tag = "ask", rename_all = "snake_case", deny_unknown_fields)]
pub enum Ask {
    /// Keeps the bytes beside the question as the input file `name`.
    Put {
        /// As the board file names it.
        name: String,
    },
    /// Forgets an input file.
    Drop {
        /// As the board file names it.
        name: String,
    },
    /// Points of a scan for a first look.
    Look {
        /// The scan.
        name: String,
    },
    /// The table of a board file.
    Parse {
        /// The text of a `board.toml`.
        text: String,
    },
    /// The text of a board file, and whether it is sound.
    Write {
        /// The table.
        board: Value,
    },
    /// A length in mm.
    Length {
        /// As typed, with its unit.
        text: String,
    },
    /// The scan isolated and the underside fitted.
    Survey {
        /// The table.
        board: Value,
        /// The `stamp` of the answer that the page has: where it is still good, nothing else is told.
        #[serde(default)]
        have: u64,
    },
    /// The outline and the deck.
    Deck {
        /// The table.
        board: Value,
        /// The `stamp` of the answer that the page has: where it is still good, nothing else is told.
        #[serde(default)]
        have: u64,
    },
    /// The mating face, the enclosure and its gaps.
    House {
        /// The table.
        board: Value,
        /// Whether the rim is enough, as while a finger drags it.
        #[serde(default)]
        rim_only: bool,
    },
    /// Every file.
    Files {
        /// The table.
        board: Value,
    },
    /// The gap of an enclosure made elsewhere.
    Gaps {
        /// The table.
        board: Value,
        /// The enclosure's mesh among the input files.
        name: String,
        /// Whether it is found by its rim; else it lies in the deck frame.
        found: bool,
    },
    /// One of the files made.
    Take {
        /// Its name.
        name: String,
    },
    /// All files made, packed, with the board file and what was drawn on the page.
    Zip {
        /// The table.
        board: Value,
        /// Names of input files that go along.
        along: Vec<String>,
    },
    /// Puts the demo's files and gives its board file's table.
    Demo,
}
/// JSON and, for a file, its bytes.
#[derive(Debug, Clone, Default)]
pub struct Answer {
    /// What is told.
    pub told: Value,
    /// The file.
    pub bytes: Vec<u8>,
}
impl Answer {
    pub(crate) fn told(told: impl Serialize) -> Self {
        Self { told: serde_json::to_value(told).unwrap_or_default(), bytes: Vec::new() }
    }
}

/// An error as the page reads it, with what a refused scan was taken for.
pub(crate) fn error_told(e: &Error) -> Value {
    let seen = e.refusal().map(crate::views::refused);
    json!({ "stage": e.stage(), "message": e.message(), "hint": e.hint_text(), "seen": seen })
}
fn apart(mut question: Vec<u8>) -> Option<(Ask, Vec<u8>)> {
    let length = u32::from_le_bytes(question.get(..4)?.try_into().ok()?) as usize;
    let end = length.checked_add(4)?;
    let ask = serde_json::from_slice(question.get(4..end)?).ok()?;
    question.drain(..end);
    Some((ask, question))
}
/// Answers a question laid out as bytes: `{"ok": ...}` or `{"error": ...}` and the bytes of a file.
pub fn answered(bench: &mut Bench, question: Vec<u8>) -> Vec<u8> {
    let answer =
        match apart(question) {
            Some((ask, bytes)) => bench.answer(ask, bytes),
            None => Err(Error::new(Stage::Settings, "the page asked for what the engine does not know")
                .hint("load the page again")),
        };
    let (told, bytes) = match answer {
        Ok(a) => (json!({ "ok": a.told }), a.bytes),
        Err(e) => (json!({ "error": error_told(&e) }), Vec::new()),
    };
    let told = told.to_string().into_bytes();
    let mut out = Vec::with_capacity(4 + told.len() + bytes.len());
    out.extend((told.len() as u32).to_le_bytes());
    out.extend(told);
    out.extend(bytes);
    out
}
