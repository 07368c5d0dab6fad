//! The deck as a beam on its trucks. Figures are estimates.
mod foundation;
mod sag;
pub use foundation::opening_between;
pub use sag::{RiderSpec, Sag, SagReport, Weight, layup_ratio, sag_of};

use serde::Serialize;

/// Where the rider's weight acts.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Load {
    /// On one place in the middle.
    Centre,
    /// On two feet, evenly, about the middle.
    Feet {
        /// Their distance, mm.
        apart_mm: f64,
    },
    /// Evenly along the wheelbase.
    Uniform,
}
/// The rider on the board.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Rider {
    /// Sag at mid wheelbase, standing still, mm.
    pub sag_mm: f64,
    /// Between the trucks' axles, about the middle of the board, mm.
    pub wheelbase_mm: f64,
    /// Where the weight acts.
    pub load: Load,
    /// Sag when jumping over sag when standing.
    pub jump_ratio: f64,
}

/// Deflection (mm), slope and curvature (1/mm) at `x` from mid span of a simply supported even beam, for unit E I (1 N mm2) and
/// unit total load (1 N); straight beyond the supports (handbook beam tables).
fn unit(load: Load, span: f64, x: f64) -> [f64; 3] {
    let (l, a) = (span, span / 2.0 - x.abs());
    if a < 0.0 {
        let [_, slope, _] = unit(load, span, span / 2.0);
        return [slope * (x.abs() - l / 2.0), slope.abs() * -x.signum(), 0.0];
    }
    // `a` is the distance from the nearer support; rising towards the middle
    let [w, s, k] = match load {
        Load::Feet { apart_mm } if apart_mm > 0.0 => {
            let (c, p) = (((l - apart_mm) / 2.0).max(0.0), 0.5);
            if a <= c {
                [p * a * (3.0 * l * c - 3.0 * c * c - a * a) / 6.0, p * (l * c - c * c - a * a) / 2.0, -p * a]
            } else {
                [p * c * (3.0 * l * a - 3.0 * a * a - c * c) / 6.0, p * c * (l - 2.0 * a) / 2.0, -p * c]
            }
        }
        Load::Centre | Load::Feet { .. } => {
            [a * (3.0 * l * l - 4.0 * a * a) / 48.0, (l * l - 4.0 * a * a) / 16.0, -a / 2.0]
        }
        Load::Uniform => [
            a * (l.powi(3) - 2.0 * l * a * a + a.powi(3)) / (24.0 * l),
            (l.powi(3) - 6.0 * l * a * a + 4.0 * a.powi(3)) / (24.0 * l),
            -a * (l - a) / (2.0 * l),
        ],
    };
    [w, if x > 0.0 { -s } else { s }, k]
}
/// Deflection of a simply supported beam, mm, `x_mm` from mid span, under `force_n` in all; `stiffness` is E I in N mm2.
pub fn deflection(load: Load, span_mm: f64, x_mm: f64, force_n: f64, stiffness: f64) -> f64 {
    force_n / stiffness * unit(load, span_mm, x_mm)[0]
}
impl Rider {
    /// Sag (mm, towards the ground), its slope and curvature (1/mm) at `x` from mid wheelbase, scaled to the sag given.
    pub fn shape(&self, x: f64) -> [f64; 3] {
        let middle = unit(self.load, self.wheelbase_mm, 0.0)[0];
        // feet over the trucks do not bend the board
        let k = if middle > 0.0 { self.sag_mm / middle } else { 0.0 };
        unit(self.load, self.wheelbase_mm, x).map(|v| k * v)
    }
}
/// A section as strips: middle height and vertical thickness at evenly spaced places, from curves z(y) of underside and top.
pub fn section_of(lo: f64, hi: f64, strips: usize, faces: impl Fn(f64) -> (f64, f64)) -> Vec<(f64, f64, f64)> {
    let step = (hi - lo) / strips as f64;
    (0..strips)
        .map(|i| faces(lo + (i as f64 + 0.5) * step))
        .map(|(u, t)| (step, (u + t) / 2.0, (u - t).abs()))
        .collect()
}
/// Second moment of area (mm4) about the section's own horizontal axis and that axis' height (mm); strips of width, middle
/// height and thickness, mm. NaN for no area.
pub fn second_moment(strips: &[(f64, f64, f64)]) -> (f64, f64) {
    let area: f64 = strips.iter().map(|s| s.0 * s.2).sum();
    let axis = strips.iter().map(|s| s.0 * s.2 * s.1).sum::<f64>() / area;
    (strips.iter().map(|s| s.0 * s.2 * ((s.1 - axis).powi(2) + s.2 * s.2 / 12.0)).sum(), axis)
}

#[cfg(test)]
mod tests {
    use super::*;
    const L: f64 = 700.0;
    /// Handbook beam tables (re-derived): 240 x 13 mm, 700 mm, 12.6 GPa (USDA Wood Handbook, sugar maple), 785 N: 10.1319 mm
    /// for a centre load, 6.1146 mm for half of it 150 mm from either end, 6.3325 mm spread evenly.
    #[test]
    fn beam_tables() {
        let (i, axis) = second_moment(&section_of(-120.0, 120.0, 400, |_| (0.0, -13.0)));
        assert!((i - 43_940.0).abs() < 1e-6 && (axis + 6.5).abs() < 1e-9);
        let feet = Load::Feet { apart_mm: L - 300.0 };
        for (load, want) in [(Load::Centre, 10.1319), (feet, 6.1146), (Load::Uniform, 6.3325)] {
            let w = deflection(load, L, 0.0, 785.0, 12_600.0 * i);
            assert!((w - want).abs() < 5e-5, "{load:?} {w}");
        }
        // P a^2 (3 L - 4 a) / 6 E I under either load
        let (p, a) = (392.5, 150.0);
        let want = p * a * a * (3.0 * L - 4.0 * a) / (6.0 * 12_600.0 * i);
        assert!((deflection(feet, L, L / 2.0 - a, 785.0, 12_600.0 * i) - want).abs() < 1e-9);
    }
    /// A parabolic section of sagitta s and vertical thickness t: I times 1 + 1.0667 (s / t)^2 (derived); 2.02 here.
    #[test]
    fn concave_stiffens() {
        let bend = |y: f64| -12.7 * (y / 120.0).powi(2);
        let curved = second_moment(&section_of(-120.0, 120.0, 2000, |y| (bend(y), bend(y) - 13.0))).0;
        let want = 1.0 + 16.0 / 15.0 * (12.7_f64 / 13.0).powi(2);
        assert!((curved / 43_940.0 - want).abs() < 1e-5 && (want - 2.02).abs() < 0.005, "{}", curved / 43_940.0);
    }
    /// Slope and curvature are the derivatives of the deflection (central differences), beyond the trucks too.
    #[test]
    fn slope_and_curvature_belong_to_the_shape() {
        for load in [Load::Centre, Load::Uniform, Load::Feet { apart_mm: 400.0 }] {
            let r = Rider { sag_mm: 9.0, wheelbase_mm: L, load, jump_ratio: 2.0 };
            assert!((r.shape(0.0)[0] - 9.0).abs() < 1e-12 && r.shape(350.0)[0].abs() < 1e-9);
            for x in [-400.0, -300.0, -50.0, 120.0, 260.0, 420.0] {
                let [a, b, c] = [-1.0, 0.0, 1.0].map(|d| r.shape(x + 0.1 * d)[0]);
                let [_, s, k] = r.shape(x);
                assert!((s - (c - a) / 0.2).abs() < 1e-6, "{load:?} {x} {s}");
                assert!((k - (a - 2.0 * b + c) / 0.01).abs() < 1e-6, "{load:?} {x} {k}");
            }
        }
    }
}
