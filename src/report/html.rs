//! `report.html` and its like: one page without network, readable on a phone, in dark and light. Words are set here, so that the page
//! reads without its script; pictures are drawn by the script from the data inside the page.
use super::numbers::ANSWERS;
use super::{PageData, PageFile, PageNumber, PageRefusal};
use std::fmt::Write;

const STYLE: &str = include_str!("page/style.css");
const SCRIPTS: [&str; 12] = [
    include_str!("page/data.js"),
    include_str!("page/colour.js"),
    include_str!("page/zones.js"),
    include_str!("page/solid.js"),
    include_str!("page/plan.js"),
    include_str!("page/plot.js"),
    include_str!("page/parts.js"),
    include_str!("page/view.js"),
    include_str!("page/cloud.js"),
    include_str!("page/photo.js"),
    include_str!("page/main.js"),
    include_str!("page/start.js"),
];
/// The page may load nothing and send nothing: a browser holds it to that.
const POLICY: &str = "default-src 'none'; style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:";

use crate::export::xml as escape;
fn sentence(s: &str) -> String {
    let mut c = s.chars();
    let first: String = c.next().map(|f| f.to_uppercase().collect()).unwrap_or_default();
    escape(&format!("{first}{}", c.as_str()))
}
/// The data as JSON that no `</script>` or `<!--` in a name can end.
fn data(page: &PageData) -> String {
    serde_json::to_string(page).unwrap_or_default().replace('<', "\\u003c")
}
fn headline(o: &mut String, numbers: &[PageNumber]) {
    if numbers.is_empty() {
        return;
    }
    // answers in words first, figures in a row of their own
    for row in numbers.chunk_by(|a, b| (a.group == ANSWERS) == (b.group == ANSWERS)) {
        let _ = write!(o, "<dl class=\"headline{}\">", if row[0].group == ANSWERS { " answers" } else { "" });
        for n in row {
            let _ = write!(
                o,
                "<div><dt>{}</dt><dd>{} <small>{}</small></dd></div>",
                escape(&n.name),
                escape(&n.value),
                escape(&n.uncertainty)
            );
        }
        o.push_str("</dl>");
    }
}
fn numbers(o: &mut String, numbers: &[PageNumber]) {
    if numbers.is_empty() {
        return;
    }
    o.push_str("<section id=\"numbers\"><h2>Numbers</h2><p>After ± stands one standard uncertainty: about two boards in three lie within it, nineteen in twenty within twice as much.</p>");
    for group in numbers.chunk_by(|a, b| a.group == b.group) {
        let _ = write!(o, "<h3>{}</h3><dl class=\"numbers\">", escape(&group[0].group));
        for n in group {
            let _ = write!(
                o,
                "<div><dt>{}</dt><dd><b>{}</b> {}<p>{} <cite>{}</cite></p></dd></div>",
                escape(&n.name),
                escape(&n.value),
                escape(&n.uncertainty),
                escape(&n.meaning),
                escape(&n.from)
            );
        }
        o.push_str("</dl>");
    }
    o.push_str("</section>");
}

fn refusal(o: &mut String, r: &PageRefusal) {
    let _ = write!(
        o,
        "<section id=\"refusal\"><div class=\"warning\"><p><b>{}.</b></p></div><h2>What it means</h2><p>{}</p><h2>What to do</h2><p>{}.</p>{REFUSED}</section>",
        sentence(&r.message),
        escape(&r.meaning),
        sentence(&r.next)
    );
}
/// What files are for, in the order in which a builder needs them.
const FILES_FOR: [&str; 5] = ["For CAD", "To print in 3-D", "On paper", "Other meshes", "Reports and figures"];
/// The place in [`FILES_FOR`] of a file.
fn file_is_for(name: &str) -> usize {
    let part = ["enclosure", "fit-"].iter().any(|p| name.starts_with(p));
    match name.rsplit_once('.').map(|n| n.1) {
        Some("step") => 0,
        Some("stl" | "3mf") if part => 1,
        Some("pdf" | "svg") => 2,
        Some("stl" | "3mf" | "ply") => 3,
        _ => 4,
    }
}
/// What helps with any refused scan.
const REFUSED: &str = "<p>Then look at the pictures below. Each point has the colour of what it was taken for.</p><ul><li>Part of your board is not marked as board: scan it again. Go all round it, slowly, with its rails in the picture.</li><li>Something else is marked as board: move it away and scan again. Or cut it away before you export the scan.</li><li>Board and floor are one piece: put the board on something, a hand's breadth over the floor.</li></ul><p>No deck was made. If other files of a build are in this folder, an earlier build made them.</p>";

pub(super) fn page(p: &PageData) -> String {
    let title = escape(&p.title);
    let mut o = format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta http-equiv=\"Content-Security-Policy\" content=\"{POLICY}\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><link rel=\"icon\" href=\"data:,\"><title>{title}: {kind}</title><style>{STYLE}</style></head><body><header><p class=\"kind\">{}</p><h1>{title}</h1>",
        sentence(&p.kind),
        kind = escape(&p.kind),
    );
    headline(&mut o, &p.headline);
    o.push_str("</header><main>");
    if let Some(r) = &p.refusal {
        refusal(&mut o, r);
    }
    if !p.warnings.is_empty() {
        o.push_str("<section id=\"warnings\"><h2>To look at first</h2>");
        for w in &p.warnings {
            let _ = write!(
                o,
                "<div class=\"warning\"><p>{}.</p><p><b>Next:</b> {}.</p></div>",
                sentence(&w.message),
                escape(&w.hint)
            );
        }
        o.push_str("</section>");
    }
    o.push_str("<noscript><p class=\"warning\">The pictures on this page need its script; the words do not.</p></noscript><div id=\"pictures\"></div>");
    numbers(&mut o, &p.numbers);
    if !p.files.is_empty() {
        o.push_str("<section id=\"files\"><h2>Files</h2><p>All in mm in the deck frame: x along the board towards the nose, y to its left seen from the underside, z out of the underside.</p>");
        for (k, what) in FILES_FOR.iter().enumerate() {
            let of: Vec<&PageFile> = p.files.iter().filter(|f| file_is_for(&f.name) == k).collect();
            if of.is_empty() {
                continue;
            }
            let _ = write!(o, "<h3>{what}</h3><ul class=\"files\">");
            for f in of {
                let name = escape(&f.name);
                let _ = write!(o, "<li><a href=\"{name}\">{name}</a> {}</li>", escape(&f.what));
            }
            o.push_str("</ul>");
        }
        o.push_str("</section>");
    }
    if !p.cautions.is_empty() {
        o.push_str("<section id=\"cautions\"><h2>Cautions</h2><ul>");
        for c in &p.cautions {
            let _ = write!(o, "<li>{}.</li>", sentence(c));
        }
        o.push_str("</ul></section>");
    }
    let _ = writeln!(
        o,
        "</main><footer>faydeck {}</footer><script type=\"application/json\" id=\"data\">{}</script><script>\"use strict\";(() => {{",
        escape(&p.version),
        data(p)
    );
    for s in SCRIPTS {
        o.push_str(s);
    }
    o.push_str("})();</script></body></html>\n");
    o
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::{Stage, Warning};
    use crate::report::PageFile;

    #[test]
    fn a_name_cannot_become_markup() {
        let bad = "</script><script>alert('x')</script><!-- \" & ' <img src=x onerror=y>";
        let number = PageNumber { group: bad.into(), name: bad.into(), value: bad.into(), ..PageNumber::default() };
        let page = page(&PageData {
            title: bad.into(),
            kind: bad.into(),
            warnings: vec![Warning::new(Stage::Frame, bad, bad)],
            headline: vec![number.clone()],
            numbers: vec![number],
            cautions: vec![bad.into()],
            files: vec![PageFile { name: bad.into(), what: bad.into() }],
            ..PageData::default()
        });
        assert!(!page.contains("alert('x')</script>") && !page.contains("<img") && !page.contains("<!--"));
        // the data and the page's own script are the only ones
        assert_eq!(page.matches("<script").count(), 2);
        assert_eq!(page.matches("</script>").count(), 2);
        let json = page.split("id=\"data\">").nth(1).and_then(|s| s.split("</script>").next()).unwrap();
        let back: serde_json::Value = serde_json::from_str(json).unwrap();
        assert_eq!(back["title"], bad);
    }
    #[test]
    fn the_page_asks_for_nothing_outside() {
        // a namespace's name is not an address that is asked for
        let page = page(&PageData::default()).replace("http://www.w3.org/2000/svg", "");
        assert!(page.contains("default-src 'none'"));
        for outside in ["http://", "https://", "@import", "url(", "fetch(", "XMLHttpRequest"] {
            assert!(!page.contains(outside), "{outside}");
        }
    }
}
