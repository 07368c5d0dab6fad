//! The body in parts that a small printer makes, each as it stands on the bed.
use super::bed::{PrintWay, fits, ways};
use super::joint::{self, Joint, JointKind, LEAST_FOR_TONGUE_MM, MOVE_MM};
use super::{Enclosure, fail, mesh_of, meshed, strap};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Brep, TriMesh};
use crate::tolerance::CHORD_MM;

/// The printer, and how a body that is too long for it is cut.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrinterSpec {
    /// Width, depth and height that it prints, mm.
    pub bed_mm: [f64; 3],
    /// How parts meet.
    pub joint: JointKind,
    /// Whether no part may have layers across the board's bending, even if that takes more parts.
    pub layers_along: bool,
}
/// A part to print.
#[derive(Debug, Clone)]
pub struct PrintPart {
    /// Its name, also of its files.
    pub name: String,
    /// The solid, mm, deck frame.
    pub solid: Brep,
    /// The mesh as it stands on the bed: z up from it, mm.
    pub mesh: TriMesh,
    /// Figures of the print.
    pub figures: PrintFigures,
}
impl PrintPart {
    /// Its mesh as it stands on the bed, with chords within `chord_mm`.
    ///
    /// # Errors
    /// Borders that cross.
    pub fn mesh_within(&self, chord_mm: f64) -> Result<TriMesh> {
        if chord_mm == CHORD_MM {
            return Ok(self.mesh.clone());
        }
        Ok(self.figures.way.stands_on.stood(&meshed(&self.solid, chord_mm / 2.0)?))
    }
}
/// Figures of a print.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PrintFigures {
    /// Name of the part.
    pub name: String,
    /// The way it stands in its files.
    #[serde(flatten)]
    pub way: PrintWay,
    /// The other ways, the better first.
    pub other_ways: Vec<PrintWay>,
}

/// More parts than the fewest that might fit are tried up to this many: a joint that moves off a screw may take one more.
const MORE_PARTS: usize = 3;
/// A part shorter than this is no part of a box, mm: it would be joint from end to end.
const LEAST_PART_MM: f64 = 3.0 * strap::LAP_MM;

/// Less than this on the bed breaks loose in print, mm2 (common practice, no source).
const LEAST_ON_BED_MM2: f64 = 400.0;

/// The parts of `e` for the printer: the body whole when it fits, else cut across into as few as fit, each end to end with a
/// strap.
///
/// # Errors
/// A body too wide or deep for the bed, or no place for a joint between the screws.
pub fn make_parts(e: &Enclosure, printer: &PrinterSpec) -> Result<Warned<Vec<PrintPart>>> {
    let (lo, hi) = e.bounds();
    let size = [0, 1, 2].map(|k| hi[k] - lo[k]);
    let may_fit = |count: usize| {
        let [length, width, height] = [size[0] / count as f64, size[1], size[2]];
        fits([length, width, height], printer.bed_mm)
            || (!printer.layers_along && fits([width, height, length], printer.bed_mm))
    };
    let most = (size[0] / LEAST_PART_MM).max(1.0) as usize;
    let Some(fewest) = (1..=most).find(|n| may_fit(*n)) else {
        return Err(fail(
            format!(
                "a section of {:.1} x {:.1} mm does not stand on a bed of {:.0} x {:.0} mm",
                size[1], size[2], printer.bed_mm[0], printer.bed_mm[1]
            ),
            "make enclosure.inset larger or enclosure.depth smaller, or take printer.bed out to get the body in one piece",
        ));
    };
    let mut first: Option<Error> = None;
    for count in fewest..=fewest + MORE_PARTS {
        match in_parts(e, printer, count) {
            Ok(made) => return Ok(made),
            Err(fault) => first = first.or(Some(fault)),
        }
    }
    Err(first.unwrap_or_else(|| fail("no part can be made".into(), "give a larger printer.bed")))
}

fn in_parts(e: &Enclosure, printer: &PrinterSpec, count: usize) -> Result<Warned<Vec<PrintPart>>> {
    let mut warnings = Vec::new();
    let (lo, hi) = e.bounds();
    let spec = &e.shell.spec;
    let thinnest = (spec.wall_mm * spec.draft.cos()).min(spec.floor_mm);
    let mut kind = printer.joint;
    if count > 1 && kind == JointKind::Tongue && thinnest < LEAST_FOR_TONGUE_MM {
        kind = JointKind::Butt;
        warnings.push(Warning::new(
            Stage::Enclosure,
            format!("walls or floor of {thinnest:.1} mm have no room for a tongue, {LEAST_FOR_TONGUE_MM:.1} mm are needed: the parts are butted"),
            "make enclosure.wall and enclosure.floor thicker, or write printer.joint = \"butt\"",
        ));
    }
    let wanted = |k: usize| lo[0] + (hi[0] - lo[0]) * k as f64 / count as f64;
    // what is left of the body beyond the joints made so far
    let mut rest = e.solid().clone();
    let mut solids = Vec::new();
    let mut joints: Vec<Joint> = Vec::new();
    for k in 1..count {
        let places = joint::places(e, wanted(k));
        let none_free = places.is_empty();
        let halves = |x: f64| {
            let j = joint::at(e, kind, x)?;
            let (before, beyond) = (j.part(&rest, false)?, j.part(&rest, true)?);
            Some((j, before, beyond))
        };
        let Some((j, before, beyond)) = places.into_iter().find_map(halves) else {
            let why = if none_free { "is clear of screws and openings" } else { "has straight enough walls for it" };
            return Err(fail(
                format!(
                    "no place within {} mm of x = {:.0} mm {why}: the body has no joint there",
                    MOVE_MM[0],
                    wanted(k)
                ),
                if none_free {
                    "make screws.pitch larger, or move an opening"
                } else {
                    "write printer.joint = \"butt\", or change enclosure.length by a few mm"
                },
            ));
        };
        solids.push(before);
        joints.push(j);
        rest = beyond;
    }
    solids.push(rest);
    let mut made = Vec::new();
    for (k, mut solid) in solids.into_iter().enumerate() {
        solid.name = format!("enclosure-part-{}", k + 1);
        made.push(print(solid, printer, true)?);
    }
    let lining = if joints.is_empty() { None } else { Some(strap::lining(e)?) };
    for (k, (j, lining)) in joints.iter().zip(lining.iter().cycle()).enumerate() {
        let cut = lining.cut(j.x - strap::LAP_MM, true).and_then(|s| s.cut(j.x + strap::LAP_MM, false));
        let mut solid = cut.ok_or_else(|| {
            fail(
                format!("the strap for the joint at x = {:.1} mm cannot be cut", j.x),
                "change enclosure.offset or enclosure.length by a few mm",
            )
        })?;
        solid.name = format!("enclosure-strap-{}", k + 1);
        made.push(print(solid, printer, false)?);
        warnings.extend(lost_to_strap(e, j.x));
    }
    warnings.extend(made.iter().filter_map(|p| supports(&p.figures)));
    Ok(Warned::with(made, warnings))
}

/// Parts inside that the strap at x leaves no room.
fn lost_to_strap(e: &Enclosure, x: f64) -> impl Iterator<Item = Warning> + '_ {
    let lost = strap::TAKEN_MM;
    e.parts
        .iter()
        .filter(move |p| (p.at_mm[0] - x).abs() < p.size_mm[0] / 2.0 + strap::LAP_MM)
        .map(|p| (p, p.height_left_mm.min(p.side_left_mm)))
        .filter(move |(_, left)| *left < lost)
        .map(move |(p, left)| {
            Warning::new(
                Stage::Enclosure,
                format!(
                    "the strap at x = {:.0} mm takes {lost:.1} mm, the part '{}' has {left:.1} mm to spare",
                    x.round() + 0.0, // no minus before nought
                    p.name
                ),
                "make enclosure.depth larger, move the part off the joint, or glue without the strap",
            )
        })
}
/// What is to be known before the print.
fn supports(f: &PrintFigures) -> Option<Warning> {
    if f.way.layers_across_bending {
        return Some(Warning::new(
            Stage::Enclosure,
            format!(
                "'{}' fits the bed only standing on its {}: its layers lie across the board's bending, which pulls them apart",
                f.name,
                f.way.stands_on.name()
            ),
            "write printer.layers = \"along\" under [printer] to cut it into shorter parts that lie",
        ));
    }
    if f.way.bed_contact_mm2 < LEAST_ON_BED_MM2 {
        return Some(Warning::new(
            Stage::Enclosure,
            format!(
                "'{}' touches the bed with {:.0} mm2 only, {:.0} mm2 of it overhang",
                f.name, f.way.bed_contact_mm2, f.way.overhang_mm2
            ),
            "print it on a raft with supports under all of it, or take enclosure.floor_shape = \"flat\"",
        ));
    }
    f.way.thin_support.map(|s| {
        Warning::new(
            Stage::Enclosure,
            format!(
                "'{}' overhangs {:.0} mm2: a support there is {:.0} mm high and {:.1} mm wide, tall and thin",
                f.name, f.way.overhang_mm2, s.height_mm, s.width_mm
            ),
            "let the slicer branch it from the walls or give it a brim",
        )
    })
}

/// A part the way it prints best.
fn print(solid: Brep, printer: &PrinterSpec, mating_face: bool) -> Result<PrintPart> {
    if let Some(first) = solid.faults().first() {
        return Err(fail(
            format!("'{}' is not sound: {first}", solid.name),
            "change enclosure.offset or enclosure.length by a few mm",
        ));
    }
    let mesh = mesh_of(&solid)?;
    let mut other_ways = ways(&mesh, printer.bed_mm, mating_face);
    let way = other_ways.remove(0);
    if !way.fits_bed || (printer.layers_along && way.layers_across_bending) {
        let [w, d, h] = way.size_mm;
        return Err(fail(
            format!("'{}' stands {w:.1} x {d:.1} x {h:.1} mm, more than the bed's", solid.name),
            "make enclosure.length a little smaller, so that a joint fits between the screws",
        ));
    }
    let name = solid.name.clone();
    Ok(PrintPart {
        mesh: way.stands_on.stood(&mesh),
        figures: PrintFigures { name: name.clone(), way, other_ways },
        name,
        solid,
    })
}

#[cfg(test)]
mod tests {
    use super::super::tests::{body, made};
    use super::super::{ScrewSize, StandsOn};
    use super::*;

    const PRINTER: PrinterSpec =
        PrinterSpec { bed_mm: [220.0, 220.0, 250.0], joint: JointKind::Tongue, layers_along: false };

    /// Parts and glue make up the whole: the volumes add up but for the glue's slice, the room round the tongue and the pins;
    /// the tongue reaches past its own joint by its length, into a groove as deep.
    #[test]
    fn halves_make_up_the_body_and_fit_the_bed() {
        let mut spec = body();
        spec.shell.draft = 3.0_f64.to_radians();
        let e = made(500.0, &spec).unwrap().value;
        for kind in [JointKind::Tongue, JointKind::Butt] {
            let m = make_parts(&e, &PrinterSpec { joint: kind, ..PRINTER }).unwrap();
            let [a, b, strap] = m.value.as_slice() else { panic!("{}", m.value.len()) };
            let standing = |p: &PrintPart, on: StandsOn| {
                let w = p.figures.other_ways.iter().find(|w| w.stands_on == on);
                w.unwrap_or(&p.figures.way).clone()
            };
            let reach = |p: &PrintPart, far: fn(f64, f64) -> f64, from: f64| {
                p.solid.vertices.iter().map(|v| v[0]).fold(from, far)
            };
            let (end, begin) = (reach(a, f64::max, f64::MIN), reach(b, f64::min, f64::MAX));
            let x = begin - GLUE_HALF;
            let long = if kind == JointKind::Tongue { 4.0 } else { 0.0 };
            assert!((end - (x - GLUE_HALF + long)).abs() < 1e-9, "{end} {begin}");
            let j = joint::at(&e, kind, x).unwrap();
            let section = e.solid().cut(x, true).unwrap().mesh(0.005).unwrap();
            let section = ways(&section, [1e3; 3], false).into_iter().find(|w| w.stands_on == StandsOn::Tail).unwrap();
            let sum = a.mesh.volume() + b.mesh.volume() + j.missing_mm3(section.bed_contact_mm2);
            assert!((sum / e.volume_mm3() - 1.0).abs() < 3e-4, "{sum} {}", e.volume_mm3());
            for p in [a, b, strap] {
                assert_eq!(p.solid.faults(), Vec::<String>::new());
                assert!(p.mesh.open_edges().is_empty() && p.mesh.volume() > 0.0);
                assert!(p.figures.way.fits_bed && fits(p.figures.way.size_mm, PRINTER.bed_mm), "{:?}", p.figures);
                assert_eq!(p.figures.other_ways.len(), 5);
                // the floor is flat and the bed is long enough: layers run along the board
                assert!(!p.figures.way.layers_across_bending && p.figures.way.stands_on == StandsOn::Floor);
            }
            assert!(a.figures.way.bed_contact_mm2 > 15_000.0, "{:?}", a.figures.way);
            // 24 mm between the cuts, 2 mm thick, within the cavity
            let on_end = standing(strap, StandsOn::Tail);
            assert!((on_end.size_mm[2] - 24.0).abs() < 0.01, "{on_end:?}");
            let thick = strap.mesh.volume() / 24.0 / (on_end.size_mm[1] + 2.0 * on_end.size_mm[0]);
            assert!((thick - 2.0).abs() < 0.15, "{thick}");
        }
        // whole where it fits, refused where it never will
        let whole = make_parts(&e, &PrinterSpec { bed_mm: [400.0, 400.0, 100.0], ..PRINTER }).unwrap().value;
        assert_eq!(whole.len(), 1);
        assert!((whole[0].mesh.volume() / e.volume_mm3() - 1.0).abs() < 1e-9);
        let narrow = make_parts(&e, &PrinterSpec { bed_mm: [150.0, 150.0, 150.0], ..PRINTER }).unwrap_err();
        assert!(narrow.message().contains("does not stand on a bed of 150 x 150 mm"), "{narrow}");
    }
    const GLUE_HALF: f64 = joint::GLUE_MM / 2.0;

    /// A bed on which the parts fit standing only: few parts with layers across the bending and a warning, or more that lie.
    #[test]
    fn a_high_bed_makes_parts_stand_unless_layers_are_to_run_along() {
        let e = made(500.0, &body()).unwrap().value;
        let high = PrinterSpec { bed_mm: [200.0, 120.0, 250.0], ..PRINTER }; // 192 x 49 mm in section
        let m = make_parts(&e, &high).unwrap();
        assert_eq!(m.value.len(), 3);
        assert!(m.value[0].figures.way.layers_across_bending);
        assert!(m.warnings.iter().any(|w| w.message.contains("pulls them apart")), "{:?}", m.warnings);
        let along = make_parts(&e, &PrinterSpec { layers_along: true, ..high }).unwrap();
        assert!(along.value.len() > 3, "{}", along.value.len());
        for p in &along.value {
            assert!(!p.figures.way.layers_across_bending && p.figures.way.fits_bed);
            assert_eq!(p.solid.faults(), Vec::<String>::new());
        }
        assert!(!along.warnings.iter().any(|w| w.message.contains("pulls them apart")));
    }
    /// Bosses near the flange's round corners, far from the joint, are told to lie within its half.
    #[test]
    fn bodies_with_bosses_are_cut() {
        let mut spec = body();
        (spec.screws.boss, spec.screws.size, spec.screws.edge_mm) = (true, ScrewSize::M3, Some(5.6));
        let e = made(500.0, &spec).unwrap().value;
        for p in make_parts(&e, &PRINTER).unwrap().value {
            assert_eq!(p.solid.faults(), Vec::<String>::new());
            assert!(p.mesh.open_edges().is_empty());
        }
    }
    /// A screw where the joint was wanted moves it: no pin hole (6 mm deep) meets a screw's. Thin walls are butted with a word.
    #[test]
    fn joints_keep_clear_of_screws_and_thin_walls_are_butted() {
        let mut spec = body();
        spec.screws.pitch_mm = 75.0;
        let e = made(500.0, &spec).unwrap().value;
        let (lo, hi) = e.bounds();
        let x = joint::places(&e, (lo[0] + hi[0]) / 2.0)[0];
        assert!(e.screws.iter().any(|s| (s.at_mm[0] - (lo[0] + hi[0]) / 2.0).abs() < 8.0), "the middle is taken");
        assert!(e.screws.iter().all(|s| (s.at_mm[0] - x).abs() > 2.25 + 6.0), "{x}");
        spec.shell.wall_mm = 2.0;
        let thin = made(500.0, &spec).unwrap().value;
        let m = make_parts(&thin, &PRINTER).unwrap();
        assert!(m.warnings.iter().any(|w| w.message.contains("no room for a tongue, 2.8 mm")), "{:?}", m.warnings);
    }
}
