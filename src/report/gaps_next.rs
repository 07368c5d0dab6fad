//! What a gap's verdicts ask the builder to do next.
use super::RimReport;
use super::gaps_text::{seal_words, share_words, strip_words};
use crate::error::{Stage, Warning};
use crate::gap::{Gasket, RideReport, Seat, USUAL_MM};

/// A warning for each thing that keeps the rims from closing, with the next step; `drawn` is the squeeze that the board file asks for.
pub(super) fn next_steps(rims: &[RimReport], gasket: &Gasket, drawn: Option<f64>) -> Vec<Warning> {
    let mut w = Vec::new();
    let mut add = |message: String, hint: String| w.push(Warning::new(Stage::Gap, message, hint));
    if let Some(s) = drawn.filter(|s| gasket.thickness_mm > 0.0 && !(gasket.least_ratio < *s && *s < gasket.most_ratio)) {
        let percent = |r: f64| 100.0 * r;
        add(
            format!(
                "a squeeze of {:.0} % leaves nothing for the doubt: the foam seals between {:.0} and {:.0} %",
                percent(s),
                percent(gasket.least_ratio),
                percent(gasket.most_ratio)
            ),
            format!("write enclosure.squeeze = \"{:.0} %\"", percent(gasket.ideal_ratio)),
        );
    }
    for r in rims {
        let g = &r.gasket;
        if !g.sealed_all_round {
            let hint = match g.thinnest_usual_mm {
                Some(_) => format!("change the strip: {}", strip_words(r, gasket)),
                None => "draw the rim on mating-face.step, which follows the deck, and map the gap again before the long print: no usual strip spans gaps that differ this much".into(),
            };
            add(format!("the {} mm gasket is {}", gasket.thickness_mm, seal_words(r)), hint);
        }
        if r.clamp.seat == Seat::Opens {
            let hint = if r.clamp.longest_pitch_mm > 0.0 {
                format!(
                    "set screws at most {:.0} mm apart along the rim (screws.pitch), or make the flange thicker (enclosure.flange_thickness)",
                    r.clamp.longest_pitch_mm
                )
            } else {
                "no pitch would do: make the flange thicker (enclosure.flange_thickness), squeeze more (enclosure.squeeze), or take a softer foam (gasket.grade)".into()
            };
            add(
                format!(
                    "the flange bends up between screws: estimated {:.1} mm wider there with screws {:.0} mm apart",
                    r.clamp.opening_mm, r.clamp.pitch_mm
                ),
                hint,
            );
        }
        // the jump's gaps are the standing ones and more
        let rides = [("jumping", &r.jumping), ("standing still", &r.standing)];
        let worst = rides.iter().find_map(|(how, ride)| Some((how, ride.as_ref().filter(|x| leaks(x) > 0.0)?)));
        if let Some((how, ride)) = worst {
            add(leak_words(how, ride, gasket), what_would_seal(r, gasket));
        }
        let worst = rides.iter().find_map(|(how, ride)| Some((how, ride.as_ref().filter(|x| x.least_mm < 0.0)?)));
        if let Some((how, ride)) = worst {
            add(
                format!("with the rider {how} the deck would press {:.1} mm past the rim, by the estimate", -ride.least_mm),
                "take a thicker gasket, or a shorter enclosure; a rim that touches takes the deck's bending on its screws".into(),
            );
        }
        if let Some(l) = &r.lands {
            let hit = [("jumping", l.jumping_mm), ("standing still", l.standing_mm), ("not on the board", Some(l.rest_mm))];
            if let Some((how, by)) = hit.into_iter().find_map(|(how, mm)| Some((how, mm.filter(|mm| *mm < 0.0)?))) {
                add(
                    format!("with the rider {how} the lands beside the strip press {:.1} mm into the deck, by the estimate", -by),
                    format!(
                        "make enclosure.land {:.1} mm larger, with enclosure.gasket as much thicker; or make the enclosure shorter",
                        (-10.0 * by).ceil() / 10.0
                    ),
                );
            }
        }
        let short = |s: &&super::ScrewReport| s.slot_mm - s.made_slot_mm - s.play_mm;
        let tight = r.screws.iter().max_by(|a, b| short(a).total_cmp(&short(b))).filter(|s| short(s) > 0.0);
        if let Some(s) = tight {
            add(
                format!(
                    "screw {} binds as the deck bends and warms: its hole should be {:.1} mm longer than wide along the board, and is {}, with {:.1} mm of play",
                    s.number,
                    s.slot_mm,
                    if s.made_slot_mm > 0.0 { format!("{:.1} mm longer", s.made_slot_mm) } else { "round".into() },
                    s.play_mm
                ),
                format!("write screws.slip = \"{:.1} mm\", or take screws.fit = \"coarse\" for more play", (10.0 * s.slot_mm).ceil() / 10.0),
            );
        }
    }
    w
}

/// Share of a rim that lets water through under the rider.
pub(super) fn leaks(r: &RideReport) -> f64 {
    r.shares.open_ratio + r.shares.light_ratio
}
fn leak_words(how: &str, ride: &RideReport, gasket: &Gasket) -> String {
    format!(
        "NOT SEALED under the rider: {how}, {} of the rim opens or is pressed too little, by the estimate for a box that does not bend: gaps of \
         {:.1} to {:.1} mm, where the {} mm strip seals from {:.1} to {:.1} mm",
        share_words(leaks(ride)),
        ride.least_mm,
        ride.greatest_mm,
        gasket.thickness_mm,
        gasket.thickness_mm * (1.0 - gasket.most_ratio),
        gasket.thickness_mm * (1.0 - gasket.least_ratio)
    )
}

/// What would stay sealed under the rider: a strip that spans the gaps, or how short a box would do with this one.
fn what_would_seal(r: &RimReport, gasket: &Gasket) -> String {
    let rest = r.rim.stations.iter().map(|s| s.gap_mm);
    let ridden = [&r.standing, &r.jumping].into_iter().flatten().flat_map(|x| x.stations.iter().map(|s| s.gap_mm));
    let (low, high) = rest.clone().chain(ridden).fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), g| (l.min(g), h.max(g)));
    let mean = rest.clone().sum::<f64>() / r.rim.stations.len().max(1) as f64;
    let window = gasket.most_ratio - gasket.least_ratio;
    let strip = USUAL_MM.into_iter().find(|t| high - low <= t * window).and_then(|t| {
        // the middle of all gaps comes to the middle of what seals
        let gap = t * (1.0 - (gasket.most_ratio + gasket.least_ratio) / 2.0) + mean - (low + high) / 2.0;
        let squeeze = 1.0 - gap / t;
        (squeeze > gasket.least_ratio && squeeze < gasket.most_ratio).then(|| {
            format!("take a strip of {t} mm and squeeze it by {:.0} % (enclosure.gasket, enclosure.squeeze)", 100.0 * squeeze)
        })
    });
    let (lo, hi) = r.rim.stations.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), s| (l.min(s.x_mm), h.max(s.x_mm)));
    // what opens and presses goes with the square of the length
    let shorter = (hi - lo + r.rim.width_mm) * (gasket.thickness_mm * window / (high - low)).min(1.0).sqrt();
    let strip = strip.unwrap_or_else(|| "no strip on the usual list spans this".into());
    format!(
        "{strip}; or make the box shorter, some {:.0} mm would do with this strip; a box thin enough to bend with the deck opens less",
        (shorter / 10.0).floor() * 10.0
    )
}
