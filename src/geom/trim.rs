//! Trimmed height functions: edges over plan curves, faces, walls and triangles.
use super::{Brep, Edge, EdgeUse, Face, Layer, Polygon, Ring, Surface3, TriMesh, Wall, layered};
use crate::num::{Curve, TensorSpline, interpolate};
use crate::tolerance::EDGE_MM;
use nalgebra::{DMatrix, Point3};

/// Parts of a span at whose ends its bend is looked at: a span of the outline is shorter than one of the surface.
const BEND_SAMPLES: usize = 4;
/// Halvings of an edge's knots tried before giving up; each shrinks the error sixteenfold.
const HALVINGS: usize = 4;
/// Pieces a closed loop is split into: readers want at least two edges in a loop, and nose, tail and rails make four.
pub const PIECES: usize = 4;

/// Share of the domain within which a split moves onto a knot: far above rounding, far below any real span. A split one
/// rounding error beside a knot would leave a span of no length, which other programs merge or refuse.
const SNAP: f64 = 1e-9;

/// A closed plan curve split into [`PIECES`] consecutive pieces.
pub fn pieces(closed: &Curve<2>) -> Vec<Curve<2>> {
    let (lo, hi) = closed.knots.range();
    let breaks = closed.knots.breaks();
    let mut rest = closed.clone();
    let mut out = Vec::new();
    for k in 1..PIECES {
        let even = lo + (hi - lo) * k as f64 / PIECES as f64;
        let knot = breaks.iter().find(|b| (*b - even).abs() <= SNAP * (hi - lo));
        let (a, b) = rest.split(*knot.unwrap_or(&even));
        out.push(a);
        rest = b;
    }
    out.push(rest);
    out
}
pub(super) fn halved(c: &Curve<2>) -> Curve<2> {
    let mut out = c.clone();
    for w in c.knots.breaks().windows(2) {
        out = out.with_knot((w[0] + w[1]) / 2.0);
    }
    out
}
/// Plan curves on the same knots, each with the surface it lies on: the curves on refined knots, in plan and in space, all
/// within a quarter of [`EDGE_MM`] of their surfaces.
pub(super) fn raised(curves: &[(&Curve<2>, &TensorSpline)]) -> Vec<(Curve<2>, Curve<3>)> {
    let mut plans: Vec<Curve<2>> = curves.iter().map(|c| c.0.clone()).collect();
    let mut out = Vec::new();
    for _ in 0..=HALVINGS {
        let mut worst = 0.0_f64;
        out.clear();
        for (c, (_, s)) in plans.iter().zip(curves) {
            let g = c.knots.greville();
            let v = DMatrix::from_fn(g.len(), 1, |i, _| {
                let p = c.at(g[i]);
                s.at(p[0], p[1])
            });
            // a full interior knot (from splitting) never occurs inside a piece
            let z: Vec<f64> = interpolate(&c.knots, &v).unwrap_or(v).iter().copied().collect();
            worst = worst.max(deviation(c, &z, s));
            out.push((c.clone(), lifted(c, &z)));
        }
        if worst < EDGE_MM / 4.0 {
            break;
        }
        plans = plans.iter().map(halved).collect();
    }
    out
}
fn deviation(plan: &Curve<2>, z: &[f64], s: &TensorSpline) -> f64 {
    let (lo, hi) = plan.knots.range();
    let n = 8 * z.len();
    (0..=n)
        .map(|i| {
            let u = lo + (hi - lo) * i as f64 / n as f64;
            let p = plan.at(u);
            let (f, b) = plan.knots.basis(u);
            let h: f64 = (0..=plan.knots.degree()).map(|k| b[k] * z[f + k]).sum();
            (h - s.at(p[0], p[1])).abs()
        })
        .fold(0.0, f64::max)
}
fn lifted(plan: &Curve<2>, z: &[f64]) -> Curve<3> {
    let points = plan.points.iter().zip(z).map(|(p, z)| [p[0], p[1], *z]).collect();
    Curve { knots: plan.knots.clone(), points }
}

/// Edges of one closed loop on one surface, added to `b`; returns the index of the first edge.
pub(super) fn add_loop(b: &mut Brep, curves: &[Curve<3>]) -> usize {
    let (v0, e0, n) = (b.vertices.len(), b.edges.len(), curves.len());
    for (i, c) in curves.iter().enumerate() {
        b.vertices.push(c.points[0]);
        b.edges.push(Edge { curve: c.clone(), start: v0 + i, end: v0 + (i + 1) % n });
    }
    e0
}

/// The open face of `z` inside the closed loops (outer counter-clockwise first, holes clockwise).
pub fn face(name: &str, z: &TensorSpline, loops: &[Vec<Curve<2>>]) -> Brep {
    let mut b = Brep { name: name.into(), ..Brep::default() };
    let mut uses = Vec::new();
    for l in loops {
        let lifted: Vec<(Curve<2>, Curve<3>)> = l.iter().flat_map(|p| raised(&[(p, z)])).collect();
        let e0 = add_loop(&mut b, &lifted.iter().map(|c| c.1.clone()).collect::<Vec<_>>());
        uses.push(
            lifted.into_iter().enumerate().map(|(i, c)| EdgeUse { edge: e0 + i, forward: true, pcurve: c.0 }).collect(),
        );
    }
    b.faces.push(Face { name: name.into(), surface: Surface3::graph(z), same_sense: true, loops: uses });
    b
}

/// The closed solid between `upper` and `lower` inside one closed loop, with walls along z. `names`: upper, lower, wall.
pub fn slab(name: &str, upper: &TensorSpline, lower: &TensorSpline, outline: &[Curve<2>], names: [&str; 3]) -> Brep {
    let layers = [Layer { name: names[0], z: upper, up: true }, Layer { name: names[1], z: lower, up: false }];
    let [head, foot] = [0, 1].map(|layer| Ring { layer, pieces: outline.to_vec() });
    layered(name, &layers, &[Wall { name: names[2].into(), foot, head, inside: true, breaks: vec![] }])
}

/// A closed loop of plan pieces as a polygon whose chords stay within `chord` mm of it.
pub fn polygon(pieces: &[Curve<2>], chord: f64) -> Polygon {
    border(pieces, &[], chord)
}

/// As [`polygon`], with the chords also within `chord` mm of the loop as it lies on every one of `surfaces`: a straight
/// rail bends with the kick below it.
pub fn border(pieces: &[Curve<2>], surfaces: &[&TensorSpline], chord: f64) -> Polygon {
    let mut points = Vec::new();
    for c in pieces {
        for w in c.knots.breaks().windows(2) {
            // chord height of a span cut into n: |c''| (span / n)^2 / 8, c'' in space
            let mut bend = 0.0_f64;
            for i in 0..=BEND_SAMPLES {
                let [p, v, a] = c.derivatives(w[0] + (w[1] - w[0]) * i as f64 / BEND_SAMPLES as f64);
                let plan = a[0].hypot(a[1]);
                bend = bend.max(plan);
                for s in surfaces {
                    let [_, zx, zy, zxx, zxy, zyy] = s.derivatives(p[0], p[1]);
                    let up = zxx * v[0] * v[0] + 2.0 * zxy * v[0] * v[1] + zyy * v[1] * v[1] + zx * a[0] + zy * a[1];
                    bend = bend.max(plan.hypot(up));
                }
            }
            let n = ((w[1] - w[0]) * (bend / (8.0 * chord)).sqrt()).ceil().max(1.0) as usize;
            points.extend((0..n).map(|i| c.at(w[0] + (w[1] - w[0]) * i as f64 / n as f64)));
        }
    }
    Polygon { points }
}

/// Triangles of `z` inside the loops (outer first; within half of `chord` of theirs, see [`border`]), within `chord` mm; the loops' vertices come first, in order. `None` when
/// loops cross.
pub fn tessellate(z: &TensorSpline, loops: &[Polygon], chord: f64) -> Option<TriMesh> {
    super::triangulate::triangulate(&[z], loops, chord)
}
/// The closed mesh between `upper` and `lower` inside the loops (outer counter-clockwise first, holes clockwise).
pub fn slab_mesh(upper: &TensorSpline, lower: &TensorSpline, loops: &[Polygon], chord: f64) -> Option<TriMesh> {
    let mut mesh = super::triangulate::triangulate(&[upper, lower], loops, chord)?;
    let n = mesh.points.len() as u32;
    let below: Vec<Point3<f64>> = mesh.points.iter().map(|p| Point3::new(p.x, p.y, lower.at(p.x, p.y))).collect();
    mesh.points.extend(below);
    let flipped: Vec<[u32; 3]> = mesh.triangles.iter().map(|t| [t[0] + n, t[2] + n, t[1] + n]).collect();
    mesh.triangles.extend(flipped);
    let mut base = 0;
    for l in loops {
        let m = l.points.len() as u32;
        for (i, j) in (0..m).map(|i| (base + i, base + (i + 1) % m)) {
            mesh.triangles.push([n + i, n + j, j]);
            mesh.triangles.push([n + i, j, i]);
        }
        base += m;
    }
    Some(mesh)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;

    fn round(domain: f64, spans: usize, radius: f64) -> Curve<2> {
        let k = Knots::uniform(3, spans, 0.0, domain);
        let g = k.greville();
        let v = DMatrix::from_fn(g.len(), 2, |i, d| {
            let (s, c) = (g[i] / domain * std::f64::consts::TAU).sin_cos();
            radius * [c, s][d]
        });
        let c = interpolate(&k, &v).unwrap();
        Curve::new(k, (0..g.len()).map(|i| [c[(i, 0)], c[(i, 1)]]).collect()).unwrap()
    }
    /// A quarter of the domain and the knot there may differ in the last digit.
    #[test]
    fn splits_fall_on_knots() {
        for i in 0..200 {
            let domain = 100.0 + 7.137 * f64::from(i);
            for p in pieces(&round(domain, 60, 50.0)) {
                let b = p.knots.breaks();
                assert_eq!(b.len(), 16);
                assert!(b.windows(2).all(|w| w[1] - w[0] > 0.9 * domain / 60.0));
            }
        }
    }
    /// z = x^2 / 2R over a straight piece of 60 mm: n chords are 60^2 / (8 R n^2) high.
    #[test]
    fn a_straight_rail_follows_the_kick() {
        let r = 90.0;
        let x = Knots::uniform(3, 1, -50.0, 50.0);
        // the polar form of x^2 at (t1, t2, t3) is (t1 t2 + t2 t3 + t3 t1) / 3
        let row = [2500.0, -2500.0 / 3.0, -2500.0 / 3.0, 2500.0].map(|v| v / (2.0 * r));
        let z = TensorSpline::new(x.clone(), x, row.iter().flat_map(|c| [*c; 4]).collect()).unwrap();
        assert!((z.at(30.0, 1.0) - 5.0).abs() < 1e-12);
        let line = [Curve::line([-30.0, 0.0], [30.0, 0.0])];
        assert_eq!(polygon(&line, 0.02).points.len(), 1);
        let n = border(&line, &[&z], 0.02).points.len() as f64;
        assert!(3600.0 / (8.0 * r * n * n) <= 0.02 && 3600.0 / (8.0 * r * (n - 1.0).powi(2)) > 0.02, "{n}");
    }
    #[test]
    fn a_face_with_a_hole_is_sound() {
        let k = Knots::uniform(3, 2, -60.0, 60.0);
        let z = TensorSpline::new(k.clone(), k, (0..25).map(|i| f64::from(i % 7)).collect()).unwrap();
        let mut hole = round(1.0, 24, 15.0);
        hole.points.iter_mut().for_each(|p| p[1] = -p[1]);
        let loops = [pieces(&round(1.0, 48, 50.0)), pieces(&hole)];
        assert_eq!(face("ring", &z, &loops).faults(), Vec::<String>::new());
        let polygons = loops.map(|l| border(&l, &[&z], 0.02));
        let flat = tessellate(&z, &polygons, 0.02).unwrap();
        let plan: f64 =
            (0..flat.triangles.len()).map(|t| flat.corners(t)).map(|[a, b, c]| (b - a).cross(&(c - a)).z / 2.0).sum();
        assert!((plan - polygons.iter().map(Polygon::signed_area).sum::<f64>()).abs() < 1e-6);
    }
}
