//! `report.html`: one page without network, readable on a phone, in dark and light.
use super::Report;
use super::text::source_words;
use crate::geom::{Polygon, bounds};
use crate::mating::MatingFace;
use crate::pipeline::Reconstruction;
use std::fmt::Write;

/// Cross-sections drawn.
const SECTIONS: usize = 7;
/// Samples along a drawn section: finer than a screen shows.
const SAMPLES: usize = 120;

/// What the page draws, taken from the stages so that the report needs no geometry.
#[derive(Debug, Clone)]
pub(super) struct Pictures {
    outline: Polygon,
    footprint: Vec<Polygon>,
    /// Station, then (y, z) along it.
    sections: Vec<(f64, Vec<[f64; 2]>)>,
    centre_line: Vec<[f64; 2]>,
}

impl Pictures {
    pub(super) fn new(rec: &Reconstruction, mating: Option<&MatingFace>) -> Self {
        let outline = rec.deck.outline_polygon();
        let z = &rec.deck.underside;
        let (lo, hi) = outline.bounds();
        let at = |t: f64| lo[0] + t * (hi[0] - lo[0]);
        let sections = (0..SECTIONS)
            .map(|i| {
                let x = at((i as f64 + 0.5) / SECTIONS as f64);
                (x, rec.deck.section(x, SAMPLES))
            })
            .collect();
        let centre_line = (1..SAMPLES).map(|i| at(i as f64 / SAMPLES as f64)).map(|x| [x, z.at(x, 0.0)]).collect();
        let footprint = mating.map(|m| vec![m.footprint.outer_polygon.clone(), m.footprint.inner_polygon.clone()]);
        Self { outline, footprint: footprint.unwrap_or_default(), sections, centre_line }
    }
}
fn escape(s: &str) -> String {
    s.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}
fn path(points: &[[f64; 2]], closed: bool, map: impl Fn([f64; 2]) -> [f64; 2]) -> String {
    let mut d = String::new();
    for (i, p) in points.iter().enumerate() {
        let [x, y] = map(*p);
        let _ = write!(d, "{}{x:.2} {y:.2}", if i == 0 { "M" } else { " L" });
    }
    if closed {
        d.push('Z');
    }
    d
}

const STYLE: &str = ":root{color-scheme:light dark;--ink:#1b1f24;--paper:#fbfaf7;--line:#0b5c8a;--second:#b35806;--soft:#8b929c}\
@media(prefers-color-scheme:dark){:root{--ink:#e6e4df;--paper:#16191d;--line:#67b7e6;--second:#f0a55a;--soft:#7c848f}}\
body{font:16px/1.5 system-ui,sans-serif;color:var(--ink);background:var(--paper);max-width:60rem;margin:0 auto;padding:1rem}\
h1,h2{line-height:1.2}svg{width:100%;height:auto}table{border-collapse:collapse;width:100%}td,th{text-align:left;padding:.25rem .5rem;border-bottom:1px solid var(--soft)}\
.o{fill:none;stroke:var(--line);stroke-width:2}.f{fill:none;stroke:var(--second);stroke-width:1.5}.a{fill:none;stroke:var(--soft);stroke-width:.5}\
path{vector-effect:non-scaling-stroke}figure{margin:.75rem 0}figcaption{font-size:.9rem}.w{border-left:4px solid var(--second);padding-left:.75rem}";

fn plan(p: &Pictures, o: &mut String) {
    let (lo, hi) = p.outline.bounds();
    let (w, h) = (hi[0] - lo[0] + 20.0, hi[1] - lo[1] + 20.0);
    let map = |q: [f64; 2]| [q[0] - lo[0] + 10.0, hi[1] - q[1] + 10.0];
    let _ = write!(o, "<h2>Plan</h2><svg viewBox=\"0 0 {w:.1} {h:.1}\" role=\"img\" aria-label=\"outline in plan\">");
    let _ = write!(o, "<path class=\"o\" d=\"{}\"/>", path(&p.outline.points, true, map));
    for f in &p.footprint {
        let _ = write!(o, "<path class=\"f\" d=\"{}\"/>", path(&f.points, true, map));
    }
    for (x, _) in &p.sections {
        let _ = write!(o, "<path class=\"a\" d=\"{}\"/>", path(&[[*x, lo[1]], [*x, hi[1]]], false, map));
    }
    o.push_str("</svg><p>Nose to the right, seen from the underside. Thin lines are the sections below; the inner pair is the flange. True-size file: <code>outline.svg</code>.</p>");
}

/// Heights are drawn this many times larger than lengths, so that a few millimetres show.
const EXAGGERATION: f64 = 4.0;

fn profile(o: &mut String, title: &str, points: &[[f64; 2]]) {
    if points.is_empty() {
        return;
    }
    let (lo, hi) = bounds(points);
    let (w, h) = (hi[0] - lo[0] + 20.0, EXAGGERATION * (hi[1] - lo[1]) + 16.0);
    let map = |q: [f64; 2]| [q[0] - lo[0] + 10.0, EXAGGERATION * (hi[1] - q[1]) + 8.0];
    let _ = write!(
        o,
        "<figure><figcaption>{title}: {:.1} mm high over {:.1} mm</figcaption><svg viewBox=\"0 0 {w:.1} {h:.1}\" role=\"img\" aria-label=\"{title}\"><path class=\"o\" d=\"{}\"/></svg></figure>",
        hi[1] - lo[1],
        hi[0] - lo[0],
        path(points, false, map)
    );
}

pub(super) fn page(r: &Report) -> String {
    let mut o = String::new();
    let p = &r.pictures;
    let title = escape(&r.name);
    let _ = write!(
        o,
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width,initial-scale=1\"><link rel=\"icon\" href=\"data:,\"><title>{title}: deck report</title><style>{STYLE}</style></head><body><h1>{title}</h1>"
    );
    if !r.warnings.is_empty() {
        o.push_str("<h2>To look at first</h2>");
        for w in &r.warnings {
            let _ = write!(o, "<p class=\"w\">{}.<br><b>Next:</b> {}.</p>", escape(&w.message), escape(&w.hint));
        }
    }
    o.push_str("<h2>Numbers</h2><table>");
    let mut row = |name: &str, value: String| {
        let _ = write!(o, "<tr><th scope=\"row\">{name}</th><td>{value}</td></tr>");
    };
    row(
        "Outline",
        format!("{:.1} x {:.1} mm, {}", r.outline.length_mm, r.outline.width_mm, source_words(r.outline.source)),
    );
    row(
        "Scale",
        format!(
            "{:.6} mm per scan unit; standard uncertainty {:.2} %, which is {:.1} mm over the length",
            r.scale.mm_per_unit,
            100.0 * r.scale.standard_uncertainty / r.scale.mm_per_unit,
            r.scale_uncertainty_over_length_mm
        ),
    );
    row(
        "Underside",
        format!(
            "{} points, residual rms {:.2} mm, 95 % below {:.2} mm; standard error of the surface {:.2} mm; {} x {} control points",
            r.surface.points,
            r.surface.residual_rms_mm,
            r.surface.residual_p95_mm,
            r.surface.standard_error_mm,
            r.surface.control_points[0],
            r.surface.control_points[1]
        ),
    );
    if let (Some(px), Some(mm)) = (r.outline.found.residual_px, r.outline.found.residual_mm) {
        row(
            "Rail in the photo",
            format!(
                "residual rms {px:.2} px ({mm:.2} mm); {:.0} % hidden and bridged",
                100.0 * r.outline.found.bridged_ratio
            ),
        );
    }
    row(
        "Left out of the scan",
        format!(
            "{} floor, {} standing on the underside, {} other of {} points",
            r.frame.floor_points, r.frame.standing_points, r.frame.other_points, r.frame.points
        ),
    );
    if let Some(m) = &r.mating {
        row(
            "Mating face",
            format!(
                "{:.2} mm from the deck: a {:.1} mm gasket squeezed by {:.0} %",
                m.standoff_mm,
                m.gasket_mm,
                100.0 * m.squeeze_ratio
            ),
        );
    }
    o.push_str("</table>");
    plan(p, &mut o);
    let _ = write!(
        o,
        "<h2>Sections</h2><p>Heights drawn {EXAGGERATION} times larger. True-size file: <code>sections.svg</code>.</p>"
    );
    profile(&mut o, "centre line", &p.centre_line);
    for (x, points) in &p.sections {
        // + 0.0 keeps a rounded -0 from showing
        profile(&mut o, &format!("station {:.0} mm", x.round() + 0.0), points);
    }
    o.push_str("<h2>Cautions</h2><ul>");
    for c in r.cautions {
        let _ = write!(o, "<li>{}</li>", escape(c));
    }
    o.push_str("</ul></body></html>\n");
    o
}
