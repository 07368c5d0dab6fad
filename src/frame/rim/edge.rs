//! Where one ray leaves the board.
use super::Layer;
use crate::num::quantile;

/// Fewest points on a ray that show an edge.
const FEWEST_ON_RAY: usize = 5;
/// A ray's place is this quantile of its rail-wall points: a wall scatters to both sides, and its foot is rounded inwards.
const WALL_QUANTILE: f64 = 0.8;
/// Fewest wall points that show a wall.
const WALL_POINTS: usize = 2;
/// A wall that leans farther out than this, mm a mm, is the floor.
const MOST_LEANING: f64 = 2.5;
/// How far up or down the wall the rail's edge may lie where a wall leans, as a share of the depth at which it is read: all of it.
const DEPTH_DOUBT: f64 = 1.0;

/// A point by its distance along a ray.
#[derive(Debug, Clone, Copy)]
pub(super) struct Hit {
    pub r: f64,
    pub layer: Layer,
    /// Depth below the underside.
    pub depth: f64,
}
/// Points on a ray.
pub(super) type Ray = Vec<Hit>;

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
    /// Points below the surface that crowd together, if they do.
    crowd: Vec<Hit>,
    least_range: f64,
    depth: f64,
}
/// How points of a wall lie out by their depth, as sums about their means.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Lean {
    dd: f64,
    dr: f64,
}
impl Lean {
    pub fn add(self, o: Self) -> Self {
        Self { dd: self.dd + o.dd, dr: self.dr + o.dr }
    }
    /// How far farther out for a unit of depth: 0 upright; a fillet that runs out into a floor leans out.
    pub fn outwards(self) -> f64 {
        if self.dd > 0.0 { (self.dr / self.dd).clamp(0.0, MOST_LEANING) } else { 0.0 }
    }
}
impl Shown {
    /// How the points of the wall lie out by their depth.
    pub fn lean(&self) -> Lean {
        let n = self.crowd.len().max(1) as f64;
        let (d, r) = self.crowd.iter().fold((0.0, 0.0), |s, h| (s.0 + h.depth / n, s.1 + h.r / n));
        self.crowd
            .iter()
            .fold(Lean::default(), |l, h| l.add(Lean { dd: (h.depth - d).powi(2), dr: (h.depth - d) * (h.r - r) }))
    }
    /// How many points show the wall, where it is seen.
    pub fn wall_points(&self) -> Option<f64> {
        (self.crowd.len() >= WALL_POINTS).then_some(self.crowd.len() as f64)
    }
    /// The wall, which leans so, at `at` below the underside, where it is seen; else where the points thin out. A wall of fewer than
    /// `few` points farther out than a rail is rounded is a crowd of strays.
    pub fn edge(self, few: f64, lean: f64, at: f64) -> Edge {
        let Self { thinning, crowd, least_range, depth } = self;
        if crowd.len() < WALL_POINTS {
            return thinning;
        }
        let upright: Vec<f64> = crowd.iter().map(|h| h.r - lean * (h.depth - at)).collect();
        let spread = (quantile(&upright, 0.95) - quantile(&upright, 0.5)).max(least_range);
        let wall = Edge {
            place: quantile(&upright, WALL_QUANTILE),
            range: spread.hypot(lean * at * DEPTH_DOUBT),
            support: crowd.len() as f64,
        };
        if wall.support >= few || wall.place <= thinning.place + depth { wall } else { thinning }
    }
}
/// The edge on a ray: where its points change from dense to sparse, by the likelihood of two Poisson processes (a change
/// point), and the wall where one is seen. Points strewn outside, evenly or not, cannot move the change as long as they
/// are sparser than the board's. The ray, sorted, is looked at between two distances; wall points crowd within `depth`.
pub(super) fn shown(ray: &[Hit], slab: f64, [from, to]: [f64; 2], depth: f64) -> Option<Shown> {
    let start = ray.partition_point(|q| q.r < from);
    let end = ray.partition_point(|q| q.r <= to);
    let n = end - start;
    if n < FEWEST_ON_RAY {
        return None;
    }
    let likelihood = |count: f64, length: f64| if count > 0.0 { count * (count / length).ln() } else { 0.0 };
    // an interval shorter than a hair's breadth of the ray could be infinitely dense
    let hair = 1e-3 * (to - from);
    let scored = (start + 1..=end).map(|k| {
        let (inside, outside) = ((k - start) as f64, (end - k) as f64);
        let (a, b) = ((ray[k - 1].r - from).max(hair), (to - ray[k - 1].r).max(hair));
        let dense = inside / a > outside / b;
        (if dense { likelihood(inside, a) + likelihood(outside, b) } else { f64::NEG_INFINITY }, k)
    });
    let (_, k) = scored.max_by(|a, b| a.0.total_cmp(&b.0))?;
    let last = ray[k - 1].r;
    let usual = (last - from) / (k - start) as f64;
    let below: Vec<Hit> = ray[start..end].iter().filter(|q| q.layer == Layer::Wall).copied().collect();
    // the outermost of points strewn evenly lies one mean distance short of the edge
    let thinning = Edge { place: last + usual, range: slab.max(usual), support: 1.0 };
    Some(Shown { thinning, crowd: crowd(&below, depth), least_range: usual, depth })
}
/// The most points below the surface that lie within `depth` along the ray; strays do not crowd.
fn crowd(below: &[Hit], depth: f64) -> Vec<Hit> {
    (0..below.len())
        .map(|i| &below[i..below.partition_point(|h| h.r <= below[i].r + depth)])
        .max_by_key(|c| c.len())
        .unwrap_or_default()
        .to_vec()
}
