//! Points gathered into plan cells, so that the fit's cost does not depend on the number of points.
use crate::num::median;
use nalgebra::Point3;

/// One plan cell: its mean place, its median height and how many points it holds.
#[derive(Debug, Clone, Copy)]
pub(super) struct Bin {
    pub x: f64,
    pub y: f64,
    pub z: f64,
    pub count: usize,
}

/// Cells of `size` mm over the points, in a fixed order.
pub(super) fn bins(points: &[Point3<f64>], size: f64) -> Vec<Bin> {
    let mut keyed: Vec<(i64, i64, usize)> =
        points.iter().enumerate().map(|(i, p)| ((p.x / size).floor() as i64, (p.y / size).floor() as i64, i)).collect();
    keyed.sort_unstable_by(|a, b| {
        // within a cell by coordinates, so that the order of points in the file changes nothing
        (a.0, a.1).cmp(&(b.0, b.1)).then_with(|| {
            let (p, q) = (&points[a.2], &points[b.2]);
            p.x.total_cmp(&q.x).then(p.y.total_cmp(&q.y)).then(p.z.total_cmp(&q.z))
        })
    });
    keyed
        .chunk_by(|a, b| (a.0, a.1) == (b.0, b.1))
        .map(|cell| {
            let n = cell.len() as f64;
            let (x, y) = cell.iter().fold((0.0, 0.0), |(x, y), k| (x + points[k.2].x, y + points[k.2].y));
            let z: Vec<f64> = cell.iter().map(|k| points[k.2].z).collect();
            Bin { x: x / n, y: y / n, z: median(&z), count: cell.len() }
        })
        .collect()
}
