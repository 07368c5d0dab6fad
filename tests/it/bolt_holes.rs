//! Truck bolt holes in photos of planted boards: found where they are, silent where there are none.

use crate::boards::{Case, Given, Ground, Holes, Kind, Made, Mounted, PHOTO, Paint, PhotoSpec, Scene, Support, find};
use faydeck::{Board, Reconstruction, Warning, reconstruct};
use std::slice::SliceIndex;

/// The two standard patterns, mm (common practice, no source).
const PATTERNS_MM: [[f64; 2]; 2] = [[63.5, 41.28], [53.98, 41.28]];

fn case(photo: PhotoSpec) -> Case {
    let mut case = Case { photo, photo_scene: None, ..find("plain").unwrap() };
    if let Kind::Cloud(c) = &mut case.kind {
        c.points = c.points.min(40_000);
    }
    case
}
fn built(case: &Case, made: &mut Made, width_mm: f64) -> (Reconstruction, Vec<Warning>) {
    case.shoot(made);
    let text =
        format!("[scan]\nfile='s.ply'\n[tape]\nwidth='{width_mm} mm'\n[photo]\nfile='p.jpg'\nunusable='refuse'\n");
    let r = reconstruct(&Board::parse(&text).unwrap(), &made.scan, made.photo.as_deref(), &mut ()).unwrap();
    (r.value, r.warnings)
}

/// Pattern, grey of the holes, photo, and whether they are found.
const DRILLED: [([f64; 2], f64, PhotoSpec, bool); 4] = [
    (PATTERNS_MM[0], 28.0, PHOTO, true),
    // known to be missed since a cloud's rim is believed to 1.3 mm less: seen 16 degrees off square the camera lies a little elsewhere, and the
    // holes are not told from chance. The user loses this check of the scale, and reads nothing that is wrong
    (
        PATTERNS_MM[1],
        28.0,
        PhotoSpec { tilt_deg: [10.0, -12.0], roll_deg: 40.0, ground: Ground::Paving, ..PHOTO },
        false,
    ),
    (PATTERNS_MM[0], 235.0, PhotoSpec { colour: [60.0, 70.0, 90.0], ..PHOTO }, true),
    (PATTERNS_MM[1], 28.0, PhotoSpec { paint: Paint::Grain, ground: Ground::Planks, ..PHOTO }, true),
];
#[test]
fn holes_are_found_and_measured() {
    found_and_measured(&DRILLED[..1]);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn holes_of_either_pattern_are_found_and_measured() {
    found_and_measured(&DRILLED[1..]);
}
fn found_and_measured(rows: &[([f64; 2], f64, PhotoSpec, bool)]) {
    let mut made = case(PHOTO).make();
    for &(pattern_mm, grey, spec, found) in rows {
        let case = case(PhotoSpec { holes: Some(Holes { pattern_mm, grey }), ..spec });
        let width_mm = made.tape_mm[0];
        let (r, warnings) = built(&case, &mut made, width_mm);
        if !found {
            assert!(r.outline.bolt_holes.is_none(), "found again: take this exception out");
            continue;
        }
        let h = r
            .outline
            .bolt_holes
            .as_ref()
            .unwrap_or_else(|| panic!("none of {pattern_mm:?}, {grey}, {:?} found: {warnings:?}", spec.ground));
        assert_eq!(h.pattern_mm, pattern_mm);
        assert!(h.agrees && (h.size_ratio - 1.0).abs() < 2.0 * h.size_ratio_sd && h.size_ratio_sd < 0.01, "{h:?}");
        // once the scale's own error is taken out, what is left is the holes'
        let true_ratio = made.to_truth.scale / r.scale.mm_per_unit;
        assert!((h.size_ratio * true_ratio - 1.0).abs() < 0.01, "{h:?} {true_ratio}");
        let wheelbase_mm = case.shape.wheelbase_mm;
        assert!((h.apart_mm * true_ratio / wheelbase_mm - 1.0).abs() < 2.0 * h.size_ratio_sd, "{h:?} {true_ratio}");
        // they lie inside the outline, in two groups about the origin
        let outline = r.deck.outline_polygon();
        assert!(h.at_mm.iter().all(|p| outline.contains(*p)), "{h:?}");
        assert!(h.at_mm.iter().map(|p| p[0]).sum::<f64>().abs() / 8.0 < 20.0, "{h:?}");
    }
}

#[test]
fn a_wrong_tape_reading_is_contradicted() {
    let case = case(PhotoSpec { holes: Some(Holes { pattern_mm: PATTERNS_MM[0], grey: 28.0 }), ..PHOTO });
    let mut made = case.make();
    // a reading 4 % too small
    let width_mm = 0.96 * made.tape_mm[0];
    let (r, warnings) = built(&case, &mut made, width_mm);
    let h = r.outline.bolt_holes.unwrap();
    assert!(!h.agrees && h.size_ratio < 0.98, "{h:?}");
    assert!(warnings.iter().any(|w| w.message.contains("truck bolt holes")), "{warnings:?}");
}

#[test]
fn silent_where_there_are_none() {
    silent(..1);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn silent_whatever_else_is_there() {
    silent(1..);
}
fn silent(which: impl SliceIndex<[Case], Output = [Case]>) {
    let mut made = case(PHOTO).make();
    let bare = Scene { support: Support::Floor, mounted: Mounted::Nothing, clutter: 0, on_deck: None };
    let scene = |s| Case { photo_scene: Some(s), ..case(PHOTO) };
    let paint = |paint, ground| case(PhotoSpec { paint, ground, ..PHOTO });
    let rows = [
        case(PHOTO),
        paint(Paint::Grain, Ground::Carpet),
        paint(Paint::Bars, Ground::Plain),
        case(PhotoSpec { gloss: true, lamp_deg: Some(40.0), ..PHOTO }),
        scene(Scene { mounted: Mounted::Wheels(80.0, 50.0), ..bare }),
        scene(Scene { on_deck: Some([300.0, 150.0, 45.0]), ..bare }),
        // a spacing that is no standard
        case(PhotoSpec { holes: Some(Holes { pattern_mm: [58.7, 41.28], grey: 28.0 }), ..PHOTO }),
        case(PhotoSpec { holes: Some(Holes { pattern_mm: PATTERNS_MM[0], grey: 28.0 }), top_side: true, ..PHOTO }),
    ];
    for case in &rows[which] {
        case.shoot(&mut made);
        let text = case.board_toml(&made, Given::PHOTO);
        let r = reconstruct(&Board::parse(&text).unwrap(), &made.scan, made.photo.as_deref(), &mut ()).unwrap();
        assert!(r.value.outline.bolt_holes.is_none(), "{case:?}: {:?}", r.value.outline.bolt_holes);
    }
}

/// Bolts left in the holes stand over the deck, so that they look larger than their pattern: they are not found, or what is
/// stated holds for them too. Heads of 9.5 mm, ends of 4.8 mm, steel or blackened (common practice, no source).
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn bolts_in_the_holes_are_never_taken_wrongly() {
    let mut made = case(PHOTO).make();
    let bare = Scene { support: Support::Floor, mounted: Mounted::Nothing, clutter: 0, on_deck: None };
    let mut log = Vec::new();
    let rows = [
        (9.5, 0.5, false),
        (9.5, 3.0, true),
        (4.8, 3.0, false),
        (4.8, 8.0, true),
        (4.8, 12.0, false),
        (4.8, 25.0, true),
    ];
    for (i, (diameter_mm, height_mm, black)) in rows.into_iter().enumerate() {
        let pattern_mm = PATTERNS_MM[i % 2];
        let mounted = Mounted::Bolts { pattern_mm, diameter_mm, height_mm, black };
        let case = Case { photo_scene: Some(Scene { mounted, ..bare }), ..case(PHOTO) };
        let width_mm = made.tape_mm[0];
        let (r, warnings) = built(&case, &mut made, width_mm);
        let told = warnings.iter().any(|w| w.message.contains("truck bolt holes"));
        assert!(!told, "{diameter_mm} x {height_mm} black {black}: {warnings:?}");
        let Some(h) = r.outline.bolt_holes else { continue };
        let ratio = h.size_ratio * made.to_truth.scale / r.scale.mm_per_unit;
        let off = (ratio - 1.0) / h.size_ratio_sd;
        log.push(format!("{diameter_mm} x {height_mm} black {black}: {ratio}, {off} stated {h:?}"));
        assert!(h.pattern_mm == pattern_mm && off.abs() < 2.0, "{log:#?}");
    }
}
