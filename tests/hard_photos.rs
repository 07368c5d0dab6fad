//! Photos in which colour alone does not part the board from the floor, or parts it wrongly.
mod boards;

use boards::{Case, Given, Ground, Kind, PHOTO, Paint, PhotoSpec, find, limits, score};
use faydeck::{Board, OutlineSource, Stage, reconstruct};

#[test]
fn floors_of_the_decks_colour_dark_ends_and_hard_shadows() {
    let base = {
        let mut case = Case { photo_scene: None, ..find("plain").unwrap() };
        if let Kind::Cloud(c) = &mut case.kind {
            c.points = c.points.min(40_000);
        }
        case
    };
    let mut made = base.make();
    let rows = [
        ("a floor of the deck's colour", PhotoSpec { ground: Ground::Lookalike, ..PHOTO }),
        ("dark ends over dark joints", PhotoSpec { ground: Ground::Paving, paint: Paint::Bars, ..PHOTO }),
        ("a shadow beside the board", PhotoSpec { lamp_deg: Some(55.0), ..PHOTO }),
    ];
    let mut log = Vec::new();
    for (name, photo) in rows {
        let case = Case { photo, ..base };
        case.shoot(&mut made);
        let board = Board::parse(&case.board_toml(&made, Given::PHOTO)).unwrap();
        let rec = reconstruct(&board, &made.scan, made.photo.as_deref(), &mut ()).unwrap();
        let s = score(&made.world, &made.to_truth, &rec.value, rec.warnings.len());
        let want = limits(&case, Given::PHOTO);
        let missed: Vec<&str> = [
            ("photo", s.outline != OutlineSource::Photo),
            ("outline", !(s.edge_rms < want.outline_mm)),
            ("stated scale", !(s.scale_z().abs() < 3.0)),
        ]
        .into_iter()
        .filter_map(|(what, is)| is.then_some(what))
        .collect();
        if !missed.is_empty() {
            log.push(format!("{name} misses {missed:?}: {s:?}, limit {} mm, {:?}", want.outline_mm, rec.warnings));
        }
        // a photo that is not used is never passed over in silence
        assert!(s.outline == OutlineSource::Photo || rec.warnings.iter().any(|w| w.stage == Stage::Outline));
    }
    assert!(log.is_empty(), "{log:#?}");
}

/// The photo of another board is not used, or at least told: a lens bends much.
#[test]
fn another_boards_photo_is_told() {
    let plain = find("plain").unwrap();
    let made = plain.make();
    for name in ["hourglass", "sparse", "platform"] {
        let other = find(name).unwrap();
        let mut theirs = other.make();
        other.shoot(&mut theirs);
        let board = Board::parse(&plain.board_toml(&made, Given::ALL)).unwrap();
        let rec = reconstruct(&board, &made.scan, theirs.photo.as_deref(), &mut ()).unwrap();
        assert!(rec.warnings.iter().any(|w| w.stage == Stage::Outline), "{name}: {:?}", rec.value.outline_source);
    }
}
