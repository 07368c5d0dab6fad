//! A scan of the printed part: cloud or mesh of unknown scale, brought to size by a tape reading of the part itself.
use super::register::{Registered, register, settle};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::frame::surfels;
use crate::geom::{Polygon, Similarity, TriMesh};
use crate::mating::MatingFace;
use crate::num::{TensorSpline, quantile};
use nalgebra::{Point3, Vector3};
use serde::Serialize;

/// What was read on the part with a tape.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PartTape {
    /// Its rim's greatest outer length along the board, mm.
    pub length_mm: Option<f64>,
    /// Its rim's greatest outer width across the board, mm.
    pub width_mm: Option<f64>,
    /// Greatest error of one reading, mm.
    pub tolerance_mm: f64,
}
/// How a scanned part was brought to size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScannedPart {
    /// mm per unit of the part's scan.
    pub mm_per_unit: f64,
    /// Its standard uncertainty, relative: the tape's, taken as rectangular, and that of the scan's ends.
    pub relative_uncertainty: f64,
    /// Length and width of the rim in the scan at that scale, mm.
    pub size_mm: [f64; 2],
    /// Facets made of the scan's points.
    pub facets: usize,
}

/// Rounds of size, pose, size: each takes most of what is left of the first guess.
const ROUNDS: usize = 5;
/// A change of scale below this ends them.
const DONE_RATIO: f64 = 1e-4;
/// Slices over the middle half of the rim.
const SLICES: usize = 15;
/// Share of a slice's points beyond its reach: noise and strays.
const STRAY_RATIO: f64 = 0.02;
/// Height over the mating face within which points belong to the rim, mm: thinner than a flange with its gasket.
const RIM_MM: f64 = 4.0;

/// A tape reads a part where it is longest; the one or two longest slices may owe that to strays.
const WIDEST: f64 = 0.9;

/// How far the rim reaches along `axis` (0: x, 1: y), mm, in the longest of the slices.
fn reach(points: &[Point3<f64>], mating: &MatingFace, axis: usize) -> Option<f64> {
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let across = 1 - axis;
    let rim = |p: &&Point3<f64>| (p.z - mating.face.at(p.x, p.y)).abs() < RIM_MM;
    // the middle half of the width: clear of rounded corners
    let (from, width) = ((3.0 * lo[across] + hi[across]) / 4.0, (hi[across] - lo[across]) / 2.0);
    let mut slices: Vec<Vec<f64>> = vec![Vec::new(); SLICES];
    for p in points.iter().filter(rim) {
        let k = ((p[across] - from) / width * SLICES as f64).floor();
        if k >= 0.0 && k < SLICES as f64 {
            slices[k as usize].push(p[axis]);
        }
    }
    let full: Vec<&Vec<f64>> = slices.iter().filter(|s| s.len() > SLICES).collect();
    let long: Vec<f64> = full.iter().map(|s| quantile(s, 1.0 - STRAY_RATIO) - quantile(s, STRAY_RATIO)).collect();
    (!full.is_empty()).then(|| quantile(&long, WIDEST))
}

/// Lays a scan of the printed part on the mating face: facets from its points, size by `tape`, pose by [`register`].
/// The result's pose leads from the scan's frame and unit; the mesh is in mm in the deck frame.
///
/// # Errors
/// No tape reading, too few points, and as [`register`].
pub fn register_scan(
    points: &[Point3<f64>],
    tape: &PartTape,
    underside: &TensorSpline,
    outline: &Polygon,
    mating: &MatingFace,
) -> Result<Warned<(Registered, ScannedPart, TriMesh)>> {
    if tape.length_mm.or(tape.width_mm).is_none() {
        return Err(Error::new(Stage::Gap, "the part's scan has no scale: no length of the part was given")
            .hint("read the rim's length or width with a tape and give it"));
    }
    let facets = surfels(points)?;
    if facets.triangles.len() < 500 {
        return Err(Error::new(
            Stage::Gap,
            format!(
                "the part's scan shows only {} places of one connected thing, 500 are needed",
                facets.triangles.len()
            ),
        )
        .hint("scan the part again, its rim up, from all sides"));
    }
    // the longest way through the thing stands for its length until the rim is known
    let longest = {
        let c = facets.points.iter().fold(nalgebra::Vector3::zeros(), |s, p| s + p.coords) / facets.points.len() as f64;
        let mut cov = nalgebra::Matrix3::zeros();
        for p in &facets.points {
            let d = p.coords - c;
            cov += d * d.transpose();
        }
        let e = nalgebra::SymmetricEigen::new(cov);
        let axis = e.eigenvectors.column(e.eigenvalues.imax()).into_owned();
        let t: Vec<f64> = facets.points.iter().map(|p| axis.dot(&p.coords)).collect();
        quantile(&t, 0.998) - quantile(&t, 0.002)
    };
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let plan = [hi[0] - lo[0], hi[1] - lo[1]];
    // by the footprint's own shape from width to length, where only the width was read
    let length = tape.length_mm.or(tape.width_mm.map(|w| w * plan[0] / plan[1])).unwrap_or(plan[0]);
    let mut scale = length.max(length * plan[1] / plan[0]) / longest;
    let at_size =
        |s: f64| TriMesh { points: facets.points.iter().map(|p| p * s).collect(), triangles: facets.triangles.clone() };
    let mut sized = at_size(scale);
    let mut pose = register(&sized, underside, outline, mating)?.value.pose;
    let mut round = 0;
    let (size, wanted) = loop {
        round += 1;
        let placed: Vec<Point3<f64>> = points.iter().map(|p| pose.apply(&(p * scale))).collect();
        let size = [0, 1].map(|k| reach(&placed, mating, k));
        let wanted: Vec<(f64, f64)> = [tape.length_mm, tape.width_mm]
            .into_iter()
            .zip(size)
            .filter_map(|(want, have)| Some((want?, have?)))
            .collect();
        if wanted.is_empty() {
            return Err(Error::new(Stage::Gap, "the part's scan shows no end of the rim where the tape was read")
                .hint("scan the part again, its rim up, with all of its outer edge"));
        }
        // least squares of readings of equal error: want = k have
        let k = wanted.iter().map(|(w, h)| w * h).sum::<f64>() / wanted.iter().map(|(_, h)| h * h).sum::<f64>();
        if (k - 1.0).abs() < DONE_RATIO || round == ROUNDS {
            break (size, wanted);
        }
        let middle = sized.points.iter().fold(Vector3::zeros(), |s, p| s + p.coords) / sized.points.len() as f64;
        scale *= k;
        sized = at_size(scale);
        // its middle stays where it is; what side lies down was found with the first size
        let grown = Similarity { translation: pose.translation + (1.0 - k) * (pose.rotation * middle), ..pose };
        pose = match settle(&sized, underside, outline, mating, &grown) {
            Some(p) => p,
            None => register(&sized, underside, outline, mating)?.value.pose,
        };
    };
    // at its size: every pose again, so that another one that fits as well is told
    let mut warnings = Vec::new();
    let mut found = register(&sized, underside, outline, mating)?.drain_into(&mut warnings);
    let facet = (sized.area() / sized.triangles.len() as f64).sqrt();
    // JCGM 100: a rectangular tape error, and either end of the scan known to a facet, triangular
    let tape_u = tape.tolerance_mm / 3.0_f64.sqrt();
    let end_u = facet / 6.0_f64.sqrt() * 2.0_f64.sqrt();
    let over = wanted.iter().map(|(w, _)| w * w).sum::<f64>().sqrt();
    let relative_uncertainty = tape_u.hypot(end_u) / over;
    if let [(wa, ha), (wb, hb)] = wanted[..] {
        let apart = (ha / wa) / (hb / wb) - 1.0;
        if apart.abs() > 3.0 * tape_u.hypot(end_u) * (1.0 / wa).hypot(1.0 / wb) {
            warnings.push(Warning::new(
                Stage::Gap,
                format!("the part's scan is {:.1} % longer against its width than the tape says", 100.0 * apart),
                "read both again; a warped scan makes the gaps doubtful by as much",
            ));
        }
    }
    let mesh =
        TriMesh { points: sized.points.iter().map(|p| found.pose.apply(p)).collect(), triangles: sized.triangles };
    found.pose.scale = scale;
    found.report.enclosure_to_deck = found.pose.to_rows();
    let part = ScannedPart {
        mm_per_unit: scale,
        relative_uncertainty,
        size_mm: size.map(|s| s.unwrap_or(f64::NAN)),
        facets: mesh.triangles.len(),
    };
    Ok(Warned::with((found, part, mesh), warnings))
}
