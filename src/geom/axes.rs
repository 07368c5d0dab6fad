//! Axes of a cloud's spread.
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};

/// Unit axes of the spread of `points` as columns, the longest first, right-handed; any three for no points.
pub fn principal_axes(points: &[Point3<f64>]) -> Matrix3<f64> {
    let n = points.len().max(1) as f64;
    let mean = points.iter().fold(Vector3::zeros(), |s, p| s + p.coords) / n;
    let mut cov = Matrix3::zeros();
    for p in points {
        let d = p.coords - mean;
        cov += d * d.transpose();
    }
    let e = SymmetricEigen::new(cov / n);
    let mut order = [0, 1, 2];
    order.sort_by(|&a, &b| e.eigenvalues[b].total_cmp(&e.eigenvalues[a]));
    let mut axes = Matrix3::from_columns(&order.map(|k| e.eigenvectors.column(k).into_owned()));
    if axes.determinant() < 0.0 {
        axes.column_mut(2).neg_mut();
    }
    axes
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A box 3 : 2 : 1 turned by half a radian about z: its axes by hand.
    #[test]
    fn a_turned_box() {
        let (s, c) = 0.5_f64.sin_cos();
        let corners: Vec<[f64; 3]> = (0..8).map(|k| [3.0 * sign(k, 0), 2.0 * sign(k, 1), sign(k, 2)]).collect();
        let points: Vec<Point3<f64>> =
            corners.iter().map(|p| Point3::new(c * p[0] - s * p[1] + 9.0, s * p[0] + c * p[1], p[2] - 4.0)).collect();
        let axes = principal_axes(&points);
        for (k, want) in [Vector3::new(c, s, 0.0), Vector3::new(-s, c, 0.0), Vector3::z()].iter().enumerate() {
            assert!((axes.column(k).dot(want).abs() - 1.0).abs() < 1e-12, "{axes}");
        }
        assert!((axes.determinant() - 1.0).abs() < 1e-12);
        assert!(principal_axes(&[]).iter().all(|v| v.is_finite()));
    }
    fn sign(corner: usize, axis: usize) -> f64 {
        if corner >> axis & 1 == 0 { -1.0 } else { 1.0 }
    }
}
