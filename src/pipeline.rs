//! The whole story on one screen: scan, frame, surface, outline, deck, mating face, enclosure, files.
use crate::deck::{ColourMap, Deck, make_deck, offset_error};
use crate::enclosure::{Enclosure, make_enclosure};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::export::{self, OutputFile};
use crate::fit_check::{FitPiece, make_fit_check};
use crate::frame::{
    FrameOptions, FrameReport, Framed, JoinReport, Scale, SortedPoints, TapeReport, frame_deck, join_scans,
};
use crate::geom::{Similarity, closed_fit, offset_height};
use crate::mating::{KeepOut, KeepOutKind, MatingFace, keep_outs, longest_free, make_mating, room_warnings, rooms};
use crate::num::at_once;
use crate::outline::{OutlineReport, OutlineSource, Painted, PhotoInput, ScannedBoard, Shots, opened, outline_from};
use crate::proof::{Bending, Part, Pose, Proof, prove, prove_as_laid, rider_on};
use crate::report::{GapsReport, Report};
use crate::scan::{RawCloud, ReadLimits, ReadReport, Textures, read_scan_textured};
use crate::settings::{Board, ScanSide, board_length};
use crate::surface::{ErrorMap, SurfaceOptions, SurfaceReport, Underside, fit_underside, like_a_deck};
use crate::tolerance::THIN_MM;
use nalgebra::{Matrix3, Point3, Vector3};

/// Told which stage begins; a front end shows progress and takes times from it.
pub trait Observer {
    /// The named stage begins.
    fn enter(&mut self, stage: &'static str);
}
/// An observer that does nothing.
impl Observer for () {
    fn enter(&mut self, _: &'static str) {}
}

/// The bytes of a scan, and where the textures are that lie in files of their own.
#[derive(Debug, Clone, Copy)]
pub struct ScanBytes<'a> {
    /// The scan's file.
    pub file: &'a [u8],
    /// Its textures.
    pub textures: Textures<'a>,
}
impl<'a, T: AsRef<[u8]> + ?Sized> From<&'a T> for ScanBytes<'a> {
    fn from(scan: &'a T) -> Self {
        Self { file: scan.as_ref(), textures: Textures::Within }
    }
}
/// The scans of one board, in the board file's order.
#[derive(Debug, Clone, Default)]
pub struct Scans<'a>(pub Vec<ScanBytes<'a>>);
impl<'a, T: Into<ScanBytes<'a>>> From<T> for Scans<'a> {
    fn from(scan: T) -> Self {
        Self(vec![scan.into()])
    }
}
/// The bytes of one photo and of what goes with it in the board file.
#[derive(Debug, Clone, Copy)]
pub struct PhotoBytes<'a> {
    /// The photo.
    pub image: &'a [u8],
    /// Its mask.
    pub mask: Option<&'a [u8]>,
    /// Its traced path.
    pub path: Option<&'a [u8]>,
}
/// The photos of a board, in the board file's order.
#[derive(Debug, Clone, Default)]
pub struct Photos<'a>(pub Vec<PhotoBytes<'a>>);
impl<'a> From<Option<&'a [u8]>> for Photos<'a> {
    fn from(photo: Option<&'a [u8]>) -> Self {
        Self(photo.map(|image| PhotoBytes { image, mask: None, path: None }).into_iter().collect())
    }
}
/// A deck brought back to true size, in the final deck frame, with what every stage reports.
#[derive(Debug, Clone)]
pub struct Reconstruction {
    /// The deck.
    pub deck: Deck,
    /// mm per scan unit.
    pub scale: Scale,
    /// Scan units to mm in the deck frame.
    pub scan_to_deck: Similarity,
    /// Reader's report.
    pub read: ReadReport,
    /// How further scans were laid on the first.
    pub joined: Vec<JoinReport>,
    /// Isolation's report.
    pub frame: FrameReport,
    /// The tape beside scan and photos.
    pub tape: TapeReport,
    /// Fit's report.
    pub surface: SurfaceReport,
    /// Where the outline comes from.
    pub outline_source: OutlineSource,
    /// Standard error of the underside's heights, mm.
    pub surface_error: ErrorMap,
    /// Outline's report.
    pub outline: OutlineReport,
    /// The scan's points of the underside, rim band included, mm.
    pub sheet: Vec<Point3<f64>>,
    /// Some points of each kind, mm, for a picture of what was kept and left out.
    pub sorted: SortedPoints,
    /// Where no enclosure can go: what stands on the deck in the scan, trucks by their holes, kicks.
    pub keep_outs: Vec<KeepOut>,
    /// The scan's colours over the underside, where it has any and shows that side.
    pub colours: Option<ColourMap>,
}

/// From a scan of the top side to the underside: one thickness below it along the normal, and turned over.
fn other_side(framed: &mut Framed, fit: &mut Underside, thickness_mm: f64) -> Result<()> {
    let rim = framed.rim.resampled(400);
    let below = offset_height(&fit.z, -thickness_mm, |x, y| rim.contains([x, y]))
        .map_err(|e| offset_error(Stage::Surface, "the underside below the scanned top", thickness_mm, &e))?;
    // the offset's refit is finer than the shape needs
    fit.z = below.turned().thinned(THIN_MM, |_, _| true).z;
    fit.error = fit.error.turned();
    fit.report.control_points = [fit.z.x.len(), fit.z.y.len()];
    let turn =
        Similarity { rotation: Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, -1.0)), ..Similarity::identity() };
    framed.scan_to_deck = turn.after(&framed.scan_to_deck);
    // the rim is taken over upright
    framed.rim_lean = 0.0;
    framed.rim.points = framed.rim.points.iter().rev().map(|p| [p[0], -p[1]]).collect();
    framed.sheet.iter_mut().for_each(|p| *p = turn.apply(p));
    framed.sorted = framed.sorted.mapped(&turn);
    // what stands on the top hides no rail of the underside
    framed.standing.clear();
    framed.overhanging.clear();
    Ok(())
}

/// What the scans and the tape alone give: isolated, in the deck's axes, with the underside fitted. Kept by a caller that tries several
/// photos, thicknesses or enclosures on one scan.
#[derive(Debug, Clone)]
pub struct Surveyed {
    cloud: RawCloud,
    joined: Vec<JoinReport>,
    framed: Framed,
    fit: Underside,
}
/// Points below which a board and what lies about it can hardly be told apart: at a phone's usual distance they are a centimetre
/// apart.
const FEW_POINTS: usize = 5000;
/// A scan with few points is told so, where it holds no board that can be found.
fn of_few_points(e: Error, points: usize) -> Error {
    if points >= FEW_POINTS || e.stage() != Stage::Frame {
        return e;
    }
    let count = format!("the scan has {points} points");
    let message = match e.message().contains(&count) {
        true => e.message().to_owned(),
        false => format!("{} (the scan has only {points} points)", e.message()),
    };
    e.retold(
        message,
        format!(
            "export the scan with all its points, or scan again nearer and slower: a board needs some {FEW_POINTS}"
        ),
    )
}
/// What refusals of a board mean that was found in the scan.
const NO_SIZE: &str = "A piece like a board was found, but by the tape's width it has a size that no board has. The width is wrong, or this is \
                       not the board.";
const NO_DECKS_SHAPE: &str = "A piece with a board's outline was found, but it is bent as no board is.";
const NO_SURFACE: &str = "The board was found, but its points do not show a whole surface.";
const NO_OTHER_SIDE: &str =
    "The board was found, but it bends too tightly for one thickness below the scanned side to be a surface.";
const NO_OUTLINE: &str = "The board was found, but not the whole of its rail. Without it the deck has no outline.";
const NO_DECK: &str = "The board was found, but what was taken for its rail is no outline of a deck.";
impl Surveyed {
    /// What isolation kept and left out, the scale by the tape and the scan's rim alone; mm, before the outline settles both.
    pub fn framed(&self) -> &Framed {
        &self.framed
    }
}
/// Reads the scans, joins and isolates them and fits the underside: the part of [`reconstruct`] that needs no photo.
///
/// # Errors
/// What reading, joining, isolation and the fit refuse.
pub fn survey<'a>(board: &Board, scans: impl Into<Scans<'a>>, observer: &mut dyn Observer) -> Result<Warned<Surveyed>> {
    let scans = scans.into();
    let mut warnings = Vec::new();
    observer.enter("scan");
    let mut clouds = Vec::new();
    for scan in scans.0 {
        let read = read_scan_textured(scan.file, &board.read_limits, scan.textures)?;
        clouds.push(read.drain_into(&mut warnings));
    }
    observer.enter("frame");
    let (cloud, joined) = join_scans(clouds, &board.tape, &board.frame)?.drain_into(&mut warnings);
    let framed = frame_deck(&cloud, &board.tape, &board.frame).map_err(|e| of_few_points(e, cloud.points.len()))?;
    let mut framed = framed.drain_into(&mut warnings);
    let (lo, hi) = framed.rim.bounds();
    board_length("the board in the scan, by the tape's width,", hi[0] - lo[0])
        .map_err(|e| e.refusing(|| framed.refusal(NO_SIZE)))?;
    observer.enter("surface");
    let mut fit = fit_underside(&framed.sheet, &framed.rim, &SurfaceOptions::default())
        .map_err(|e| e.refusing(|| framed.refusal(NO_SURFACE)))?
        .drain_into(&mut warnings);
    like_a_deck(&fit, &framed.rim).map_err(|e| e.refusing(|| framed.refusal(NO_DECKS_SHAPE)))?;
    if board.scan_side == ScanSide::Top {
        other_side(&mut framed, &mut fit, board.thickness_mm)
            .map_err(|e| e.refusing(|| framed.refusal(NO_OTHER_SIDE)))?;
    }
    Ok(Warned::with(Surveyed { cloud, joined, framed, fit }, warnings))
}

/// Reads, isolates, fits and outlines: from a scan's bytes (and a photo's) to a true-size deck.
///
/// # Errors
/// The first stage that cannot go on says why and what to try.
pub fn reconstruct<'a>(
    board: &Board,
    scans: impl Into<Scans<'a>>,
    photos: impl Into<Photos<'a>>,
    observer: &mut dyn Observer,
) -> Result<Warned<Reconstruction>> {
    let mut warnings = Vec::new();
    let photos = photos.into();
    let inputs = photo_inputs(board, &photos);
    let scans = scans.into();
    // photos are decoded while the scan is worked on
    let (surveyed, shots) = at_once(|| survey(board, scans, observer), || opened(&inputs, &board.tape));
    let surveyed = surveyed?.drain_into(&mut warnings);
    let rec = outlined(board, &surveyed, &shots?, observer)?.drain_into(&mut warnings);
    Ok(Warned::with(rec, warnings))
}
/// As [`reconstruct`], from what [`survey`] gave for the same scans and the same settings of scan, tape and thickness.
///
/// # Errors
/// As [`reconstruct`], but for the scan.
pub fn reconstruct_from<'a>(
    board: &Board,
    surveyed: &Surveyed,
    photos: impl Into<Photos<'a>>,
    observer: &mut dyn Observer,
) -> Result<Warned<Reconstruction>> {
    let photos = photos.into();
    outlined(board, surveyed, &opened(&photo_inputs(board, &photos), &board.tape)?, observer)
}
fn photo_inputs<'a>(board: &Board, photos: &Photos<'a>) -> Vec<PhotoInput<'a>> {
    (photos.0.iter().enumerate())
        .map(|(i, p)| {
            let known = board.photos.get(i).and_then(|f| f.known);
            PhotoInput { image: p.image, mask: p.mask, path: p.path, known, limits: board.photo_limits }
        })
        .collect()
}
/// The outline from the opened photos and the scan's rim, and the deck in its own frame.
fn outlined(
    board: &Board,
    surveyed: &Surveyed,
    shots: &Shots,
    observer: &mut dyn Observer,
) -> Result<Warned<Reconstruction>> {
    let Surveyed { cloud, joined, framed, fit } = surveyed;
    let mut warnings = Vec::new();
    observer.enter("outline");
    let painted = match board.scan_side {
        ScanSide::Underside if !shots.is_empty() => Painted::new(cloud, &framed.scan_to_deck, fit, &framed.rim),
        _ => None,
    };
    let hiding = [framed.standing.as_slice(), &framed.overhanging].concat();
    let scanned = ScannedBoard {
        underside: fit,
        rim: &framed.rim,
        rim_doubt_mm: framed.report.rim_doubt_mm,
        rim_lean: framed.rim_lean,
        rim_bridged: framed.report.rim_bridged_ratio,
        trucks: framed.trucks,
        standing: &hiding,
        thickness_mm: board.thickness_mm,
        rail_radius_mm: Some(board.deck_details.rail_radius_mm).filter(|r| *r > 0.0),
        painted: painted.as_ref(),
    };
    let outline = outline_from(shots, board.unusable_photo, &scanned, &board.tape)
        .map_err(|e| e.refusing(|| framed.refusal(NO_OUTLINE)))?
        .drain_into(&mut warnings);
    warnings.extend(outline.tape.warnings());
    warnings.extend(board.deck_details.beside(&board.tape));
    observer.enter("deck");
    let s = outline.scale_factor;
    let (lo, hi) = crate::deck::outline_bounds(&outline.curve);
    let (cx, cy) = ((lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0);
    let shift = [-s * cx, -s * cy, -s * fit.z.at(cx, cy)];
    let to_final = Similarity { rotation: Matrix3::identity(), scale: s, translation: Vector3::from(shift) };
    let mut curve = outline.curve;
    for p in &mut curve.points {
        *p = [s * p[0] + shift[0], s * p[1] + shift[1]];
    }
    let deck = make_deck(&fit.z.moved(s, shift), &curve, board.thickness_mm)
        .map_err(|e| e.refusing(|| framed.refusal(NO_DECK)))?
        .drain_into(&mut warnings);
    let deck = deck.with_details(board.deck_details.clone())?;
    let mm_per_unit = framed.scale.mm_per_unit * s;
    let scan_to_deck = to_final.after(&framed.scan_to_deck);
    let colours = match board.scan_side {
        ScanSide::Underside => ColourMap::new(cloud, &scan_to_deck, &deck, s * framed.report.spacing_mm),
        ScanSide::Top => None,
    };
    let shown = OutlineReport {
        bolt_holes: outline.report.bolt_holes.map(|h| h.moved([shift[0], shift[1]])),
        rail: outline.report.rail.into_iter().map(|r| r.moved([shift[0], shift[1]])).collect(),
        ..outline.report
    };
    let standing: Vec<Point3<f64>> = framed.standing.iter().map(|p| to_final.apply(p)).collect();
    let holes = shown.bolt_holes.as_ref().map_or(&[][..], |h| &h.at_mm);
    let value = Reconstruction {
        keep_outs: keep_outs(&deck, &standing, holes),
        colours,
        sheet: framed.sheet.iter().map(|p| to_final.apply(p)).collect(),
        sorted: framed.sorted.mapped(&to_final),
        deck,
        scale: Scale { mm_per_unit, standard_uncertainty: mm_per_unit * outline.scale_relative_uncertainty },
        scan_to_deck,
        read: cloud.report.clone(),
        joined: joined.clone(),
        frame: framed.report.clone().scaled(s),
        tape: outline.tape,
        surface: fit.report.clone().moved(s, shift[0]),
        surface_error: fit.error.moved(s, [shift[0], shift[1]]),
        outline_source: outline.source,
        outline: shown,
    };
    Ok(Warned::with(value, warnings))
}

/// What a build gives: files to write and the report, complete but for the seconds.
#[derive(Debug, Clone)]
pub struct Build {
    /// The files but for the report's own.
    pub files: Vec<OutputFile>,
    /// Everything measured.
    pub report: Report,
}

/// The whole build: every file but the report's own.
///
/// # Errors
/// As [`reconstruct`], and what the mating face and the writers refuse.
pub fn build<'a>(
    board: &Board,
    scans: impl Into<Scans<'a>>,
    photos: impl Into<Photos<'a>>,
    observer: &mut dyn Observer,
) -> Result<Build> {
    let rec = reconstruct(board, scans, photos, observer)?;
    build_from(board, &rec, observer)
}
/// The enclosure of a board file on a deck.
#[derive(Debug, Clone, Default)]
pub struct Housing {
    /// The mating face; `None` where no enclosure is asked for.
    pub mating: Option<MatingFace>,
    /// The body; `None` where no depth is asked for.
    pub enclosure: Option<Enclosure>,
}
/// Makes the mating face and the enclosure of `board` on a reconstructed deck.
///
/// # Errors
/// What they refuse.
pub fn house(board: &Board, rec: &Reconstruction, observer: &mut dyn Observer) -> Result<Warned<Housing>> {
    let mut warnings = Vec::new();
    observer.enter("mating");
    let mating = mating_face(board, &rec.deck, &mut warnings)?;
    if let (Some(m), Some(spec)) = (&mating, &board.enclosure) {
        let free = longest_free(&rec.deck, &rec.keep_outs, spec.inset_mm);
        warnings.extend(room_warnings(&rooms(&rec.keep_outs, &m.footprint.outer_polygon), free));
    }
    observer.enter("enclosure");
    let enclosure = body(board, &rec.deck, mating.as_ref(), &mut warnings)?;
    Ok(Warned::with(Housing { mating, enclosure }, warnings))
}
/// As [`build`], from what [`reconstruct`] gave for the same inputs and the same settings of scan, tape, photo and deck: those of
/// enclosure, gasket, rider and output may have changed since.
///
/// # Errors
/// What the mating face and the writers refuse.
pub fn build_from(board: &Board, rec: &Warned<Reconstruction>, observer: &mut dyn Observer) -> Result<Build> {
    let mut warnings = rec.warnings.clone();
    let rec = &rec.value;
    let Housing { mating, enclosure } = house(board, rec, observer)?.drain_into(&mut warnings);
    observer.enter("files");
    let report = || Report::new(board, rec, mating.as_ref(), warnings).with_enclosure(enclosure.as_ref());
    let (made, mut report) = at_once(|| shape_files(board, rec, mating.as_ref(), enclosure.as_ref()), report);
    let (mut files, fit_check) = made?;
    for p in &rec.outline.photos {
        let name = if p.number == 1 { "photo-outline.jpg".into() } else { format!("photo-outline-{}.jpg", p.number) };
        files.push(OutputFile::new(&name, p.picture.drawn.clone()));
    }
    report.fit_check = fit_check.into_iter().map(|p| p.figures).collect();
    if let Some(e) = &enclosure {
        let own = own_gaps(board, rec, mating.as_ref(), e)?;
        report.add_gaps(&own, OWN_GAPS);
        files.push(OutputFile::new(OWN_GAPS, own.to_json().into_bytes()));
    }
    report.page.name_files(files.iter().map(|f| f.name.as_str()));
    Ok(Build { files, report })
}

/// The files of deck, mating face, enclosure and fit check, and the fit check's pieces.
fn shape_files(
    board: &Board,
    rec: &Reconstruction,
    mating: Option<&MatingFace>,
    enclosure: Option<&Enclosure>,
) -> Result<(Vec<OutputFile>, Vec<FitPiece>)> {
    let holes: Vec<export::Hole> = (enclosure.iter().flat_map(|e| &e.screws))
        .enumerate()
        .map(|(i, s)| export::Hole { at: s.at_mm, diameter_mm: s.hole_mm, name: (i + 1).to_string() })
        .collect();
    let mut files = export::build_files(&board.name, &rec.deck, mating, &holes, &board.output)?;
    let drilled = enclosure.and_then(|e| e.drilled(&rec.deck));
    if let Some(e) = enclosure {
        files.extend(export::enclosure_files(&board.name, &rec.deck, drilled.as_ref(), e, board.output.chord_mm)?);
    }
    if let Some(m) = mating {
        files.push(export::assembly_file(&board.name, &rec.deck, drilled.as_ref(), m, enclosure)?);
    }
    let stations = board.output.stations_mm.clone().unwrap_or_else(|| export::default_stations(&rec.deck, mating));
    let fit_check = make_fit_check(&rec.deck, mating, &stations, &board.fit_check)?;
    files.extend(export::fit_check_files(&fit_check)?);
    files.extend(enclosure.map(|enclosure| {
        let (gasket_mm, paper) = (board.gasket.thickness_mm, board.output.paper);
        let (deck, thickness_assumed) = (&rec.deck, board.thickness_assumed);
        let (title, fit_check) = (board.name.as_str(), fit_check.as_slice());
        export::BuildSheet { title, deck, thickness_assumed, enclosure, fit_check, gasket_mm, paper }.file()
    }));
    Ok((files, fit_check))
}

/// The gaps of the enclosure that a build makes itself.
const OWN_GAPS: &str = "enclosure-gaps.json";

/// The gaps of the enclosure that was made with the deck.
fn own_gaps(
    board: &Board,
    rec: &Reconstruction,
    mating: Option<&MatingFace>,
    enclosure: &Enclosure,
) -> Result<GapsReport> {
    let part = Part { mesh: enclosure.mesh().clone(), pose: Pose::Given, within_footprint: false };
    let proved = prove_as_laid(board, rec, mating, Some(enclosure), &part)?;
    Ok(GapsReport::new(board, &proved.value, proved.warnings))
}

fn mating_face(board: &Board, deck: &Deck, warnings: &mut Vec<Warning>) -> Result<Option<MatingFace>> {
    let Some(spec) = &board.enclosure else { return Ok(None) };
    let made = make_mating(deck, spec)?;
    Ok(Some(made.drain_into(warnings)))
}

fn body(
    board: &Board,
    deck: &Deck,
    mating: Option<&MatingFace>,
    warnings: &mut Vec<Warning>,
) -> Result<Option<Enclosure>> {
    let (Some(mating), Some(rim), Some(spec)) = (mating, &board.enclosure, &board.body) else { return Ok(None) };
    let mut spec = spec.clone();
    if let Some((rider, _)) = rider_on(board, &Bending::new(deck)) {
        spec.sag_mm = rider.sag_mm;
    }
    Ok(Some(make_enclosure(deck, mating, rim, &spec)?.drain_into(warnings)))
}

/// The gap of an enclosure's rim to the deck of `board`.
///
/// # Errors
/// As [`reconstruct`], and an enclosure that has no rim near the deck.
pub fn gaps<'a>(
    board: &Board,
    scans: impl Into<Scans<'a>>,
    photos: impl Into<Photos<'a>>,
    part: &Part,
    observer: &mut dyn Observer,
) -> Result<Warned<(Proof, Reconstruction)>> {
    let mut warnings = Vec::new();
    let rec = reconstruct(board, scans, photos, observer)?.drain_into(&mut warnings);
    let proof = gaps_from(board, &rec, part, observer)?.drain_into(&mut warnings);
    Ok(Warned::with((proof, rec), warnings))
}
/// As [`gaps`], on a deck that is there already.
///
/// # Errors
/// An enclosure that has no rim near the deck.
pub fn gaps_from(
    board: &Board,
    rec: &Reconstruction,
    part: &Part,
    observer: &mut dyn Observer,
) -> Result<Warned<Proof>> {
    let mut warnings = Vec::new();
    observer.enter("gap");
    // the enclosure to prove may be another one: what the board file's own lacks is told by `build`
    let mut unsaid = Vec::new();
    let mating = match mating_face(board, &rec.deck, &mut unsaid) {
        // without its footprint this part cannot be proved: why there is none is what its owner must know
        Err(e) if part.needs_footprint() => return Err(e),
        made => made,
    };
    let own = mating.as_ref().map_err(Clone::clone).and_then(|m| body(board, &rec.deck, m.as_ref(), &mut unsaid));
    if let Err(e) = &own {
        warnings.push(Warning::new(
            Stage::Gap,
            format!(
                "the board file's own enclosure cannot be made, so the places of its screws are not known: {}",
                e.message()
            ),
            e.hint_text().unwrap_or("run build on the board file"),
        ));
    }
    let (mating, own) = (mating.ok().flatten(), own.ok().flatten());
    let proof = prove(board, rec, mating.as_ref(), own.as_ref(), part)?.drain_into(&mut warnings);
    Ok(Warned::with(proof, warnings))
}
/// The gaps of the enclosure of `housing` itself; `None` where there is no body.
///
/// # Errors
/// A rim that has no place near the deck.
pub fn housing_gaps(board: &Board, rec: &Reconstruction, housing: &Housing) -> Result<Option<GapsReport>> {
    let own = |e| own_gaps(board, rec, housing.mating.as_ref(), e);
    housing.enclosure.as_ref().map(own).transpose()
}

/// The longest room for an enclosure along a board, from and to along it from the board's middle, mm, by its scan and tape alone:
/// between what stands on the deck, the kicks and the ends less `inset_mm`.
///
/// # Errors
/// What reading, isolation and the fit refuse.
pub fn free_room(scan: &[u8], tape: &crate::frame::Tape, inset_mm: f64) -> Result<[f64; 2]> {
    let cloud = read_scan_textured(scan, &ReadLimits::default(), Textures::Unread)?.value;
    let framed = frame_deck(&cloud, tape, &FrameOptions::default())?.value;
    let fit = fit_underside(&framed.sheet, &framed.rim, &SurfaceOptions::default())?.value;
    let curve = closed_fit(&framed.rim.resampled(RIM_POINTS), RIM_SPANS)
        .ok_or_else(|| Error::new(Stage::Frame, "the scan's rim is no closed curve"))?;
    // the room is along the board: any usual thickness serves
    let deck = make_deck(&fit.z, &curve, crate::settings::THICKNESS_MM)?.value;
    let mut taken = keep_outs(&deck, &framed.standing, &[]);
    // trucks that the scan does not show stand where the wheelbase has them about the board's middle
    if let Some(wheelbase) = tape.wheelbase_mm
        && !taken.iter().any(|k| k.kind == KeepOutKind::Standing)
    {
        let half = wheelbase / 2.0;
        let holes: Vec<[f64; 2]> = [-half, half].iter().flat_map(|x| [[*x, 0.0]; 4]).collect();
        taken = keep_outs(&deck, &framed.standing, &holes);
    }
    Ok(longest_free(&deck, &taken, inset_mm))
}
/// Points and spans of a rim that only says where its ends are.
const RIM_POINTS: usize = 400;
const RIM_SPANS: usize = 120;

/// A scan brought to true size by the tape alone: in the deck frame, or in its own frame with only the size changed.
///
/// # Errors
/// What reading and isolation refuse.
pub fn rescale<'a>(
    scan: impl Into<ScanBytes<'a>>,
    tape: &crate::frame::Tape,
    keep_frame: bool,
) -> Result<Warned<(RawCloud, Scale)>> {
    let mut warnings = Vec::new();
    let scan = scan.into();
    let read = read_scan_textured(scan.file, &ReadLimits::default(), scan.textures)?;
    let mut cloud = read.drain_into(&mut warnings);
    let framed = frame_deck(&cloud, tape, &FrameOptions::default())?.drain_into(&mut warnings);
    warnings.extend(framed.tape.warnings());
    let map = if keep_frame {
        Similarity { scale: framed.scale.mm_per_unit, ..Similarity::identity() }
    } else {
        framed.scan_to_deck
    };
    for p in cloud.points.iter_mut().chain(cloud.texels.iter_mut().map(|t| &mut t.at)) {
        *p = map.apply(p);
    }
    for n in cloud.normals.iter_mut().flatten() {
        *n = map.rotation * *n;
    }
    Ok(Warned::with((cloud, framed.scale), warnings))
}
