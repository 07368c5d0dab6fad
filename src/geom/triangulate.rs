//! Triangles over a plan region whose chords stay within a height of every surface above it.
use super::{Polygon, TriMesh};
use crate::num::TensorSpline;
use nalgebra::Point3;
use spade::{ConstrainedDelaunayTriangulation, Point2, PositionInTriangulation, Triangulation};
use std::collections::HashSet;

pub(super) type Plan = ConstrainedDelaunayTriangulation<Point2<f64>>;

/// Steps of the first grid along the region: coarse, kicks are refined where they are.
const FIRST_STEPS: f64 = 48.0;
/// Rounds of refinement; each halves the sides of what is too far off and so quarters its chord height. A first triangle of
/// 1/48 of a board that is 1 mm off needs 3 for 0.02 mm; the rest is for sharp creases.
const ROUNDS: usize = 24;
/// Share of the chord height asked of the places looked at: between them a triangle of a smooth surface strays by less than
/// the rest (an eighth of the bend times the side squared at the middle of a side, a third more at most inside).
const ASKED: f64 = 0.7;
/// Least area of a triangle that is split, over the region's: a crease in the surface stops here, not the memory.
const LEAST_AREA: f64 = 1e-8;

/// A side is halved only when its square is at least this share of the longest side's: below, a side of the border is the
/// long one.
const LEAST_SIDE_SQ_RATIO: f64 = 0.25;

/// A side's middle is put off to the next round when a new point lies within this share of the side: round a hole a fan of
/// triangles would else get a ring of points as near to each other as the fan is narrow there.
const APART_RATIO: f64 = 0.25;

/// Where a triangle is looked at: middles of its sides and its centre of gravity, as weights of its corners.
const LOOKED_AT: [[f64; 3]; 4] = [[0.5, 0.5, 0.0], [0.0, 0.5, 0.5], [0.5, 0.0, 0.5], [1.0 / 3.0, 1.0 / 3.0, 1.0 / 3.0]];

/// Farthest any of the surfaces strays from the triangle of `corners`, whose heights on each of them are given.
fn strays(corners: &[Point2<f64>; 3], heights: [&[f64]; 3], surfaces: &[&TensorSpline]) -> f64 {
    surfaces
        .iter()
        .enumerate()
        .map(|(k, s)| {
            let h = heights.map(|h| h[k]);
            LOOKED_AT
                .iter()
                .map(|w| {
                    let mix = |v: [f64; 3]| w[0] * v[0] + w[1] * v[1] + w[2] * v[2];
                    (s.at(mix(corners.map(|p| p.x)), mix(corners.map(|p| p.y))) - mix(h)).abs()
                })
                .fold(0.0, f64::max)
        })
        .fold(0.0, f64::max)
}

/// For each face by its index, whether an odd number of border edges parts it from the outside. Counting edges stays right
/// where a straight rail leaves faces without area on its outer side, which no place in them would tell.
fn inside_faces(mesh: &Plan) -> Vec<bool> {
    let mut known: Vec<Option<bool>> = vec![None; mesh.num_all_faces()];
    known[mesh.outer_face().index()] = Some(false);
    let mut next: Vec<_> = mesh.convex_hull().map(|e| (e.face(), e.rev().face(), e.is_constraint_edge())).collect();
    while let Some((a, b, edge)) = next.pop() {
        let (Some(from), to) = (match (known[a.index()], known[b.index()]) {
            (Some(k), None) => (Some(k), b),
            (None, Some(k)) => (Some(k), a),
            _ => (None, a),
        }) else {
            continue;
        };
        known[to.index()] = Some(from != edge);
        if let Some(f) = to.as_inner() {
            next.extend(f.adjacent_edges().map(|e| (e.face(), e.rev().face(), e.is_constraint_edge())));
        }
    }
    known.into_iter().map(|k| k == Some(true)).collect()
}

/// The Delaunay triangulation of the loops' vertices, in order, and of a staggered grid `step` apart inside them (outer loop
/// first), with the loops' sides as constraints. `None` when loops cross.
pub(super) fn plan_mesh(loops: &[Polygon], step: f64) -> Option<Plan> {
    let mut points: Vec<Point2<f64>> = Vec::new();
    let mut edges = Vec::new();
    for l in loops {
        let (base, n) = (points.len(), l.points.len());
        points.extend(l.points.iter().map(|p| Point2::new(p[0], p[1])));
        edges.extend((0..n).map(|i| [base + i, base + (i + 1) % n]));
    }
    let (lo, hi) = loops.first()?.bounds();
    let inside = |p: [f64; 2], clear: f64| {
        loops.iter().enumerate().all(|(k, l)| {
            let d = l.signed_distance(p);
            if k == 0 { d < -clear } else { d > clear }
        })
    };
    let (nx, ny) = (((hi[0] - lo[0]) / step) as usize, ((hi[1] - lo[1]) / step) as usize);
    for i in 0..=nx {
        for j in 0..=ny {
            let p = [lo[0] + step * (i as f64 + 0.5), lo[1] + step * (j as f64 + 0.5 * (i % 2) as f64)];
            if inside(p, step / 2.0) {
                points.push(Point2::new(p[0], p[1]));
            }
        }
    }
    let count = points.len();
    let mut crossing = false;
    let mesh = Plan::try_bulk_load_cdt(points, edges, |_| crossing = true).ok()?;
    (!crossing && mesh.num_vertices() == count).then_some(mesh)
}

/// Triangles inside the loops by [`inside_faces`], as indices of vertices.
pub(super) fn inner_triangles(mesh: &Plan) -> Vec<[u32; 3]> {
    let within = inside_faces(mesh);
    mesh.inner_faces().filter(|f| within[f.index()]).map(|f| f.vertices().map(|v| v.index() as u32)).collect()
}

/// Square of the distance from `p` to the nearest corner, added after the first `before` vertices, of the triangles round it.
fn nearest_new_sq(mesh: &Plan, p: Point2<f64>, before: usize) -> f64 {
    let faces = match mesh.locate(p) {
        PositionInTriangulation::OnVertex(v) => return if v.index() < before { f64::INFINITY } else { 0.0 },
        PositionInTriangulation::OnEdge(e) => {
            let e = mesh.directed_edge(e);
            [e.face().as_inner(), e.rev().face().as_inner()]
        }
        PositionInTriangulation::OnFace(f) => [Some(mesh.face(f)), None],
        _ => [None, None],
    };
    let corners = faces.into_iter().flatten().flat_map(|f| f.vertices()).filter(|v| v.index() >= before);
    corners.map(|v| v.position()).map(|q| (q.x - p.x).powi(2) + (q.y - p.y).powi(2)).fold(f64::INFINITY, f64::min)
}

/// Triangles inside the loops (outer first) whose heights stay within `chord` mm of every one of `surfaces`, given loops
/// within half of it; heights are those of the first. The loops' vertices come first, in order. `None` when loops cross.
pub(super) fn triangulate(surfaces: &[&TensorSpline], loops: &[Polygon], chord: f64) -> Option<TriMesh> {
    let first = surfaces.first()?;
    let (lo, hi) = loops.first()?.bounds();
    let mut mesh = plan_mesh(loops, (hi[0] - lo[0]).max(hi[1] - lo[1]) / FIRST_STEPS)?;
    let least = LEAST_AREA * (hi[0] - lo[0]) * (hi[1] - lo[1]);
    // heights of every vertex on every surface, and the triangles found close enough, by their vertices: most stay as they are
    let (mut heights, mut close) = (Vec::new(), HashSet::new());
    for _ in 0..ROUNDS {
        let mut new: Vec<(Point2<f64>, f64)> = Vec::new();
        let added = mesh.vertices().skip(heights.len() / surfaces.len()).map(|v| v.position());
        heights.extend(added.flat_map(|p| surfaces.iter().map(move |s| s.at(p.x, p.y))));
        let within = inside_faces(&mesh);
        for f in mesh.inner_faces().filter(|f| within[f.index()]) {
            let p = f.positions();
            let vertices = f.vertices().map(|v| v.index());
            let mut key = vertices;
            key.sort_unstable();
            if close.contains(&key) {
                continue;
            }
            let of = vertices.map(|v| &heights[v * surfaces.len()..(v + 1) * surfaces.len()]);
            if f.area() < least || strays(&p, of, surfaces) <= ASKED * chord {
                close.insert(key);
                continue;
            }
            // the longest side is halved, unless it is the border's, whose own chord is the loop's affair: halving ever
            // shorter sides beside it would only make slivers
            let sides = f.adjacent_edges();
            let longest = sides.iter().map(|e| e.length_2()).fold(0.0, f64::max);
            let free = sides.into_iter().filter(|e| !e.is_constraint_edge());
            let Some(side) = free.max_by(|a, b| a.length_2().total_cmp(&b.length_2())) else { continue };
            if side.length_2() < LEAST_SIDE_SQ_RATIO * longest {
                continue;
            }
            let [a, b] = side.positions();
            new.push((Point2::new((a.x + b.x) / 2.0, (a.y + b.y) / 2.0), side.length_2()));
        }
        if new.is_empty() {
            break;
        }
        let before = mesh.num_vertices();
        for (p, side_sq) in new {
            // a side's middle comes twice, once from either triangle
            if nearest_new_sq(&mesh, p, before) >= APART_RATIO * APART_RATIO * side_sq {
                mesh.insert(p).ok()?;
            }
        }
    }
    let points = mesh.vertices().map(|v| v.position()).map(|p| Point3::new(p.x, p.y, first.at(p.x, p.y))).collect();
    let triangles = inner_triangles(&mesh);
    Some(TriMesh { points, triangles })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::trim;
    use crate::num::{Curve, Knots};

    /// A hill with sharp bends in both directions over a rectangle; 153 places of each triangle are looked at, another
    /// pattern than the refinement's own.
    #[test]
    fn chords_are_bounded_and_triangles_are_not_slivers() {
        let k = Knots::uniform(3, 12, -100.0, 100.0);
        let n = k.len();
        let c =
            (0..n * n).map(|i| if i == n * (n / 2) + n / 3 { 40.0 } else { ((i / n) * (i % n) % 5) as f64 }).collect();
        let z = TensorSpline::new(k.clone(), k, c).unwrap();
        let corners = [[-90.0, -80.0], [90.0, -80.0], [90.0, 80.0], [-90.0, 80.0]];
        let sides: Vec<Curve<2>> = (0..4)
            .map(|i| {
                let (a, b): ([f64; 2], [f64; 2]) = (corners[i], corners[(i + 1) % 4]);
                let k = Knots::uniform(3, 40, 0.0, 1.0);
                let p = k.greville().iter().map(|u| [a[0] + u * (b[0] - a[0]), a[1] + u * (b[1] - a[1])]).collect();
                Curve::new(k, p).unwrap()
            })
            .collect();
        let mut counts = Vec::new();
        for chord in [0.5, 0.1, 0.02] {
            let border = trim::border(&sides, &[&z], chord / 2.0);
            let m = triangulate(&[&z], &[border], chord).unwrap();
            let (mut worst, mut least) = (0.0_f64, f64::INFINITY);
            for t in 0..m.triangles.len() {
                let [a, b, c] = m.corners(t);
                let sides = [(b - a).norm(), (c - b).norm(), (a - c).norm()];
                let longest = sides.iter().copied().fold(0.0, f64::max);
                least = least.min((b - a).cross(&(c - a)).norm() / (longest * longest));
                for i in 0..=16 {
                    for j in 0..=16 - i {
                        let (u, v) = (f64::from(i) / 16.0, f64::from(j) / 16.0);
                        let p = a + (b - a) * u + (c - a) * v;
                        worst = worst.max((p.z - z.at(p.x, p.y)).abs());
                    }
                }
            }
            assert!(worst <= chord, "{worst} mm at {chord} mm");
            assert!(least > 0.01, "height {least} of the longest side");
            counts.push(m.triangles.len());
        }
        assert!(counts[0] < counts[1] && counts[1] < counts[2], "{counts:?}");
    }
}
