//! Smooth connected patches of a scan, and the planes in it.
use super::local::{Local, NEIGHBOURS};
use crate::num::median;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix2, Matrix3, Point3, SymmetricEigen, Vector3};

/// Neighbours join when their normals differ by less than this: a bend of 35 degrees stays smooth at this step, a rail does not.
const STEP_DEG: f64 = 20.0;
/// Patches keep to this tilt against the common normal: kicks reach 35 degrees, rail walls start near 60.
const TILT_DEG: f64 = 50.0;
/// Cells for the fill are at least this many voxels and point spacings wide: of points strewn by chance one cell in
/// e^(2.2^2), that is one in a hundred, stays empty.
const CELL_VOXELS: f64 = 1.5;
const CELL_SPACINGS: f64 = 2.2;
/// Fewest voxels for a patch: a hand's breadth.
const FEWEST_MEMBERS: usize = 60;
/// Parts of one face are rough alike within this factor; a false back layer of a depth scan is ten times rougher.
const ALIKE: f64 = 2.5;
/// Pairs of points at the border of two parts that tell whether they are level.
const BORDER_PAIRS: usize = 30;
/// Greatest step over the width of the gap between two parts of one face: a bend of 20 degrees across it stays below.
const LEVEL: f64 = 0.12;

/// A smooth connected patch.
#[derive(Debug, Clone)]
pub(super) struct Patch {
    pub members: Vec<u32>,
    pub centre: Vector3<f64>,
    /// Length and width in plan.
    pub size: [f64; 2],
    pub long_axis: Vector3<f64>,
    pub fill: f64,
    pub normal: Vector3<f64>,
    pub roughness: f64,
}

/// The mode of unsigned normals.
pub(super) fn common_normal(locals: &[Local]) -> Vector3<f64> {
    let stride = (locals.len() / 400).max(1);
    let near = 10f64.to_radians().cos();
    let mut best = (0, Vector3::z());
    for c in locals.iter().step_by(stride) {
        let n = locals.iter().step_by(7).filter(|l| l.normal.dot(&c.normal).abs() > near).count();
        if n > best.0 {
            best = (n, c.normal);
        }
    }
    let sum = locals
        .iter()
        .filter(|l| l.normal.dot(&best.1).abs() > near)
        .fold(Vector3::zeros(), |s, l| s + l.normal * l.normal.dot(&best.1).signum());
    sum.try_normalize(0.0).unwrap_or(best.1)
}

fn root(parent: &mut [u32], mut i: u32) -> u32 {
    while parent[i as usize] != i {
        parent[i as usize] = parent[parent[i as usize] as usize];
        i = parent[i as usize];
    }
    i
}

/// Which points lie on something smooth that is not tilted much against the common normal `n0`.
pub(super) fn smooth(locals: &[Local], n0: &Vector3<f64>) -> Vec<bool> {
    let reach = median(&locals.iter().map(|l| l.reach).collect::<Vec<_>>());
    let tilt = TILT_DEG.to_radians().cos();
    // a flat neighbourhood's spread along its normal is small against its reach; sparse floaters reach far
    let smooth = |l: &Local| l.reach < 2.5 * reach && l.roughness < 0.2 * l.reach && l.normal.dot(n0).abs() > tilt;
    locals.iter().map(smooth).collect()
}

/// A plane that many points lie in.
pub(super) struct Plane {
    pub centre: Vector3<f64>,
    /// Unit normal, on the common normal's side.
    pub normal: Vector3<f64>,
    /// Which points lie within half a voxel and a quarter of it.
    pub inside: Vec<bool>,
}

/// The plane about square to the common normal in which most of the points marked `good` lie; `None` where few do.
pub(super) fn strongest_plane(points: &[Point3<f64>], good: &[bool], n0: &Vector3<f64>, voxel: f64) -> Option<Plane> {
    let bin = voxel / 2.0;
    let mut heights: Vec<i64> =
        points.iter().zip(good).filter(|(_, g)| **g).map(|(p, _)| (p.coords.dot(n0) / bin).floor() as i64).collect();
    heights.sort_unstable();
    let top = heights.chunk_by(|a, b| a == b).max_by_key(|c| c.len())?;
    let (mut centre, mut normal) = (n0 * ((top[0] as f64 + 0.5) * bin), *n0);
    let mut inside = vec![false; points.len()];
    // the first plane may be tilted by the mode's error: widen, refit, narrow
    for reach in [4.0, 2.0, 1.5, 1.5] {
        for (i, p) in points.iter().enumerate() {
            inside[i] = (p.coords - centre).dot(&normal).abs() < reach * bin;
        }
        let members: Vec<&Point3<f64>> =
            points.iter().zip(&inside).zip(good).filter(|((_, i), g)| **i && **g).map(|((p, _), _)| p).collect();
        if members.len() < 100 {
            return None;
        }
        let n = members.len() as f64;
        centre = members.iter().fold(Vector3::zeros(), |s, p| s + p.coords) / n;
        let cov =
            members.iter().fold(Matrix3::zeros(), |m, p| m + (p.coords - centre) * (p.coords - centre).transpose());
        let e = SymmetricEigen::new(cov);
        normal = e.eigenvectors.column(e.eigenvalues.imin()).into();
    }
    if normal.dot(n0) < 0.0 {
        normal = -normal;
    }
    Some(Plane { centre, normal, inside })
}

/// Smooth connected patches of the points marked `good`, of [`FEWEST_MEMBERS`] points and more, joined where something has cut them apart.
pub(super) fn connect(
    points: &[Point3<f64>],
    locals: &[Local],
    good: &[bool],
    n0: &Vector3<f64>,
    voxel: f64,
) -> Vec<Patch> {
    let step = STEP_DEG.to_radians().cos();
    let mut parent: Vec<u32> = (0..points.len() as u32).collect();
    for i in 0..points.len() {
        if !good[i] {
            continue;
        }
        for &j in &locals[i].near {
            let d = points[j as usize] - points[i];
            let smooth = good[j as usize]
                && locals[i].normal.dot(&locals[j as usize].normal).abs() > step
                && d.dot(&locals[i].normal).abs() < 0.4 * d.norm().max(voxel / 2.0);
            if smooth {
                let (a, b) = (root(&mut parent, i as u32), root(&mut parent, j));
                parent[a.max(b) as usize] = a.min(b);
            }
        }
    }
    let mut keyed: Vec<(u32, u32)> =
        (0..points.len() as u32).filter(|&i| good[i as usize]).map(|i| (root(&mut parent, i), i)).collect();
    keyed.sort_unstable();
    let mut parts: Vec<Vec<u32>> = keyed
        .chunk_by(|a, b| a.0 == b.0)
        .filter(|c| c.len() >= FEWEST_MEMBERS)
        .map(|c| c.iter().map(|k| k.1).collect())
        .collect();
    join(&mut parts, points, locals, voxel);
    parts.into_iter().map(|members| patch(members, points, locals, n0, voxel)).collect()
}

/// Joins parts of one face that trucks or holes have cut apart: the larger part, carried on level with its own points at
/// the border, meets the other with the same slope.
fn join(parts: &mut Vec<Vec<u32>>, points: &[Point3<f64>], locals: &[Local], voxel: f64) {
    parts.sort_by(|a, b| b.len().cmp(&a.len()).then(a[0].cmp(&b[0])));
    let roughness = |part: &[u32]| median(&part.iter().map(|&i| locals[i as usize].roughness).collect::<Vec<_>>());
    let mut k = 0;
    while k < parts.len() {
        let rows: Vec<[f64; 3]> = parts[k].iter().map(|&i| points[i as usize].coords.into()).collect();
        let Ok(tree) = ImmutableKdTree::<f64, 3>::new_from_slice(&rows) else { return };
        let rough = roughness(&parts[k]);
        let joined = (k + 1..parts.len()).find(|&other| {
            let part = &parts[other];
            let ratio = roughness(part) / rough;
            if !(1.0 / ALIKE..=ALIKE).contains(&ratio) {
                return false;
            }
            let mut pairs: Vec<(f64, u32, u32)> = part
                .iter()
                .filter_map(|&i| {
                    let p: [f64; 3] = points[i as usize].coords.into();
                    let near = tree.query(&p).nearest_one::<SquaredEuclidean<f64>>().execute();
                    Some((near.distance, i, *parts[k].get(near.item as usize)?))
                })
                .collect();
            pairs.sort_unstable_by(|a, b| a.0.total_cmp(&b.0).then(a.1.cmp(&b.1)));
            pairs.truncate(BORDER_PAIRS);
            // a step that is large against the gap is another layer; within a voxel a gap says nothing
            let (mut steps, mut turns) = (Vec::new(), Vec::new());
            for (_, i, j) in &pairs {
                let (a, b) = (&locals[*j as usize], &locals[*i as usize]);
                let d = points[*i as usize] - points[*j as usize];
                let mean = (a.normal + b.normal * a.normal.dot(&b.normal).signum()).normalize();
                steps.push(d.dot(&mean).abs() / d.norm().max(2.0 * voxel));
                turns.push(a.normal.dot(&b.normal).abs());
            }
            median(&steps) < LEVEL && median(&turns) > STEP_DEG.to_radians().cos()
        });
        if let Some(other) = joined {
            let mut part = parts.remove(other);
            parts[k].append(&mut part);
            parts[k].sort_unstable();
        } else {
            k += 1;
        }
    }
}

/// What the points `members` are together.
pub(super) fn patch(
    members: Vec<u32>,
    points: &[Point3<f64>],
    locals: &[Local],
    n0: &Vector3<f64>,
    voxel: f64,
) -> Patch {
    let n = members.len() as f64;
    let centre = members.iter().fold(Vector3::zeros(), |s, &i| s + points[i as usize].coords) / n;
    let mut cov = Matrix3::zeros();
    for &i in &members {
        let d = points[i as usize].coords - centre;
        cov += d * d.transpose();
    }
    let e = SymmetricEigen::new(cov / n);
    let k = e.eigenvalues.imin();
    let mut normal: Vector3<f64> = e.eigenvectors.column(k).into();
    if normal.dot(n0) < 0.0 {
        normal = -normal;
    }
    let (a, b) = basis(&normal);
    let flat: Vec<[f64; 2]> = members
        .iter()
        .map(|&i| {
            let d = points[i as usize].coords - centre;
            [d.dot(&a), d.dot(&b)]
        })
        .collect();
    let mut c2 = Matrix2::zeros();
    for p in &flat {
        c2 += Matrix2::new(p[0] * p[0], p[0] * p[1], p[0] * p[1], p[1] * p[1]);
    }
    let e2 = SymmetricEigen::new(c2);
    let l = e2.eigenvectors.column(e2.eigenvalues.imax());
    let long_axis = a * l[0] + b * l[1];
    // cells that even a sparse cloud fills: 16 neighbours lie within their reach
    let sparse = median(&members.iter().map(|&i| locals[i as usize].reach).collect::<Vec<_>>());
    let spacing = sparse * (std::f64::consts::PI / NEIGHBOURS as f64).sqrt();
    let cell = (CELL_VOXELS * voxel).max(CELL_SPACINGS * spacing);
    let mut cells: Vec<(i64, i64)> = Vec::with_capacity(flat.len());
    let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    for p in &flat {
        let q = [p[0] * l[0] + p[1] * l[1], p[1] * l[0] - p[0] * l[1]];
        for k in 0..2 {
            lo[k] = lo[k].min(q[k]);
            hi[k] = hi[k].max(q[k]);
        }
        cells.push(((q[0] / cell).floor() as i64, (q[1] / cell).floor() as i64));
    }
    cells.sort_unstable();
    cells.dedup();
    let size = [(hi[0] - lo[0]).max(voxel), (hi[1] - lo[1]).max(voxel)];
    Patch {
        centre,
        size,
        long_axis,
        fill: (cells.len() as f64 * cell * cell / (size[0] * size[1])).min(1.0),
        normal,
        roughness: median(&members.iter().map(|&i| locals[i as usize].roughness).collect::<Vec<_>>()),
        members,
    }
}

/// Two unit vectors that make a right-handed frame with `n`.
pub(super) fn basis(n: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let k = n.iamin();
    let a = n.cross(&Vector3::ith(k, 1.0)).normalize();
    (a, n.cross(&a))
}
