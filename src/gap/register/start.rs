//! Where an enclosure could lie: its likely rim planes laid level, its plan turned to the footprint's.
use crate::geom::{Polygon, Similarity, TriMesh, principal_axes};
use geo::ConvexHull;
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};

/// Points strewn on a mesh, beside one for each small triangle: a tray of 340 x 190 mm gets one every 3 mm.
const STREWN: f64 = 30_000.0;
/// Sectors round the middle in which the lowest place is looked for: enough for the four corners of a flat tray, few enough for
/// each to hold a piece of rim.
const SECTORS: usize = 12;
/// The rim lies in the outer part of the plan: places nearer to the middle than this share of the farthest in the sector are
/// posts and parts.
const OUTER_RATIO: f64 = 0.6;
/// Rounds of levelling: each turns the box by what the last left of its lean.
const LEVELLINGS: usize = 4;
/// Directions tried for the narrowest box in plan; the fit mends the half step that is left.
const DIRECTIONS: usize = 90;

/// Points at even distances on every triangle, and the middle of each that is smaller.
pub(super) fn strewn(mesh: &TriMesh) -> Vec<Point3<f64>> {
    let step = (mesh.area() / STREWN).sqrt().max(f64::MIN_POSITIVE);
    let mut out = Vec::new();
    for t in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(t);
        let area = (b - a).cross(&(c - a)).norm() / 2.0;
        // n^2 small triangles of one step's area each; a sliver gets no more than its area asks
        let n = ((area.sqrt() / step).ceil() as usize).max(1);
        for i in 0..n {
            for j in 0..n - i {
                let (u, v) = ((i as f64 + 1.0 / 3.0) / n as f64, (j as f64 + 1.0 / 3.0) / n as f64);
                out.push(a + u * (b - a) + v * (c - a));
            }
        }
    }
    // corners reach farther than any point inside; of many small triangles hardly so
    if mesh.triangles.len() < STREWN as usize {
        out.extend(&mesh.points);
    }
    out
}

/// The plane through the lowest place of each sector: height at the origin and slopes; `None` for too few sectors.
fn lowest_plane(points: &[Vector3<f64>]) -> Option<[f64; 3]> {
    let flat: Vec<[f64; 2]> = points.iter().map(|p| [p.x, p.y]).collect();
    let (lo, hi) = crate::geom::bounds(&flat);
    let middle = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
    let size = [hi[0] - lo[0], hi[1] - lo[1]].map(|s| s.max(f64::MIN_POSITIVE));
    // angle and distance as if the box were square: its sides get as many sectors as its ends
    let polar = |p: &Vector3<f64>| {
        let (u, v) = ((p.x - middle[0]) / size[0], (p.y - middle[1]) / size[1]);
        let turn = v.atan2(u) / std::f64::consts::TAU + 0.5;
        (((turn * SECTORS as f64) as usize).min(SECTORS - 1), u.hypot(v))
    };
    let mut far = [0.0_f64; SECTORS];
    for p in points {
        let (k, r) = polar(p);
        far[k] = far[k].max(r);
    }
    let mut lowest: [Option<&Vector3<f64>>; SECTORS] = [None; SECTORS];
    for p in points {
        let (k, r) = polar(p);
        if r >= OUTER_RATIO * far[k] && lowest[k].is_none_or(|l| p.z < l.z) {
            lowest[k] = Some(p);
        }
    }
    let found: Vec<&Vector3<f64>> = lowest.into_iter().flatten().collect();
    if found.len() < 3 {
        return None;
    }
    let (mut m, mut v) = (Matrix3::zeros(), Vector3::zeros());
    for p in found {
        let row = Vector3::new(1.0, p.x, p.y);
        m += row * row.transpose();
        v += row * p.z;
    }
    Some(m.try_inverse().map(|i| i * v)?.into())
}

/// Size of the narrowest box round plan points and the angle of its longer side to x.
fn narrowest(points: &[[f64; 2]]) -> ([f64; 2], f64) {
    let cloud: geo::MultiPoint<f64> = points.iter().map(|p| geo::Point::new(p[0], p[1])).collect();
    let hull: Vec<[f64; 2]> = cloud.convex_hull().exterior().coords().map(|c| [c.x, c.y]).collect();
    let mut best = ([0.0; 2], 0.0, f64::INFINITY);
    for k in 0..DIRECTIONS {
        let angle = std::f64::consts::FRAC_PI_2 * k as f64 / DIRECTIONS as f64;
        let (s, c) = angle.sin_cos();
        let turned: Vec<[f64; 2]> = hull.iter().map(|p| [c * p[0] + s * p[1], c * p[1] - s * p[0]]).collect();
        let (lo, hi) = crate::geom::bounds(&turned);
        let size = [hi[0] - lo[0], hi[1] - lo[1]];
        if size[0] * size[1] < best.2 {
            best = (size, angle, size[0] * size[1]);
        }
    }
    let (size, angle, _) = best;
    if size[0] >= size[1] { (size, angle) } else { ([size[1], size[0]], angle + std::f64::consts::FRAC_PI_2) }
}

/// A pose to start from.
pub(super) struct Start {
    /// From the enclosure's frame to the deck's.
    pub pose: Similarity,
    /// Length and width of its plan there, mm.
    pub size: [f64; 2],
}

/// Every way to lay the mesh on the footprint: each side of each principal axis down, level on its lowest places, four turns.
/// `seat_mm` is the height of the footprint's middle plane.
pub(super) fn starts(points: &[Point3<f64>], footprint: &Polygon, seat_mm: f64) -> Vec<Start> {
    let axes = principal_axes(points);
    let (lo, hi) = footprint.bounds();
    let target = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
    let (_, along) = narrowest(&footprint.points);
    let mut out = Vec::new();
    for k in 0..3 {
        for sign in [1.0, -1.0] {
            // the rim looks down at the deck
            let down: Vector3<f64> = sign * axes.column(k);
            let x: Vector3<f64> = axes.column((k + 1) % 3).into();
            let y = (-down).cross(&x);
            let mut turn = Matrix3::from_rows(&[x.transpose(), y.transpose(), -down.transpose()]);
            let mut laid: Vec<Vector3<f64>> = points.iter().map(|p| turn * p.coords).collect();
            let mut height = 0.0;
            for _ in 0..LEVELLINGS {
                let Some([_, a, b]) = lowest_plane(&laid) else { break };
                let normal = Vector3::new(-a, -b, 1.0).normalize();
                let Some(level) = Rotation3::rotation_between(&normal, &Vector3::z()) else { break };
                turn = level.matrix() * turn;
                laid = points.iter().map(|p| turn * p.coords).collect();
                height = lowest_plane(&laid).map_or(0.0, |p| p[0]);
            }
            let flat: Vec<[f64; 2]> = laid.iter().map(|p| [p.x, p.y]).collect();
            let (size, own) = narrowest(&flat);
            for quarter in 0..4 {
                let angle = along - own + f64::from(quarter) * std::f64::consts::FRAC_PI_2;
                let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), angle).matrix() * turn;
                let plan: Vec<[f64; 2]> = points.iter().map(|p| rotation * p.coords).map(|p| [p.x, p.y]).collect();
                let (l, h) = crate::geom::bounds(&plan);
                let translation =
                    Vector3::new(target[0] - (l[0] + h[0]) / 2.0, target[1] - (l[1] + h[1]) / 2.0, seat_mm - height);
                let size = if quarter % 2 == 0 { size } else { [size[1], size[0]] };
                out.push(Start { pose: Similarity { rotation, scale: 1.0, translation }, size });
            }
        }
    }
    out
}
