//! The curves of `sections.step`: sections, centre line, outline and footprint as they lie in space.
use crate::deck::Deck;
use crate::geom::trim;
use crate::mating::MatingFace;
use crate::num::{Curve, TensorSpline};

/// A curve with the name it carries in files.
#[derive(Debug, Clone, PartialEq)]
pub struct NamedCurve {
    /// For example 'section x = +100.0 mm'.
    pub name: String,
    /// The curve, mm.
    pub curve: Curve<3>,
}

/// The part of a curve between `lo` and `hi`.
fn between(c: &Curve<3>, lo: f64, hi: f64) -> Curve<3> {
    let (a, b) = c.knots.range();
    let c = if lo > a { c.split(lo).1 } else { c.clone() };
    if hi < b { c.split(hi).0 } else { c }
}
/// The surface's own curve at the station `x` between `lo` and `hi`: exact, y is the parameter.
fn section(z: &TensorSpline, x: f64, lo: f64, hi: f64) -> Option<Curve<3>> {
    let (i, b) = z.x.basis(x);
    let n = z.y.len();
    let height = |j: usize| (0..=z.x.degree()).map(|a| b[a] * z.c[(i + a) * n + j]).sum::<f64>();
    let points = z.y.greville().iter().enumerate().map(|(j, y)| [x, *y, height(j)]).collect();
    Curve::new(z.y.clone(), points).map(|c| between(&c, lo, hi))
}
fn turned(z: &TensorSpline) -> TensorSpline {
    let (m, n) = (z.x.len(), z.y.len());
    let c = (0..n).flat_map(|j| (0..m).map(move |i| (i, j))).map(|(i, j)| z.c[i * n + j]).collect();
    TensorSpline { x: z.y.clone(), y: z.x.clone(), c }
}
/// Sections at `stations`, the centre line, the outline, and the borders of the mating face. Stations off the board are left
/// out.
pub fn wireframe(deck: &Deck, mating: Option<&MatingFace>, stations: &[f64]) -> Vec<NamedCurve> {
    let outline = deck.outline_polygon();
    let mut out = Vec::new();
    for x in stations {
        let curve = outline.span(*x).and_then(|(lo, hi)| section(&deck.underside, *x, lo, hi));
        out.extend(curve.map(|curve| NamedCurve {
            name: format!("section x = {:+.1} mm", (10.0 * x).round() / 10.0 + 0.0),
            curve,
        }));
    }
    if let Some((lo, hi)) = outline.transposed().span(0.0) {
        let along = section(&turned(&deck.underside), 0.0, lo, hi).map(|mut c| {
            c.points.iter_mut().for_each(|p| p.swap(0, 1));
            c
        });
        out.extend(along.map(|curve| NamedCurve { name: "centre line".into(), curve }));
    }
    let mut add = |name: &str, brep: crate::geom::Brep| {
        for (i, e) in brep.edges.into_iter().enumerate() {
            out.push(NamedCurve { name: format!("{name} {}", i + 1), curve: e.curve });
        }
    };
    add("outline", deck.underside_face());
    if let Some(m) = mating {
        add("footprint", trim::face("footprint", &m.face, std::slice::from_ref(&m.footprint.outer)));
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;
    #[test]
    fn sections_lie_on_the_surface() {
        let (x, y) = (Knots::uniform(3, 5, -50.0, 50.0), Knots::uniform(3, 4, -20.0, 20.0));
        let c = (0..x.len() * y.len()).map(|i| ((i * 7) % 11) as f64).collect();
        let z = TensorSpline::new(x, y, c).unwrap();
        let across = section(&z, 13.0, -17.0, 15.0).unwrap();
        let along = section(&turned(&z), -4.0, -31.0, 50.0).unwrap();
        assert_eq!((across.knots.range(), along.knots.range()), ((-17.0, 15.0), (-31.0, 50.0)));
        for i in 0..=20 {
            let y = -17.0 + 32.0 * f64::from(i) / 20.0;
            let p = across.at(y);
            assert!((p[0] - 13.0).abs() < 1e-12 && (p[1] - y).abs() < 1e-12 && (p[2] - z.at(13.0, y)).abs() < 1e-12);
            let x = -31.0 + 81.0 * f64::from(i) / 20.0;
            assert!((along.at(x)[2] - z.at(x, -4.0)).abs() < 1e-12);
        }
    }
}
