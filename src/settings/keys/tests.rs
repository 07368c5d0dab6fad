use super::*;
use crate::settings::{Board, enclosure};
use serde::Deserialize;
use serde::de::{self, Visitor};

/// The names of the fields that a table's reader takes.
fn fields<'de, T: Deserialize<'de>>() -> Vec<&'static str> {
    struct Fields<'a>(&'a mut Vec<&'static str>);
    impl<'de> de::Deserializer<'de> for Fields<'_> {
        type Error = de::value::Error;
        fn deserialize_any<V: Visitor<'de>>(self, _: V) -> Result<V::Value, Self::Error> {
            Err(de::Error::custom("no table"))
        }
        fn deserialize_struct<V: Visitor<'de>>(
            self,
            _: &'static str,
            fields: &'static [&'static str],
            _: V,
        ) -> Result<V::Value, Self::Error> {
            self.0.extend(fields);
            Err(de::Error::custom("only its fields were asked for"))
        }
        serde::forward_to_deserialize_any! {
            bool i8 i16 i32 i64 i128 u8 u16 u32 u64 u128 f32 f64 char str string bytes byte_buf option unit unit_struct
            newtype_struct seq tuple tuple_struct map enum identifier ignored_any
        }
    }
    let mut out = Vec::new();
    assert!(T::deserialize(Fields(&mut out)).is_err() && !out.is_empty());
    out
}
/// What the reader of each table takes.
fn accepted() -> Vec<(&'static str, Vec<&'static str>)> {
    vec![
        ("scan", fields::<scan::ScanTable>()),
        ("tape", fields::<tape::TapeTable>()),
        ("tape.at", fields::<tape::StationTable>()),
        ("photo", fields::<photo::PhotoTable>()),
        ("photo.known", fields::<photo::KnownTable>()),
        ("deck", fields::<deck::DeckTable>()),
        ("deck.hole", fields::<deck::HoleTable>()),
        ("enclosure", fields::<enclosure::EnclosureTable>()),
        ("screws", fields::<body::ScrewTable>()),
        ("part", fields::<body::PartTable>()),
        ("opening", fields::<body::OpeningTable>()),
        ("trucks", fields::<body::TruckTable>()),
        ("printer", fields::<body::PrinterTable>()),
        ("fit_check", fields::<fit_check::FitCheckTable>()),
        ("gasket", fields::<gasket::GasketTable>()),
        ("rider", fields::<rider::RiderTable>()),
        ("rim", fields::<rim::RimTable>()),
        ("output", fields::<output::OutputTable>()),
        ("limits", fields::<limits::LimitsTable>()),
    ]
}
#[test]
fn every_key_that_is_read_is_described_and_no_other() {
    let sorted = |names: &mut dyn Iterator<Item = &'static str>| {
        let mut v: Vec<&str> = names.collect();
        v.sort_unstable();
        v
    };
    let accepted = accepted();
    for (name, fields) in &accepted {
        let g = group(name).unwrap_or_else(|| panic!("[{name}] is not described"));
        assert_eq!(sorted(&mut g.keys.iter().map(|k| k.name)), sorted(&mut fields.iter().copied()), "[{name}]");
        for k in g.keys.iter().filter(|k| k.form == Form::Table) {
            assert!(group(&format!("{name}.{}", k.name)).is_some(), "{name}.{}", k.name);
        }
    }
    let described = sorted(&mut GROUPS.iter().map(|g| g.name));
    assert_eq!(described, sorted(&mut accepted.iter().map(|a| a.0)));
    let tables = sorted(&mut described.iter().copied().filter(|n| !n.contains('.')));
    assert_eq!(tables, sorted(&mut fields::<crate::settings::File>().into_iter()));
}

/// A board with what `group` needs, and `value` at `key` of it.
fn with(group: &Group, key: &Key, value: Option<&str>) -> crate::Result<Board> {
    let table = |text: &str| text.parse::<toml::Table>().unwrap();
    // what any board with a body has, and the tables that others ask for
    let mut all = table(
        "[scan]\nfile='s.ply'\n[tape]\nwidth='209.5 mm'\nlength='812 mm'\n[deck]\nthickness='12 mm'\n\
         [enclosure]\nlength='340 mm'\ndepth='38 mm'\n[rider]\nmass='80 kg'\n[photo]\nfile='p.jpg'\n",
    );
    let mut own = toml::Table::new();
    for k in group.keys.iter().filter(|k| k.left_out == LeftOut::Refused) {
        own.extend(table(&format!("{} = {}", k.name, k.value())));
    }
    if group.name == "opening" {
        own.extend(table("diameter = '12 mm'"));
    }
    if group.name == "opening" && key.name == "through" && value.is_some_and(|v| v.contains("wall")) {
        own.extend(table("above_floor = '15 mm'"));
    }
    own.extend(table(key.beside));
    for name in key.instead {
        own.remove(*name);
    }
    if let Some(v) = value {
        own.extend(table(&format!("{} = {v}", key.name)));
    }
    let (outer, inner) = group.name.split_once('.').unwrap_or((group.name, ""));
    let wrapped =
        |t| if group.several { toml::Value::Array(vec![toml::Value::Table(t)]) } else { toml::Value::Table(t) };
    let mut at = all.get(outer).and_then(|t| t.as_table()).cloned().unwrap_or_default();
    for name in key.instead {
        at.remove(*name);
    }
    if inner.is_empty() {
        at.extend(own);
        all.insert(outer.into(), wrapped(at));
    } else {
        at.insert(inner.into(), wrapped(own));
        all.insert(outer.into(), toml::Value::Table(at));
    }
    Board::parse(&all.to_string())
}
fn every() -> impl Iterator<Item = (&'static Group, &'static Key)> {
    GROUPS.iter().flat_map(|g| g.keys.iter().map(move |k| (g, k))).filter(|(_, k)| k.form != Form::Table)
}
#[test]
fn every_example_and_every_word_is_read() {
    for (g, k) in every() {
        let words = if let Form::Word(words) = k.form { words } else { &[] };
        let quoted = words.iter().map(|w| format!("\"{w}\""));
        for value in quoted.chain([k.value().to_owned()]) {
            with(g, k, Some(&value)).unwrap_or_else(|e| panic!("{}.{} = {value}: {e}", g.name, k.name));
        }
    }
}
#[test]
fn what_is_called_usual_is_what_holds_when_a_key_is_left_out() {
    for (g, k) in every() {
        match k.left_out {
            LeftOut::Value(v) => {
                let said = with(g, k, Some(v)).unwrap_or_else(|e| panic!("{}.{} = {v}: {e}", g.name, k.name));
                let left = with(g, k, None).unwrap();
                assert!(said == left, "{}.{} = {v} is not what is taken when it is left out", g.name, k.name);
            }
            // the examples of what is needed are what `with` lays a table out of
            LeftOut::Refused => assert!(!k.value().is_empty(), "{}.{}", g.name, k.name),
            // one of two, or one that goes with another
            LeftOut::Words(_) => {
                let alone = k.instead.is_empty() && k.beside.is_empty();
                assert!(with(g, k, None).is_ok() || !alone, "{}.{}", g.name, k.name);
            }
        }
    }
}
#[test]
fn a_key_is_explained_by_its_name_its_group_and_its_slips() {
    let width = explain("tape.width").unwrap();
    assert!(width.contains("rail to rail") && width.contains("needed") && width.contains("width = \"209.5 mm\""));
    assert_eq!(explain(" [tape] ").unwrap(), explain("tape").unwrap());
    assert_eq!(explain("tape.width = \"1 mm\"").unwrap(), width);
    assert!(explain("photo.file").unwrap().lines().all(|l| l.chars().count() <= 80));
    let tape = explain("tape").unwrap();
    assert!(tape_keys().all(|k| tape.contains(k)), "{tape}");
    let widths = explain("width").unwrap();
    assert!(widths.contains("tape.width:") && widths.contains("gasket.width:") && widths.contains("part.width:"));
    let all = explain("").unwrap();
    assert!(GROUPS.iter().all(|g| all.contains(&g.head())), "{all}");
    for (slip, want) in [
        ("tape.widht", "tape.width"),
        ("widht", "tape.width"),
        ("tapes", "tape"),
        ("screw.size", "screws.size"),
        ("nothing like it", "lists the groups"),
    ] {
        let e = explain(slip).unwrap_err();
        assert!(e.message().contains(slip) && e.hint_text().is_some_and(|h| h.contains(want)), "{slip}: {e}");
    }
    let (g, k) = every().find(|(g, k)| (g.name, k.name) == ("opening", "seal_depth")).unwrap();
    assert!(explain("opening.seal_depth").unwrap().contains(&format!("    {}\n    {}\n", g.head(), k.beside)));
}
fn tape_keys() -> impl Iterator<Item = &'static str> {
    tape::KEYS.iter().map(|k| k.name)
}

/// The tables of `docs/board-file.md`.
fn tables() -> String {
    let cell = |t: &str| t.replace('|', "\\|");
    let mut out = String::new();
    for g in GROUPS {
        out += &format!(
            "### `{}`\n\n{}.\n\n| key | meaning | write | if left out |\n|---|---|---|---|\n",
            g.head(),
            sentence(g.brief)
        );
        for k in g.keys {
            let mut meaning = k.brief.to_owned();
            if !k.more.is_empty() {
                meaning = format!("{meaning}. {}", k.more);
            }
            if !k.instead.is_empty() {
                let names: Vec<String> = k.instead.iter().map(|n| format!("`{}.{n}`", g.name)).collect();
                meaning += &format!("{} In place of {}.", if k.more.is_empty() { "." } else { "" }, names.join(", "));
            }
            let write = match k.form {
                Form::Table => {
                    format!("a table, see `{}` below", group(&format!("{}.{}", g.name, k.name)).unwrap().head())
                }
                Form::Word(words) => words.iter().map(|w| format!("`\"{w}\"`")).collect::<Vec<_>>().join(", "),
                Form::Flag => "`true` or `false`".into(),
                Form::Length => format!("a length, `{}`", k.value()),
                Form::File => format!("a file, `{}`", k.value()),
                form => format!("{}, as in `{}`", form.words(), k.value()),
            };
            let left_out = match k.left_out {
                LeftOut::Value(v) => format!("`{v}`"),
                _ => k.left_out_words().to_owned(),
            };
            out += &format!("| `{}` | {} | {} | {} |\n", k.name, cell(&meaning), cell(&write), cell(&left_out));
        }
        out.push('\n');
    }
    out
}
fn sentence(brief: &str) -> String {
    let mut letters = brief.chars();
    letters.next().map_or_else(String::new, |c| c.to_uppercase().chain(letters).collect())
}
/// The document's tables between the marks are what the keys' descriptions say. With FAYDECK_WRITE_DOCS set they are written there.
#[test]
fn the_document_holds_what_the_keys_say() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/docs/board-file.md");
    let text = std::fs::read_to_string(path).unwrap();
    let [begin, end] = ["<!-- begin keys -->\n", "<!-- end keys -->\n"];
    let (before, rest) = text.split_once(begin).unwrap();
    let (_, after) = rest.split_once(end).unwrap();
    let now = format!("{before}{begin}{}{end}{after}", tables());
    if std::env::var_os("FAYDECK_WRITE_DOCS").is_some() {
        std::fs::write(path, now).unwrap();
    } else {
        assert!(
            text == now,
            "docs/board-file.md is not up to date: run FAYDECK_WRITE_DOCS=1 cargo test --lib the_document_holds_what_the_keys_say"
        );
    }
}
