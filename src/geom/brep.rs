//! Boundary representation with B-spline geometry: what STEP writes and what the checks look at.
use crate::num::{Curve, Knots, TensorSpline};

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
        assert!(a.knots == b.knots, "ruled surfaces join curves on the same knots");
        let points = a.points.iter().zip(&b.points).flat_map(|(p, q)| [*p, *q]).collect();
        Self { u: a.knots.clone(), v: Knots::uniform(1, 1, 0.0, 1.0), points }
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
