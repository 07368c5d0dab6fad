//! The rail in plan as the scan shows it.
mod course;
mod edge;
mod jumps;
mod lean;
mod square;
mod star;

use crate::geom::{Polygon, outward_normals};
use crate::num::median;
use course::{FEW, course, without_bumps};
use edge::{Edge, Lean, Ray, Shown, shown};
use jumps::without_jumps;

/// Wall points crowd within this share of the half width, or within this many spacings of a coarse scan.
const WALL_DEPTH: f64 = 0.05;
const WALL_SPACINGS: f64 = 2.0;
/// Rail to either side in a local fit, as a share of the width: about 25 mm on a usual board.
const SIDE_MM_RATIO: f64 = 0.12;
/// A bump is told from a stretch this many times as long.
const LONG: i64 = 4;
/// Fewest rays to either side: a robust parabola needs more than three.
const FEWEST_SIDE: i64 = 3;

/// Where a point lies that may show the rail.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Layer {
    /// On the underside.
    Surface,
    /// On the upper part of the rail's wall.
    Wall,
}
/// A point near the underside or its rail wall, in plan.
#[derive(Debug, Clone, Copy)]
pub(super) struct Near {
    pub at: [f64; 2],
    pub layer: Layer,
    /// Depth below the underside.
    pub depth: f64,
    /// From the point to the foot of its perpendicular on the underside; none for a point of the underside.
    pub foot: [f64; 2],
}

/// The rim as the scan alone shows it.
#[derive(Debug, Clone)]
pub(super) struct Rim {
    pub polygon: Polygon,
    /// Share of rays that had to be bridged.
    pub bridged: f64,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends, in the points' unit.
    pub doubt: [f64; 2],
    /// How its wall leans: 0 upright in plan, 1 square to the underside.
    pub lean: f64,
}

/// What rays beside each other show.
struct Looked {
    edges: Vec<Option<Edge>>,
    /// Each ray's place on the fair course, and whether its own edge agrees.
    course: Vec<(f64, bool)>,
    /// The course in plan, counter-clockwise.
    polygon: Polygon,
}
/// How rays are looked at.
#[derive(Clone, Copy)]
struct Look<'a> {
    /// The distances between which the rail lies.
    between: [f64; 2],
    slab: f64,
    /// Within which wall points crowd.
    depth: f64,
    /// A place that few points show is no edge farther than this from the course that the rays were laid by, at 0.
    trusted: f64,
    /// Rays to either side in a local fit.
    side: i64,
    /// Depth below the underside at which a leaning wall is read.
    at: f64,
    /// From one ray to the next.
    step: f64,
    /// Places where the rail is hidden.
    hidden: &'a dyn Fn([f64; 2]) -> bool,
}
impl Look<'_> {
    /// Looks along `rays`, of which the i-th leads to `place(i, distance)` in plan.
    /// `pointed` tells which rays may lead to the tip of a pointed end, `beside` which places lie beside the board, not at an end of it.
    fn along(
        &self,
        rays: &mut [Ray],
        pointed: impl Fn(usize) -> bool,
        beside: impl Fn([f64; 2]) -> bool,
        place: impl Fn(usize, f64) -> [f64; 2],
    ) -> Option<Looked> {
        for ray in rays.iter_mut() {
            ray.sort_unstable_by(|a, b| a.r.total_cmp(&b.r));
        }
        let pointed: Vec<bool> = (0..rays.len()).map(pointed).collect();
        let shown: Vec<Option<Shown>> = rays.iter().map(|r| shown(r, self.slab, self.between, self.depth)).collect();
        let walls: Vec<f64> = shown.iter().flatten().filter_map(Shown::wall_points).collect();
        let few = if walls.is_empty() { 0.0 } else { FEW * median(&walls) };
        let seen = |e: &Edge| e.support >= few || e.place.abs() <= self.trusted;
        // how a wall leans is taken from a stretch of it: one ray holds a few points
        let single: Vec<Lean> = shown.iter().map(|s| s.as_ref().map_or(Lean::default(), Shown::lean)).collect();
        let n = rays.len() as i64;
        let lean = |i: usize| {
            let near = (-self.side..=self.side).map(|k| single[(i as i64 + k).rem_euclid(n) as usize]);
            near.fold(Lean::default(), Lean::add).outwards()
        };
        let leans: Vec<f64> = (0..rays.len()).map(lean).collect();
        let edges: Vec<Option<Edge>> =
            shown.into_iter().zip(&leans).map(|(s, l)| Some(s?.edge(few, *l, self.at)).filter(seen)).collect();
        let hidden: Vec<bool> = edges
            .iter()
            .enumerate()
            .map(|(i, e)| e.as_ref().is_some_and(|e| (self.hidden)(place(i, e.place))))
            .collect();
        let edges = without_jumps(edges, self.step, &pointed);
        let fitted = course(&edges, self.side, &pointed)?;
        let beside: Vec<bool> = fitted.iter().enumerate().map(|(i, f)| beside(place(i, f.0))).collect();
        let edges = without_bumps(edges, LONG * self.side, &beside, &hidden, self.side as f64 * self.step);
        let fitted = course(&edges, self.side, &pointed)?;
        let points = fitted.iter().enumerate().map(|(i, (r, _))| place(i, *r)).collect();
        Some(Looked { edges, course: fitted, polygon: Polygon { points } })
    }
}
/// Within which wall points crowd, on a board so wide.
fn wall_depth(width: f64, spacing: f64) -> f64 {
    (WALL_DEPTH * width / 2.0).max(WALL_SPACINGS * spacing)
}
/// Rays to either side in a local fit, for rays so wide on a board so wide.
fn side(width: f64, ray_width: f64) -> i64 {
    ((SIDE_MM_RATIO * width / ray_width).ceil() as i64).max(FEWEST_SIDE)
}

/// The rim from points near the underside and its rail wall (plan coordinates, mm): a star shape about the board's middle line,
/// then once more square to that. `spacing` is that of neighbouring points, `slab` the depth within which a point counts as one of
/// the underside's, `at` the depth at which a leaning wall is read;
/// where something tall stands the rail is hidden.
pub(super) fn rim(points: &[Near], spacing: f64, slab: f64, at: f64, hidden: &dyn Fn([f64; 2]) -> bool) -> Option<Rim> {
    let half_way = lean::upright(points, lean::HALF_WAY);
    let star = star::star(&half_way, spacing, slab, at, hidden)?;
    let lean = lean::lean(points, &star.polygon, spacing);
    let upright = lean::upright(points, lean);
    let Looked { edges, course, polygon } =
        square::square(&upright, &star.polygon, spacing, slab, at, hidden).unwrap_or(star);
    let bridged = course.iter().filter(|f| !f.1).count() as f64 / course.len() as f64;
    let normals = outward_normals(&polygon.points);
    let doubt = [false, true].map(|ends| {
        let of_group = |n: &[f64; 2]| (n[0].abs() > n[1].abs()) == ends;
        let group: Vec<f64> = edges
            .iter()
            .zip(&normals)
            .filter(|(_, n)| of_group(n))
            .filter_map(|(e, _)| e.as_ref().map(|e| e.range))
            .collect();
        // the rail lies anywhere within the range: a rectangular law (GUM)
        if group.is_empty() { slab / 3f64.sqrt() } else { median(&group) / 3f64.sqrt() }
    });
    Some(Rim { polygon, bridged, doubt, lean })
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
