//! The demo board's scan and photo as they come, made once for all tests.
use faydeck::demo::{DEMO, PhotoScene, ScanScene, planted_photo, planted_scan};
use faydeck::export::write_ply;
use std::sync::OnceLock;

pub fn scan() -> &'static [u8] {
    static SCAN: OnceLock<Vec<u8>> = OnceLock::new();
    SCAN.get_or_init(|| write_ply(&planted_scan(&DEMO, &ScanScene::default()).0, None, &[]))
}
pub fn photo() -> &'static [u8] {
    static PHOTO: OnceLock<Vec<u8>> = OnceLock::new();
    PHOTO.get_or_init(|| planted_photo(&DEMO, &PhotoScene::default()).unwrap())
}
