//! Keys and groups as text for a terminal.
use super::{Form, GROUPS, Group, Key, LeftOut};
use crate::error::{Error, Result, Stage, nearest};
use std::fmt::Write;

impl Form {
    /// What is written after the key's `=`, in words.
    pub fn words(self) -> String {
        match self {
            Self::Length => "a length with its unit: mm, cm, m or in".into(),
            Self::Angle => "an angle with its unit: deg".into(),
            Self::Percent => "a percentage".into(),
            Self::Memory => "a size with its unit: MB or GB".into(),
            Self::Number => "a number".into(),
            Self::Flag => "true or false".into(),
            Self::Word(words) => {
                let quoted: Vec<String> = words.iter().map(|w| format!("\"{w}\"")).collect();
                let (last, others) =
                    quoted.split_last().map_or(("", &[][..]), |(last, others)| (last.as_str(), others));
                format!("{} or {last}", others.join(", "))
            }
            Self::File => "a file, its path relative to the board file".into(),
            Self::Place => "two lengths: towards the nose, and to the left seen from the underside".into(),
            Self::Other(words) => words.into(),
            Self::Table => "a table of its own".into(),
        }
    }
}
impl Key {
    /// What holds where it is left out, in words.
    pub fn left_out_words(&self) -> &'static str {
        match self.left_out {
            LeftOut::Refused => "needed",
            LeftOut::Value(v) => v,
            LeftOut::Words(words) => words,
        }
    }
}

/// Most names that an unknown key is answered with.
const MOST_NEAR: usize = 5;

/// What `key` means: `tape.width`, its group `tape`, or with nothing between the dots all groups. A name without its group tells all
/// keys of that name.
///
/// # Errors
/// A key that no board file has, with those that may have been meant.
pub fn explain(key: &str) -> Result<String> {
    // as it is written in a board file: [tape], [[part]], width = "209.5 mm"
    let asked = key.split('=').next().unwrap_or("").trim().trim_matches(['[', ']']).trim().to_lowercase();
    if asked.is_empty() {
        return Ok(all());
    }
    if let Some(g) = GROUPS.iter().find(|g| g.name == asked) {
        return Ok(of_group(g));
    }
    let named = |k: &Key, g: &Group| format!("{}.{}", g.name, k.name);
    let every = || GROUPS.iter().flat_map(|g| g.keys.iter().map(move |k| (g, k)));
    let found: Vec<String> =
        every().filter(|(g, k)| k.name == asked || named(k, g) == asked).map(|(g, k)| of_key(g, k)).collect();
    if !found.is_empty() {
        return Ok(found.join("\n"));
    }
    let full: Vec<String> = every().map(|(g, k)| named(k, g)).collect();
    let names = full.iter().map(String::as_str).chain(GROUPS.iter().map(|g| g.name));
    let mut near = nearest(&asked, names);
    // a slip in a name that is given without its group
    let alone = nearest(&asked, every().map(|(_, k)| k.name));
    near.extend(full.iter().map(String::as_str).filter(|f| alone.iter().any(|n| f.ends_with(&format!(".{n}")))));
    near.dedup();
    near.truncate(MOST_NEAR);
    let hint = if near.is_empty() {
        "`faydeck explain` lists the groups of keys, `faydeck explain tape` the keys of a group".into()
    } else {
        format!("did you mean {}? `faydeck explain` lists the groups of keys", near.join(", "))
    };
    Err(Error::new(Stage::Settings, format!("a board file has no key \"{key}\"")).hint(hint))
}

/// Width of text, characters.
const WIDE: usize = 78;
/// `text` in lines that a terminal shows whole.
fn wrapped(text: &str) -> Vec<String> {
    let mut out: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        match out.last_mut() {
            Some(line) if line.chars().count() + 1 + word.chars().count() <= WIDE => {
                line.push(' ');
                line.push_str(word);
            }
            _ => out.push(word.into()),
        }
    }
    out
}
fn all() -> String {
    let mut out = String::from("The groups of keys in a board file:\n\n");
    for g in GROUPS {
        let _ = writeln!(out, "  {:<14} {}", g.head(), g.brief);
    }
    out + "\n`faydeck explain tape` lists the keys of a group, `faydeck explain tape.width` tells of one.\n"
}
fn of_group(g: &Group) -> String {
    let mut out = format!("{}: {}\n\n", g.head(), g.brief);
    let widest = g.keys.iter().map(|k| k.name.len()).max().unwrap_or(0);
    for k in g.keys {
        let left_out = match k.left_out {
            LeftOut::Refused => " (needed)".into(),
            LeftOut::Value(v) => format!(" (usual: {v})"),
            LeftOut::Words(_) => String::new(),
        };
        let _ = writeln!(out, "  {:<widest$}  {}{left_out}", k.name, k.brief);
    }
    let first = g.keys.first().map_or("", |k| k.name);
    let _ = writeln!(out, "\n`faydeck explain {}.{first}` tells more of one.", g.name);
    out
}
fn of_key(g: &Group, k: &Key) -> String {
    let mut out = format!("{}.{}: {}\n", g.name, k.name, k.brief);
    if !k.more.is_empty() {
        for line in wrapped(k.more) {
            let _ = writeln!(out, "  {line}");
        }
    }
    let mut row = |what: &str, words: &str| {
        if !words.is_empty() {
            let _ = writeln!(out, "  {what:<12} {words}");
        }
    };
    row("write", &k.form.words());
    row("left out", k.left_out_words());
    row("in place of", &k.instead.join(", "));
    if k.form == Form::Table {
        let _ = writeln!(out, "  `faydeck explain {}.{}` lists its keys", g.name, k.name);
        return out;
    }
    let _ = writeln!(out, "  for example\n    {}", g.head());
    for line in k.beside.lines() {
        let _ = writeln!(out, "    {line}");
    }
    let _ = writeln!(out, "    {} = {}", k.name, k.value());
    out
}
