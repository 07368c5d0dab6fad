//! Edges as lines and circles, and as they lie in the parameters of their faces.
use super::forms::Formed;
use super::{
    Analytic, AnalyticEdge, AnalyticFace, AnalyticUse, CurveForm, FORM_MM, Placement, SurfaceForm, Trace, apart,
};
use crate::geom::{Brep, Edge, EdgeUse};
use crate::num::{Curve, Knots, interpolate};
use crate::tolerance::EDGE_MM;
use nalgebra::{DMatrix, Vector3};
use std::f64::consts::{PI, TAU};

/// Samples along every span of an edge that is asked whether it is a circle.
const SPAN_SAMPLES: usize = 4;
/// Halvings of an edge's knots tried until its angles on a cylinder are followed; each shrinks the error sixteenfold.
const HALVINGS: usize = 3;

/// The faces that use an edge, with their uses of it.
type Users<'a> = Vec<(usize, &'a EdgeUse)>;

/// The shape of `b` with its faces as `forms` and its edges as lines and circles where they are such.
pub(super) fn assemble(b: &Brep, forms: &[Formed]) -> Analytic {
    let mut users: Vec<Users> = vec![Vec::new(); b.edges.len()];
    for (f, face) in b.faces.iter().enumerate() {
        for u in face.loops.iter().flatten() {
            users[u.edge].push((f, u));
        }
    }
    let mut vertices = b.vertices.clone();
    let circles: Vec<Option<(Placement, f64)>> =
        b.edges.iter().zip(&users).map(|(e, users)| circle(e, users, forms)).collect();
    for (e, c) in b.edges.iter().zip(&circles) {
        for v in [e.start, e.end] {
            if let Some((at, radius)) = c {
                let [angle, ..] = at.polar(vertices[v]);
                vertices[v] = at.round(*radius, angle, 0.0);
            }
        }
    }
    let edges: Vec<AnalyticEdge> = (b.edges.iter().zip(&users).zip(&circles))
        .map(|((e, users), circle)| {
            let ends = [vertices[e.start], vertices[e.end]];
            let form = match circle {
                Some((at, radius)) => arc(e, at, *radius, ends),
                None if is_line(e, ends, users, forms) => CurveForm::Line,
                None => CurveForm::Spline(between(&e.curve, ends)),
            };
            AnalyticEdge { form, start: e.start, end: e.end }
        })
        .collect();
    let faces = (b.faces.iter().zip(forms))
        .map(|(face, (form, same_sense))| {
            let used = |u: &EdgeUse| AnalyticUse {
                edge: u.edge,
                forward: u.forward,
                trace: trace(form, &edges[u.edge], &vertices, u),
            };
            AnalyticFace {
                name: face.name.clone(),
                form: form.clone(),
                same_sense: *same_sense,
                loops: face.loops.iter().map(|l| l.iter().map(used).collect()).collect(),
            }
        })
        .collect();
    Analytic { name: b.name.clone(), vertices, edges, faces, closed: b.closed }
}

/// Points along an edge, close enough to count its turns.
fn samples(c: &Curve<3>) -> Vec<[f64; 3]> {
    let breaks = c.knots.breaks();
    let inside = breaks.windows(2).flat_map(|w| {
        let (from, length) = (w[0], w[1] - w[0]);
        (0..SPAN_SAMPLES).map(move |i| from + length * i as f64 / SPAN_SAMPLES as f64)
    });
    inside.chain([breaks[breaks.len() - 1]]).map(|u| c.at(u)).collect()
}

/// The circle in which a plane and a cylinder square to it meet in the edge.
fn circle(e: &Edge, users: &Users, forms: &[Formed]) -> Option<(Placement, f64)> {
    let [a, b] = users.as_slice() else { return None };
    let ((SurfaceForm::Plane(plane), SurfaceForm::Cylinder(at, radius))
    | (SurfaceForm::Cylinder(at, radius), SurfaceForm::Plane(plane))) = (&forms[a.0].0, &forms[b.0].0)
    else {
        return None;
    };
    let (n, axis) = (Vector3::from(plane.axis), Vector3::from(at.axis));
    if n.cross(&axis).norm() * radius > FORM_MM {
        return None;
    }
    let origin = Vector3::from(at.origin);
    let height = (Vector3::from(plane.origin) - origin).dot(&n) / axis.dot(&n);
    let at = Placement { origin: (origin + axis * height).into(), ..*at };
    let near = samples(&e.curve).into_iter().all(|p| {
        let [_, height, from_axis] = at.polar(p);
        height.hypot(from_axis - radius) <= 2.0 * FORM_MM
    });
    near.then_some((at, *radius))
}
/// The arc of a circle along an edge between two places on it, x towards the first.
fn arc(e: &Edge, circle: &Placement, radius: f64, ends: [[f64; 3]; 2]) -> CurveForm {
    let towards = |p: [f64; 3]| {
        let d = Vector3::from(p) - Vector3::from(circle.origin);
        let axis = Vector3::from(circle.axis);
        (d - axis * d.dot(&axis)).normalize()
    };
    let mut at = Placement { x: towards(ends[0]).into(), ..*circle };
    let angles: Vec<f64> = samples(&e.curve).into_iter().map(|p| at.polar(p)[0]).collect();
    let turned: f64 = angles.windows(2).map(|w| (w[1] - w[0] + PI).rem_euclid(TAU) - PI).sum();
    if turned < 0.0 {
        at.axis = at.axis.map(|c| -c);
    }
    // the end vertex's own angle, in the turn that the edge makes
    let end = at.polar(ends[1])[0];
    let sweep = end + TAU * ((turned.abs() - end) / TAU).round();
    CurveForm::Circle { at, radius, sweep }
}

/// Whether an edge is the straight line between its vertices, also as its spline faces have it.
fn is_line(e: &Edge, [a, b]: [[f64; 3]; 2], users: &Users, forms: &[Formed]) -> bool {
    let (from, way) = (Vector3::from(a), Vector3::from(b) - Vector3::from(a));
    let Some(along) = way.try_normalize(FORM_MM) else { return false };
    let straight = e.curve.points.iter().all(|p| {
        let d = Vector3::from(*p) - from;
        (d - along * d.dot(&along)).norm() <= FORM_MM
    });
    straight
        && users.iter().all(|(f, u)| {
            let SurfaceForm::Spline(s) = &forms[*f].0 else { return true };
            // at equal shares of both: a spline may run along a line at another pace
            let (lo, hi) = u.pcurve.knots.range();
            let n = SPAN_SAMPLES * (u.pcurve.knots.breaks().len() - 1).max(SPAN_SAMPLES);
            (0..=n).map(|i| i as f64 / n as f64).all(|t| {
                let q = u.pcurve.at(lo + (hi - lo) * t);
                let p = from + way * t;
                apart(&p.into(), &s.at(q[0], q[1])) <= EDGE_MM / 2.0
            })
        })
}
/// A curve that ends in these places, which lie within [`FORM_MM`] of its own ends.
fn between(c: &Curve<3>, ends: [[f64; 3]; 2]) -> Curve<3> {
    let mut c = c.clone();
    let last = c.points.len() - 1;
    (c.points[0], c.points[last]) = (ends[0], ends[1]);
    c
}

/// An edge in the parameters of a face that uses it.
fn trace(form: &SurfaceForm, edge: &AnalyticEdge, vertices: &[[f64; 3]], used: &EdgeUse) -> Option<Trace> {
    let (from, to) = (vertices[edge.start], vertices[edge.end]);
    match (form, &edge.form) {
        (SurfaceForm::Plane(_), _) => None,
        (SurfaceForm::Spline(_), CurveForm::Line) => {
            let ((lo, hi), length) = (used.pcurve.knots.range(), apart(&from, &to));
            let pace = length / (hi - lo);
            Some(Trace::Spline(Curve {
                knots: used.pcurve.knots.mapped(pace, -lo * pace),
                points: used.pcurve.points.clone(),
            }))
        }
        (SurfaceForm::Spline(_), _) => Some(Trace::Spline(used.pcurve.clone())),
        (SurfaceForm::Cylinder(at, _), CurveForm::Line) => {
            let ([u, v, _], [_, end, _]) = (at.polar(from), at.polar(to));
            Some(Trace::Line([u, v], [0.0, (end - v) / apart(&from, &to)]))
        }
        (SurfaceForm::Cylinder(at, _), CurveForm::Circle { at: circle, .. }) => {
            let [u, v, _] = at.polar(from);
            let same_way = Vector3::from(at.axis).dot(&Vector3::from(circle.axis)) > 0.0;
            Some(Trace::Line([u, v], [if same_way { 1.0 } else { -1.0 }, 0.0]))
        }
        (SurfaceForm::Cylinder(at, radius), CurveForm::Spline(c)) => round(at, *radius, c).map(Trace::Spline),
    }
}
/// Angle and height of a curve on a cylinder, on the curve's own parameter.
fn round(at: &Placement, radius: f64, c: &Curve<3>) -> Option<Curve<2>> {
    // a straight or coarse curve bends in its angles
    let mut knots = if c.knots.degree() < 3 { cubic(&c.knots) } else { c.knots.clone() };
    for _ in 0..=HALVINGS {
        let g = knots.greville();
        let places: Vec<[f64; 3]> = g.iter().map(|u| at.polar(c.at(*u))).collect();
        let fit = interpolate(&knots, &DMatrix::from_fn(g.len(), 2, |i, d| places[i][d]))?;
        let made = Curve { knots: knots.clone(), points: (0..g.len()).map(|i| [fit[(i, 0)], fit[(i, 1)]]).collect() };
        let near = knots.breaks().windows(2).all(|w| {
            (0..SPAN_SAMPLES).map(|i| w[0] + (w[1] - w[0]) * (i as f64 + 0.5) / SPAN_SAMPLES as f64).all(|u| {
                let [angle, height] = made.at(u);
                apart(&c.at(u), &at.round(radius, angle, height)) <= 2.0 * FORM_MM
            })
        });
        if near {
            return Some(made);
        }
        knots = knots.halved();
    }
    None
}
/// Cubic knots over the same spans.
fn cubic(k: &Knots) -> Knots {
    let breaks = k.breaks();
    let (lo, hi) = k.range();
    let all = [&[lo; 3], breaks.as_slice(), &[hi; 3]].concat();
    Knots::new(3, all).unwrap_or_else(|| k.clone())
}
