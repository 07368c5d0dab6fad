//! Where one ray leaves the board.
use super::Layer;
use crate::num::quantile;

/// Fewest points on a ray that show an edge.
const FEWEST_ON_RAY: usize = 5;
/// A ray's place is this quantile of its rail-wall points: a wall scatters to both sides, and its foot is rounded inwards.
const WALL_QUANTILE: f64 = 0.8;
/// Fewest wall points that show a wall.
const WALL_POINTS: usize = 2;

/// Points by their distance along a ray, and where each lies.
pub(super) type Ray = Vec<(f64, Layer)>;

/// Where a ray leaves the board.
pub(super) struct Edge {
    pub place: f64,
    /// Half the range within which the rail may lie.
    pub range: f64,
    /// Points that show it.
    pub support: f64,
}

/// What a ray shows of the rail.
pub(super) struct Shown {
    /// Where its points change from dense to sparse.
    thinning: Edge,
    /// Where points below the surface crowd together, if they do.
    pub wall: Option<Edge>,
    depth: f64,
}
impl Shown {
    /// The wall where it is seen, else where the points thin out. A wall of fewer than `few` points farther out than a rail is
    /// rounded is a crowd of strays.
    pub fn edge(self, few: f64) -> Edge {
        let Self { thinning, wall, depth } = self;
        wall.filter(|w| w.support >= few || w.place <= thinning.place + depth).unwrap_or(thinning)
    }
}
/// The edge on a ray: where its points change from dense to sparse, by the likelihood of two Poisson processes (a change
/// point), and the wall's quantile where a wall is seen. Points strewn outside, evenly or not, cannot move the change as long as they
/// are sparser than the board's. The ray, sorted, is looked at between two distances; wall points crowd within `depth`.
pub(super) fn shown(ray: &[(f64, Layer)], slab: f64, [from, to]: [f64; 2], depth: f64) -> Option<Shown> {
    let ray: Vec<(f64, Layer)> = ray.iter().filter(|q| q.1 != Layer::Deep).copied().collect();
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
    // the outermost of points strewn evenly lies one mean distance short of the edge
    let thinning = Edge { place: last + usual, range: slab.max(usual), support: 1.0 };
    Some(Shown { thinning, wall: wall(&below, depth, usual), depth })
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
pub(super) fn bulge(ray: &[(f64, Layer)], r: f64, depth: f64) -> Option<Edge> {
    let near: Vec<(f64, Layer)> =
        ray.iter().filter(|q| q.1 != Layer::Surface && (q.0 - r).abs() <= depth).copied().collect();
    if near.iter().all(|q| q.1 == Layer::Wall) {
        return None;
    }
    let places: Vec<f64> = near.iter().map(|q| q.0).collect();
    wall(&places, depth, 0.0)
}
