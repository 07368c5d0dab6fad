//! The unrolled rim as plain values for the page.
use super::gaps_next::leaks;
use super::gaps_text::{seal_words, share_words, strip_words};
use super::numbers::ANSWERS;
use super::{GapsReport, Packed, PageCurve, PageData, PageMark, PageNumber, PagePlot, PageZone, RimReport};
use crate::gap::Gasket;

/// Coverage factor of the band: some 95 % for a normal law (JCGM 100, annex G).
const COVERAGE: f64 = 2.0;

/// The gaps at which a gasket is what, from the least gap up.
pub(super) fn zones(g: &Gasket) -> Vec<PageZone> {
    if g.thickness_mm <= 0.0 {
        return Vec::new();
    }
    let at = |squeeze: f64| Some(g.thickness_mm * (1.0 - squeeze));
    let ends = [None, Some(0.0), at(g.most_ratio), at(g.least_ratio), at(0.0), None];
    ["clash", "hard", "sealed", "light", "open"]
        .iter()
        .enumerate()
        .map(|(i, name)| PageZone { name: (*name).into(), above: ends[i], below: ends[i + 1] })
        .collect()
}

fn plot(report: &GapsReport, rim: &RimReport, file: &str) -> PagePlot {
    let runs = rim.rim.runs();
    // a place without rim breaks every curve
    let broken = |f: &dyn Fn(usize) -> f64| {
        let mut out = Vec::new();
        for run in &runs {
            if !out.is_empty() {
                out.push(f64::NAN);
            }
            out.extend(run.clone().map(f));
        }
        Packed(out)
    };
    let stations = &rim.rim.stations;
    let curve = |name: &str, y: &dyn Fn(usize) -> f64, band: Packed| PageCurve {
        name: name.into(),
        x: broken(&|i| stations[i].along_mm),
        y: broken(y),
        band,
    };
    let band = broken(&|i| COVERAGE * stations[i].standard_uncertainty_mm);
    let mut curves = vec![curve("at rest", &|i| stations[i].gap_mm, band)];
    for (name, ride) in [("standing, estimated", &rim.standing), ("jumping, estimated", &rim.jumping)] {
        curves.extend(ride.as_ref().map(|r| curve(name, &|i| r.stations[i].gap_mm, Packed::default())));
    }
    let mark = |s: &super::ScrewReport| PageMark { name: format!("screw {}", s.number), at: s.along_mm };
    PagePlot {
        title: "Gap round the rim".into(),
        about: "The rim unrolled, from the nose's side counter-clockwise as seen from the underside. The band is twice the standard uncertainty.".into(),
        from: format!("{file} rims[0].stations"),
        along: "along the rim, mm".into(),
        up: "gap".into(),
        unit: "mm".into(),
        curves,
        zones: zones(&report.gasket),
        marks: rim.screws.iter().map(mark).collect(),
    }
}

fn numbers(rim: &RimReport, gasket: &Gasket, file: &str) -> Vec<PageNumber> {
    let number = |group: &str, name: &str, value: String, meaning: &str, from: &str| PageNumber {
        group: group.into(),
        name: name.into(),
        value,
        meaning: meaning.into(),
        from: format!("{file} rims[0].{from}"),
        ..PageNumber::default()
    };
    let c = &rim.clamp;
    let mut out = vec![
        number(
            "Screws and gasket",
            "Gasket",
            seal_words(rim),
            "At rest, by the mean gap under the strip at each place; the band of doubt is twice the standard uncertainty.",
            "gasket",
        ),
        number(
            "Screws and gasket",
            "Strip",
            strip_words(rim, gasket),
            "The screws draw the rim so that the middle of its gaps squeezes the strip best.",
            "gasket.thinnest_usual_mm",
        ),
        number(
            "Screws and gasket",
            "Force of a screw",
            format!("{:.0} to {:.0} N", c.force_per_screw_n[0], c.force_per_screw_n[2]),
            "Estimated for the range of the foam's grade, at the longest piece of gasket.",
            "clamp.force_per_screw_n",
        ),
        number(
            "Screws and gasket",
            "Between two screws",
            match c.opening_with_wall_mm {
                Some(w) => format!("{:.2} mm wider, {w:.2} mm with the wall", c.opening_mm),
                None => format!("{:.2} mm wider", c.opening_mm),
            },
            "Estimated bending in the middle of the longest span: of the flange alone, and helped by its wall.",
            "clamp.opening_mm",
        ),
        number(
            "Screws and gasket",
            "Longest pitch",
            format!("{:.0} mm", c.longest_pitch_mm),
            "Farther apart, the flange alone would let the gasket go; estimated.",
            "clamp.longest_pitch_mm",
        ),
        number(
            "Under the rider",
            "Growth in warmth",
            format!("{:.1} mm", rim.growth.length_mm),
            "How much longer than the deck the rim grows, end to end; estimated.",
            "growth.length_mm",
        ),
    ];
    for (name, ride) in [("Standing", &rim.standing), ("Jumping", &rim.jumping)] {
        out.extend(ride.as_ref().map(|r| {
            number(
                "Under the rider",
                name,
                match leaks(r) {
                    l if l > 0.0 => format!(
                        "NOT SEALED on {} of the rim: {:.1} to {:.1} mm",
                        share_words(l),
                        r.least_mm,
                        r.greatest_mm
                    ),
                    _ => format!("sealed: {:.1} to {:.1} mm", r.least_mm, r.greatest_mm),
                },
                "Estimated gaps under a box that does not bend.",
                &name.to_lowercase(),
            )
        }));
    }
    out
}

fn sealed(rim: &RimReport, file: &str) -> PageNumber {
    PageNumber {
        name: "Sealed".into(),
        value: if rim.gasket.sealed_all_round {
            let leaking = |r: &Option<crate::gap::RideReport>| r.as_ref().is_some_and(|r| leaks(r) > 0.0);
            match (leaking(&rim.standing), leaking(&rim.jumping)) {
                (true, _) => "at rest only, not under the rider".into(),
                (false, true) => "all round, but not in a jump".into(),
                _ => "all round".into(),
            }
        } else {
            share_words(rim.gasket.shares.sealed_ratio)
        },
        uncertainty: if rim.gasket.sealed_for_sure { "within the doubt too".into() } else { String::new() },
        from: format!("{file} rims[0].gasket"),
        ..PageNumber::default()
    }
}

impl PageData {
    /// Adds the largest rim of `report`, unrolled, and the verdicts to the gap's own colours; `file` is where the report's own
    /// JSON is written.
    pub fn add_rim(&mut self, report: &GapsReport, file: &str) {
        let Some(rim) = report.rims.first() else { return };
        self.rim = Some(plot(report, rim, file));
        self.numbers.extend(numbers(rim, &report.gasket, file));
        // among the first questions is whether it seals: the second on the deck's page, the first on that of a gap map
        let answers = self.headline.iter().filter(|n| n.group == ANSWERS).count();
        let group = if answers > 0 { ANSWERS.into() } else { String::new() };
        self.headline.insert(answers.min(1), PageNumber { group, ..sealed(rim, file) });
        for layer in self.layers.iter_mut().filter(|l| l.key == "gap") {
            layer.zones = zones(&report.gasket);
            // shares of all that faces the deck stand beside those of the rim as if they were the same
            self.headline.retain(|n| n.name != "Open" && n.name != "Clashing");
        }
    }
}
