//! The proof of fit: a reconstructed deck, an enclosure's mesh, its screws and the rider, brought together.
use crate::deck::Deck;
use crate::enclosure::{Enclosure, Fit};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::gap::{
    BetterPlace, GapDoubt, GapMap, GapOptions, Lies, PLACEMENT_MM, PartTape, PoseDoubt, Registration, ScannedPart,
    as_it_lies, gap_map, register, register_scan, rest, surface_under,
};
use crate::geom::{Polygon, Similarity, TriMesh, bounds};
use crate::load::{Rider, SagReport, second_moment, section_of};
use crate::mating::MatingFace;
use crate::num::{TensorSpline, shown};
use crate::pipeline::Reconstruction;
use crate::settings::Board;
use crate::surface::BOW_RELATIVE;
use nalgebra::Point3;

/// How the enclosure's mesh is given.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Pose {
    /// In the deck frame, mm.
    Given,
    /// Anywhere, mm: found by its rim.
    Found,
    /// A scan of the printed part, anywhere, of unknown scale: found by its rim and sized by its own tape reading.
    Scanned(PartTape),
}
/// An enclosure to prove.
#[derive(Debug, Clone)]
pub struct Part {
    /// Its mesh; of a scanned cloud the points alone.
    pub mesh: TriMesh,
    /// How it is given.
    pub pose: Pose,
    /// Whether its rim is looked for only within the board file's footprint.
    pub within_footprint: bool,
}
impl Part {
    /// Whether the board file's footprint is needed to prove it.
    pub fn needs_footprint(&self) -> bool {
        self.within_footprint || self.pose != Pose::Given
    }
}
/// What is known of the fit.
#[derive(Debug, Clone)]
pub struct Proof {
    /// The gap's map.
    pub map: GapMap,
    /// The rider with the sag measured or computed.
    pub rider: Option<Rider>,
    /// How the sag was computed, where it was.
    pub sag: Option<SagReport>,
    /// The board file's screws; empty where no body is asked for.
    pub screws: Vec<ScrewPlace>,
    /// Least gap of what lies beside the strip's groove, mm; none on a plain seat.
    pub lands_mm: Option<f64>,
    /// How the enclosure was found, where it was.
    pub registration: Option<Registration>,
    /// How a scanned part was brought to size.
    pub scanned: Option<ScannedPart>,
    /// The deck's bending as the rims see it.
    pub bending: Bending,
}
/// A screw as the proof needs it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ScrewPlace {
    /// Its number in the drill list.
    pub number: usize,
    /// Its place in plan, mm, deck frame.
    pub at_mm: [f64; 2],
    /// How much longer than wide its hole is, mm.
    pub slot_mm: f64,
    /// Diameter of the hole less the thread's, mm.
    pub play_mm: f64,
    /// The same of the widest class of hole for this screw.
    pub most_play_mm: f64,
}
impl ScrewPlace {
    fn all(e: &Enclosure) -> Vec<Self> {
        let of = |(i, s): (usize, &crate::enclosure::Screw)| Self {
            number: i + 1,
            at_mm: s.at_mm,
            slot_mm: s.slot_mm,
            play_mm: s.hole_mm - e.screw_size.thread_mm(),
            most_play_mm: e.screw_size.hole_mm(Fit::Coarse) - e.screw_size.thread_mm(),
        };
        e.screws.iter().enumerate().map(of).collect()
    }
}
/// What bends: the deck's section along the board.
#[derive(Debug, Clone)]
pub struct Bending {
    underside: TensorSpline,
    top: TensorSpline,
    outline: Polygon,
}

/// Strips of a section: a rail's curve over one is far below its thickness.
const STRIPS: usize = 80;
/// Half the distance over which the centre line's slope is taken, mm.
const SLOPE_MM: f64 = 1.0;

impl Bending {
    /// Of a deck.
    pub fn new(deck: &Deck) -> Self {
        Self { underside: deck.underside.clone(), top: deck.top.clone(), outline: deck.outline_polygon() }
    }
    fn strips(&self, x: f64) -> Vec<(f64, f64, f64)> {
        let (lo, hi) = self.outline.span(x).unwrap_or((0.0, 0.0));
        section_of(lo, hi, STRIPS, |y| (self.underside.at(x, y), self.top.at(x, y)))
    }
    /// Second moment of area (mm4) of the section at `x` about its own axis and that axis' height (mm), deck frame.
    pub fn section(&self, x: f64) -> (f64, f64) {
        second_moment(&self.strips(x))
    }
    /// The second moment the section at `x` would have if it were flat, mm4.
    pub fn flat_section(&self, x: f64) -> f64 {
        let flat: Vec<(f64, f64, f64)> = self.strips(x).into_iter().map(|(w, _, t)| (w, 0.0, t)).collect();
        second_moment(&flat).0
    }
    /// Height of the underside, mm.
    pub fn height(&self, x: f64, y: f64) -> f64 {
        self.underside.at(x, y)
    }
    /// Slope of the underside's centre line at rest.
    pub fn rest_slope(&self, x: f64) -> f64 {
        (self.height(x + SLOPE_MM, 0.0) - self.height(x - SLOPE_MM, 0.0)) / (2.0 * SLOPE_MM)
    }
}

/// The rider of `board` on the deck that bends.
pub(crate) fn rider_on(board: &Board, bending: &Bending) -> Option<(Rider, Option<SagReport>)> {
    board.rider.map(|r| r.on(|x| bending.section(x).0, |x| bending.flat_section(x)))
}

/// A lift below this is a print's own unevenness, mm (common practice, no source).
const TOLD_LIFT_MM: f64 = 0.1;
fn lifted(r: &Registration) -> Warning {
    Warning::new(
        Stage::Gap,
        format!(
            "pressed evenly onto its gasket the rim would cut into the deck. It is taken to stop where it touches first: {:.2} mm higher in its middle, tilted by {:.2} degrees",
            r.lifted_mm, r.tilted_deg
        ),
        "draw the rim on mating-face.step: it then follows the deck and touches nowhere",
    )
}

/// Sizes that differ by more than this factor both ways are another unit rather than another enclosure: cm, inches, m.
const OTHER_UNIT: f64 = 2.0;
/// What faces the deck has another size than the board file's enclosure.
fn other_size(map: &GapMap, mating: &MatingFace) -> Option<Warning> {
    let size = |(lo, hi): ([f64; 2], [f64; 2])| [hi[0] - lo[0], hi[1] - lo[1]];
    let have = size(bounds(&map.samples.iter().map(|s| [s.at[0], s.at[1]]).collect::<Vec<_>>()));
    let want = size(mating.footprint.outer_polygon.bounds());
    let off = |k: usize| (have[k] / want[k]).max(want[k] / have[k]);
    (off(0) > OTHER_UNIT && off(1) > OTHER_UNIT).then(|| {
        Warning::new(
            Stage::Gap,
            format!(
                "what faces the deck is {:.0} x {:.0} mm, but the board file's enclosure {:.0} x {:.0} mm",
                have[0], have[1], want[0], want[1]
            ),
            "export the enclosure in mm (one in inches comes out 25.4 times too small), or write the enclosure that is meant into the board file",
        )
    })
}

/// A rim this much farther from the deck than the gasket is free, mm, or as much inside the deck, is in another frame: a flat-rimmed
/// draft over a dished deck is off by less.
const OTHER_FRAME_MM: f64 = 8.0;
/// A rim follows the footprint where it lies this near to it, mm, beside the flange's width.
const NEAR_MM: f64 = 10.0;
/// A rim that follows less than this share of the footprint is another one, or in another frame.
const FOLLOWED_RATIO: f64 = 0.5;
/// Points of the footprint's border that are looked at.
const BORDER_POINTS: usize = 200;

/// Why a mesh that was given in the deck frame seems not to lie there, in words; whether it is so far off that no gap means anything.
fn misplaced(map: &GapMap, mating: Option<&MatingFace>, gasket_mm: f64) -> Option<(String, bool)> {
    let gaps: Vec<f64> = map.samples.iter().map(|s| s.gap_mm).collect();
    let middle = crate::num::median(&gaps);
    if middle > gasket_mm + OTHER_FRAME_MM {
        return Some((format!("what faces the deck is {middle:.0} mm off it"), true));
    }
    if middle < -OTHER_FRAME_MM {
        return Some((format!("what faces the deck lies {:.0} mm inside it", -middle), true));
    }
    let outer = &mating?.footprint.outer_polygon;
    let flange = mating?.footprint.inner_polygon.points.first().map_or(0.0, |p| -outer.signed_distance(*p));
    let near = |p: &[f64; 2]| {
        let d = |r: &crate::gap::RimLoop| r.nearest(*p).map_or(f64::INFINITY, |s| (s.x_mm - p[0]).hypot(s.y_mm - p[1]));
        map.rims.iter().map(d).fold(f64::INFINITY, f64::min) < flange + NEAR_MM
    };
    let followed =
        outer.resampled(BORDER_POINTS).points.iter().filter(|p| near(p)).count() as f64 / BORDER_POINTS as f64;
    (followed < FOLLOWED_RATIO)
        .then(|| (format!("its rim follows {:.0} % of the board file's footprint", 100.0 * followed), false))
}

/// What is said of a mesh that lies beside the place where it fits.
fn aside(b: &BetterPlace) -> Warning {
    let words = |v: f64, unit: &str, [more, less]: [&str; 2]| {
        let whole = shown(v.abs(), 0);
        (whole > 0.0).then(|| format!("{whole:.0} {unit} {}", if v > 0.0 { more } else { less }))
    };
    let how: Vec<String> = [
        words(b.moved_mm[0], "mm", ["towards the nose", "towards the tail"]),
        words(b.moved_mm[1], "mm", ["to the left", "to the right"]),
        words(b.turn_deg, "degrees", ["turned to the left", "turned to the right"]),
    ]
    .into_iter()
    .flatten()
    .collect();
    let how = how.join(", ");
    Warning::new(
        Stage::Gap,
        format!(
            "the mesh fits the board file's enclosure better elsewhere ({how}, seen from the underside): its rim is {:.1} mm off the mating \
             face as it lies, {:.1} mm there (mean)",
            b.miss_mm[0], b.miss_mm[1]
        ),
        "the gaps are those of the mesh as it lies; if it was to lie on mating-face.step, place it there and export it again, or give --register",
    )
}

/// Maps the gap of `part` to the deck of `rec`, registering it where asked, and where a mesh said to lie in the deck frame does not. The
/// board file's `own` enclosure says where screws are and where the strip lies.
///
/// # Errors
/// No mating face to register to, a part that fits nowhere, a mesh in another frame that cannot be laid, and as [`gap_map`].
pub fn prove(
    board: &Board,
    rec: &Reconstruction,
    mating: Option<&MatingFace>,
    own: Option<&Enclosure>,
    part: &Part,
) -> Result<Warned<Proof>> {
    let mut made = prove_as_laid(board, rec, mating, own, part);
    if part.pose != Pose::Given {
        return made;
    }
    let (why, hopeless) = match &mut made {
        Ok(proof) => {
            let lies = |m: &MatingFace| as_it_lies(&part.mesh, &rec.deck.underside, &rec.deck.outline_polygon(), m);
            match misplaced(&proof.value.map, mating, board.gasket.thickness_mm) {
                Some(off) => off,
                None => match mating.map_or(Lies::There, lies) {
                    Lies::Elsewhere { miss_mm } => {
                        (format!("its rim is {miss_mm:.1} mm off the mating face in the mean"), false)
                    }
                    Lies::Aside(better) => {
                        proof.warnings.push(aside(&better));
                        return made;
                    }
                    Lies::There => return made,
                },
            }
        }
        Err(_) => ("none of it is near the deck".into(), true),
    };
    let found = prove_as_laid(board, rec, mating, own, &Part { pose: Pose::Found, ..part.clone() });
    match (made, found) {
        (_, Ok(mut found)) => {
            found.warnings.insert(
                0,
                Warning::new(
                    Stage::Gap,
                    format!("the mesh does not lie in the deck frame ({why}): it was laid on the deck by its rim instead"),
                    "look in the report whether it lies as you mean it; to have it taken as it lies, draw it on mating-face.step and \
                     export it from there, in mm",
                ),
            );
            Ok(found)
        }
        (Ok(mut made), Err(_)) if !hopeless => {
            if mating.and_then(|m| other_size(&made.value.map, m)).is_none() {
                made.warnings.insert(
                    0,
                    Warning::new(
                        Stage::Gap,
                        format!("the mesh is another enclosure than the board file's, or lies in another frame: {why}"),
                        "write the enclosure that is meant into the board file, or have the mesh found with --register",
                    ),
                );
            }
            Ok(made)
        }
        (Ok(_), Err(_)) => Err(Error::new(Stage::Gap, format!("the mesh does not lie in the deck frame: {why}")).hint(
            "draw the enclosure on mating-face.step and export it from there, in mm; or write its length, inset and flange into the board \
             file and have it found with --register",
        )),
        (Err(e), Err(_)) => Err(e),
    }
}

/// [`prove`], with the part laid as it says.
pub(crate) fn prove_as_laid(
    board: &Board,
    rec: &Reconstruction,
    mating: Option<&MatingFace>,
    own: Option<&Enclosure>,
    part: &Part,
) -> Result<Warned<Proof>> {
    let mut warnings = Vec::new();
    let outline = rec.deck.outline_polygon();
    let seat = |what: &str| {
        mating.ok_or_else(|| {
            Error::new(
                Stage::Gap,
                format!("{what} needs the enclosure's footprint, but the board file has no [enclosure]"),
            )
            .hint("give enclosure.length, .inset and .flange as the enclosure was drawn")
        })
    };
    let mut scale_ratio = rec.scale.standard_uncertainty / rec.scale.mm_per_unit;
    let (mut pose, mut registration, mut scanned) = (PoseDoubt::default(), None, None);
    let mut laid = Similarity::identity();
    let mut placed = match part.pose {
        Pose::Given => part.mesh.clone(),
        Pose::Found => {
            let found = register(&part.mesh, &rec.deck.underside, &outline, seat("finding the enclosure's place")?)?
                .drain_into(&mut warnings);
            pose = found.doubt;
            registration = Some(found.report);
            laid = found.pose.clone();
            let points: Vec<Point3<f64>> = part.mesh.points.iter().map(|p| found.pose.apply(p)).collect();
            TriMesh { points, triangles: part.mesh.triangles.clone() }
        }
        Pose::Scanned(tape) => {
            let seat = seat("a scan of the part")?;
            let (found, size, mesh) =
                register_scan(&part.mesh.points, &tape, &rec.deck.underside, &outline, seat)?.drain_into(&mut warnings);
            pose = found.doubt;
            laid = found.pose;
            // two scales, each with its own error (JCGM 100, eq. 10)
            scale_ratio = scale_ratio.hypot(size.relative_uncertainty);
            (registration, scanned) = (Some(found.report), Some(size));
            mesh
        }
    };
    let mut options = GapOptions::for_spec(board.enclosure.as_ref());
    options.strip_mm = board.gasket.width_mm;
    if part.within_footprint {
        let f = &seat("looking within the footprint")?.footprint;
        options.limit = Some([f.outer_polygon.clone(), f.inner_polygon.clone()]);
    }
    let along = |p: &Polygon| p.bounds().1[0] - p.bounds().0[0];
    let surface = match part.pose {
        Pose::Given => rec.surface_error.clone(),
        Pose::Found | Pose::Scanned(_) => {
            let rim = along(&seat("finding the enclosure's place")?.footprint.outer_polygon);
            let own_bow = if matches!(part.pose, Pose::Scanned(_)) { BOW_RELATIVE * rim } else { 0.0 };
            surface_under(&rec.surface_error, rec.surface.bow_error_mm, rim / along(&outline), own_bow)
        }
    };
    let strip = own.and_then(Enclosure::strip_place);
    if let Some(place) = &strip {
        options.limit = Some(place.clone());
    }
    options.doubt = GapDoubt { surface, scale_ratio, placement_mm: PLACEMENT_MM, pose };
    let mut found = gap_map(&placed, &rec.deck.underside, &outline, &options)?;
    if let Some(r) = &mut registration {
        let noisy = matches!(part.pose, Pose::Scanned(_));
        if let Some(step) = rest(&found.value, &rec.deck.underside, noisy) {
            placed.points.iter_mut().for_each(|p| *p = step.apply(p));
            r.rise(&step, &laid, &seat("finding the enclosure's place")?.footprint.outer_polygon);
            found = gap_map(&placed, &rec.deck.underside, &outline, &options)?;
        }
        warnings.extend((r.lifted_mm > TOLD_LIFT_MM).then(|| lifted(r)));
    }
    let map = found.drain_into(&mut warnings);
    // what lies beside the groove is nearer to the deck than the strip
    let lands_mm = match (&strip, mating) {
        (Some(_), Some(m)) => {
            let f = &m.footprint;
            let whole =
                GapOptions { limit: Some([f.outer_polygon.clone(), f.inner_polygon.clone()]), ..options.clone() };
            gap_map(&placed, &rec.deck.underside, &outline, &whole).ok().map(|m| m.value.summary.least_mm)
        }
        _ => None,
    };
    warnings.extend(mating.and_then(|m| other_size(&map, m)));
    let bending = Bending::new(&rec.deck);
    let (rider, sag) = rider_on(board, &bending).map_or((None, None), |(r, s)| (Some(r), s));
    if let Some(s) = &sag {
        warnings.push(Warning::new(
            Stage::Gap,
            format!(
                "the sag of {:.1} mm is computed, not measured: the wood of a deck differs by a fifth from the tables, its layup by more",
                s.sag_mm
            ),
            "stand on the board, measure the sag at mid wheelbase and give it as rider.sag",
        ));
    }
    let screws = own.map_or_else(Vec::new, ScrewPlace::all);
    Ok(Warned::with(Proof { map, rider, sag, screws, lands_mm, registration, scanned, bending }, warnings))
}
