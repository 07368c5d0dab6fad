//! A strip of the rim with the mating face on one side and a flat base on the other.
use super::{FitCheckSpec, FitPiece, fail, laid, loops, split};
use crate::error::Result;
use crate::geom::{Polygon, trim};
use crate::mating::MatingFace;
use crate::num::{Knots, TensorSpline};
use crate::tolerance::CHORD_MM;
use geo::{BooleanOps, Buffer};
use nalgebra::{DMatrix, DVector, Matrix3, Rotation3, Vector3};

/// Longest side of a border, mm: its chord is then within half of [`CHORD_MM`] where the face bends with 80 mm radius, as
/// sharp as kicks are.
const SIDE_MM: f64 = 2.5;
/// Share of the strip's width that the notch at the nose's end takes: enough to see and feel, and the strip holds.
const NOTCH_RATIO: f64 = 0.5;

fn plan(m: &MatingFace, width: f64) -> Result<geo::MultiPolygon<f64>> {
    let points = |p: &[[f64; 2]]| geo::LineString::from(p.iter().map(|q| (q[0], q[1])).collect::<Vec<_>>());
    let outer = geo::Polygon::new(points(&m.footprint.outer_polygon.points), vec![]);
    let inner = outer.buffer(-width);
    if inner.0.is_empty() {
        return Err(fail(
            format!("a strip {width:.1} mm wide fills the enclosure's footprint"),
            "make fit_check.strip smaller",
        ));
    }
    // a notch into the inner border, on the centre line at the nose's end
    let (_, hi) = m.footprint.outer_polygon.bounds();
    let (depth, apex) = (NOTCH_RATIO * width, hi[0] - (1.0 - NOTCH_RATIO) * width);
    let wedge = [[apex, 0.0], [apex - 2.0 * depth, 2.0 * depth], [apex - 2.0 * depth, -2.0 * depth]];
    Ok(outer.difference(&inner).difference(&geo::Polygon::new(points(&wedge), vec![])))
}

/// The plane a + b x + c y nearest to the face along the borders, moved up to leave `base` mm over its highest place.
fn base_plane(z: &TensorSpline, borders: &[Polygon], base: f64) -> [f64; 3] {
    let points: Vec<[f64; 2]> = borders.iter().flat_map(|l| l.points.iter().copied()).collect();
    let rows = DMatrix::from_fn(points.len(), 3, |i, k| [1.0, points[i][0], points[i][1]][k]);
    let heights = DVector::from_iterator(points.len(), points.iter().map(|p| z.at(p[0], p[1])));
    // only points on one line leave the slope open: a level base then does
    let fit = rows.svd(true, true).solve(&heights, f64::EPSILON).unwrap_or_else(|_| DVector::zeros(3));
    let (b, c) = (fit[1], fit[2]);
    let top = points.iter().map(|p| z.at(p[0], p[1]) - b * p[0] - c * p[1]).fold(f64::NEG_INFINITY, f64::max);
    [top + base * b.hypot(c).hypot(1.0), b, c]
}

/// The plane over the domain of `z`, exactly.
fn plane(z: &TensorSpline, [a, b, c]: [f64; 3]) -> TensorSpline {
    let ((x0, x1), (y0, y1)) = (z.x.range(), z.y.range());
    let (x, y) = (Knots::uniform(1, 1, x0, x1), Knots::uniform(1, 1, y0, y1));
    let at = |x: f64, y: f64| a + b * x + c * y;
    TensorSpline { x, y, c: vec![at(x0, y0), at(x0, y1), at(x1, y0), at(x1, y1)] }
}

/// The strip in pieces that lie on the bed with the mating face up.
pub(super) fn pieces(m: &MatingFace, spec: &FitCheckSpec) -> Result<Vec<FitPiece>> {
    let mut out = Vec::new();
    for part in split(&plan(m, spec.strip_mm)?, spec.bed_mm, "the rim's strip")? {
        let borders = loops(&part, SIDE_MM);
        let base = base_plane(&m.face, &borders, spec.base_mm);
        let mesh = trim::slab_mesh(&plane(&m.face, base), &m.face, &borders, CHORD_MM)
            .ok_or_else(|| fail("the borders of the rim's strip cross".into(), "make fit_check.strip smaller"))?;
        let down = Rotation3::rotation_between(&Vector3::new(-base[1], -base[2], 1.0), &Vector3::z());
        // a half turn about x lays the base down
        let turn = Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, -1.0)) * down.unwrap_or_default().matrix();
        let (lo, hi) = borders[0].bounds();
        out.push(laid(format!("fit-rim-{}", out.len() + 1), mesh, turn, [[lo[0], hi[0]], [lo[1], hi[1]]]));
    }
    Ok(out)
}
