//! The board file.
#![no_main]
use libfuzzer_sys::fuzz_target;

fuzz_target!(|text: &str| {
    match faydeck::Board::parse(text) {
        Ok(b) => assert!(b.tape.width_mm > 0.0 && b.thickness_mm > 0.0),
        Err(e) => assert!(e.hint_text().is_some() && !e.message().contains('\u{1b}')),
    }
});
