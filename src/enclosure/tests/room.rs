//! What goes inside.
use super::*;

/// Concave of radius 500 over a flat floor: the deck is lowest in the middle (40 mm clear), at y = 50 it has risen by
/// 500 - sqrt(500^2 - 50^2) = 2.506 mm.
#[test]
fn parts_find_the_room_that_the_dish_leaves() {
    let part = |name: &str, size_mm: [f64; 3], position: Position| PartSpec {
        name: name.into(),
        size_mm,
        clearance_mm: 2.0,
        cable: None,
        position,
        battery: name == "pack",
    };
    let mut spec = body();
    spec.parts = vec![
        part("pack", [150.0, 90.0, 37.0], Position::At([-40.0, 0.0])),
        part("beside", [30.0, 10.0, 39.5], Position::At([110.0, 55.0])),
        part("free", [60.0, 40.0, 20.0], Position::Anywhere),
        part("too long", [400.0, 40.0, 20.0], Position::Anywhere),
    ];
    let m = made(500.0, &spec).unwrap();
    let [pack, beside, free, long] = m.value.parts.as_slice() else { panic!("{:?}", m.value.parts) };
    assert!(pack.fits && (pack.height_left_mm - 1.0).abs() < 0.02, "{pack:?}");
    let rise = 500.0 - (500.0_f64 * 500.0 - 2500.0).sqrt();
    assert!((beside.height_left_mm - (40.0 + rise - 41.5)).abs() < 0.02, "{beside:?}");
    assert!(free.fits && (free.at_mm[0] + 40.0).abs() > 105.0, "clear of the pack: {free:?}");
    assert!(!long.fits && long.side_left_mm < -40.0, "{long:?}");
    assert!(m.warnings.iter().any(|w| w.message.contains("'pack' is a battery")));
    assert!(m.warnings.iter().any(|w| w.message.contains("'too long' lacks")));
    spec.depth = Depth::Parts;
    let e = made(500.0, &spec).unwrap().value;
    assert_eq!(e.depth_mm, 41.5);
    spec.depth = Depth::Clear(36.0);
    let m = made(500.0, &spec).unwrap();
    assert!(
        m.warnings.iter().any(|w| w.message.contains("'pack' is 3.0 mm too tall") && w.hint.contains("3.0 mm larger"))
    );
}
/// Cables of 29 mm at the tail end of a box fixed 30 mm off the wall there leave 1 mm on that side; free
/// to turn, the part lays them where there is room, and no other part comes into it.
#[test]
fn cables_keep_their_room() {
    let part = |name: &str, position, cable| PartSpec {
        name: name.into(),
        size_mm: [60.0, 40.0, 20.0],
        clearance_mm: 3.0,
        cable,
        position,
        battery: false,
    };
    let tail = |room_mm: f64| Some(CableRoom { room_mm, side: Side::Tail });
    let left = |cable| {
        let mut spec = body();
        // the cavity begins 150 - 18 - 3.5 mm behind the middle, which lies at x = 10
        spec.parts = vec![part("box", Position::At([-128.5 + 30.0 + 30.0, 0.0]), cable)];
        made(f64::INFINITY, &spec).unwrap().value.parts[0].clone()
    };
    assert!((left(None).side_left_mm - 27.0).abs() < 0.1, "{:?}", left(None));
    let with = left(tail(29.0));
    assert!(with.fits && (with.side_left_mm - 1.0).abs() < 0.1, "{with:?}");
    let too_long = left(tail(40.0));
    assert!(!too_long.fits && (too_long.side_left_mm + 10.0).abs() < 0.1, "{too_long:?}");
    let mut spec = body();
    spec.parts = vec![
        part("fixed", Position::At([10.0, 0.0]), tail(80.0)),
        part("free", Position::Anywhere, tail(50.0)),
        part("more", Position::Anywhere, None),
    ];
    let e = made(f64::INFINITY, &spec).unwrap().value;
    let boxes: Vec<_> =
        e.parts.iter().map(|p| p.cable.map_or((p.at_mm, p.size_mm), |c| c.kept(p.at_mm, p.size_mm, 0.0))).collect();
    assert!(e.parts.iter().all(|p| p.fits), "{:?}", e.parts);
    for i in 0..3 {
        for j in 0..i {
            let apart = |k: usize| (boxes[i].0[k] - boxes[j].0[k]).abs() - (boxes[i].1[k] + boxes[j].1[k]) / 2.0;
            assert!(apart(0).max(apart(1)) > -1e-9, "{i} {j}");
        }
    }
}
