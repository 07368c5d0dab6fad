//! From a scan's bytes to the length of its outline: `cargo run --example outline_length -- SCAN WIDTH`, for example
//! `scan.ply "209.5 mm"`.
#![allow(clippy::print_stdout)]
use faydeck::{Board, parse_length, reconstruct};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let mut arguments = std::env::args().skip(1);
    let (Some(scan), Some(width)) = (arguments.next(), arguments.next()) else {
        return Err("give a scan and the tape's width".into());
    };
    let board = Board::parse(&Board::template(&scan, None, parse_length(&width)?, None))?;
    let made = reconstruct(&board, &std::fs::read(&scan)?, None, &mut ())?.value;
    let (lo, hi) = made.deck.outline_polygon().bounds();
    println!("{:.1} mm long, {:.1} mm wide", hi[0] - lo[0], hi[1] - lo[1]);
    Ok(())
}
