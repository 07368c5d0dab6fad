//! Thin strips and ribs that print in minutes and are laid on the real board before the long print.
mod rib;
mod strip;

use crate::deck::Deck;
use crate::error::{Error, Result, Stage};
use crate::geom::{Polygon, TriMesh};
use crate::mating::MatingFace;
use nalgebra::{Matrix3, Point3};

/// What is asked of the fit check.
#[derive(Debug, Clone, PartialEq)]
pub struct FitCheckSpec {
    /// Whether a strip of the rim is made.
    pub rim: bool,
    /// Whether ribs are made.
    pub ribs: bool,
    /// Width of the strip in plan, mm, from the rim's outer border inwards.
    pub strip_mm: f64,
    /// Thickness of the strip where it is thinnest, mm.
    pub base_mm: f64,
    /// Thickness of a rib, mm.
    pub rib_mm: f64,
    /// Width and depth that the printer prints, mm; `None` splits nothing.
    pub bed_mm: Option<[f64; 2]>,
}
impl Default for FitCheckSpec {
    /// Three lines of a common 0.4 mm nozzle, bent round two corners, stand without a brim; 2 mm are stiff enough to be laid
    /// down by hand, and to stand on edge (common practice, no source). Every line more makes the strip take a third longer.
    fn default() -> Self {
        Self { rim: true, ribs: true, strip_mm: 1.2, base_mm: 2.0, rib_mm: 2.0, bed_mm: None }
    }
}
/// A piece to print.
#[derive(Debug, Clone)]
pub struct FitPiece {
    /// Its mesh as it lies on the bed: z up from it, mm.
    pub mesh: TriMesh,
    /// Its figures.
    pub figures: FitFigures,
}
/// Figures of a piece.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct FitFigures {
    /// Name of the piece and of its files.
    pub name: String,
    /// From tail to nose, where the piece belongs on the deck, mm.
    pub x_mm: [f64; 2],
    /// Across the board, where the piece belongs, mm.
    pub y_mm: [f64; 2],
    /// Width, depth and height on the bed, mm.
    pub size_mm: [f64; 3],
    /// Material, mm3.
    pub volume_mm3: f64,
    /// Time to print, an estimate, minutes.
    pub print_estimate_min: f64,
}

/// What a common printer lays down, mm3 per second: lines of 0.45 x 0.2 mm at 60 mm/s (common practice, no source).
const FLOW_MM3_S: f64 = 5.4;
/// Most rows and columns that a shape is split into: more pieces than that are no quick check.
const MOST_BANDS: usize = 12;
/// Free at the bed's edges, mm: what tilting a piece to lie flat adds to its plan.
const BED_SLACK_MM: f64 = 1.0;

/// The pieces: the rim's strip where there is a mating face, then a rib for each of `stations` that lies on the board.
///
/// # Errors
/// A strip as wide as the footprint, or a bed too small for 12 pieces each way.
pub fn make_fit_check(
    deck: &Deck,
    mating: Option<&MatingFace>,
    stations: &[f64],
    spec: &FitCheckSpec,
) -> Result<Vec<FitPiece>> {
    let mut out = Vec::new();
    if let Some(m) = mating.filter(|_| spec.rim) {
        out.extend(strip::pieces(m, spec)?);
    }
    if spec.ribs {
        let on_board = stations.iter().filter(|x| deck.outline_polygon().span(**x).is_some());
        for (i, x) in on_board.enumerate() {
            out.extend(rib::pieces(deck, *x, i + 1, spec)?);
        }
    }
    Ok(out)
}

fn fail(message: String, hint: &str) -> Error {
    Error::new(Stage::Export, message).hint(hint)
}

/// Whether plan `size` lies on the bed, either way round.
fn fits(size: [f64; 2], bed: Option<[f64; 2]>) -> bool {
    let way = |a: f64, b: f64, bed: [f64; 2]| a + BED_SLACK_MM <= bed[0] && b + BED_SLACK_MM <= bed[1];
    bed.is_none_or(|bed| way(size[0], size[1], bed) || way(size[1], size[0], bed))
}

/// `shape` in as few windows of equal size as make every part lie on the bed; parts in the order of the windows.
fn split(shape: &geo::MultiPolygon<f64>, bed: Option<[f64; 2]>, what: &str) -> Result<Vec<geo::Polygon<f64>>> {
    use geo::{BooleanOps, BoundingRect};
    let whole = shape.bounding_rect().ok_or_else(|| fail(format!("{what} has no extent"), "make it larger"))?;
    let (lo, size) = (whole.min(), [whole.width(), whole.height()]);
    let mut counts: Vec<[usize; 2]> = (1..=MOST_BANDS).flat_map(|a| (1..=MOST_BANDS).map(move |b| [a, b])).collect();
    counts.sort_by_key(|c| (c[0] * c[1], c[1]));
    for [nx, ny] in counts {
        let step = [size[0] / nx as f64, size[1] / ny as f64];
        let mut parts = Vec::new();
        for i in 0..nx {
            for j in 0..ny {
                let a = (lo.x + step[0] * i as f64, lo.y + step[1] * j as f64);
                let window = geo::Rect::new(a, (a.0 + step[0], a.1 + step[1])).to_polygon();
                parts.extend(shape.intersection(&window));
            }
        }
        if parts.iter().all(|p| p.bounding_rect().is_none_or(|r| fits([r.width(), r.height()], bed))) {
            return Ok(parts);
        }
    }
    Err(fail(
        format!("{what} does not lie on the bed in {MOST_BANDS} x {MOST_BANDS} parts"),
        "check printer.bed, or write rim = false or ribs = false under [fit_check]",
    ))
}

/// Sides shorter than this are left out, mm: clipping leaves some of a nanometre, whose ends other programs take as one point
/// when they read a mesh in single precision, and others whose walls are slivers. No printer shows a corner moved by as much.
const LEAST_SIDE_MM: f64 = 0.05;

/// The borders of a part, outer one counter-clockwise first, holes clockwise, no side longer than `side`.
fn loops(part: &geo::Polygon<f64>, side: f64) -> Vec<Polygon> {
    let ring = |r: &geo::LineString<f64>, outer: bool| {
        let mut p = Polygon { points: r.coords().map(|c| [c.x, c.y]).collect() };
        p.points.pop();
        p.points.dedup_by(|b, a| (b[0] - a[0]).hypot(b[1] - a[1]) < LEAST_SIDE_MM);
        let ends = p.points.first().zip(p.points.last());
        if ends.is_some_and(|(a, b)| (b[0] - a[0]).hypot(b[1] - a[1]) < LEAST_SIDE_MM) {
            p.points.pop();
        }
        if (p.signed_area() > 0.0) != outer {
            p.points.reverse();
        }
        let sides = p.edges().flat_map(|(a, b)| {
            let n = ((b[0] - a[0]).hypot(b[1] - a[1]) / side).ceil().max(1.0) as usize;
            (0..n).map(move |i| [0, 1].map(|k| a[k] + (b[k] - a[k]) * i as f64 / n as f64))
        });
        Polygon { points: sides.collect() }
    };
    let mut out = vec![ring(part.exterior(), true)];
    out.extend(part.interiors().iter().map(|r| ring(r, false)));
    out
}

/// A piece of `mesh`, turned by `turn` and laid into the bed's corner.
fn laid(name: String, mut mesh: TriMesh, turn: Matrix3<f64>, [x_mm, y_mm]: [[f64; 2]; 2]) -> FitPiece {
    mesh.points.iter_mut().for_each(|p| *p = turn * *p);
    let least = mesh.points.iter().fold(Point3::from([f64::INFINITY; 3]), |a, p| a.inf(p));
    mesh.points.iter_mut().for_each(|p| *p = Point3::from(*p - least));
    let most = mesh.points.iter().fold(Point3::origin(), |a, p| a.sup(p));
    let volume_mm3 = mesh.volume();
    let figures = FitFigures {
        name,
        x_mm,
        y_mm,
        size_mm: [most.x, most.y, most.z],
        volume_mm3,
        print_estimate_min: volume_mm3 / FLOW_MM3_S / 60.0,
    };
    FitPiece { mesh, figures }
}

#[cfg(test)]
mod tests;
