//! Triangles of a boundary representation: every edge is cut once, so that faces meet without gaps.
use super::triangulate::{inner_triangles, plan_mesh, triangulate};
use super::{Brep, Edge, Face, Polygon, TriMesh};
use crate::num::TensorSpline;
use nalgebra::Point3;
use spade::Triangulation;

/// Parts of a span at whose ends its bend is looked at.
const BEND_SAMPLES: usize = 4;
/// Samples along a surface for its size and bend.
const SURFACE_SAMPLES: usize = 24;

/// Longest side of a triangle of a regular face over the other: longer ones are slivers, shorter ones only more.
const MOST_ASPECT: f64 = 8.0;

/// An edge cut into chords: parameters from 0 to 1 over its domain, and the index of the first inner point.
struct Cut {
    t: Vec<f64>,
    first: usize,
}
impl Cut {
    /// Index of the point after `k` chords of `edge`.
    fn id(&self, edge: &Edge, k: usize) -> u32 {
        (match k {
            0 => edge.start,
            k if k + 1 == self.t.len() => edge.end,
            k => self.first + k - 1,
        }) as u32
    }
}
/// A face bent both ways whose four sides are its surface's own: the edges along v = 0 and v = 1, along u = 0 and u = 1.
struct Regular {
    along: [usize; 2],
    across: [usize; 2],
}
impl Regular {
    fn of(f: &Face) -> Option<Self> {
        let [l] = f.loops.as_slice() else { return None };
        let bent = f.surface.u.degree() > 1 && f.surface.v.degree() > 1;
        if l.len() != 4 || !bent || l.iter().any(|u| u.pcurve.knots.degree() > 1) {
            return None;
        }
        let ranges = [f.surface.u.range(), f.surface.v.range()];
        // the edge that runs up along direction `k`, at either end of the other
        let side = |k: usize, end: f64| {
            let (lo, hi) = ranges[k];
            l.iter().find(|u| {
                u.pcurve.points.iter().all(|p| p[1 - k] == end)
                    && u.pcurve.points[0][k] == lo
                    && u.pcurve.points[1][k] == hi
            })
        };
        let [along, across] = [0, 1].map(|k| {
            let (lo, hi) = ranges[1 - k];
            Some([side(k, lo)?.edge, side(k, hi)?.edge])
        });
        Some(Self { along: along?, across: across? })
    }
}

impl Brep {
    /// Triangles within about `chord` mm of the shape, oriented outwards, closed where the shape is. `None` when a face's
    /// loops cross.
    pub fn mesh(&self, chord: f64) -> Option<TriMesh> {
        self.mesh_over(chord, &[])
    }
    /// As [`Brep::mesh`], where the first faces are the graphs of `graphs`: those have triangles as large as their own bend
    /// allows wherever they are.
    pub fn mesh_over(&self, chord: f64, graphs: &[&TensorSpline]) -> Option<TriMesh> {
        let mut mesh = TriMesh { points: self.vertices.iter().map(|v| Point3::from(*v)).collect(), triangles: vec![] };
        let regular: Vec<Option<Regular>> = self.faces.iter().map(Regular::of).collect();
        // a graph's triangles leave half of the chord to its border
        let edge_chord = if graphs.is_empty() { chord } else { chord / 2.0 };
        let counts = self.chords(edge_chord, &regular);
        let mut cuts = Vec::with_capacity(self.edges.len());
        for (e, counts) in self.edges.iter().zip(counts) {
            let (lo, hi) = e.curve.knots.range();
            let mut t = vec![0.0];
            for (w, n) in e.curve.knots.breaks().windows(2).zip(counts) {
                t.extend((1..=n).map(|i| (w[0] + (w[1] - w[0]) * i as f64 / n as f64 - lo) / (hi - lo)));
            }
            let first = mesh.points.len();
            let inner = &t[1..t.len() - 1];
            mesh.points.extend(inner.iter().map(|s| Point3::from(e.curve.at(lo + (hi - lo) * s))));
            cuts.push(Cut { t, first });
        }
        for (i, (f, regular)) in self.faces.iter().zip(&regular).enumerate() {
            match regular {
                Some(r) => self.fill_regular(f, r, &cuts, &mut mesh),
                None => self.fill_face(f, graphs.get(i).copied(), &cuts, chord, &mut mesh)?,
            }
        }
        Some(mesh)
    }

    /// Chords in every span of every edge; opposite edges of regular faces have the same.
    fn chords(&self, chord: f64, regular: &[Option<Regular>]) -> Vec<Vec<usize>> {
        let of = |e: &Edge| -> Vec<usize> {
            let spans = e.curve.knots.breaks();
            let chords = spans.windows(2).map(|w| {
                let bend = (0..=BEND_SAMPLES)
                    .map(|i| e.curve.derivatives(w[0] + (w[1] - w[0]) * i as f64 / BEND_SAMPLES as f64)[2])
                    .map(|a| a.iter().map(|c| c * c).sum::<f64>().sqrt())
                    .fold(0.0, f64::max);
                // chord height of a span cut into n: |c''| (span / n)^2 / 8
                ((w[1] - w[0]) * (bend / (8.0 * chord)).sqrt()).ceil().max(1.0) as usize
            });
            chords.collect()
        };
        let mut out: Vec<Vec<usize>> = self.edges.iter().map(of).collect();
        let length = |e: &Edge, a: f64, b: f64| (Point3::from(e.curve.at(a)) - Point3::from(e.curve.at(b))).norm();
        for r in regular.iter().flatten() {
            let steps = r.across.map(|e| {
                let edge = &self.edges[e];
                let (lo, hi) = edge.curve.knots.range();
                length(edge, lo, hi) / out[e].iter().sum::<usize>() as f64
            });
            for e in r.along {
                let edge = &self.edges[e];
                for (w, n) in edge.curve.knots.breaks().windows(2).zip(&mut out[e]) {
                    let least = length(edge, w[0], w[1]) / (MOST_ASPECT * steps[0].min(steps[1]));
                    *n = (*n).max(least.ceil() as usize);
                }
            }
        }
        // what one face asks of an edge goes on to the next faces
        let mut changed = true;
        while changed {
            changed = false;
            for [a, b] in regular.iter().flatten().flat_map(|r| [r.along, r.across]) {
                let most: Vec<usize> = out[a].iter().zip(&out[b]).map(|(m, n)| *m.max(n)).collect();
                changed |= out[a] != most || out[b] != most;
                out[a].clone_from(&most);
                out[b] = most;
            }
        }
        out
    }

    /// Rows of quadrilaterals, each halved.
    fn fill_regular(&self, f: &Face, r: &Regular, cuts: &[Cut], mesh: &mut TriMesh) {
        let (along, across) = (&cuts[r.along[0]].t, &cuts[r.across[0]].t);
        let (nu, nv) = (along.len() - 1, across.len() - 1);
        let first = mesh.points.len();
        let ([u0, u1], [v0, v1]) = (<[f64; 2]>::from(f.surface.u.range()), <[f64; 2]>::from(f.surface.v.range()));
        for u in &along[1..nu] {
            let row = across[1..nv].iter().map(|v| f.surface.at(u0 + (u1 - u0) * u, v0 + (v1 - v0) * v));
            mesh.points.extend(row.map(Point3::from));
        }
        let on = |edge: usize, k: usize| cuts[edge].id(&self.edges[edge], k);
        let id = |i: usize, j: usize| match (i, j) {
            (i, 0) => on(r.along[0], i),
            (i, j) if j == nv => on(r.along[1], i),
            (0, j) => on(r.across[0], j),
            (i, j) if i == nu => on(r.across[1], j),
            (i, j) => (first + (i - 1) * (nv - 1) + j - 1) as u32,
        };
        for (i, j) in (0..nu).flat_map(|i| (0..nv).map(move |j| (i, j))) {
            let [a, b, c, d] = [id(i, j), id(i + 1, j), id(i + 1, j + 1), id(i, j + 1)];
            let halves = if f.same_sense { [[a, b, c], [a, c, d]] } else { [[a, c, b], [a, d, c]] };
            mesh.triangles.extend(halves);
        }
    }

    fn fill_face(
        &self,
        f: &Face,
        graph: Option<&TensorSpline>,
        cuts: &[Cut],
        chord: f64,
        mesh: &mut TriMesh,
    ) -> Option<()> {
        let mut ids: Vec<u32> = Vec::new();
        let mut loops = Vec::new();
        for l in &f.loops {
            let mut points = Vec::new();
            for u in l {
                let (e, cut) = (&self.edges[u.edge], &cuts[u.edge]);
                let (lo, hi) = u.pcurve.knots.range();
                let n = cut.t.len() - 1;
                for k in 0..n {
                    let k = if u.forward { k } else { n - k };
                    ids.push(cut.id(e, k));
                    points.push(u.pcurve.at(lo + (hi - lo) * cut.t[k]));
                }
            }
            loops.push(Polygon { points });
        }
        let TriMesh { points, triangles } = match graph {
            Some(z) => triangulate(&[z], &loops, chord)?,
            None => filled(f, loops, chord)?,
        };
        let first = mesh.points.len();
        let border = ids.len();
        mesh.points.extend(&points[border..]);
        let id = |i: u32| if (i as usize) < border { ids[i as usize] } else { (first + i as usize - border) as u32 };
        mesh.triangles.extend(triangles.iter().map(|t| {
            let [a, b, c] = t.map(id);
            if f.same_sense { [a, b, c] } else { [a, c, b] }
        }));
        Some(())
    }
}

/// Triangles, counter-clockwise in (u, v), that fill the loops of a face (outer first), given in (u, v); the loops'
/// vertices come first, in order. `None` when loops cross.
fn filled(f: &Face, mut loops: Vec<Polygon>, chord: f64) -> Option<TriMesh> {
    let (lo, hi) = loops.first()?.bounds();
    let (size, bend) = measure(f, lo, hi);
    // triangles are well shaped in mm, not in parameters
    for p in loops.iter_mut().flat_map(|l| &mut l.points) {
        *p = [0, 1].map(|k| p[k] * size[k]);
    }
    let ruled = f.surface.u.degree() == 1 || f.surface.v.degree() == 1;
    // a ruled face whose sides are its rulings is carried by its borders; a cut or pierced one is not
    let plain = f.loops.len() == 1 && f.loops[0].iter().all(|u| u.pcurve.knots.degree() == 1);
    let length = (hi[0] - lo[0]) * size[0];
    let step = if ruled && plain { f64::INFINITY } else { step_for(bend, length, chord) };
    let mesh = plan_mesh(&loops, step)?;
    let on = |p: spade::Point2<f64>| Point3::from(f.surface.at(p.x / size[0], p.y / size[1]));
    Some(TriMesh { points: mesh.vertices().map(|v| on(v.position())).collect(), triangles: inner_triangles(&mesh) })
}

/// mm per unit of u and v over the box, and the sharpest bend per mm.
fn measure(f: &Face, lo: [f64; 2], hi: [f64; 2]) -> ([f64; 2], f64) {
    let n = SURFACE_SAMPLES;
    let at = |k: usize, i: usize| lo[k] + (hi[k] - lo[k]) * i as f64 / n as f64;
    let size = [0, 1].map(|k| {
        let middle = (lo[1 - k] + hi[1 - k]) / 2.0;
        let point = |i| if k == 0 { f.surface.at(at(0, i), middle) } else { f.surface.at(middle, at(1, i)) };
        let length: f64 = (0..n).map(|i| (Point3::from(point(i)) - Point3::from(point(i + 1))).norm()).sum();
        length / (hi[k] - lo[k])
    });
    let mut bend = 0.0_f64;
    for i in 0..=n {
        for j in 0..=n {
            let b = f.surface.bends(at(0, i), at(1, j));
            bend = bend.max(b[0] / (size[0] * size[0])).max(b[1] / (size[1] * size[1]));
        }
    }
    (size, bend)
}

/// Longest side of a triangle of the staggered grid, over the grid's step: half a step across, one along.
const LONGEST_SIDE: f64 = 1.118_033_988_749_895;

/// Step of the inner points: chord heights within `chord` at the sharpest second derivative `bend`, within bounds that the
/// `length` of the face sets.
fn step_for(bend: f64, length: f64, chord: f64) -> f64 {
    let least = length / 400.0;
    let step = (8.0 * chord / bend.max(f64::MIN_POSITIVE)).sqrt() / LONGEST_SIDE;
    step.clamp(least, 25.0 * least)
}
