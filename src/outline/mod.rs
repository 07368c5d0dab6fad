//! The sharp outline from a photo, or from the scan's rim.
mod camera;
mod edge;
mod fair;
pub(crate) mod photo;
mod region;
mod solve;

use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::frame::{MOST_DISPLACEMENT_MM, Tape};
use crate::geom::{Polygon, outward_normals};
use crate::num::{Curve, TensorSpline};
use fair::{fair_closed, length_and_width, sampled};
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
    /// What the solve found.
    pub report: OutlineReport,
}
/// What the outline stage found.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct OutlineReport {
    /// Residual rms of the rim in the photo, pixels.
    pub residual_px: Option<f64>,
    /// The same on the board, mm.
    pub residual_mm: Option<f64>,
    /// How far the scan's rim lies inside the true rail, mm.
    pub rim_displacement_mm: Option<f64>,
    /// Focal length found, pixels.
    pub focal_px: Option<f64>,
    /// Radial distortion k1 found.
    pub k1: Option<f64>,
    /// Share of the rail that was hidden and bridged.
    pub bridged_ratio: f64,
    /// The rail found in the photo, pixels (x right, y down), for pictures.
    #[serde(skip)]
    pub contour_px: Vec<[f64; 2]>,
}

/// The outline from the scan's rim alone, expanded by what the tape's length says the scan's rail has lost.
fn from_rim(rim: &Polygon, tape: &Tape) -> Result<Outline> {
    let degenerate =
        || Error::new(Stage::Outline, format!("the rim of {} points is not a closed curve", rim.points.len()));
    let fair = fair_closed(&rim.resampled(STATIONS).points).ok_or_else(degenerate)?;
    let pts = sampled(&fair, STATIONS);
    let (l, w) = length_and_width(&pts);
    if !(w > 0.0 && l > 0.0 && tape.width_mm > 0.0) {
        return Err(degenerate());
    }
    let d = tape.rim_displacement(l, w).filter(|d| d.abs() <= MOST_DISPLACEMENT_MM);
    let by = d.unwrap_or(0.0);
    let grown: Vec<[f64; 2]> =
        pts.iter().zip(outward_normals(&pts)).map(|(p, n)| [p[0] + by * n[0], p[1] + by * n[1]]).collect();
    let curve = fair_closed(&grown).ok_or_else(degenerate)?;
    let report = OutlineReport { rim_displacement_mm: d, ..Default::default() };
    Ok(scaled(curve, OutlineSource::ScanRim, tape, report))
}
/// Puts the tape's scale on a curve: least squares on width and, where given, length.
fn scaled(curve: Curve<2>, source: OutlineSource, tape: &Tape, report: OutlineReport) -> Outline {
    let (l, w) = length_and_width(&sampled(&curve, 4 * STATIONS));
    let (num, den) = match tape.length_mm {
        Some(t) => (w * tape.width_mm + l * t, w * w + l * l),
        None => (tape.width_mm, w),
    };
    // the greatest error of a reading is taken as the half-width of a uniform law
    let sd = tape.tolerance_mm / 3f64.sqrt();
    let size = if tape.length_mm.is_some() { den.sqrt() } else { w };
    Outline { curve, source, scale_factor: num / den, scale_relative_uncertainty: sd / size, report }
}
/// The outline without a photo, with the warning that goes with it.
fn rim_only(rim: &Polygon, tape: &Tape, why: &str) -> Result<Warned<Outline>> {
    let warning =
        Warning::new(Stage::Outline, why, "give one photo of the underside from above, with the whole board in it");
    let outline = from_rim(rim, tape)?;
    let mut warnings = vec![warning];
    if let (Some(length), None) = (tape.length_mm, outline.report.rim_displacement_mm) {
        let text = format!(
            "length {length} mm and width {} mm would move the scan's rim by more than {MOST_DISPLACEMENT_MM} mm",
            tape.width_mm
        );
        warnings.push(Warning::new(
            Stage::Outline,
            text,
            "read the tape again: length over all, width at the widest place",
        ));
    }
    Ok(Warned::with(outline, warnings))
}
/// The outline in the frame and mm of `underside`: from `photo` (bytes of a JPEG or PNG) where there is one, else from
/// the scan's `rim`; a photo that cannot serve is an error. `standing` is what the scan has over the underside (wheels);
/// it hides parts of the rail.
pub fn find_outline(
    photo: Option<&[u8]>,
    underside: &TensorSpline,
    rim: &Polygon,
    standing: &[Point3<f64>],
    tape: &Tape,
) -> Result<Warned<Outline>> {
    let Some(bytes) = photo else {
        return rim_only(rim, tape, "no photo: the outline is the scan's own rim, some mm inside the true rail");
    };
    let picture = photo::decode(bytes)?;
    solve::from_photo(&picture, underside, rim, standing, tape).map_err(|why| {
        Error::new(Stage::Outline, format!("the photo cannot serve: {why}")).hint(
            "give a photo of the underside from above with the whole board in it, or take [photo] out of the board file to \
             use the scan's own rim",
        )
    })
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;
    fn flat() -> TensorSpline {
        TensorSpline::new(Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0), vec![0.0; 16])
            .unwrap()
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
        let tape = Tape { width_mm: 200.0, length_mm: Some(800.0), tolerance_mm: 0.5, stations: vec![] };
        let o = find_outline(None, &flat(), &Polygon { points }, &[], &tape).unwrap();
        assert_eq!(o.warnings.len(), 1);
        let o = o.value;
        assert!((o.scale_factor * 0.98 - 1.0).abs() < 1e-3, "{}", o.scale_factor);
        assert!((o.report.rim_displacement_mm.unwrap() - 2.94).abs() < 0.15, "{:?}", o.report);
        let (l, w) = length_and_width(&sampled(&o.curve, 1000));
        assert!((l * o.scale_factor - 800.0).abs() < 0.2 && (w * o.scale_factor - 200.0).abs() < 0.2);
    }
    #[test]
    fn empty_rim_is_an_error() {
        let tape = Tape { width_mm: 200.0, length_mm: None, tolerance_mm: 0.5, stations: vec![] };
        assert!(find_outline(None, &flat(), &Polygon { points: vec![] }, &[], &tape).is_err());
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
            let (l, w) = length_and_width(&truth.points);
            let tape = Tape { width_mm: w, length_mm: Some(l), tolerance_mm: 0.5, stations: vec![] };
            let o = find_outline(Some(&bytes), &flat(), &rim, &[], &tape).unwrap();
            assert!(o.warnings.is_empty(), "{:?}", o.warnings);
            let o = o.value;
            assert_eq!(o.source, source);
            let e: Vec<f64> = sampled(&o.curve, 300)
                .iter()
                .map(|p| truth.signed_distance([p[0] * o.scale_factor, p[1] * o.scale_factor]))
                .collect();
            let rms = (e.iter().map(|e| e * e).sum::<f64>() / e.len() as f64).sqrt();
            // half a pixel is .83 mm
            assert!(rms < 0.5 / 0.6, "{source:?} {rms} {:?}", OutlineReport { contour_px: vec![], ..o.report });
        }
    }
    #[test]
    fn photo_without_a_board_is_refused_with_numbers() {
        let mut bytes = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(300, 200, image::Rgb([120; 3]))
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        let (_, _, rim) = rendered(false);
        let tape = Tape { width_mm: 225.0, length_mm: None, tolerance_mm: 0.5, stations: vec![] };
        let e = find_outline(Some(&bytes.into_inner()), &flat(), &rim, &[], &tape).unwrap_err();
        assert!(e.message().contains("0.01") && e.hint_text().is_some(), "{e}");
        assert!(find_outline(Some(b"garbage"), &flat(), &rim, &[], &tape).is_err());
    }
}
