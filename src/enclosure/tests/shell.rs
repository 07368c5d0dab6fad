//! The body itself: volume, rim, screws, clearances.
use super::*;

/// Under a flat deck the body is prisms: flange ring, wall ring, floor plate, less the holes (elementary geometry).
#[test]
fn the_volume_under_a_flat_deck_is_that_of_its_prisms() {
    let mut spec = body();
    spec.openings.push(OpeningSpec {
        name: "switch".into(),
        at: [20.0, 5.0],
        shape: OpeningShape::Circle(19.0),
        through: FLOOR,
    });
    let e = made(f64::INFINITY, &spec).unwrap().value;
    assert_eq!(e.solid().faults(), Vec::<String>::new());
    let m = e.mesh();
    assert!(m.open_edges().is_empty());
    let (rim, wall, inner) = (area(&e.shell.rim), area(&e.shell.wall_out[0]), area(&e.shell.wall_in[0]));
    let holes = e.screws.len() as f64 * std::f64::consts::PI * 2.25 * 2.25;
    let standoff = 2.1;
    let want = 5.0 * (rim - wall - holes)
        + (40.0 - standoff) * (wall - inner)
        + 4.0 * (wall - std::f64::consts::PI * 9.5 * 9.5);
    assert!((m.volume() / want - 1.0).abs() < 2e-4, "{} {want}", m.volume());
    // the wall is as thick as asked, and the flange is counted without it
    assert!(
        (wall - inner - 3.5 * (trim::polygon(&e.shell.wall_out[0], 1e-3).perimeter() - std::f64::consts::PI * 3.5))
            .abs()
            < 1.0
    );
}
/// Under a dished deck: sound, closed, flange as thick as asked along the normal, depth kept clear over the middle.
#[test]
fn the_body_follows_a_dished_deck() {
    let r = 500.0;
    for follow in [false, true] {
        let mut spec = body();
        spec.shell.follow = follow;
        spec.shell.draft = 3.0_f64.to_radians();
        spec.screws.slip_mm = 2.0;
        let e = made(r, &spec).unwrap().value;
        assert_eq!(e.solid().faults(), Vec::<String>::new(), "{follow}");
        assert!(e.mesh().open_edges().is_empty());
        let s = &e.shell;
        // parallels of a cylinder are cylinders (exact)
        let arc = |d: f64, y: f64| ((r + d) * (r + d) - y * y).sqrt() - r;
        for y in [-70.0, 0.0, 55.0] {
            assert!((s.seat.at(0.0, y) - arc(2.1, y)).abs() < 0.01);
            assert!((s.back.at(0.0, y) - arc(7.1, y)).abs() < 0.01);
            let floor = if follow { arc(40.0, y) } else { 40.0 };
            assert!((s.floor_in.at(0.0, y) - floor).abs() < 0.01, "{y}");
        }
        assert!(e.screws.iter().any(|s| s.slot_mm > 1.5), "slots are longest at the ends");
    }
}
/// The loop closed: the body's own mesh, measured against the deck by the gap map, which knows nothing of its making.
#[test]
fn the_rims_gap_is_the_squeezed_gasket() {
    let d = deck(500.0);
    let e = made(500.0, &body()).unwrap().value;
    let options = crate::gap::GapOptions { gasket_mm: 3.0, sample_mm: 2.0, ..crate::gap::GapOptions::for_spec(None) };
    let map = crate::gap::gap_map(e.mesh(), &d.underside, &d.outline_polygon(), &options).unwrap().value;
    // a cell cut by a border may hold no sample of the face but one of the flange's back, 5 mm on
    let (face, back): (Vec<f64>, Vec<f64>) = map.samples.iter().map(|s| s.gap_mm).partition(|g| (g - 7.1).abs() > 0.1);
    assert!(face.iter().all(|g| (g - 2.1).abs() < 0.05), "{:?}", map.summary);
    assert!(back.len() <= face.len() / 1000, "{}", back.len());
    let s = &map.summary;
    assert!(s.samples > 3000, "{s:?}");
}
/// The list's places are the places of holes in the solid: no material at a screw, material beside it.
#[test]
fn the_list_of_screws_agrees_with_the_solid() {
    let e = made(500.0, &body()).unwrap().value;
    let m = e.mesh();
    // a line along z through the flange crosses it twice where there is material
    let crossings = |p: [f64; 2]| {
        (0..m.triangles.len())
            .filter(|&t| {
                let c = m.corners(t);
                let side =
                    |a: usize, b: usize| (c[b].x - c[a].x) * (p[1] - c[a].y) - (c[b].y - c[a].y) * (p[0] - c[a].x);
                let s = [side(0, 1), side(1, 2), side(2, 0)];
                s.iter().all(|v| *v > 0.0) || s.iter().all(|v| *v < 0.0)
            })
            .count()
    };
    assert!(e.screws.len() >= 8 && e.screws.iter().filter(|s| s.corner).count() == 4);
    for s in &e.screws {
        assert_eq!(s.hole_mm, 4.5);
        for k in 0..8 {
            let (sin, cos) = (f64::from(k) + 0.1).sin_cos();
            let at = |r: f64| [s.at_mm[0] + r * cos, s.at_mm[1] + r * sin];
            assert_eq!(crossings(at(2.15)), 0, "{s:?}");
            assert_eq!(crossings(at(2.35)), 2, "{s:?}");
        }
        // normal of a cylinder of radius 500 at y leans by asin(y / 500)
        assert!((s.tilt_deg - (s.at_mm[1] / 500.0).abs().asin().to_degrees()).abs() < 0.05, "{s:?}");
    }
    let plan = trim::polygon(&e.shell.rim, 0.01);
    assert!(e.screws.iter().all(|s| (plan.signed_distance(s.at_mm) + 9.0).abs() < 0.1), "in the flange's middle");
}
#[test]
fn what_cannot_be_is_refused_with_its_cure() {
    let refused = |f: &dyn Fn(&mut BodySpec)| {
        let mut spec = body();
        f(&mut spec);
        let e = made(500.0, &spec).unwrap_err();
        assert!(e.hint_text().is_some());
        e.to_string()
    };
    let through = refused(&|s| s.screws.insert_mm = Some(10.5));
    assert!(through.contains("leaves 1.5 mm of a deck of 12.0 mm") && through.contains("at most 10.0 mm"), "{through}");
    assert!(refused(&|s| s.depth = Depth::Clear(3.0)).contains("make enclosure.depth at least"));
    assert!(refused(&|s| s.depth = Depth::Parts).contains("no [[part]]"));
    assert!(refused(&|s| s.shell.draft = 0.4).contains("folds at a corner"));
    assert!(refused(&|s| s.screws.edge_mm = Some(3.0)).contains("no room for a 4.5 mm hole"));
    let hole = |at: [f64; 2]| OpeningSpec {
        name: "port".into(),
        at,
        shape: OpeningShape::Rectangle([20.0, 12.0], 2.0),
        through: FLOOR,
    };
    assert!(refused(&|s| s.openings.push(hole([140.0, 0.0]))).contains("near the wall"));
    assert!(refused(&|s| s.openings.extend([hole([0.0, 0.0]), hole([15.0, 0.0])])).contains("apart"));
}
/// Flat deck, axle 60 mm + riser 6 mm below it, wheels of 90 mm: the ground is 111 mm down; the floor's outside is at 44 mm, so
/// 67 mm stay, 59 with a sag of 8; leaning by a: 45 - (44 - 66) cos a - y sin a at the widest place of the floor.
#[test]
fn clearances_are_those_of_a_drawing() {
    let mut spec = body();
    let lean = 20.0_f64.to_radians();
    let trucks = TruckSpec {
        wheelbase_mm: 460.0,
        offset_mm: 10.0,
        wheel_mm: 90.0,
        wheel_width_mm: 50.0,
        track_mm: 180.0,
        axle_height_mm: 60.0,
        riser_mm: 6.0,
        lean,
    };
    spec.trucks = Some(trucks);
    let named = |e: &Enclosure, n: &str| e.checks.iter().find(|c| c.name.contains(n)).unwrap().clone();
    let e = made(f64::INFINITY, &spec).unwrap().value;
    assert!((named(&e, "standing").have_mm - 67.0).abs() < 0.01, "{:?}", e.checks);
    let (_, hi) = trim::polygon(&e.shell.wall_out[1], 0.01).bounds();
    let floor = 45.0 - (44.0 - 66.0) * lean.cos() - hi[1] * lean.sin();
    let flange = 45.0 - (7.1 - 66.0) * lean.cos() - (WIDTH / 2.0 - 14.0) * lean.sin();
    assert!((named(&e, "full lean").have_mm - floor.min(flange)).abs() < 0.1, "{:?}", e.checks);
    // baseplate ends 230 - 41.75 from the middle, the flange 160
    assert!((named(&e, "baseplates").have_mm - (230.0 - 41.75 - 160.0)).abs() < 0.2, "{:?}", e.checks);
    assert!((named(&e, "rail").have_mm - 14.0).abs() < 0.2);
    assert!((named(&e, "washer").have_mm - (9.0 - 4.5)).abs() < 0.2);
    // a steered wheel comes nearer than one that runs straight: 230 - 45 - 160
    let bite = named(&e, "wheels");
    assert!(bite.have_mm < 25.0 && bite.have_mm > -60.0, "{bite:?}");
    spec.sag_mm = 8.0;
    spec.trucks = Some(TruckSpec { axle_height_mm: 24.0, ..trucks });
    let low = made(f64::INFINITY, &spec).unwrap();
    let standing = named(&low.value, "standing");
    assert!(
        !standing.met && (standing.have_mm - 23.0).abs() < 0.05 && standing.cure.contains("2.0 mm"),
        "{standing:?}"
    );
    assert!(low.warnings.iter().any(|w| w.message.contains("to ground, rider standing: 23.0 mm")));
}
/// What is met asks for no change, and no cure prints a negative length.
#[test]
fn what_is_met_names_no_cure() {
    let e = made(500.0, &body()).unwrap().value;
    assert!(!e.checks.is_empty());
    for c in &e.checks {
        assert_eq!(c.met, c.cure == "nothing to change", "{c:?}");
        assert!(!c.cure.contains('-'), "{c:?}");
    }
}
