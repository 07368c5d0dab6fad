//! The rim once more, square to the course found: rays out of a middle line cross a pointed end or a waist aslant, and hold little of
//! its tip.
use super::edge::{Hit, Ray};
use super::{Look, Looked, Near, SIDE_MM_RATIO, side, wall_depth};
use crate::geom::{Polygon, outward_normals};
use kiddo::{ImmutableKdTree, SquaredEuclidean};

/// Follows the rim across `course`, whose vertices are about evenly spaced in the star's sense.
pub(super) fn square(
    points: &[Near],
    course: &Polygon,
    spacing: f64,
    slab: f64,
    at: f64,
    hidden: &dyn Fn([f64; 2]) -> bool,
) -> Option<Looked> {
    let across = Across::new(course)?;
    let n = across.count();
    // a strip holds the points nearest to the rim within its own stretch: of a narrow end not those of the other flank
    let beside = (across.reach / across.step / 2.0).ceil() as usize;
    let mut rays: Vec<Ray> = vec![Vec::new(); n];
    for p in points {
        let Some(nearest) = across.nearest(p.at) else { continue };
        for k in (0..=2 * beside).map(|k| (nearest + n + k - beside) % n) {
            let [out, along] = across.of(k, p.at);
            if along.abs() <= across.step / 2.0 && out.abs() <= across.reach {
                rays[k].push(Hit { r: out, layer: p.layer, depth: p.depth });
            }
        }
    }
    let depth = wall_depth(across.width, spacing);
    let look = Look {
        between: [-across.reach, across.reach],
        slab,
        depth,
        trusted: depth,
        side: side(across.width, across.step),
        at,
        step: across.step,
        hidden,
    };
    // the course lies along a pointed end already
    let (lo, hi) = course.bounds();
    let beside = |p: [f64; 2]| p[0] > lo[0] + across.width / 2.0 && p[0] < hi[0] - across.width / 2.0;
    look.along(&mut rays, |_| false, beside, |i, r| across.place(i, r))
}

/// Stations along a course, and what lies across it there.
pub(super) struct Across {
    pub width: f64,
    /// From one station to the next.
    step: f64,
    /// How far to either side: what a local fit spans along the rim it may be off across it.
    pub reach: f64,
    stations: Polygon,
    normals: Vec<[f64; 2]>,
    tree: ImmutableKdTree<f64, 2>,
}
impl Across {
    pub fn new(course: &Polygon) -> Option<Self> {
        let (lo, hi) = course.bounds();
        let width = hi[1] - lo[1];
        let stations = course.resampled(course.points.len());
        let step = stations.perimeter() / stations.points.len() as f64;
        let normals = outward_normals(&stations.points);
        let tree = ImmutableKdTree::new_from_slice(&stations.points).ok()?;
        Some(Self { width, step, reach: SIDE_MM_RATIO * width, stations, normals, tree })
    }
    pub fn count(&self) -> usize {
        self.stations.points.len()
    }
    /// The station nearest to `p` within reach.
    pub fn nearest(&self, p: [f64; 2]) -> Option<usize> {
        let near = self.tree.query(&p).nearest_one::<SquaredEuclidean<f64>>().execute();
        (near.distance <= self.reach * self.reach).then_some(near.item as usize)
    }
    /// How far `p` lies out of the course at a station, and ahead of the station.
    pub fn of(&self, station: usize, p: [f64; 2]) -> [f64; 2] {
        let c = self.stations.points[station];
        self.turned(station, [p[0] - c[0], p[1] - c[1]])
    }
    /// The parts of a direction out of the course and along it.
    pub fn turned(&self, station: usize, v: [f64; 2]) -> [f64; 2] {
        let m = self.normals[station];
        [v[0] * m[0] + v[1] * m[1], v[1] * m[0] - v[0] * m[1]]
    }
    fn place(&self, station: usize, out: f64) -> [f64; 2] {
        [0, 1].map(|k| self.stations.points[station][k] + out * self.normals[station][k])
    }
}
