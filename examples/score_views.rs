//! Scores the outline from one, two and three photos of a board: `cargo run --example score_views [-- NAME...] [--draws N]`.
//!
//! Width given, one lens; each draw scans and photographs the board anew. `edge`: plan distance of the outlines after a rigid
//! alignment, mm; `scale%`, `u%`: the scale's error and its stated standard uncertainty. The last lines are the root mean
//! squares over all draws whose photos were all taken.
#![allow(clippy::print_stdout)]
#[path = "../tests/boards/mod.rs"]
mod boards;

use boards::{Case, Given, PhotoSpec, Score, cases, score};
use faydeck::{Board, PhotoBytes, Photos, reconstruct};

/// How the camera is held: tilts and turn, degrees, beside the first photo's own.
const HELD: [[f64; 3]; 3] = [[0.0, 0.0, 0.0], [-9.0, 7.0, 95.0], [8.0, 10.0, 170.0]];

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut names, mut draws) = (Vec::new(), 1);
    let mut arguments = std::env::args().skip(1);
    while let Some(a) = arguments.next() {
        match a.as_str() {
            "--draws" => draws = arguments.next().ok_or("--draws needs a number")?.parse::<u64>()?,
            _ => names.push(a),
        }
    }
    println!("{:<10} {:>4} {:>6} {:>6} {:>7} {:>6} {:>5}", "board", "draw", "photos", "edge", "scale%", "u%", "z");
    let mut all = Vec::new();
    let series = |c: &Case| c.name.contains('-');
    for case in
        cases().into_iter().filter(|c| if names.is_empty() { !series(c) } else { names.iter().any(|n| n == c.name) })
    {
        for draw in 0..draws {
            let scored = drawn(&Case { seed: case.seed + 1000 * draw, ..case }, draw)?;
            if scored.len() == HELD.len() {
                all.push(scored);
            }
        }
    }
    let rms = |k: usize, of: fn(&Score) -> f64| {
        (all.iter().map(|s| of(&s[k]).powi(2)).sum::<f64>() / all.len() as f64).sqrt()
    };
    for k in 0..HELD.len() {
        let [edge, scale, stated] = [rms(k, |s| s.edge_rms), rms(k, |s| s.scale_pct), rms(k, |s| s.scale_stated_pct)];
        println!(
            "{:<10} {:>4} {:>6} {edge:>6.2} {scale:>7.3} {stated:>6.3} {:>5.1}",
            "all",
            all.len(),
            k + 1,
            rms(k, Score::scale_z)
        );
    }
    Ok(())
}
/// One scan with one photo and more; up to where all of them are taken.
fn drawn(case: &Case, draw: u64) -> Result<Vec<Score>, Box<dyn std::error::Error>> {
    let mut made = case.make();
    let mut photos = Vec::new();
    let mut out = Vec::new();
    let own = case.photo;
    for (k, [a, b, roll]) in HELD.into_iter().enumerate() {
        let photo = PhotoSpec {
            tilt_deg: [own.tilt_deg[0] + a, own.tilt_deg[1] + b],
            roll_deg: own.roll_deg + roll,
            seed: own.seed + 10 * draw + k as u64,
            ..own
        };
        Case { photo, ..*case }.shoot(&mut made);
        photos.extend(made.photo.take());
        let files: String = (0..=k).map(|i| format!("[[photo]]\nfile = \"{i}.jpg\"\n")).collect();
        let board = Board::parse(&format!("{}{files}", case.board_toml(&made, Given::WIDTH)))?;
        let bytes = photos.iter().map(|image| PhotoBytes { image, mask: None, path: None }).collect();
        let left = format!("{:<10} {draw:>4} {:>6}", case.name, k + 1);
        match reconstruct(&board, &made.scan, Photos(bytes), &mut ()) {
            Ok(rec) => {
                let used = rec.value.outline.photos.len();
                let s = score(&made.world, &made.to_truth, &rec.value, &rec.warnings);
                println!(
                    "{left} {:>6.2} {:>+7.3} {:>6.3} {:>+5.1} {}",
                    s.edge_rms,
                    s.scale_pct,
                    s.scale_stated_pct,
                    s.scale_z(),
                    if used == k + 1 { String::new() } else { format!("{used} taken") }
                );
                if used == k + 1 {
                    out.push(s);
                }
            }
            Err(e) => println!("{left} refused: {e}"),
        }
    }
    Ok(out)
}
