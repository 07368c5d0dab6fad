//! The whole pipeline on any points, given as triples of 16-bit numbers.
#![no_main]
use faydeck::{Board, reconstruct};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|points: Vec<[i16; 3]>| {
    let board = Board::parse("[scan]\nfile='s'\n[tape]\nwidth='21 cm'\n").expect("constant");
    let points: Vec<_> = points.iter().map(|p| p.map(f64::from).into()).collect();
    let scan = faydeck::export::write_ply(&points, None, &[]);
    if let Err(e) = reconstruct(&board, &scan, None, &mut ()) {
        assert!(e.hint_text().is_some());
    }
});
