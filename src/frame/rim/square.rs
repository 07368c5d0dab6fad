//! The rim once more, square to the course found: rays out of a middle line cross a pointed end or a waist aslant, and hold little of
//! its tip.
use super::edge::Ray;
use super::{Look, Looked, Near, SIDE_MM_RATIO, WALL_DEPTH, WALL_SPACINGS, side};
use crate::geom::{Polygon, outward_normals};
use kiddo::{ImmutableKdTree, SquaredEuclidean};

/// Follows the rim across `course`, whose vertices are about evenly spaced in the star's sense.
pub(super) fn square(points: &[Near], course: &Polygon, spacing: f64, slab: f64) -> Option<Looked> {
    let (lo, hi) = course.bounds();
    let width = hi[1] - lo[1];
    let stations = course.resampled(course.points.len());
    let n = stations.points.len();
    let step = stations.perimeter() / n as f64;
    // what a local fit spans along the rim it may be off across it
    let reach = SIDE_MM_RATIO * width;
    let normals = outward_normals(&stations.points);
    // a strip holds the points nearest to the rim within its own stretch: of a narrow end not those of the other flank
    let beside = (reach / step / 2.0).ceil() as usize;
    let tree: ImmutableKdTree<f64, 2> = ImmutableKdTree::new_from_slice(&stations.points).ok()?;
    let mut rays: Vec<Ray> = vec![Vec::new(); n];
    for (p, layer) in points {
        let near = tree.query(p).nearest_one::<SquaredEuclidean<f64>>().execute();
        if near.distance > reach * reach {
            continue;
        }
        let nearest = near.item as usize;
        for k in (0..=2 * beside).map(|k| (nearest + n + k - beside) % n) {
            let (c, m) = (stations.points[k], normals[k]);
            let d = [p[0] - c[0], p[1] - c[1]];
            let across = d[0] * m[0] + d[1] * m[1];
            if (d[1] * m[0] - d[0] * m[1]).abs() <= step / 2.0 && across.abs() <= reach {
                rays[k].push((across, *layer));
            }
        }
    }
    let look = Look {
        between: [-reach, reach],
        slab,
        depth: (WALL_DEPTH * width / 2.0).max(WALL_SPACINGS * spacing),
        side: side(width, step),
    };
    // the course lies along a pointed end already
    look.along(&mut rays, |_| false, |i, r| [0, 1].map(|k| stations.points[i][k] + r * normals[i][k]))
}
