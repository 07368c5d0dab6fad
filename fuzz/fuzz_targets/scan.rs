//! Every scan reader: what it takes is finite and within its own numbers.
#![no_main]
mod hook;
use libfuzzer_sys::fuzz_target;

fuzz_target!(init: hook::set(), |bytes: &[u8]| {
    // whatever file the scan names has the same bytes
    let beside = |_: &str| Some(bytes.to_vec());
    match faydeck::read_scan_textured(bytes, &Default::default(), faydeck::Textures::Beside(&beside)) {
        Ok(read) => {
            let c = read.value;
            assert!(c.points.iter().all(|p| p.iter().all(|v| v.is_finite())));
            assert!(c.triangles.iter().flatten().all(|&i| (i as usize) < c.points.len()));
            assert!(c.normals.is_none_or(|n| n.len() == c.points.len()));
            assert!(c.texels.iter().all(|t| t.at.iter().all(|v| v.is_finite())));
            assert!(c.colors.is_none_or(|n| n.len() == c.points.len()));
        }
        Err(e) => assert!(e.hint_text().is_some() && !e.message().contains('\u{1b}')),
    }
});
