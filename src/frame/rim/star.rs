//! The rim as a star shape about the board's middle line.
use super::edge::{Hit, Ray};
use super::{Look, Looked, Near, side, wall_depth};
use crate::num::quantile;

/// Most rays round the board: some 5 mm of rail each.
const MOST_RAYS: f64 = 360.0;
/// Fewest rays that still tell a board's shape.
const FEWEST_RAYS: f64 = 72.0;
/// A ray is this many point spacings wide, so that a few rows of points run along it.
const RAY_SPACINGS: f64 = 2.5;
/// The rail is looked for between these distances from the middle line, as shares of the half width: a waist is narrower,
/// a pointed end longer.
const INNER: f64 = 0.4;
const OUTER: f64 = 2.0;

/// Follows the rim along rays out of the middle line, which is shorter than the board by its width.
pub(super) fn star(
    points: &[Near],
    spacing: f64,
    slab: f64,
    at: f64,
    hidden: &dyn Fn([f64; 2]) -> bool,
) -> Option<Looked> {
    let quantiles = |k: usize| {
        let v: Vec<f64> = points.iter().map(|p| p.at[k]).collect();
        (quantile(&v, 0.005), quantile(&v, 0.995))
    };
    let ((x0, x1), (y0, y1)) = (quantiles(0), quantiles(1));
    let (cx, cy) = ((x0 + x1) / 2.0, (y0 + y1) / 2.0);
    let radius = (y1 - y0) / 2.0;
    let half = (x1 - x0) / 2.0 - radius;
    if !(radius > 0.0 && half > 0.0) {
        return None;
    }
    // the border of the capsule about the middle line, by arc length
    let (straight, bend) = (2.0 * half, std::f64::consts::PI * radius);
    let total = 2.0 * (straight + bend);
    let wanted = (total / (RAY_SPACINGS * spacing)).clamp(FEWEST_RAYS, MOST_RAYS) as usize;
    let foot = |p: &[f64; 2]| -> (f64, f64) {
        let (x, y) = (p[0] - cx, p[1] - cy);
        if x > half {
            let a = y.atan2(x - half);
            (bend / 2.0 + a * radius, (x - half).hypot(y))
        } else if x < -half {
            let a = (-y).atan2(-x - half);
            (1.5 * bend + straight + a * radius, (x + half).hypot(y))
        } else if y >= 0.0 {
            (bend + half - x, y)
        } else {
            (2.0 * bend + straight + half + x, -y)
        }
    };
    let mut rays: Vec<Ray> = vec![Vec::new(); wanted];
    for p in points {
        let (s, r) = foot(&p.at);
        let i = ((s / total).rem_euclid(1.0) * wanted as f64) as usize % wanted;
        rays[i].push(Hit { r, layer: p.layer, depth: p.depth });
    }
    let place = |i: usize, r: f64| -> [f64; 2] {
        let s = (i as f64 + 0.5) / wanted as f64 * total;
        let (dx, dy) = if s < bend {
            let a = (s - bend / 2.0) / radius;
            (half + r * a.cos(), r * a.sin())
        } else if s < bend + straight {
            (half - (s - bend), r)
        } else if s < 2.0 * bend + straight {
            let a = (s - 1.5 * bend - straight) / radius;
            (-half - r * a.cos(), -r * a.sin())
        } else {
            (s - 2.0 * bend - straight - half, -r)
        };
        [cx + dx, cy + dy]
    };
    let look = Look {
        between: [INNER * radius, OUTER * radius],
        slab,
        depth: wall_depth(2.0 * radius, spacing),
        trusted: f64::INFINITY,
        side: side(2.0 * radius, total / wanted as f64),
        at,
        step: total / wanted as f64,
        hidden,
    };
    // the tip of a pointed end lies near the long axis
    let pointed = |i: usize| {
        let [x, y] = place(i, radius);
        (x - cx).abs() - half > (y - cy).abs()
    };
    look.along(&mut rays, pointed, |p| (p[0] - cx).abs() < half, place)
}
