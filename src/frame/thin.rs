//! Thinning to voxel means, and normals with flatness from nearest neighbours.
use crate::error::{Error, Result, Stage};
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};
use std::num::NonZero;

/// Voxels aimed at: enough for 5 mm on a board with its floor, few enough for neighbour searches in a fraction of a second.
const VOXELS: usize = 25_000;
/// Neighbours for a plane fit.
pub(super) const NEIGHBOURS: usize = 16;

/// The edge length of the voxels and the means of the points in each, in a fixed order.
pub(super) fn thin(points: &[Point3<f64>]) -> (f64, Vec<Point3<f64>>) {
    let (lo, hi) = points.iter().fold((points[0], points[0]), |(l, h), p| (l.inf(p), h.sup(p)));
    let diagonal = (hi - lo).norm();
    let mut size = diagonal / 60.0;
    let mut out = voxels(points, &lo, size);
    // the count grows by about four with each halving; floaters make it grow by up to eight
    while out.len() < VOXELS && out.len() < points.len() * 3 / 4 && size > diagonal * 1e-4 {
        size /= 1.4;
        out = voxels(points, &lo, size);
    }
    (size, out)
}
fn voxels(points: &[Point3<f64>], lo: &Point3<f64>, size: f64) -> Vec<Point3<f64>> {
    let mut keyed: Vec<([u32; 3], u32)> =
        points.iter().enumerate().map(|(i, p)| ([0, 1, 2].map(|k| ((p[k] - lo[k]) / size) as u32), i as u32)).collect();
    keyed.sort_unstable();
    keyed
        .chunk_by(|a, b| a.0 == b.0)
        .map(|v| {
            let sum = v.iter().fold(Vector3::zeros(), |s, k| s + points[k.1 as usize].coords);
            Point3::from(sum / v.len() as f64)
        })
        .collect()
}

/// A thinned point's surroundings.
#[derive(Debug, Clone)]
pub(super) struct Local {
    /// Unit normal, sign arbitrary.
    pub normal: Vector3<f64>,
    /// Root mean square distance of the neighbours from their plane.
    pub roughness: f64,
    /// Distance to the farthest neighbour used.
    pub reach: f64,
    /// The neighbours' indices, nearest first.
    pub near: Vec<u32>,
}

pub(super) fn locals(points: &[Point3<f64>]) -> Result<Vec<Local>> {
    let rows: Vec<[f64; 3]> = points.iter().map(|p| [p.x, p.y, p.z]).collect();
    let tree: ImmutableKdTree<f64, 3> = ImmutableKdTree::new_from_slice(&rows).map_err(|e| {
        Error::new(Stage::Frame, format!("the points cannot be searched: {e:?}")).hint("export the scan again")
    })?;
    let count = NonZero::new(NEIGHBOURS + 1).unwrap_or(NonZero::<usize>::MIN);
    let one = |i: usize| {
        let found = tree.query(&rows[i]).nearest_n::<SquaredEuclidean<f64>>(count).execute();
        let near: Vec<u32> = found.iter().map(|f| f.item).filter(|&j| j as usize != i).collect();
        let mean = near.iter().fold(points[i].coords, |s, &j| s + points[j as usize].coords) / (near.len() + 1) as f64;
        let mut cov = Matrix3::zeros();
        for p in near.iter().map(|&j| points[j as usize]).chain([points[i]]) {
            let d = p.coords - mean;
            cov += d * d.transpose();
        }
        let e = SymmetricEigen::new(cov / (near.len() + 1) as f64);
        let k = e.eigenvalues.imin();
        Local {
            normal: e.eigenvectors.column(k).into(),
            roughness: e.eigenvalues[k].max(0.0).sqrt(),
            reach: found.iter().map(|f| f.distance).fold(0.0, f64::max).sqrt(),
            near,
        }
    };
    #[cfg(feature = "threads")]
    {
        use rayon::prelude::*;
        Ok((0..points.len()).into_par_iter().map(one).collect())
    }
    #[cfg(not(feature = "threads"))]
    Ok((0..points.len()).map(one).collect())
}
