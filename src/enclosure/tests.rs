use super::*;
use crate::geom::{closed_fit, plan};
use crate::mating::make_mating;
use crate::num::{Knots, TensorSpline, interpolate};
use nalgebra::DMatrix;

const LENGTH: f64 = 500.0;
const WIDTH: f64 = 220.0;
const FLOOR: Through = Through::Floor { seal: None };

/// A rectangular board of wide corners with its underside a cylinder about a line along x (concave, centre highest in z), or
/// flat for an infinite radius.
fn deck(radius: f64) -> Deck {
    let (x, y) = (Knots::uniform(3, 6, -270.0, 270.0), Knots::uniform(3, 30, -125.0, 125.0));
    let g = y.greville();
    let v = DMatrix::from_fn(g.len(), 1, |j, _| {
        if radius.is_finite() { (radius * radius - g[j] * g[j]).sqrt() - radius } else { 0.0 }
    });
    let c = interpolate(&y, &v).unwrap();
    let c = (0..x.len()).flat_map(|_| c.iter().copied()).collect();
    let z = TensorSpline::new(x, y, c).unwrap();
    let plan = trim::polygon(&plan::rectangle([0.0, 0.0], [LENGTH, WIDTH], 60.0), 0.01);
    crate::deck::make_deck(&z, &closed_fit(&plan, 240).unwrap(), 12.0).unwrap().value
}
fn rim() -> EnclosureSpec {
    EnclosureSpec {
        length_mm: 320.0,
        offset_mm: 10.0,
        inset_mm: 14.0,
        flange_mm: 18.0,
        corner_radius_mm: None,
        gasket_mm: 3.0,
        squeeze_ratio: 0.3,
        plan: crate::mating::PlanSpec::Rail,
    }
}
pub(super) fn body() -> BodySpec {
    BodySpec {
        depth: Depth::Clear(40.0),
        shell: ShellSpec {
            wall_mm: 3.5,
            draft: 0.0,
            floor_mm: 4.0,
            follow: false,
            flange_mm: 5.0,
            groove: None,
            floor_edge: None,
            flange_chamfer_mm: 0.0,
        },
        screws: ScrewSpec {
            size: ScrewSize::M4,
            fit: Fit::Medium,
            pitch_mm: 110.0,
            edge_mm: None,
            slip_mm: 0.0,
            insert_mm: Some(8.0),
            along: Along::Bench,
            boss: false,
        },
        parts: Vec::new(),
        openings: Vec::new(),
        trucks: None,
        sag_mm: 0.0,
        printer: None,
    }
}
pub(super) fn made(radius: f64, spec: &BodySpec) -> Result<Warned<Enclosure>> {
    let d = deck(radius);
    let m = make_mating(&d, &rim()).unwrap().value;
    make_enclosure(&d, &m, &rim(), spec)
}
fn area(pieces: &[Curve<2>]) -> f64 {
    trim::polygon(pieces, 1e-3).signed_area()
}

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
    assert!(e.screws.len() >= 8 && e.screws[..4].iter().all(|s| s.corner));
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

/// A sound body and its volume, mm3.
fn sound(e: &Enclosure) -> f64 {
    assert_eq!(e.solid().faults(), Vec::<String>::new());
    assert!(e.mesh().open_edges().is_empty());
    e.volume_mm3()
}
fn opening(at: [f64; 2], shape: OpeningShape, through: Through) -> OpeningSpec {
    OpeningSpec { name: "port".into(), at, shape, through }
}
/// A strip 3 mm thick squeezed by 30 % is 2.1 mm, lands at 0.5 mm: a groove 1.6 mm deep, as wide as strip and play; the gap map
/// finds its floor at 2.1 mm, and the volume over that of a plain rim is the lands'.
#[test]
fn a_groove_holds_the_strip_at_its_squeezed_thickness() {
    let mut spec = body();
    spec.screws.edge_mm = Some(6.0);
    let plain = sound(&made(f64::INFINITY, &spec).unwrap().value);
    spec.shell.groove = Some(GrooveSpec { strip_mm: 8.0, land_mm: 0.5 });
    let flat = made(f64::INFINITY, &spec).unwrap().value;
    let g = flat.shell.groove.clone().unwrap();
    assert!((g.depth_mm - 1.6).abs() < 1e-12);
    let [outer, inner] = [0, 1].map(|k| area(&g.borders[k]));
    let holes = flat.screws.len() as f64 * std::f64::consts::PI * 2.25 * 2.25;
    let lands = area(&flat.shell.rim) - area(&flat.shell.wall_in[0]) - (outer - inner) - holes;
    let more = sound(&flat) - plain;
    assert!((more / (1.6 * lands) - 1.0).abs() < 0.01, "{more} {}", 1.6 * lands);
    let middle =
        (trim::polygon(&g.borders[0], 0.01).perimeter() + trim::polygon(&g.borders[1], 0.01).perimeter()) / 2.0;
    assert!(((outer - inner) / middle - 8.6).abs() < 0.02, "width with play");
    let d = deck(500.0);
    let dished = made(500.0, &spec).unwrap().value;
    sound(&dished);
    let options = crate::gap::GapOptions { gasket_mm: 3.0, ..crate::gap::GapOptions::for_spec(None) };
    let strip = dished.strip_mesh().unwrap();
    let s = crate::gap::gap_map(&strip, &d.underside, &d.outline_polygon(), &options).unwrap().value.summary;
    assert!(s.samples > 5000 && (s.least_mm - 2.1).abs() < 0.05 && (s.greatest_mm - 2.1).abs() < 0.05, "{s:?}");
    // screws in the flange's middle leave no room for it, and thick lands no depth
    spec.screws.edge_mm = None;
    let wide = made(500.0, &spec).unwrap_err();
    assert!(
        wide.message().contains("near a screw's hole") && wide.hint_text().unwrap().contains("screws.edge"),
        "{wide}"
    );
    spec.shell.groove = Some(GrooveSpec { strip_mm: 8.0, land_mm: 2.0 });
    assert!(made(500.0, &spec).unwrap_err().message().contains("a groove of 0.1 mm"));
}
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
/// Holes along the normal: a cylinder about the deck's normal at the listed place, at any height; bosses: a face square to z.
#[test]
fn holes_along_the_normal_and_bosses_agree_with_the_list() {
    let mut spec = body();
    spec.screws.along = Along::Deck;
    spec.screws.slip_mm = 2.0;
    let e = made(500.0, &spec).unwrap().value;
    sound(&e);
    for s in &e.screws {
        // the normal of a cylinder of radius 500 about (y, z) = (0, -500)
        let sin = s.at_mm[1] / 500.0;
        let want = [0.0, sin, (1.0 - sin * sin).sqrt()];
        assert!((0..3).all(|k| (s.axis[k] - want[k]).abs() < 1e-3), "{s:?}");
    }
    let holes: Vec<_> = e.solid().faces.iter().filter(|f| f.name.starts_with("hole ")).collect();
    for f in holes {
        let number: usize = f.name.split(' ').nth(1).unwrap().parse().unwrap();
        let s = &e.screws[number - 1];
        for (u, v) in [(0.1, 0.0), (0.5, 0.5), (0.9, 1.0)] {
            let (lo, hi) = f.surface.u.range();
            let p = f.surface.at(lo + (hi - lo) * u, v);
            let d = [p[0] - s.at_mm[0], p[1] - s.at_mm[1], p[2] - s.deck_mm];
            let far: f64 = (0..3).map(|k| d[k] * s.axis[k]).sum();
            let off = [0, 1, 2].map(|k| d[k] - far * s.axis[k]);
            // from the slot's middle line, which runs along x
            let along = (off[0].abs() - s.slot_mm / 2.0).max(0.0);
            let r = along.hypot(off[1].hypot(off[2]));
            assert!((r - 2.25).abs() < 0.02, "{r} {s:?}");
        }
    }
    spec.screws = ScrewSpec { along: Along::Bench, boss: true, ..spec.screws };
    let e = made(500.0, &spec).unwrap().value;
    sound(&e);
    for s in &e.screws {
        let b = s.boss.as_ref().unwrap();
        // washer 9 mm and 1.5 mm on both sides
        let (lo, hi) = trim::polygon(&b.border, 0.01).bounds();
        assert!((hi[1] - lo[1] - 12.0).abs() < 0.02 && b.face.c.iter().all(|z| *z == b.face.c[0]));
        assert!(b.face.c[0] > e.shell.back.at(s.at_mm[0], s.at_mm[1]));
    }
    spec.screws.edge_mm = Some(5.0);
    assert!(made(500.0, &spec).unwrap_err().message().contains("a boss comes -"));
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
/// Under a flat deck the outer floor edge takes a prism of half a square, or a square less a quarter of a circle, all round; the
/// chamfer under the flange adds half a square (Pappus: area times the way of its centroid).
#[test]
fn broken_edges_take_and_add_what_pappus_says() {
    let volume = |edge: Option<EdgeSpec>, chamfer: f64| {
        let mut spec = body();
        (spec.shell.floor_edge, spec.shell.flange_chamfer_mm) = (edge, chamfer);
        let e = made(f64::INFINITY, &spec).unwrap().value;
        sound(&e);
        (e.solid().measure().volume_mm3, e)
    };
    let (sharp, e) = volume(None, 0.0);
    let wall = trim::polygon(&e.shell.wall_out[0], 1e-3).perimeter();
    // a parallel at d has 2 pi d more of border
    let way = |d: f64| wall + std::f64::consts::TAU * d;
    let pi = std::f64::consts::PI;
    for (round, area, centroid) in [
        (false, 2.0, 2.0 / 3.0),
        // spandrel of a square of side r: area (1 - pi / 4) r^2, centroid (10 - 3 pi) / (12 - 3 pi) r from its sharp corner's sides
        (true, (1.0 - pi / 4.0) * 4.0, 2.0 * (10.0 - 3.0 * pi) / (12.0 - 3.0 * pi)),
    ] {
        let taken = sharp - volume(Some(EdgeSpec { size_mm: 2.0, round }), 0.0).0;
        assert!((taken / (area * way(-centroid)) - 1.0).abs() < 5e-3, "{round}: {taken} {}", area * way(-centroid));
    }
    let more = volume(None, 4.0).0 - sharp;
    assert!((more / (8.0 * way(4.0 / 3.0)) - 1.0).abs() < 5e-3, "{more}");
    // leaning walls under a dish, both edges, cut into halves with a tongue
    let mut spec = body();
    spec.shell.draft = 3.0_f64.to_radians();
    spec.printer = Some(PrinterSpec { bed_mm: [220.0, 220.0, 250.0], joint: JointKind::Tongue, layers_along: false });
    spec.shell.flange_chamfer_mm = 3.0;
    for (follow, round) in [(false, false), (false, true), (true, true)] {
        let curved = "touches the bed with";
        spec.shell.follow = follow;
        spec.shell.floor_edge = Some(EdgeSpec { size_mm: 2.5, round });
        let m = made(500.0, &spec).unwrap();
        assert_eq!(follow, m.warnings.iter().any(|w| w.message.contains(curved)), "{:?}", m.warnings);
        let e = m.value;
        sound(&e);
        assert_eq!(e.print_parts.len(), 3);
        for p in &e.print_parts {
            assert_eq!(p.solid.faults(), Vec::<String>::new());
            assert!(p.mesh.open_edges().is_empty());
        }
    }
    // a chamfer of 45 degrees under the floor prints on the bed without support, a round does not
    let floor_down = |round: bool| {
        let mut spec = spec.clone();
        (spec.shell.follow, spec.shell.floor_edge) = (false, Some(EdgeSpec { size_mm: 2.5, round }));
        made(500.0, &spec).unwrap().value.print_parts[0].figures.way.overhang_mm2
    };
    assert!(floor_down(true) > floor_down(false) + 300.0, "{} {}", floor_down(true), floor_down(false));
    spec.shell.floor_edge = Some(EdgeSpec { size_mm: 5.5, round: false });
    let e = made(500.0, &spec).unwrap_err();
    assert!(e.message().contains("leaves 1.4 mm between wall and floor"), "{e}");
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
