//! Whether what was taken for a deck is the lid of a thick closed body: a box has a flat face with a rim too.
use crate::geom::{Polygon, Similarity};
use crate::num::{TensorSpline, median};
use nalgebra::Point3;
use std::collections::BTreeMap;

/// Thickest deck as a share of its width: of a usual board some 50 mm, four times a common one; a deck with foam or a box on it is
/// seen from its own side.
const THICKEST: f64 = 0.25;
/// Deepest that another face is looked for, as a share of the width.
const DEEPEST: f64 = 1.0;
/// Cells along the width.
const CELLS: f64 = 10.0;
/// Share of the cells within the rim in which the other face is seen; of those beyond it, where a floor would go on, no more than the rest.
const COVERED: f64 = 0.75;
/// How far the other face's depth may differ from place to place, as a share of it: the bulge with which a mesh is closed below a board
/// is not as even.
const EVEN: f64 = 0.1;

/// The depth of another face right under `rim`'s inside that ends with the rim, mm, where the body is thicker than a deck can be.
/// `points` are in the scan's frame, `to_plan` brings them to that of `guide`, `turn` from there to the plan of `rim`. One point shows a
/// face in its cell: a coarse mesh has no more.
pub(super) fn closed_at(
    points: &[Point3<f64>],
    to_plan: &Similarity,
    turn: &Similarity,
    guide: &TensorSpline,
    rim: &Polygon,
    width: f64,
) -> Option<f64> {
    let cell = width / CELLS;
    let (lo, hi) = rim.bounds();
    let place = |x: f64, y: f64| ((x / cell).floor() as i64, (y / cell).floor() as i64);
    let mut depths: BTreeMap<(i64, i64), Vec<f64>> = BTreeMap::new();
    let back = turn.inverse();
    for p in points {
        let q = turn.apply(&to_plan.apply(p));
        // beyond the rim the guide says nothing: its height at the nearest place of the plan's box is taken
        let at = back.apply(&Point3::new(q.x.clamp(lo[0], hi[0]), q.y.clamp(lo[1], hi[1]), 0.0));
        let depth = guide.at(at.x, at.y) - q.z;
        if depth > THICKEST * width && depth < DEEPEST * width {
            depths.entry(place(q.x, q.y)).or_default().push(depth);
        }
    }
    let (first, last) = (place(lo[0] - 2.0 * cell, lo[1] - 2.0 * cell), place(hi[0] + 2.0 * cell, hi[1] + 2.0 * cell));
    let (mut inside, mut beyond) = (Vec::new(), Vec::new());
    for c in (first.0..=last.0).flat_map(|i| (first.1..=last.1).map(move |j| (i, j))) {
        let off = rim.signed_distance([(c.0 as f64 + 0.5) * cell, (c.1 as f64 + 0.5) * cell]);
        let seen = depths.get(&c).map(|d| median(d));
        if off < -cell {
            inside.push(seen);
        } else if off > cell && off < 2.0 * cell {
            beyond.push(seen);
        }
    }
    let face: Vec<f64> = inside.iter().flatten().copied().collect();
    if face.is_empty() {
        return None;
    }
    let depth = median(&face);
    let share = |cells: &[Option<f64>]| {
        let there = cells.iter().flatten().filter(|d| (*d - depth).abs() < EVEN * depth).count();
        there as f64 / cells.len().max(1) as f64
    };
    (share(&inside) > COVERED && share(&beyond) < 1.0 - COVERED).then_some(depth)
}
/// Thickest deck of a board of `width`.
pub(super) fn thickest(width: f64) -> f64 {
    THICKEST * width
}
