//! Photos in which colour alone does not part the board from the floor, or parts it wrongly: the rail is found all the same.
mod boards;

use boards::{Case, Given, Ground, Kind, PHOTO, Paint, PhotoSpec, find, limits, score};
use faydeck::{Board, OutlineSource, reconstruct};

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
    let mut missed = Vec::new();
    for (name, photo) in rows {
        let case = Case { photo, ..base };
        case.shoot(&mut made);
        let board = Board::parse(&case.board_toml(&made, Given::PHOTO)).unwrap();
        let rec = reconstruct(&board, &made.scan, made.photo.as_deref(), &mut ()).unwrap();
        let s = score(&made.world, &made.to_truth, &rec.value, rec.warnings.len());
        let want = limits(&case, Given::PHOTO);
        if s.outline != OutlineSource::Photo || !(s.edge_rms < want.outline_mm && s.scale_z().abs() < 3.0) {
            missed.push(format!("{name}: {s:?} {:?}", rec.warnings));
        }
    }
    assert!(missed.is_empty(), "{missed:#?}");
}
