//! Area and volume of a boundary representation, by quadrature on its own surfaces: no triangles.
use super::{Brep, Face, Surface3};
use crate::num::{Curve, Knots, MAX_DEGREE};
use nalgebra::Vector3;

/// Area and volume, with an estimate of their error.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measure {
    /// Area of all faces, mm2.
    pub area_mm2: f64,
    /// Volume enclosed by the faces (divergence theorem), mm3; has a meaning for a closed solid only.
    pub volume_mm3: f64,
    /// Greatest relative difference of either to a coarser rule: the error of the coarser, so more than that of the values.
    pub relative_error: f64,
}

/// Abscissae and weights of Gauss and Legendre on [-1, 1] (Abramowitz & Stegun, table 25.4): 5 points, and 3 to compare with.
const FINE: [[f64; 2]; 5] = [
    [0.0, 0.568_888_888_888_888_9],
    [0.538_469_310_105_683_1, 0.478_628_670_499_366_47],
    [-0.538_469_310_105_683_1, 0.478_628_670_499_366_47],
    [0.906_179_845_938_664, 0.236_926_885_056_189_1],
    [-0.906_179_845_938_664, 0.236_926_885_056_189_1],
];
const COARSE: [[f64; 2]; 3] =
    [[0.0, 8.0 / 9.0], [0.774_596_669_241_483_4, 5.0 / 9.0], [-0.774_596_669_241_483_4, 5.0 / 9.0]];

/// The integral of `f` over each interval between neighbouring `breaks`, added up.
fn integral(breaks: &[f64], rule: &[[f64; 2]], mut f: impl FnMut(f64) -> [f64; 2]) -> [f64; 2] {
    let mut sum = [0.0; 2];
    for w in breaks.windows(2) {
        let (middle, half) = ((w[0] + w[1]) / 2.0, (w[1] - w[0]) / 2.0);
        for [x, weight] in rule {
            let v = f(middle + half * x);
            sum = [0, 1].map(|k| sum[k] + weight * half * v[k]);
        }
    }
    sum
}

/// The places of a rule in each span of a surface's v: they are the same for every u.
struct AcrossSpans(Vec<Vec<Place>>);
/// One place: its weight, and the basis functions and their derivatives there.
struct Place {
    weight: f64,
    first: usize,
    basis: [[f64; MAX_DEGREE + 1]; 3],
}
impl AcrossSpans {
    fn new(v: &Knots, rule: &[[f64; 2]]) -> Self {
        Self(v.breaks().windows(2).map(|w| places(v, [w[0], w[1]], rule)).collect())
    }
}
/// The places of a rule between two values of v.
fn places(v: &Knots, [a, b]: [f64; 2], rule: &[[f64; 2]]) -> Vec<Place> {
    let (middle, half) = ((a + b) / 2.0, (b - a) / 2.0);
    let place = |[x, weight]: &[f64; 2]| {
        let (first, basis) = v.derivatives(middle + half * x);
        Place { weight: weight * half, first, basis }
    };
    rule.iter().map(place).collect()
}

/// Area's and volume's integrands, |Su x Sv| and S (Su x Sv) / 3, integrated along v from the surface's border to `to`.
fn along_v(s: &Surface3, across: &AcrossSpans, u: f64, to: f64, rule: &[[f64; 2]]) -> [f64; 2] {
    let (first, b) = s.u.derivatives(u);
    let n = s.v.len();
    // the surface's curve at u and its derivative by u
    let iso = [0, 1].map(|d| {
        let points = (0..n).map(|j| {
            let mix = |k: usize| (0..=s.u.degree()).map(|a| b[d][a] * s.points[(first + a) * n + j][k]).sum();
            Vector3::new(mix(0), mix(1), mix(2))
        });
        points.collect::<Vec<Vector3<f64>>>()
    });
    let mut sum = [0.0; 2];
    let mut add = |places: &[Place]| {
        for Place { weight, first, basis } in places {
            let mix = |points: &[Vector3<f64>], b: &[f64]| {
                points[*first..=first + s.v.degree()].iter().zip(b).fold(Vector3::zeros(), |m, (p, b)| m + p * *b)
            };
            let (p, pv) = (mix(&iso[0], &basis[0]), mix(&iso[0], &basis[1]));
            let normal = mix(&iso[1], &basis[0]).cross(&pv);
            sum = [sum[0] + weight * normal.norm(), sum[1] + weight * p.dot(&normal) / 3.0];
        }
    };
    let breaks = s.v.breaks();
    let whole = breaks[1..].iter().take_while(|k| **k < to).count();
    across.0[..whole].iter().for_each(|places| add(places));
    if to > breaks[whole] {
        add(&places(&s.v, [breaks[whole], to], rule));
    }
    sum
}

/// Halvings when the place of a knot line on a border is sought: the integrand is smooth on either side, so that it need not
/// be met to the last digit.
const HALVINGS: usize = 40;

/// The parameters between which border and surface are polynomials: the border's knots, and where it crosses the surface's
/// lines of constant u.
fn breaks(border: &Curve<2>, s: &Surface3) -> Vec<f64> {
    let lines = s.u.breaks();
    let mut out = border.knots.breaks();
    for w in border.knots.breaks().windows(2) {
        let (a, b) = (border.at(w[0])[0], border.at(w[1])[0]);
        for k in lines.iter().filter(|k| a.min(b) < **k && **k < a.max(b)) {
            let (mut lo, mut hi) = (w[0], w[1]);
            for _ in 0..HALVINGS {
                let m = (lo + hi) / 2.0;
                if (border.at(m)[0] < *k) == (a < b) { lo = m } else { hi = m }
            }
            out.push((lo + hi) / 2.0);
        }
    }
    out.sort_by(f64::total_cmp);
    out
}

/// Of one face, by Green's theorem: the border's integral of -F du, F the integrand's integral along v.
fn of_face(f: &Face, rule: &[[f64; 2]]) -> [f64; 2] {
    let mut sum = [0.0; 2];
    let across = AcrossSpans::new(&f.surface.v, rule);
    for u in f.loops.iter().flatten() {
        let along = integral(&breaks(&u.pcurve, &f.surface), rule, |t| {
            let [p, d, _] = u.pcurve.derivatives(t);
            // along a line of constant u nothing is swept
            if d[0] == 0.0 { [0.0; 2] } else { along_v(&f.surface, &across, p[0], p[1], rule).map(|v| -v * d[0]) }
        });
        let sign = if u.forward { 1.0 } else { -1.0 };
        sum = [0, 1].map(|k| sum[k] + sign * along[k]);
    }
    // loops of a face that looks against its surface run clockwise, and its normal is turned too
    [if f.same_sense { sum[0] } else { -sum[0] }, sum[1]]
}

impl Brep {
    /// Area and volume by quadrature on the surfaces within their trimming curves.
    pub fn measure(&self) -> Measure {
        let by = |rule: &[[f64; 2]]| {
            self.faces.iter().map(|f| of_face(f, rule)).fold([0.0; 2], |s, v| [s[0] + v[0], s[1] + v[1]])
        };
        let ([area, volume], coarse) = (by(&FINE), by(&COARSE));
        let apart = |a: f64, b: f64| ((a - b) / a).abs();
        let volume_error = if self.closed { apart(volume, coarse[1]) } else { 0.0 };
        Measure { area_mm2: area, volume_mm3: volume, relative_error: apart(area, coarse[0]).max(volume_error) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{plan, trim};
    use crate::num::{Knots, TensorSpline};
    use std::f64::consts::PI;

    fn flat(z: f64) -> TensorSpline {
        let k = Knots::uniform(3, 3, -60.0, 60.0);
        TensorSpline::new(k.clone(), k, vec![z; 36]).unwrap()
    }
    /// A box and a cylinder, 7 mm high (elementary geometry); the circle is a cubic within 0.001 mm of its 20 mm.
    #[test]
    fn boxes_and_cylinders() {
        let names = ["top", "bottom", "side"];
        let b = trim::slab("box", &flat(2.0), &flat(-5.0), &plan::rectangle([3.0, 4.0], [40.0, 30.0], 0.0), names);
        let m = b.measure();
        assert!((m.volume_mm3 / 8400.0 - 1.0).abs() < 1e-12, "{m:?}");
        assert!((m.area_mm2 / (2400.0 + 980.0) - 1.0).abs() < 1e-12 && m.relative_error < 1e-12, "{m:?}");
        let m = trim::slab("rod", &flat(2.0), &flat(-5.0), &plan::circle([5.0, -8.0], 20.0), names).measure();
        assert!((m.volume_mm3 / (PI * 400.0 * 7.0) - 1.0).abs() < 1e-4, "{m:?}");
        assert!((m.area_mm2 / (PI * 800.0 + PI * 280.0) - 1.0).abs() < 1e-4, "{m:?}");
    }
    /// A wall round many knots, straight lines in its parameters: its area is the length of its plan times its height.
    #[test]
    fn a_wall_of_many_spans() {
        let plan = plan::circle([0.0, 0.0], 30.0);
        let rod = trim::slab("rod", &flat(6.0), &flat(1.0), &plan, ["top", "bottom", "side"]);
        let side: f64 = rod.faces.iter().filter(|f| f.name.starts_with("side")).map(|f| of_face(f, &FINE)[0]).sum();
        let length = trim::polygon(&plan, 1e-6).perimeter();
        assert!((side / (length * 5.0) - 1.0).abs() < 1e-6, "{side} {length}");
    }
    /// The parabola z = x^2 / 2R over a rectangle: the length of its arc is (x sqrt(R^2 + x^2) + R^2 asinh(x / R)) / 2R from
    /// the middle (elementary calculus), the volume below it down to -5 is that of the mean height x^2 / 6R + 5.
    #[test]
    fn a_parabolic_vault() {
        let r = 90.0;
        let k = Knots::uniform(3, 1, -50.0, 50.0);
        let row = [2500.0, -2500.0 / 3.0, -2500.0 / 3.0, 2500.0].map(|v| v / (2.0 * r));
        let z = TensorSpline::new(k.clone(), k, row.iter().flat_map(|c| [*c; 4]).collect()).unwrap();
        // sides as cubics, so that they follow the parabola as they lie on it
        let cubic = |c: Curve<2>| {
            let k = Knots::uniform(3, 1, 0.0, 1.0);
            let points = k.greville().iter().map(|u| c.at(*u)).collect();
            Curve::new(k, points).unwrap()
        };
        let plan: Vec<_> = plan::rectangle([0.0, 3.0], [80.0, 50.0], 0.0).into_iter().map(cubic).collect();
        let arc = (40.0 * f64::hypot(r, 40.0) + r * r * (40.0_f64 / r).asinh()) / r;
        let area = trim::face("vault", &z, std::slice::from_ref(&plan)).measure().area_mm2;
        assert!((area / (50.0 * arc) - 1.0).abs() < 1e-6, "{area}");
        let solid = trim::slab("vault", &z, &flat(-5.0), &plan, ["top", "bottom", "side"]).measure();
        assert!((solid.volume_mm3 / (4000.0 * (1600.0 / (6.0 * r) + 5.0)) - 1.0).abs() < 1e-6, "{solid:?}");
    }
}
