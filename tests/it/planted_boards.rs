//! Boards, scans and photos by formula, recovered within the limits of the accuracy table; known misses are listed and
//! must fail, so that a fix is noticed. The whole table: `cargo run --example score_boards -- --photos`.

use crate::boards::{Case, Given, Kind, PHOTO, PhotoSpec, Plan, Rng, World, cases, find, misses, take_photo};

/// A board with a smaller cloud and photo, so that a row takes a second.
fn small(name: &str) -> Case {
    let mut case = find(name).unwrap();
    if let Kind::Cloud(c) = &mut case.kind {
        c.points = c.points.min(40_000);
    }
    case.photo.size = case.photo.size.map(|n| n / 2);
    case
}
/// Runs a row and compares what it misses with what it is known to miss.
fn check(name: &str, given: Given, known: &[&str]) {
    let case = small(name);
    let mut made = case.make();
    if given.photo {
        case.shoot(&mut made);
    }
    let result = case.run(&made, given);
    let found = misses(&case, given, &result);
    assert_eq!(
        found,
        known,
        "{name} {}: {result:?}\na miss less: shorten the list; one more: it got worse",
        given.label()
    );
}
#[test]
fn pintail_without_floor() {
    check("keel", Given::WIDTH, &["stated error"]);
    check("keel", Given::BOTH, &["scale", "stated error"]);
}
#[test]
fn pintail_from_a_small_photo() {
    check("keel", Given::PHOTO, &["outline", "scale", "stated error"]);
}
#[test]
fn flat_on_the_floor() {
    check("plain", Given::WIDTH, &[]);
}
#[test]
fn lopsided_and_twisted() {
    check("lopsided", Given::BOTH, &["stated error"]);
}
#[test]
fn fused_depth_with_inward_winding() {
    check("ridge", Given::WIDTH, &["stated error"]);
}
#[test]
fn strong_camber() {
    check("spring", Given::BOTH, &["stated error"]);
}
#[test]
fn few_points() {
    // 3 % too small at a stated 2.6: with a point a centimetre a rail is read from few points of the upper half of its wall. A user of such a
    // scan gets a board 19 mm too short by the width alone, with its doubt told; a length or a photo mends it
    check("sparse", Given::WIDTH, &["outline", "scale"]);
}
/// In a photo of a board with a sharp edge the colour changes where the camera's formula puts the outline, whatever the
/// orientation in which the picture is stored; pictures are read by the image library.
#[test]
fn the_edge_in_a_photo_is_where_the_formula_puts_it() {
    let tilted = PhotoSpec { size: [480, 360], edge_mm: 0.0, tilt_deg: [5.0, -7.0], roll_deg: 40.0, ..PHOTO };
    let turned = PhotoSpec { size: [360, 480], orientation: 6, roll_deg: 93.0, ..tilted };
    let keel = find("keel").unwrap();
    let world = World::new(&keel.shape, &keel.scene, &mut Rng::new(keel.seed));
    for spec in [tilted, turned, PhotoSpec { orientation: 8, ..turned }, PhotoSpec { orientation: 3, ..tilted }] {
        let (bytes, camera) = take_photo(&world, &spec);
        let mut decoder = image::ImageReader::with_format(std::io::Cursor::new(bytes), image::ImageFormat::Jpeg)
            .into_decoder()
            .unwrap();
        let orientation = image::ImageDecoder::orientation(&mut decoder).unwrap();
        let mut picture = image::DynamicImage::from_decoder(decoder).unwrap();
        picture.apply_orientation(orientation);
        let picture = picture.to_rgb8();
        assert_eq!([picture.width(), picture.height()], spec.size);
        let reddish = |p: [f64; 2]| {
            let c = picture.get_pixel(p[0] as u32, p[1] as u32).0.map(f64::from);
            c[0] - c[2]
        };
        let mut errors = Vec::new();
        for i in (0..world.plan.points.len()).step_by(25) {
            let (p, n) = (world.plan.points[i], world.plan.normals[i]);
            let at = |d: f64| camera.project(&world.shape.point(p[0] + d * n[0], p[1] + d * n[1]));
            // the share of reddish samples across the edge tells where it lies, mm
            let (inner, outer) = (reddish(at(-9.0)), reddish(at(20.0)));
            let share: f64 =
                (0..80).map(|k| (reddish(at(-8.0 + 0.2 * f64::from(k) + 0.1)) - outer) / (inner - outer)).sum();
            errors.push(-8.0 + 0.2 * share);
        }
        errors.sort_by(f64::total_cmp);
        let median = errors[errors.len() / 2];
        // a pixel is 2.6 mm; the wall of the rail shows on the far side
        assert!(median.abs() < 0.4, "{median} mm, {spec:?}");
        assert!(errors[errors.len() / 20] > -2.6 && errors[errors.len() * 3 / 4] < 2.6, "{errors:?}");
    }
}
/// The same seed gives the same bytes, another seed others.
#[test]
fn boards_are_repeatable() {
    let case = small("sparse");
    assert_eq!(case.make().scan, case.make().scan);
    assert_ne!(case.make().scan, Case { seed: case.seed + 1, ..case }.make().scan);
}
/// The planted truth is what the tape would read: box of the outline, widest station, both read from dense points.
#[test]
fn shapes_have_the_size_they_state() {
    for case in cases() {
        let plan = Plan::new(&case.shape.outline());
        let (lo, hi) = plan.bounds();
        assert!((hi[0] - lo[0] - case.shape.length_mm).abs() < 0.05, "{}", case.name);
        assert!((plan.width() - case.shape.width_mm).abs() < 0.1, "{}: {}", case.name, plan.width());
    }
}
/// A tip bent by 35 degrees falls by tan 35 per mm beyond its arc, whose radius is the stated one.
#[test]
fn tips_bend_as_stated() {
    let s = find("bindings").unwrap().shape;
    let half = s.length_mm / 2.0;
    let bow = |x: f64| s.bow_mm * (1.0 - (x / half).powi(2)) - s.height(x, 0.0);
    let (a, b) = (bow(half - 40.0), bow(half - 10.0));
    assert!(((b - a) / 30.0 - 35f64.to_radians().tan()).abs() < 1e-9);
    // 20 mm into the arc: R - sqrt(R^2 - 20^2)
    assert!((bow(half - 108.0) - (62.0 - (62.0f64 * 62.0 - 400.0).sqrt())).abs() < 1e-9);
}
/// Scan points lie as far from the formula as the planted damage says, and what hides the deck leaves no deck points.
#[test]
fn scans_are_disturbed_as_stated() {
    for name in ["popsicle", "carryall"] {
        let made = small(name).make();
        let world = &made.world;
        let mut deck: Vec<f64> = Vec::new();
        let mut hidden = 0;
        for p in &made.mesh.points {
            let z = p.z - world.shape.height(p.x, p.y);
            let inside = world.plan.signed([p.x, p.y], 30.0).0 < -20.0;
            if inside && z.abs() < 3.0 {
                deck.push(z);
                // under a truck's plate nothing is seen: its middle 60 x 40 mm
                let x = p.x.abs() - world.shape.wheelbase_mm / 2.0;
                hidden += usize::from(x.abs() < 30.0 && p.y.abs() < 20.0 && z < 0.9);
            }
        }
        let rms = (deck.iter().map(|z| z * z).sum::<f64>() / deck.len() as f64).sqrt();
        assert!(deck.len() > 3000 && rms > 0.2 && rms < 0.8, "{name}: {rms} of {}", deck.len());
        // but for strays and the false layer behind a hanger
        assert!(hidden < 25, "{name}: {hidden} points under the plates");
    }
}
