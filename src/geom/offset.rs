//! True normal offsets of height functions, refitted as height functions.
use crate::num::{Knots, TensorSpline, interpolate};
use crate::tolerance::{OFFSET_MM, OFFSET_MOST_MM};
use nalgebra::DMatrix;

/// Why an offset failed.
#[derive(Debug, Clone, PartialEq)]
pub enum OffsetFault {
    /// The offset folds at (x, y), where the surface bends with this radius in mm.
    Fold {
        /// Place along x, mm.
        x: f64,
        /// Place along y, mm.
        y: f64,
        /// Radius of curvature there, mm.
        radius: f64,
    },
    /// The refit stayed this far off, mm.
    Tolerance(f64),
}
/// Fixed-point steps for the foot point; each shrinks the error by d times the curvature, well below one half.
const STEPS: usize = 60;
/// Refinements of the knots tried: a kick that starts with a jump in curvature needs the last ones, other boards the first.
const REFINEMENTS: usize = 6;

/// Place whose normal with positive z, `d` long, ends over (x, y).
pub(super) fn foot(z: &TensorSpline, d: f64, x: f64, y: f64) -> [f64; 2] {
    let (mut a, mut b) = (x, y);
    for _ in 0..STEPS {
        let n = z.normal(a, b);
        let (na, nb) = (x - d * n[0], y - d * n[1]);
        let moved = (na - a).abs() + (nb - b).abs();
        (a, b) = (na, nb);
        if moved < 1e-12 * (1.0 + x.abs() + y.abs()) {
            break;
        }
    }
    [a, b]
}
/// Height at (x, y) of the surface offset by `d` along the normal with positive z.
fn offset_at(z: &TensorSpline, d: f64, x: f64, y: f64) -> f64 {
    let [a, b] = foot(z, d, x, y);
    z.at(a, b) + d * z.normal(a, b)[2]
}
fn refined(k: &Knots, times: usize) -> Knots {
    let b = k.breaks();
    let (lo, hi) = k.range();
    let mut all = vec![lo; k.degree()];
    for w in b.windows(2) {
        all.extend((0..times).map(|i| w[0] + (w[1] - w[0]) * i as f64 / times as f64));
    }
    all.extend(vec![hi; k.degree() + 1]);
    Knots::new(k.degree(), all).unwrap_or_else(|| k.clone())
}

/// The offset of `z` by `d` (negative: to the other side), within [`OFFSET_MM`] wherever `inside` holds, or, where the finest knots tried
/// stay off it, as near as they come: within [`OFFSET_MOST_MM`]. A surface whose third derivative jumps has an offset whose curvature
/// jumps between the knots.
///
/// # Errors
/// A fold inside, or a refit that stays outside the wider tolerance.
pub fn offset_height(z: &TensorSpline, d: f64, inside: impl Fn(f64, f64) -> bool) -> Result<TensorSpline, OffsetFault> {
    offset_within(z, d, inside).map(|(fit, _)| fit)
}
/// As [`offset_height`], with the greatest distance from the true offset found, mm.
///
/// # Errors
/// As there.
pub fn offset_within(
    z: &TensorSpline,
    d: f64,
    inside: impl Fn(f64, f64) -> bool,
) -> Result<(TensorSpline, f64), OffsetFault> {
    let ((x0, x1), (y0, y1)) = (z.x.range(), z.y.range());
    let (nx, ny) = (3 * z.x.len(), 3 * z.y.len());
    let probes: Vec<(f64, f64)> = (0..nx)
        .flat_map(|i| (0..ny).map(move |j| ((i as f64 + 0.37) / nx as f64, (j as f64 + 0.37) / ny as f64)))
        .map(|(s, t)| (x0 + s * (x1 - x0), y0 + t * (y1 - y0)))
        .filter(|p| inside(p.0, p.1))
        .collect();
    for &(x, y) in &probes {
        let (k0, k1) = z.curvatures(x, y);
        // curvature is positive where the surface bends towards +z: an offset that way folds at the radius
        let k = if d > 0.0 { k1 } else { -k0 };
        if k * d.abs() >= 1.0 {
            return Err(OffsetFault::Fold { x, y, radius: 1.0 / k });
        }
    }
    let mut best: Option<(f64, TensorSpline)> = None;
    for times in 1..=REFINEMENTS {
        let (kx, ky) = (refined(&z.x, times), refined(&z.y, times));
        let (gx, gy) = (kx.greville(), ky.greville());
        let values = DMatrix::from_fn(gx.len(), gy.len(), |i, j| offset_at(z, d, gx[i], gy[j]));
        let Some(along_x) = interpolate(&kx, &values) else { continue };
        let Some(both) = interpolate(&ky, &along_x.transpose()) else { continue };
        let c = (0..gx.len()).flat_map(|i| (0..gy.len()).map(move |j| (i, j))).map(|(i, j)| both[(j, i)]).collect();
        let fit = TensorSpline { x: kx, y: ky, c };
        let off = probes.iter().map(|&(x, y)| (fit.at(x, y) - offset_at(z, d, x, y)).abs()).fold(0.0, f64::max);
        if off <= OFFSET_MM {
            return Ok((fit, off));
        }
        if best.as_ref().is_none_or(|b| off < b.0) {
            best = Some((off, fit));
        }
    }
    match best {
        Some((off, fit)) if off <= OFFSET_MOST_MM => Ok((fit, off)),
        Some((off, _)) => Err(OffsetFault::Tolerance(off)),
        None => Err(OffsetFault::Tolerance(f64::INFINITY)),
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    fn cylinder(r: f64) -> TensorSpline {
        let (x, y) = (Knots::uniform(3, 4, -50.0, 50.0), Knots::uniform(3, 20, -60.0, 60.0));
        let (gx, gy) = (x.greville(), y.greville());
        let v = DMatrix::from_fn(gy.len(), gx.len(), |j, _| (r * r - gy[j] * gy[j]).sqrt() - r);
        let c = interpolate(&y, &v).unwrap();
        let c = (0..gx.len()).flat_map(|i| (0..gy.len()).map(move |j| (i, j))).map(|(i, j)| c[(j, i)]).collect();
        TensorSpline::new(x, y, c).unwrap()
    }
    /// The offset of a cylinder of radius R by d is a cylinder of radius R + d (differential geometry, exact).
    #[test]
    fn cylinder_offsets_are_cylinders() {
        let (r, d) = (325.25, 2.1);
        let o = offset_height(&cylinder(r), d, |_, y| y.abs() < 50.0).unwrap();
        for y in [-45.0, -20.0, 0.0, 33.0] {
            let want = ((r + d) * (r + d) - y * y).sqrt() - r;
            assert!((o.at(3.0, y) - want).abs() < OFFSET_MM, "{y}");
        }
    }
    /// Two parabolas that meet in a crease rounded over a millimetre: no knots beside theirs follow the offset's step of curvature to a
    /// hundredth, and the board must not be refused for it.
    #[test]
    fn an_offset_that_the_finest_knots_miss_by_little_serves() {
        let x = Knots::uniform(3, 40, -50.0, 50.0);
        let y = Knots::uniform(3, 1, -60.0, 60.0);
        let kink = |x: f64| -0.004 * x.max(0.0).powi(2);
        let g = x.greville();
        let v = DMatrix::from_fn(g.len(), 1, |i, _| kink(g[i]));
        let c = interpolate(&x, &v).unwrap();
        let c = c.iter().flat_map(|c| std::iter::repeat_n(*c, y.len())).collect();
        let z = TensorSpline::new(x, y, c).unwrap();
        let o = offset_height(&z, -20.0, |x, _| x.abs() < 45.0).unwrap();
        let off = (-40..=40)
            .map(|x| (o.at(f64::from(x), 3.0) - offset_at(&z, -20.0, f64::from(x), 3.0)).abs())
            .fold(0.0, f64::max);
        assert!(off <= OFFSET_MOST_MM, "{off}");
    }
    /// It folds when d >= 1/k (differential geometry, exact).
    #[test]
    fn folds_are_named() {
        let f = offset_height(&cylinder(90.0), -95.0, |x, y| x.abs() < 20.0 && y.abs() < 20.0).unwrap_err();
        assert!(matches!(f, OffsetFault::Fold { radius, .. } if (radius - 90.0).abs() < 1.0), "{f:?}");
    }
}
