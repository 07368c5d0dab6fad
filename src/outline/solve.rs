//! Camera, rim displacement and edge together; the contour lifted onto the underside.
use super::camera::Camera;
use super::edge::{self, Station};
use super::fair::{fair_closed, length_and_width, sampled};
use super::photo::Picture;
use super::{Outline, OutlineReport, OutlineSource, STATIONS, region, scaled};
use crate::error::{Stage, Warned, Warning};
use crate::frame::Tape;
use crate::geom::{Polygon, outward_normals};
use crate::num::{LmOptions, TensorSpline, mad_sigma, minimize};
use nalgebra::{DMatrix, DVector, Matrix3, Point3, Rotation3, Vector3};

/// Focal length over long side without EXIF data: 26 mm equivalent, the usual main camera of a phone.
const USUAL_FOCAL: f64 = 26.0 / 36.0;
/// Relative standard deviation of the focal length with EXIF data (35 mm equivalents are rounded) and without.
const FOCAL_SD: [f64; 2] = [0.03, 0.15];
/// Standard deviation of k1: phones correct most of their distortion.
const K1_SD: f64 = 0.05;
/// What scans lose of a rail, mm: mean and standard deviation expected before the photo is seen. The rim follows the rail
/// wall, so no loss is expected on the whole.
const DISPLACEMENT_MM: [f64; 2] = [0.0, 3.0];
/// Neighbouring residuals go together: they count as this many independent ones.
const INDEPENDENT: f64 = 120.0;
/// Residuals beyond this many pixels count linearly.
const HUBER_PX: f64 = 2.0;
/// Bands searched either side of the predicted rim, at a long side of `BAND_SIDE` pixels.
const BANDS: [f64; 5] = [60.0, 25.0, 12.0, 12.0, 12.0];
const BAND_SIDE: f64 = 2400.0;
/// Contours that disagree with the rim by more than this are not the board's, mm rms.
const MAX_RESIDUAL_MM: f64 = 8.0;
/// Least share of the rail that must be in sight.
const MIN_SEEN_RATIO: f64 = 0.5;
/// Radius of a scan point that stands in front of the rail, as a share of the long side.
const STANDING_RADIUS: f64 = 1.0 / 200.0;

/// Gaps of this many stations between hidden ones are hidden too: some 30 mm.
const HIDDEN_GAP: usize = 12;
/// Stations hidden beyond the outermost standing point, for its shadow and the scan's thinning.
const HIDDEN_PAD: usize = 3;

struct Rim<'a> {
    plan: Vec<[f64; 2]>,
    normal: Vec<[f64; 2]>,
    z: &'a TensorSpline,
}
impl Rim<'_> {
    fn point(&self, i: usize, d: f64) -> [f64; 3] {
        let (p, n) = (self.plan[i], self.normal[i]);
        let (x, y) = (p[0] + d * n[0], p[1] + d * n[1]);
        [x, y, self.z.at(x, y)]
    }
    fn pixels(&self, c: &Camera, d: f64) -> Vec<[f64; 2]> {
        (0..self.plan.len()).map(|i| c.project(self.point(i, d))).collect()
    }
}
/// Normals pointing out of a contour that runs clockwise on the screen's y-down axes or the other way.
fn outward(px: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let s = if (Polygon { points: px.to_vec() }).signed_area() < 0.0 { -1.0 } else { 1.0 };
    outward_normals(px).into_iter().map(|n| [s * n[0], s * n[1]]).collect()
}
#[derive(Clone)]
struct State {
    camera: Camera,
    d: f64,
}
struct Prior {
    focal: f64,
    focal_sd: f64,
    /// length, width, tolerance of the tape
    tape: Option<[f64; 3]>,
    rim_size: (f64, f64),
}
/// Fits camera and displacement to observed pixels `(station, pixel, normal)`; returns the rms residual in pixels.
fn fit(s: &mut State, rim: &Rim, seen: &[(usize, [f64; 2], [f64; 2])], prior: &Prior, huber: f64) -> f64 {
    let (base, d0) = (s.camera.clone(), s.d);
    let residual = |x: &DVector<f64>| -> (Camera, f64, Vec<f64>) {
        let c = base.changed(x.as_slice());
        let d = x[8];
        let r = seen
            .iter()
            .map(|(i, p, n)| {
                let q = c.project(rim.point(*i, d));
                (p[0] - q[0]) * n[0] + (p[1] - q[1]) * n[1]
            })
            .collect();
        (c, d, r)
    };
    let mut x = DVector::zeros(9);
    x[7] = base.k1;
    x[8] = d0;
    let sigma = mad_sigma(&residual(&x).2).max(0.5);
    let weight = (INDEPENDENT / seen.len() as f64).min(1.0).sqrt() / sigma;
    let all = |x: &DVector<f64>| {
        let (c, d, r) = residual(x);
        let mut v: Vec<f64> = r
            .iter()
            .map(|r| {
                let t = r / huber;
                weight * huber * r.signum() * (2.0 * ((1.0 + t * t).sqrt() - 1.0)).sqrt()
            })
            .collect();
        v.push((c.focal / prior.focal).ln() / prior.focal_sd);
        v.push(c.k1 / K1_SD);
        v.push((d - DISPLACEMENT_MM[0]) / DISPLACEMENT_MM[1]);
        if let Some([length, width, tolerance]) = prior.tape {
            let (l, w) = prior.rim_size;
            v.push(((l + 2.0 * d) * width / (w + 2.0 * d) - length) / tolerance);
        }
        DVector::from_vec(v)
    };
    let options = LmOptions { ftol: 1e-8, xtol: 1e-7, max_evaluations: 40 };
    minimize(&mut x, &options, |x, want| {
        let r = all(x);
        let j = want.then(|| {
            let mut j = DMatrix::zeros(r.len(), 9);
            for k in 0..9 {
                let h = 1e-6;
                let mut y = x.clone();
                y[k] += h;
                j.set_column(k, &((all(&y) - &r) / h));
            }
            j
        });
        (r, j)
    });
    let (c, d, r) = residual(&x);
    *s = State { camera: c, d };
    (r.iter().map(|r| r * r).sum::<f64>() / r.len().max(1) as f64).sqrt()
}
/// Poses from the region's axes, refined on its border; the better of both turns.
fn start(photo: &Picture, border: &[[f64; 2]], rim: &Rim, prior: &Prior) -> Option<State> {
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
    let centre = [photo.width as f64 / 2.0, photo.height as f64 / 2.0];
    let depth = prior.focal * prior.rim_size.0 / (hi[0] - lo[0]).max(1.0);
    let (bl, bh) = Polygon { points: rim.plan.clone() }.bounds();
    let c = [(bl[0] + bh[0]) / 2.0, (bl[1] + bh[1]) / 2.0];
    let mut best: Option<(f64, State)> = None;
    for turn in [0.0, std::f64::consts::PI] {
        let down = Rotation3::from_matrix_unchecked(Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, -1.0)));
        let rotation = Rotation3::from_axis_angle(&Vector3::z_axis(), angle + turn) * down;
        let at = Vector3::new((mid[0] - centre[0]) / prior.focal, (mid[1] - centre[1]) / prior.focal, 1.0) * depth;
        let shift = at - rotation * Vector3::new(c[0], c[1], rim.z.at(c[0], c[1]));
        let camera = Camera { rotation, shift, focal: prior.focal, k1: 0.0, centre };
        let mut s = State { camera, d: DISPLACEMENT_MM[0] };
        let mut rms = f64::INFINITY;
        for _ in 0..8 {
            let px = rim.pixels(&s.camera, s.d);
            let out = outward(&px);
            // nearest border point; every fourth station is plenty here
            let seen: Vec<_> = (0..px.len())
                .step_by(4)
                .filter_map(|i| {
                    let d2 = |q: &[f64; 2]| (q[0] - px[i][0]).powi(2) + (q[1] - px[i][1]).powi(2);
                    let q = border.iter().min_by(|a, b| d2(a).total_cmp(&d2(b)))?;
                    Some((i, *q, out[i]))
                })
                .collect();
            rms = fit(&mut s, rim, &seen, prior, 10.0 * HUBER_PX);
        }
        if rms.is_finite() && best.as_ref().is_none_or(|(r, _)| rms < *r) {
            best = Some((rms, s));
        }
    }
    best.map(|b| b.1)
}
/// The plan point where a pixel's ray meets the underside, from a start nearby.
fn lift(c: &Camera, z: &TensorSpline, p: [f64; 2], near: [f64; 3]) -> Option<[f64; 2]> {
    let (e, v) = c.ray(p);
    let mut t = (Vector3::from(near) - e).dot(&v) / v.norm_squared();
    for _ in 0..20 {
        let q = e + v * t;
        let d = z.derivatives(q.x, q.y);
        let step = (q.z - d[0]) / (v.z - d[1] * v.x - d[2] * v.y);
        t -= step;
        if step.abs() < 1e-10 * t.abs() {
            break;
        }
    }
    let q = e + v * t;
    (q.x.is_finite() && q.y.is_finite()).then_some([q.x, q.y])
}
/// The outline a photo shows; `Err` says in half a sentence why it shows none.
pub(super) fn from_photo(
    photo: &Picture,
    z: &TensorSpline,
    rim: &Polygon,
    standing: &[Point3<f64>],
    tape: &Tape,
) -> Result<Warned<Outline>, String> {
    let fair = fair_closed(&rim.resampled(STATIONS).points).ok_or("the scan's rim is degenerate")?;
    let plan = Polygon { points: sampled(&fair, 4 * STATIONS) }.resampled(STATIONS).points;
    let rim = Rim { normal: outward_normals(&plan), plan, z };
    let long = photo.width.max(photo.height) as f64;
    let prior = Prior {
        focal: photo.focal_px.unwrap_or(USUAL_FOCAL * long),
        focal_sd: FOCAL_SD[usize::from(photo.focal_px.is_none())],
        tape: tape.length_mm.map(|l| [l, tape.width_mm, tape.tolerance_mm.max(0.1)]),
        rim_size: length_and_width(&rim.plan),
    };
    let border = region::board_border(photo)?;
    let mut s = start(photo, &border, &rim, &prior).ok_or("no camera fits the board-like region")?;
    let mut stations: Vec<Station> = Vec::new();
    let mut offsets = Vec::new();
    let mut rms = f64::INFINITY;
    for band in BANDS {
        let band = ((band * long / BAND_SIDE).round() as usize).max(4);
        let px = rim.pixels(&s.camera, s.d);
        let out = outward(&px);
        let radius = STANDING_RADIUS * long;
        let posts: Vec<[f64; 2]> = standing.iter().map(|p| s.camera.project([p.x, p.y, p.z])).collect();
        stations = (0..px.len())
            .map(|i| {
                let hidden = posts.iter().any(|q| (q[0] - px[i][0]).hypot(q[1] - px[i][1]) < radius);
                Station { p: px[i], n: out[i], hidden }
            })
            .collect();
        close_gaps(&mut stations);
        let seen = stations.iter().filter(|s| !s.hidden).count() as f64 / stations.len() as f64;
        if seen < MIN_SEEN_RATIO {
            return Err(format!("only {:.0} % of the rail is in sight, at least 50 % is needed", 100.0 * seen));
        }
        offsets = edge::find(photo, &stations, band);
        let seen: Vec<_> = (0..px.len())
            .filter(|&i| !stations[i].hidden)
            .map(|i| (i, place(&stations[i], offsets[i]), out[i]))
            .collect();
        rms = fit(&mut s, &rim, &seen, &prior, HUBER_PX.max(band as f64 / 10.0));
    }
    let mm_per_px = s.camera.shift.z.abs() / s.camera.focal;
    let residual_mm = rms * mm_per_px;
    if residual_mm.is_nan() || residual_mm > MAX_RESIDUAL_MM {
        return Err(format!("its contour is {residual_mm:.1} mm rms off the scan's rim, limit {MAX_RESIDUAL_MM} mm"));
    }
    let contour_px: Vec<[f64; 2]> = stations.iter().zip(&offsets).map(|(s, o)| place(s, *o)).collect();
    // offsets of the lifted contour across the rim, where it is seen
    let lifted: Vec<Option<f64>> = (0..contour_px.len())
        .map(|i| {
            let q = lift(&s.camera, z, contour_px[i], rim.point(i, s.d)).filter(|_| !stations[i].hidden)?;
            let (p, n) = (rim.plan[i], rim.normal[i]);
            Some((q[0] - p[0]) * n[0] + (q[1] - p[1]) * n[1])
        })
        .collect();
    let bridged = lifted.iter().filter(|l| l.is_none()).count() as f64 / lifted.len() as f64;
    let points: Vec<[f64; 2]> = (0..lifted.len())
        .map(|i| {
            let o = lifted[i].unwrap_or_else(|| between(&lifted, i).unwrap_or(s.d));
            [rim.plan[i][0] + o * rim.normal[i][0], rim.plan[i][1] + o * rim.normal[i][1]]
        })
        .collect();
    let curve = fair_closed(&points).ok_or("its contour is degenerate")?;
    let report = OutlineReport {
        residual_px: Some(rms),
        residual_mm: Some(residual_mm),
        rim_displacement_mm: Some(s.d),
        focal_px: Some(s.camera.focal),
        k1: Some(s.camera.k1),
        bridged_ratio: bridged,
        contour_px,
    };
    let mut warnings = Vec::new();
    if bridged > 0.0 {
        let text = format!("{:.0} % of the rail is hidden in the photo and follows the scan's rim", 100.0 * bridged);
        warnings.push(Warning::new(Stage::Outline, text, "take the trucks off, or check the outline there"));
    }
    let source = if photo.cut_out { OutlineSource::CutOut } else { OutlineSource::Photo };
    Ok(Warned::with(scaled(curve, source, tape, report), warnings))
}
fn place(s: &Station, o: f64) -> [f64; 2] {
    [s.p[0] + o * s.n[0], s.p[1] + o * s.n[1]]
}
/// Linear between the nearest known neighbours round the ring.
fn between(v: &[Option<f64>], i: usize) -> Option<f64> {
    let n = v.len();
    let (a, x) = (1..n).find_map(|k| v[(i + n - k) % n].map(|x| (k as f64, x)))?;
    let (b, y) = (1..n).find_map(|k| v[(i + k) % n].map(|y| (k as f64, y)))?;
    Some((x * b + y * a) / (a + b))
}
/// Scan points are thinned: what lies between two close hidden stations is hidden as well.
fn close_gaps(stations: &mut [Station]) {
    let n = stations.len();
    let hidden: Vec<usize> = (0..n).filter(|&i| stations[i].hidden).collect();
    for &i in &hidden {
        let gap = (1..=HIDDEN_GAP).rev().find(|k| stations[(i + k) % n].hidden).unwrap_or(0);
        for k in (0..=gap).chain(0..=HIDDEN_PAD) {
            stations[(i + k) % n].hidden = true;
        }
    }
    for &i in &hidden {
        for k in 0..=HIDDEN_PAD {
            stations[(i + n - k) % n].hidden = true;
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;
    /// Contour pixels projected by a known camera, without a picture: the solve finds camera and displacement again.
    #[test]
    fn planted_contour_is_recovered() {
        let (kx, ky) = (Knots::uniform(3, 4, -450.0, 450.0), Knots::uniform(3, 1, -150.0, 150.0));
        let c = kx.greville().iter().flat_map(|x| vec![x * x / 4000.0; ky.len()]).collect();
        let z = TensorSpline::new(kx, ky, c).unwrap();
        // an egg: a symmetric board would leave the turn open
        let plan: Vec<[f64; 2]> = (0..STATIONS)
            .map(|i| i as f64 / STATIONS as f64 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), (100.0 + 15.0 * a.cos()) * a.sin()])
            .collect();
        let rim = Rim { normal: outward_normals(&plan), plan, z: &z };
        let down = Rotation3::from_matrix_unchecked(Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, -1.0)));
        let truth = Camera {
            rotation: Rotation3::new(Vector3::new(0.08, -0.05, 0.1)) * down,
            shift: Vector3::new(10.0, -20.0, 900.0),
            focal: 1700.0,
            k1: 0.03,
            centre: [1200.0, 900.0],
        };
        let (px, tape) = (rim.pixels(&truth, 4.0), length_and_width(&rim.plan));
        let seen: Vec<_> = px.iter().zip(outward(&px)).enumerate().map(|(i, (p, n))| (i, *p, n)).collect();
        let start = truth.changed(&[0.02, 0.01, -0.02, 0.01, -0.01, 0.02, 0.01, 0.0]);
        let mut s = State { camera: start, d: 3.0 };
        let true_size = [tape.0 + 8.0, tape.1 + 8.0, 0.01];
        let prior = Prior { focal: 1700.0, focal_sd: 0.03, tape: Some(true_size), rim_size: tape };
        let mut rms = 0.0;
        for _ in 0..5 {
            rms = fit(&mut s, &rim, &seen, &prior, HUBER_PX);
        }
        // the priors pull a little: k1 by its sd of .05 and d by 3 mm against 120 samples of half a pixel
        assert!(rms < 0.2, "{rms}");
        assert!((s.d - 4.0).abs() < 0.05, "{}", s.d);
        assert!((s.camera.k1 - 0.03).abs() < 0.01, "{}", s.camera.k1);
        let q = lift(&s.camera, &z, px[100], rim.point(100, 3.0)).unwrap();
        let want = rim.point(100, 4.0);
        assert!((q[0] - want[0]).hypot(q[1] - want[1]) < 0.5, "{q:?} {want:?}");
    }
}
