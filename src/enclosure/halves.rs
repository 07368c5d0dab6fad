//! The body in parts that a small printer makes, with pin holes and straps for their joints.
use super::{Enclosure, fail, mesh_of};
use crate::error::{Result, Stage, Warned, Warning};
use crate::geom::{Brep, Layer, Ring, TriMesh, Wall, layered, plan};
use nalgebra::{Matrix3, Point3};

/// The printer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrinterSpec {
    /// Width, depth and height that it prints, mm.
    pub bed_mm: [f64; 3],
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
/// Figures of a print.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct PrintFigures {
    /// Name of the part.
    pub name: String,
    /// Width, depth and height on the bed, mm.
    pub size_mm: [f64; 3],
    /// Area that lies on the bed, mm2.
    pub bed_contact_mm2: f64,
    /// Area that faces down at less than 45 degrees off level, off the bed, mm2.
    pub overhang_mm2: f64,
    /// Height of the highest such place, mm.
    pub highest_overhang_mm: f64,
}

/// Room for glue between the parts, mm: what epoxy asks for (common practice, no source: 0.1 to 0.3).
const GLUE_MM: f64 = 0.2;
/// Pins are lengths of 1.75 mm filament; radius of their holes and depth, mm.
const PIN_MM: [f64; 2] = [1.0, 6.0];
/// Material round a pin hole, mm: two lines of a common 0.4 mm nozzle.
const PIN_WALL_MM: f64 = 0.8;
/// Thickness of the strap and how far it laps over each part, mm (common practice, no source).
const STRAP_MM: [f64; 2] = [2.0, 12.0];
/// Furthest that a joint is moved away from a screw or an opening, and the steps tried, mm.
const MOVE_MM: [f64; 2] = [40.0, 1.0];
/// An overhang from 45 degrees off level on prints without support (common practice, no source).
const OVERHANG_COS: f64 = std::f64::consts::FRAC_1_SQRT_2;
/// Lower than this off the bed is on it, mm: a tenth of a layer.
const ON_BED_MM: f64 = 0.02;
/// A support higher than this is called tall, mm: such a one sways (common practice, no source).
const TALL_MM: f64 = 60.0;
/// An overhang smaller than this, mm2, is bridged: it is the roof of a screw hole.
const BRIDGED_MM2: f64 = 400.0;

/// Whether a box lies on the bed, either way round.
fn fits(size: [f64; 3], bed: [f64; 3]) -> bool {
    let way = |a: f64, b: f64| a <= bed[0] && b <= bed[1];
    size[2] <= bed[2] && (way(size[0], size[1]) || way(size[1], size[0]))
}

/// The parts of `e` for the printer: the body whole when it fits, standing or lying, else cut across into as few as fit
/// standing, each end to end with a strap.
///
/// # Errors
/// A body too wide or deep for the bed, or no place for a joint between the screws.
pub fn make_parts(e: &Enclosure, printer: &PrinterSpec) -> Result<Warned<Vec<PrintPart>>> {
    let bed = printer.bed_mm;
    let (lo, hi) = e.bounds();
    let [length, width, height] = [0, 1, 2].map(|k| hi[k] - lo[k]);
    if fits([height, width, length], bed) || fits([length, width, height], bed) {
        return Ok(Warned::clean(Vec::new()));
    }
    if !fits([height, width, 1.0], bed) {
        return Err(fail(
            format!(
                "a section of {width:.1} x {height:.1} mm does not stand on a bed of {:.0} x {:.0} mm",
                bed[0], bed[1]
            ),
            "make enclosure.inset larger or enclosure.depth smaller, or take printer.bed out to get the body in one piece",
        ));
    }
    let count = (length / bed[2]).ceil() as usize;
    let mut joints = Vec::new();
    for k in 1..count {
        joints.push(joint(e, lo[0] + length * k as f64 / count as f64)?);
    }
    let mut warnings = Vec::new();
    let mut made = Vec::new();
    let no_joint = |x: f64| {
        fail(
            format!("the body cannot be cut at x = {x:.1} mm"),
            "move enclosure.offset or enclosure.length by a few mm",
        )
    };
    for k in 0..count {
        let mut solid = e.solid().clone();
        for (i, above) in [(k.checked_sub(1), true), ((k < joints.len()).then_some(k), false)] {
            let Some(&x) = i.and_then(|i| joints.get(i)) else { continue };
            let at = if above { x + GLUE_MM / 2.0 } else { x - GLUE_MM / 2.0 };
            solid = solid.cut(at, above).ok_or_else(|| no_joint(x))?;
            for p in pins(e, x) {
                solid.bore_joint(p, PIN_MM[0], PIN_MM[1]);
            }
        }
        solid.name = format!("enclosure-part-{}", k + 1);
        // on the joint, the outer end up; of several the last stands on its own joint too
        made.push(print(solid, k + 1 < count)?);
    }
    for (k, &x) in joints.iter().enumerate() {
        let mut strap = strap(e)?;
        for (at, above) in [(x - STRAP_MM[1], true), (x + STRAP_MM[1], false)] {
            strap = strap.cut(at, above).ok_or_else(|| no_joint(x))?;
        }
        strap.name = format!("enclosure-strap-{}", k + 1);
        made.push(print(strap, true)?);
        let lost = GLUE_MM + STRAP_MM[0];
        for p in e.parts.iter().filter(|p| (p.at_mm[0] - x).abs() < p.size_mm[0] / 2.0 + STRAP_MM[1]) {
            let left = p.height_left_mm.min(p.side_left_mm);
            if left < lost {
                warnings.push(Warning::new(
                    Stage::Enclosure,
                    format!(
                        "the strap at x = {x:.0} mm takes {lost:.1} mm, the part '{}' has {left:.1} mm to spare",
                        p.name
                    ),
                    "make enclosure.depth larger, move the part off the joint, or glue without the strap",
                ));
            }
        }
    }
    for p in &made {
        let f = &p.figures;
        if !fits(f.size_mm, bed) {
            return Err(fail(
                format!(
                    "'{}' stands {:.1} x {:.1} x {:.1} mm, more than the bed's",
                    p.name, f.size_mm[0], f.size_mm[1], f.size_mm[2]
                ),
                "make enclosure.length a little smaller, so that a joint fits between the screws",
            ));
        }
        if f.overhang_mm2 > BRIDGED_MM2 && f.highest_overhang_mm > TALL_MM {
            warnings.push(Warning::new(
                Stage::Enclosure,
                format!("'{}' overhangs {:.0} mm2, up to {:.0} mm above the bed: a support there is tall and thin", p.name, f.overhang_mm2, f.highest_overhang_mm),
                "let the slicer branch its support from the walls, or print it lying and accept layer lines across the bending",
            ));
        }
    }
    Ok(Warned::with(made, warnings))
}

/// A place for a joint near `wanted`, clear of screws and openings.
fn joint(e: &Enclosure, wanted: f64) -> Result<f64> {
    // pins reach into both parts: what they must not meet keeps that far off, and a land more
    let land = PIN_MM[1] + super::LEAST_LAND_MM;
    let mut busy: Vec<[f64; 2]> = e
        .screws
        .iter()
        .map(|s| (s.at_mm[0], (s.hole_mm + s.slot_mm) / 2.0 + land))
        .map(|(x, r)| [x - r, x + r])
        .collect();
    busy.extend(e.openings.iter().map(|o| {
        let (lo, hi) = crate::geom::trim::polygon(o, crate::tolerance::CHORD_MM).bounds();
        [lo[0] - land, hi[0] + land]
    }));
    let steps = (MOVE_MM[0] / MOVE_MM[1]) as i32;
    (0..=2 * steps)
        // 0, 1, -1, 2, -2 ... steps from the wanted place
        .map(|i| wanted + MOVE_MM[1] * f64::from(if i % 2 == 0 { -i / 2 } else { (i + 1) / 2 }))
        .find(|x| busy.iter().all(|b| *x < b[0] || *x > b[1]))
        .ok_or_else(|| {
            fail(
                format!("no joint within {} mm of x = {wanted:.0} mm is clear of screws and openings", MOVE_MM[0]),
                "make screws.pitch larger, or move an opening",
            )
        })
}

/// Places (y, z) of the pins in the joint at `x`: one in each flange, two in the floor, where there is material round them.
fn pins(e: &Enclosure, x: f64) -> Vec<[f64; 2]> {
    let s = &e.shell;
    let ends = |p: &crate::geom::Polygon| {
        p.crossings(x).iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), y| (a.min(*y), b.max(*y)))
    };
    let (rim, wall, floor) = (ends(&s.rim_polygon()), ends(&s.wall_polygon()), ends(&s.floor_polygon()));
    let need = 2.0 * (PIN_MM[0] + PIN_WALL_MM);
    let mut out = Vec::new();
    if s.spec.flange_mm >= need {
        for y in [(rim.0 + wall.0) / 2.0, (rim.1 + wall.1) / 2.0] {
            out.push([y, (s.seat.at(x, y) + s.back.at(x, y)) / 2.0]);
        }
    }
    if s.spec.floor_mm >= need {
        for t in [0.25, 0.75] {
            let y = floor.0 + t * (floor.1 - floor.0);
            out.push([y, (s.floor_in.at(x, y) + s.floor_out.at(x, y)) / 2.0]);
        }
    }
    out
}

/// The strap before it is cut to length: a lining of walls and floor that stays below the flange.
fn strap(e: &Enclosure) -> Result<Brep> {
    let s = &e.shell;
    let [thick, _] = STRAP_MM;
    let moved = |p: &[crate::num::Curve<2>], d: f64| {
        plan::parallel(p, -d).ok_or_else(|| {
            fail("the strap inside the joint folds at a corner".into(), "make enclosure.corner_radius larger")
        })
    };
    // the walls have leaned in by this much where the strap begins
    let lean = s.spec.flange_mm * s.spec.draft.tan();
    let outer = [moved(&s.wall_in[0], GLUE_MM + lean)?, moved(&s.wall_in[1], GLUE_MM)?];
    let inner = [moved(&s.wall_in[0], GLUE_MM + lean + thick)?, moved(&s.wall_in[1], GLUE_MM + thick)?];
    let under = s.floor_in.moved(1.0, [0.0, 0.0, -GLUE_MM]);
    let over = s.floor_in.moved(1.0, [0.0, 0.0, -GLUE_MM - thick]);
    let layers = [
        Layer { name: "strap edge", z: &s.back, up: false },
        Layer { name: "strap inside", z: &over, up: false },
        Layer { name: "strap outside", z: &under, up: true },
    ];
    let wall = |rings: [Vec<crate::num::Curve<2>>; 2], head: usize, inside| {
        let [foot, top] = rings;
        Wall {
            name: "strap side".into(),
            foot: Ring { layer: 0, pieces: foot },
            head: Ring { layer: head, pieces: top },
            inside,
        }
    };
    Ok(layered("strap", &layers, &[wall(outer, 2, true), wall(inner, 1, false)]))
}

/// A part on the bed: stood on its face of greatest (`high`) or least x.
fn print(solid: Brep, high: bool) -> Result<PrintPart> {
    if let Some(first) = solid.faults().first() {
        return Err(fail(
            format!("'{}' is not sound: {first}", solid.name),
            "move enclosure.offset or enclosure.length by a few mm",
        ));
    }
    let mut mesh = mesh_of(&solid)?;
    // rotations, so that the part is not mirrored
    let turn = if high {
        Matrix3::new(0.0, 0.0, 1.0, 0.0, 1.0, 0.0, -1.0, 0.0, 0.0)
    } else {
        Matrix3::new(0.0, 0.0, -1.0, 0.0, 1.0, 0.0, 1.0, 0.0, 0.0)
    };
    mesh.points.iter_mut().for_each(|p| *p = turn * *p);
    let least = mesh.points.iter().fold(Point3::from([f64::INFINITY; 3]), |a, p| a.inf(p));
    mesh.points.iter_mut().for_each(|p| *p = Point3::from(*p - least));
    let most = mesh.points.iter().fold(Point3::origin(), |a, p| a.sup(p));
    let mut f = PrintFigures {
        name: solid.name.clone(),
        size_mm: [most.x, most.y, most.z],
        bed_contact_mm2: 0.0,
        overhang_mm2: 0.0,
        highest_overhang_mm: 0.0,
    };
    for t in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(t);
        let n = (b - a).cross(&(c - a));
        let (area, top) = (n.norm() / 2.0, a.z.max(b.z).max(c.z));
        if -n.z <= OVERHANG_COS * n.norm() {
            continue;
        }
        if top < ON_BED_MM {
            f.bed_contact_mm2 += area;
        } else {
            f.overhang_mm2 += area;
            f.highest_overhang_mm = f.highest_overhang_mm.max(top);
        }
    }
    Ok(PrintPart { name: solid.name.clone(), solid, mesh, figures: f })
}

#[cfg(test)]
mod tests {
    use super::super::tests::{body, made};
    use super::*;

    /// Parts and glue make up the whole: the volumes add up but for the glue's slice and the pins; the parts stand on their
    /// joint, whose area is the section's.
    #[test]
    fn halves_make_up_the_body_and_fit_the_bed() {
        let mut spec = body();
        spec.shell.draft = 3.0_f64.to_radians();
        let e = made(500.0, &spec).unwrap().value;
        let printer = PrinterSpec { bed_mm: [220.0, 220.0, 250.0] };
        let m = make_parts(&e, &printer).unwrap();
        let [a, b, strap] = m.value.as_slice() else { panic!("{}", m.value.len()) };
        let taken = 8.0 * std::f64::consts::PI * PIN_MM[0].powi(2) * PIN_MM[1];
        let section = a.figures.bed_contact_mm2;
        let sum = a.mesh.volume() + b.mesh.volume() + taken + GLUE_MM * section;
        assert!((sum / e.volume_mm3() - 1.0).abs() < 3e-4, "{sum} {}", e.volume_mm3());
        for p in [a, b, strap] {
            assert_eq!(p.solid.faults(), Vec::<String>::new());
            assert!(p.mesh.open_edges().is_empty() && p.mesh.volume() > 0.0);
            assert!(fits(p.figures.size_mm, printer.bed_mm), "{:?}", p.figures);
            assert!(p.figures.bed_contact_mm2 > 100.0);
        }
        assert!((b.figures.bed_contact_mm2 / section - 1.0).abs() < 0.01);
        // 24 mm between the cuts, 2 mm thick, within the cavity
        assert!((strap.figures.size_mm[2] - 24.0).abs() < 0.01, "{:?}", strap.figures);
        let thick = strap.mesh.volume() / 24.0 / (strap.figures.size_mm[1] + 2.0 * strap.figures.size_mm[0]);
        assert!((thick - 2.0).abs() < 0.15, "{thick}");
        assert!(m.warnings.iter().any(|w| w.message.contains("tall and thin")), "{:?}", m.warnings);
        // a screw where the joint was wanted moves it: no pin hole (6 mm deep) meets a screw's or an opening's
        let mut crowded = spec.clone();
        crowded.screws.pitch_mm = 75.0;
        let e2 = made(500.0, &crowded).unwrap().value;
        let (lo, hi) = e2.bounds();
        let x = joint(&e2, (lo[0] + hi[0]) / 2.0).unwrap();
        assert!(e2.screws.iter().any(|s| (s.at_mm[0] - (lo[0] + hi[0]) / 2.0).abs() < 8.0), "the middle is taken");
        assert!(e2.screws.iter().all(|s| (s.at_mm[0] - x).abs() > 2.25 + 6.0), "{x}");
        // whole where it fits, refused where it never will
        assert!(make_parts(&e, &PrinterSpec { bed_mm: [400.0, 400.0, 100.0] }).unwrap().value.is_empty());
        let narrow = make_parts(&e, &PrinterSpec { bed_mm: [150.0, 150.0, 150.0] }).unwrap_err();
        assert!(narrow.message().contains("does not stand on a bed of 150 x 150 mm"), "{narrow}");
    }
}
