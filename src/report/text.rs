//! The summary for a terminal.
use super::Report;
use crate::num::shown;
use crate::outline::OutlineSource;
use std::fmt::Write;

pub(super) fn source_words(source: OutlineSource) -> &'static str {
    match source {
        OutlineSource::Photo => "from the photo",
        OutlineSource::CutOut => "from the photo's cut-out",
        OutlineSource::ScanRim => "from the scan's rim",
    }
}

fn count(pieces: usize) -> String {
    format!("{pieces} piece{}", if pieces == 1 { "" } else { "s" })
}

pub(super) fn summary(r: &Report) -> String {
    let mut o = String::new();
    let s = r.scale;
    for j in &r.joined {
        let _ = writeln!(
            o,
            "scan {}     {:.4} of the first scan's size, overlap {:.0} % of the shorter, {:.2} mm (rms) off it there, far end within {:.1} mm",
            j.scan,
            j.scale_ratio,
            100.0 * j.overlap_ratio,
            j.residual_rms_mm,
            j.standard_error_mm
        );
    }
    let _ = writeln!(
        o,
        "deck       {:.1} x {:.1} mm (+- {:.1} and {:.1} mm if the tape was read right), outline {}; {:.1} mm thick{}",
        r.outline.length_mm,
        r.outline.width_mm,
        r.outline.length_uncertainty_mm,
        r.outline.width_uncertainty_mm,
        source_words(r.outline.source),
        r.deck.thickness_mm,
        if r.deck.thickness_assumed { " (assumed, not measured)" } else { "" }
    );
    let _ = writeln!(
        o,
        "scale      {:.6} mm per scan unit, standard uncertainty {:.2} % ({:.1} mm over the length by the scan's own size)",
        s.mm_per_unit,
        100.0 * s.standard_uncertainty / s.mm_per_unit,
        r.scale_uncertainty_over_length_mm
    );
    for t in &r.tape.readings {
        let _ = writeln!(o, "tape       {} {:.1} mm, {}", t.name, t.reading_mm, t.words());
    }
    for u in &r.tape.unused {
        let _ = writeln!(o, "tape       {} {:.1} mm is not used for the size: {}", u.name, u.reading_mm, u.why);
    }
    if let Some(n) = &r.tape.next_reading {
        let mm = |relative: f64| relative * r.outline.length_mm;
        let _ = writeln!(
            o,
            "next       measure {}: over the board's length the size is then sure to {2:.1} mm instead of {1:.1} mm",
            n.name,
            mm(n.relative_now),
            mm(n.relative_then)
        );
    }
    for p in &r.outline.found.photos {
        if let Some(k) = p.known {
            let _ = writeln!(
                o,
                "known      {:.1} mm given in photo {}, {:.1} mm found, standard uncertainty {:.1} mm",
                k.given_mm, p.number, k.found_mm, k.standard_uncertainty_mm
            );
        }
    }
    if let Some(h) = &r.outline.found.bolt_holes {
        let _ = writeln!(
            o,
            "bolt holes like {} x {} mm, {:.1} mm apart, come out {:+.1} % off, standard uncertainty {:.1} %: {} (a check, not used)",
            h.pattern_mm[0],
            h.pattern_mm[1],
            h.apart_mm,
            100.0 * (h.size_ratio - 1.0),
            100.0 * h.size_ratio_sd,
            if h.agrees { "agree with the scale" } else { "contradict the scale" }
        );
    }
    let _ = writeln!(
        o,
        "underside  the scan's points scatter {:.2} mm about it, it is sure to {:.2} mm; {} x {} control points",
        r.surface.residual_rms_mm,
        r.surface.standard_error_mm,
        r.surface.control_points[0],
        r.surface.control_points[1]
    );
    let _ = writeln!(
        o,
        "shape      centre line rises {:.1} mm, centre {:+.1} mm against the rails at mid length",
        r.deck.centre_line_rise_mm,
        shown(r.deck.concave_at_mid_length_mm, 1)
    );
    if let Some(m) = &r.mating {
        let _ = writeln!(
            o,
            "mating     {:.2} mm from the deck: a {:.1} mm gasket squeezed by {:.0} %",
            m.standoff_mm,
            m.gasket_mm,
            100.0 * m.squeeze_ratio
        );
        let _ = writeln!(
            o,
            "           the doubt of the size puts its ends {:.2} mm off along the board, its face {:.2} mm off in height",
            m.scale_uncertainty_along_mm, m.scale_uncertainty_height_mm
        );
        for k in &m.rooms {
            let verdict = if k.free { "" } else { ", too little" };
            let mm = shown(k.distance_mm, 0);
            let what = &k.keep_out.name;
            let _ = if mm < 0.0 {
                writeln!(o, "room       NONE: the flange reaches {:.0} mm into {what}", -mm)
            } else {
                writeln!(
                    o,
                    "room       {mm:.0} mm from the flange to {what} (wanted {:.0} mm){verdict}",
                    k.keep_out.wanted_mm
                )
            };
        }
    }
    if let Some(e) = &r.enclosure {
        e.words(&mut o);
    }
    let pieces = |rim: bool, what: &str| {
        let minutes: Vec<f64> = (r.fit_check.iter())
            .filter(|p| p.name.starts_with("fit-rim") == rim)
            .map(|p| p.print_estimate_min)
            .collect();
        let most = minutes.iter().copied().fold(0.0, f64::max).ceil();
        (!minutes.is_empty())
            .then(|| format!("{} of {what}, each at most {most:.0} min to print", count(minutes.len())))
    };
    let pieces: Vec<String> = [pieces(true, "the rim"), pieces(false, "ribs")].into_iter().flatten().collect();
    if !pieces.is_empty() {
        let _ = writeln!(o, "fit check  {} (estimates)", pieces.join(", and "));
    }
    o
}
