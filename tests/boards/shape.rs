//! Boards: the underside's height over the plan and the outline, both by formula.
use nalgebra::{Point3, Vector3};
use std::f64::consts::{FRAC_PI_2, TAU};

/// Crosswise curve; depths in mm from the middle to the rail.
#[derive(Clone, Copy, Debug)]
pub enum Concave {
    /// A parabola.
    Radial,
    /// Flat over this share of the half width, then a parabola.
    Tub(f64),
    /// A parabola with a ridge of this height (mm) on the top side's middle: a furrow in the underside.
    W(f64),
    /// Two planes, their meeting rounded over some 6 mm.
    V,
}
/// One bent end.
#[derive(Clone, Copy, Debug)]
pub struct Kick {
    /// Tilt towards the top side, degrees.
    pub angle_deg: f64,
    /// How far from the end, in plan, the bend begins, mm.
    pub from_mm: f64,
    /// Radius of the bend (for a smooth one: of an arc as long), mm.
    pub radius_mm: f64,
    /// Slope by a quintic step, curvature continuous; else a circular arc with a jump of curvature at both its ends.
    pub smooth: bool,
}
impl Kick {
    /// Fall at the distance `s` behind the start of the bend.
    fn fall(&self, s: f64) -> f64 {
        if s <= 0.0 {
            return 0.0;
        }
        let a = self.angle_deg.to_radians();
        let (slope, b) = (a.tan(), self.radius_mm * a.sin());
        if self.smooth {
            let t = (s / b).min(1.0);
            // integral of 6 t^5 - 15 t^4 + 10 t^3
            slope * (b * t.powi(4) * (2.5 - 3.0 * t + t * t) + (s - b).max(0.0))
        } else {
            let t = s.min(b);
            self.radius_mm - (self.radius_mm * self.radius_mm - t * t).sqrt() + slope * (s - b).max(0.0)
        }
    }
}
/// Plan of one end: half width falls by (1 - u^p)^q over `length_mm`.
#[derive(Clone, Copy, Debug)]
pub struct End {
    pub length_mm: f64,
    pub p: f64,
    pub q: f64,
    pub kick: Option<Kick>,
}
impl End {
    /// A superellipse of exponent `p`.
    pub const fn round(length_mm: f64, p: f64) -> Self {
        Self { length_mm, p, q: 1.0 / p, kick: None }
    }
    /// A pointed end.
    pub const fn pin(length_mm: f64) -> Self {
        Self { length_mm, p: 1.7, q: 0.8, kick: None }
    }
    pub const fn kicked(self, angle_deg: f64, from_mm: f64, radius_mm: f64, smooth: bool) -> Self {
        Self { kick: Some(Kick { angle_deg, from_mm, radius_mm, smooth }), ..self }
    }
}
#[derive(Clone, Copy, Debug)]
pub struct Shape {
    /// Nose to tail in plan, mm.
    pub length_mm: f64,
    /// Greatest distance of the rails at one station, mm.
    pub width_mm: f64,
    pub nose: End,
    pub tail: End,
    /// Narrower per side in the middle, mm.
    pub waist_mm: f64,
    /// The nose narrower per side than the tail, mm.
    pub taper_mm: f64,
    /// The right side fuller than the left behind the middle, mm, and its widest place this much further back.
    pub asym_mm: f64,
    /// Depth of four plan cut-outs at the wheels, mm.
    pub cutout_mm: f64,
    pub concave: Concave,
    pub concave_mm: f64,
    /// Share of the concave that is gone in the kicks.
    pub fade: f64,
    /// Middle over the ends: positive a rocker (belly out of the underside), negative a camber, mm.
    pub bow_mm: f64,
    /// Middle platform lower than the ends, out of the underside, mm.
    pub drop_mm: f64,
    /// Depth of the four wheel wells at the rail, mm.
    pub well_mm: f64,
    /// Turn of the nose against the tail, degrees.
    pub twist_deg: f64,
    pub wheelbase_mm: f64,
    pub thickness_mm: f64,
}
/// A plain popsicle-free board to vary: round ends, radial concave, little rocker.
pub const PLAIN: Shape = Shape {
    length_mm: 900.0,
    width_mm: 230.0,
    nose: End::round(150.0, 2.5),
    tail: End::round(140.0, 2.8),
    waist_mm: 0.0,
    taper_mm: 0.0,
    asym_mm: 0.0,
    cutout_mm: 0.0,
    concave: Concave::Radial,
    concave_mm: 9.0,
    fade: 0.7,
    bow_mm: 4.0,
    drop_mm: 0.0,
    well_mm: 0.0,
    twist_deg: 0.0,
    wheelbase_mm: 600.0,
    thickness_mm: 11.0,
};
/// 0 up to 0, 1 from 1 on, two continuous derivatives.
pub fn step(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * t * (t * (6.0 * t - 15.0) + 10.0)
}
impl Shape {
    fn raw_half(&self, x: f64, right: bool) -> f64 {
        let half = self.length_mm / 2.0;
        let t = x / half;
        let mut w = self.width_mm / 2.0 - self.waist_mm * (t * FRAC_PI_2).cos().powi(2);
        w -= self.taper_mm * (t + 1.0) / 2.0;
        if right {
            w += self.asym_mm * (-((t + 0.35) / 0.4).powi(2)).exp();
        }
        for c in [-0.5, 0.5] {
            let u = (x - c * self.wheelbase_mm) / 48.0;
            w -= self.cutout_mm * (1.0 - u * u).max(0.0).powi(3);
        }
        for (end, from_end) in [(self.nose, half - x), (self.tail, half + x)] {
            let u = (1.0 - from_end / end.length_mm).clamp(0.0, 1.0);
            w *= (1.0 - u.powf(end.p)).max(0.0).powf(end.q);
        }
        w
    }
    /// Factor that makes the widest station exactly as wide as stated.
    fn widen(&self) -> f64 {
        let widest = (0..=2000)
            .map(|i| self.length_mm * (f64::from(i) / 2000.0 - 0.5))
            .map(|x| self.raw_half(x, false) + self.raw_half(x, true))
            .fold(0.0, f64::max);
        self.width_mm / widest
    }
    /// The outline as a dense polygon, counter-clockwise from the nose.
    pub fn outline(&self) -> Vec<[f64; 2]> {
        let k = self.widen();
        let n = 24_000;
        (0..n)
            .map(|i| {
                let a = TAU * f64::from(i) / f64::from(n);
                let (x, right) = (self.length_mm / 2.0 * a.cos(), a > TAU / 2.0);
                let w = k * self.raw_half(x, right);
                [x, if right { -w } else { w }]
            })
            .collect()
    }
    /// Height of the underside; goes on smoothly outside the outline.
    pub fn height(&self, x: f64, y: f64) -> f64 {
        let half = self.length_mm / 2.0;
        let v = 2.0 * y / self.width_mm;
        let (mut fall, mut keep) = (0.0, 1.0);
        for (end, from_end) in [(self.nose, half - x), (self.tail, half + x)] {
            if let Some(k) = end.kick {
                let s = k.from_mm - from_end;
                fall += k.fall(s);
                keep *= 1.0 - self.fade * step((s + 45.0) / 70.0);
            }
        }
        let across = match self.concave {
            Concave::Radial => v * v,
            Concave::Tub(flat) => ((v.abs() - flat).max(0.0) / (1.0 - flat)).powi(2),
            Concave::W(ridge) => v * v + ridge / self.concave_mm * (-(v / 0.24).powi(2)).exp(),
            Concave::V => (v * v + 0.0025).sqrt() - 0.05,
        };
        let t = x / half;
        let mut z = -self.concave_mm * across * keep + self.bow_mm * (1.0 - t * t) - fall;
        // a photo asks for tens of millions of heights: what a board has not is passed over
        if self.drop_mm != 0.0 {
            z += self.drop_mm * step((self.wheelbase_mm / 2.0 - 45.0 - x.abs()) / 60.0 + 0.5);
        }
        if self.well_mm != 0.0 {
            for c in [-0.5, 0.5] {
                let (u, w) = ((x - c * self.wheelbase_mm) / 62.0, (y.abs() - self.width_mm / 2.0) / 48.0);
                z -= self.well_mm * (1.0 - u * u - w * w).max(0.0).powi(3);
            }
        }
        if self.twist_deg != 0.0 {
            z += self.twist_deg.to_radians().tan() * y * x / self.length_mm;
        }
        z
    }
    /// Slopes along x and y.
    pub fn slopes(&self, x: f64, y: f64) -> [f64; 2] {
        let e = 1e-3;
        [
            (self.height(x + e, y) - self.height(x - e, y)) / (2.0 * e),
            (self.height(x, y + e) - self.height(x, y - e)) / (2.0 * e),
        ]
    }
    /// Unit normal out of the underside.
    pub fn normal(&self, x: f64, y: f64) -> Vector3<f64> {
        let [p, q] = self.slopes(x, y);
        Vector3::new(-p, -q, 1.0).normalize()
    }
    /// The point of the underside over (x, y).
    pub fn point(&self, x: f64, y: f64) -> Point3<f64> {
        Point3::new(x, y, self.height(x, y))
    }
}
