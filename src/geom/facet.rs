//! Triangles of a boundary representation: every edge is cut once, so that faces meet without gaps.
use super::triangulate::{inner_triangles, plan_mesh};
use super::{Brep, Face, Polygon, TriMesh};
use nalgebra::Point3;
use spade::Triangulation;

/// Parts of a span at whose ends its bend is looked at.
const BEND_SAMPLES: usize = 4;
/// Samples along a surface for its size and bend.
const SURFACE_SAMPLES: usize = 24;

/// An edge cut into chords: parameters from 0 to 1 over its domain, and the index of the first inner point.
struct Cut {
    t: Vec<f64>,
    first: usize,
}

impl Brep {
    /// Triangles within about `chord` mm of the shape, oriented outwards, closed where the shape is. `None` when a face's
    /// loops cross.
    pub fn mesh(&self, chord: f64) -> Option<TriMesh> {
        let mut mesh = TriMesh { points: self.vertices.iter().map(|v| Point3::from(*v)).collect(), triangles: vec![] };
        let mut cuts = Vec::with_capacity(self.edges.len());
        for e in &self.edges {
            let (lo, hi) = e.curve.knots.range();
            let mut t = vec![0.0];
            for w in e.curve.knots.breaks().windows(2) {
                let bend = (0..=BEND_SAMPLES)
                    .map(|i| e.curve.derivatives(w[0] + (w[1] - w[0]) * i as f64 / BEND_SAMPLES as f64)[2])
                    .map(|a| a.iter().map(|c| c * c).sum::<f64>().sqrt())
                    .fold(0.0, f64::max);
                // chord height of a span cut into n: |c''| (span / n)^2 / 8
                let n = ((w[1] - w[0]) * (bend / (8.0 * chord)).sqrt()).ceil().max(1.0) as usize;
                t.extend((1..=n).map(|i| (w[0] + (w[1] - w[0]) * i as f64 / n as f64 - lo) / (hi - lo)));
            }
            let first = mesh.points.len();
            let inner = &t[1..t.len() - 1];
            mesh.points.extend(inner.iter().map(|s| Point3::from(e.curve.at(lo + (hi - lo) * s))));
            cuts.push(Cut { t, first });
        }
        for f in &self.faces {
            self.fill_face(f, &cuts, chord, &mut mesh)?;
        }
        Some(mesh)
    }

    fn fill_face(&self, f: &Face, cuts: &[Cut], chord: f64, mesh: &mut TriMesh) -> Option<()> {
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
                    ids.push(match k {
                        0 => e.start,
                        k if k == n => e.end,
                        k => cut.first + k - 1,
                    } as u32);
                    points.push(u.pcurve.at(lo + (hi - lo) * cut.t[k]));
                }
            }
            loops.push(Polygon { points });
        }
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
        let (points, triangles) = fill(&loops, step)?;
        let first = mesh.points.len();
        let border = ids.len();
        mesh.points.extend(points[border..].iter().map(|p| Point3::from(f.surface.at(p[0] / size[0], p[1] / size[1]))));
        let id = |i: u32| if (i as usize) < border { ids[i as usize] } else { (first + i as usize - border) as u32 };
        mesh.triangles.extend(triangles.iter().map(|t| {
            let [a, b, c] = t.map(id);
            if f.same_sense { [a, b, c] } else { [a, c, b] }
        }));
        Some(())
    }
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

/// Points and triangles, counter-clockwise, that fill the loops (outer first) with inner points `step` apart; the loops'
/// vertices come first, in order. `None` when loops cross.
#[allow(clippy::type_complexity)]
fn fill(loops: &[Polygon], step: f64) -> Option<(Vec<[f64; 2]>, Vec<[u32; 3]>)> {
    let mesh = plan_mesh(loops, step)?;
    let points = mesh.vertices().map(|v| v.position()).map(|p| [p.x, p.y]).collect();
    let triangles = inner_triangles(&mesh);
    Some((points, triangles))
}
