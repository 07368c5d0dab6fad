//! A beam between fixed places on an elastic bed: a flange between its screws on the gasket.

/// Deflection (mm) in the middle of a span of `span_mm`, its ends held in place and direction (as those of a beam that goes on
/// alike beyond them), under an even load of `load_n_mm` N for each mm, when a bed that gives way by `bed_n_mm2` N for each mm of
/// length and of deflection pushes less the farther it moves. `stiffness` is E I in N mm2. Without bed: q L^4 / 384 E I.
///
/// # References
/// M. Hetényi, *Beams on Elastic Foundation*, 1946 (from memory): both ends built in, even load.
pub fn opening_between(span_mm: f64, load_n_mm: f64, bed_n_mm2: f64, stiffness: f64) -> f64 {
    let free = load_n_mm * span_mm.powi(4) / (384.0 * stiffness);
    // u = beta L / 2, beta^4 = k / 4 E I
    let u = (bed_n_mm2 / (4.0 * stiffness)).max(0.0).powf(0.25) * span_mm / 2.0;
    // below, the formula's difference loses its digits; the bed takes less than a thousandth of the load there
    const SOFT: f64 = 0.1;
    // above, nothing is left of the ends in the middle, and the hyperbolic functions overflow later
    const LONG: f64 = 300.0;
    if u < SOFT {
        free
    } else if u > LONG {
        load_n_mm / bed_n_mm2
    } else {
        let ends = u.sinh() * u.cos() + u.cosh() * u.sin();
        load_n_mm / bed_n_mm2 * (1.0 - 2.0 * ends / ((2.0 * u).sinh() + (2.0 * u).sin()))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    /// Handbook beam tables: both ends fixed, even load, q L^4 / 384 E I in the middle; and q / k far from the ends.
    #[test]
    fn limits_of_the_handbook() {
        let (l, q, ei) = (110.0_f64, 0.8, 3.2e5);
        let table = q * l.powi(4) / (384.0 * ei);
        assert!((opening_between(l, q, 0.0, ei) / table - 1.0).abs() < 1e-12);
        assert!((opening_between(l, q, 1e-4, ei) / table - 1.0).abs() < 1e-3);
        // either side of the change of formula
        let soft = |u: f64| 4.0 * ei * (2.0 * u / l).powi(4);
        let (a, b) = (opening_between(l, q, soft(0.0999), ei), opening_between(l, q, soft(0.1001), ei));
        assert!((a / b - 1.0).abs() < 1e-3, "{a} {b}");
        assert!((opening_between(5000.0, q, 0.5, ei) / (q / 0.5) - 1.0).abs() < 1e-6);
        assert!((opening_between(1e6, q, 0.5, ei) / (q / 0.5) - 1.0).abs() < 1e-12);
    }
    /// Finite differences of E I w'''' + k w = q with w = w' = 0 at both ends.
    #[test]
    fn agrees_with_finite_differences() {
        let (l, q, k, ei) = (120.0_f64, 0.8, 0.5, 2.5e5);
        let n = 240;
        let h = l / f64::from(n);
        let inner = n as usize - 1;
        let mut m = nalgebra::DMatrix::<f64>::zeros(inner, inner);
        for i in 0..inner {
            let mut add = |j: i64, v: f64| {
                // outside the ends w mirrors: w(-h) = w(h) for w' = 0
                let j = if j == -2 {
                    0
                } else if j == inner as i64 + 1 {
                    inner as i64 - 1
                } else {
                    j
                };
                if (0..inner as i64).contains(&j) {
                    m[(i, j as usize)] += v;
                }
            };
            for (d, v) in [(-2, 1.0), (-1, -4.0), (0, 6.0), (1, -4.0), (2, 1.0)] {
                add(i as i64 + d, v * ei / h.powi(4));
            }
            add(i as i64, k);
        }
        let w = m.lu().solve(&nalgebra::DVector::repeat(inner, q)).unwrap();
        let got = opening_between(l, q, k, ei);
        assert!((w[inner / 2] / got - 1.0).abs() < 2e-3, "{} {got}", w[inner / 2]);
    }
}
