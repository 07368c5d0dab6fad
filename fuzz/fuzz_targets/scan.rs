//! Every scan reader: what it takes is finite and within its own numbers.
#![no_main]
use libfuzzer_sys::fuzz_target;

// the LAZ reader catches its crate's assertions, at which the usual hook would stop; what nothing catches stops all the same
fuzz_target!(init: drop(std::panic::take_hook()), |bytes: &[u8]| {
    match faydeck::read_scan(bytes) {
        Ok(read) => {
            let c = read.value;
            assert!(c.points.iter().all(|p| p.iter().all(|v| v.is_finite())));
            assert!(c.triangles.iter().flatten().all(|&i| (i as usize) < c.points.len()));
            assert!(c.normals.is_none_or(|n| n.len() == c.points.len()));
            assert!(c.colors.is_none_or(|n| n.len() == c.points.len()));
        }
        Err(e) => assert!(e.hint_text().is_some()),
    }
});
