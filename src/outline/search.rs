//! First poses where no colour parts the board from its surroundings: the scan's rim is laid all over a small picture, flat
//! and at every turn and size, and stays where most of it lies on borders of any kind.
use super::camera::looking;
use super::photo::Picture;
use super::rim::Rim;
use super::start::{Laid, Prior, State, laid};
use crate::geom::{Polygon, outward_normals};
use crate::num::median;

/// Long side of the picture searched, pixels: a board is then some 30 wide, and a step of the search is half a pixel at its
/// ends; half of it would leave too little of a thin line of light at the rail.
const SIDE: usize = 160;
/// Places along the rim that are looked at: corners and ends still have several each.
const POINTS: usize = 60;
/// Least and most length of the board over the picture's long side. A smaller board is too few pixels to measure; a picture's
/// diagonal is 1.25 of its long side.
const LENGTHS: [f64; 2] = [0.4, 1.25];
/// Steps of size (a share of it), turn (radians) and place (pixels): each moves the rim by a pixel or so either way.
const SIZE_STEP: f64 = 0.03;
const TURN_STEP: f64 = 0.035;
const PLACE_STEP: f64 = 2.0;
/// Borders count alike from this many times the picture's median step of brightness on: strong joints of a floor must not
/// outweigh a weak rail all round.
const CLEAR: f64 = 6.0;
/// Poses handed on, each a pixel or more from all better ones.
const MOST: usize = 6;
/// How far apart, pixels on the mean of the rim.
const APART: f64 = 5.0;

/// How strong a border is at each pixel, 0 to 1, by its direction: the structure tensor, widened by a pixel.
struct Borders {
    width: usize,
    height: usize,
    tensor: Vec<[f32; 3]>,
}
impl Borders {
    fn of((w, h, colours): (usize, usize, Vec<[f64; 3]>)) -> Self {
        let at = |x: usize, y: usize| colours[y.min(h - 1) * w + x.min(w - 1)];
        let raw: Vec<[f64; 3]> = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let (l, r) = (at(x.saturating_sub(1), y), at(x + 1, y));
                let (t, b) = (at(x, y.saturating_sub(1)), at(x, y + 1));
                (0..3).fold([0.0; 3], |j, k| {
                    let (u, v) = (r[k] - l[k], b[k] - t[k]);
                    [j[0] + u * u, j[1] + u * v, j[2] + v * v]
                })
            })
            .collect();
        let strength: Vec<f64> = raw.iter().map(|j| (j[0] + j[2]).sqrt()).collect();
        // a level of each channel is what rounding alone makes
        let clear = CLEAR * median(&strength).max(1.0);
        let tensor = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let best = (0..9)
                    .map(|k| ((y + k / 3).clamp(1, h) - 1) * w + (x + k % 3).clamp(1, w) - 1)
                    .fold(i, |b, j| if strength[j] > strength[b] { j } else { b });
                let s = strength[best].max(clear).powi(2);
                raw[best].map(|v| (v / s) as f32)
            })
            .collect();
        Self { width: w, height: h, tensor }
    }
    /// Zero outside the picture.
    fn across(&self, p: [f64; 2], n: [f64; 2]) -> f64 {
        if !(p[0] >= 0.0 && p[1] >= 0.0 && p[0] < self.width as f64 && p[1] < self.height as f64) {
            return 0.0;
        }
        let [a, b, c] = self.tensor[p[1] as usize * self.width + p[0] as usize].map(f64::from);
        (a * n[0] * n[0] + 2.0 * b * n[0] * n[1] + c * n[1] * n[1]).max(0.0).sqrt()
    }
}
/// The rim flat in the picture's axes, turned and sized, about its middle, with normals.
fn placed(rim: &[[f64; 2]], underside: bool, turn: f64, px_per_mm: f64) -> Vec<([f64; 2], [f64; 2])> {
    let r = looking(underside);
    let (sin, cos) = turn.sin_cos();
    let points: Vec<[f64; 2]> = rim
        .iter()
        .map(|p| [p[0] * r[(0, 0)], p[1] * r[(1, 1)]])
        .map(|[x, y]| [px_per_mm * (x * cos - y * sin), px_per_mm * (x * sin + y * cos)])
        .collect();
    let normals = outward_normals(&points);
    points.into_iter().zip(normals).collect()
}
/// Poses of the rim with most of it on borders, the best first.
pub(super) fn starts(photo: &Picture, rim: &Rim, prior: &Prior) -> Vec<State> {
    let step = photo.width.max(photo.height).div_ceil(SIDE).max(1);
    let small = Borders::of(photo.blocks(step));
    if small.width < 16 || small.height < 16 {
        return Vec::new();
    }
    let coarse = Polygon { points: rim.plan.clone() }.resampled(POINTS).points;
    let (lo, hi) = crate::geom::bounds(&coarse);
    let middle = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
    let coarse: Vec<[f64; 2]> = coarse.iter().map(|p| [p[0] - middle[0], p[1] - middle[1]]).collect();
    let long = small.width.max(small.height) as f64;
    let sizes = ((LENGTHS[1] / LENGTHS[0]).ln() / SIZE_STEP).ceil() as usize;
    let turns = (std::f64::consts::TAU / TURN_STEP).ceil() as usize;
    let mut found: Vec<(f64, Laid, Vec<[f64; 2]>)> = Vec::new();
    for size in 0..=sizes {
        let px_per_mm = LENGTHS[0] * (SIZE_STEP * size as f64).exp() * long / prior.rim_size.0;
        for turn in 0..2 * turns {
            let (underside, angle) = (turn < turns, turn as f64 * std::f64::consts::TAU / turns as f64);
            let rim = placed(&coarse, underside, angle, px_per_mm);
            let (lo, hi) = crate::geom::bounds(&rim.iter().map(|r| r.0).collect::<Vec<_>>());
            let free = [small.width as f64 - (hi[0] - lo[0]), small.height as f64 - (hi[1] - lo[1])];
            if free[0] < 0.0 || free[1] < 0.0 {
                continue;
            }
            let [nu, nv] = free.map(|f| (f / PLACE_STEP) as usize + 1);
            let mut best: Option<(f64, [f64; 2])> = None;
            for i in 0..nu * nv {
                let at = [(i % nu) as f64 * PLACE_STEP - lo[0], (i / nu) as f64 * PLACE_STEP - lo[1]];
                let floor = best.map_or(0.0, |b| b.0) * rim.len() as f64;
                let mut sum = 0.0;
                for (k, (p, n)) in rim.iter().enumerate() {
                    sum += small.across([p[0] + at[0], p[1] + at[1]], *n);
                    // even perfect borders from here on would not do
                    if sum + (rim.len() - k - 1) as f64 <= floor {
                        break;
                    }
                }
                let score = sum / rim.len() as f64;
                if best.is_none_or(|b| score > b.0) {
                    best = Some((score, at));
                }
            }
            if let Some((score, at)) = best {
                let pixels = rim.iter().map(|(p, _)| [p[0] + at[0], p[1] + at[1]]).collect();
                let middle = at.map(|v| v * step as f64);
                found.push((score, Laid { underside, angle, middle, px_per_mm: px_per_mm * step as f64 }, pixels));
            }
        }
    }
    found.sort_by(|a, b| b.0.total_cmp(&a.0));
    let mut kept: Vec<(Laid, Vec<[f64; 2]>)> = Vec::new();
    for (_, pose, pixels) in found {
        let apart = |q: &[[f64; 2]]| {
            // places of one face begin at the same place of the rim
            q.iter().zip(&pixels).map(|(a, b)| (a[0] - b[0]).hypot(a[1] - b[1])).sum::<f64>() / POINTS as f64
        };
        if kept.iter().all(|(k, q)| k.underside != pose.underside || apart(q) > APART) {
            kept.push((pose, pixels));
        }
        if kept.len() == MOST {
            break;
        }
    }
    kept.into_iter().map(|(pose, _)| laid(photo, rim, prior, &pose)).collect()
}
