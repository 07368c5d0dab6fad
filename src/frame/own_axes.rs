//! Whether points have any shape, and the axes that are their own.
use super::fail;
use crate::error::{PointRole, Refusal, Result};
use crate::geom::Similarity;
use nalgebra::{Matrix3, Point3, SymmetricEigen, Vector3};

/// Fewest points for an isolation: some ten per neighbourhood over a coarse board.
const FEWEST_POINTS: usize = 1000;

/// What refusals mean.
const FEW: &str = "A board is told by many points that lie close together. These are too few to show any shape.";
const FLAT: &str = "A board and what lies about it have a length, a width and a height. These points lack one of them.";

pub(super) fn enough(points: &[Point3<f64>]) -> Result<()> {
    if points.len() >= FEWEST_POINTS {
        return Ok(());
    }
    Err(fail(
        format!("the scan has {} points, but at least {FEWEST_POINTS} are needed", points.len()),
        "scan more slowly and closely, or export at a higher density; if scan.box is set, make it larger",
    )
    .refusing(|| Refusal::new(FEW, false).with(PointRole::Unexplained, points.len(), points)))
}

/// From the scan's frame to its points' own: about their mean, along the axes of their greatest and least spread, each towards the side
/// on which they reach farther. What is done in it comes out the same however the scan lies.
///
/// # Errors
/// Points without spread in three directions.
pub(super) fn own_axes(points: &[Point3<f64>]) -> Result<Similarity> {
    let n = points.len() as f64;
    let mean = points.iter().fold(Vector3::zeros(), |s, p| s + p.coords / n);
    let mut cov = Matrix3::zeros();
    for p in points {
        let d = p.coords - mean;
        cov += d * d.transpose() / n;
    }
    let eigen = SymmetricEigen::new(cov);
    let mut order = [0, 1, 2];
    order.sort_by(|a, b| eigen.eigenvalues[*b].total_cmp(&eigen.eigenvalues[*a]));
    let axis = |k: usize| -> Vector3<f64> {
        let a: Vector3<f64> = eigen.eigenvectors.column(order[k]).into();
        let third: f64 = points.iter().map(|p| (p.coords - mean).dot(&a).powi(3)).sum();
        if third < 0.0 { -a } else { a }
    };
    let (x, y) = (axis(0), axis(1));
    let rotation = Matrix3::from_rows(&[x.transpose(), y.transpose(), x.cross(&y).transpose()]);
    let own = Similarity { rotation, scale: 1.0, translation: -(rotation * mean) };
    let spreads = order.map(|k| eigen.eigenvalues[k].max(0.0).sqrt());
    spread(points.len(), spreads, mean.norm()).map_err(|e| {
        let turned: Vec<Point3<f64>> = points.iter().map(|p| own.apply(p)).collect();
        e.refusing(|| Refusal::new(FLAT, false).with(PointRole::Unexplained, turned.len(), &turned))
    })?;
    Ok(own)
}
/// Refuses points without spread in three directions: `e` are the spreads, greatest first; the points' middle lies `far` from the origin.
fn spread(count: usize, e: [f64; 3], far: f64) -> Result<()> {
    // a bent deck with its floor stands off any plane by far more than single-precision rounding of its coordinates
    let least = f64::from(f32::EPSILON) * 100.0;
    // the mean of so many numbers is rounded by so much at most
    let rounding = count as f64 * f64::EPSILON * far;
    let shape = if !(e[0] > rounding) || !e[0].is_finite() {
        "in one place"
    } else if e[1] < least * e[0] {
        "on one line"
    } else if e[2] < least * e[0] {
        "in one plane"
    } else {
        return Ok(());
    };
    Err(fail(
        format!("all {} points lie {shape} (spreads {:.3e}, {:.3e}, {:.3e} scan units)", count, e[0], e[1], e[2]),
        "the export went wrong; export the scan as a 3-D mesh or cloud",
    ))
}
