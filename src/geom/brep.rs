//! Boundary representation with B-spline geometry: what STEP writes and what the checks look at.
use crate::num::{Curve, Knots, TensorSpline};
use crate::tolerance::EDGE_MM;

/// A B-spline surface in space; control points row by row, u index outside.
#[derive(Debug, Clone, PartialEq)]
pub struct Surface3 {
    /// Knots along u.
    pub u: Knots,
    /// Knots along v.
    pub v: Knots,
    /// Control points, `u.len() * v.len()` of them, mm.
    pub points: Vec<[f64; 3]>,
}
impl Surface3 {
    /// The graph of a height function with the Greville net: u is x and v is y exactly.
    pub fn graph(z: &TensorSpline) -> Self {
        let (gx, gy) = (z.x.greville(), z.y.greville());
        let n = gy.len();
        let points = (0..z.c.len()).map(|k| [gx[k / n], gy[k % n], z.c[k]]).collect();
        Self { u: z.x.clone(), v: z.y.clone(), points }
    }
    /// The ruled surface between two curves on the same knots: u along them, v from `a` (0) to `b` (1).
    ///
    /// # Panics
    /// When the knots differ.
    pub fn ruled(a: &Curve<3>, b: &Curve<3>) -> Self {
        Self::across(&[a, b])
    }
    /// The surface whose lines across are Bezier curves, with control points on `columns`: u along the columns, v from the
    /// first (0) to the last (1).
    ///
    /// # Panics
    /// When the columns' knots differ, or when there are fewer than 2 or more than 6: a programming error.
    pub fn across(columns: &[&Curve<3>]) -> Self {
        let u = &columns[0].knots;
        assert!(columns.iter().all(|c| c.knots == *u), "a surface's columns share their knots");
        let points = (0..u.len()).flat_map(|i| columns.iter().map(move |c| c.points[i])).collect();
        Self { u: u.clone(), v: Knots::uniform(columns.len() - 1, 1, 0.0, 1.0), points }
    }
    /// Whether u is x and v is y everywhere, as [`Surface3::graph`] makes them.
    pub fn is_graph(&self) -> bool {
        let (x, y) = (self.u.greville(), self.v.greville());
        self.points.iter().enumerate().all(|(k, p)| p[0] == x[k / y.len()] && p[1] == y[k % y.len()])
    }
    /// The point at (u, v).
    pub fn at(&self, u: f64, v: f64) -> [f64; 3] {
        let ((i, bu), (j, bv)) = (self.u.basis(u), self.v.basis(v));
        let mut o = [0.0; 3];
        for a in 0..=self.u.degree() {
            for b in 0..=self.v.degree() {
                let p = self.points[(i + a) * self.v.len() + j + b];
                for d in 0..3 {
                    o[d] += bu[a] * bv[b] * p[d];
                }
            }
        }
        o
    }
    /// Lengths of the second derivatives Suu and Svv at (u, v).
    pub fn bends(&self, u: f64, v: f64) -> [f64; 2] {
        let ((i, bu), (j, bv)) = (self.u.derivatives(u), self.v.derivatives(v));
        [(2, 0), (0, 2)].map(|(du, dv)| {
            let mut o = [0.0; 3];
            for a in 0..=self.u.degree() {
                for b in 0..=self.v.degree() {
                    let p = self.points[(i + a) * self.v.len() + j + b];
                    for d in 0..3 {
                        o[d] += bu[du][a] * bv[dv][b] * p[d];
                    }
                }
            }
            o.iter().map(|c| c * c).sum::<f64>().sqrt()
        })
    }
}

/// An edge: a space curve between two vertices.
#[derive(Debug, Clone, PartialEq)]
pub struct Edge {
    /// The space curve, mm.
    pub curve: Curve<3>,
    /// Index of the start vertex.
    pub start: usize,
    /// Index of the end vertex.
    pub end: usize,
}
/// One use of an edge by a face's loop.
#[derive(Debug, Clone, PartialEq)]
pub struct EdgeUse {
    /// Index of the edge.
    pub edge: usize,
    /// Whether the loop runs along the edge's own direction.
    pub forward: bool,
    /// The edge in the surface's (u, v), on the same parameters and in the direction of the edge's own curve.
    pub pcurve: Curve<2>,
}
/// A face: a surface, trimmed by loops.
#[derive(Debug, Clone, PartialEq)]
pub struct Face {
    /// The name written to files, for example 'underside'.
    pub name: String,
    /// The surface.
    pub surface: Surface3,
    /// Whether the face's outward normal is the surface's own (Su x Sv).
    pub same_sense: bool,
    /// The outer loop first, then the holes; each runs with the face's material on its left, seen against the face's normal.
    pub loops: Vec<Vec<EdgeUse>>,
}
/// An open shell or a closed solid.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Brep {
    /// The name written to files.
    pub name: String,
    /// Vertices in mm.
    pub vertices: Vec<[f64; 3]>,
    /// Edges.
    pub edges: Vec<Edge>,
    /// Faces.
    pub faces: Vec<Face>,
    /// Whether the faces close a solid.
    pub closed: bool,
}

/// Samples along every span of an edge when its distance from its faces is checked: a fault of one control point shows in
/// four spans.
const SPAN_SAMPLES: usize = 8;

/// Whether a distance is too long, or no number at all.
fn too_far(d: f64) -> bool {
    !(d <= EDGE_MM)
}

impl Brep {
    /// Everything wrong with the shape, in words; nothing for a sound one.
    pub fn faults(&self) -> Vec<String> {
        let mut out = Vec::new();
        let apart = |a: &[f64; 3], b: &[f64; 3]| (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt();
        for (i, e) in self.edges.iter().enumerate() {
            let (lo, hi) = e.curve.knots.range();
            for (v, u) in [(e.start, lo), (e.end, hi)] {
                let d = apart(&self.vertices[v], &e.curve.at(u));
                if too_far(d) {
                    out.push(format!("edge {i} ends {d:.4} mm from its vertex {v}"));
                }
            }
        }
        let mut uses = vec![(0usize, 0usize); self.edges.len()];
        for f in &self.faces {
            for (k, l) in f.loops.iter().enumerate() {
                let ends = |u: &EdgeUse| {
                    let e = &self.edges[u.edge];
                    if u.forward { (e.start, e.end) } else { (e.end, e.start) }
                };
                for i in 0..l.len() {
                    if ends(&l[i]).1 != ends(&l[(i + 1) % l.len()]).0 {
                        out.push(format!("loop {k} of face '{}' is not connected at its edge use {i}", f.name));
                    }
                }
                let mut area = 0.0;
                for u in l {
                    let e = &self.edges[u.edge];
                    if u.forward {
                        uses[u.edge].0 += 1;
                    } else {
                        uses[u.edge].1 += 1;
                    }
                    let ((lo, hi), (plo, phi)) = (e.curve.knots.range(), u.pcurve.knots.range());
                    let samples = SPAN_SAMPLES * (e.curve.knots.breaks().len() - 1);
                    let at = |i: usize| {
                        let t = i as f64 / samples as f64;
                        if u.forward { t } else { 1.0 - t }
                    };
                    let mut last: Option<[f64; 2]> = None;
                    let mut worst = 0.0_f64;
                    for i in 0..=samples {
                        let t = at(i);
                        let q = u.pcurve.at(plo + (phi - plo) * t);
                        let d = apart(&e.curve.at(lo + (hi - lo) * t), &f.surface.at(q[0], q[1]));
                        // a NaN stays, which `f64::max` would drop
                        if !(d <= worst) && !worst.is_nan() {
                            worst = d;
                        }
                        if let Some(p) = last {
                            area += (p[0] * q[1] - q[0] * p[1]) / 2.0;
                        }
                        last = Some(q);
                    }
                    if too_far(worst) {
                        out.push(format!("edge {} lies {worst:.4} mm off face '{}'", u.edge, f.name));
                    }
                }
                let outer = k == 0;
                if (area > 0.0) != (outer == f.same_sense) {
                    out.push(format!("loop {k} of face '{}' runs the wrong way round", f.name));
                }
            }
        }
        for (i, u) in uses.iter().enumerate() {
            let good = if self.closed { *u == (1, 1) } else { u.0 + u.1 >= 1 && u.0 <= 1 && u.1 <= 1 };
            if !good {
                out.push(format!("edge {i} is used {} times forwards and {} times backwards", u.0, u.1));
            }
        }
        out
    }
}
