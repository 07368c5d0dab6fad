//! The rail in plan as the scan shows it.
use crate::geom::Polygon;
use crate::num::{BIWEIGHT_TUNING, biweight, mad_sigma, median, quantile};
use nalgebra::{Matrix3, Vector3};

/// Most rays round the board: some 5 mm of rail each.
const MOST_RAYS: f64 = 360.0;
/// Fewest rays that still tell a board's shape.
const FEWEST_RAYS: f64 = 72.0;
/// A ray is this many point spacings wide, so that a few rows of points run along it.
const RAY_SPACINGS: f64 = 2.5;
/// The edge of a board is where the points get denser than this share of what they are inside; floaters are far sparser.
const EDGE_DENSITY: f64 = 0.3;
/// A ray's place is this quantile of its rail-wall points: a wall scatters to both sides, and its foot is rounded inwards.
const WALL_QUANTILE: f64 = 0.8;
/// Fewest wall points for a quantile.
const WALL_POINTS: usize = 4;

/// The rim as the scan alone shows it.
#[derive(Debug, Clone)]
pub(super) struct Rim {
    pub polygon: Polygon,
    /// Share of rays that had to be bridged.
    pub bridged: f64,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends, in the points' unit.
    pub doubt: [f64; 2],
}

/// The rim from points near the underside and its rail wall (plan coordinates and whether the point hangs below the
/// surface, mm): a star shape about the board's middle line. `spacing` is that of neighbouring points, `slab` the depth
/// within which a point counts as one of the underside's.
pub(super) fn rim(points: &[([f64; 2], bool)], spacing: f64, slab: f64) -> Option<Rim> {
    let quantiles = |k: usize| {
        let v: Vec<f64> = points.iter().map(|p| p.0[k]).collect();
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
    let rays_wanted = (total / (RAY_SPACINGS * spacing)).clamp(FEWEST_RAYS, MOST_RAYS) as usize;
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
    let place = |s: f64, r: f64| -> [f64; 2] {
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
    let mut rays: Vec<Vec<(f64, bool)>> = vec![Vec::new(); rays_wanted];
    for (p, wall) in points {
        let (s, r) = foot(p);
        let i = ((s / total).rem_euclid(1.0) * rays_wanted as f64) as usize % rays_wanted;
        rays[i].push((r, *wall));
    }
    let (step, ray_width) = ((2.0 * spacing).max(slab / 2.0), total / rays_wanted as f64);
    let edges: Vec<Option<Edge>> = rays.iter_mut().map(|r| edge(r, step, slab, radius)).collect();
    let outer: Vec<Option<f64>> = edges.iter().map(|e| e.as_ref().map(|e| e.place)).collect();
    if outer.iter().flatten().count() < rays_wanted / 2 {
        return None;
    }
    let side = ((SIDE_MM_RATIO * 2.0 * radius / ray_width).ceil() as i64).max(FEWEST_SIDE);
    let fitted: Vec<(f64, bool)> = (0..rays_wanted).map(|i| local_fit(&outer, i, side)).collect::<Option<_>>()?;
    let bridged = fitted.iter().filter(|f| !f.1).count() as f64 / rays_wanted as f64;
    let middle = |i: usize| (i as f64 + 0.5) / rays_wanted as f64 * total;
    let points = fitted.iter().enumerate().map(|(i, (r, _))| place(middle(i), *r)).collect();
    let doubt = [false, true].map(|ends| {
        let group: Vec<f64> = edges
            .iter()
            .enumerate()
            .filter(|(i, _)| {
                let s = middle(*i);
                let straight_part = (s > bend && s < bend + straight) || s > 2.0 * bend + straight;
                straight_part != ends
            })
            .filter_map(|(_, e)| e.as_ref().map(|e| e.range))
            .collect();
        // the rail lies anywhere within the range: a rectangular law (GUM)
        if group.is_empty() { slab / 3f64.sqrt() } else { median(&group) / 3f64.sqrt() }
    });
    Some(Rim { polygon: Polygon { points }, bridged, doubt })
}

/// Where a ray leaves the board.
struct Edge {
    place: f64,
    /// Half the range within which the rail may lie.
    range: f64,
}

/// The edge on a ray: the outermost window of `step` that is dense as a board is; the wall's quantile where the wall is seen.
fn edge(ray: &mut [(f64, bool)], step: f64, slab: f64, radius: f64) -> Option<Edge> {
    ray.sort_unstable_by(|a, b| b.0.total_cmp(&a.0));
    // the usual number of points in a window: by the middle of the outer half of the ray
    let within = |from: f64| {
        let a = ray.partition_point(|q| q.0 > from);
        ray.partition_point(|q| q.0 > from - step) - a
    };
    let reach = ray.first()?.0.min(1.5 * radius);
    let windows: Vec<f64> = (1..)
        .map(|k| reach - step * f64::from(k))
        .take_while(|r| *r > 0.4 * radius)
        .map(|r| within(r) as f64)
        .filter(|n| *n > 0.0)
        .collect();
    let usual = median(&windows);
    let least = ((EDGE_DENSITY * usual).ceil() as usize).max(2);
    let k = (0..ray.len()).find(|&k| ray.get(k + least - 1).is_some_and(|q| ray[k].0 - q.0 < step))?;
    let outermost = ray[k].0;
    let wall: Vec<f64> =
        ray[k..].iter().take_while(|q| outermost - q.0 < 0.05 * radius).filter(|q| q.1).map(|q| q.0).collect();
    Some(if wall.len() >= WALL_POINTS {
        let place = quantile(&wall, WALL_QUANTILE);
        Edge { place, range: (quantile(&wall, 0.95) - quantile(&wall, 0.5)).max(step / usual.max(1.0)) }
    } else {
        // the outermost of points strewn evenly lies one mean distance short of the edge
        let short = step / usual.max(1.0);
        Edge { place: outermost + short, range: slab.max(short) }
    })
}

/// Rail to either side in a local fit, as a share of the width: about 25 mm on a usual board.
const SIDE_MM_RATIO: f64 = 0.12;
/// Fewest rays to either side: a robust parabola needs more than three.
const FEWEST_SIDE: i64 = 3;

/// Weight left to a ray thrown out: nothing beside the others, but a window of such rays still has a parabola.
const REJECTED: f64 = 1e-6;

/// A robust local parabola through the rays round ray `i`, and whether that ray agrees with it.
fn local_fit(outer: &[Option<f64>], i: usize, first: i64) -> Option<(f64, bool)> {
    let mut side = first;
    let n = outer.len() as i64;
    loop {
        let rows: Vec<(f64, f64)> = (-side..=side)
            .filter_map(|k| outer[(i as i64 + k).rem_euclid(n) as usize].map(|r| (k as f64 / side as f64, r)))
            .collect();
        if (rows.len() as i64) < side + 2 {
            // too much is hidden here: look farther, up to a quarter of the way round
            side += first;
            if side > n / 4 {
                return None;
            }
            continue;
        }
        let mut weights = vec![1.0; rows.len()];
        let mut value = median(&rows.iter().map(|r| r.1).collect::<Vec<_>>());
        for _ in 0..5 {
            let (mut a, mut b) = (Matrix3::zeros(), Vector3::zeros());
            for ((t, r), w) in rows.iter().zip(&weights) {
                let v = Vector3::new(1.0, *t, t * t);
                a += v * v.transpose() * *w;
                b += v * (*r * w);
            }
            let Some(c) = a.lu().solve(&b) else { break };
            value = c[0];
            let e: Vec<f64> = rows.iter().map(|(t, r)| r - c[0] - c[1] * t - c[2] * t * t).collect();
            let cut = BIWEIGHT_TUNING * mad_sigma(&e).max(1e-4 * value.abs());
            for (w, e) in weights.iter_mut().zip(&e) {
                *w = match biweight(e / cut) {
                    0.0 => REJECTED,
                    w => w,
                };
            }
        }
        let own = rows.iter().position(|r| r.0 == 0.0);
        return Some((value, own.is_some_and(|k| weights[k] > 1e-3)));
    }
}

/// Slope of the middle line between the rails over the middle of the board: by how much the long axis is turned.
pub(super) fn middle_line(rim: &Polygon) -> f64 {
    let (lo, hi) = rim.bounds();
    // the ends are round: the middle four fifths carry the direction
    let (a, b) = (lo[0] + 0.1 * (hi[0] - lo[0]), hi[0] - 0.1 * (hi[0] - lo[0]));
    let mut rows = Vec::new();
    for i in 0..=80 {
        let x = a + (b - a) * f64::from(i) / 80.0;
        let cuts = rim.crossings(x);
        if cuts.len() == 2 {
            rows.push((x, (cuts[0] + cuts[1]) / 2.0));
        }
    }
    let n = rows.len().max(1) as f64;
    let (mx, my) = (rows.iter().map(|r| r.0).sum::<f64>() / n, rows.iter().map(|r| r.1).sum::<f64>() / n);
    let (sxy, sxx) = rows.iter().fold((0.0, 0.0), |(u, v), r| (u + (r.0 - mx) * (r.1 - my), v + (r.0 - mx).powi(2)));
    if sxx > 0.0 { sxy / sxx } else { 0.0 }
}
