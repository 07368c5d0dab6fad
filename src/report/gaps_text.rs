//! The gap report for a terminal.
use super::gaps_next::leaks;
use super::{GapsReport, RimReport};
use crate::gap::{Gasket, Registration, Seat};
use std::fmt::Write;

impl GapsReport {
    /// A short summary for a terminal.
    pub fn to_text(&self) -> String {
        let mut o = String::new();
        if let Some(p) = &self.scanned_part {
            let _ = writeln!(
                o,
                "part       {:.6} mm per unit of its scan, standard uncertainty {:.2} %; rim {:.1} x {:.1} mm",
                p.mm_per_unit,
                100.0 * p.relative_uncertainty,
                p.size_mm[0],
                p.size_mm[1]
            );
        }
        if let Some(r) = &self.registration {
            found_words(r, &mut o);
        }
        let _ = writeln!(
            o,
            "doubt      at most +- {:.2} mm on a gap (twice its standard uncertainty, where that is greatest)",
            2.0 * self.gap.standard_uncertainty_mm
        );
        if let Some(s) = &self.sag {
            let _ = writeln!(
                o,
                "sag        estimated {:.1} mm standing still for {:.0} kg; the concave makes the section {:.2} times as stiff as a flat one",
                s.sag_mm, s.weight.mass_kg, s.concave_ratio
            );
        }
        for (i, r) in self.rims.iter().enumerate() {
            if self.rims.len() > 1 {
                let _ = writeln!(o, "rim {:<6} {:.0} mm round, {:.0} mm wide", i + 1, r.rim.length_mm, r.rim.width_mm);
            }
            rim_words(r, &self.gasket, &mut o);
        }
        o
    }
}

fn found_words(r: &Registration, o: &mut String) {
    let border =
        r.border_rms_mm.map_or("no border found".into(), |b| format!("border {b:.2} mm rms from the footprint's"));
    let _ = writeln!(
        o,
        "found      face {:.2} mm rms, 95 % within {:.2} mm of the mating face; {border}",
        r.residual_rms_mm, r.residual_p95_mm
    );
    for f in &r.freedoms {
        let _ = writeln!(
            o,
            "  {:<36} +- {:.3} {}; {}",
            f.name,
            f.standard_error,
            f.unit,
            if f.weak {
                "held by the rim's border alone".into()
            } else {
                format!("moving the rim by 1 mm that way changes the gap by {:.2} mm", f.held_by_face_ratio)
            }
        );
    }
}

/// A share in words. A single place of a long rim is not rounded away, neither as what there is nor as what is lacking.
pub(super) fn share_words(ratio: f64) -> String {
    match 100.0 * ratio {
        p if p > 0.0 && p < 1.0 => "below 1 %".into(),
        p if p > 99.0 && p < 100.0 => "over 99 %".into(),
        p => format!("{p:.0} %"),
    }
}
/// What the gasket does round a rim, in a sentence.
pub(super) fn seal_words(r: &RimReport) -> String {
    let g = &r.gasket;
    let rides = [("jumping", &r.jumping), ("standing", &r.standing)];
    let ridden = rides.iter().find_map(|(how, ride)| Some((how, ride.as_ref().map(leaks).filter(|l| *l > 0.0)?)));
    let ridden = ridden.map_or(String::new(), |(how, l)| {
        format!("; but with the rider {how} {} of it opens (estimate)", share_words(l))
    });
    if g.sealed_for_sure {
        return format!("sealed all round at rest, and still sealed within the doubt{ridden}");
    }
    if g.sealed_all_round {
        return format!("sealed all round at rest, but within the doubt some places may not be{ridden}");
    }
    let s = &g.shares;
    let parts = [
        ("open", s.open_ratio),
        ("light", s.light_ratio),
        ("sealed", s.sealed_ratio),
        ("hard", s.hard_ratio),
        ("clashing", s.clash_ratio),
    ];
    let said: Vec<String> =
        parts.iter().filter(|p| p.1 > 0.0).map(|(name, ratio)| format!("{name} {}", share_words(*ratio))).collect();
    let why = if !r.rim.closed {
        "; the rim does not run all round"
    } else if r.rim.missing_ratio > 0.0 {
        "; parts of the rim are missing in the mesh"
    } else {
        ""
    };
    format!("not sealed all round: {} of the rim{why}", said.join(", "))
}
/// Which strip would seal, in a sentence.
pub(super) fn strip_words(r: &RimReport, gasket: &Gasket) -> String {
    let g = &r.gasket;
    let (Some(thin), Some(drawn)) = (g.thinnest_usual_mm, g.drawn_mm) else {
        return format!(
            "none on the usual list spans gaps that differ this much (it would have to bear {:.0} to {:.0} % of squeeze at once)",
            100.0 * gasket.least_ratio,
            100.0 * gasket.most_ratio
        );
    };
    let moved =
        if drawn >= 0.0 { format!("{drawn:.1} mm nearer to") } else { format!("{:.1} mm farther from", -drawn) };
    let sure = match g.thinnest_usual_with_doubt_mm {
        Some(t) if t == thin => "also within the doubt".into(),
        Some(t) => format!("{t} mm to be sure of it"),
        None => "no usual strip is sure to".into(),
    };
    format!("{thin} mm is the thinnest that would seal, with the rim {moved} the deck than given; {sure}")
}

fn rim_words(r: &RimReport, gasket: &Gasket, o: &mut String) {
    let _ = writeln!(o, "gasket     {} mm: {}", gasket.thickness_mm, seal_words(r));
    let _ = writeln!(o, "strip      {}", strip_words(r, gasket));
    let c = &r.clamp;
    let places = if c.screws == 0 { "taken as every" } else { "at most" };
    let _ = writeln!(
        o,
        "screws     {places} {:.0} mm along the rim; estimated {:.0} to {:.0} N each, {:.0} N all round, to press the foam by the {:.0} % that are drawn",
        c.pitch_mm,
        c.force_per_screw_n[0],
        c.force_per_screw_n[2],
        r.gasket.ideal_force_n,
        100.0 * r.drawn_squeeze_ratio
    );
    let seat = match c.seat {
        Seat::Closed => "stays closed between screws by itself",
        Seat::ClosedByWall => "stays closed between screws, but only with the wall's help",
        Seat::Opens => "opens between screws",
    };
    let longest = if c.longest_pitch_mm > 0.0 {
        format!("by itself it would do with screws up to {:.0} mm apart", c.longest_pitch_mm)
    } else {
        "by itself it would do with no distance of screws".into()
    };
    let with_wall = c.opening_with_wall_mm.map_or(String::new(), |w| format!(", {w:.2} mm with the wall"));
    let _ =
        writeln!(o, "flange     {seat}: estimated {:.2} mm wider there by itself{with_wall}; {longest}", c.opening_mm);
    if let Some(l) = &r.lands {
        let at = |word: &str, mm: Option<f64>| mm.map_or(String::new(), |mm| format!(", {word} {mm:.1} mm"));
        let _ = writeln!(
            o,
            "lands      {:.1} mm off the deck at rest{}{} (estimates; below 0 they press into it)",
            l.rest_mm,
            at("standing", l.standing_mm),
            at("jumping", l.jumping_mm)
        );
    }
    for (word, s) in [("standing", &r.standing), ("jumping", &r.jumping)] {
        if let Some(s) = s {
            let _ = writeln!(
                o,
                "{word:<10} {}estimated gaps of {:.2} to {:.2} mm under a rigid box, slots {:.1} mm longer than the hole; a box forced to follow is strained {:.2} %",
                match leaks(s) {
                    l if l > 0.0 => format!("NOT SEALED on {} of the rim; ", share_words(l)),
                    _ => "sealed; ".into(),
                },
                s.least_mm,
                s.greatest_mm,
                s.slot_travel_mm,
                100.0 * s.following_strain_ratio
            );
        }
    }
    let g = &r.growth;
    let _ = writeln!(
        o,
        "warmth     {:.0} K more make the rim {:.1} mm longer than the deck under it, or strain it {:.2} % if it is held",
        g.growth.change_k,
        g.length_mm,
        100.0 * g.held_strain_ratio
    );
    if let Some(most) = r.screws.iter().map(|s| s.slot_mm).reduce(f64::max) {
        let _ =
            writeln!(o, "slots      up to {most:.1} mm longer than wide, for slip under the rider and warmth together");
    }
}
