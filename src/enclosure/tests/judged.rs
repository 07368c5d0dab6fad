//! What a builder is told of screws, slots, walls, ports and holes.
use super::*;
use crate::deck::{DeckDetails, DeckHole};

fn refused(spec: &BodySpec) -> (String, String) {
    let e = made(f64::INFINITY, spec).unwrap_err();
    (e.message().to_owned(), e.hint_text().unwrap_or("").to_owned())
}
/// A slot of 12 mm left 0.07 mm of plastic to the border, one of 13 mm broke it with advice about corners.
#[test]
fn a_slot_that_leaves_a_hair_of_plastic_is_refused_with_the_right_cure() {
    let mut spec = body();
    spec.screws.slip_mm = 12.0;
    let (message, hint) = refused(&spec);
    assert!(message.contains("the flange's border") && message.contains("screw"), "{message}");
    let smaller: f64 = hint.split("screws.slip ").nth(1).unwrap().split(' ').next().unwrap().parse().unwrap();
    spec.screws.slip_mm -= smaller;
    assert!(made(f64::INFINITY, &spec).is_ok(), "the advice does not do: {hint}");
}
#[test]
fn a_chamfer_over_the_screws_is_told_as_a_chamfer() {
    let mut spec = body();
    spec.shell.flange_chamfer_mm = 16.0;
    let (message, hint) = refused(&spec);
    assert!(
        message.contains("chamfer of 16.0 mm") && hint.contains("enclosure.flange_chamfer at most"),
        "{message} {hint}"
    );
}
#[test]
fn leaning_screws_get_advice_that_can_help() {
    let mut spec = body();
    spec.screws.fit = Fit::Coarse;
    let hint = |spec: &BodySpec| -> Option<String> {
        let made = made(250.0, spec).unwrap();
        made.warnings.iter().find(|w| w.message.contains("leans")).map(|w| w.hint.clone())
    };
    let h = hint(&spec).unwrap();
    assert!(h.contains("screws.along = \"deck\"") && h.contains("screws.boss") && !h.contains("coarse"), "{h}");
    spec.screws.along = Along::Deck;
    assert_eq!(hint(&spec), None);
}
/// 3.5 mm drafted by 15 degrees were 3.38 mm.
#[test]
fn a_drafted_wall_is_as_thick_as_asked() {
    let mut spec = body();
    spec.shell.draft = 15f64.to_radians();
    let shell = made(f64::INFINITY, &spec).unwrap().value.shell;
    let outer = trim::polygon(&shell.wall_out[0], 0.01);
    let inner = trim::polygon(&shell.wall_in[0], 0.01).points[0];
    let thick = -outer.signed_distance(inner) * spec.shell.draft.cos();
    assert!((thick - 3.5).abs() < 0.01, "{thick}");
}
#[test]
fn a_port_that_a_part_blocks_and_an_opening_under_the_battery_are_told() {
    let mut spec = body();
    let part = |name: &str, at, battery| PartSpec {
        name: name.into(),
        size_mm: [60.0, 40.0, 20.0],
        clearance_mm: 1.0,
        cable: None,
        position: Position::At(at),
        battery,
    };
    // the wall's inner face lies at y = 74.5
    spec.parts = vec![part("esc", [0.0, 52.0], false), part("pack", [-90.0, 0.0], true)];
    let port = Through::Wall { above_floor_mm: 12.0, seal: None };
    spec.openings = vec![
        opening([0.0, 100.0], OpeningShape::Circle(10.0), port),
        OpeningSpec { name: "drain".into(), ..opening([-90.0, 0.0], OpeningShape::Circle(6.0), FLOOR) },
    ];
    let told = |spec: &BodySpec| -> Vec<String> {
        made(f64::INFINITY, spec).unwrap().warnings.iter().map(|w| w.message.clone()).collect()
    };
    let all = told(&spec).join("\n");
    assert!(all.contains("behind the opening 'port' in the wall the part 'esc' leaves 2.5 mm"), "{all}");
    assert!(all.contains("'drain' in the floor lies right under the battery 'pack'"), "{all}");
    // over the part, or beside it, it is free
    spec.openings = vec![opening([100.0, 100.0], OpeningShape::Circle(10.0), port)];
    let all = told(&spec).join("\n");
    assert!(!all.contains("opening"), "{all}");
}
#[test]
fn holes_of_the_deck_under_rim_and_screws_are_told() {
    let plain = made(f64::INFINITY, &body()).unwrap().value;
    let hole = |at_mm| DeckHole { at_mm, pattern_mm: [0.0; 2], diameter_mm: 5.5 };
    let on = plain.screws[3].at_mm;
    let details = DeckDetails { holes: vec![hole([on[0] + 1.0, on[1]]), hole([10.0, 0.0])], ..DeckDetails::default() };
    let d = deck(f64::INFINITY).with_details(details).unwrap();
    let m = make_mating(&d, &rim()).unwrap();
    let all: String = m.warnings.iter().map(|w| w.message.clone() + "\n").collect();
    assert!(all.contains("lies under the rim") && all.contains("opens into the enclosure"), "{all}");
    let e = make_enclosure(&d, &m.value, &rim(), &body()).unwrap();
    assert!(e.warnings.iter().any(|w| w.message.starts_with("screw 4 falls on the deck's hole")), "{:?}", e.warnings);
}
/// The all-default plain seat had 9.25 mm for a strip of 10.
#[test]
fn a_strip_on_a_plain_seat_has_its_room_inside_the_screws() {
    let mut spec = body();
    spec.strip_mm = 10.0;
    let mut narrow = rim();
    narrow.flange_mm = 16.0;
    let d = deck(f64::INFINITY);
    let m = make_mating(&d, &narrow).unwrap().value;
    let room = |spec: &BodySpec| {
        let e = make_enclosure(&d, &m, &narrow, spec).unwrap().value;
        e.checks.into_iter().find(|c| c.name.contains("strip")).unwrap()
    };
    assert!(room(&spec).met, "{:?}", room(&spec));
    spec.screws.edge_mm = Some(8.0);
    let told = room(&spec);
    assert!(!told.met && (told.have_mm - 9.25).abs() < 0.05 && told.cure.contains("gasket.width 9 mm"), "{told:?}");
}
#[test]
fn a_corner_radius_that_is_not_made_is_told() {
    let d = deck(f64::INFINITY);
    for (radius, told) in [(3.0, true), (10.0, false)] {
        let spec = EnclosureSpec { corner_radius_mm: Some(radius), ..rim() };
        let m = make_mating(&d, &spec).unwrap();
        assert_eq!(m.warnings.iter().any(|w| w.message.contains("corner_radius")), told, "{:?}", m.warnings);
    }
}
