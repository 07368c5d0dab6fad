//! Openings in walls and floor, and their seal faces.
use super::*;

/// Through an upright wall 3.5 mm thick a circle and a rectangle take out area times thickness (exact on straight walls).
#[test]
fn openings_in_walls_take_out_their_area_times_the_wall() {
    let mut spec = body();
    // finer than the body's own mesh, whose chords over the corners come to some mm3
    let volume = |spec: &BodySpec| {
        let e = made(f64::INFINITY, spec).unwrap().value;
        sound(&e);
        e.solid().mesh(0.001).unwrap().volume()
    };
    let plain = volume(&spec);
    let wall = Through::Wall { above_floor_mm: 18.0, seal: None };
    for (at, shape, want) in [
        ([-160.0, 3.0], OpeningShape::Circle(12.0), std::f64::consts::PI * 36.0),
        ([20.0, 90.0], OpeningShape::Rectangle([30.0, 14.0], 0.0), 420.0),
        ([160.0, 0.0], OpeningShape::Rectangle([30.0, 14.0], 2.0), 420.0 - (4.0 - std::f64::consts::PI) * 4.0),
    ] {
        spec.openings = vec![opening(at, shape, wall)];
        let taken = plain - volume(&spec);
        assert!((taken / (3.5 * want) - 1.0).abs() < 0.01, "{taken} {}", 3.5 * want);
    }
    // leaning walls under a dish, halves that keep clear of it
    spec.shell.draft = 5.0_f64.to_radians();
    spec.openings = vec![
        opening([10.0, -90.0], OpeningShape::Circle(12.0), wall),
        opening([60.0, -90.0], OpeningShape::Circle(12.0), wall),
    ];
    spec.printer = Some(PrinterSpec { bed_mm: [220.0, 220.0, 250.0], joint: JointKind::Tongue, layers_along: false });
    let e = made(500.0, &spec).unwrap().value;
    sound(&e);
    for p in &e.print_parts {
        assert_eq!(p.solid.faults(), Vec::<String>::new());
        assert!(p.mesh.open_edges().is_empty());
    }
    let refused = |o: Vec<OpeningSpec>| {
        let mut s = body();
        s.openings = o;
        let e = made(500.0, &s).unwrap_err();
        assert!(e.hint_text().is_some());
        e.to_string()
    };
    let at = |above_floor_mm: f64, x: f64, d: f64| {
        opening([x, 90.0], OpeningShape::Circle(d), Through::Wall { above_floor_mm, seal: None })
    };
    assert!(refused(vec![at(33.0, 0.0, 12.0)]).contains("near the flange"));
    assert!(refused(vec![at(7.0, 0.0, 12.0)]).contains("near the floor"));
    assert!(refused(vec![at(18.0, 0.0, 12.0), at(18.0, 13.0, 12.0)]).contains("1.0 mm apart"));
}
/// A heat sink's seal face is flat and as deep as asked below the lowest place of the floor round it, whatever the floor's shape.
#[test]
fn a_seal_face_is_flat_on_a_floor_that_follows() {
    let mut spec = body();
    let seal = Some(SealSpec { width_mm: 6.0, depth_mm: 1.0 });
    spec.openings = vec![opening([20.0, 0.0], OpeningShape::Rectangle([40.0, 30.0], 2.0), Through::Floor { seal })];
    let mut bare = spec.clone();
    bare.openings[0].through = FLOOR;
    let [with, without] = [&spec, &bare].map(|s| sound(&made(f64::INFINITY, s).unwrap().value));
    let corners = |r: f64| (4.0 - std::f64::consts::PI) * r * r;
    let ring = (52.0 * 42.0 - corners(8.0)) - (40.0 * 30.0 - corners(2.0));
    assert!(((without - with) / ring - 1.0).abs() < 0.01, "{} {ring}", without - with);
    spec.shell.follow = true;
    let e = made(500.0, &spec).unwrap().value;
    sound(&e);
    let face = e.solid().faces.iter().find(|f| f.name == "seal face").unwrap();
    // parallel of a cylinder at 44 mm, 21 mm off its crest, and 1 mm
    let want = (544.0_f64 * 544.0 - 21.0 * 21.0).sqrt() - 500.0 - 1.0;
    assert!(face.surface.points.iter().all(|p| (p[2] - want).abs() < 0.02), "{want}");
    spec.openings[0].through = Through::Floor { seal: Some(SealSpec { width_mm: 6.0, depth_mm: 2.5 }) };
    assert!(made(500.0, &spec).unwrap_err().message().contains("of a floor of 4.0 mm"));
}
/// Wherever along a side an opening lies, the seams of the wall move out of its way; round a corner it is refused.
#[test]
fn openings_need_not_know_of_the_walls_seams() {
    let wall = Through::Wall { above_floor_mm: 18.0, seal: None };
    let mut spec = body();
    let plain = made(f64::INFINITY, &spec).unwrap().value.solid().measure().volume_mm3;
    for x in [-95.0, -80.0, 60.0, 95.0, 110.0] {
        spec.openings = vec![opening([x, -90.0], OpeningShape::Rectangle([30.0, 14.0], 0.0), wall)];
        let e = made(f64::INFINITY, &spec).unwrap_or_else(|e| panic!("{x}: {e}")).value;
        sound(&e);
        let taken = plain - e.solid().measure().volume_mm3;
        assert!((taken / (3.5 * 420.0) - 1.0).abs() < 0.01, "{x}: {taken}");
    }
    spec.openings = vec![opening([160.0, -90.0], OpeningShape::Rectangle([150.0, 14.0], 0.0), wall)];
    let e = made(f64::INFINITY, &spec).err().unwrap();
    assert!(e.message().contains("which bends there") && e.hint_text().unwrap().contains("opening.at"), "{e}");
}
/// A seal face in a wall that leans by 5 degrees is flat, leans with it and takes a ring of its depth out (straight wall: exact).
#[test]
fn a_seal_face_in_a_wall_is_flat_and_leans_with_it() {
    let mut spec = body();
    spec.shell.draft = 5.0_f64.to_radians();
    let seal = Some(SealSpec { width_mm: 5.0, depth_mm: 1.0 });
    let port = |seal| opening([20.0, 90.0], OpeningShape::Circle(12.0), Through::Wall { above_floor_mm: 15.0, seal });
    let volume = |spec: &BodySpec| {
        let e = made(f64::INFINITY, spec).unwrap().value;
        sound(&e);
        (e.solid().measure().volume_mm3, e)
    };
    let plain = volume(&spec).0;
    spec.openings = vec![port(seal)];
    let (with, e) = volume(&spec);
    // the wall is 3.5 mm thick level, so 3.5 cos 5 square to it; of that the ring takes 1 mm and the hole all
    let (ring, hole) = (std::f64::consts::PI * 121.0, std::f64::consts::PI * 36.0);
    let want = ring + hole * (3.5 * spec.shell.draft.cos() - 1.0);
    assert!(((plain - with) / want - 1.0).abs() < 0.02, "{} {want}", plain - with);
    let face = e.solid().faces.iter().find(|f| f.name == "seal face").unwrap();
    let p = &face.surface.points;
    let [a, b] = [1, 2].map(|k| nalgebra::Vector3::from(p[k]) - nalgebra::Vector3::from(p[0]));
    let normal = b.cross(&a).normalize();
    let lean = normal.z.asin();
    assert!((lean - spec.shell.draft).abs() < 1e-3 && normal.y > 0.99, "{normal}");
    spec.openings = vec![port(Some(SealSpec { width_mm: 5.0, depth_mm: 2.0 }))];
    let e = made(f64::INFINITY, &spec).unwrap_err();
    assert!(e.message().contains("leaves 1.5 mm of a wall of 3.5 mm"), "{e}");
    // on the curved wall under a dish, cut into halves
    spec.openings = vec![port(seal)];
    spec.printer = Some(PrinterSpec { bed_mm: [220.0, 220.0, 250.0], joint: JointKind::Tongue, layers_along: false });
    let e = made(500.0, &spec).unwrap().value;
    sound(&e);
    assert!(e.print_parts.iter().all(|p| p.solid.faults().is_empty()));
}
