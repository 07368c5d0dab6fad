//! Which faces are planes and round cylinders.
use super::{FORM_MM, Placement, SurfaceForm};
use crate::geom::{Brep, Face, Surface3};
use crate::tolerance::EDGE_MM;
use nalgebra::{Matrix3, Vector3};

/// Rulings looked at in every span along a face: between two that close, an arc's spline moves by far less than [`FORM_MM`].
const SPAN_SAMPLES: usize = 4;
/// Arcs of less than this, radians, are no cylinder: [`FORM_MM`] on so flat an arc leaves its axis a few hundredths of a mm.
const LEAST_SWEEP: f64 = std::f64::consts::FRAC_PI_3;
/// Radii are given to this, mm: the rest is what the splines of arcs are off.
const RADIUS_STEP_MM: f64 = EDGE_MM / 10.0;

/// What a face is, and whether its outward normal is that form's own.
pub(super) type Formed = (SurfaceForm, bool);

/// A straight line across a face, from its first side to its second.
type Ruling = [Vector3<f64>; 2];

/// The form of every face. Cylinders that are one within [`FORM_MM`] share their axis and radius.
pub(super) fn of_faces(b: &Brep) -> Vec<Formed> {
    let mut out: Vec<Formed> = b
        .faces
        .iter()
        .map(|f| {
            plane(f).map_or_else(
                || (SurfaceForm::Spline(f.surface.clone()), f.same_sense),
                |p| (SurfaceForm::Plane(p), true),
            )
        })
        .collect();
    let mut groups: Vec<(Vec<usize>, Vec<Ruling>, Cylinder)> = Vec::new();
    for (i, f) in b.faces.iter().enumerate().filter(|(i, _)| out[*i].0.is_spline()).collect::<Vec<_>>() {
        let Some((own, of_it)) = rulings(&f.surface).and_then(|r| Some((Cylinder::through(&r)?, r))) else { continue };
        if sweep(&own, &of_it) < LEAST_SWEEP {
            continue;
        }
        let joined = groups.iter_mut().find_map(|g| {
            let both = [g.1.as_slice(), &of_it].concat();
            let one = Cylinder::through(&both)?;
            Some((g, both, one))
        });
        match joined {
            Some((group, both, one)) => {
                group.0.push(i);
                (group.1, group.2) = (both, one);
            }
            None => groups.push((vec![i], of_it, own)),
        }
    }
    for (faces, _, cylinder) in groups {
        for i in faces {
            out[i] = cylinder.of(&b.faces[i]);
        }
    }
    out
}

/// The plane of a face all of whose control points lie on one, its axis the face's outward normal.
fn plane(f: &Face) -> Option<Placement> {
    let s = &f.surface;
    let n = s.v.len();
    let at = |i: usize, j: usize| Vector3::from(s.points[i * n + j]);
    // the sum of the areas of the net's quadrilaterals (Newell), half of the cross product of their diagonals each
    let mut normal = Vector3::zeros();
    for i in 0..s.u.len() - 1 {
        for j in 0..n - 1 {
            normal += (at(i + 1, j + 1) - at(i, j)).cross(&(at(i, j + 1) - at(i + 1, j)));
        }
    }
    let normal = normal.try_normalize(0.0)? * if f.same_sense { 1.0 } else { -1.0 };
    let origin = s.points.iter().map(|p| Vector3::from(*p)).sum::<Vector3<f64>>() / s.points.len() as f64;
    let flat = s.points.iter().all(|p| (Vector3::from(*p) - origin).dot(&normal).abs() <= FORM_MM);
    let along = at(s.u.len() - 1, 0) - at(0, 0);
    let x = (along - normal * along.dot(&normal)).try_normalize(0.0)?;
    flat.then(|| Placement { origin: origin.into(), axis: normal.into(), x: x.into() })
}

/// Lines across a face that is ruled between two curves.
fn rulings(s: &Surface3) -> Option<Vec<Ruling>> {
    (s.v.degree() == 1 && s.v.len() == 2).then(|| {
        let (lo, hi) = s.v.range();
        let breaks = s.u.breaks();
        let last = breaks[breaks.len() - 1];
        let within = breaks.windows(2).flat_map(|w| {
            let (from, length) = (w[0], w[1] - w[0]);
            (0..SPAN_SAMPLES).map(move |i| from + length * i as f64 / SPAN_SAMPLES as f64)
        });
        within.chain([last]).map(|u| [lo, hi].map(|v| Vector3::from(s.at(u, v)))).collect()
    })
}

/// A round cylinder without ends.
struct Cylinder {
    origin: Vector3<f64>,
    axis: Vector3<f64>,
    radius: f64,
}
impl Cylinder {
    /// The cylinder along the rulings whose distance from all their ends is least (a circle by linear least squares, Kasa 1976);
    /// `None` where one is more than [`FORM_MM`] off, or a ruling is no line of it.
    fn through(rulings: &[Ruling]) -> Option<Self> {
        // two faces of one hole may be ruled against each other
        let first = rulings.first().map(|[a, b]| b - a)?;
        let along = |[a, b]: &Ruling| if (b - a).dot(&first) < 0.0 { a - b } else { b - a };
        let axis = rulings.iter().map(along).sum::<Vector3<f64>>().try_normalize(0.0)?;
        let axis = if axis[axis.iamax()] < 0.0 { -axis } else { axis };
        let (e, f) = square_to(&axis);
        let ends = || rulings.iter().flatten();
        let count = ends().count() as f64;
        let mean = ends().sum::<Vector3<f64>>() / count;
        let (mut m, mut rhs) = (Matrix3::zeros(), Vector3::zeros());
        for p in ends() {
            let d = p - mean;
            let row = Vector3::new(2.0 * d.dot(&e), 2.0 * d.dot(&f), 1.0);
            let square = (row.x * row.x + row.y * row.y) / 4.0;
            m += row * row.transpose();
            rhs += row * square;
        }
        let c = m.lu().solve(&rhs)?;
        let radius = (c.z + c.x * c.x + c.y * c.y).sqrt();
        let radius = (radius / RADIUS_STEP_MM).round() * RADIUS_STEP_MM;
        let lowest = ends().map(|p| (p - mean).dot(&axis)).fold(f64::INFINITY, f64::min);
        let origin = mean + e * c.x + f * c.y + axis * lowest;
        let made = Self { origin, axis, radius };
        let round = ends().all(|p| (made.radial(p).norm() - radius).abs() <= FORM_MM);
        // a ruling that runs askew sinks below the cylinder by its chord's height
        let straight =
            rulings.iter().all(|[a, b]| (made.radial(a) - made.radial(b)).norm_squared() <= 8.0 * radius * FORM_MM);
        (radius > 0.0 && round && straight).then_some(made)
    }
    /// From the axis to a point, square to the axis.
    fn radial(&self, p: &Vector3<f64>) -> Vector3<f64> {
        let d = p - self.origin;
        d - self.axis * d.dot(&self.axis)
    }
    /// The form of a face on it, angles counted from the side where the face is not.
    fn of(&self, f: &Face) -> Formed {
        let s = &f.surface;
        let ((lo, hi), (low, high)) = (s.u.range(), s.v.range());
        let at = |t: f64, v: f64| Vector3::from(s.at(lo + t * (hi - lo), v));
        let middle = at(0.5, low);
        let out = self.radial(&middle);
        // along the curve and across it, near its middle
        let normal = (at(0.5 + DIFFERENCE, low) - at(0.5 - DIFFERENCE, low)).cross(&(at(0.5, high) - middle));
        let outwards = (normal.dot(&out) > 0.0) == f.same_sense;
        let x = -out / out.norm();
        (
            SurfaceForm::Cylinder(
                Placement { origin: self.origin.into(), axis: self.axis.into(), x: x.into() },
                self.radius,
            ),
            outwards,
        )
    }
}
/// Half the share of a curve over which its direction is taken: only the side it turns to is asked.
const DIFFERENCE: f64 = 1e-3;

/// Two unit vectors square to a unit vector and to each other, right-handed.
fn square_to(axis: &Vector3<f64>) -> (Vector3<f64>, Vector3<f64>) {
    let mut far = Vector3::zeros();
    far[axis.iamin()] = 1.0;
    let e = (far - axis * far.dot(axis)).normalize();
    (e, axis.cross(&e))
}
/// The angle over which rulings go round their cylinder, radians.
fn sweep(c: &Cylinder, rulings: &[Ruling]) -> f64 {
    rulings.windows(2).map(|w| c.radial(&w[0][0]).angle(&c.radial(&w[1][0]))).sum()
}
