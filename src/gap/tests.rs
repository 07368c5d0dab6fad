//! Rims over decks by formula.
use super::*;
use crate::num::{Knots, interpolate};
use nalgebra::{DMatrix, Point3};

fn cylinder(r: f64) -> TensorSpline {
    let (x, y) = (Knots::uniform(3, 4, -200.0, 200.0), Knots::uniform(3, 40, -120.0, 120.0));
    let gy = y.greville();
    let nx = x.len();
    let v = DMatrix::from_fn(gy.len(), nx, |j, _| (r * r - gy[j] * gy[j]).sqrt() - r);
    let c = interpolate(&y, &v).unwrap();
    let c = (0..nx).flat_map(|i| (0..gy.len()).map(move |j| (i, j))).map(|(i, j)| c[(j, i)]).collect();
    TensorSpline::new(x, y, c).unwrap()
}
fn strip(f: impl Fn(f64) -> (f64, f64)) -> TriMesh {
    let mut m = TriMesh::default();
    for j in 0..=180 {
        let (y, z) = f(-90.0 + f64::from(j));
        m.points.push(Point3::new(-50.0, y, z));
        m.points.push(Point3::new(50.0, y, z));
    }
    for j in 0..180 {
        m.triangles.push([2 * j, 2 * j + 1, 2 * j + 2]);
        m.triangles.push([2 * j + 1, 2 * j + 3, 2 * j + 2]);
    }
    m
}
fn plan() -> Polygon {
    Polygon { points: vec![[-190.0, -110.0], [190.0, -110.0], [190.0, 110.0], [-190.0, 110.0]] }
}
fn options() -> GapOptions {
    GapOptions { gasket_mm: 3.0, ..GapOptions::for_spec(None) }
}

/// A cylinder of radius R + g is everywhere g from one of radius R (differential geometry, exact).
#[test]
fn offset_cylinder_has_an_even_gap() {
    let (r, g) = (325.25, 2.1);
    let m = strip(|y| {
        let a = y / r;
        ((r + g) * a.sin(), (r + g) * a.cos() - r)
    });
    let map = gap_map(&m, &cylinder(r), &plan(), &options()).unwrap().value;
    assert!((map.summary.least_mm - g).abs() < 2e-3 && (map.summary.greatest_mm - g).abs() < 2e-3, "{:?}", map.summary);
    let mut flipped = m;
    for t in flipped.triangles.iter_mut().step_by(2) {
        t.swap(0, 1);
    }
    let again = gap_map(&flipped, &cylinder(r), &plan(), &options()).unwrap().value;
    assert!((again.summary.mean_mm - map.summary.mean_mm).abs() < 1e-3);
}
/// Arc through a chord W with sagitta s: R = (W^2 / 4 + s^2) / (2 s); W = 180, s = 12.7 gives 325.25 (derived).
#[test]
fn flat_rim_over_an_arc() {
    let m = strip(|y| (y, 0.0));
    let map = gap_map(&m, &cylinder(325.25), &plan(), &options()).unwrap().value;
    // along the normal the gap is the distance from the axis less R
    for p in &map.samples {
        let want = 325.25_f64.hypot(p.at[1]) - 325.25;
        assert!((p.gap_mm - want).abs() < 2e-3, "{p:?} {want}");
    }
    assert!(map.summary.greatest_mm > 11.5 && map.summary.greatest_mm < 12.7, "{:?}", map.summary);
    assert!(map.summary.least_mm.abs() < 1e-2 && map.summary.clash_ratio < 0.02);
    assert!(map.summary.open_ratio > 0.3);
}
#[test]
fn clash_is_negative_and_a_floor_is_no_rim() {
    let mut m = strip(|y| (y, -1.0 - y * y / 650.0));
    let behind = strip(|y| (y, 30.0));
    let n = m.points.len() as u32;
    m.points.extend(behind.points.iter().map(|p| Point3::new(p.x + 110.0, p.y, p.z)));
    m.triangles.extend(behind.triangles.iter().map(|t| t.map(|i| i + n)));
    let map = gap_map(&m, &cylinder(325.25), &plan(), &options()).unwrap().value;
    assert!(map.summary.greatest_mm < 0.0 && map.summary.clash_ratio == 1.0, "{:?}", map.summary);
}
#[test]
fn nothing_near_is_an_error() {
    let m = strip(|y| (y, 500.0));
    assert!(gap_map(&m, &cylinder(325.25), &plan(), &options()).unwrap_err().message().contains("80 mm"));
    assert!(gap_map(&TriMesh::default(), &cylinder(325.25), &plan(), &options()).is_err());
}
/// The ring as a mesh in inches: 6 mm wide and without a rim that a strip would fit on.
#[test]
fn a_mesh_in_inches_is_told() {
    let mut m = ring(325.25, |_| 2.0);
    m.points.iter_mut().for_each(|p| *p /= 25.4);
    let map = gap_map(&m, &cylinder(325.25), &plan(), &options()).unwrap();
    assert!(map.value.rims.is_empty() && map.value.summary.samples > 10, "{:?}", map.value.summary);
    assert!(
        map.warnings.iter().any(|w| w.message.contains("too small") && w.hint.contains("25.4")),
        "{:?}",
        map.warnings
    );
}
/// A ring between two circles, `g` above a cylinder of radius `r`; planted: a middle line of 2 pi 70 mm, 20 mm wide.
fn ring(r: f64, gap: impl Fn(f64) -> f64) -> TriMesh {
    let mut m = TriMesh::default();
    let n = 720;
    for i in 0..n {
        let a = f64::from(i) / f64::from(n) * std::f64::consts::TAU;
        // six radii: the chord across a wider facet would lie 0.1 mm inside the cylinder
        for q in [60.0, 64.0, 68.0, 72.0, 76.0, 80.0] {
            let (x, y) = (q * a.cos(), q * a.sin());
            let t = (y / r).asin();
            let g = gap(a);
            m.points.push(Point3::new(x, (r + g) * t.sin(), (r + g) * t.cos() - r));
        }
    }
    for i in 0..n {
        let (a, b) = (6 * i as u32, 6 * ((i + 1) % n) as u32);
        for k in 0..5 {
            m.triangles.push([a + k, a + k + 1, b + k]);
            m.triangles.push([a + k + 1, b + k + 1, b + k]);
        }
    }
    m
}
#[test]
fn a_planted_wave_comes_back_along_the_rim() {
    let r = 325.25;
    let wave = |a: f64| 2.0 + (3.0 * a).cos();
    let map = gap_map(&ring(r, wave), &cylinder(r), &plan(), &options()).unwrap();
    assert!(map.warnings.is_empty(), "{:?}", map.warnings);
    let rim = &map.value.rims[0];
    assert_eq!((map.value.rims.len(), rim.closed), (1, true));
    let want = std::f64::consts::TAU * 70.0;
    assert!((rim.length_mm / want - 1.0).abs() < 0.02 && (rim.width_mm - 20.0).abs() < 1.0, "{rim:?}");
    for s in &rim.stations {
        let a = s.y_mm.atan2(s.x_mm);
        // the wave climbs 3 / 70 a mm: within its change over a station of 2 mm
        assert!((s.gap_mm - wave(a)).abs() < 0.09, "{s:?} {}", wave(a));
    }
    assert!(rim.stations[0].x_mm > 69.0 && rim.stations[30].y_mm > 0.0, "from the nose's side, counter-clockwise");
}
#[test]
fn holes_and_double_walls_are_borne_and_posts_told_apart() {
    let r = 325.25;
    let mut m = ring(r, |_| 2.0);
    for k in [100, 101, 102, 103] {
        m.triangles.swap_remove(k);
    }
    let (n, behind) = (m.points.len() as u32, ring(r, |_| 4.5));
    m.points.extend(&behind.points);
    m.triangles.extend(behind.triangles.iter().map(|t| [t[1] + n, t[0] + n, t[2] + n]));
    let post = m.points.len() as u32;
    m.points.extend([[0.0, 0.0, -0.5], [10.0, 0.0, -0.5], [0.0, 10.0, -0.5]].map(Point3::from));
    m.triangles.push([post, post + 1, post + 2]);
    let map = gap_map(&m, &cylinder(r), &plan(), &options()).unwrap();
    assert!((map.value.summary.p95_mm - 2.0).abs() < 0.01, "{:?}", map.value.summary);
    assert_eq!((map.value.other.count, map.value.rims.len()), (1, 1));
    assert!(map.warnings.iter().any(|w| w.message.contains("cuts")), "{:?}", map.warnings);
}
/// A flange whose outer wall leans out shows its back side, 5 mm behind, past its edge: that is no gap of the rim.
#[test]
fn the_back_of_a_leaning_flange_is_no_rim() {
    let r = 325.25;
    let front = ring(r, |_| 2.0);
    let mut m = front.clone();
    let n = m.points.len() as u32;
    m.points.extend(front.points.iter().map(|p| {
        let k = 1.0 + 1.3 / p.x.hypot(p.y);
        Point3::new(k * p.x, k * p.y, p.z + 5.0)
    }));
    m.triangles.extend(front.triangles.iter().map(|t| [t[1] + n, t[0] + n, t[2] + n]));
    let map = gap_map(&m, &cylinder(r), &plan(), &options()).unwrap().value;
    assert!((map.summary.greatest_mm - 2.0).abs() < 0.05, "{:?}", map.summary);
    assert!(map.summary.samples > 8500, "the front is all there: {}", map.summary.samples);
}
/// A groove 4 mm wide and 2 mm deep that holds a cord is part of the rim.
#[test]
fn a_groove_stays() {
    let r = 325.25;
    let mut m = ring(r, |_| 2.0);
    // the ring's third and fourth radius, 68 and 72 mm, sunk with steep sides
    for p in m.points.iter_mut().filter(|p| (67.0..73.0).contains(&p.x.hypot(p.y))) {
        p.z += 2.0;
    }
    let map = gap_map(&m, &cylinder(r), &plan(), &options()).unwrap().value;
    assert!((map.summary.greatest_mm - 4.0).abs() < 0.1, "{:?}", map.summary);
}
/// Growth is coefficient times length times temperature: a 400 mm rim of 60e-6 on 6e-6 over 30 K is 0.648 mm longer.
#[test]
fn a_rim_grows_past_its_deck() {
    let mut rim = gap_map(&ring(325.25, |_| 2.0), &cylinder(325.25), &plan(), &options()).unwrap().value.rims.remove(0);
    rim.stations.iter_mut().for_each(|s| s.x_mm *= 2.0 / 0.7);
    let reach = rim.stations.iter().map(|s| s.x_mm).fold(0.0, f64::max);
    let g = growth(&rim, &Growth { enclosure_per_k: 60e-6, deck_per_k: 6e-6, change_k: 30.0 });
    assert!((reach - 200.0).abs() < 3.0 && (g.length_mm - 0.648).abs() < 0.01, "{g:?} {reach}");
    assert!((g.held_strain_ratio - 54e-6 * 30.0).abs() < 1e-15 && (g.end_mm * 2.0 - g.length_mm).abs() < 1e-15);
}
