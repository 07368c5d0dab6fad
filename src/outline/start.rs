//! First poses from the board-like region, and one photo's camera with one displacement for the whole rim.
use super::camera::{Camera, Lens, looking};
use super::joint::Seen;
use super::photo::Picture;
use super::prior::{K_SD, LensPrior};
use super::rim::{Rim, outward};
use crate::geom::bounds;
use crate::num::{LmOptions, each, mad_sigma, minimize, rms};
use nalgebra::{DMatrix, DVector, Rotation3, Vector3};

/// What scans lose of a rail, mm: mean and standard deviation expected before the photo is seen. The rim follows the rail
/// wall, so no loss is expected on the whole.
const DISPLACEMENT_MM: [f64; 2] = [0.0, 3.0];
/// Neighbouring residuals go together here, where one displacement stands for the whole rim: sides, ends and corners twice.
const INDEPENDENT: f64 = 16.0;
/// Residuals beyond this many pixels count linearly.
pub(super) const HUBER_PX: f64 = 2.0;

/// A camera and the rim's displacement.
#[derive(Debug, Clone)]
pub(super) struct State {
    pub camera: Camera,
    pub d: f64,
}
/// What is believed before.
pub(super) struct Prior<'a> {
    pub lens: &'a LensPrior,
    /// The displacement the tape's two readings speak of, mm, with its standard deviation.
    pub tape: Option<[f64; 2]>,
    /// Length and width of the scan's rim, mm.
    pub rim_size: (f64, f64),
}
/// Pose (6), ln focal, k1, displacement.
const UNKNOWN: usize = 9;

fn changed(s: &State, x: &[f64]) -> State {
    let mut camera = s.camera.moved(&x[..6]);
    camera.lens = camera.lens.changed(&[x[6], x[7], 0.0, 0.0, 0.0]);
    State { camera, d: s.d + x[8] }
}
/// Fits camera and displacement to border pixels; returns the rms residual in pixels.
pub(super) fn fit(s: &mut State, rim: &Rim, seen: &[Seen], prior: &Prior, huber: f64) -> f64 {
    let base = s.clone();
    let residual = |s: &State| -> Vec<f64> {
        seen.iter()
            .map(|b| {
                let q = s.camera.project(rim.point(b.station, s.d));
                (b.px[0] - q[0]) * b.normal[0] + (b.px[1] - q[1]) * b.normal[1]
            })
            .collect()
    };
    let sigma = mad_sigma(&residual(&base)).max(0.5);
    let weight = (INDEPENDENT / seen.len().max(1) as f64).min(1.0).sqrt() / sigma;
    let all = |x: &DVector<f64>| {
        let s = changed(&base, x.as_slice());
        let mut v: Vec<f64> = residual(&s)
            .iter()
            .map(|r| {
                let t = r / huber;
                weight * huber * r.signum() * (2.0 * ((1.0 + t * t).sqrt() - 1.0)).sqrt()
            })
            .collect();
        v.push((s.camera.lens.focal / prior.lens.focal).ln() / prior.lens.focal_sd);
        v.push(s.camera.lens.k[0] / K_SD[0]);
        v.push((s.d - DISPLACEMENT_MM[0]) / DISPLACEMENT_MM[1]);
        if let Some([d, sd]) = prior.tape {
            v.push((s.d - d) / sd);
        }
        DVector::from_vec(v)
    };
    let mut x = DVector::zeros(UNKNOWN);
    let options = LmOptions { ftol: 1e-8, xtol: 1e-7, max_evaluations: 40 };
    minimize(&mut x, &options, |x, want| {
        let r = all(x);
        let j = want.then(|| {
            let mut j = DMatrix::zeros(r.len(), UNKNOWN);
            for k in 0..UNKNOWN {
                let h = 1e-6;
                let mut y = x.clone();
                y[k] += h;
                j.set_column(k, &((all(&y) - &r) / h));
            }
            j
        });
        (r, j)
    });
    *s = changed(&base, x.as_slice());
    rms(residual(s).as_slice())
}
/// A board laid flat before a camera square to it.
pub(super) struct Laid {
    /// The face towards the camera.
    pub underside: bool,
    /// From the picture's x to the board's.
    pub angle: f64,
    /// Where the middle of the rim's box is, pixels.
    pub middle: [f64; 2],
    pub px_per_mm: f64,
}
/// The camera that sees the board so.
pub(super) fn laid(photo: &Picture, rim: &Rim, prior: &Prior, pose: &Laid) -> State {
    let f = prior.lens.focal;
    let centre = [photo.width as f64 / 2.0, photo.height as f64 / 2.0];
    let (bl, bh) = bounds(&rim.plan);
    let c = [(bl[0] + bh[0]) / 2.0, (bl[1] + bh[1]) / 2.0];
    let depth = f / pose.px_per_mm;
    let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), pose.angle) * looking(pose.underside);
    let at = Vector3::new((pose.middle[0] - centre[0]) / f, (pose.middle[1] - centre[1]) / f, 1.0) * depth;
    let shift = at - rotation * Vector3::new(c[0], c[1], rim.z.at(c[0], c[1]));
    State { camera: Camera { rotation, shift, lens: Lens { focal: f, k: [0.0; 2], centre } }, d: DISPLACEMENT_MM[0] }
}
/// Poses from the region's axes, refined on its border: of either face and turn, the best first.
pub(super) fn starts(photo: &Picture, border: &[[f64; 2]], rim: &Rim, prior: &Prior) -> Vec<State> {
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
    let px_per_mm = (hi[0] - lo[0]).max(1.0) / prior.rim_size.0;
    let ways: Vec<_> = [true, false].into_iter().flat_map(|u| [(u, 0.0), (u, std::f64::consts::PI)]).collect();
    let refined = each(ways.len(), |way| {
        let (underside, turn) = ways[way];
        let mut s = laid(photo, rim, prior, &Laid { underside, angle: angle + turn, middle: mid, px_per_mm });
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
                    Some(Seen { station: i, px: *q, normal: normals[i], turn: 0.0 })
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
