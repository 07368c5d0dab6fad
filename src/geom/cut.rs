//! Solids cut across by a plane of constant x, capped with a flat face.
use super::{Brep, Edge, EdgeUse, Face, Polygon, Surface3};
use crate::num::{Curve, Knots};

/// Halvings of an interval when a crossing is sought: to the last digit of a parameter.
const HALVINGS: usize = 60;
/// Samples along an edge that tell whether it crosses more than once.
const SAMPLES: usize = 64;
/// Spans of a cut over a wall's face: it is all but straight, or a round's quarter of a circle.
const SPANS: usize = 4;
/// Vertices nearer to the plane than this are not cut by it, mm: an edge that short is below what readers tell apart.
const NEAR_MM: f64 = 1e-4;

/// A cut this near to a knot of a curve, mm, is made at the knot: the piece between would be a span shorter than the single-precision
/// numbers of a mesh's file tell apart, and its triangles none. Far below what an edge may be off its faces.
const SNAP_MM: f64 = 1e-3;

/// The knot of `c` inside its range that lies within [`SNAP_MM`] of its place at `u`, or `u`.
fn snapped<const D: usize>(c: &Curve<D>, u: f64) -> f64 {
    let p = c.at(u);
    let off = |k: &f64| c.at(*k).iter().zip(&p).map(|(a, b)| (a - b).powi(2)).sum::<f64>().sqrt();
    let (lo, hi) = c.knots.range();
    let near = c.knots.breaks().into_iter().filter(|k| *k > lo && *k < hi).map(|k| (off(&k), k));
    near.min_by(|a, b| a.0.total_cmp(&b.0)).filter(|n| n.0 < SNAP_MM).map_or(u, |n| n.1)
}

/// What became of an edge: kept whole, left out, or its kept part with the vertex on the plane.
#[derive(Clone)]
enum Fate {
    Kept,
    Out,
    /// Parameter from 0 to 1, whether the part before it is kept, the new vertex.
    Part(f64, bool, usize),
}

fn between(c: &Knots, t: f64) -> f64 {
    let (lo, hi) = c.range();
    lo + (hi - lo) * t
}
fn part<const D: usize>(c: &Curve<D>, t: f64, before: bool) -> Curve<D> {
    let (lo, hi) = c.knots.range();
    let u = between(&c.knots, t);
    // a knot is met to its last digit, whatever the range has been scaled by
    let at_knot = c.knots.breaks().into_iter().find(|k| (k - u).abs() <= 1e-12 * (hi - lo));
    let (a, b) = c.split(at_knot.unwrap_or(u));
    if before { a } else { b }
}
/// Where `f`, which changes its sign from 0 to 1, is zero.
fn root(f: impl Fn(f64) -> f64) -> f64 {
    let (mut lo, mut hi, up) = (0.0, 1.0, f(1.0) > 0.0);
    for _ in 0..HALVINGS {
        let m = (lo + hi) / 2.0;
        if (f(m) > 0.0) == up { hi = m } else { lo = m }
    }
    (lo + hi) / 2.0
}

impl Brep {
    /// The part of the solid beyond x (`above`) or before it, closed by a flat face 'joint', its last face. `None` where the
    /// plane meets a vertex, an edge twice, or faces other than graphs over (x, y) and faces of walls.
    pub fn cut(&self, x: f64, above: bool) -> Option<Self> {
        let mut out = Self { name: self.name.clone(), closed: true, ..Self::default() };
        let kept = |p: f64| (p > x) == above;
        if self.vertices.iter().any(|v| (v[0] - x).abs() < NEAR_MM) {
            return None;
        }
        out.vertices.clone_from(&self.vertices);
        let mut fates = Vec::with_capacity(self.edges.len());
        for e in &self.edges {
            let at = |t: f64| e.curve.at(between(&e.curve.knots, t))[0] - x;
            let signs: Vec<bool> = (0..=SAMPLES).map(|i| at(i as f64 / SAMPLES as f64) > 0.0).collect();
            let fate = match signs.windows(2).filter(|w| w[0] != w[1]).count() {
                0 if kept(self.vertices[e.start][0]) => Fate::Kept,
                0 => Fate::Out,
                1 => {
                    let (lo, hi) = e.curve.knots.range();
                    let t = (snapped(&e.curve, between(&e.curve.knots, root(at))) - lo) / (hi - lo);
                    let mut p = e.curve.at(between(&e.curve.knots, t));
                    p[0] = x;
                    out.vertices.push(p);
                    Fate::Part(t, kept(self.vertices[e.start][0]), out.vertices.len() - 1)
                }
                _ => return None,
            };
            let mut edge = e.clone();
            if let Fate::Part(t, before, v) = fate {
                edge.curve = part(&e.curve, t, before);
                if before { edge.end = v } else { edge.start = v }
            }
            out.edges.push(edge);
            fates.push(fate);
        }
        let mut joint: Vec<EdgeUse> = Vec::new();
        for f in &self.faces {
            let faces = cut_face(f, &fates, x, &mut out, &mut joint)?;
            out.faces.extend(faces);
        }
        out.cap(x, above, joint)?;
        out.without_leftovers(&fates)
    }

    /// Closes the cut with the flat face whose border `joint` holds.
    fn cap(&mut self, x: f64, above: bool, mut joint: Vec<EdgeUse>) -> Option<()> {
        let mut loops: Vec<Vec<EdgeUse>> = Vec::new();
        let ends = |b: &Self, u: &EdgeUse| {
            let e = &b.edges[u.edge];
            if u.forward { (e.start, e.end) } else { (e.end, e.start) }
        };
        while let Some(first) = joint.pop() {
            let begin = ends(self, &first).0;
            let mut l = vec![first];
            loop {
                let last = ends(self, &l[l.len() - 1]).1;
                if last == begin {
                    break;
                }
                let next = joint.iter().position(|u| ends(self, u).0 == last)?;
                l.push(joint.swap_remove(next));
            }
            loops.push(l);
        }
        let area = |l: &[EdgeUse]| outline(l).signed_area().abs();
        loops.sort_by(|a, b| area(b).total_cmp(&area(a)));
        let points: Vec<[f64; 2]> = loops.first()?.iter().flat_map(|u| u.pcurve.points.iter().copied()).collect();
        let (lo, hi) = super::bounds(&points);
        let corner = |y: f64, z: f64| [x, y, z];
        self.faces.push(Face {
            name: "joint".into(),
            surface: Surface3 {
                u: Knots::uniform(1, 1, lo[0], hi[0]),
                v: Knots::uniform(1, 1, lo[1], hi[1]),
                points: vec![corner(lo[0], lo[1]), corner(lo[0], hi[1]), corner(hi[0], lo[1]), corner(hi[0], hi[1])],
            },
            same_sense: !above,
            loops,
        });
        Some(())
    }

    /// Drops edges that nothing uses and vertices that no edge uses.
    fn without_leftovers(mut self, fates: &[Fate]) -> Option<Self> {
        let mut edge_at = vec![None; self.edges.len()];
        let mut edges = Vec::new();
        for (i, e) in self.edges.iter().enumerate() {
            if !matches!(fates.get(i), Some(Fate::Out)) {
                edge_at[i] = Some(edges.len());
                edges.push(e.clone());
            }
        }
        let mut vertex_at = vec![None; self.vertices.len()];
        let mut vertices = Vec::new();
        for e in &mut edges {
            for v in [&mut e.start, &mut e.end] {
                *v = *vertex_at[*v].get_or_insert_with(|| {
                    vertices.push(self.vertices[*v]);
                    vertices.len() - 1
                });
            }
        }
        for u in self.faces.iter_mut().flat_map(|f| f.loops.iter_mut().flatten()) {
            u.edge = edge_at[u.edge]?;
        }
        (self.edges, self.vertices) = (edges, vertices);
        Some(self)
    }
}

/// The kept parts of a face, with their edges along the plane added to `out`, and their other uses to `joint`.
fn cut_face(f: &Face, fates: &[Fate], x: f64, out: &mut Brep, joint: &mut Vec<EdgeUse>) -> Option<Vec<Face>> {
    let mut whole: Vec<Vec<EdgeUse>> = Vec::new();
    // runs of kept uses, from the plane to the plane; each end is (vertex, place in the surface's u, v)
    type End = (usize, [f64; 2]);
    let mut runs: Vec<(End, Vec<EdgeUse>, End)> = Vec::new();
    for l in &f.loops {
        let crossed = l.iter().filter(|u| matches!(fates[u.edge], Fate::Part(..))).count();
        if crossed == 0 {
            if matches!(fates[l[0].edge], Fate::Kept) {
                whole.push(l.clone());
            }
            continue;
        }
        // begin where the loop enters the kept side
        let enters = |u: &EdgeUse| matches!(fates[u.edge], Fate::Part(_, before, _) if before != u.forward);
        let begin = l.iter().position(enters)?;
        let mut run: Vec<EdgeUse> = Vec::new();
        let mut start: Option<End> = None;
        for k in 0..l.len() {
            let u = &l[(begin + k) % l.len()];
            match fates[u.edge] {
                Fate::Kept => run.push(u.clone()),
                Fate::Out => {}
                Fate::Part(t, before, v) => {
                    let at = u.pcurve.at(between(&u.pcurve.knots, t));
                    let mut part_use = u.clone();
                    part_use.pcurve = part(&u.pcurve, t, before);
                    if enters(u) {
                        start = Some((v, at));
                        run = vec![part_use];
                    } else {
                        run.push(part_use);
                        runs.push((start.take()?, std::mem::take(&mut run), (v, at)));
                    }
                }
            }
        }
    }
    if runs.is_empty() {
        let face = Face { loops: whole, ..f.clone() };
        return Some(if face.loops.is_empty() { vec![] } else { vec![face] });
    }
    // along the plane, material lies between every other pair of crossings
    let graph = f.surface.is_graph();
    let mut ends: Vec<(End, bool, usize)> = Vec::new();
    for (i, r) in runs.iter().enumerate() {
        ends.push((r.0, true, i));
        ends.push((r.2, false, i));
    }
    ends.sort_by(|a, b| a.0.1[1].total_cmp(&b.0.1[1]));
    let mut next =
        vec![(0usize, EdgeUse { edge: 0, forward: true, pcurve: Curve::line([0.0; 2], [1.0; 2]) }); runs.len()];
    for pair in ends.chunks(2) {
        let [a, b] = pair else { return None };
        if a.1 == b.1 {
            return None;
        }
        let (curve, pcurve) = if graph { across_graph(f, x, a.0.1, b.0.1)? } else { across_wall(f, x, a.0.1, b.0.1)? };
        let edge = out.edges.len();
        let flat = Curve { knots: curve.knots.clone(), points: curve.points.iter().map(|p| [p[1], p[2]]).collect() };
        out.edges.push(Edge { curve, start: a.0.0, end: b.0.0 });
        // from where a run leaves to where the next one enters
        let (leaves, enters, forward) = if a.1 { (b.2, a.2, false) } else { (a.2, b.2, true) };
        next[leaves] = (enters, EdgeUse { edge, forward, pcurve });
        joint.push(EdgeUse { edge, forward: !forward, pcurve: flat });
    }
    let mut done = vec![false; runs.len()];
    let mut loops = Vec::new();
    for i in 0..runs.len() {
        let mut l = Vec::new();
        let mut k = i;
        while !done[k] {
            done[k] = true;
            l.extend(runs[k].1.iter().cloned());
            l.push(next[k].1.clone());
            k = next[k].0;
        }
        if !l.is_empty() {
            loops.push(l);
        }
    }
    let mut parts: Vec<Face> = loops.into_iter().map(|l| Face { loops: vec![l], ..f.clone() }).collect();
    for hole in whole {
        let inside = hole[0].pcurve.points[0];
        let home = parts.iter().position(|p| outline(&p.loops[0]).contains(inside))?;
        parts[home].loops.push(hole);
    }
    Some(parts)
}
/// Points along each span of a use of a loop by which loops are told apart: their borders lie further apart than such chords.
const OUTLINE_SAMPLES: usize = 4;
fn outline(l: &[EdgeUse]) -> Polygon {
    let mut points = Vec::new();
    for u in l {
        let breaks = u.pcurve.knots.breaks();
        let along = breaks
            .windows(2)
            .flat_map(|w| (0..OUTLINE_SAMPLES).map(move |i| w[0] + (w[1] - w[0]) * i as f64 / OUTLINE_SAMPLES as f64));
        let (lo, hi) = u.pcurve.knots.range();
        points.extend(along.map(|t| u.pcurve.at(if u.forward { t } else { lo + hi - t })));
    }
    Polygon { points }
}

/// The curve of constant u = x on a graph between two places: exact. `None` where they are one place or lie on the surface's border.
fn across_graph(f: &Face, x: f64, a: [f64; 2], b: [f64; 2]) -> Option<(Curve<3>, Curve<2>)> {
    let s = &f.surface;
    let (i, w) = s.u.basis(x);
    let n = s.v.len();
    let points = (0..n)
        .map(|j| {
            let mut p = [0.0; 3];
            for k in 0..=s.u.degree() {
                for d in 0..3 {
                    p[d] += w[k] * s.points[(i + k) * n + j][d];
                }
            }
            p[0] = x;
            p
        })
        .collect();
    let whole = Curve { knots: s.v.clone(), points };
    let [from, to] = [a[1], b[1]].map(|v| snapped(&whole, v));
    let (lo, hi) = s.v.range();
    if !(lo < from && from < to && to < hi) {
        return None;
    }
    let curve = whole.split(to).0.split(from).1;
    Some((curve, Curve { knots: Knots::uniform(1, 1, from, to), points: vec![[x, a[1]], [x, b[1]]] }))
}
/// The curve where a wall's face meets the plane, from place to place.
fn across_wall(f: &Face, x: f64, a: [f64; 2], b: [f64; 2]) -> Option<(Curve<3>, Curve<2>)> {
    let s = &f.surface;
    let knots = Knots::uniform(3, SPANS, 0.0, 1.0);
    // the crossing lies near the line from a to b: within the difference of both on either side
    let room = (a[0] - b[0]).abs() + 1e-6 * (s.u.range().1 - s.u.range().0);
    let at = |t: f64| -> Option<[f64; 2]> {
        let (u, v) = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
        let off = |k: f64| s.at(u - room + 2.0 * room * k, v)[0] - x;
        ((off(0.0) > 0.0) != (off(1.0) > 0.0)).then(|| [u - room + 2.0 * room * root(off), v])
    };
    let places: Vec<[f64; 2]> = knots.greville().into_iter().map(at).collect::<Option<_>>()?;
    let fit = |values: &dyn Fn(usize) -> f64| -> Option<Vec<f64>> {
        let v = nalgebra::DMatrix::from_fn(places.len(), 1, |i, _| values(i));
        Some(crate::num::interpolate(&knots, &v)?.iter().copied().collect())
    };
    let pu = fit(&|i| places[i][0])?;
    let pv = fit(&|i| places[i][1])?;
    let [py, pz] = [1, 2].map(|d| fit(&|i| s.at(places[i][0], places[i][1])[d]));
    let (py, pz) = (py?, pz?);
    let n = places.len();
    Some((
        Curve { knots: knots.clone(), points: (0..n).map(|i| [x, py[i], pz[i]]).collect() },
        Curve { knots, points: (0..n).map(|i| [pu[i], pv[i]]).collect() },
    ))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Layer, Ring, Wall, layered, plan};
    use crate::num::TensorSpline;

    /// A tray 80 x 60 x 20 outside, leaning walls, cut off its middle: both parts are sound and closed, their volumes make up
    /// the whole, and prisms set on their joints or sunk into them have the volume of area times depth.
    #[test]
    fn parts_are_sound_and_make_up_the_whole() {
        let k = Knots::uniform(3, 2, -60.0, 60.0);
        let flat = |z: f64| TensorSpline::new(k.clone(), k.clone(), vec![z; 25]).unwrap();
        let dished =
            TensorSpline::new(k.clone(), k.clone(), (0..25).map(|i| f64::from(i % 5) * 0.5).collect()).unwrap();
        let (seat, inside, outside) = (dished, flat(15.0), flat(20.0));
        let layers = [
            Layer { name: "seat", z: &seat, up: false },
            Layer { name: "inside", z: &inside, up: false },
            Layer { name: "outside", z: &outside, up: true },
        ];
        let wall = |layers: [usize; 2], sizes: [f64; 2], inside| Wall {
            name: "side".into(),
            foot: Ring {
                layer: layers[0],
                pieces: plan::rectangle([0.0, 0.0], [80.0 - sizes[0], 60.0 - sizes[0]], 10.0),
            },
            head: Ring {
                layer: layers[1],
                pieces: plan::rectangle([0.0, 0.0], [80.0 - sizes[1], 60.0 - sizes[1]], 10.0),
            },
            inside,
            breaks: vec![],
        };
        let walls = [wall([0, 2], [0.0, 4.0], true), wall([0, 1], [10.0, 14.0], false)];
        let tray = layered("tray", &layers, &walls);
        assert_eq!(tray.faults(), Vec::<String>::new());
        let volume = |b: &Brep| {
            assert_eq!(b.faults(), Vec::<String>::new());
            let m = b.mesh(0.01).unwrap();
            let open: Vec<_> =
                m.open_edges().iter().map(|e| (m.points[e.0 as usize], m.points[e.1 as usize])).collect();
            assert!(open.is_empty(), "{open:?}");
            m.volume()
        };
        let whole = volume(&tray);
        for x in [3.7, -29.0, 36.9] {
            let [low, high] = [false, true].map(|above| tray.cut(x, above).unwrap());
            let (a, b) = (volume(&low), volume(&high));
            assert!(a > 0.0 && b > 0.0 && ((a + b) / whole - 1.0).abs() < 1e-4, "{x}: {a} {b} {whole}");
        }
        // into the joint and out of it: a pin's hole, 6 mm deep, and a tongue of 2 x 30 mm, 3 mm high
        let tongue = plan::rectangle([0.0, 17.5], [30.0, 2.0], 0.0);
        for above in [false, true] {
            for (loop_, depth, area) in [
                (plan::circle([5.0, 17.5], 1.0), 6.0, -std::f64::consts::PI),
                (tongue.clone(), 3.0, -60.0),
                (tongue.clone(), -3.0, 60.0),
            ] {
                let mut part = tray.cut(3.7, above).unwrap();
                let before = volume(&part);
                part.extrude_joint("tongue", &loop_, depth);
                let (more, want) = (volume(&part) - before, depth.abs() * area);
                assert!((more / want - 1.0).abs() < 0.03, "{more} {want}");
            }
        }
        // a slice between two planes
        let slice = tray.cut(-8.0, true).unwrap().cut(9.0, false).unwrap();
        assert!(volume(&slice) > 0.1 * whole);
        assert!(tray.cut(30.0, true).is_none(), "a plane through vertices is refused");
        // a knot of the seat lies at x = 0, one of its curves across at y = 0: a cut beside it left triangles without area, and the strap's
        // STL was no closed surface
        assert_eq!(seat.x.breaks()[1], 0.0);
        for x in [0.0, 2e-5, -3e-4] {
            let part = tray.cut(x, true).unwrap();
            let m = part.mesh(0.01).unwrap();
            let size = |t: &[u32; 3]| {
                let [a, b, c] = t.map(|i| m.points[i as usize]);
                (a - b).norm().min((b - c).norm()).min((c - a).norm())
            };
            let least = m.triangles.iter().map(size).fold(f64::INFINITY, f64::min);
            assert!(m.open_edges().is_empty() && least > 2e-4, "{x}: {least}");
        }
    }
}
