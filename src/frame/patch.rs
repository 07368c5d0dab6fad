//! Smooth connected patches, and which of them is the underside.
use super::FrameOptions;
use super::local::{Local, NEIGHBOURS};
use crate::error::{Error, Result, Stage, Warning};
use crate::num::median;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix2, Matrix3, Point3, SymmetricEigen, Vector3};

/// Neighbours join when their normals differ by less than this: a bend of 35 degrees stays smooth at this step, a rail does not.
const STEP_DEG: f64 = 20.0;
/// Patches keep to this tilt against the common normal: kicks reach 35 degrees, rail walls start near 60.
const TILT_DEG: f64 = 50.0;
/// Length over width of boards (common practice, no source: 2.5 to 5), with room for holes in a scan.
pub(super) const ASPECT: (f64, f64) = (2.2, 7.0);
/// The same of what a scan of a part of a board shows.
pub(super) const PART_ASPECT: (f64, f64) = (1.0, 7.0);
/// Least share of its plan box that a board fills.
const FILL: f64 = 0.62;
/// Cells for the fill are at least this many voxels and point spacings wide: of points strewn by chance one cell in
/// e^(2.2^2), that is one in a hundred, stays empty.
const CELL_VOXELS: f64 = 1.5;
const CELL_SPACINGS: f64 = 2.2;
/// A patch shorter than this share of the longest patch is a part, not a board.
const PART: f64 = 0.3;

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
    /// Root mean square distance from its own plane.
    pub bent: f64,
    pub normal: Vector3<f64>,
    pub roughness: f64,
}

/// The choice made.
pub(super) struct Choice {
    pub board: Patch,
    pub floor: Option<Patch>,
    /// Unit vector out of the underside.
    pub up: Vector3<f64>,
    pub warnings: Vec<Warning>,
}

/// The mode of unsigned normals.
fn common_normal(locals: &[Local]) -> Vector3<f64> {
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

/// Which points lie in the strongest plane square to the common normal: a floor, if there is one.
fn strongest_plane(points: &[Point3<f64>], good: &[bool], n0: &Vector3<f64>, voxel: f64) -> Option<Vec<bool>> {
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
    Some(inside)
}

/// Finds the board, which is `aspect` (from, to) times as long as wide, its floor and the side that looks out of the underside.
pub(super) fn choose(
    points: &[Point3<f64>],
    locals: &[Local],
    voxel: f64,
    options: &FrameOptions,
    aspect: (f64, f64),
) -> Result<Choice> {
    let n0 = common_normal(locals);
    let reach = median(&locals.iter().map(|l| l.reach).collect::<Vec<_>>());
    let tilt = TILT_DEG.to_radians().cos();
    // a flat neighbourhood's spread along its normal is small against its reach; sparse floaters reach far
    let good: Vec<bool> = locals
        .iter()
        .map(|l| l.reach < 2.5 * reach && l.roughness < 0.2 * l.reach && l.normal.dot(&n0).abs() > tilt)
        .collect();
    // a board's kicks may touch the floor: try with the strongest plane taken out first, and keep that answer only when the
    // plane is a floor under the board that is left
    if options.floor != Some(false)
        && let Some(inside) = strongest_plane(points, &good, &n0, voxel)
    {
        let rest: Vec<bool> = good.iter().zip(&inside).map(|(g, i)| *g && !i).collect();
        let flat: Vec<bool> = good.iter().zip(&inside).map(|(g, i)| *g && *i).collect();
        let mut patches = connect(points, locals, &rest, &n0, voxel);
        patches.extend(connect(points, locals, &flat, &n0, voxel));
        if let Ok(choice) = among(points, &patches, &n0, voxel, options, aspect)
            && choice.floor.is_some()
        {
            return Ok(choice);
        }
    }
    among(points, &connect(points, locals, &good, &n0, voxel), &n0, voxel, options, aspect)
}

/// Smooth connected patches of the points marked `good`, of [`FEWEST_MEMBERS`] points and more, joined where something has cut them apart.
fn connect(points: &[Point3<f64>], locals: &[Local], good: &[bool], n0: &Vector3<f64>, voxel: f64) -> Vec<Patch> {
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

fn among(
    points: &[Point3<f64>],
    patches: &[Patch],
    n0: &Vector3<f64>,
    voxel: f64,
    options: &FrameOptions,
    (least, most): (f64, f64),
) -> Result<Choice> {
    let longest = patches.iter().map(|p| p.size[0]).fold(0.0, f64::max);
    let like: Vec<&Patch> = patches
        .iter()
        .filter(|p| {
            let aspect = p.size[0] / p.size[1].max(f64::MIN_POSITIVE);
            (least..=most).contains(&aspect) && p.fill > FILL && p.size[0] > PART * longest
        })
        .collect();
    // a flat patch with a smaller board-like patch over it is a floor
    let covers = |f: &Patch, b: &Patch| {
        let d = b.centre - f.centre;
        let flat = d - f.normal * d.dot(&f.normal);
        f.size[0] * f.size[1] > 1.3 * b.size[0] * b.size[1]
            && flat.norm() < f.size[0] / 2.0
            && f.bent < 0.01 * f.size[0]
    };
    let boards: Vec<&Patch> =
        like.iter().copied().filter(|p| !like.iter().any(|q| !std::ptr::eq(*p, *q) && covers(p, q))).collect();
    let no_board = || {
        let text = patches.iter().max_by(|a, b| a.members.len().cmp(&b.members.len())).map_or_else(
            || "no smooth patch at all".to_owned(),
            |p| {
                format!(
                    "the largest smooth patch is {:.2} times as long as wide and fills {:.0} % of its box",
                    p.size[0] / p.size[1].max(f64::MIN_POSITIVE),
                    100.0 * p.fill
                )
            },
        );
        Error::new(
            Stage::Frame,
            format!(
                "the scan shows no board: {text}, but a board is {least} to {most} times as long as wide and fills over {:.0} %",
                100.0 * FILL
            ),
        )
        .hint("scan the whole underside in one go, and cut away other large things before exporting")
    };
    let mut board: &Patch =
        boards.iter().copied().max_by(|a, b| a.members.len().cmp(&b.members.len())).ok_or_else(no_board)?;
    let mut layer: Option<&Patch> = None;
    for other in boards.iter().copied().filter(|p| !std::ptr::eq(*p, board)).collect::<Vec<_>>() {
        let d = other.centre - board.centre;
        let across = (d - n0 * d.dot(n0)).norm();
        let alike = other.size[0] > 0.6 * board.size[0] && other.size[1] > 0.6 * board.size[1];
        if across < board.size[1] / 2.0 {
            // two layers of one board: the smoother one is the real face
            if alike && other.roughness < board.roughness {
                (board, layer) = (other, Some(board));
            } else {
                layer = layer.or(Some(other));
            }
        } else if alike {
            return Err(Error::new(
                Stage::Frame,
                format!("the scan shows two boards, {:.2} board lengths apart", across / board.size[0]),
            )
            .hint("scan one board at a time, or cut the other one away before exporting"));
        }
    }
    let floors: Vec<&Patch> = patches
        .iter()
        .filter(|p| options.floor != Some(false) && !std::ptr::eq(*p, board) && covers(p, board))
        .collect();
    let largest = floors.iter().map(|f| f.members.len()).max().unwrap_or(0);
    // a fused floor has a false back layer too, which nothing shades: of large ones the smoother is the real face
    let floor = floors
        .into_iter()
        .filter(|f| f.members.len() as f64 > PART * largest as f64)
        .min_by(|a, b| a.roughness.total_cmp(&b.roughness));
    let up_floor = floor.map(|f| (board.centre - f.centre).dot(&board.normal));
    let up_layer = layer.map(|l| (board.centre - l.centre).dot(&board.normal));
    let mut warnings = Vec::new();
    let side = up_floor.or(up_layer).unwrap_or_else(|| {
        // without floor or back layer: what is near the patch but off it hangs behind, unless trucks stand on it
        let off: Vec<f64> = points
            .iter()
            .map(|p| (p.coords - board.centre).dot(&board.normal))
            .filter(|h| h.abs() > 2.0 * voxel && h.abs() < board.size[1])
            .collect();
        let above = off.iter().filter(|h| **h > 0.0).count();
        let below = off.len() - above;
        if above.max(below) < 2 * above.min(below).max(10) {
            warnings.push(Warning::new(
                Stage::Frame,
                format!("which side of the board was scanned is not certain: {above} points on one side, {below} on the other"),
                "check the sections in the report; if the board is inside out set scan.flip = true; a little floor in the scan decides it",
            ));
        }
        if below >= above { 1.0 } else { -1.0 }
    });
    if options.floor == Some(true) && floor.is_none() {
        return Err(Error::new(
            Stage::Frame,
            "scan.floor is true, but no flat patch larger than the board lies under it",
        )
        .hint("leave scan.floor out, or scan some floor all round the board"));
    }
    let up = board.normal * side.signum() * if options.flip { -1.0 } else { 1.0 };
    Ok(Choice { board: board.clone(), floor: floor.cloned(), up, warnings })
}

fn patch(members: Vec<u32>, points: &[Point3<f64>], locals: &[Local], n0: &Vector3<f64>, voxel: f64) -> Patch {
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
        bent: e.eigenvalues[k].max(0.0).sqrt(),
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
