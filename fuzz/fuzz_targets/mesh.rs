//! The enclosure's reader.
#![no_main]
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| {
    if let Ok(read) = faydeck::read_mesh(bytes) {
        assert!(!read.value.triangles.is_empty());
    }
});
