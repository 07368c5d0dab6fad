//! First poses from the board-like region, and one photo's camera with one displacement for the whole rim.
use super::alone::Scene;
use super::camera::Camera;
use super::joint::{Seen, Turn};
use super::laid::Laid;
use super::photo::Picture;
use super::prior::{K_SD, LensPrior};
use super::rim::{Rim, outward};
use crate::num::{LmOptions, each, mad_sigma, minimize, rms};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// What scans lose of a rail, mm: mean and standard deviation expected before the photo is seen. The rim follows the rail
/// wall, so no loss is expected on the whole.
const DISPLACEMENT_MM: [f64; 2] = [0.0, 3.0];
/// Neighbouring residuals go together here, where one displacement stands for the whole rim: sides, ends and corners twice.
pub(super) const INDEPENDENT: f64 = 16.0;
/// Standard deviation of a right contour about a poor scan's rim, mm: what such scans lose differs along it by 1 to 2 mm.
pub(super) const OFF_MM: f64 = 1.5;
/// Residuals beyond this many pixels count linearly.
pub(super) const HUBER_PX: f64 = 2.0;

/// A camera and the rim's displacement.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub camera: Camera,
    pub d: f64,
}
impl State {
    /// With the displacement expected.
    pub fn new(camera: Camera) -> Self {
        Self { camera, d: DISPLACEMENT_MM[0] }
    }
}
/// What is believed before.
pub(super) struct Prior<'a> {
    pub lens: &'a LensPrior,
    /// The displacement the tape's two readings speak of, mm, with its standard deviation.
    pub tape: Option<[f64; 2]>,
}
impl Prior<'_> {
    /// By how many standard deviations the lens is off at most.
    pub fn odd_lens(&self, s: &State) -> f64 {
        let off = self.lens.deviation(&s.camera.lens).into_iter().zip(self.lens.sd()).map(|(by, sd)| (by / sd).abs());
        off.fold(0.0, f64::max)
    }
    /// How far lens and displacement are off what is believed of them, in standard deviations: focal length, k1, displacement, principal
    /// point, and the displacement that the tape speaks of.
    fn off(&self, s: &State) -> Vec<f64> {
        let [focal, k1, _, x, y] = self.lens.deviation(&s.camera.lens);
        let centre = [x, y].map(|by| by / self.lens.centre_sd);
        let mut off = vec![focal / self.lens.focal_sd, k1 / K_SD[0], (s.d - DISPLACEMENT_MM[0]) / DISPLACEMENT_MM[1]];
        off.extend(centre);
        off.extend(self.tape.map(|[d, sd]| (s.d - d) / sd));
        off
    }
    /// How unlikely that is together, as a chi-square.
    pub fn unlikely(&self, s: &State) -> f64 {
        self.off(s).iter().map(|by| by * by).sum()
    }
    /// By how many standard deviations of what scans lose the rim's displacement is off what is expected, by the tape where it tells.
    pub fn odd_displacement(&self, s: &State) -> f64 {
        (s.d - self.tape.map_or(DISPLACEMENT_MM[0], |[d, _]| d)).abs() / DISPLACEMENT_MM[1]
    }
}
/// Pose (6), ln focal, k1, displacement, principal point in focal lengths (2).
const UNKNOWN: usize = 11;

fn changed(s: &State, x: &[f64]) -> State {
    let mut camera = s.camera.moved(&x[..6]);
    camera.lens = camera.lens.changed(&[x[6], x[7], 0.0, x[9], x[10]]);
    State { camera, d: s.d + x[8] }
}
/// Fits camera and displacement to border pixels; returns the rms residual in pixels.
pub(super) fn fit(s: &mut State, rim: &Rim, seen: &[Seen], prior: &Prior, huber: f64) -> f64 {
    let base = s.clone();
    let sigma = mad_sigma(&off(&base, rim, seen)).max(0.5);
    let weight = (INDEPENDENT / seen.len().max(1) as f64).min(1.0).sqrt() / sigma;
    let problem = Problem { base: &base, rim, seen, prior, huber, weight };
    let mut x = DVector::zeros(UNKNOWN);
    let options = LmOptions { ftol: 1e-8, xtol: 1e-7, max_evaluations: 40 };
    minimize(&mut x, &options, |x| problem.residuals(x.as_slice()), |x| problem.jacobian(x.as_slice()));
    *s = changed(&base, x.as_slice());
    rms(&off(s, rim, seen))
}
/// How far a pixel lies outside where the rim is predicted, along the border's normal.
fn beyond(b: &Seen, q: [f64; 2]) -> f64 {
    (b.px[0] - q[0]) * b.normal[0] + (b.px[1] - q[1]) * b.normal[1]
}
/// The same of all, pixels.
fn off(s: &State, rim: &Rim, seen: &[Seen]) -> Vec<f64> {
    seen.iter().map(|b| beyond(b, s.camera.project(rim.point(b.station, s.d)))).collect()
}
/// The least squares of [`fit`]: weighted pseudo-Huber residuals of the border, then what is believed before.
struct Problem<'a> {
    base: &'a State,
    rim: &'a Rim<'a>,
    seen: &'a [Seen],
    prior: &'a Prior<'a>,
    huber: f64,
    weight: f64,
}
impl Problem<'_> {
    /// At the base changed by `x`.
    fn residuals(&self, x: &[f64]) -> DVector<f64> {
        let s = changed(self.base, x);
        let robust = |r: &f64| {
            let t = r / self.huber;
            self.weight * self.huber * r.signum() * (2.0 * ((1.0 + t * t).sqrt() - 1.0)).sqrt()
        };
        let mut v: Vec<f64> = off(&s, self.rim, self.seen).iter().map(robust).collect();
        v.extend(self.prior.off(&s));
        DVector::from_vec(v)
    }
    /// Their derivatives with `x`.
    fn jacobian(&self, x: &[f64]) -> DMatrix<f64> {
        let s = changed(self.base, x);
        let rows = self.seen.len();
        let mut j = DMatrix::zeros(rows + 5 + usize::from(self.prior.tape.is_some()), UNKNOWN);
        let turn = left_jacobian(Vector3::new(x[0], x[1], x[2]));
        // shifts count in the base's distances
        let shift = self.base.camera.shift.z / s.camera.shift.z;
        for (i, b) in self.seen.iter().enumerate() {
            let [u, v] = self.rim.plan_point(b.station, s.d);
            let [z, zx, zy] = self.rim.z.slopes(u, v);
            let n = self.rim.normal[b.station];
            let q = s.camera.projection([u, v, z]);
            let t = beyond(b, q.pixel) / self.huber;
            let root = (1.0 + t * t).sqrt();
            // of the robust residual with the pixel: the root of 2 (root - 1) is |t| times that of 2 / (root + 1)
            let slope = -self.weight / (root * (2.0 / (root + 1.0)).sqrt());
            let across = |g: [f64; 2]| slope * (g[0] * b.normal[0] + g[1] * b.normal[1]);
            let turned = Vector3::from([0, 1, 2].map(|k| across(q.pose[k])));
            (turned.transpose() * turn).iter().enumerate().for_each(|(k, g)| j[(i, k)] = *g);
            (3..6).for_each(|k| j[(i, k)] = shift * across(q.pose[k]));
            j[(i, 6)] = across(q.lens[0]);
            j[(i, 7)] = across(q.lens[1]);
            let out = q.point * Vector3::new(n[0], n[1], zx * n[0] + zy * n[1]);
            j[(i, 8)] = across([out[0], out[1]]);
            // the principal point counts in the base's focal lengths
            let focal = self.base.camera.lens.focal / s.camera.lens.focal;
            (0..2).for_each(|k| j[(i, 9 + k)] = focal * across(q.lens[3 + k]));
        }
        j[(rows, 6)] = 1.0 / self.prior.lens.focal_sd;
        j[(rows + 1, 7)] = 1.0 / K_SD[0];
        j[(rows + 2, 8)] = 1.0 / DISPLACEMENT_MM[1];
        let focal = self.base.camera.lens.focal / self.prior.lens.focal;
        (0..2).for_each(|k| j[(rows + 3 + k, 9 + k)] = focal / self.prior.lens.centre_sd);
        if let Some([_, sd]) = self.prior.tape {
            j[(rows + 5, 8)] = 1.0 / sd;
        }
        j
    }
}
/// How a turn by `x` (axis times radians) turns on as `x` changes: the left Jacobian of the group of turns (T. D. Barfoot, *State
/// estimation for robotics*, 2017, eq. 7.77, from memory).
fn left_jacobian(x: Vector3<f64>) -> Matrix3<f64> {
    let a = x.norm();
    let cross = x.cross_matrix();
    // below a thousandth the first terms of both series are exact to rounding
    let (first, second) = if a < 1e-3 {
        (0.5 - a * a / 24.0, 1.0 / 6.0 - a * a / 120.0)
    } else {
        ((1.0 - a.cos()) / (a * a), (a - a.sin()) / a.powi(3))
    };
    Matrix3::identity() + cross * first + cross * cross * second
}
/// Poses from the region's axes, refined on its border: of either face and turn, the best first.
pub(super) fn starts(photo: &Picture, border: &[[f64; 2]], scene: &Scene, prior: &Prior) -> Vec<State> {
    let n = border.len() as f64;
    let (mut lo, mut hi) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let mean = [0, 1].map(|k| border.iter().map(|p| p[k]).sum::<f64>() / n);
    let m = |a: usize, b: usize| border.iter().map(|p| (p[a] - mean[a]) * (p[b] - mean[b])).sum::<f64>();
    let angle = 0.5 * (2.0 * m(0, 1)).atan2(m(0, 0) - m(1, 1));
    let (sin, cos) = angle.sin_cos();
    for p in border {
        for (k, v) in [p[0] * cos + p[1] * sin, p[1] * cos - p[0] * sin].into_iter().enumerate() {
            lo[k] = lo[k].min(v);
            hi[k] = hi[k].max(v);
        }
    }
    let mid = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
    let mid = [mid[0] * cos - mid[1] * sin, mid[0] * sin + mid[1] * cos];
    let px_per_mm = (hi[0] - lo[0]).max(1.0) / scene.rim.size.0;
    let ways: Vec<_> = [true, false].into_iter().flat_map(|u| [(u, 0.0), (u, std::f64::consts::PI)]).collect();
    let refined = each(ways.len(), |way| {
        let (underside, turn) = ways[way];
        let rim = scene.edge(underside);
        let pose = Laid { underside, angle: angle + turn, middle: mid, px_per_mm, tilt: [0.0; 2] };
        let mut s = State::new(pose.camera(photo, rim, prior.lens));
        let mut rms = f64::INFINITY;
        for _ in 0..8 {
            let px = rim.pixels(&s.camera, &|_| s.d);
            let normals = outward(&px);
            // nearest border point; every fourth station is plenty here
            let seen: Vec<_> = (0..px.len())
                .step_by(4)
                .filter_map(|i| {
                    let d2 = |q: &[f64; 2]| (q[0] - px[i][0]).powi(2) + (q[1] - px[i][1]).powi(2);
                    let q = border.iter().min_by(|a, b| d2(a).total_cmp(&d2(b)))?;
                    Some(Seen { station: i, px: *q, normal: normals[i], turn: Turn::default() })
                })
                .collect();
            rms = fit(&mut s, rim, &seen, prior, 10.0 * HUBER_PX);
        }
        (rms, s)
    });
    let mut out: Vec<(f64, State)> = refined.into_iter().filter(|(rms, _)| rms.is_finite()).collect();
    out.sort_by(|a, b| a.0.total_cmp(&b.0));
    out.into_iter().map(|(_, s)| s).collect()
}
#[cfg(test)]
mod tests {
    use super::super::camera::{Lens, looking};
    use super::*;
    use crate::geom::Polygon;
    use crate::num::{Knots, TensorSpline};
    use nalgebra::Rotation3;
    /// Away from the base and with residuals on both sides of the bend, with the tape's word and without.
    #[test]
    fn derivatives_are_the_differences() {
        let (x, y) = (Knots::uniform(3, 2, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let c = (0..20).map(|k| 20.0 * f64::from(k).sin()).collect();
        let z = TensorSpline::new(x, y, c).unwrap();
        let points = (0..400)
            .map(|i| f64::from(i) / 400.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let rim = Rim::new(&Polygon { points }, &z).unwrap();
        let lens = LensPrior { focal: 1700.0, focal_sd: 0.03, centre: [1210.0, 890.0], centre_sd: 0.005 };
        let base = State {
            camera: Camera {
                rotation: Rotation3::new(Vector3::new(0.1, -0.2, 0.7)) * looking(true),
                shift: Vector3::new(12.0, -30.0, 700.0),
                lens: Lens { focal: 1650.0, k: [0.02, 0.0], centre: lens.centre },
            },
            d: 0.7,
        };
        let seen: Vec<Seen> = (0..rim.plan.len())
            .step_by(9)
            .map(|i| {
                let (q, a) = (base.camera.project(rim.point(i, 0.0)), i as f64);
                Seen {
                    station: i,
                    px: [q[0] + 9.0 * a.sin(), q[1] + 5.0],
                    normal: [a.cos(), a.sin()],
                    turn: Turn::default(),
                }
            })
            .collect();
        let elsewhere = [0.4, -0.7, 0.3, 0.02, -0.03, 0.05, 0.01, 0.02, -1.5, 0.06, -0.02];
        for (x, tape) in [([0.0; UNKNOWN], None), (elsewhere, Some([1.0, 0.5]))] {
            let prior = Prior { lens: &lens, tape };
            let problem = Problem { base: &base, rim: &rim, seen: &seen, prior: &prior, huber: 6.0, weight: 0.3 };
            let j = problem.jacobian(&x);
            for k in 0..UNKNOWN {
                let moved = |h: f64| {
                    let mut y = x;
                    y[k] += h;
                    problem.residuals(&y)
                };
                let differences = (moved(1e-6) - moved(-1e-6)) / 2e-6;
                let worst = (j.column(k) - &differences).amax();
                assert!(worst < 1e-5 * (1.0 + differences.amax()), "{k}: {worst} of {}", differences.amax());
            }
        }
    }
}
