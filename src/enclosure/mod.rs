//! The enclosure's body on the mating face: flange, walls, floor, screws, openings, room inside, clearances, halves.
mod bed;
mod clearance;
mod edges;
mod halves;
mod hardware;
mod joint;
mod judged;
mod openings;
mod room;
mod screws;
mod seal;
mod seated;
mod shell;
mod solid;
mod strap;
mod strip;
pub use bed::{PrintWay, StandsOn, ThinSupport};
pub use clearance::{Check, TruckSpec};
pub use edges::{BrokenEdge, EdgeSpec};
pub use halves::{PrintFigures, PrintPart, PrinterSpec};
pub use hardware::{Hardware, tightening_order};
pub use joint::JointKind;
pub use openings::{OpeningShape, OpeningSpec, SealSpec, Through};
pub use room::{CableRoom, PartSpec, PlacedPart, Position, Side};
pub use screws::{Along, Boss, Fit, Screw, ScrewSize, ScrewSpec};
pub use seated::SeatedScrew;
pub use shell::{Groove, GrooveSpec, Shell, ShellSpec};

use crate::deck::Deck;
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Brep, Polygon, TriMesh, plan, trim};
use crate::mating::{EnclosureSpec, MatingFace};
use crate::num::{Curve, shown};
use crate::tolerance::CHORD_MM;
use openings::Openings;

/// How deep the body is inside.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Depth {
    /// Least clear height between deck and floor inside the walls, mm.
    Clear(f64),
    /// As deep as the tallest part with its clearance asks.
    Parts,
}
impl Depth {
    /// The depth with these parts inside, mm; 0 where it is as deep as parts ask and there are none.
    pub fn least_mm(&self, parts: &[PartSpec]) -> f64 {
        match self {
            Self::Clear(mm) => *mm,
            Self::Parts => parts.iter().map(|p| p.size_mm[2] + p.clearance_mm).fold(0.0, f64::max),
        }
    }
}
/// What is asked of the body.
#[derive(Debug, Clone, PartialEq)]
pub struct BodySpec {
    /// Depth inside.
    pub depth: Depth,
    /// Walls, floor and flange.
    pub shell: ShellSpec,
    /// Screws round the flange.
    pub screws: ScrewSpec,
    /// Width of the gasket's strip, mm.
    pub strip_mm: f64,
    /// What goes inside.
    pub parts: Vec<PartSpec>,
    /// Openings in floor and walls.
    pub openings: Vec<OpeningSpec>,
    /// Trucks and wheels, for the clearances.
    pub trucks: Option<TruckSpec>,
    /// Sag at mid wheelbase under a standing rider, mm.
    pub sag_mm: f64,
    /// The printer, when the body is to be cut to its bed.
    pub printer: Option<PrinterSpec>,
}
/// The enclosure.
#[derive(Debug, Clone)]
pub struct Enclosure {
    /// Its surfaces and plan curves.
    pub shell: Shell,
    /// Depth inside, mm: least clear height between deck and floor.
    pub depth_mm: f64,
    /// Every screw, in order round the rim.
    pub screws: Vec<Screw>,
    /// Width of the gasket's strip, mm.
    pub strip_mm: f64,
    /// Size of the screws.
    pub screw_size: ScrewSize,
    /// Length of the threaded inserts in the deck, mm; none for bolts through it.
    pub insert_mm: Option<f64>,
    /// Parts with their places.
    pub parts: Vec<PlacedPart>,
    /// Openings' plan loops.
    pub openings: Vec<Vec<Curve<2>>>,
    /// Clearances.
    pub checks: Vec<Check>,
    /// Parts for the printer, the body whole where it fits; none when no printer is given.
    pub print_parts: Vec<PrintPart>,
    solid: Brep,
    mesh: TriMesh,
}

pub(crate) fn fail(message: String, hint: impl Into<String>) -> Error {
    Error::new(Stage::Enclosure, message).hint(hint)
}

/// Material left between an opening and whatever bounds its face, mm: two walls of a common 0.4 mm nozzle each side of a gap
/// are 1.6 mm; less breaks out, more only costs room.
const LEAST_LAND_MM: f64 = 2.0;

/// Makes the body of `spec` under the rim of `rim` and `mating` on `deck`.
///
/// # Errors
/// A shape that folds or has no room, a screw that would come through the deck, an opening that breaks a wall.
pub fn make_enclosure(
    deck: &Deck,
    mating: &MatingFace,
    rim: &EnclosureSpec,
    spec: &BodySpec,
) -> Result<Warned<Enclosure>> {
    let mut warnings = Vec::new();
    let depth_mm = match spec.depth {
        Depth::Clear(d) => d,
        Depth::Parts => room::depth_for(&spec.parts)?,
    };
    // an opening may cross none of the seams where pieces of a wall meet: they move out of its way
    let in_walls = spec.openings.iter().any(|o| matches!(o.through, Through::Wall { .. }));
    let mut built = shape(deck, mating, rim, spec, depth_mm, 0.0);
    for k in (1..SEAMS).filter(|_| in_walls) {
        if built.is_ok() {
            break;
        }
        built = shape(deck, mating, rim, spec, depth_mm, f64::from(k) / f64::from(SEAMS)).or(built);
    }
    let Shape { shell, screws, openings, ports, solid } = built?.drain_into(&mut warnings);
    let mesh = mesh_of(&solid)?;
    let parts = room::place(deck, &shell, &spec.parts).drain_into(&mut warnings);
    warnings.extend(judged::screws_on_holes(deck, &screws));
    warnings.extend(judged::openings_on_parts(&ports, &spec.openings, &parts, &spec.parts));
    warnings.extend(judged::leaning(&shell, &screws, &spec.screws));
    let checks = clearance::checks(deck, &shell, &screws, spec);
    warnings.extend(checks.iter().filter(|c| !c.met).map(|c| {
        let name = &c.name;
        Warning::new(
            Stage::Enclosure,
            format!("{name}: {:.1} mm, {:.1} mm are wanted", shown(c.have_mm, 1), c.want_mm),
            c.cure.clone(),
        )
    }));
    let mut made = Enclosure {
        shell,
        depth_mm,
        screws,
        strip_mm: spec.strip_mm,
        screw_size: spec.screws.size,
        insert_mm: spec.screws.insert_mm,
        parts,
        openings,
        checks,
        print_parts: Vec::new(),
        solid,
        mesh,
    };
    if let Some(printer) = &spec.printer {
        made.print_parts = halves::make_parts(&made, printer)?.drain_into(&mut warnings);
    }
    Ok(Warned::with(made, warnings))
}

/// Places of the walls' seams tried: of an opening as long as a quarter of a wall's piece one is then clear.
const SEAMS: u32 = 4;

/// The body as made with its seams at one place.
struct Shape {
    shell: Shell,
    screws: Vec<Screw>,
    openings: Vec<Vec<Curve<2>>>,
    ports: Vec<openings::Port>,
    solid: Brep,
}
fn shape(
    deck: &Deck,
    mating: &MatingFace,
    rim: &EnclosureSpec,
    spec: &BodySpec,
    depth_mm: f64,
    seam: f64,
) -> Result<Warned<Shape>> {
    let shell = shell::make_shell(deck, mating, &spec.shell, depth_mm, seam)?;
    let placed = screws::place(deck, &shell, rim, &spec.screws, spec.strip_mm)?;
    let openings = openings::place(&shell, &spec.openings)?;
    let solid = solid::make(&shell, &placed.value, &openings.floor, &openings.walls)?;
    if let Some(first) = solid.faults().first() {
        return Err(fail(
            format!("the enclosure is not sound: {first}"),
            "make enclosure.corner_radius larger, or enclosure.wall or enclosure.draft smaller",
        ));
    }
    let Openings { plan, ports, .. } = openings;
    Ok(Warned::with(Shape { shell, screws: placed.value, openings: plan, ports, solid }, placed.warnings))
}

impl Enclosure {
    /// The closed solid.
    pub fn solid(&self) -> &Brep {
        &self.solid
    }
    /// The closed mesh of the solid.
    pub fn mesh(&self) -> &TriMesh {
        &self.mesh
    }
    /// Lower and upper corner of the box round it, mm.
    pub fn bounds(&self) -> ([f64; 3], [f64; 3]) {
        let ends = |f: fn(f64, f64) -> f64, from: f64| {
            self.mesh.points.iter().fold([from; 3], |b, p| [f(b[0], p.x), f(b[1], p.y), f(b[2], p.z)])
        };
        (ends(f64::min, f64::INFINITY), ends(f64::max, f64::NEG_INFINITY))
    }
    /// Where the strip lies, as borders in plan: in its groove, or on a plain seat along the inside of the rim.
    pub fn strip_borders(&self) -> Vec<Polygon> {
        if let Some(place) = self.strip_place() {
            return place.into();
        }
        let inside = &self.shell.wall_in[0];
        let outer = plan::parallel(inside, self.strip_mm);
        outer.iter().map(Vec::as_slice).chain([inside.as_slice()]).map(|p| trim::polygon(p, CHORD_MM)).collect()
    }
    /// Where the strip lies in its groove: outer and inner border in plan; none on a plain seat.
    pub fn strip_place(&self) -> Option<[Polygon; 2]> {
        self.shell.groove.as_ref().map(|g| [0, 1].map(|k| trim::polygon(&g.borders[k], CHORD_MM)))
    }
    /// The solid's mesh with chords within `chord_mm`.
    ///
    /// # Errors
    /// Borders that cross.
    pub fn mesh_within(&self, chord_mm: f64) -> Result<TriMesh> {
        if chord_mm == CHORD_MM { Ok(self.mesh.clone()) } else { meshed(&self.solid, chord_mm / 2.0) }
    }
    /// What the gasket's strip lies on: the whole body, or of a grooved one the groove's floor alone, whose lands press no strip.
    ///
    /// # Errors
    /// Borders that cross.
    pub fn strip_mesh(&self) -> Result<TriMesh> {
        let Some(g) = &self.shell.groove else { return Ok(self.mesh.clone()) };
        let loops = [0, 1].map(|k| trim::border(&g.borders[k], &[&g.floor], CHORD_MM / 2.0));
        let mut mesh = trim::tessellate(&g.floor, &loops, CHORD_MM).ok_or_else(|| borders_cross("groove"))?;
        // towards the deck
        mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
        Ok(mesh)
    }
    /// Material, mm3.
    pub fn volume_mm3(&self) -> f64 {
        self.mesh.volume()
    }
}
/// Chord height asked of a body's triangles, mm: those along a border are longer than those inside and came to 0.05 mm off the
/// rim with all of [`CHORD_MM`].
const MESH_CHORD_MM: f64 = CHORD_MM / 2.0;

fn borders_cross(of: &str) -> Error {
    fail(
        format!("the borders of a face of '{of}' cross"),
        "make enclosure.corner_radius larger, or move screws and openings apart",
    )
}
pub(crate) fn mesh_of(solid: &Brep) -> Result<TriMesh> {
    meshed(solid, MESH_CHORD_MM)
}
fn meshed(solid: &Brep, chord_mm: f64) -> Result<TriMesh> {
    solid.mesh(chord_mm).ok_or_else(|| borders_cross(&solid.name))
}

#[cfg(test)]
mod tests;
