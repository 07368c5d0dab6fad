//! A traced SVG: as an enclosure's footprint, and as the rail over a photo that is always the same.
#![no_main]
mod planted;
use faydeck::{Board, PhotoInput};
use libfuzzer_sys::fuzz_target;

fuzz_target!(|svg: &[u8]| {
    let board = "[scan]\nfile='s'\n[tape]\nwidth='21 cm'\n[enclosure]\nfootprint='f'\n";
    match Board::parse(board).expect("constant").with_footprint(svg) {
        Err(e) => assert!(e.hint_text().is_some()),
        Ok(b) => assert!(b.enclosure.is_some_and(|e| e.length_mm > 0.0)),
    }
    let image = include_bytes!("../seeds/photo/small.png");
    planted::outline_or_hint(PhotoInput { image, path: Some(svg), ..PhotoInput::default() });
});
