//! How well each freedom of a pose is held.
use nalgebra::{Matrix6, Vector6};
use serde::Serialize;

/// Names of the freedoms, in the order of a pose's unknowns: moves along x, y, z and turns about them, in the deck frame.
const NAMES: [&str; 6] = [
    "move along the board",
    "move across the board",
    "move off the deck",
    "turn about the length (one side up)",
    "turn about the width (one end up)",
    "turn in plan",
];
/// A face that changes its gap by less than this for each mm the rim moves does not hold it: a print's own unevenness, some
/// 0.1 mm (common practice, no source), would move it by 2 mm.
pub(super) const WEAK_RATIO: f64 = 0.05;

/// One equation of the fit: how its residual (mm) changes with the pose.
#[derive(Debug, Clone, Copy)]
pub(super) struct Row {
    pub j: Vector6<f64>,
    pub residual: f64,
    /// Whether it belongs to the rim's border rather than to its face.
    pub border: bool,
    /// Part of the rim it lies in: residuals of one part are not independent.
    pub sector: usize,
    pub weight: f64,
}

/// One freedom of a registered enclosure.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Freedom {
    /// Which.
    pub name: &'static str,
    /// Standard error of a move, mm; of a turn, degrees.
    pub standard_error: f64,
    /// Unit of it: "mm" or "deg".
    pub unit: &'static str,
    /// The same at the rim, mm: of a turn, how far it moves the rim, in the mean.
    pub standard_error_mm: f64,
    /// Root mean square change of the gap for each mm that the rim moves this way, the other freedoms following: 1 is held as by
    /// a plane, 0 slides.
    pub held_by_face_ratio: f64,
    /// Whether the face alone leaves it free, so that only the rim's border holds it.
    pub weak: bool,
}

/// Covariance of the pose, (mm, radians), with residuals correlated within a sector: the sandwich of clustered least squares.
///
/// # References
/// K.-Y. Liang and S. L. Zeger 1986, doi 10.1093/biomet/73.1.13; with the factor G / (G - 1) for G clusters, from memory.
pub(super) fn covariance(rows: &[Row], sectors: usize) -> Option<Matrix6<f64>> {
    let mut normal = Matrix6::zeros();
    let mut scores = vec![Vector6::zeros(); sectors];
    for r in rows {
        normal += r.weight * r.j * r.j.transpose();
        scores[r.sector] += r.weight * r.residual * r.j;
    }
    let inverse = normal.try_inverse()?;
    let meat = scores.iter().fold(Matrix6::zeros(), |m, s| m + s * s.transpose());
    let g = scores.iter().filter(|s| s.norm_squared() > 0.0).count().max(2) as f64;
    Some(inverse * meat * inverse * (g / (g - 1.0)))
}

/// The six freedoms. `levers` are the rim's mean distances from the axes of the turns, mm.
pub(super) fn freedoms(rows: &[Row], covariance: &Matrix6<f64>, levers: [f64; 3]) -> Vec<Freedom> {
    let unit = Vector6::from_fn(|k, _| if k < 3 { 1.0 } else { levers[k - 3].max(f64::MIN_POSITIVE) });
    let mut face = Matrix6::zeros();
    let mut n = 0.0_f64;
    for r in rows.iter().filter(|r| !r.border && r.weight > 0.0) {
        let j = r.j.component_div(&unit);
        face += j * j.transpose();
        n += 1.0;
    }
    face /= n.max(1.0);
    // what slides altogether has no inverse: a hair of stiffness far below anything measured makes its ratio 0
    const HAIR: f64 = 1e-10;
    let inverse = (face + HAIR * Matrix6::identity()).try_inverse().unwrap_or_else(Matrix6::zeros);
    (0..6)
        .map(|k| {
            let se = covariance[(k, k)].max(0.0).sqrt();
            let held = if inverse[(k, k)] > 0.0 { (1.0 / inverse[(k, k)]).sqrt() } else { 0.0 };
            let held = if held <= 2.0 * HAIR.sqrt() { 0.0 } else { held };
            Freedom {
                name: NAMES[k],
                standard_error: if k < 3 { se } else { se.to_degrees() },
                unit: if k < 3 { "mm" } else { "deg" },
                standard_error_mm: se * unit[k],
                held_by_face_ratio: held,
                weak: held < WEAK_RATIO,
            }
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    /// GUM (JCGM 100) H.3 is a line fit; here two of six freedoms do the same: with each reading its own cluster the sandwich is
    /// White's, whose mean over many equal errors is s^2 (J'J)^-1. Errors of +-e in turn make both equal but for G / (G - 1).
    #[test]
    fn sandwich_of_even_errors_is_the_usual_covariance() {
        let n = 400;
        let rows: Vec<Row> = (0..n)
            .map(|i| {
                let t = f64::from(i) / 200.0 - 1.0;
                let mut j = Vector6::zeros();
                j[i as usize % 6] = 1.0 + 0.1 * t;
                let residual = if (i / 6) % 2 == 0 { 0.3 } else { -0.3 };
                Row { j, residual, border: false, sector: i as usize, weight: 1.0 }
            })
            .collect();
        let c = covariance(&rows, n as usize).unwrap();
        let normal: f64 = rows.iter().map(|r| r.j[0] * r.j[0]).sum();
        let want = 0.09 / normal * 400.0 / 399.0;
        assert!((c[(0, 0)] / want - 1.0).abs() < 1e-9, "{} {want}", c[(0, 0)]);
        assert!(c[(0, 1)].abs() < 1e-18);
    }
    /// A plane holds its normal wholly and lets everything in itself slide.
    #[test]
    fn a_plane_leaves_three_freedoms() {
        let rows: Vec<Row> = (0..100)
            .map(|i| {
                let (x, y) = (f64::from(i % 10) - 4.5, f64::from(i / 10) - 4.5);
                Row { j: Vector6::new(0.0, 0.0, 1.0, y, -x, 0.0), residual: 0.0, border: false, sector: 0, weight: 1.0 }
            })
            .collect();
        let lever = 8.25_f64.sqrt();
        let f = freedoms(&rows, &Matrix6::identity(), [lever, lever, 4.0]);
        let weak: Vec<bool> = f.iter().map(|f| f.weak).collect();
        assert_eq!(weak, [true, true, false, false, false, true]);
        assert!((f[2].held_by_face_ratio - 1.0).abs() < 1e-6 && (f[3].held_by_face_ratio - 1.0).abs() < 1e-6);
        assert_eq!(f[0].held_by_face_ratio, 0.0);
    }
}
