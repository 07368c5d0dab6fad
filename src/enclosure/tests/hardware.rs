use super::*;
use crate::export::{BuildSheet, Paper};

/// A flat deck of 12 mm: 3 mm of gasket pressed to 2.1 mm, a flange of 5 mm.
#[test]
fn screws_are_as_long_as_deck_gasket_and_flange_ask() {
    let of = |radius: f64, insert_mm: Option<f64>, along: Along| {
        let mut spec = body();
        (spec.screws.insert_mm, spec.screws.along) = (insert_mm, along);
        Hardware::of(&deck(radius), &made(radius, &spec).unwrap().value)
    };
    let flat = of(f64::INFINITY, Some(8.0), Along::Bench);
    assert!(flat.grip_mm.iter().all(|g| (g - 7.1).abs() < 0.02), "{flat:?}");
    // washer 0.8 mm, 4 mm of thread
    assert!((flat.least_mm - 11.9).abs() < 0.02 && flat.length_mm == Some(12.0) && flat.washers == 1, "{flat:?}");
    // one of 12 mm would stand on the ground of a hole 3.5 mm deep: one washer more
    let short = of(f64::INFINITY, Some(3.5), Along::Bench);
    assert_eq!((short.length_mm, short.washers), (Some(12.0), 2), "{short:?}");
    // two washers of 0.8 mm, a nut of 6 mm, two threads of 0.7 mm
    let bolts = of(f64::INFINITY, None, Along::Bench);
    assert!((bolts.least_mm - 28.1).abs() < 0.02 && bolts.length_mm == Some(30.0) && bolts.washers == 2, "{bolts:?}");
    // along the normal the way is the same however the deck bends; square to the bench it is longer where the deck leans
    let normal = of(500.0, Some(8.0), Along::Deck);
    assert!(normal.grip_mm.iter().all(|g| (g - 7.1).abs() < 0.03), "{normal:?}");
    let bench = of(500.0, Some(8.0), Along::Bench);
    assert!(bench.grip_mm[1] > 7.12 && bench.grip_mm[1] < 7.4, "{bench:?}");
}
#[test]
fn the_build_sheet_counts_what_the_enclosure_has() {
    let deck = deck(f64::INFINITY);
    let e = made(f64::INFINITY, &body()).unwrap().value;
    let sheet = BuildSheet {
        title: "board",
        deck: &deck,
        thickness_assumed: true,
        enclosure: &e,
        fit_check: &[],
        gasket_mm: 3.0,
        paper: Paper::A4,
    };
    let text = |e: &Enclosure| {
        let bytes = BuildSheet { enclosure: e, ..sheet }.file().bytes;
        String::from_utf8_lossy(&bytes).into_owned()
    };
    let n = e.screws.len();
    let words = text(&e);
    for want in [
        format!("({n} screws M4 x 12 mm"),
        format!("({n} threaded inserts M4"),
        format!("({n} washers M4"),
        "6 mm wide, 3.0 mm thick".into(),
        "8.0 mm deep and no deeper".into(),
        "Screws must not reach a battery".into(),
    ] {
        assert!(words.contains(&want), "{want}: {words}");
    }
    assert!(!words.contains("NOT SURE"), "a screw into an insert is as long for any deck");
    let mut spec = body();
    spec.screws.insert_mm = None;
    let words = text(&made(f64::INFINITY, &spec).unwrap().value);
    assert!(words.contains("lock nuts M4") && words.contains("NOT SURE") && words.contains("through the deck"));
    // 1 % about the middle of a strip of 6 mm along the inside of the rim
    let [outer, inner] = <[Polygon; 2]>::try_from(e.strip_borders()).unwrap();
    let strip = Hardware::of(&deck, &e).strip_length_mm;
    assert!(strip < outer.perimeter() && strip > inner.perimeter() && outer.perimeter() - inner.perimeter() < 45.0);
}
