//! The enclosure's reader.
#![no_main]
use libfuzzer_sys::fuzz_target;

// the LAZ reader catches its crate's assertions, at which the usual hook would stop; what nothing catches stops all the same
fuzz_target!(init: drop(std::panic::take_hook()), |bytes: &[u8]| {
    if let Ok(read) = faydeck::read_mesh(bytes) {
        assert!(!read.value.triangles.is_empty());
    }
});
