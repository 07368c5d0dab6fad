//! The photo, from its bytes to an outline on a board that is always the same.
#![no_main]
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{
    Board, FrameOptions, Framed, RawCloud, SurfaceOptions, Underside, Unusable, find_outline, fit_underside,
    frame_deck, read_scan,
};
use libfuzzer_sys::fuzz_target;
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

fuzz_target!(|bytes: &[u8]| {
    let (board, framed, fit) = board();
    if let Err(e) = find_outline(
        &[bytes.into()],
        Unusable::Refuse,
        fit,
        &framed.rim,
        framed.report.rim_doubt_mm,
        &framed.standing,
        &board.tape,
    ) {
        assert!(e.hint_text().is_some());
    }
});
