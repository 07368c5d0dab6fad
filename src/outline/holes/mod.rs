//! Truck bolt holes seen in a photo: how large their patterns come out tells of the scale, independently of tape and scan.
//!
//! Nothing in the solve uses them. Holes are looked for near the centre line only, in the photo laid flat on the surface.
mod lean;
mod pattern;
mod spots;

use super::camera::{Camera, LENS, POSE};
use super::joint::Joint;
use super::photo::Picture;
use super::rim::lift;
use crate::error::{Stage, Warning};
use crate::geom::Polygon;
use crate::num::each;
use nalgebra::{DMatrix, Point3};
use pattern::{Eight, corners, eight, laid};
use spots::{CELL_MM, Flat, Spot};

/// Holes lie within this of the board's middle line, mm: half a pattern, and what line and frame are off.
const HALF_WIDTH_MM: f64 = 45.0;
/// A photo coarser than this, mm a pixel, shows a hole of 5 mm as two pixels: too few to tell it from a blot.
const MOST_MM_PER_PX: f64 = 1.3;
/// Standard deviation of a hole about its place in the pattern where the eight themselves do not show more, mm: a hole of
/// 5.5 mm takes a bolt of 5 mm, uniform over that play (common practice, no source).
const DRILLED_SD_MM: f64 = 0.25;
/// What stands over the deck this near a pattern's middle is a truck: bolts, not holes, and higher than the deck.
const TRUCK_MM: f64 = 35.0;
/// Beyond this many standard uncertainties holes and scale contradict one another: 1 in 20 by chance.
const COVERAGE: f64 = 2.0;

/// The truck bolt holes found in a photo, against the standard pattern they are like. An independent check, used nowhere.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize)]
pub struct BoltHoles {
    /// The photo they were found in, from 1.
    pub photo: usize,
    /// The pattern they are like, along and across the board, mm (common practice, no source).
    pub pattern_mm: [f64; 2],
    /// What they measure at the scale found, mean of both patterns, mm.
    pub found_mm: [f64; 2],
    /// Their size at the scale found over the standard one's.
    pub size_ratio: f64,
    /// Its standard uncertainty: drilling, camera, surface's place and the scale's own.
    pub size_ratio_sd: f64,
    /// Whether that is 1 within twice the standard uncertainty.
    pub agrees: bool,
    /// From the middle of one pattern to the other's, mm.
    pub apart_mm: f64,
    /// The eight holes in plan, deck frame, mm.
    pub at_mm: Vec<[f64; 2]>,
}
impl BoltHoles {
    /// In a frame moved by `shift`, mm.
    #[must_use]
    pub fn moved(mut self, shift: [f64; 2]) -> Self {
        self.at_mm.iter_mut().for_each(|p| *p = [p[0] + shift[0], p[1] + shift[1]]);
        self
    }
    /// The warning that goes with holes that contradict the scale.
    pub(super) fn contradiction(&self) -> Option<Warning> {
        if self.agrees {
            return None;
        }
        let text = format!(
            "the truck bolt holes of photo {} contradict the scale: a pattern of {} x {} mm comes out {:+.1} % off, {:.1} % is the \
             standard uncertainty",
            self.photo,
            self.pattern_mm[0],
            self.pattern_mm[1],
            100.0 * (self.size_ratio - 1.0),
            100.0 * self.size_ratio_sd
        );
        let hint =
            "give the length by tape; measure the holes: they may be drilled otherwise, or bolts may stand in them";
        Some(Warning::new(Stage::Outline, text, hint))
    }
}

/// Eight holes in a picture.
pub(super) struct Seen {
    pattern_mm: [f64; 2],
    /// Their pixels.
    pub px: Vec<[f64; 2]>,
    /// Standard deviation of a hole about its place in the pattern, mm.
    stray_mm: f64,
}
/// The holes seen by view `v` of a solved `joint` in `picture`; `None` where there are not two whole patterns.
pub(super) fn find(joint: &Joint, v: usize, picture: &Picture, standing: &[Point3<f64>]) -> Option<Seen> {
    let (view, s) = (&joint.views[v], joint.ln_scale.exp());
    let mm_per_px = s * view.camera.mm_per_px();
    // the other face is a thickness away, and its cloth hides the holes
    if !view.camera.sees_underside() || !(mm_per_px < MOST_MM_PER_PX) {
        return None;
    }
    let flat = flattened(joint, &view.camera, picture)?;
    let area = flat.grey.len() as f64 * CELL_MM * CELL_MM;
    let all = flat.spots();
    let (dark, light): (Vec<Spot>, Vec<Spot>) = all.iter().partition(|p| p.contrast < 0.0);
    let found = [dark, light].into_iter().filter_map(|spots| eight(&spots, area));
    let found: Eight = found.min_by(|a, b| crate::num::rms(&a.stray).total_cmp(&crate::num::rms(&b.stray)))?;
    let fours: [[[f64; 2]; 4]; 2] = std::array::from_fn(|k| std::array::from_fn(|i| found.at[4 * k + i]));
    let middles = fours.map(|f| laid(found.pattern_mm, &f).0);
    let truck = |p: &Point3<f64>| middles.iter().any(|m| (s * p.x - m[0]).hypot(s * p.y - m[1]) < TRUCK_MM);
    if standing.iter().any(truck) {
        return None;
    }
    let eye = view.camera.rotation.inverse() * -view.camera.shift;
    if lean::leans(&flat, &found.at, [s * eye.x, s * eye.y]) {
        return None;
    }
    let z = joint.rim.z;
    let px: Vec<[f64; 2]> =
        (found.at.iter()).map(|p| [p[0] / s, p[1] / s]).map(|[x, y]| view.camera.project([x, y, z.at(x, y)])).collect();
    // eight places less twice middle, turn and size
    let stray_mm = (found.stray.iter().map(|e| e * e).sum::<f64>() / (16.0 - 8.0)).sqrt().max(DRILLED_SD_MM);
    Some(Seen { pattern_mm: found.pattern_mm, px, stray_mm })
}
impl Seen {
    /// What they measure as view `v` of `joint` is solved now; `None` where a pixel does not meet the surface.
    pub fn measured(&self, joint: &Joint, covariance: &DMatrix<f64>, v: usize) -> Option<BoltHoles> {
        let camera = &joint.views[v].camera;
        let now = places(joint, camera, &self.px)?;
        let (size_ratio, found_mm) = size(&now, self.pattern_mm)?;
        let at: Vec<[f64; 2]> = now.iter().map(|p| [p.x, p.y]).collect();
        let middle = |four: &[[f64; 2]]| [0, 1].map(|k| four.iter().map(|p| p[k]).sum::<f64>() / four.len() as f64);
        let [a, b] = [middle(&at[..4]), middle(&at[4..])];
        let lever: f64 = 2.0 * corners(self.pattern_mm).iter().map(|c| c[0] * c[0] + c[1] * c[1]).sum::<f64>();
        let drilled = self.stray_mm / lever.sqrt();
        let seen = seen_variance(joint, covariance, v, size_ratio, &|c| {
            Some(size(&places(joint, c, &self.px)?, self.pattern_mm)?.0)
        })?;
        let size_ratio_sd = drilled.hypot(seen.max(0.0).sqrt());
        Some(BoltHoles {
            photo: 0,
            pattern_mm: self.pattern_mm,
            found_mm,
            size_ratio,
            size_ratio_sd,
            agrees: (size_ratio - 1.0).abs() < COVERAGE * size_ratio_sd,
            apart_mm: (a[0] - b[0]).hypot(a[1] - b[1]),
            at_mm: at,
        })
    }
}
/// The strip along the board's middle as the photo shows it, mm at the scale found.
fn flattened(joint: &Joint, camera: &Camera, picture: &Picture) -> Option<Flat> {
    let s = joint.ln_scale.exp();
    let (lo, hi) = Polygon { points: joint.rim.plan.clone() }.bounds();
    let middle = s * (lo[1] + hi[1]) / 2.0;
    let lo = [s * lo[0], middle - HALF_WIDTH_MM];
    let n = [(s * hi[0] - lo[0]) / CELL_MM, 2.0 * HALF_WIDTH_MM / CELL_MM].map(|n| n.max(0.0) as usize);
    if n.contains(&0) {
        return None;
    }
    let grey = |i: usize| {
        let [x, y] = [0, 1].map(|k| (lo[k] + ([i / n[1], i % n[1]][k] as f64 + 0.5) * CELL_MM) / s);
        let [u, v] = camera.project([x, y, joint.rim.z.at(x, y)]);
        let c = picture.at(u, v);
        ((c[0] + c[1] + c[2]) / 3.0) as f32
    };
    Some(Flat { lo, n, grey: each(n[0] * n[1], grey) })
}
/// Where the pixels of a camera lie on the deck, mm at the scale found.
fn places(joint: &Joint, c: &Camera, px: &[[f64; 2]]) -> Option<Vec<Point3<f64>>> {
    let s = joint.ln_scale.exp();
    let near = joint.rim.point(0, 0.0);
    px.iter().map(|q| lift(c, joint.rim.z, *q, near).map(|p| Point3::from(p) * s)).collect()
}
/// Size of two patterns of holes at these places over the standard one's, straight through space, and along and across, mm.
fn size(p: &[Point3<f64>], pattern: [f64; 2]) -> Option<(f64, [f64; 2])> {
    let far = |i: usize, j: usize| (p[i] - p[j]).norm();
    let along = (far(0, 2) + far(1, 3) + far(4, 6) + far(5, 7)) / 4.0;
    let across = (far(0, 1) + far(2, 3) + far(4, 5) + far(6, 7)) / 4.0;
    // least squares of one size: each distance counts by its length squared
    let [l, w] = pattern;
    Some(((along * l + across * w) / (l * l + w * w), [along, across]))
}
/// Variance of the size by what lens, pose and scale are uncertain together.
fn seen_variance(
    joint: &Joint,
    covariance: &DMatrix<f64>,
    v: usize,
    now: f64,
    size: &dyn Fn(&Camera) -> Option<f64>,
) -> Option<f64> {
    let camera = &joint.views[v].camera;
    // a lifted pixel has no handy closed derivative
    let h = 1e-6;
    let mut g = vec![(super::joint::SCALE, now)];
    for k in 0..LENS + POSE {
        let mut x = [0.0; LENS + POSE];
        x[k] = h;
        let mut c = camera.moved(&x[LENS..]);
        c.lens = c.lens.changed(&x[..LENS]);
        let at = if k < LENS { joint.lens_at(joint.views[v].lens) + k } else { joint.view_at(v) + k - LENS };
        g.push((at, (size(&c)? - now) / h));
    }
    Some(g.iter().flat_map(|a| g.iter().map(move |b| a.1 * b.1 * covariance[(a.0, b.0)])).sum())
}
