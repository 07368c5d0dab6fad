//! The figures on the page, in words.
use super::text::source_words;
use super::{PageNumber, Report};
use crate::frame::TapeVerdict;
use crate::num::{median, shown};

fn number(group: &str, name: &str, value: String, uncertainty: String, meaning: &str, from: &str) -> PageNumber {
    PageNumber {
        group: group.into(),
        name: name.into(),
        value,
        uncertainty,
        meaning: meaning.into(),
        from: format!("report.json, {from}"),
    }
}

/// What a builder asks first, then the few figures printed large.
pub(super) fn headline(r: &Report) -> Vec<PageNumber> {
    let all = numbers(r);
    let want = ["Length", "Width", "Concave at mid length", "Scatter of the scan"];
    answers(r).into_iter().chain(want.iter().filter_map(|w| all.iter().find(|n| n.name == *w)).cloned()).collect()
}

/// Group of the figures that answer a builder's first questions.
pub(super) const ANSWERS: &str = "Answers";

/// Whether the enclosure fits, whether it can be printed where a printer is known, what to measure next; whether it seals is added with its rim.
fn answers(r: &Report) -> Vec<PageNumber> {
    let of = |name: &str, value: String, from: &str| number(ANSWERS, name, value, String::new(), "", from);
    let fits = r.mating.as_ref().map(|m| {
        let rooms = m.rooms.iter().filter(|k| !k.free).count();
        let own = r
            .enclosure
            .as_ref()
            .map_or(0, |e| e.clearances.iter().filter(|c| !c.met).count() + e.parts.iter().filter(|p| !p.fits).count());
        let value = match rooms + own {
            0 => "yes".into(),
            1 => "NO: 1 place is too tight".into(),
            n => format!("NO: {n} places are too tight"),
        };
        of("Does it fit?", value, "mating.rooms, enclosure")
    });
    let prints = r.enclosure.as_ref().filter(|e| !e.prints.is_empty()).map(|e| {
        let large = e.prints.iter().filter(|p| !p.way.fits_bed).count();
        let value = match (e.prints.len(), large) {
            (1, 0) => "yes, in one piece".into(),
            (n, 0) => format!("yes, in {n} pieces"),
            (n, large) => format!("NO: {large} of {n} pieces are larger than the bed"),
        };
        of("Can it be printed?", value, "enclosure.prints")
    });
    let next = if r.tape.contradicts() {
        "width and length again".to_owned()
    } else if r.deck.thickness_assumed {
        "the deck's thickness".to_owned()
    } else {
        let name = r.tape.next_reading.as_ref().and_then(|n| n.name.split(',').next());
        name.unwrap_or("nothing more").to_owned()
    };
    let next = of("What to measure next?", next, "tape");
    fits.into_iter().chain(prints).chain([next]).collect()
}

/// How sure the outline is.
fn rail(r: &Report) -> Option<PageNumber> {
    let errors: Vec<f64> = r.outline.found.rail.iter().map(|e| e.standard_error_mm).collect();
    let most = errors.iter().copied().reduce(f64::max)?;
    Some(number(
        "Outline",
        "Standard error",
        format!("{:.2} mm, {most:.2} mm at worst", median(&errors)),
        String::new(),
        "How far the outline may be off, square to the rail; the curve along the board is shown with the photo.",
        "outline.rail",
    ))
}

/// The tape's readings, and the one that would help most.
fn tape(r: &Report) -> Vec<PageNumber> {
    let of = |name: &str, value: String, meaning: &str| number("Size", name, value, String::new(), meaning, "tape");
    let read = r.tape.readings.iter().map(|t| {
        let meaning = match (t.verdict(), t.slip_seen_mm) {
            (TapeVerdict::Agrees, Some(mm)) => format!("By tape. It agrees: a slip of {mm:.0} mm or more would show."),
            (TapeVerdict::Agrees, None) => "By tape. It agrees.".to_owned(),
            (TapeVerdict::Contradicts, _) => {
                "By tape. It CONTRADICTS what scan, photo and the other readings say.".to_owned()
            }
            (TapeVerdict::CannotBeChecked, Some(mm)) => {
                format!("By tape; cannot be checked: only a slip of {mm:.0} mm or more would show.")
            }
            (TapeVerdict::CannotBeChecked, None) => {
                "By tape; cannot be checked, nothing else measures the size.".to_owned()
            }
        };
        let off = t.slip_seen_mm.map_or(String::new(), |_| format!(", {:+.1} mm off", shown(t.against_rest_mm, 1)));
        of(&format!("Tape, {}", t.name), format!("{:.1} mm{off}", t.reading_mm), &meaning)
    });
    let unused = (r.tape.unused.iter())
        .map(|u| of(&format!("Tape, {}", u.name), format!("{:.1} mm, not used", u.reading_mm), &u.why));
    let next = r.tape.next_reading.iter().map(|n| {
        let mm = |relative: f64| relative * r.outline.length_mm;
        let meaning = format!("{}: how sure the size is over the board's length, now and with it.", n.name);
        of(
            "Reading that would help most",
            format!("± {:.1} to ± {:.1} mm", mm(n.relative_now), mm(n.relative_then)),
            &meaning,
        )
    });
    read.chain(unused).chain(next).collect()
}

/// All of them.
pub(super) fn numbers(r: &Report) -> Vec<PageNumber> {
    let relative = r.scale.standard_uncertainty / r.scale.mm_per_unit;
    let by = |mm: f64| format!("± {mm:.1} mm");
    let none = String::new;
    let o = &r.outline;
    let mut n = vec![
        number(
            "Size",
            "Length",
            format!("{:.1} mm", o.length_mm),
            by(o.length_uncertainty_mm),
            "Over all, in plan; the standard uncertainty if the tape was read right.",
            "outline.length_mm",
        ),
        number(
            "Size",
            "Width",
            format!("{:.1} mm", o.width_mm),
            by(o.width_uncertainty_mm),
            "Rail to rail at the widest place.",
            "outline.width_mm",
        ),
        number(
            "Size",
            "Thickness",
            format!("{:.1} mm", r.deck.thickness_mm),
            none(),
            if r.deck.thickness_assumed {
                "ASSUMED: nobody measured it. Measure it at a truck hole and write deck.thickness."
            } else {
                "As given in the board file."
            },
            "deck.thickness_mm",
        ),
        number(
            "Size",
            "Scale",
            format!("{:.5} mm per scan unit", r.scale.mm_per_unit),
            format!("± {:.2} %", 100.0 * relative),
            "What the scan is multiplied by; its doubt is a doubt about every length.",
            "scale",
        ),
    ];
    n.extend(tape(r));
    n.extend([
        number(
            "Shape",
            "Rise of the centre line",
            format!("{:.1} mm", r.deck.centre_line_rise_mm),
            none(),
            "Highest less lowest place between 5 % and 95 % of the length.",
            "deck.centre_line_rise_mm",
        ),
        number(
            "Shape",
            "Concave at mid length",
            format!("{:+.1} mm", shown(r.deck.concave_at_mid_length_mm, 1)),
            none(),
            "Middle against the rails, on the upturned board: + is a belly towards the ground when ridden.",
            "deck.concave_at_mid_length_mm",
        ),
        number(
            "Outline",
            "Taken",
            source_words(o.source).into(),
            none(),
            "A photo shows the rail itself; a scan loses its edge.",
            "outline.source",
        ),
    ]);
    if let (Some(px), Some(mm)) = (o.found.residual_px, o.found.residual_mm) {
        n.push(number(
            "Outline",
            "Rail in the photo",
            format!("{mm:.2} mm rms ({px:.2} px)"),
            none(),
            "Scatter of the edge about the fitted line.",
            "outline.residual_mm",
        ));
        n.push(number(
            "Outline",
            "Hidden rail",
            format!("{:.0} %", 100.0 * o.found.bridged_ratio),
            none(),
            "Share behind wheels or shadows, bridged.",
            "outline.bridged_ratio",
        ));
    }
    n.extend(rail(r));
    for p in &o.found.photos {
        n.push(number(
            "Outline",
            &format!("Camera of photo {}", p.number),
            format!("{:.0} px focal length, {:.0} mm away", p.focal_px, p.distance_mm),
            none(),
            if p.shows_underside { "Found with the outline." } else { "Found with the outline; shows the top side." },
            &format!("outline.photos, number {}", p.number),
        ));
    }
    if let Some(h) = &o.found.bolt_holes {
        n.push(number(
            "Outline",
            "Truck bolt holes",
            format!("{:.1} x {:.1} mm, {:.1} mm apart", h.found_mm[0], h.found_mm[1], h.apart_mm),
            format!("{:.1} %", 100.0 * h.size_ratio_sd),
            &format!(
                "A check of the scale that nothing uses: a pattern of {} x {} mm comes out {:+.1} % off, which {}.",
                h.pattern_mm[0],
                h.pattern_mm[1],
                100.0 * (h.size_ratio - 1.0),
                if h.agrees { "agrees" } else { "contradicts it" }
            ),
            "outline.bolt_holes",
        ));
    }
    let s = &r.surface;
    n.extend([
        number(
            "Underside",
            "Scatter of the scan",
            format!("{:.2} mm rms", s.residual_rms_mm),
            none(),
            "Noise of the scan's points about the surface, not the surface's own error.",
            "surface.residual_rms_mm",
        ),
        number(
            "Underside",
            "95 % of points within",
            format!("{:.2} mm", s.residual_p95_mm),
            none(),
            "Of the surface.",
            "surface.residual_p95_mm",
        ),
        number(
            "Underside",
            "Standard error",
            format!("{:.2} mm", s.standard_error_mm),
            none(),
            "How well the surface is known: the median over the board, apart from the scale.",
            "surface.standard_error_mm",
        ),
        number(
            "Underside",
            "Control points",
            format!("{} × {}", s.control_points[0], s.control_points[1]),
            none(),
            "Of the one spline face in the STEP files, after knots were taken out that change it by no more than 0.02 mm.",
            "surface.control_points",
        ),
        number("Scan", "Points read", r.frame.points.to_string(), none(), "In the scan's file.", "frame.points"),
        number(
            "Scan",
            "Kept as underside",
            r.frame.sheet_points.to_string(),
            none(),
            "The rest was taken away.",
            "frame.sheet_points",
        ),
        number(
            "Scan",
            "Floor",
            r.frame.floor_points.to_string(),
            none(),
            "Points taken away as floor.",
            "frame.floor_points",
        ),
        number(
            "Scan",
            "Standing on the board",
            r.frame.standing_points.to_string(),
            none(),
            "Points of trucks and wheels, taken away.",
            "frame.standing_points",
        ),
        number(
            "Scan",
            "Other points",
            r.frame.other_points.to_string(),
            none(),
            "Stand, sides and floaters, taken away.",
            "frame.other_points",
        ),
    ]);
    n.extend(r.joined.iter().map(|j| {
        number(
            "Scan",
            &format!("Scan {} laid on the others", j.scan),
            format!("{:.0} % overlap, {:.2} mm rms", 100.0 * j.overlap_ratio, j.residual_rms_mm),
            format!("± {:.1} mm", j.standard_error_mm),
            "Overlap as a share of the shorter scan, how far both lie apart there, and the doubt of the place held least.",
            &format!("joined, scan {}", j.scan),
        )
    }));
    if let Some(m) = &r.mating {
        n.extend(m.rooms.iter().map(|k| {
            number(
                "Room",
                &k.keep_out.name,
                format!("{:.0} mm{}", shown(k.distance_mm, 0), if k.free { "" } else { ", TOO LITTLE" }),
                none(),
                &format!("From the flange's border; {:.0} mm are wanted.", k.keep_out.wanted_mm),
                "mating.rooms",
            )
        }));
        n.push(number(
            "Mating face",
            "Distance from the deck",
            format!("{:.2} mm", m.standoff_mm),
            none(),
            "The squeezed gasket.",
            "mating.standoff_mm",
        ));
        n.push(number(
            "Mating face",
            "Gasket",
            format!("{:.1} mm squeezed by {:.0} %", m.gasket_mm, 100.0 * m.squeeze_ratio),
            none(),
            "Free thickness, and how much of it the screws press away.",
            "mating",
        ));
        n.push(number(
            "Mating face",
            "Scale at its rim",
            format!("{:.2} mm along, {:.2} mm in height", m.scale_uncertainty_along_mm, m.scale_uncertainty_height_mm),
            none(),
            "What the scale's standard uncertainty means for the rim's ends and for its gap.",
            "mating",
        ));
    }
    n
}
