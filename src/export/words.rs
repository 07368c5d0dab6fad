//! Words of a builder in each format that a reader could take for something else.

/// `words` as the content of an element or an attribute of XML or HTML. What XML 1.0 allows in no document, even by its number
/// (2.2: control characters, U+FFFE and U+FFFF), becomes U+FFFD.
pub(crate) fn xml(words: &str) -> String {
    let mut o = String::with_capacity(words.len());
    for c in words.chars() {
        match c {
            '&' => o.push_str("&amp;"),
            '<' => o.push_str("&lt;"),
            // "]]>" ends a section of an element's content
            '>' => o.push_str("&gt;"),
            '"' => o.push_str("&quot;"),
            '\'' => o.push_str("&#39;"),
            '\t' | '\n' => o.push(c),
            c if c.is_control() || matches!(c, '\u{fffe}' | '\u{ffff}') => o.push('\u{fffd}'),
            c => o.push(c),
        }
    }
    o
}

#[cfg(test)]
mod tests {
    use crate::export::{Drawing, Pen, drawings_svg, sections_svg};
    use quick_xml::events::Event;

    /// The text of a document's elements; an error where it is no XML.
    fn read(document: &[u8]) -> Result<String, String> {
        let text = std::str::from_utf8(document).map_err(|e| e.to_string())?;
        // the reader takes what XML 1.0 forbids (2.2)
        if let Some(c) = text.chars().find(|c| c.is_control() && !"\t\n\r".contains(*c)) {
            return Err(format!("{c:?} is allowed in no document"));
        }
        if text.contains("]]>") {
            return Err("the end of a section stands outside of one".into());
        }
        let mut reader = quick_xml::Reader::from_str(text);
        let mut found = String::new();
        loop {
            match reader.read_event() {
                Ok(Event::Eof) => return Ok(found),
                Ok(Event::Text(t)) => found.push_str(&t.xml_content(quick_xml::XmlVersion::Implicit1_0)),
                Ok(Event::GeneralRef(r)) => found.push_str(&format!("&{};", &*r)),
                Ok(Event::Start(t) | Event::Empty(t)) => {
                    t.attributes().try_for_each(|a| a.map(|_| ())).map_err(|e| e.to_string())?;
                }
                Ok(_) => {}
                Err(e) => return Err(e.to_string()),
            }
        }
    }

    #[test]
    fn a_name_with_any_control_character_leaves_every_drawing_readable() {
        let line = vec![[0.0, 0.0], [30.0, 5.0], [20.0, 9.0]];
        let controls = (0..0xa0).filter_map(char::from_u32).filter(|c| c.is_control());
        let others = ['\u{fffe}', '\u{ffff}', '\u{202e}', '\u{2028}', '<', '>', '&', '"', '\''];
        let mut names: Vec<String> = controls.chain(others).map(|c| format!("my {c} board")).collect();
        names.extend(["]]>", "<![CDATA[", "<!-- ", "-->", "</text><script>", "&#0;", "?>"].map(str::to_owned));
        for name in &names {
            let mut d = Drawing::default();
            d.line(line.clone(), true, Pen::Cut, name);
            d.label([1.0, 1.0], name.as_str());
            for file in
                [sections_svg(name, &[(0.0, line.clone())]), drawings_svg(name, std::slice::from_ref(name), &[d])]
            {
                let text = read(&file).unwrap_or_else(|e| panic!("{name:?}: {e}"));
                assert!(!text.contains("<script"), "{name:?}");
            }
        }
    }
}
