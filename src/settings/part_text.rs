//! A part in one line: `pack 180x84x28 mm battery`.
use crate::error::{Error, Result, Stage};

/// A part as it is told in one line; its sizes are checked with the board file that they go into.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PartText {
    pub name: String,
    /// Length, width and height, each with its unit.
    pub sizes: [String; 3],
    pub battery: bool,
}
/// The word that marks a battery.
const BATTERY: &str = "battery";

fn is_battery(word: &str) -> bool {
    word.trim_matches(|c: char| !c.is_alphanumeric()).eq_ignore_ascii_case(BATTERY)
}
/// The words of a name, and the length behind it with its unit.
fn name_and_length(text: &str) -> Option<(String, String)> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let number = |i: usize| words[i].starts_with(|c: char| c.is_ascii_digit() || ".,-".contains(c));
    let whole = |i: usize| words[i].chars().all(|c| c.is_ascii_digit());
    let mut i = words.len().checked_sub(1)?;
    // a unit by itself
    if !number(i) {
        i = i.checked_sub(1).filter(|i| number(*i))?;
    }
    // 7 1/4 in
    if words[i].contains('/') && i > 0 && whole(i - 1) {
        i -= 1;
    }
    Some((words[..i].join(" "), words[i..].join(" ")))
}

impl PartText {
    /// Reads a name, three sizes with a unit, and the word `battery` where it is one. A name with that word in it is one as well:
    /// a warning too many does less harm than one too few.
    ///
    /// # Errors
    /// Anything missing, or words behind the sizes that are not known.
    pub(super) fn read(text: &str) -> Result<Self> {
        let wrong = |why: &str| {
            Error::new(Stage::Settings, format!("the part \"{}\" {why}", text.trim())).hint(
                "write its name, length x width x height with a unit, and the word battery if it is one, for example \"pack 180x84x28 mm battery\"",
            )
        };
        // the sizes are the last three, whatever the name holds
        let plain = text.replace('×', "x");
        let mut pieces = plain.rsplitn(3, ['x', 'X']);
        let (Some(height), Some(width), Some(first)) = (pieces.next(), pieces.next(), pieces.next()) else {
            return Err(wrong("has no three sizes"));
        };
        let (name, length) = name_and_length(first).ok_or_else(|| wrong("has no three sizes"))?;
        if name.is_empty() {
            return Err(wrong("has no name"));
        }
        let mut words: Vec<&str> = height.split_whitespace().collect();
        let mut battery = name.split_whitespace().any(is_battery);
        while words.len() > 1 && words.last().is_some_and(|w| is_battery(w)) {
            words.pop();
            battery = true;
        }
        let height = words.join(" ");
        let unit =
            |s: &str| s.trim_start_matches(|c: char| c.is_ascii_digit() || " ./,-".contains(c)).trim().to_owned();
        let last = unit(&height);
        if last.is_empty() {
            return Err(wrong("has no unit behind its sizes"));
        }
        if let Some(word) = last.split_whitespace().nth(1) {
            return Err(wrong(&format!("has \"{word}\" behind its sizes, which is not known")));
        }
        let with_unit = |s: &str| if unit(s).is_empty() { format!("{} {last}", s.trim()) } else { s.trim().to_owned() };
        Ok(Self { name, sizes: [with_unit(&length), with_unit(width), height], battery })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_part_is_a_name_three_sizes_and_a_word() {
        for (text, name, sizes, battery) in [
            ("pack 180x84x28 mm battery", "pack", ["180 mm", "84 mm", "28 mm"], true),
            ("  12s pack 180 x 84 x 28mm Battery ", "12s pack", ["180 mm", "84 mm", "28mm"], true),
            ("speed control 64 x 44 x 20 mm", "speed control", ["64 mm", "44 mm", "20 mm"], false),
            ("box x2 6.4 cm x 44 mm x 2 cm", "box x2", ["6.4 cm", "44 mm", "2 cm"], false),
            ("pack 7 1/4 × 3 × 1 1/8 in battery", "pack", ["7 1/4 in", "3 in", "1 1/8 in"], true),
            ("battery 10S2P 200x70x22 mm", "battery 10S2P", ["200 mm", "70 mm", "22 mm"], true),
            ("relay 3,5x2x1 cm", "relay", ["3,5 cm", "2 cm", "1 cm"], false),
        ] {
            let p = PartText::read(text).unwrap();
            assert_eq!((p.name.as_str(), p.battery), (name, battery), "{text}");
            assert_eq!(p.sizes, sizes, "{text}");
        }
    }
    #[test]
    fn what_is_missing_is_named() {
        for (text, want) in [
            ("", "no three sizes"),
            ("pack", "no three sizes"),
            ("pack 180x84 mm", "no three sizes"),
            ("180x84x28 mm", "no name"),
            ("pack 180x84x28", "no unit"),
            ("pack 180x84x28 battery", "no unit"),
            ("pack 180x84x28 mm heavy", "\"heavy\""),
            ("pack 180 84 28 mm", "no three sizes"),
            ("x x x", "no three sizes"),
        ] {
            let e = PartText::read(text).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{text}: {e}");
        }
    }
}
