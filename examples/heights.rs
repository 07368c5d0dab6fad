//! Heights of the demo board's underside along its middle, every 50 mm: `cargo run --example heights`.
#![allow(clippy::print_stdout)]
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{FrameOptions, SurfaceOptions, Tape, fit_underside, frame_deck, read_scan};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (points, _) = planted_scan(&DEMO, &ScanScene::default());
    let cloud = read_scan(&write_ply(&points, None, &[]))?.value;
    let framed = frame_deck(&cloud, &Tape::new(226.0, Some(884.0), None)?, &FrameOptions::default())?.value;
    let fit = fit_underside(&framed.sheet, &framed.rim, &SurfaceOptions::default())?.value;
    for i in -8..=8 {
        let x = 50.0 * f64::from(i);
        println!("x {x:>5} mm  z {:>7.2} mm", fit.z.at(x, 0.0));
    }
    Ok(())
}
