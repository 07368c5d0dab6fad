//! The photo, from its bytes to an outline on a board that is always the same.
#![no_main]
mod planted;
use libfuzzer_sys::fuzz_target;

fuzz_target!(|bytes: &[u8]| planted::outline_or_hint(bytes.into()));
