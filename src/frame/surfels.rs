//! A scanned thing as small facets, one for each thinned point, smoothed and without its table and strays.
use super::local::{Local, locals};
use super::order::Ordered;
use crate::error::Result;
use crate::geom::{TriMesh, connected};
use crate::num::{mad_sigma, median, quantile_select};
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};

/// Circumradius of a facet over the distance of the points: facets of a square pattern overlap and leave no holes.
const FACET_RATIO: f64 = 1.4;
/// A point whose neighbours reach farther than this many voxels has too few to lie on a face.
const LONE_RATIO: f64 = 4.0;
/// Neighbours that belong together lie within this many voxels.
const JOIN_RATIO: f64 = 2.5;
/// Fits of the table's plane to what lies on it: each takes most of the first one's lean away.
const FITS: usize = 3;
/// Planes tried for a table.
const PLANES: usize = 400;
/// A table is a plane whose points reach this much farther, as an area, than those off it.
const TABLE_RATIO: f64 = 1.5;
/// Share of the points that a thing on a table has at least.
const THING_RATIO: f64 = 0.1;

/// A face's own roughness is that of most points; beyond this many times it lie edges, whose plane is neither face's.
const EDGE_RATIO: f64 = 2.5;
/// A point belongs to a plane within this many times the face's roughness: three standard deviations.
const ON_PLANE: f64 = 3.0;

/// Points within this many standard deviations of the table's own scatter belong to it: one in ten thousand does not.
const TABLE_SIGMAS: f64 = 4.0;
/// Least thickness of a table in voxels: within it voxels hold points of table and thing alike.
const TABLE_VOXELS: f64 = 0.5;

/// A scanned thing.
pub(crate) struct Surfels {
    /// A facet for each place on it, each with corners of its own.
    pub mesh: TriMesh,
    /// Unit normal, on the thing's side, of the table that was taken away from under it.
    pub up: Option<Vector3<f64>>,
}
/// The plane a thing stands on.
struct Table {
    origin: Point3<f64>,
    /// Unit normal on the thing's side.
    up: Vector3<f64>,
    /// Half its thickness.
    half: f64,
}
impl Table {
    fn is_under(&self, p: &Point3<f64>) -> bool {
        self.up.dot(&(p - self.origin)) > self.half
    }
}

/// The facets of the largest connected thing in `points`, in their unit.
///
/// # Errors
/// Points that cannot be searched.
pub(crate) fn surfels(points: &[Point3<f64>]) -> Result<Surfels> {
    // twice: table and strays take most of the first look's voxels
    let (size, thin) = Ordered::new(points).thinned();
    let table = table_under(&thin, size);
    let off_table = |points: &[Point3<f64>]| -> Vec<Point3<f64>> {
        points.iter().filter(|p| table.as_ref().is_none_or(|t| t.is_under(p))).copied().collect()
    };
    let thin = off_table(&thin);
    let local = locals(&thin)?;
    let near: Vec<Point3<f64>> = within(&off_table(points), &largest(&thin, &local, size), &thin, size);
    let (size, thin) = Ordered::new(&near).thinned();
    let local = locals(&thin)?;
    let kept = largest(&thin, &local, size);
    let roughness = median(&kept.iter().map(|&i| local[i].roughness).collect::<Vec<_>>());
    let mut mesh = TriMesh::default();
    for i in kept {
        let Some((p, normal)) = on_a_face(i, &thin, &local, roughness) else { continue };
        let (u, v) = in_plane(&normal);
        let first = mesh.points.len() as u32;
        for k in 0..3 {
            let (s, c) = (f64::from(k) * std::f64::consts::TAU / 3.0).sin_cos();
            mesh.points.push(p + FACET_RATIO * size * (c * u + s * v));
        }
        mesh.triangles.push([first, first + 1, first + 2]);
    }
    Ok(Surfels { mesh, up: table.map(|t| t.up) })
}
/// The place of point `i` on the face it belongs to, and that face's normal; `None` on an edge. Of all neighbourhoods that the point
/// is in, the smoothest whose plane it lies on is taken: near an edge that is one which ends before it, so that no plane leans over
/// from one face to the other.
///
/// # References
/// M. Nagao and T. Matsuyama 1979, *Edge preserving smoothing*, doi 10.1016/0146-664X(79)90089-3, there for pictures.
fn on_a_face(i: usize, points: &[Point3<f64>], local: &[Local], roughness: f64) -> Option<(Point3<f64>, Vector3<f64>)> {
    let offset = |j: usize| {
        let l = &local[j];
        let sum = l.near.iter().fold(points[j].coords, |s, &k| s + points[k as usize].coords);
        // the noise of one point is shared among all
        l.normal.dot(&(points[i].coords - sum / (l.near.len() + 1) as f64))
    };
    let around = local[i].near.iter().map(|&j| j as usize).chain([i]);
    let (j, off) = around
        .filter(|&j| local[j].roughness <= EDGE_RATIO * roughness)
        .map(|j| (j, offset(j)))
        .filter(|(_, off)| off.abs() <= ON_PLANE * roughness)
        .min_by(|a, b| local[a.0].roughness.total_cmp(&local[b.0].roughness))?;
    let n = local[j].normal;
    Some((points[i] - off * n, n))
}
/// Two unit vectors square to `normal` and to each other.
fn in_plane(normal: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let u = normal.cross(&if normal.x.abs() < 0.6 { Vector3::x() } else { Vector3::y() }).normalize();
    (u, normal.cross(&u))
}
/// The points within `size` of a cell that holds one of the `kept` of `thin`.
fn within(points: &[Point3<f64>], kept: &[usize], thin: &[Point3<f64>], size: f64) -> Vec<Point3<f64>> {
    let cell = |p: &Point3<f64>| [0, 1, 2].map(|k| (p[k] / size).floor() as i64);
    let mut held: Vec<[i64; 3]> = Vec::new();
    for &i in kept {
        let c = cell(&thin[i]);
        for (a, b) in (-1..=1).flat_map(|a| (-1..=1).map(move |b| (a, b))) {
            held.extend((-1..=1).map(|d| [c[0] + a, c[1] + b, c[2] + d]));
        }
    }
    held.sort_unstable();
    held.dedup();
    points.iter().filter(|p| held.binary_search(&cell(p)).is_ok()).copied().collect()
}

/// The largest set of points joined by short steps between neighbours, strays left out.
fn largest(points: &[Point3<f64>], local: &[Local], size: f64) -> Vec<usize> {
    let near = |i: usize| -> Vec<usize> {
        let close = |j: &usize| (points[i] - points[*j]).norm() < JOIN_RATIO * size;
        local[i].near.iter().map(|&j| j as usize).filter(close).collect()
    };
    let mut best =
        connected(points.len(), |i| local[i].reach < LONE_RATIO * size, near).into_iter().next().unwrap_or_default();
    best.sort_unstable();
    best
}

/// The table, where the plane that holds most of the points reaches far beyond what stands on it.
fn table_under(points: &[Point3<f64>], size: f64) -> Option<Table> {
    let n = points.len();
    if n < 3 {
        return None;
    }
    let mut best: (usize, Point3<f64>, Vector3<f64>) = (0, points[0], Vector3::z());
    for k in 0..PLANES {
        // three points a golden section apart: an even, fixed choice
        let pick = |m: usize| points[(((k * 3 + m) as f64 * 0.618_033_988_749_895).fract() * n as f64) as usize];
        let (a, b, c) = (pick(0), pick(1), pick(2));
        let Some(normal) = (b - a).cross(&(c - a)).try_normalize(f64::MIN_POSITIVE) else { continue };
        let count = points.iter().filter(|p| normal.dot(&(*p - a)).abs() < size).count();
        if count > best.0 {
            best = (count, a, normal);
        }
    }
    // the plane through three points, and then through all that lie on it
    let (_, mut origin, mut normal) = best;
    let mut half = 2.0 * size;
    for _ in 0..FITS {
        let on: Vec<&Point3<f64>> = points.iter().filter(|p| normal.dot(&(*p - origin)).abs() < half).collect();
        let mean = on.iter().fold(Vector3::zeros(), |s, p| s + p.coords) / on.len().max(1) as f64;
        let cov = on.iter().fold(Matrix3::zeros(), |m, p| m + (p.coords - mean) * (p.coords - mean).transpose());
        let e = SymmetricEigen::new(cov);
        (origin, normal) = (Point3::from(mean), e.eigenvectors.column(e.eigenvalues.imin()).into());
        let sigma = mad_sigma(&on.iter().map(|p| normal.dot(&(*p - origin))).collect::<Vec<_>>());
        half = (TABLE_SIGMAS * sigma).clamp(TABLE_VOXELS * size, 2.0 * size);
    }
    let (u, v) = in_plane(&normal);
    let height = |p: &Point3<f64>| normal.dot(&(p - origin));
    let (on, off): (Vec<&Point3<f64>>, Vec<&Point3<f64>>) = points.iter().partition(|p| height(p).abs() <= half);
    let above = off.iter().filter(|p| height(p) > 0.0).count();
    let side = if 2 * above >= off.len() { 1.0 } else { -1.0 };
    let thing: Vec<&Point3<f64>> = off.into_iter().filter(|p| side * height(p) > 0.0).collect();
    // areas of the boxes in the plane, a few strays on either side left out
    let area = |set: &[&Point3<f64>]| {
        let reach = |axis: &Vector3<f64>| {
            let mut t: Vec<f64> = set.iter().map(|p| axis.dot(&p.coords)).collect();
            let low = quantile_select(&mut t, 0.02);
            quantile_select(&mut t, 0.98) - low
        };
        reach(&u) * reach(&v)
    };
    if (thing.len() as f64) < THING_RATIO * n as f64 || area(&on) < TABLE_RATIO * area(&thing) {
        return None;
    }
    Some(Table { origin, up: side * normal, half })
}
