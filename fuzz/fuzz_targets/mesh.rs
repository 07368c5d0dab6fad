//! The enclosure's reader.
#![no_main]
mod hook;
use libfuzzer_sys::fuzz_target;

fuzz_target!(init: hook::set(), |bytes: &[u8]| {
    if let Ok(read) = faydeck::read_mesh(bytes) {
        assert!(!read.value.triangles.is_empty());
    }
});
