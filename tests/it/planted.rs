//! Boards made from formulas, disturbed, and recovered within stated limits; the same input gives the same bytes.
use crate::plain;
use faydeck::demo::{DEMO, PlantedBoard, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{Board, Part, Pose, Reconstruction, build, gaps, read_mesh, reconstruct};
use nalgebra::Point3;

fn board(width: f64, length: Option<f64>) -> Board {
    Board::parse(&Board::template("scan.ply", None, width, length)).unwrap()
}
/// Root mean square of the height error inside the rail band, after the planted transform and the reconstruction's own
/// are compared: points of the true underside are taken to scan units and through `scan_to_deck`.
fn height_rms(planted: &PlantedBoard, truth: &faydeck::geom::Similarity, rec: &Reconstruction) -> f64 {
    let to_scan = truth.inverse();
    let (mut sum, mut n) = (0.0, 0.0);
    for i in -40..=40 {
        for j in -9..=9 {
            let (x, y) = (planted.length_mm * f64::from(i) / 84.0, planted.width_mm * f64::from(j) / 20.0);
            if planted.half_width(x) - y.abs() < 12.0 {
                continue;
            }
            let p = rec.scan_to_deck.apply(&to_scan.apply(&Point3::new(x, y, planted.height(x, y))));
            let z = &rec.deck.underside;
            sum += ((p.z - z.at(p.x, p.y)) * z.normal(p.x, p.y)[2]).powi(2);
            n += 1.0;
        }
    }
    assert!(n > 500.0);
    (sum / n).sqrt()
}

#[test]
fn planted_boards_come_back() {
    let deep =
        PlantedBoard { concave_mm: 14.0, camber_mm: 25.0, kick_deg: 22.0, length_mm: 800.0, width_mm: 212.0, ..DEMO };
    let flat = PlantedBoard { concave_mm: 3.0, camber_mm: 2.0, kick_deg: 4.0, waist_mm: 10.0, ..DEMO };
    let plain = ScanScene::default();
    let scenes = [
        (DEMO, plain.clone()),
        (deep, ScanScene { trucks: true, seed: 3, ..plain.clone() }),
        (flat, ScanScene { floor_mm: None, floaters: 300, seed: 5, ..plain }),
    ];
    for (planted, scene) in scenes {
        let (points, truth) = planted_scan(&planted, &scene);
        let made = reconstruct(
            &board(planted.width_mm, Some(planted.length_mm)),
            &write_ply(&points, None, &[]),
            None,
            &mut (),
        )
        .unwrap()
        .value;
        let scale = made.scale.mm_per_unit * scene.units_per_mm - 1.0;
        assert!(scale.abs() < 0.005, "{planted:?}: scale off by {scale}");
        let rms = height_rms(&planted, &truth, &made);
        assert!(rms < 0.5, "{planted:?}: {rms} mm");
        assert_eq!(made.deck.solid().faults(), Vec::<String>::new());
    }
}

/// A board scanned from its top side: the underside lies one thickness below, seen from the other side, so the planted
/// heights change sign and bend, and the board's left becomes its right.
#[test]
fn a_scan_of_the_top_side_gives_the_underside() {
    let (points, truth) = planted_scan(&DEMO, &ScanScene::default());
    let text = Board::template("scan.ply", None, DEMO.width_mm, Some(DEMO.length_mm))
        .replace("[tape]", "side = \"top\"\n[tape]");
    let board = Board::parse(&text).unwrap();
    let made = reconstruct(&board, &write_ply(&points, None, &[]), None, &mut ()).unwrap().value;
    let to_scan = truth.inverse();
    let (mut sum, mut n) = (0.0, 0.0);
    for i in -30..=30 {
        for j in -6..=6 {
            let (x, y) = (DEMO.length_mm * f64::from(i) / 84.0, DEMO.width_mm * f64::from(j) / 20.0);
            // a place on the scanned top, and the point one thickness below it along the normal
            let h = 0.01;
            let slope = |dx: f64, dy: f64| (DEMO.height(x + dx, y + dy) - DEMO.height(x - dx, y - dy)) / (2.0 * h);
            let normal = nalgebra::Vector3::new(-slope(h, 0.0), -slope(0.0, h), 1.0).normalize();
            let below = Point3::new(x, y, DEMO.height(x, y)) - normal * board.thickness_mm;
            let p = made.scan_to_deck.apply(&to_scan.apply(&below));
            sum += (p.z - made.deck.underside.at(p.x, p.y)).powi(2);
            n += 1.0;
        }
    }
    let rms = f64::sqrt(sum / n);
    assert!(rms < 0.5, "{rms} mm");
    assert_eq!(made.deck.solid().faults(), Vec::<String>::new());
}

#[test]
fn photo_of_the_demo_board_gives_its_outline() {
    let made = reconstruct(&board(226.0, None), plain::scan(), Some(plain::photo()), &mut ()).unwrap().value;
    assert_eq!(made.outline_source, faydeck::OutlineSource::Photo);
    let (lo, hi) = made.deck.outline_polygon().bounds();
    // the width alone tells the scale: the length must come out within twice what is stated, which was under 0.6 % before a cloud's rim was
    // believed to 1.3 mm less (stereo fattens): the user is told 0.603 %,
    // which is 2.7 mm at either end
    let off = (hi[0] - lo[0]) / DEMO.length_mm - 1.0;
    let stated = made.scale.standard_uncertainty / made.scale.mm_per_unit;
    assert!(off.abs() < 2.0 * stated && stated < 0.0065, "{off} {stated}");
    let [p] = &made.outline.photos[..] else { panic!("one photo") };
    assert!(p.shows_underside && p.residual_px < 1.0 && p.picture.drawn.starts_with(&[0xff, 0xd8]));
    assert!(made.outline.rail.iter().all(|r| (0.02..3.0).contains(&r.standard_error_mm)));
}

#[test]
fn same_input_same_bytes() {
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 15_000, ..ScanScene::default() });
    let scan = write_ply(&points, None, &[]);
    let one = build(&board(226.0, None), &scan, None, &mut ()).unwrap();
    let two = build(&board(226.0, None), &scan, None, &mut ()).unwrap();
    assert_eq!(one.files, two.files);
    assert_eq!(one.report.to_json(), two.report.to_json());
    assert_eq!(one.report.to_html(), two.report.to_html());
    let names: std::collections::BTreeSet<&str> = one.files.iter().map(|f| f.name.as_str()).collect();
    assert!(
        names.len() == one.files.len() && names.contains("deck.step") && names.contains("fit-rim-1.3mf"),
        "{names:?}"
    );
    // the mating face against the deck: the gap is the squeezed gasket everywhere
    let face = one.files.iter().find(|f| f.name == "mating-face.stl").unwrap();
    let part = Part { mesh: read_mesh(&face.bytes).unwrap().value, pose: Pose::Given, within_footprint: false };
    let map = gaps(&board(226.0, None), &scan, None, &part, &mut ()).unwrap().value.0.map;
    assert!(
        (map.summary.least_mm - 2.1).abs() < 0.05 && (map.summary.greatest_mm - 2.1).abs() < 0.05,
        "{:?}",
        map.summary
    );
}

#[test]
fn hopeless_scans_get_a_sentence() {
    let try_points = |points: Vec<Point3<f64>>| {
        reconstruct(&board(210.0, None), &write_ply(&points, None, &[]), None, &mut ()).unwrap_err()
    };
    let grid = |f: &dyn Fn(f64, f64) -> [f64; 3]| -> Vec<Point3<f64>> {
        (0..60)
            .flat_map(|i| (0..60).map(move |j| (f64::from(i), f64::from(j))))
            .map(|(a, b)| Point3::from(f(a, b)))
            .collect()
    };
    assert!(try_points(vec![Point3::origin(); 50]).message().contains("50 points"));
    assert!(try_points(vec![Point3::origin(); 5000]).message().contains("in one place"));
    assert!(try_points(grid(&|a, b| [a * 60.0 + b, 0.0, 0.0])).message().contains("on one line"));
    assert!(try_points(grid(&|a, b| [a, b, 0.0])).message().contains("in one plane"));
    let ball = try_points(grid(&|a, b| {
        let (s, t) = (a / 60.0 * std::f64::consts::TAU, b / 60.0 * std::f64::consts::PI);
        [s.cos() * t.sin(), s.sin() * t.sin(), t.cos()]
    }));
    assert!(ball.message().contains("no board") && ball.hint_text().is_some(), "{ball}");
    // two boards side by side
    let (points, _) =
        planted_scan(&DEMO, &ScanScene { floor_mm: None, floaters: 0, points: 20_000, ..ScanScene::default() });
    let mut two = points.clone();
    two.extend(points.iter().map(|p| Point3::new(p.x + 3.0, p.y, p.z)));
    assert!(try_points(two).message().contains("two boards"));
}

/// A battery box, seen from all sides, and a log on a floor once became decks by the width alone, exit 0.
#[test]
fn a_battery_box_and_a_log_are_no_boards() {
    let refused = |points: Vec<Point3<f64>>| {
        let e = reconstruct(&board(210.0, None), &write_ply(&points, None, &[]), None, &mut ()).unwrap_err();
        assert!(e.hint_text().is_some() && e.refusal().is_some(), "{e}");
        e.message().to_owned()
    };
    // points 4 mm apart with a little roughness of a formula
    let rough = |i: i32, j: i32| 0.3 * f64::from((i * 7919 + j * 104_729) % 101) / 101.0;
    let face = |half: [i32; 2], at: &dyn Fn(f64, f64, f64) -> [f64; 3]| -> Vec<Point3<f64>> {
        let grid = (-half[0]..=half[0]).flat_map(|i| (-half[1]..=half[1]).map(move |j| (i, j)));
        grid.map(|(i, j)| Point3::from(at(4.0 * f64::from(i), 4.0 * f64::from(j), rough(i, j)))).collect()
    };
    let mut body = Vec::new();
    for side in [-1.0, 1.0] {
        body.extend(face([70, 24], &|a, b, r| [a, b, side * (40.0 + r)]));
        body.extend(face([70, 10], &|a, b, r| [a, side * (96.0 + r), b]));
        body.extend(face([24, 10], &|a, b, r| [side * (280.0 + r), a, b]));
    }
    let told = refused(body);
    assert!(told.contains("another face") && told.contains("boards are 52 mm thick at most"), "{told}");
    let mut log = face([100, 36], &|a, b, r| {
        let turn = b / 4.0 / 36.0 * 1.45;
        [a, (110.0 + r) * turn.sin(), (110.0 + r) * turn.cos()]
    });
    log.extend(face([150, 150], &|a, b, r| [a, b, -110.0 + r]));
    let told = refused(log);
    assert!(told.contains("shows no board"), "{told}");
}
