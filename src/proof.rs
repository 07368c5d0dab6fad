//! The proof of fit: a reconstructed deck, an enclosure's mesh, its screws and the rider, brought together.
use crate::deck::Deck;
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::gap::{
    GapDoubt, GapMap, GapOptions, PLACEMENT_MM, PartTape, PoseDoubt, Registration, ScannedPart, gap_map, register,
    register_scan, rest, surface_under,
};
use crate::geom::{Polygon, Similarity, TriMesh, bounds};
use crate::load::{Rider, SagReport, second_moment, section_of};
use crate::mating::MatingFace;
use crate::num::TensorSpline;
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
    /// Places of the board file's screws in plan, mm; empty where no body is asked for.
    pub screws: Vec<[f64; 2]>,
    /// How the enclosure was found, where it was.
    pub registration: Option<Registration>,
    /// How a scanned part was brought to size.
    pub scanned: Option<ScannedPart>,
    /// The deck's bending as the rims see it.
    pub bending: Bending,
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
            "pressed evenly onto its gasket the rim would cut into the deck: it is taken as pressed until its hardest places touch, {:.2} mm farther off in its middle and tilted by {:.2} degrees",
            r.lifted_mm, r.tilted_deg
        ),
        "the gaps are those of a hard rim that touches the deck; one drawn on mating-face.step follows the deck and needs no lift",
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

/// Maps the gap of `part` to the deck of `rec`, registering it where asked.
///
/// # Errors
/// No mating face to register to, a part that fits nowhere, and as [`gap_map`].
pub fn prove(
    board: &Board,
    rec: &Reconstruction,
    mating: Option<&MatingFace>,
    screws: Vec<[f64; 2]>,
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
    Ok(Warned::with(Proof { map, rider, sag, screws, registration, scanned, bending }, warnings))
}
