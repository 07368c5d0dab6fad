//! A board that is always the same, to lay photos and traces on.
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{
    Board, FrameOptions, Framed, PhotoInput, RawCloud, ScannedBoard, SurfaceOptions, Underside, Unusable,
    find_outline, fit_underside, frame_deck, read_scan,
};
use std::sync::OnceLock;

fn board() -> &'static (Board, Framed, Underside) {
    static BOARD: OnceLock<(Board, Framed, Underside)> = OnceLock::new();
    BOARD.get_or_init(|| {
        let (points, _) = planted_scan(&DEMO, &ScanScene { points: 8000, ..ScanScene::default() });
        let cloud: RawCloud = read_scan(&write_ply(&points, None, &[])).expect("demo").value;
        let board = Board::parse(&Board::template("s.ply", None, DEMO.width_mm, None)).expect("demo");
        let framed = frame_deck(&cloud, &board.tape, &FrameOptions::default()).expect("demo").value;
        let fit = fit_underside(&framed.sheet, &framed.rim, &SurfaceOptions::default()).expect("demo").value;
        (board, framed, fit)
    })
}

/// The outline of `photo` on that board is found or refused with a hint.
pub fn outline_or_hint(photo: PhotoInput) {
    let (board, framed, underside) = board();
    let scanned = ScannedBoard {
        underside,
        rim: &framed.rim,
        rim_doubt_mm: framed.report.rim_doubt_mm,
        rim_lean: framed.rim_lean,
        rim_bridged: framed.report.rim_bridged_ratio,
        trucks: framed.trucks,
        standing: &framed.standing,
        thickness_mm: board.thickness_mm,
        rail_radius_mm: None,
        painted: None,
    };
    if let Err(e) = find_outline(&[photo], Unusable::Refuse, &scanned, &board.tape) {
        assert!(e.hint_text().is_some());
    }
}
