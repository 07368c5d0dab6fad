//! Normals with flatness from nearest neighbours.
use super::fail;
use crate::error::Result;
use crate::num::each;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};
use std::num::NonZero;

/// Neighbours for a plane fit.
pub(super) const NEIGHBOURS: usize = 16;

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

/// Points as rows, and the tree in which the nearest of them are found.
pub(super) fn searchable(points: &[Point3<f64>]) -> Result<(Vec<[f64; 3]>, ImmutableKdTree<f64, 3>)> {
    let rows: Vec<[f64; 3]> = points.iter().map(|p| p.coords.into()).collect();
    let tree = ImmutableKdTree::new_from_slice(&rows)
        .map_err(|e| fail(format!("the points cannot be searched: {e:?}"), "export the scan again"))?;
    Ok((rows, tree))
}

pub(super) fn locals(points: &[Point3<f64>]) -> Result<Vec<Local>> {
    let (rows, tree) = searchable(points)?;
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
    Ok(each(points.len(), one))
}
