//! Where one piece lies on another, when nothing is known: every turn, size and slide is tried.
use super::lay::{Laid, Pair};
use super::{LEAST_SHARED, Wanted};
use crate::geom::Similarity;
use crate::num::each;
use nalgebra::{Matrix3, Point3, Vector3};

/// Patches of two parts differ in width by how the board tapers; sizes tried lie within this factor, in steps that leave the
/// fit 3 % to find.
const MOST_SIZE: f64 = 1.4;
const SIZE_STEP: f64 = 1.06;
/// Slides are this far apart, in widths.
const SLIDE_STEP: f64 = 0.15;
/// Points of either piece for a first look, a second and a last.
const SAMPLES: [usize; 3] = [120, 600, 10_000];
/// Steps of the fits.
const STEPS: [usize; 3] = [3, 15, 40];
/// A freedom held less than this share of the stiffest stays in the first two fits.
const SPRINGS: [f64; 3] = [1e-4, 1e-6, 1e-12];
/// Candidates for the second fit and for the last.
const KEPT: [usize; 2] = [24, 5];
/// Poses that lie closer, in widths, are one: some 5 mm.
const SAME: f64 = 0.025;

/// Greatest distance that two poses put a place of the moving piece apart, in widths.
pub(super) fn apart(pair: &Pair, a: &Similarity, b: &Similarity) -> f64 {
    let [lo, hi] = pair.moving.ends;
    [(lo, -0.5), (lo, 0.5), (hi, -0.5), (hi, 0.5)]
        .map(|(x, y)| Point3::new(x, y, 0.0))
        .map(|p| (a.apply(&p) - b.apply(&p)).norm())
        .into_iter()
        .fold(0.0, f64::max)
}
/// The cheapest of `all`, each unlike those before it.
fn distinct(pair: &Pair, mut all: Vec<Laid>, most: usize) -> Vec<Laid> {
    all.sort_by(|a, b| a.cost.total_cmp(&b.cost));
    let mut out: Vec<Laid> = Vec::new();
    for l in all {
        if out.len() < most && out.iter().all(|o| apart(pair, &o.pose, &l.pose) > SAME) {
            out.push(l);
        }
    }
    out
}
fn tried(starts: &[Similarity], f: impl Fn(&Similarity) -> Option<Laid> + Sync + Send) -> Vec<Laid> {
    each(starts.len(), |i| f(&starts[i])).into_iter().flatten().collect()
}

/// The poses found, the cheapest first.
pub(super) fn search(pair: &Pair, wanted: &Wanted) -> Vec<Laid> {
    let mut starts = Vec::new();
    let room = |pose: &Similarity| {
        let ends = pair.ends(pose);
        ends[1].min(pair.fixed.ends[1]) - ends[0].max(pair.fixed.ends[0])
    };
    for turn in [[1.0, 1.0, 1.0], [-1.0, -1.0, 1.0], [1.0, -1.0, -1.0], [-1.0, 1.0, -1.0]] {
        let rotation = Matrix3::from_diagonal(&Vector3::from(turn));
        let steps = (MOST_SIZE.ln() / SIZE_STEP.ln()).ceil() as i32;
        for size in -steps..=steps {
            let scale = SIZE_STEP.powi(size);
            let reach = (pair.fixed.length() + scale * pair.moving.length()) / SLIDE_STEP;
            for slide in -(reach.ceil() as i32)..=reach.ceil() as i32 {
                let translation = Vector3::new(f64::from(slide) * SLIDE_STEP, 0.0, 0.0);
                let pose = Similarity { rotation, scale, translation };
                if room(&pose) > LEAST_SHARED && wanted.allows(pair, &pose) {
                    starts.push(pose);
                }
            }
        }
    }
    let allowed = |l: &Laid| l.shared() > LEAST_SHARED && wanted.allows(pair, &l.pose);
    let mut found: Vec<Laid> = Vec::new();
    for round in 0..3 {
        found = tried(&starts, |p| pair.fit(p, SAMPLES[round], STEPS[round], SPRINGS[round]));
        found.retain(allowed);
        let most = KEPT.get(round).copied().unwrap_or(usize::MAX);
        found = distinct(pair, found, most);
        starts = found.iter().map(|l| l.pose.clone()).collect();
    }
    found
}
/// How well a pose is held: the greatest doubt of a place of the moving piece, in widths. It is the standard error of the fit,
/// or how far fits end from it that begin a little to either side and fit as well: a weakly held slide creeps and does not come
/// back.
pub(super) fn doubt(pair: &Pair, best: &Laid) -> Option<f64> {
    let pose = &best.pose;
    let beside: Vec<Similarity> = [-1.0, -0.5, 0.5, 1.0]
        .map(|share| {
            let shift = Vector3::new(share * SLIDE_STEP, 0.0, 0.0);
            Similarity { translation: pose.translation + shift, ..pose.clone() }
        })
        .into();
    let ends = tried(&beside, |p| pair.fit(p, SAMPLES[2], STEPS[2], SPRINGS[2]));
    let crept = ends.iter().filter(|l| l.as_good_as(best)).map(|l| apart(pair, pose, &l.pose)).fold(0.0, f64::max);
    Some(pair.doubt(pose, SAMPLES[2])?.max(crept))
}
