//! The outline that solved photos show, what is reported of each, and what there is to warn of.
use super::alone::Found;
use super::fair::{fair_closed, sampled};
use super::joint::Joint;
use super::overlay::overlay;
use super::readings::SeenTrucks;
use super::rim::{CONTROLS, Rim, offset};
use super::solve::Shot;
use super::{
    BoltHoles, Outline, OutlineReport, OutlineSource, PhotoReport, RailError, STATIONS, contradiction, holes, known,
};
use crate::error::{Stage, Warned, Warning};
use crate::geom::Polygon;
use crate::num::rms;
use nalgebra::DMatrix;

/// Photos and rim solved together.
pub(super) struct Solved<'a> {
    pub joint: &'a Joint<'a>,
    /// The rim as the scan has it, which is not the solve's where a photo shows a nearer one.
    pub scanned: &'a Rim<'a>,
    pub covariance: &'a DMatrix<f64>,
    /// The photos that served, with their places in the board file.
    pub used: &'a [(usize, &'a Shot)],
    pub found: &'a [Found],
    /// For each photo, the stations it does not see.
    pub covered: &'a [Vec<bool>],
    /// The truck bolt holes each photo shows.
    pub holes: &'a [Option<holes::Seen>],
    /// The length that photos and scan give without the tape's, with its standard uncertainty.
    pub free: Option<[f64; 2]>,
}
/// How unlike the rim is to itself turned by half a turn, mm rms.
fn turned_rms(rim: &Rim) -> f64 {
    let p = rim.polygon();
    let (lo, hi) = p.bounds();
    let coarse = p.resampled(STATIONS / 8);
    let sum: f64 =
        coarse.points.iter().map(|q| p.signed_distance([lo[0] + hi[0] - q[0], lo[1] + hi[1] - q[1]]).powi(2)).sum();
    (sum / coarse.points.len().max(1) as f64).sqrt()
}
/// Half a sentence why there is none on `Err`.
pub(super) fn outcome(solved: &Solved, mut warnings: Vec<Warning>) -> Result<Warned<Outline>, String> {
    let Solved { joint, scanned, covariance, used, found, covered, holes, free } = solved;
    let rim = joint.rim;
    let s = joint.ln_scale.exp();
    let bridged: Vec<bool> = (0..STATIONS).map(|i| covered.iter().all(|c| c[i])).collect();
    let bridged_ratio = bridged.iter().filter(|b| **b).count() as f64 / STATIONS as f64;
    if bridged_ratio > 0.0 {
        let text =
            format!("{:.0} % of the rail is hidden in the photo and follows the scan's rim", 100.0 * bridged_ratio);
        warnings.push(Warning::new(Stage::Outline, text, "take the trucks off, or check the outline there"));
    }
    let mut photos = Vec::new();
    let mut bolt_holes: Option<BoltHoles> = None;
    let mut seen_trucks = None;
    for (v, view) in joint.views.iter().enumerate() {
        let (number, picture) = (used[v].0 + 1, &used[v].1.picture);
        let rms = rms(&joint.residuals(view));
        let px = picture.file_px;
        let lens = &view.camera.lens;
        let shows_underside = view.camera.sees_underside();
        if !shows_underside {
            let text = format!(
                "photo {number} is taken as one of the top side: its rail is mirrored, one thickness behind the underside's"
            );
            warnings.push(Warning::new(Stage::Outline, text, "if it shows the underside, a length read with the tape is wrong or another board is in it; else a photo of the underside shows the edge that is wanted"));
        }
        if found[v].undecided && turned_rms(rim) > joint.rim_sd_mm[0].max(1.0) {
            let text = format!("photo {number} fits nearly as well turned by 180 degrees");
            warnings.push(Warning::new(Stage::Outline, text, "check which end is the nose in photo-outline.jpg"));
        }
        warnings.extend(contradiction::over_the_rail(number, &found[v].strays_mm, s));
        let prior = &joint.believed.lenses[view.lens];
        if !picture.cropped && prior.is_cut() && prior.moved(lens) {
            warnings.push(contradiction::cut(number, lens, prior, px));
        }
        // where colours place the photo its rail is where it is seen
        if found[v].matches.is_empty() {
            warnings.extend(contradiction::rail(number, found[v].rms_mm, joint));
        }
        warnings.extend(contradiction::lens(number, lens, prior, px));
        let scan = if shows_underside { scanned } else { view.edge }.pixels(&view.camera, &|_| 0.0);
        let rail = joint.rail_px(view);
        let measured =
            holes[v].as_ref().and_then(|seen| Some((seen.measured(joint, covariance, v)?, seen.px.as_slice())));
        let (measured, hole_px) = measured.unzip();
        seen_trucks = seen_trucks.or(measured.as_ref().map(|h| SeenTrucks::new(joint, v, h)));
        bolt_holes = bolt_holes.or(measured.map(|h| BoltHoles { photo: number, ..h }));
        let hole_px = hole_px.unwrap_or_default();
        photos.push(PhotoReport {
            number,
            residual_px: rms * px,
            residual_mm: rms * view.camera.mm_per_px() * s,
            focal_px: lens.focal * px,
            k: lens.k,
            principal_point_px: lens.centre.map(|c| c * px),
            distance_mm: (view.camera.rotation.inverse() * -view.camera.shift).norm() * s,
            shows_underside,
            hidden_ratio: covered[v].iter().filter(|c| **c).count() as f64 / STATIONS as f64,
            colour_patches: view.matches.len(),
            known: known::report(joint, v, number, &mut warnings),
            picture: overlay(picture, &scan, &rail, &covered[v], hole_px).map_err(|e| e.message().to_owned())?,
        });
    }
    let tape = joint.tape_report(covariance, seen_trucks, *free);
    let another = joint.views.iter().enumerate().find_map(|(v, view)| {
        let lens = &joint.believed.lenses[view.lens];
        contradiction::another_board(used[v].0 + 1, &view.camera.lens, lens, &tape)
    });
    if let Some(why) = another {
        return Err(why);
    }
    // readings that contradict make all that follows less sure
    let covariance = &joint.widened(covariance, &tape);
    warnings.extend(bolt_holes.as_ref().and_then(BoltHoles::contradiction));
    let points: Vec<[f64; 2]> = (0..STATIONS).map(|i| rim.plan_point(i, offset(&joint.d, i))).collect();
    let curve = fair_closed(&points).ok_or("its contour is degenerate")?;
    if (Polygon { points: sampled(&curve, STATIONS) }).crosses_itself() {
        return Err("its contour crosses itself".into());
    }
    let (_, mean_sd) = joint.mean_offset(covariance);
    let rim_line = scanned.polygon();
    let out = |p: [f64; 2]| rim_line.signed_distance(p);
    let mean = points.iter().step_by(STATIONS / CONTROLS).map(|p| out(*p)).sum::<f64>() / CONTROLS as f64;
    let along = (0..CONTROLS).map(|k| k * STATIONS / CONTROLS);
    let rail: Vec<RailError> = along
        .map(|i| {
            let p = points[i];
            RailError {
                x_mm: s * p[0],
                y_mm: s * p[1],
                standard_error_mm: joint.standard_error(covariance, i),
                from_scan_rim_mm: s * out(p),
                bridged: bridged[i],
            }
        })
        .collect();
    let report = OutlineReport {
        residual_px: photos.first().map(|p| p.residual_px),
        residual_mm: photos.first().map(|p| p.residual_mm),
        rim_displacement_mm: Some(s * mean),
        rim_displacement_sd_mm: Some(s * mean_sd),
        rail_radius_mm: Some(s * joint.radius),
        rail_radius_sd_mm: Some(s * Joint::radius_sd(covariance)),
        scan_rim_sd_mm: Some(joint.rim_sd_mm[0].hypot(joint.rim_sd_mm[1])),
        asymmetry_mm: joint.asymmetry_mm,
        focal_px: photos.first().map(|p| p.focal_px),
        k1: photos.first().map(|p| p.k[0]),
        bridged_ratio,
        photos,
        bolt_holes,
        rail,
    };
    let source = if used.iter().all(|u| u.1.picture.cut_out) { OutlineSource::CutOut } else { OutlineSource::Photo };
    let value = Outline {
        curve,
        source,
        scale_factor: s,
        scale_relative_uncertainty: Joint::scale_sd(covariance),
        tape,
        report,
    };
    Ok(Warned::with(value, warnings))
}
