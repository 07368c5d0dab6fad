//! Boundary representations with the planes, cylinders, straight lines and circles that their splines are: what CAD takes as
//! faces to sketch on, holes with an axis and edges with a centre.
//!
//! Solids are made and checked as splines ([`Brep`]), which one set of algorithms cuts, bores and measures. Here, and nowhere else,
//! each face and edge is asked once whether it is one of the elementary shapes within [`FORM_MM`].
mod edges;
mod forms;
use super::{Brep, Surface3};
use crate::num::Curve;
use crate::tolerance::EDGE_MM;
use nalgebra::Vector3;

/// Greatest distance of a face or edge from the elementary shape it is taken for, mm: with as much that splines leave, edges
/// still lie on both their faces within half of [`EDGE_MM`].
pub(super) const FORM_MM: f64 = EDGE_MM / 4.0;

/// A right-handed frame in space, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Placement {
    /// Its origin.
    pub origin: [f64; 3],
    /// Unit vector: a plane's normal, a cylinder's or circle's axis.
    pub axis: [f64; 3],
    /// Unit vector square to the axis, from which angles are counted.
    pub x: [f64; 3],
}
impl Placement {
    /// The frame at `origin` with this axis (unit vector); x as near to the world's x as it can be.
    pub fn along(origin: [f64; 3], axis: [f64; 3]) -> Self {
        let z = Vector3::from(axis);
        // an axis along the world's x has no x near it
        let near = if z.x.abs() < z.z.abs() { Vector3::x() } else { Vector3::z() };
        Self { origin, axis, x: (near - z * near.dot(&z)).normalize().into() }
    }
    /// The unit vector square to both.
    fn y(&self) -> Vector3<f64> {
        Vector3::from(self.axis).cross(&Vector3::from(self.x))
    }
    /// A point on the circle of `radius` at `angle` (radians), `height` above the origin.
    fn round(&self, radius: f64, angle: f64, height: f64) -> [f64; 3] {
        let (s, c) = angle.sin_cos();
        let y = self.y();
        [0, 1, 2].map(|k| self.origin[k] + radius * (c * self.x[k] + s * y[k]) + height * self.axis[k])
    }
    /// Angle from 0 to 2 pi, height and distance from the axis of a point.
    fn polar(&self, p: [f64; 3]) -> [f64; 3] {
        let d = Vector3::from(p) - Vector3::from(self.origin);
        let (a, b) = (d.dot(&Vector3::from(self.x)), d.dot(&self.y()));
        [b.atan2(a).rem_euclid(std::f64::consts::TAU), d.dot(&Vector3::from(self.axis)), a.hypot(b)]
    }
}
/// The geometry of a face.
#[derive(Debug, Clone, PartialEq)]
pub enum SurfaceForm {
    /// A plane, its axis out of the material.
    Plane(Placement),
    /// A round cylinder; u is the angle, v the height.
    Cylinder(Placement, f64),
    /// A B-spline.
    Spline(Surface3),
}
/// The geometry of an edge.
#[derive(Debug, Clone, PartialEq)]
pub enum CurveForm {
    /// The straight line from vertex to vertex; the parameter is the length, mm.
    Line,
    /// The arc of a circle about the axis; the parameter is the angle, from 0 at the start vertex.
    Circle {
        /// The circle's frame, x towards the start vertex.
        at: Placement,
        /// Its radius, mm.
        radius: f64,
        /// The angle of the end vertex, radians, above 0.
        sweep: f64,
    },
    /// A B-spline.
    Spline(Curve<3>),
}
/// An edge in the parameters of a face.
#[derive(Debug, Clone, PartialEq)]
pub enum Trace {
    /// A straight line: where it starts, and what it goes for each unit of the edge's own parameter.
    Line([f64; 2], [f64; 2]),
    /// A B-spline on the edge's own parameter.
    Spline(Curve<2>),
}
/// One use of an edge by a face's loop.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyticUse {
    /// Index of the edge.
    pub edge: usize,
    /// Whether the loop runs along the edge's own direction.
    pub forward: bool,
    /// The edge in the face's parameters; `None` on a plane, which needs none.
    pub trace: Option<Trace>,
}
/// A face.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyticFace {
    /// Its name.
    pub name: String,
    /// Its geometry.
    pub form: SurfaceForm,
    /// Whether the face's outward normal is the surface's own.
    pub same_sense: bool,
    /// The outer loop first, then the holes, as of a [`Brep`].
    pub loops: Vec<Vec<AnalyticUse>>,
}
/// An edge between two vertices.
#[derive(Debug, Clone, PartialEq)]
pub struct AnalyticEdge {
    /// Its geometry.
    pub form: CurveForm,
    /// Index of the start vertex.
    pub start: usize,
    /// Index of the end vertex.
    pub end: usize,
}
/// A shell or solid whose faces and edges carry their elementary shapes.
#[derive(Debug, Clone, PartialEq)]
pub struct Analytic {
    /// The name written to files.
    pub name: String,
    /// Vertices in mm.
    pub vertices: Vec<[f64; 3]>,
    /// Edges.
    pub edges: Vec<AnalyticEdge>,
    /// Faces.
    pub faces: Vec<AnalyticFace>,
    /// Whether the faces close a solid.
    pub closed: bool,
}

/// Samples along every span of an edge when its distance from its faces is checked.
const SPAN_SAMPLES: usize = 8;
/// The same along an arc, which has no spans.
const ARC_SAMPLES: usize = 16;

fn apart(a: &[f64; 3], b: &[f64; 3]) -> f64 {
    (0..3).map(|k| (a[k] - b[k]).powi(2)).sum::<f64>().sqrt()
}

impl SurfaceForm {
    /// Whether it is neither plane nor cylinder.
    fn is_spline(&self) -> bool {
        matches!(self, Self::Spline(_))
    }
    /// How far the point `p` of an edge lies off the surface, where `trace` says it is at `uv`.
    fn off(&self, p: [f64; 3], uv: Option<[f64; 2]>) -> f64 {
        match (self, uv) {
            (Self::Plane(at), _) => (0..3).map(|k| (p[k] - at.origin[k]) * at.axis[k]).sum::<f64>().abs(),
            (Self::Cylinder(at, radius), Some([u, v])) => apart(&p, &at.round(*radius, u, v)),
            (Self::Spline(s), Some([u, v])) => apart(&p, &s.at(u, v)),
            (_, None) => f64::INFINITY,
        }
    }
}
impl Trace {
    /// The place at the share `t` of an edge whose own parameter runs over `length`.
    fn at(&self, t: f64, length: f64) -> [f64; 2] {
        match self {
            Self::Line(from, step) => [0, 1].map(|k| from[k] + t * length * step[k]),
            Self::Spline(c) => {
                let (lo, hi) = c.knots.range();
                c.at(lo + (hi - lo) * t)
            }
        }
    }
}

impl Brep {
    /// The same shape with planes, cylinders, lines and circles where faces and edges are such within a quarter of `EDGE_MM`. A face
    /// whose edges would then be more than half of [`EDGE_MM`] off stays a spline.
    pub fn analytic(&self) -> Analytic {
        let mut forms = forms::of_faces(self);
        loop {
            let made = edges::assemble(self, &forms);
            let strayed: Vec<usize> =
                made.strayed(EDGE_MM / 2.0).into_iter().map(|s| s.1).filter(|f| !forms[*f].0.is_spline()).collect();
            if strayed.is_empty() {
                return made;
            }
            for f in strayed {
                forms[f] = (SurfaceForm::Spline(self.faces[f].surface.clone()), self.faces[f].same_sense);
            }
        }
    }
}
impl Analytic {
    /// Length of an edge's own parameter from start to end: mm, radians, or of its knots.
    pub fn length(&self, edge: &AnalyticEdge) -> f64 {
        match &edge.form {
            CurveForm::Line => apart(&self.vertices[edge.start], &self.vertices[edge.end]),
            CurveForm::Circle { sweep, .. } => *sweep,
            CurveForm::Spline(c) => c.knots.range().1 - c.knots.range().0,
        }
    }
    /// The point at the share `t` of an edge.
    fn at(&self, edge: &AnalyticEdge, t: f64) -> [f64; 3] {
        match &edge.form {
            CurveForm::Line => {
                let (a, b) = (self.vertices[edge.start], self.vertices[edge.end]);
                [0, 1, 2].map(|k| a[k] + t * (b[k] - a[k]))
            }
            CurveForm::Circle { at, radius, sweep } => at.round(*radius, t * sweep, 0.0),
            CurveForm::Spline(c) => {
                let (lo, hi) = c.knots.range();
                c.at(lo + (hi - lo) * t)
            }
        }
    }
    /// Edges that lie more than `limit` mm off a face of theirs: edge, face, distance.
    fn strayed(&self, limit: f64) -> Vec<(usize, usize, f64)> {
        let mut out = Vec::new();
        for (f, face) in self.faces.iter().enumerate() {
            for u in face.loops.iter().flatten() {
                let edge = &self.edges[u.edge];
                let n = match &edge.form {
                    CurveForm::Spline(c) => SPAN_SAMPLES * (c.knots.breaks().len() - 1),
                    _ => ARC_SAMPLES,
                };
                let length = self.length(edge);
                let off = |i: usize| {
                    let t = i as f64 / n as f64;
                    face.form.off(self.at(edge, t), u.trace.as_ref().map(|c| c.at(t, length)))
                };
                // a NaN is too far as well
                if let Some(far) = (0..=n).map(off).filter(|d| !(*d <= limit)).max_by(f64::total_cmp) {
                    out.push((u.edge, f, far));
                }
            }
        }
        out
    }
    /// Everything wrong with the geometry, in words; nothing for a sound one. The loops are those of the [`Brep`] it was made of.
    pub fn faults(&self) -> Vec<String> {
        let mut out = Vec::new();
        for (i, e) in self.edges.iter().enumerate() {
            for (v, t) in [(e.start, 0.0), (e.end, 1.0)] {
                let d = apart(&self.vertices[v], &self.at(e, t));
                if !(d <= EDGE_MM) {
                    out.push(format!("edge {i} ends {d:.4} mm from its vertex {v}"));
                }
            }
        }
        for (edge, face, off) in self.strayed(EDGE_MM) {
            out.push(format!("edge {edge} lies {off:.4} mm off face '{}'", self.faces[face].name));
        }
        out
    }
}

#[cfg(test)]
mod tests;
