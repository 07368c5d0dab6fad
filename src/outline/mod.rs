//! The sharp outline from a photo, or from the scan's rim.
mod alone;
mod border;
mod by_colours;
mod camera;
mod clearness;
mod contradiction;
mod cover;
mod drawn;
mod edge;
mod fair;
mod graphic;
mod hidden;
mod holes;
mod joint;
mod known;
mod laid;
mod odds;
mod outcome;
mod overlay;
pub(crate) mod photo;
mod prior;
mod readings;
mod region;
mod rim;
mod search;
mod seen_rim;
mod solve;
mod squeezed;
mod start;
mod stray;
mod svg;
mod trace;
mod widest;
pub use graphic::Painted;
pub use holes::BoltHoles;
pub use known::KnownReport;
pub(crate) use trace::traced;

use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::frame::{RimSize, Tape, TapeReport, TruckSpan, solve_scale};
use crate::geom::{Polygon, asymmetry, outward_normals};
use crate::num::{Curve, each};
use crate::surface::Underside;
use fair::{fair_closed, sampled};
use nalgebra::Point3;

/// Points along the rim used everywhere in this stage: 2-3 mm apart on a usual board.
const STATIONS: usize = 720;

/// Where the outline comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum OutlineSource {
    /// The edge found in the photo.
    Photo,
    /// The border of a cut-out's alpha.
    CutOut,
    /// The scan's own rim.
    ScanRim,
}
/// The outline in plan, in the frame and mm of the surface it was lifted onto.
#[derive(Debug, Clone)]
pub struct Outline {
    /// Closed clamped cubic, counter-clockwise, first point = last point, tangent-continuous there.
    pub curve: Curve<2>,
    /// Where it comes from.
    pub source: OutlineSource,
    /// All lengths (this curve's too) times this are true to the tape.
    pub scale_factor: f64,
    /// Relative standard uncertainty of the scale after this stage.
    pub scale_relative_uncertainty: f64,
    /// How well the tape's readings agree with all the rest.
    pub tape: TapeReport,
    /// What the solve found.
    pub report: OutlineReport,
}
/// What the outline stage found. Pixels are those of the file, upright.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct OutlineReport {
    /// Residual rms of the rail in the first photo, pixels.
    pub residual_px: Option<f64>,
    /// The same on the board, mm.
    pub residual_mm: Option<f64>,
    /// How far the scan's rim lies inside the true rail, on the mean, mm.
    pub rim_displacement_mm: Option<f64>,
    /// Its standard uncertainty, mm.
    pub rim_displacement_sd_mm: Option<f64>,
    /// Radius of the rail's rounding that photos and scan together speak of, mm.
    pub rail_radius_mm: Option<f64>,
    /// Its standard uncertainty, mm.
    pub rail_radius_sd_mm: Option<f64>,
    /// Standard deviation of the scan's rim along the rail that photo and scan together speak of, mm.
    pub scan_rim_sd_mm: Option<f64>,
    /// How far the outline is from its own mirror image about the board's middle line, mm rms: a check that asks nothing of scan, photo and tape.
    pub asymmetry_mm: f64,
    /// Focal length of the first photo, pixels.
    pub focal_px: Option<f64>,
    /// Its radial distortion k1.
    pub k1: Option<f64>,
    /// Share of the rail that no photo shows and that was bridged.
    pub bridged_ratio: f64,
    /// Each photo used.
    pub photos: Vec<PhotoReport>,
    /// Truck bolt holes, where a photo shows all eight.
    pub bolt_holes: Option<BoltHoles>,
    /// The outline's standard error along the rail, counter-clockwise.
    pub rail: Vec<RailError>,
}
/// One photo in the solve.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct PhotoReport {
    /// Its place among the photos given, from 1.
    pub number: usize,
    /// Residual rms of the rail, pixels.
    pub residual_px: f64,
    /// The same on the board, mm.
    pub residual_mm: f64,
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Radial distortion k1, k2 (Brown-Conrady).
    pub k: [f64; 2],
    /// Principal point, pixels from the upper left corner.
    pub principal_point_px: [f64; 2],
    /// From the camera to the deck frame's origin, mm.
    pub distance_mm: f64,
    /// False for a photo of the top side.
    pub shows_underside: bool,
    /// Share of the rail hidden behind what stands on the board.
    pub hidden_ratio: f64,
    /// Patches of the scan's own colours found in it, which then place its camera; 0 where its contour does.
    pub colour_patches: usize,
    /// The length known in it, where one is given on the board.
    pub known: Option<KnownReport>,
    /// The photo with what was found in it.
    #[serde(skip)]
    pub picture: PhotoPicture,
}
/// A photo made small enough for a screen, with what was found in it.
#[derive(Debug, Clone, Default)]
pub struct PhotoPicture {
    /// JPEG: with the found rail (yellow; magenta where hidden) and the scan's rim (blue) drawn over it.
    pub drawn: Vec<u8>,
    /// JPEG: the photo alone, upright.
    pub bare: Vec<u8>,
    /// Width and height of both, pixels.
    pub size_px: [usize; 2],
    /// What is drawn.
    pub lines: PhotoLines,
}
/// What was found in a photo; pixels of a [`PhotoPicture`], x right, y down, closed.
#[derive(Debug, Clone, Default)]
pub struct PhotoLines {
    /// The rail.
    pub rail: Vec<[f64; 2]>,
    /// The scan's rim as the solved camera sees it.
    pub scan_rim: Vec<[f64; 2]>,
    /// For each point of `rail`: whether something hides it, so that it was bridged.
    pub hidden: Vec<bool>,
    /// Middles of the truck bolt holes found.
    pub holes: Vec<[f64; 2]>,
}
/// A place on the rail.
#[derive(Debug, Clone, Copy, Default, serde::Serialize)]
pub struct RailError {
    /// Along the board, mm.
    pub x_mm: f64,
    /// Across it, mm.
    pub y_mm: f64,
    /// Standard error of the outline across the rail, mm; the scale's doubt is in it.
    pub standard_error_mm: f64,
    /// How far outside the scan's rim the outline lies, mm.
    pub from_scan_rim_mm: f64,
    /// Whether no photo shows this place.
    pub bridged: bool,
}
impl RailError {
    /// In a frame moved by `shift`, mm.
    #[must_use]
    pub fn moved(self, shift: [f64; 2]) -> Self {
        Self { x_mm: self.x_mm + shift[0], y_mm: self.y_mm + shift[1], ..self }
    }
}
/// One photo with what the builder adds to it; all as bytes of files.
#[derive(Debug, Clone, Copy, Default)]
pub struct PhotoInput<'a> {
    /// JPEG or PNG; a PNG's transparency is a cut-out.
    pub image: &'a [u8],
    /// An image of the photo's shape, light (or opaque) where the board is.
    pub mask: Option<&'a [u8]>,
    /// SVG, or bare SVG path data, in the photo's pixels: the rail traced by hand.
    pub path: Option<&'a [u8]>,
    /// A length known in it.
    pub known: Option<KnownLength>,
    /// What the photo and its mask may ask for.
    pub limits: crate::picture::PhotoLimits,
}
impl<'a> From<&'a [u8]> for PhotoInput<'a> {
    fn from(image: &'a [u8]) -> Self {
        Self { image, ..Self::default() }
    }
}
/// A length on the underside between two pixels of an upright photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct KnownLength {
    /// One end, pixels from the upper left corner.
    pub from_px: [f64; 2],
    /// The other.
    pub to_px: [f64; 2],
    /// Straight between them, mm.
    pub length_mm: f64,
}
/// What to do when no photo can serve.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Unusable {
    /// Take the scan's rim, with a warning.
    #[default]
    ScanRim,
    /// Stop with an error.
    Refuse,
}
/// Pixels a hand marks a point to, standard deviation of either end.
const MARK_PX: f64 = 1.0;

/// The outline from the scan's rim alone, moved out by what the tape says the scan's rail has lost at the sides and at the ends.
fn from_rim(board: &ScannedBoard, tape: &Tape) -> Result<Outline> {
    let rim = board.rim;
    let degenerate =
        || Error::new(Stage::Outline, format!("the rim of {} points is not a closed curve", rim.points.len()));
    let fair = fair_closed(&rim.resampled(STATIONS).points).ok_or_else(degenerate)?;
    let pts = sampled(&fair, 4 * STATIONS);
    // measured as it will be drawn: fairing takes a little off a place that stands out
    let drawn = sampled(&fair_closed(&pts).ok_or_else(degenerate)?, 4 * STATIONS);
    let size = RimSize::of(&Polygon { points: drawn }, board.rim_doubt_mm, board.trucks, tape);
    let solved = solve_scale(&size, tape).ok_or_else(degenerate)?;
    let [sides, ends] = solved.displacement.map(|d| d / solved.factor);
    let grown: Vec<[f64; 2]> = (pts.iter().zip(outward_normals(&pts)))
        .map(|(p, n)| {
            let by = sides * n[1] * n[1] + ends * n[0] * n[0];
            [p[0] + by * n[0], p[1] + by * n[1]]
        })
        .collect();
    let curve = fair_closed(&grown).ok_or_else(degenerate)?;
    let mean = (solved.displacement[0] + solved.displacement[1]) / 2.0;
    let uneven = asymmetry(&Polygon { points: sampled(&curve, STATIONS) });
    let report = OutlineReport {
        rim_displacement_mm: tape.length_mm.map(|_| mean),
        asymmetry_mm: solved.factor * uneven,
        ..Default::default()
    };
    Ok(Outline {
        curve,
        source: OutlineSource::ScanRim,
        scale_factor: solved.factor,
        scale_relative_uncertainty: solved.relative,
        tape: solved.report,
        report,
    })
}
/// The outline without a photo, or where photos show none for the reason given, with the warning that goes with it.
fn rim_only(board: &ScannedBoard, tape: &Tape, why: Option<&str>) -> Result<Warned<Outline>> {
    if board.rim_bridged > MOST_BRIDGED {
        let message = format!(
            "{:.0} % of the rail is not in the scan, the limit is {:.0} %, and no photo shows it{}",
            100.0 * board.rim_bridged,
            100.0 * MOST_BRIDGED,
            why.map(|w| format!(" ({w})")).unwrap_or_default()
        );
        let hint = "scan all round the rail, with nothing lying on the board; or give a photo of the whole underside from above";
        return Err(Error::new(Stage::Outline, message).hint(hint));
    }
    let message = why.map_or_else(
        || "no photo: the outline is the scan's own rim, some mm inside the true rail".to_owned(),
        |w| format!("THE PHOTO COULD NOT BE USED ({w}): the outline is the scan's own rim"),
    );
    let warning = Warning::new(
        Stage::Outline,
        message,
        "give one sharp photo of the underside from above, of a megapixel or more, with the whole board in it",
    );
    Ok(Warned::with(from_rim(board, tape)?, vec![warning]))
}
/// Decodes a photo and lays its mask or traced path over it.
fn shot(input: &PhotoInput, tape: &Tape) -> Result<solve::Shot> {
    let mut picture = photo::decode(input.image, &input.limits)?;
    if let Some(mask) = input.mask {
        picture.mask(mask, &input.limits)?;
    }
    if let Some(path) = input.path {
        let size = [picture.width, picture.height].map(|n| n as f64 * picture.file_px);
        picture.trace(&trace::traced_over(path, size)?);
    }
    let known = input.known.iter().map(|k| known::observed(k, &picture, tape)).collect::<Result<_>>()?;
    Ok(solve::Shot { known, picture })
}
/// Most of a rail that may be carried on where nothing shows it, as a share: more than an end with both its corners, or most of a side.
const MOST_BRIDGED: f64 = 0.3;

/// The board as the scan has it, in its own frame and unit, some mm.
#[derive(Debug, Clone, Copy)]
pub struct ScannedBoard<'a> {
    /// The fitted underside.
    pub underside: &'a Underside,
    /// The rim in plan, counter-clockwise.
    pub rim: &'a Polygon,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends.
    pub rim_doubt_mm: [f64; 2],
    /// How its wall leans: 0 upright in plan, 1 square to the underside.
    pub rim_lean: f64,
    /// Share of it that the scan does not show: it is carried on from what lies beside.
    pub rim_bridged: f64,
    /// Distance of the trucks where the scan shows them.
    pub trucks: Option<TruckSpan>,
    /// What stands over the underside (wheels); it hides parts of the rail.
    pub standing: &'a [Point3<f64>],
    /// Thickness of the board: its rails are rounded by up to half of it.
    pub thickness_mm: f64,
    /// Radius of the rail's rounding where it was measured.
    pub rail_radius_mm: Option<f64>,
    /// The scan's own colours over the underside, where it has any.
    pub painted: Option<&'a Painted>,
}
/// The outline in the frame and mm of the scanned underside: from `photos` where there are any, solved together with the
/// scan's rim and the tape; else from the rim alone, which lies inside the rail by 0 with its doubt before the tape speaks.
///
/// # Errors
/// A file that is no image, mask or path; a degenerate rim; photos that show no board, where `unusable` says so.
pub fn find_outline(
    photos: &[PhotoInput],
    unusable: Unusable,
    board: &ScannedBoard,
    tape: &Tape,
) -> Result<Warned<Outline>> {
    outline_from(&opened(photos, tape)?, unusable, board, tape)
}
/// Photos decoded, with what is laid over them.
pub(crate) struct Shots(Vec<solve::Shot>);
impl Shots {
    /// Whether there is no photo.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }
}
/// The first half of [`find_outline`], which needs no scan.
pub(crate) fn opened(photos: &[PhotoInput], tape: &Tape) -> Result<Shots> {
    each(photos.len(), |i| shot(&photos[i], tape)).into_iter().collect::<Result<_>>().map(Shots)
}
/// The second half of [`find_outline`].
pub(crate) fn outline_from(
    shots: &Shots,
    unusable: Unusable,
    board: &ScannedBoard,
    tape: &Tape,
) -> Result<Warned<Outline>> {
    if shots.0.is_empty() {
        return rim_only(board, tape, None);
    }
    match (solve::from_photos(&shots.0, board, tape), unusable) {
        (Ok(outline), _) => Ok(outline),
        (Err(why), Unusable::ScanRim) => rim_only(board, tape, Some(&why)),
        (Err(why), Unusable::Refuse) => Err(Error::new(Stage::Outline, format!("the photo cannot serve: {why}")).hint(
            "give a photo of the underside from above with the whole board in it, or take [photo] out of the board file to \
             use the scan's own rim",
        )),
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::length_and_width;
    use crate::num::{Knots, TensorSpline};
    fn flat() -> Underside {
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        Underside {
            z: TensorSpline::new(x, y, vec![0.0; 16]).unwrap(),
            error: crate::surface::ErrorMap::constant([-500.0, -200.0], [500.0, 200.0], 0.1),
            report: crate::surface::SurfaceReport::default(),
        }
    }
    fn scanned<'a>(underside: &'a Underside, rim: &'a Polygon, doubt: f64) -> ScannedBoard<'a> {
        ScannedBoard {
            underside,
            rim,
            rim_doubt_mm: [doubt; 2],
            rim_lean: 0.5,
            rim_bridged: 0.0,
            trucks: None,
            standing: &[],
            thickness_mm: 11.0,
            rail_radius_mm: None,
            painted: None,
        }
    }
    fn outline_of(
        photos: &[PhotoInput],
        unusable: Unusable,
        rim: &Polygon,
        doubt: f64,
        tape: &Tape,
    ) -> Result<Warned<Outline>> {
        let underside = flat();
        find_outline(photos, unusable, &scanned(&underside, rim, doubt), tape)
    }
    /// A deck once came from a scan of which a third of the rail was missing, upside down and a fifth too short, with mild warnings.
    #[test]
    fn a_rail_that_nothing_shows_is_not_made_up() {
        let underside = flat();
        let rim = Polygon { points: vec![[-300.0, -90.0], [300.0, -90.0], [300.0, 90.0], [-300.0, 90.0]] };
        let board = |rim_bridged: f64| ScannedBoard { rim_bridged, ..scanned(&underside, &rim, 1.0) };
        let tape = Tape { width_mm: 180.0, ..Tape::default() };
        let of = |bridged: f64| find_outline(&[], Unusable::ScanRim, &board(bridged), &tape);
        assert!(of(0.29).is_ok());
        let e = of(0.34).unwrap_err();
        assert!(e.message().contains("34 % of the rail is not in the scan") && e.hint_text().is_some(), "{e}");
    }
    /// A rim 3 mm inside an 800 x 200 mm ellipse-like shape, 2 % too small, with both tape readings.
    #[test]
    fn rim_alone_meets_the_tape() {
        let ellipse: Vec<[f64; 2]> = (0..500)
            .map(|i| f64::from(i) / 500.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let points = ellipse
            .iter()
            .zip(outward_normals(&ellipse))
            .map(|(p, n)| [0.98 * (p[0] - 3.0 * n[0]), 0.98 * (p[1] - 3.0 * n[1])])
            .collect();
        let tape = Tape { width_mm: 200.0, length_mm: Some(800.0), tolerance_mm: 0.5, ..Tape::default() };
        let o = outline_of(&[], Unusable::Refuse, &Polygon { points }, 3.0, &tape).unwrap();
        assert_eq!(o.warnings.len(), 1);
        let o = o.value;
        // two readings for scale, sides and ends: the loss is shared between scale and displacement, as the doubt says
        let off = o.scale_factor * 0.98 - 1.0;
        assert!(off.abs() < 2.0 * o.scale_relative_uncertainty, "{off} {}", o.scale_relative_uncertainty);
        assert!(o.scale_relative_uncertainty < 2.0 * 3.0 / 800.0, "{}", o.scale_relative_uncertainty);
        let d = o.report.rim_displacement_mm.unwrap();
        assert!(d > 0.0 && d < 2.94, "{:?}", o.report);
        let (l, w) = length_and_width(&Polygon { points: sampled(&o.curve, 1000) });
        assert!((l * o.scale_factor - 800.0).abs() < 0.5 && (w * o.scale_factor - 200.0).abs() < 0.5);
    }
    #[test]
    fn empty_rim_is_an_error() {
        let tape = Tape { width_mm: 200.0, length_mm: None, tolerance_mm: 0.5, ..Tape::default() };
        assert!(outline_of(&[], Unusable::Refuse, &Polygon { points: vec![] }, 1.0, &tape).is_err());
    }
    /// A picture of an egg-shaped flat board seen straight down, .6 px/mm, on a floor of grey noise or cut out.
    fn rendered(cut_out: bool) -> (Vec<u8>, Polygon, Polygon) {
        let shape = |grow: f64| {
            let p: Vec<[f64; 2]> = (0..250)
                .map(|i| f64::from(i) / 250.0 * std::f64::consts::TAU)
                .map(|a| [350.0 * a.cos(), (110.0 + 15.0 * a.cos()) * a.sin()])
                .collect();
            let n = outward_normals(&p);
            Polygon { points: p.iter().zip(n).map(|(p, n)| [p[0] + grow * n[0], p[1] + grow * n[1]]).collect() }
        };
        let truth = shape(0.0);
        let mut seed = 7u32;
        let picture = image::RgbaImage::from_fn(600, 400, |u, v| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let grey = 140 + (seed >> 27) as u8;
            let (x, y) = ((f64::from(u) + 0.5 - 300.0) / 0.6, -(f64::from(v) + 0.5 - 200.0) / 0.6);
            // coverage by the distance to the border: one pixel of blur
            let a = (0.5 - 0.6 * truth.signed_distance([x, y])).clamp(0.0, 1.0);
            let mix = |b: f64| (a * b + (1.0 - a) * f64::from(grey)) as u8;
            let alpha = if cut_out { (255.0 * a) as u8 } else { 255 };
            image::Rgba([mix(170.0), mix(50.0), mix(40.0), alpha])
        });
        let mut bytes = std::io::Cursor::new(Vec::new());
        picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
        (bytes.into_inner(), truth, shape(-3.0))
    }
    #[test]
    fn rendered_board_comes_back() {
        for (cut_out, source) in [(false, OutlineSource::Photo), (true, OutlineSource::CutOut)] {
            let (bytes, truth, rim) = rendered(cut_out);
            let (l, w) = length_and_width(&truth);
            let tape = Tape { width_mm: w, length_mm: Some(l), tolerance_mm: 0.5, ..Tape::default() };
            let o = outline_of(&[bytes.as_slice().into()], Unusable::Refuse, &rim, 1.0, &tape).unwrap();
            assert!(o.warnings.is_empty(), "{:?}", o.warnings);
            let o = o.value;
            assert_eq!(o.source, source);
            let e: Vec<f64> = sampled(&o.curve, 300)
                .iter()
                .map(|p| truth.signed_distance([p[0] * o.scale_factor, p[1] * o.scale_factor]))
                .collect();
            let rms = (e.iter().map(|e| e * e).sum::<f64>() / e.len() as f64).sqrt();
            // half a pixel is .83 mm
            assert!(rms < 0.5 / 0.6, "{source:?} {rms} {:?}", o.report.photos[0].residual_px);
        }
    }
    /// A red star without ground once passed for the board's cut-out, and the rail ran through nothing between its arms; so did a pan
    /// on a table.
    #[test]
    fn a_star_and_a_pan_are_not_the_boards_photo() {
        let (_, truth, rim) = rendered(true);
        let (l, w) = length_and_width(&truth);
        let tape = Tape { width_mm: w, length_mm: Some(l), tolerance_mm: 0.5, ..Tape::default() };
        let arms =
            (0..10).map(|i| (if i % 2 == 0 { 380.0 } else { 145.0 }, f64::from(i) * std::f64::consts::TAU / 10.0));
        let star = Polygon { points: arms.map(|(r, a)| [400.0 + r * a.sin(), 400.0 - r * a.cos()]).collect() };
        let pan = Polygon {
            points: [
                [60.0, 200.0],
                [420.0, 200.0],
                [420.0, 350.0],
                [740.0, 350.0],
                [740.0, 430.0],
                [420.0, 430.0],
                [420.0, 580.0],
                [60.0, 580.0],
            ]
            .to_vec(),
        };
        for (shape, cut_out) in [(star, true), (pan.clone(), true), (pan, false)] {
            let picture = image::RgbaImage::from_fn(800, 800, |u, v| {
                let inside = shape.contains([f64::from(u) + 0.5, f64::from(v) + 0.5]);
                let grain = ((u * 7919 + v * 104_729) % 11) as u8;
                let [r, g, b] = if inside { [60, 60, 90] } else { [200, 190, 170] };
                image::Rgba([r + grain, g + grain, b + grain, if cut_out && !inside { 0 } else { 255 }])
            });
            let mut bytes = std::io::Cursor::new(Vec::new());
            picture.write_to(&mut bytes, image::ImageFormat::Png).unwrap();
            let e = outline_of(&[bytes.get_ref().as_slice().into()], Unusable::Refuse, &rim, 1.0, &tape).unwrap_err();
            assert!(e.message().contains("cannot serve"), "{e}");
        }
    }
    #[test]
    fn photo_without_a_board_is_refused_with_numbers() {
        let mut bytes = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(300, 200, image::Rgb([120; 3]))
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        let (_, _, rim) = rendered(false);
        let tape = Tape { width_mm: 225.0, length_mm: None, tolerance_mm: 0.5, ..Tape::default() };
        let e = outline_of(&[bytes.get_ref().as_slice().into()], Unusable::Refuse, &rim, 1.0, &tape).unwrap_err();
        assert!(e.message().contains("0.01") && e.hint_text().is_some(), "{e}");
        // by default the scan's rim serves, and the warning says so
        let o = outline_of(&[bytes.get_ref().as_slice().into()], Unusable::ScanRim, &rim, 1.0, &tape).unwrap();
        assert_eq!(o.value.source, OutlineSource::ScanRim);
        assert!(o.warnings[0].message.contains("COULD NOT BE USED"), "{:?}", o.warnings);
        assert!(outline_of(&[b"garbage".as_slice().into()], Unusable::ScanRim, &rim, 1.0, &tape).is_err());
    }
}
