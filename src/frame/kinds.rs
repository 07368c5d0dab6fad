//! Points sorted by what they belong to.
use super::guide::SLAB;
use super::rim::{Layer, Near};
use crate::geom::Similarity;
use crate::num::{TensorSpline, each};
use nalgebra::{Point3, Vector3};

/// Points of each kind kept for a picture.
pub(super) const PICTURE_POINTS: usize = 3000;

/// Points by what they belong to, provisional mm.
pub(super) struct Kinds {
    pub sheet: Vec<Point3<f64>>,
    pub standing: Vec<Point3<f64>>,
    /// As high, beside the board: the half of a wheel that overhangs.
    pub overhanging: Vec<Point3<f64>>,
    /// Plan places near the underside and its rail wall.
    pub near_rail: Vec<Near>,
    pub floor: usize,
    pub floor_sample: Vec<Point3<f64>>,
    pub other_sample: Vec<Point3<f64>>,
}
/// Sorts points by where they lie against the guide surface and the floor.
pub(super) fn sort_points(
    points: &[Point3<f64>],
    to_mm: &Similarity,
    guide: &TensorSpline,
    [near, beside]: [&Occupancy; 2],
    floor: Option<(Point3<f64>, Vector3<f64>)>,
    width: f64,
    wall: f64,
) -> Kinds {
    #[derive(Clone, Copy, PartialEq)]
    enum Kind {
        Floor,
        Sheet,
        Standing,
        Overhanging,
        Other,
    }
    let slab = SLAB * width;
    let one = |p: &Point3<f64>| {
        let p = to_mm.apply(p);
        if floor.is_some_and(|(c, n)| (p - c).dot(&n) < slab) {
            return (p, Kind::Floor, f64::NAN);
        }
        let h = p.z - guide.at(p.x, p.y);
        if !near.has(p.x, p.y) {
            let over = h > slab && h < width && beside.has(p.x, p.y);
            return (p, if over { Kind::Overhanging } else { Kind::Other }, f64::NAN);
        }
        let kind = if h.abs() < slab {
            Kind::Sheet
        } else if h > slab && h < width {
            Kind::Standing
        } else {
            Kind::Other
        };
        (p, kind, h)
    };
    let sorted = each(points.len(), |i| one(&points[i]));
    let layer = |h: f64| if h >= -slab / 2.0 { Layer::Surface } else { Layer::Wall };
    let near_rail = |p: &Point3<f64>, h: f64| {
        let layer = layer(h);
        let foot = if layer == Layer::Surface {
            [0.0; 2]
        } else {
            let n = guide.normal(p.x, p.y);
            [-h * n[2] * n[0], -h * n[2] * n[1]]
        };
        Near { at: [p.x, p.y], layer, depth: -h, foot }
    };
    let of = |kind: Kind| sorted.iter().filter(move |s| s.1 == kind).map(|s| s.0);
    Kinds {
        sheet: of(Kind::Sheet).collect(),
        standing: of(Kind::Standing).collect(),
        overhanging: of(Kind::Overhanging).collect(),
        // NaN heights compare false
        near_rail: sorted.iter().filter(|s| s.2 < slab && s.2 > -wall).map(|s| near_rail(&s.0, s.2)).collect(),
        floor: of(Kind::Floor).count(),
        floor_sample: of(Kind::Floor).step_by((points.len() / PICTURE_POINTS).max(1)).collect(),
        other_sample: of(Kind::Other).step_by((points.len() / PICTURE_POINTS).max(1)).collect(),
    }
}

/// Fewest points in a cell for something that stands there; lone floaters have one or two.
const STANDING_POINTS: usize = 4;

/// The points in cells of `size` mm that hold [`STANDING_POINTS`] and more.
pub(super) fn dense(mut points: Vec<Point3<f64>>, size: f64) -> Vec<Point3<f64>> {
    let cell = |p: &Point3<f64>| [0, 1, 2].map(|k| (p[k] / size).floor() as i64);
    points.sort_by(|a, b| {
        cell(a).cmp(&cell(b)).then(a.x.total_cmp(&b.x)).then(a.y.total_cmp(&b.y)).then(a.z.total_cmp(&b.z))
    });
    points.chunk_by(|a, b| cell(a) == cell(b)).filter(|c| c.len() >= STANDING_POINTS).flatten().copied().collect()
}

/// Cells of the plan that the board's core touches, and their neighbours.
pub(super) struct Occupancy {
    pub size: f64,
    cells: Vec<(i64, i64)>,
}
impl Occupancy {
    pub fn new(core: &[Point3<f64>], size: f64) -> Self {
        let mut cells: Vec<(i64, i64)> = core
            .iter()
            .flat_map(|p| {
                let (i, j) = ((p.x / size).floor() as i64, (p.y / size).floor() as i64);
                [-1, 0, 1].into_iter().flat_map(move |a| [-1, 0, 1].map(|b| (i + a, j + b)))
            })
            .collect();
        cells.sort_unstable();
        cells.dedup();
        Self { size, cells }
    }
    pub fn has(&self, x: f64, y: f64) -> bool {
        self.cells.binary_search(&((x / self.size).floor() as i64, (y / self.size).floor() as i64)).is_ok()
    }
}
