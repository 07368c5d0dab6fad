//! A scan of the printed part: cloud or mesh of unknown scale, brought to size by a tape reading of the part itself.
use super::part_size::{PartSize, part_size};
use super::register::{Registered, Seat, laid, register_on, settle};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::frame::surfels;
use crate::geom::{Polygon, Similarity, TriMesh, principal_axes};
use crate::mating::MatingFace;
use crate::num::{TensorSpline, median, quantile};
use nalgebra::{Point3, Vector3};
use serde::Serialize;

/// What was read on the part with a tape, and how it lay.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct PartTape {
    /// Its rim's greatest outer length along the board, mm.
    pub length_mm: Option<f64>,
    /// Its rim's greatest outer width across the board, mm.
    pub width_mm: Option<f64>,
    /// Greatest error of one reading, mm.
    pub tolerance_mm: f64,
    /// Thickness of its flange, mm: of a part that lay on its rim the flange's back is seen.
    pub flange_mm: f64,
    /// Whether it lay on its rim; `None` is told by the table it lay on, and without one it did not.
    pub rim_down: Option<bool>,
}
/// How a scanned part was brought to size.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ScannedPart {
    /// mm per unit of the part's scan.
    pub mm_per_unit: f64,
    /// Its standard uncertainty, relative: the tape's, taken as rectangular, and that of the scan's edges.
    pub relative_uncertainty: f64,
    /// Length and width of the rim in the scan at that scale, mm.
    pub size_mm: [f64; 2],
    /// Whether it lay on its rim, so that the rim's face is the flange's back less its thickness.
    pub rim_down: bool,
    /// Facets made of the scan's points.
    pub facets: usize,
}

/// Rounds of size, pose, size: each takes most of what is left of the first guess.
const ROUNDS: usize = 5;
/// A change of scale below this ends them.
const DONE_RATIO: f64 = 1e-4;
/// A facet lies along the deck when its normal is within 30 degrees of the table's: the rims of a deep concave lean by 15, the chamfer
/// between flange and wall by 45.
const LYING: f64 = 0.866;

/// Whether the rim of a part, what reaches farthest out on it, lies below the rest of it where `up` is above.
fn rim_is_below(mesh: &TriMesh, up: Vector3<f64>) -> bool {
    let middle = mesh.points.iter().fold(Vector3::zeros(), |m, p| m + p.coords) / mesh.points.len() as f64;
    let heights: Vec<f64> = mesh.points.iter().map(|p| (p.coords - middle).dot(&up)).collect();
    let far: Vec<f64> = mesh.points.iter().zip(&heights).map(|(p, h)| (p.coords - middle - up * *h).norm()).collect();
    let outer = quantile(&far, OUTERMOST);
    let rim: Vec<f64> = far.iter().zip(&heights).filter(|(f, _)| **f > outer).map(|(_, h)| *h).collect();
    median(&rim) < median(&heights)
}
/// Share of a tray's facets that are nearer to its middle than its corners.
const OUTERMOST: f64 = 0.95;

/// Moves the faces that lie along the table towards it by the flange's thickness, and leaves out walls and chamfers: what they hide
/// of the rim's face the scan does not show. Every facet has corners of its own.
fn through_the_flange(mesh: &mut TriMesh, up: Vector3<f64>, thickness: f64) {
    let triangles = std::mem::take(&mut mesh.triangles);
    for t in triangles {
        let [a, b, c] = t.map(|i| mesh.points[i as usize]);
        let Some(n) = (b - a).cross(&(c - a)).try_normalize(0.0) else { continue };
        if n.dot(&up).abs() > LYING {
            let by = -thickness * n.dot(&up).signum() * n;
            t.into_iter().for_each(|i| mesh.points[i as usize] += by);
            mesh.triangles.push(t);
        }
    }
}

/// Lays a scan of the printed part on the mating face: facets from its points, size by `tape`, pose by `register`.
/// The result's pose leads from the scan's frame and unit; the mesh is in mm in the deck frame.
///
/// # Errors
/// No tape reading, too few points, and as `register`.
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
    let found = surfels(points)?;
    let facets = &found.mesh;
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
    let rim_down = tape.rim_down.unwrap_or_else(|| found.up.is_some_and(|up| rim_is_below(facets, up)));
    // the longest way through the thing stands for its length until the rim is known
    let axes = principal_axes(&facets.points);
    let (long_axis, thin_axis): (Vector3<f64>, Vector3<f64>) = (axes.column(0).into(), axes.column(2).into());
    let t: Vec<f64> = facets.points.iter().map(|p| long_axis.dot(&p.coords)).collect();
    let longest = quantile(&t, 0.998) - quantile(&t, 0.002);
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let plan = [hi[0] - lo[0], hi[1] - lo[1]];
    // by the footprint's own shape from width to length, where only the width was read
    let length = tape.length_mm.or(tape.width_mm.map(|w| w * plan[0] / plan[1])).unwrap_or(plan[0]);
    let mut scale = length.max(length * plan[1] / plan[0]) / longest;
    let back_mm = if rim_down { tape.flange_mm } else { 0.0 };
    // without a table its flat side tells the way, and its rim which way is up
    let up = found.up.unwrap_or(if rim_is_below(facets, thin_axis) { thin_axis } else { -thin_axis });
    let at_size = |s: f64| {
        let points = facets.points.iter().map(|p| p * s).collect();
        let mut mesh = TriMesh { points, triangles: facets.triangles.clone() };
        if rim_down {
            through_the_flange(&mut mesh, up, tape.flange_mm);
        }
        mesh
    };
    let seat = Seat::new(underside, outline, mating);
    let mut sized = at_size(scale);
    let no_rim = || {
        Error::new(Stage::Gap, "the part's scan shows no end of the rim where the tape was read")
            .hint("scan the part again, its rim up, with all of its outer edge; of a mesh only the corners count: export it with some 3 mm between them")
    };
    let mut pose = laid(&seat, &sized).into_iter().next().ok_or_else(no_rim)?.pose;
    let mut round = 0;
    let (size, relative) = loop {
        round += 1;
        let placed: Vec<Point3<f64>> = points.iter().map(|p| pose.apply(&(p * scale))).collect();
        let size: PartSize = part_size(&placed, tape, mating, back_mm).ok_or_else(no_rim)?;
        let k = size.factor;
        if (k - 1.0).abs() < DONE_RATIO || round == ROUNDS {
            let relative = size.relative;
            break (size, relative);
        }
        let middle = sized.points.iter().fold(Vector3::zeros(), |s, p| s + p.coords) / sized.points.len() as f64;
        scale *= k;
        sized = at_size(scale);
        // its middle stays where it is; what side lies down was found with the first size
        let grown = Similarity { translation: pose.translation + (1.0 - k) * (pose.rotation * middle), ..pose };
        pose = settle(&seat, &sized, &grown).ok_or_else(no_rim)?;
    };
    // at its size: every pose again, so that another one that fits as well is told
    let mut warnings = Vec::new();
    let mut found = register_on(&seat, &sized)?.drain_into(&mut warnings);
    if let Some(apart) = size.apart {
        warnings.push(Warning::new(
            Stage::Gap,
            format!("the part's scan is {:.1} % longer against its width than the tape says", 100.0 * apart),
            "read both again; a warped scan makes the gaps doubtful by as much",
        ));
    }
    if rim_down {
        warnings.push(Warning::new(
            Stage::Gap,
            format!(
                "the part lay on its rim, which the scan does not show: its face is taken {} mm from the flange's back",
                tape.flange_mm
            ),
            "measure the flange's thickness and give it as rim.thickness, or scan the part again with its rim up",
        ));
    }
    let mesh =
        TriMesh { points: sized.points.iter().map(|p| found.pose.apply(p)).collect(), triangles: sized.triangles };
    found.pose.scale = scale;
    found.report.enclosure_to_deck = found.pose.to_rows();
    let part = ScannedPart {
        mm_per_unit: scale,
        relative_uncertainty: relative,
        size_mm: size.size_mm,
        rim_down,
        facets: mesh.triangles.len(),
    };
    Ok(Warned::with((found, part, mesh), warnings))
}
