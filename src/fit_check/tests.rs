use super::*;
use crate::deck::make_deck;
use crate::geom::closed_fit;
use crate::mating::{EnclosureSpec, PlanSpec, make_mating};
use crate::num::{Knots, TensorSpline};
use nalgebra::Vector3;

/// z = (x^2 + y^2) / 2R as a spline, exactly: the blossom of t^2 over a cubic segment is (t1 t2 + t2 t3 + t3 t1) / 3.
fn bowl(r: f64) -> TensorSpline {
    let k = |a: f64| (Knots::uniform(3, 1, -a, a), [a * a, -a * a / 3.0, -a * a / 3.0, a * a]);
    let ((x, bx), (y, by)) = (k(460.0), k(130.0));
    let c = bx.iter().flat_map(|a| by.iter().map(move |b| (a + b) / (2.0 * r))).collect();
    TensorSpline::new(x, y, c).unwrap()
}
fn board() -> (Deck, MatingFace) {
    let points = (0..4000)
        .map(|i| (f64::from(i) / 4000.0 * std::f64::consts::TAU).sin_cos())
        .map(|(s, c)| [430.0 * c.signum() * c.abs().sqrt(), 110.0 * s.signum() * s.abs().sqrt()])
        .collect();
    let deck = make_deck(&bowl(900.0), &closed_fit(&Polygon { points }, 160).unwrap(), 11.0).unwrap().value;
    let spec = EnclosureSpec {
        plan: PlanSpec::Rail,
        length_mm: 340.0,
        offset_mm: 12.0,
        inset_mm: 14.0,
        flange_mm: 16.0,
        corner_radius_mm: None,
        gasket_mm: 3.0,
        squeeze_ratio: 0.3,
    };
    let mating = make_mating(&deck, &spec).unwrap().value;
    (deck, mating)
}
const BED: [f64; 2] = [220.0, 200.0];

/// The shortest side of a triangle: readers in single precision merge what is nearer than some 1e-4 mm.
fn apart(m: &TriMesh) -> f64 {
    let sides = (0..m.triangles.len()).map(|t| m.corners(t)).flat_map(|[a, b, c]| [b - a, c - b, a - c]);
    sides.map(|s| s.norm()).fold(f64::INFINITY, f64::min)
}
/// Pieces fit the bed, are closed, and keep the mating face: laid on it again by their three lowest corners' plane they
/// would be congruent, so volumes are compared with the integral of base less face (elementary geometry).
#[test]
fn the_strip_is_split_to_the_bed_and_lies_on_its_base() {
    let (deck, mating) = board();
    let spec = FitCheckSpec { ribs: false, bed_mm: Some(BED), ..FitCheckSpec::default() };
    let pieces = make_fit_check(&deck, Some(&mating), &[], &spec).unwrap();
    assert_eq!(pieces.len(), 2);
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    assert!((pieces[0].figures.x_mm[0] - lo[0]).abs() < 0.01 && (pieces[1].figures.x_mm[1] - hi[0]).abs() < 0.01);
    assert!((pieces[0].figures.x_mm[1] - pieces[1].figures.x_mm[0]).abs() < 1e-6);
    for p in &pieces {
        assert!(p.mesh.open_edges().is_empty());
        assert!(apart(&p.mesh) > 0.005, "{}", apart(&p.mesh));
        let [a, b, h] = p.figures.size_mm;
        assert!(a.max(b) <= BED[0] && a.min(b) <= BED[1] && h < 12.0, "{a} {b} {h}");
        // what lies on the bed is as large as the strip's plan, and the thinnest place is the base
        let flat: f64 = (0..p.mesh.triangles.len())
            .map(|t| p.mesh.corners(t))
            .filter(|c| c.iter().all(|q| q.z < 1e-6))
            .map(|[a, b, c]| (b - a).cross(&(c - a)).norm() / 2.0)
            .sum();
        let strip = spec.strip_mm * (a - 2.0 * spec.strip_mm + b);
        assert!(flat > 0.8 * strip && flat < 2.0 * strip, "{flat} {strip}");
        let thin = p.mesh.points.iter().map(|q| q.z).filter(|z| *z > 1e-6).fold(f64::INFINITY, f64::min);
        assert!((thin - spec.base_mm).abs() < 0.05, "{thin}");
        assert!(p.figures.print_estimate_min < 15.0, "{}", p.figures.print_estimate_min);
    }
}
/// Not split, the face's side of the strip turned back by a rigid motion lies on the face: the distances between four far
/// corners are those on the mating face, where they lie in plan at known places.
#[test]
fn the_strip_keeps_the_mating_face() {
    let (deck, mating) = board();
    let spec = FitCheckSpec { ribs: false, ..FitCheckSpec::default() };
    let [piece] = make_fit_check(&deck, Some(&mating), &[], &spec).unwrap().try_into().unwrap();
    // the board is symmetric across: the face's farthest points apart are those of the footprint
    let wide = |points: &[Point3<f64>]| {
        let mut most = 0.0_f64;
        for (i, a) in points.iter().enumerate() {
            for b in &points[..i] {
                most = most.max((a - b).norm());
            }
        }
        most
    };
    let on_face: Vec<Point3<f64>> = (mating.footprint.outer_polygon.points.iter())
        .map(|p| Point3::new(p[0], p[1], mating.face.at(p[0], p[1])))
        .collect();
    let made: Vec<Point3<f64>> = piece.mesh.points.iter().filter(|p| p.z > 1e-6).copied().collect();
    assert!((wide(&made) - wide(&on_face)).abs() < 0.02, "{} {}", wide(&made), wide(&on_face));
    // the side that meets the deck looks up from the bed
    let up: f64 = (0..piece.mesh.triangles.len())
        .map(|t| piece.mesh.corners(t))
        .filter(|c| c.iter().all(|q| q.z > 1e-6))
        .map(|[a, b, c]| (b - a).cross(&(c - a)).dot(&Vector3::z()) / 2.0)
        .sum();
    assert!(up > 0.9 * spec.strip_mm * (2.0 * 300.0 + 2.0 * 150.0), "{up}");
}
/// A rib is a band of constant height over its section, less its notches; its highest edge lies a sagitta higher than its
/// lowest, both at the rails.
#[test]
fn ribs_carry_the_section() {
    let (deck, _) = board();
    let spec = FitCheckSpec::default();
    let stations = [-100.0, 0.0, 100.0, 4000.0];
    let pieces = make_fit_check(&deck, None, &stations, &spec).unwrap();
    assert_eq!(
        pieces.iter().map(|p| p.figures.name.as_str()).collect::<Vec<_>>(),
        ["fit-rib-1", "fit-rib-2", "fit-rib-3"]
    );
    for (k, p) in pieces.iter().enumerate() {
        assert!(p.mesh.open_edges().is_empty());
        let [y0, y1] = p.figures.y_mm;
        let half = (y1 - y0) / 2.0;
        // 6 mm high; a notch is a triangle of 2 x 2 mm
        let want = 2.0 * half * 6.0 - (k + 1) as f64 * 2.0;
        assert!((p.figures.size_mm[1] - (6.0 + half * half / 1800.0)).abs() < 0.05, "{}", p.figures.size_mm[1]);
        assert!(p.figures.print_estimate_min < 15.0, "{}", p.figures.print_estimate_min);
        assert!(
            (p.figures.volume_mm3 / spec.rib_mm / want - 1.0).abs() < 2e-4,
            "{} {want}",
            p.figures.volume_mm3 / 3.0
        );
        let widest = |z: f64| p.mesh.points.iter().filter(|q| (q.z - z).abs() < 1e-9).count();
        assert_eq!(widest(0.0), widest(spec.rib_mm));
    }
    let small = FitCheckSpec { bed_mm: Some([120.0, 120.0]), ..spec };
    let split = make_fit_check(&deck, None, &[0.0], &small).unwrap();
    assert_eq!(split.len(), 2);
    assert!(split.iter().all(|p| p.figures.size_mm[0] < 120.0));
}
#[test]
fn what_cannot_be_made_is_refused() {
    let (deck, mating) = board();
    let tiny = FitCheckSpec { bed_mm: Some([8.0, 8.0]), ..FitCheckSpec::default() };
    assert!(make_fit_check(&deck, Some(&mating), &[], &tiny).unwrap_err().message().contains("12 x 12"));
    let wide = FitCheckSpec { strip_mm: 150.0, ..FitCheckSpec::default() };
    assert!(make_fit_check(&deck, Some(&mating), &[], &wide).unwrap_err().message().contains("150.0 mm"));
}
