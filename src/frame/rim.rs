//! The rail in plan as the scan shows it.
use crate::geom::Polygon;
use crate::num::{BIWEIGHT_TUNING, biweight, each, median, quantile};
use nalgebra::{Matrix3, Vector3};

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
/// Fewest points on a ray that show an edge.
const FEWEST_ON_RAY: usize = 5;
/// Wall points crowd within this share of the half width, or within this many spacings of a coarse scan.
const WALL_DEPTH: f64 = 0.05;
const WALL_SPACINGS: f64 = 2.0;
/// A ray's place is this quantile of its rail-wall points: a wall scatters to both sides, and its foot is rounded inwards.
const WALL_QUANTILE: f64 = 0.8;
/// Share of rays on which the wall must lie farther out below for the mesh to bulge: half way from what chance gives to all.
const BULGES: f64 = 0.75;
/// Fewest wall points that show a wall.
const WALL_POINTS: usize = 2;

/// Where a point lies that may show the rail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Layer {
    /// On the underside.
    Surface,
    /// On the upper part of the rail's wall.
    Wall,
    /// As deep as a fused mesh, thicker than its deck, bulges; other things hang there too.
    Deep,
}

/// The rim as the scan alone shows it.
#[derive(Debug, Clone)]
pub(super) struct Rim {
    pub polygon: Polygon,
    /// Share of rays that had to be bridged.
    pub bridged: f64,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends, in the points' unit.
    pub doubt: [f64; 2],
}

/// The rim from points near the underside and its rail wall (plan coordinates, mm): a star shape about the board's middle line. `spacing` is that of neighbouring points, `slab` the depth
/// within which a point counts as one of the underside's.
pub(super) fn rim(points: &[([f64; 2], Layer)], spacing: f64, slab: f64) -> Option<Rim> {
    let quantiles = |k: usize| {
        let v: Vec<f64> = points.iter().filter(|p| p.1 != Layer::Deep).map(|p| p.0[k]).collect();
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
    let mut rays: Vec<Vec<(f64, Layer)>> = vec![Vec::new(); rays_wanted];
    for (p, layer) in points {
        let (s, r) = foot(p);
        let i = ((s / total).rem_euclid(1.0) * rays_wanted as f64) as usize % rays_wanted;
        rays[i].push((r, *layer));
    }
    let ray_width = total / rays_wanted as f64;
    let depth = (WALL_DEPTH * radius).max(WALL_SPACINGS * spacing);
    for ray in &mut rays {
        ray.sort_unstable_by(|a, b| a.0.total_cmp(&b.0));
    }
    let mut edges: Vec<Option<Edge>> = rays.iter().map(|r| edge(r, slab, radius, depth)).collect();
    let side = ((SIDE_MM_RATIO * 2.0 * radius / ray_width).ceil() as i64).max(FEWEST_SIDE);
    let mut fitted = course(&edges, side)?;
    let bulges: Vec<Option<Edge>> = rays.iter().zip(&fitted).map(|(ray, (r, _))| bulge(ray, *r, depth)).collect();
    let outside = |(e, b): (&Option<Edge>, &Option<Edge>)| Some(b.as_ref()?.place > e.as_ref()?.place);
    // a mesh that bulges does so nearly all the way round; of a wall gone down straight half the places are farther out
    let farther = edges.iter().zip(&bulges).filter_map(outside).filter(|o| *o).count();
    if farther as f64 > BULGES * rays_wanted as f64 {
        for (edge, bulge) in edges.iter_mut().zip(bulges).filter(|(_, b)| b.is_some()) {
            *edge = bulge;
        }
        fitted = course(&edges, side)?;
    }
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
    /// Points that show it.
    support: f64,
}

/// The edge on a ray: where its points change from dense to sparse, by the likelihood of two Poisson processes (a change
/// point); the wall's quantile where the wall is seen. Points strewn outside, evenly or not, cannot move it as long as they
/// are sparser than the board's.
fn edge(ray: &[(f64, Layer)], slab: f64, radius: f64, depth: f64) -> Option<Edge> {
    let ray: Vec<(f64, Layer)> = ray.iter().filter(|q| q.1 != Layer::Deep).copied().collect();
    let (from, to) = (INNER * radius, OUTER * radius);
    let start = ray.partition_point(|q| q.0 < from);
    let end = ray.partition_point(|q| q.0 <= to);
    let n = end - start;
    if n < FEWEST_ON_RAY {
        return None;
    }
    let likelihood = |count: f64, length: f64| if count > 0.0 { count * (count / length).ln() } else { 0.0 };
    // an interval shorter than a hair's breadth of the ray could be infinitely dense
    let hair = 1e-3 * (to - from);
    let scored = (start + 1..=end).map(|k| {
        let (inside, outside) = ((k - start) as f64, (end - k) as f64);
        let (a, b) = ((ray[k - 1].0 - from).max(hair), (to - ray[k - 1].0).max(hair));
        let dense = inside / a > outside / b;
        (if dense { likelihood(inside, a) + likelihood(outside, b) } else { f64::NEG_INFINITY }, k)
    });
    let (_, k) = scored.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let last = ray[k - 1].0;
    let usual = (last - from) / (k - start) as f64;
    let below: Vec<f64> = ray[start..end].iter().filter(|q| q.1 == Layer::Wall).map(|q| q.0).collect();
    Some(wall(&below, depth, usual).unwrap_or({
        // the outermost of points strewn evenly lies one mean distance short of the edge
        Edge { place: last + usual, range: slab.max(usual), support: 1.0 }
    }))
}
/// The wall is where points below the surface crowd together; strays do not.
fn wall(below: &[f64], depth: f64, least_range: f64) -> Option<Edge> {
    let crowd = (0..below.len())
        .map(|i| &below[i..below.partition_point(|r| *r <= below[i] + depth)])
        .max_by_key(|c| c.len())
        .filter(|c| c.len() >= WALL_POINTS)?;
    Some(Edge {
        place: quantile(crowd, WALL_QUANTILE),
        range: (quantile(crowd, 0.95) - quantile(crowd, 0.5)).max(least_range),
        support: crowd.len() as f64,
    })
}
/// The wall with its lower part, where it is within `depth` of the course `r` so far: the wall goes on below, but so do other
/// things. `None` where nothing hangs there.
fn bulge(ray: &[(f64, Layer)], r: f64, depth: f64) -> Option<Edge> {
    let near: Vec<(f64, Layer)> =
        ray.iter().filter(|q| q.1 != Layer::Surface && (q.0 - r).abs() <= depth).copied().collect();
    if near.iter().all(|q| q.1 == Layer::Wall) {
        return None;
    }
    let places: Vec<f64> = near.iter().map(|q| q.0).collect();
    wall(&places, depth, 0.0)
}
/// The fair course through the rays' edges: each ray's place, and whether its own edge agrees with it.
fn course(edges: &[Option<Edge>], side: i64) -> Option<Vec<(f64, bool)>> {
    let outer: Vec<Option<(f64, f64)>> = edges.iter().map(|e| e.as_ref().map(|e| (e.place, e.support))).collect();
    if outer.iter().flatten().count() < outer.len() / 2 {
        return None;
    }
    // neighbouring rays agree within a share of the range in which each one's rail may lie
    let scale = median(&edges.iter().flatten().map(|e| e.range).collect::<Vec<_>>()) / 2.0;
    let supports: Vec<f64> = outer.iter().flatten().map(|o| o.1).collect();
    let few = FEW * median(&supports);
    let fit = |outer: &[Option<(f64, f64)>]| {
        each(outer.len(), |i| local_fit(outer, i, side, scale, few)).into_iter().collect::<Option<Vec<(f64, bool)>>>()
    };
    let mut fitted = fit(&outer)?;
    // once more through the course itself where few points show it: there strays can rule a whole window
    let support = |i: usize| outer[i].map_or(0.0, |o| o.1);
    let again: Vec<_> =
        fitted.iter().enumerate().map(|(i, f)| Some((f.0, if f.1 { support(i) } else { BRIDGED_SUPPORT }))).collect();
    for (i, second) in fit(&again)?.into_iter().enumerate() {
        if support(i) < few || !fitted[i].1 {
            fitted[i] = (second.0, second.1 && fitted[i].1);
        }
    }
    Some(fitted)
}

/// Rail to either side in a local fit, as a share of the width: about 25 mm on a usual board.
const SIDE_MM_RATIO: f64 = 0.12;
/// Fewest rays to either side: a robust parabola needs more than three.
const FEWEST_SIDE: i64 = 3;

/// Rays of a window from which parabolas are tried: 220 triples.
const CONSENSUS_ROWS: usize = 12;
/// A place is shown by few points when they are fewer than this share of the usual number.
const FEW: f64 = 0.5;
/// What a bridged place counts beside a seen one.
const BRIDGED_SUPPORT: f64 = 0.2;
/// Weight from which a ray agrees with a parabola.
const AGREES: f64 = 0.3;
/// Weight left to a ray thrown out: nothing beside the others, but a window of such rays still has a parabola.
const REJECTED: f64 = 1e-6;

/// A robust local parabola through the rays round ray `i`, and whether that ray agrees with it. Rays disagree by `scale`;
/// of the parabolas through any three of them the one that most points agree with is taken, for strays pull every other ray outwards
/// where a scan is sparse.
fn local_fit(outer: &[Option<(f64, f64)>], i: usize, first: i64, scale: f64, few: f64) -> Option<(f64, bool)> {
    let mut side = first;
    let n = outer.len() as i64;
    loop {
        let (rows, support): (Vec<(f64, f64)>, Vec<f64>) = (-side..=side)
            .filter_map(|k| {
                let (r, support) = outer[(i as i64 + k).rem_euclid(n) as usize]?;
                Some(((k as f64 / side as f64, r), support))
            })
            .unzip();
        let farthest = side + first > n / 4;
        if (rows.len() as i64) < side + 2 {
            // too much is hidden here: look farther, up to a quarter of the way round
            if farthest {
                return None;
            }
            side += first;
            continue;
        }
        let weight = |c: &Vector3<f64>, (t, r): &(f64, f64)| {
            biweight((r - c[0] - c[1] * t - c[2] * t * t) / (BIWEIGHT_TUNING * scale))
        };
        let parabola = |weighted: &mut dyn Iterator<Item = (usize, f64)>| {
            let (mut a, mut b) = (Matrix3::zeros(), Vector3::zeros());
            for (k, w) in weighted {
                let (t, r) = &rows[k];
                let v = Vector3::new(1.0, *t, t * t);
                a += v * v.transpose() * w;
                b += v * (*r * w);
            }
            a.lu().solve(&b)
        };
        let step = rows.len().div_ceil(CONSENSUS_ROWS);
        let mut best: Option<(f64, Vector3<f64>)> = None;
        for a in (0..rows.len()).step_by(step) {
            for b in (a + step..rows.len()).step_by(step) {
                for c in (b + step..rows.len()).step_by(step) {
                    let Some(p) = parabola(&mut [a, b, c].map(|k| (k, 1.0)).into_iter()) else { continue };
                    let agree = rows.iter().zip(&support).map(|(r, s)| s * weight(&p, r)).sum::<f64>();
                    if best.is_none_or(|b| agree > b.0) {
                        best = Some((agree, p));
                    }
                }
            }
        }
        let mut c = best?.1;
        // a parabola carried past the rays that agree with it is a guess: some must agree on either side
        let agree =
            |ahead: bool| rows.iter().filter(|r| r.0 != 0.0 && (r.0 > 0.0) == ahead && weight(&c, r) > AGREES).count();
        let own = outer[i].filter(|o| o.1 >= few);
        if let Some((place, _)) = own
            && place > c[0]
            && weight(&c, &(0.0, place)) == 0.0
        {
            // many points show it: a pointed end bends faster than any parabola. Inwards a board does not jump, but points
            // below the guide, which cuts through a crease or a step, crowd anywhere
            return Some((place, true));
        }
        if own.is_none() && !farthest && agree(true).min(agree(false)) < 2 {
            side += first;
            continue;
        }
        for _ in 0..5 {
            let weights: Vec<f64> = rows.iter().zip(&support).map(|(r, s)| (s * weight(&c, r)).max(REJECTED)).collect();
            c = parabola(&mut weights.into_iter().enumerate())?;
        }
        if own.is_none()
            && let Some(place) = between(outer, i, first, few, BIWEIGHT_TUNING * scale, c[0])
        {
            return Some((place, false));
        }
        let own = rows.iter().find(|r| r.0 == 0.0);
        return Some((c[0], own.is_some_and(|r| weight(&c, r) > 0.0)));
    }
}

/// The place of a ray shown by few points, where the parabola's place `fitted` leaves what its well-shown neighbours on either
/// side span, widened by their difference and `slack`: at a pointed end the parabola of one flank is carried past the tip.
/// The ray's own place serves if it lies there, else the line between the neighbours. `None` where the parabola may stay: within the
/// span, or where no neighbours are close (`reach` rays between them), for there a round end may bend farther.
fn between(outer: &[Option<(f64, f64)>], i: usize, reach: i64, few: f64, slack: f64, fitted: f64) -> Option<f64> {
    let n = outer.len() as i64;
    let near = |sign: i64| {
        (1..reach).find_map(|k| {
            let (place, _) = outer[(i as i64 + sign * k).rem_euclid(n) as usize].filter(|o| o.1 >= few)?;
            Some((k, place))
        })
    };
    let ((ka, a), (kb, b)) = (near(-1)?, near(1)?);
    let wide = (a - b).abs() + slack;
    let inside = |r: f64| r >= a.min(b) - wide && r <= a.max(b) + wide;
    if ka + kb > reach || inside(fitted) {
        return None;
    }
    let line = a + (b - a) * ka as f64 / (ka + kb) as f64;
    Some(outer[i].map(|o| o.0).filter(|r| inside(*r)).unwrap_or(line))
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
#[cfg(test)]
mod tests {
    use super::*;
    /// The pointed end of two straight flanks, 12 mm from ray to ray, its last ray shown by few points: the parabola of one
    /// flank, carried past the tip, must not cut a notch. The planted tip is 160 mm out.
    #[test]
    fn few_points_at_a_pointed_end_leave_no_notch() {
        let planted = |i: usize| 160.0 - 12.0 * (i as f64 - 50.0).abs().min(4.0);
        for tip in [None, Some((153.0, 3.0)), Some((60.0, 2.0))] {
            let mut outer: Vec<_> = (0..100).map(|i| Some((planted(i), 20.0))).collect();
            outer[50] = tip;
            let (place, _) = local_fit(&outer, 50, 5, 0.4, 8.0).unwrap();
            assert!((140.0..=162.0).contains(&place), "{tip:?}: {place}");
        }
    }
    #[test]
    fn neighbours_far_apart_leave_the_parabola() {
        let mut outer = vec![Some((110.0, 20.0)); 40];
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 57.0), Some(110.0));
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 110.5), None);
        outer[18..23].fill(None);
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 57.0), None);
    }
}
