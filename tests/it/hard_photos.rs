//! Photos in which colour alone does not part the board from the floor, or parts it wrongly.

use crate::boards::{
    Case, Given, Ground, Kind, Made, Mounted, PHOTO, Paint, PhotoSpec, Scene, Score, Support, find, limits, score,
};
use faydeck::{Board, OutlineSource, Reconstruction, Stage, Warned, reconstruct};

/// What rows are known to miss; a miss that goes away fails the test too.
/// On a floor of the board's own colour the scale hangs on the width alone, and a border a pixel off moves the length by 6 mm: over ten photos
/// of this board drawn with other noise the length is 8.7 mm rms off (9.6 mm before colours were told piece by piece), 6.5 mm stated. The user
/// of this one gets a board 12 mm too long and an outline 2.5 mm off for 1.6 before, told as sure to 7 mm. With its ceiling, mm.
const MISSES: [(&str, &str, f64); 1] = [("a floor of the deck's colour", "outline", 2.8)];

/// What the photo of a board, taken anew, brings.
fn shown(case: &Case, made: &mut Made) -> (Score, Warned<Reconstruction>) {
    case.shoot(made);
    let board = Board::parse(&case.board_toml(made, Given::PHOTO)).unwrap();
    let rec = reconstruct(&board, &made.scan, made.photo.as_deref(), &mut ()).unwrap();
    (score(&made.world, &made.to_truth, &rec.value, &rec.warnings), rec)
}

/// Photos on which colour alone leads astray.
const ASTRAY: [(&str, PhotoSpec); 3] = [
    ("a shadow beside the board", PhotoSpec { lamp_deg: Some(55.0), ..PHOTO }),
    ("a floor of the deck's colour", PhotoSpec { ground: Ground::Lookalike, ..PHOTO }),
    ("dark ends over dark joints", PhotoSpec { ground: Ground::Paving, paint: Paint::Bars, ..PHOTO }),
];
#[test]
fn hard_shadows() {
    not_astray(&ASTRAY[..1]);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn floors_of_the_decks_colour_and_dark_ends() {
    not_astray(&ASTRAY[1..]);
}
fn not_astray(rows: &[(&str, PhotoSpec)]) {
    let base = {
        let mut case = Case { photo_scene: None, ..find("plain").unwrap() };
        if let Kind::Cloud(c) = &mut case.kind {
            c.points = c.points.min(40_000);
        }
        case
    };
    let mut made = base.make();
    let mut log = Vec::new();
    for &(name, photo) in rows {
        let case = Case { photo, ..base };
        let (s, rec) = shown(&case, &mut made);
        let want = limits(&case, Given::PHOTO);
        let missed: Vec<&str> = [
            ("photo", s.outline != OutlineSource::Photo),
            ("outline", !(s.edge_rms < want.outline_mm)),
            ("stated scale", !(s.scale_z().abs() < 3.0)),
        ]
        .into_iter()
        .filter_map(|(what, is)| is.then_some(what))
        .collect();
        let known: Vec<&str> = MISSES.iter().filter(|m| m.0 == name).map(|m| m.1).collect();
        if missed != known {
            log.push(format!(
                "{name} misses {missed:?}, known {known:?}: {s:?}, limit {} mm, {:?}",
                want.outline_mm, rec.warnings
            ));
        }
        let ceiling = MISSES.iter().filter(|m| m.0 == name).map(|m| m.2).fold(f64::INFINITY, f64::min);
        assert!(s.edge_rms < ceiling, "{name}: {s:?}");
        // a photo that is not used is never passed over in silence
        assert!(s.outline == OutlineSource::Photo || rec.warnings.iter().any(|w| w.stage == Stage::Outline));
    }
    assert!(log.is_empty(), "{log:#?}");
}

/// Trucks taken off for the scan and on again for the photo: their wheels stick out over the rail by up to 13 mm. They once became
/// part of the outline, 14 mm rms off, without a word.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn wheels_that_the_scan_does_not_show_are_bridged_and_told() {
    let wheels = Scene { support: Support::Floor, mounted: Mounted::Wheels(80.0, 50.0), clutter: 0, on_deck: None };
    let bare = find("plank").unwrap();
    let mut made = bare.make();
    for size in [PHOTO.size, [4000, 3000]] {
        let case = Case { photo: PhotoSpec { size, ..PHOTO }, photo_scene: Some(wheels), ..bare };
        let (s, rec) = shown(&case, &mut made);
        assert_eq!(s.outline, OutlineSource::Photo, "{size:?}");
        assert!(s.edge_rms < 2.5 && s.scale_z().abs() < 3.0, "{size:?}: {s:?}");
        let told = |what: &str| rec.warnings.iter().any(|w| w.stage == Stage::Outline && w.message.contains(what));
        assert!(
            told("leaves the scan's rim by up to") && told("of the rail is hidden"),
            "{size:?}: {:?}",
            rec.warnings
        );
        let bridged = rec.value.outline.bridged_ratio;
        assert!(bridged > 0.04 && bridged < 0.25, "{size:?}: {bridged}");
    }
}

/// A cut that keeps the sides' ratio, its EXIF data made to fit, leaves no sign in the file: the board itself tells where the lens
/// looked. Such a photo once gave an outline 6.8 mm rms off, 3 stated standard deviations, without a word.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn a_cut_that_the_file_does_not_tell_is_found() {
    let bindings = find("bindings").unwrap();
    let case = Case { photo: PhotoSpec { off_centre: [0.12, 0.05], ..PHOTO }, photo_scene: None, ..bindings };
    let (s, rec) = shown(&case, &mut case.make());
    assert!(s.outline == OutlineSource::Photo && s.edge_rms < 2.5 && s.scale_z().abs() < 3.0, "{s:?}");
    assert!(rec.warnings.iter().any(|w| w.message.contains("seems to have been cut")), "{:?}", rec.warnings);
    // 12 and 5 % of the long side off the middle
    let [width, height] = PHOTO.size.map(f64::from);
    let found = rec.value.outline.photos[0].principal_point_px;
    let off = (found[0] - 0.62 * width).hypot(found[1] - height / 2.0 - 0.05 * width);
    assert!(off < 0.05 * width, "{found:?}");
}

/// The sides show a strip of bare wood, the ends run into a floor of the print's colour: a board shorter than it is was once found in such a
/// photo, 10.7 mm rms off, twelve stated standard deviations.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn ends_that_run_into_the_floor_are_not_found_elsewhere() {
    let bindings = find("bindings").unwrap();
    let case = Case { photo: PhotoSpec { ground: Ground::Lookalike, ..PHOTO }, photo_scene: None, ..bindings };
    let (s, rec) = shown(&case, &mut case.make());
    assert!(s.edge_rms < 2.5 && s.scale_z().abs() < 3.0, "{s:?}");
    let told = rec.warnings.iter().any(|w| w.message.contains("THE PHOTO COULD NOT BE USED"));
    assert!(s.outline == OutlineSource::Photo || told, "{:?}", rec.warnings);
}

/// Grain on a floor of its colour: a region of chance lies 4 mm off the rim, and the rim laid anywhere finds three sides of the board and
/// nothing at its nose. Taken for the likelier of two it was 5.1 mm rms off, four stated standard deviations, without a word.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn an_end_that_is_not_seen_is_told_though_a_region_of_colour_was_there() {
    let plank = find("plank").unwrap();
    let photo = PhotoSpec { seed: plank.photo.seed + 10, ..plank.photo };
    let case = Case { seed: plank.seed + 1000, photo, ..plank };
    let (s, rec) = shown(&case, &mut case.make());
    assert!(s.scale_z().abs() < 3.0, "{s:?}");
    // from a better rim the photo serves in part: then it must be said that it contradicts the scan, or where it was not followed. A user
    // gets no plain refusal any more, and, since colours are told piece by piece, of six wrong places a warning for each and not one for all; since sides that
    // differ make the width doubted the outline is 5.7 mm rms off and not 4.3, within the scale's uncertainty that is stated (1.5 %, not 1.2)
    let told = |what: &str| rec.warnings.iter().any(|w| w.message.contains(what));
    let refused = told("its border is not seen at an end") && s.outline == OutlineSource::ScanRim;
    let in_part = told("contradicts the scan") || told("it is not followed there");
    assert!(refused || in_part && s.edge_rms < 6.0, "{s:?} {:?}", rec.warnings);
}

/// The top's rail lies a thickness behind the underside's, and on kicks square to them it is shorter: taken for the underside's own the
/// outline was 2.2 mm rms off, 2.6 stated standard deviations.
#[test]
fn a_photo_of_the_top_of_a_kicked_board_is_taken_mirrored_and_told() {
    let popsicle = find("popsicle").unwrap();
    let case = Case { photo: PhotoSpec { top_side: true, ..PHOTO }, photo_scene: None, ..popsicle };
    let (s, rec) = shown(&case, &mut case.make());
    assert!(s.outline == OutlineSource::Photo && s.edge_rms < 1.6 && s.scale_z().abs() < 2.0, "{s:?}");
    assert!(!rec.value.outline.photos[0].shows_underside);
    assert!(rec.warnings.iter().any(|w| w.message.contains("taken as one of the top side")), "{:?}", rec.warnings);
}

/// Boards whose photos are laid over another one's scan.
const OTHERS: [&str; 3] = ["sparse", "hourglass", "platform"];
#[test]
fn another_boards_photo_is_told() {
    told_of(&OTHERS[..1]);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn other_boards_photos_are_told() {
    told_of(&OTHERS[1..]);
}
/// The photo of another board is not used, or at least told: a lens bends much.
fn told_of(others: &[&str]) {
    let plain = find("plain").unwrap();
    let made = plain.make();
    for name in others {
        let other = find(name).unwrap();
        let mut theirs = other.make();
        other.shoot(&mut theirs);
        let board = Board::parse(&plain.board_toml(&made, Given::ALL)).unwrap();
        let rec = reconstruct(&board, &made.scan, theirs.photo.as_deref(), &mut ()).unwrap();
        assert!(rec.warnings.iter().any(|w| w.stage == Stage::Outline), "{name}: {:?}", rec.value.outline_source);
    }
}
