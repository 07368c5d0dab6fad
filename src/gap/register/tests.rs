//! Planted poses.
use super::seat::moved;
use super::*;
use crate::deck::{Deck, make_deck};
use crate::gap::{PartTape, gap_map, register_scan};
use crate::geom::{bounds, closed_fit, plan, trim};
use crate::mating::{EnclosureSpec, make_mating};
use crate::num::Knots;
use nalgebra::{Rotation3, Vector3};

/// A board 500 x 220 mm: hollow across (9 mm), arched along, and higher at the nose when `nose_mm` is not 0.
fn deck(nose_mm: f64) -> Deck {
    let (x, y) = (Knots::uniform(3, 8, -270.0, 270.0), Knots::uniform(3, 8, -125.0, 125.0));
    let (gx, gy) = (x.greville(), y.greville());
    let z = |x: f64, y: f64| -9.0 * (y / 110.0).powi(2) - 5.0 * (x / 250.0).powi(2) + nose_mm * (x / 250.0).powi(3);
    // control heights of a spline near the formula: any smooth deck will do
    let c = gx.iter().flat_map(|&a| gy.iter().map(move |&b| (a, b))).map(|(a, b)| z(a, b)).collect();
    let z = TensorSpline::new(x, y, c).unwrap();
    let outline = trim::polygon(&plan::rectangle([0.0, 0.0], [500.0, 220.0], 60.0), 0.01);
    make_deck(&z, &closed_fit(&outline, 240).unwrap(), 12.0).unwrap().value
}
fn mating(deck: &Deck) -> MatingFace {
    let spec = EnclosureSpec {
        length_mm: 320.0,
        offset_mm: 0.0,
        inset_mm: 14.0,
        flange_mm: 18.0,
        corner_radius_mm: None,
        gasket_mm: 3.0,
        squeeze_ratio: 0.3,
        plan: crate::mating::PlanSpec::Rail,
    };
    make_mating(deck, &spec).unwrap().value
}
/// The mating face with a floor 40 mm behind it, on walls of the footprint's inner border.
fn tray(m: &MatingFace) -> TriMesh {
    let mut mesh = m.flange_face().mesh(0.02).unwrap();
    let inner = m.footprint.inner_polygon.resampled(120);
    let first = mesh.points.len() as u32;
    for p in &inner.points {
        let z = m.face.at(p[0], p[1]);
        mesh.points.extend([Point3::new(p[0], p[1], z), Point3::new(p[0], p[1], 40.0)]);
    }
    let middle = mesh.points.len() as u32;
    mesh.points.push(Point3::new(0.0, 0.0, 40.0));
    for i in 0..120 {
        let (a, b) = (first + 2 * i, first + 2 * ((i + 1) % 120));
        mesh.triangles.extend([[a, b, a + 1], [b, b + 1, a + 1], [a + 1, b + 1, middle]]);
    }
    mesh
}
fn thrown(mesh: &TriMesh, angles: [f64; 3], shift: [f64; 3], scale: f64) -> (TriMesh, Similarity) {
    let turn = Rotation3::from_euler_angles(angles[0], angles[1], angles[2]);
    let pose = Similarity { rotation: *turn.matrix(), scale, translation: Vector3::from(shift) };
    (moved(mesh, &pose), pose.inverse())
}
/// Greatest distance of the mesh's points from where they belong, mm.
fn miss(mesh: &TriMesh, there: &TriMesh, pose: &Similarity) -> f64 {
    mesh.points.iter().zip(&there.points).map(|(p, q)| (pose.apply(q) - p).norm()).fold(0.0, f64::max)
}

/// A mesh turned by 5 degrees, drawn 8 mm aside, end for end or upside down was measured as it lay, without a word; one that lies where it
/// was drawn, or a clearance beside it, is told nothing.
#[test]
fn a_mesh_beside_its_place_is_told_where_it_fits() {
    let deck = deck(6.0);
    let m = mating(&deck);
    let mesh = tray(&m);
    let lies = |angles: [f64; 3], shift: [f64; 3]| {
        as_it_lies(&thrown(&mesh, angles, shift, 1.0).0, &deck.underside, &deck.outline_polygon(), &m)
    };
    assert_eq!(lies([0.0; 3], [0.0; 3]), Lies::There);
    assert_eq!(lies([0.0; 3], [1.0, 0.5, 0.0]), Lies::There);
    let aside = |angle: f64, shift: [f64; 3]| match lies([0.0, 0.0, angle], shift) {
        Lies::Aside(b) => b,
        other => panic!("{other:?}"),
    };
    let turned = aside(5f64.to_radians(), [0.0; 3]);
    assert!((turned.turn_deg + 5.0).abs() < 0.2, "{turned:?}");
    let moved = aside(0.0, [0.0, 8.0, 0.0]);
    assert!(moved.moved_mm[0].abs() < 1.0 && (moved.moved_mm[1] + 8.0).abs() < 0.5, "{moved:?}");
    assert!(moved.turn_deg.abs() < 0.2, "{moved:?}");
    let ends = aside(PI, [0.0; 3]);
    assert!((ends.turn_deg.abs() - 180.0).abs() < 0.2 && ends.miss_mm[1] < 0.2 * ends.miss_mm[0], "{ends:?}");
    let over = lies([PI, 0.0, 0.0], [0.0, 0.0, 38.0]);
    assert!(matches!(over, Lies::Elsewhere { miss_mm } if miss_mm > POOR_MM), "{over:?}");
}
/// On a board alike at both ends a box that fits as well turned is not told to be turned.
#[test]
fn a_box_alike_at_both_ends_is_not_turned() {
    let deck = deck(0.0);
    let m = mating(&deck);
    let (there, _) = thrown(&tray(&m), [0.0; 3], [0.0, 8.0, 0.0], 1.0);
    let Lies::Aside(b) = as_it_lies(&there, &deck.underside, &deck.outline_polygon(), &m) else { panic!("not told") };
    assert!(b.turn_deg.abs() < 1.0 && (b.moved_mm[1] + 8.0).abs() < 0.5, "{b:?}");
}
#[test]
fn any_pose_comes_back_on_a_board_whose_ends_differ() {
    let deck = deck(6.0);
    let m = mating(&deck);
    let mesh = tray(&m);
    for (angles, shift) in [([3.0, 0.2, 1.4], [300.0, -80.0, 900.0]), ([0.6, -1.2, -2.5], [-5.0, 40.0, -200.0])] {
        let (there, _) = thrown(&mesh, angles, shift, 1.0);
        let found = register(&there, &deck.underside, &deck.outline_polygon(), &m).unwrap();
        let r = &found.value.report;
        assert!(miss(&mesh, &there, &found.value.pose) < 0.05, "{} {r:?}", miss(&mesh, &there, &found.value.pose));
        assert!(r.residual_rms_mm < 0.02 && r.border_rms_mm.unwrap() < 0.1 && r.alternative.is_none(), "{r:?}");
        assert!(found.warnings.is_empty(), "{:?}", found.warnings);
        assert!(r.freedoms.iter().all(|f| f.standard_error_mm < 0.05), "{r:?}");
        // off the deck is held, along the board hardly: the arch is 5 mm over half a board
        assert!(!r.freedoms[2].weak && r.freedoms[0].weak, "{r:?}");
    }
}
/// On a board alike at both ends a half turn fits as well, and that is said, with its residual.
#[test]
fn a_symmetric_rim_is_said_to_be_ambiguous() {
    let deck = deck(0.0);
    let m = mating(&deck);
    let (there, _) = thrown(&tray(&m), [0.4, 0.3, 2.0], [10.0, 20.0, 30.0], 1.0);
    let found = register(&there, &deck.underside, &deck.outline_polygon(), &m).unwrap();
    let other = found.value.report.alternative.as_ref().unwrap();
    assert!((other.turn_deg - 180.0).abs() < 0.5 && other.residual_rms_mm < 0.05, "{other:?}");
    assert!(found.warnings.iter().any(|w| w.message.contains("180 degrees")), "{:?}", found.warnings);
}
#[test]
fn flipped_facets_holes_and_a_wrong_size_are_told() {
    let deck = deck(6.0);
    let m = mating(&deck);
    let mesh = tray(&m);
    let (mut there, _) = thrown(&mesh, [1.0, 0.5, 0.2], [1.0, 2.0, 3.0], 1.0);
    there.triangles.iter_mut().step_by(3).for_each(|t| t.swap(0, 1));
    let holed = there.triangles.len() / 40;
    for k in 0..holed {
        there.triangles.swap_remove((37 * k) % (there.triangles.len() - 1));
    }
    let found = register(&there, &deck.underside, &deck.outline_polygon(), &m).unwrap().value;
    assert!(miss(&mesh, &there, &found.pose) < 0.3, "{}", miss(&mesh, &there, &found.pose));
    let (inches, _) = thrown(&mesh, [0.0; 3], [0.0; 3], 1.0 / 25.4);
    let e = register(&inches, &deck.underside, &deck.outline_polygon(), &m).unwrap_err();
    assert!(e.message().contains("fits the footprint") && e.hint_text().is_some_and(|h| h.contains("mm")), "{e}");
}
/// The printed part as a cloud: noise of 0.3 mm, a table under it, a piece of rim 25 mm long unseen, units of 1/250 mm. Laid on its
/// rim it shows the back of a flange 5 mm thick instead of the rim's face.
fn scanned(rim_down: bool) {
    const FLANGE_MM: f64 = 5.0;
    let deck = deck(6.0);
    let m = mating(&deck);
    let mesh = tray(&m);
    // a fixed sequence with even spread (R. Schretter's golden numbers, from memory) for places, and for noise its sum of twelve
    let unit = |i: usize, k: f64| (i as f64 * k + 0.5).fract();
    let flange = m.flange_face().mesh(0.02).unwrap().triangles.len();
    let mut cloud = Vec::new();
    let (mut n, mut area) = (0, 0.0);
    for t in 0..mesh.triangles.len() {
        let [a, b, c] = mesh.corners(t);
        let normal = (b - a).cross(&(c - a));
        // evenly, whatever the triangles' size
        area += normal.norm();
        while (n as f64) < 0.6 * area {
            n += 1;
            let (u, v) = (unit(n, 0.754_877_666_2), unit(n, 0.569_840_290_9));
            let (u, v) = if u + v > 1.0 { (1.0 - u, 1.0 - v) } else { (u, v) };
            let noise = 0.3 * ((0..12).map(|k| unit(n * 12 + k, 0.618_033_988_7 + 0.01 * k as f64)).sum::<f64>() - 6.0);
            let mut p = a + (b - a) * u + (c - a) * v + normal.normalize() * noise;
            if rim_down && t < flange {
                p += FLANGE_MM * normal.normalize() * normal.z.signum();
            }
            if !(p.y > 70.0 && (p.x - 60.0).abs() < 12.5) {
                cloud.push(p);
            }
        }
    }
    let lowest = mesh.points.iter().map(|p| p.z).fold(f64::INFINITY, f64::min);
    let table = if rim_down { lowest } else { 41.0 };
    cloud.extend(
        (0..40_000)
            .map(|i| Point3::new(900.0 * unit(i, 0.754_877_7) - 450.0, 700.0 * unit(i, 0.569_840_3) - 350.0, table)),
    );
    let (lo, hi) = bounds(&m.footprint.outer_polygon.points);
    let tape = PartTape {
        length_mm: Some(hi[0] - lo[0]),
        width_mm: None,
        tolerance_mm: 0.5,
        flange_mm: FLANGE_MM,
        rim_down: None,
    };
    let points = TriMesh { points: cloud, triangles: vec![] };
    let (there, back) = thrown(&points, [2.0, 0.1, 0.7], [1.0, 2.0, 3.0], 1.0 / 250.0);
    let outline = deck.outline_polygon();
    let (found, part, placed) = register_scan(&there.points, &tape, &deck.underside, &outline, &m).unwrap().value;
    let off = (part.mm_per_unit / back.scale - 1.0).abs();
    assert!(part.relative_uncertainty < 0.003 && off < part.relative_uncertainty, "{off} {part:?}");
    assert_eq!(part.rim_down, rim_down);
    assert!(turn_between(&found.pose, &back).to_degrees() < 0.3, "{:?}", found.report);
    let options = crate::gap::GapOptions::for_spec(None);
    let map = gap_map(&placed, &deck.underside, &outline, &options).unwrap().value;
    let rim = &map.rims[0];
    assert!(rim.closed && rim.missing_ratio > 0.01 && rim.missing_ratio < 0.06, "{}", rim.missing_ratio);
    // no facet leans over from the rim's face to the wall at its foot: three times the scan's noise off are strays
    let far = map.samples.iter().filter(|s| (s.gap_mm - m.standoff_mm).abs() > 0.9).count();
    assert!(far * 100 < map.samples.len(), "{far} of {}", map.samples.len());
    let worst = rim.stations.iter().map(|s| (s.gap_mm - m.standoff_mm).abs()).fold(0.0, f64::max);
    assert!(worst < 0.5 && (map.summary.mean_mm - m.standoff_mm).abs() < 0.1, "{worst} {:?}", map.summary);
    let none = PartTape { length_mm: None, ..tape };
    assert!(
        register_scan(&there.points, &none, &deck.underside, &outline, &m).unwrap_err().message().contains("no scale")
    );
}
#[test]
fn a_scanned_part_comes_to_size_and_place() {
    scanned(false);
}
#[test]
fn a_part_scanned_on_its_rim_is_told_and_measured_through_its_flange() {
    scanned(true);
}
