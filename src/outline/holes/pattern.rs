//! Two patterns of four bolt holes among the spots.
use super::spots::{LIKE, Spot, alike};
use crate::num::rms;

/// The two patterns in use, along and across the board, mm (common practice, no source).
pub(super) const PATTERNS_MM: [[f64; 2]; 2] = [[63.5, 41.28], [53.98, 41.28]];
/// The size may be wrong by this share: more than the pipeline's scale ever is, less than half the difference between the
/// patterns' shapes.
const SIZE_RATIO: f64 = 0.06;
/// Sine of the most a pattern is turned against the board: hand-drilled decks are within a degree or two.
const TURNED: f64 = 0.06;
/// Most a pattern's four holes stray from it, mm rms: a bolt of 5 mm goes through a hole of 5.5 mm drilled half a mm off.
const STRAY_MM: f64 = 0.8;
/// Nearest and farthest two patterns, mm: truck to truck (common practice, no source).
const APART_MM: [f64; 2] = [250.0, 1100.0];
/// Most the two patterns differ in size: each is known to `STRAY_MM` over some 50 mm.
const UNLIKE: f64 = 0.02;
/// Expected number of such pairs by chance among spots strewn evenly, above which a find is none (the a-contrario rule of
/// A. Desolneux, L. Moisan, J.-M. Morel, *Meaningful alignments*, 2000).
const BY_CHANCE: f64 = 1e-3;

/// Four holes like a pattern: left and right of the rear, of the front.
#[derive(Debug, Clone)]
struct Four {
    spots: [Spot; 4],
    middle: [f64; 2],
    /// Size against the pattern's.
    size: f64,
    /// Direction along, radians.
    turn: f64,
    stray: [f64; 8],
}
/// Eight holes.
#[derive(Debug, Clone)]
pub(super) struct Eight {
    pub pattern_mm: [f64; 2],
    pub at: [[f64; 2]; 8],
    /// How far each coordinate is off its pattern's (each of the two turned, moved and sized to fit), mm.
    pub stray: Vec<f64>,
}
/// Corners of a pattern about its middle, in the order of [`Four::spots`].
pub(super) fn corners(pattern: [f64; 2]) -> [[f64; 2]; 4] {
    let [l, w] = pattern.map(|v| v / 2.0);
    [[-l, -w], [-l, w], [l, -w], [l, w]]
}
/// Middle, size and turn that lay a pattern's corners on four places, and what is left.
pub(super) fn laid(pattern: [f64; 2], at: &[[f64; 2]; 4]) -> ([f64; 2], f64, f64, [f64; 8]) {
    let middle = [0, 1].map(|k| at.iter().map(|p| p[k]).sum::<f64>() / 4.0);
    let c = corners(pattern);
    let (mut a, mut b, mut n) = (0.0, 0.0, 0.0);
    for (c, p) in c.iter().zip(at) {
        let q = [p[0] - middle[0], p[1] - middle[1]];
        a += c[0] * q[0] + c[1] * q[1];
        b += c[0] * q[1] - c[1] * q[0];
        n += c[0] * c[0] + c[1] * c[1];
    }
    let (a, b) = (a / n, b / n);
    let stray = std::array::from_fn(|i| {
        let (c, p) = (c[i / 2], at[i / 2]);
        let want = [middle[0] + a * c[0] - b * c[1], middle[1] + b * c[0] + a * c[1]];
        p[i % 2] - want[i % 2]
    });
    (middle, a.hypot(b), b.atan2(a), stray)
}
fn similar(a: &Spot, b: &Spot) -> bool {
    (1.0 / LIKE..=LIKE).contains(&(a.contrast / b.contrast))
}
/// All fours like a pattern.
fn fours(spots: &[Spot], pattern: [f64; 2]) -> Vec<Four> {
    let [l, w] = pattern;
    let step = |a: [f64; 2], b: [f64; 2], along: usize, far: f64| {
        let d = [b[0] - a[0], b[1] - a[1]];
        (d[along] / far - 1.0).abs() < SIZE_RATIO && d[1 - along].abs() < TURNED * far
    };
    // pairs across the board by where they lie along it
    let mut pairs: Vec<(Spot, Spot, [f64; 2])> = Vec::new();
    for a in spots {
        for b in spots.iter().filter(|b| step(a.at, b.at, 1, w) && similar(a, b)) {
            pairs.push((*a, *b, [(a.at[0] + b.at[0]) / 2.0, (a.at[1] + b.at[1]) / 2.0]));
        }
    }
    let mut out = Vec::new();
    for p in &pairs {
        for q in pairs.iter().filter(|q| step(p.2, q.2, 0, l) && similar(&p.0, &q.0) && similar(&p.1, &q.1)) {
            let spots = [p.0, p.1, q.0, q.1];
            let (middle, size, turn, stray) = laid(pattern, &spots.map(|s| s.at));
            if rms(&stray) * 2f64.sqrt() < STRAY_MM {
                out.push(Four { spots, middle, size, turn, stray });
            }
        }
    }
    out
}
/// The two fours that lie best on one of the patterns; `area_mm2` is what the spots were looked for on.
pub(super) fn eight(spots: &[Spot], area_mm2: f64) -> Option<Eight> {
    let mut best: Option<(f64, Eight, [Spot; 8])> = None;
    for pattern_mm in PATTERNS_MM {
        let found = fours(spots, pattern_mm);
        for a in &found {
            for b in &found {
                let d = [b.middle[0] - a.middle[0], b.middle[1] - a.middle[1]];
                let along = d[1].atan2(d[0]);
                let fits = (APART_MM[0]..=APART_MM[1]).contains(&d[0])
                    && (a.turn - along).abs().max((b.turn - along).abs()) < TURNED
                    && (a.size - b.size).abs() < UNLIKE
                    && (0..4).all(|i| similar(&a.spots[i], &b.spots[i]));
                let stray = [a.stray, b.stray].concat();
                let off = rms(&stray);
                if fits && best.as_ref().is_none_or(|k| off < k.0) {
                    let all: [Spot; 8] = std::array::from_fn(|i| if i < 4 { a.spots[i] } else { b.spots[i - 4] });
                    best = Some((off, Eight { pattern_mm, at: all.map(|s| s.at), stray }, all));
                }
            }
        }
    }
    let (_, eight, all) = best?;
    (by_chance(alike(spots, &all) as f64, area_mm2) < BY_CHANCE).then_some(eight)
}
/// Pairs of patterns expected among `n` spots strewn evenly over an area, mm2.
fn by_chance(n: f64, area_mm2: f64) -> f64 {
    let density = n / area_mm2;
    let [l, w] = PATTERNS_MM[0];
    // where a second hole may lie; where the third and the fourth, given two; twice, for two patterns
    let second = (density * 4.0 * SIZE_RATIO * TURNED * w * w).min(1.0);
    let third = (density * 4.0 * SIZE_RATIO * TURNED * l * l).min(1.0);
    let fourth = (density * std::f64::consts::PI * (2.0 * STRAY_MM).powi(2)).min(1.0);
    PATTERNS_MM.len() as f64 * (n * second * third * fourth).powi(2)
}
#[cfg(test)]
mod tests {
    use super::*;
    fn spot(x: f64, y: f64) -> Spot {
        Spot { at: [x, y], contrast: -60.0 }
    }
    fn drilled(pattern: [f64; 2], size: f64) -> Vec<Spot> {
        let at = |x0: f64| {
            corners(pattern).map(|c| spot(size * (x0 + c[0] - 0.01 * c[1]), 3.0 + size * (c[1] + 0.01 * (x0 + c[0]))))
        };
        [at(-340.0), at(350.0)].concat()
    }
    #[test]
    fn either_pattern_is_told_at_any_size() {
        for pattern in PATTERNS_MM {
            for size in [0.97, 1.0, 1.03] {
                let mut s = drilled(pattern, size);
                s.extend([spot(0.0, 0.0), spot(100.0, 30.0), spot(-340.0, 3.0)]);
                let e = eight(&s, 1e5).unwrap();
                assert_eq!(e.pattern_mm, pattern);
                assert!(rms(&e.stray) < 1e-9);
                let first: [[f64; 2]; 4] = std::array::from_fn(|i| e.at[i]);
                assert!((laid(pattern, &first).1 / (size * 1.00005) - 1.0).abs() < 1e-6);
            }
        }
    }
    #[test]
    fn what_is_not_two_whole_patterns_is_nothing() {
        let s = drilled(PATTERNS_MM[0], 1.0);
        assert!(eight(&s[1..], 1e5).is_none());
        let mut light = s.clone();
        light[2].contrast = 60.0;
        assert!(eight(&light, 1e5).is_none());
        let mut off = s.clone();
        off[5].at[0] += 3.0;
        assert!(eight(&off, 1e5).is_none());
        assert!(eight(&drilled([58.7, 41.28], 1.0), 1e5).is_none());
    }
    /// Dots all over, as printed or as grain: chance alone makes patterns, so they say nothing.
    #[test]
    fn among_many_spots_a_pattern_is_no_find() {
        let mut s = drilled(PATTERNS_MM[0], 1.0);
        let mut seed = 3u64;
        let mut unit = || {
            seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
            (seed >> 11) as f64 / (1u64 << 53) as f64
        };
        for n in [40, 1500] {
            while s.len() < n {
                s.push(spot(1000.0 * unit() - 500.0, 100.0 * unit() - 50.0));
            }
            assert_eq!(eight(&s, 1e5).is_some(), n == 40);
        }
        for _ in 0..20 {
            let noise: Vec<Spot> = (0..400).map(|_| spot(1000.0 * unit() - 500.0, 100.0 * unit() - 50.0)).collect();
            assert!(eight(&noise, 1e5).is_none());
        }
    }
}
