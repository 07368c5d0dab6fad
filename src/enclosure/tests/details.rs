//! Groove, bosses, holes along the normal, broken edges.
use super::*;

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
    assert!(made(500.0, &spec).unwrap_err().message().contains("a groove of 0.10 mm"));
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
