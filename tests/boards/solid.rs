//! Simple solids: what stands on a board, under it and beside it.
use super::rng::Rng;
use nalgebra::{Isometry3, Point3, Translation3, UnitQuaternion, Vector3};
use std::f64::consts::{PI, TAU};

#[derive(Clone, Copy, Debug)]
pub enum Form {
    /// Half sides.
    Block(Vector3<f64>),
    /// Radius and half length along the local z.
    Rod(f64, f64),
    /// Radius and half length of the straight part along the local z.
    Capsule(f64, f64),
}
#[derive(Clone, Debug)]
pub struct Solid {
    pub form: Form,
    /// Local frame to the board's frame.
    pub pose: Isometry3<f64>,
    /// Colour in a photo.
    pub colour: [f64; 3],
}
pub const STEEL: [f64; 3] = [150.0, 152.0, 156.0];
pub const RUBBER: [f64; 3] = [38.0, 38.0, 40.0];

impl Solid {
    pub fn new(form: Form, pose: Isometry3<f64>, colour: [f64; 3]) -> Self {
        Self { form, pose, colour }
    }
    /// A capsule between two points.
    pub fn bar(a: Point3<f64>, b: Point3<f64>, radius: f64, colour: [f64; 3]) -> Self {
        let along = b - a;
        let turn = UnitQuaternion::rotation_between(&Vector3::z(), &along)
            .unwrap_or_else(|| UnitQuaternion::from_axis_angle(&Vector3::x_axis(), PI));
        let pose = Isometry3::from_parts(Translation3::from((a.coords + b.coords) / 2.0), turn);
        Self::new(Form::Capsule(radius, along.norm() / 2.0), pose, colour)
    }
    /// Signed distance, negative inside.
    pub fn distance(&self, p: &Point3<f64>) -> f64 {
        let q = self.pose.inverse_transform_point(p);
        let box_like = |d: &[f64]| {
            let out = d.iter().map(|v| v.max(0.0).powi(2)).sum::<f64>().sqrt();
            out + d.iter().copied().fold(f64::NEG_INFINITY, f64::max).min(0.0)
        };
        match self.form {
            Form::Block(h) => box_like(&[q.x.abs() - h.x, q.y.abs() - h.y, q.z.abs() - h.z]),
            Form::Rod(r, l) => box_like(&[q.x.hypot(q.y) - r, q.z.abs() - l]),
            Form::Capsule(r, l) => {
                let z = (q.z.abs() - l).max(0.0);
                (q.x * q.x + q.y * q.y + z * z).sqrt() - r
            }
        }
    }
    /// Centre and radius of a ball round it.
    pub fn ball(&self) -> (Point3<f64>, f64) {
        let r = match self.form {
            Form::Block(h) => h.norm(),
            Form::Rod(r, l) => r.hypot(l),
            Form::Capsule(r, l) => r + l,
        };
        (Point3::from(self.pose.translation.vector), r)
    }
    pub fn area(&self) -> f64 {
        match self.form {
            Form::Block(h) => 8.0 * (h.x * h.y + h.y * h.z + h.z * h.x),
            Form::Rod(r, l) => TAU * r * (r + 2.0 * l),
            Form::Capsule(r, l) => 4.0 * PI * r * (r + l),
        }
    }
    /// A point of its surface, evenly by area, with the outward normal.
    pub fn sample(&self, rng: &mut Rng) -> (Point3<f64>, Vector3<f64>) {
        let sign = |rng: &mut Rng| if rng.chance(0.5) { 1.0 } else { -1.0 };
        let (p, n) = match self.form {
            Form::Block(h) => {
                let faces = [h.y * h.z, h.z * h.x, h.x * h.y];
                let mut t = rng.between(0.0, faces.iter().sum());
                let k = (0..2).find(|&k| {
                    let hit = t < faces[k];
                    t -= faces[k];
                    hit
                });
                let (k, s) = (k.unwrap_or(2), sign(rng));
                let mut p = Vector3::from_fn(|i, _| rng.between(-h[i], h[i]));
                p[k] = s * h[k];
                let mut n = Vector3::zeros();
                n[k] = s;
                (p, n)
            }
            Form::Rod(r, l) => {
                let (s, c) = rng.between(0.0, TAU).sin_cos();
                if rng.chance(2.0 * l / (2.0 * l + r)) {
                    (Vector3::new(r * c, r * s, rng.between(-l, l)), Vector3::new(c, s, 0.0))
                } else {
                    let (q, e) = (r * rng.unit().sqrt(), sign(rng));
                    (Vector3::new(q * c, q * s, e * l), Vector3::new(0.0, 0.0, e))
                }
            }
            Form::Capsule(r, l) => {
                let d = rng.direction();
                if rng.chance(l / (l + r)) {
                    let m = Vector3::new(d.x, d.y, 0.0).normalize();
                    (r * m + Vector3::new(0.0, 0.0, rng.between(-l, l)), m)
                } else {
                    (r * d + Vector3::new(0.0, 0.0, l * d.z.signum()), d)
                }
            }
        };
        (self.pose.transform_point(&Point3::from(p)), self.pose.transform_vector(&n))
    }
    /// Distance along the ray to the first hit within `reach`, by sphere tracing.
    pub fn hit(&self, from: &Point3<f64>, direction: &Vector3<f64>, reach: f64) -> Option<f64> {
        let (centre, r) = self.ball();
        let along = (centre - from).dot(direction);
        let off = ((centre - from).norm_squared() - along * along).max(0.0);
        if off > r * r || along < -r {
            return None;
        }
        let mut t = (along - (r * r - off).sqrt()).max(0.0);
        for _ in 0..60 {
            let d = self.distance(&(from + direction * t));
            if d < 0.02 {
                return Some(t);
            }
            t += d;
            if t > reach || t > along + r + 1.0 {
                return None;
            }
        }
        None
    }
}
