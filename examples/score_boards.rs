//! Scores the reconstruction of boards made by formula: `cargo run --example score_boards [-- NAME...] [--write DIR]`.
//!
//! Lengths in mm, after a rigid alignment. `fit`: the underside's error once brought to the true scale; `se`: the standard
//! error stated for it, `in95`: the share of the underside within 1.96 of it (honest: 90 to 99 %); `z`: the scale's error
//! in stated standard uncertainties; `ctrl`: control points along and across; the last column names the limits missed (`tests/boards/limits.rs`).
//!
//! `--photos` takes the photos too, `--photo-width N` in another size, `--points N` makes clouds of another size,
//! `--write DIR` only writes the inputs.
#![allow(clippy::print_stdout)]
#[path = "../tests/boards/mod.rs"]
mod boards;

use boards::{Case, Given, Kind, Made, Score, cases, misses};
use std::path::Path;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut names, mut write, mut points, mut photos, mut wide) = (Vec::new(), None, None, false, None);
    let mut arguments = std::env::args().skip(1);
    while let Some(a) = arguments.next() {
        match a.as_str() {
            "--write" => write = Some(arguments.next().ok_or("--write needs a folder")?),
            "--photos" => photos = true,
            "--photo-width" => wide = Some(arguments.next().ok_or("--photo-width needs pixels")?.parse::<u32>()?),
            "--points" => points = Some(arguments.next().ok_or("--points needs a number")?.parse::<usize>()?),
            _ => names.push(a),
        }
    }
    if let Some(unknown) = names.iter().find(|n| cases().iter().all(|c| c.name != n.as_str())) {
        let known: Vec<_> = cases().iter().map(|c| c.name).collect();
        return Err(format!("no board {unknown}; there are {}", known.join(", ")).into());
    }
    println!("{}", heading());
    for mut case in cases().into_iter().filter(|c| names.is_empty() || names.iter().any(|n| n == c.name)) {
        if let (Kind::Cloud(c), Some(n)) = (&mut case.kind, points) {
            c.points = n;
        }
        if let Some(w) = wide {
            let [a, b] = case.photo.size;
            case.photo.size = [w, (u64::from(w) * u64::from(b) / u64::from(a)) as u32];
        }
        let mut made = case.make();
        if photos || write.is_some() {
            case.shoot(&mut made);
        }
        if let Some(dir) = &write {
            write_inputs(&case, &made, &Path::new(dir).join(case.name))?;
            continue;
        }
        let series = case.name.contains('-');
        for given in [Given::WIDTH, Given::BOTH, Given::PHOTO, Given::ALL] {
            if given.photo != photos && (given.photo || series) {
                continue;
            }
            let left = format!("{:<10} {:>7} {:<6}", case.name, made.mesh.points.len(), given.label());
            let result = case.run(&made, given);
            let missed = misses(&case, given, &result).join(", ");
            match result {
                Ok(s) => println!("{left} {} {missed}", row(&s)),
                Err(e) => println!("{left} refused: {e}"),
            }
        }
    }
    Ok(())
}
fn heading() -> String {
    format!(
        "{:<10} {:>7} {:<6} {:>6} {:>6} {:>6} {:>6} {:>6} {:>7} {:>6} {:>5} {:>5} {:>5} {:>6} {:>6} {:>6} {:>6} {:>4}  misses",
        "board",
        "points",
        "given",
        "under",
        "p95",
        "fit",
        "edge",
        "p95",
        "scale%",
        "u%",
        "z",
        "se",
        "in95",
        "cover",
        "ctrl",
        "dL",
        "dW",
        "warn"
    )
}
fn row(s: &Score) -> String {
    format!(
        "{:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>6.2} {:>+7.3} {:>6.3} {:>+5.1} {:>5.2} {:>5.0} {:>6.1} {:>6} {:>+6.1} {:>+6.1} {:>4} ",
        s.under_rms,
        s.under_p95,
        s.fit_rms,
        s.edge_rms,
        s.edge_p95,
        s.scale_pct,
        s.scale_stated_pct,
        s.scale_z(),
        s.error_stated,
        100.0 * s.within,
        100.0 * s.cover,
        format!("{}x{}", s.control_points[0], s.control_points[1]),
        s.length_error,
        s.width_error,
        s.warnings
    )
}
fn write_inputs(case: &Case, made: &Made, dir: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(dir)?;
    std::fs::write(dir.join(case.scan_name()), &made.scan)?;
    std::fs::write(dir.join("board.toml"), case.board_toml(made, Given::ALL))?;
    if let Some(photo) = &made.photo {
        std::fs::write(dir.join("photo.jpg"), photo)?;
    }
    // the truth, for looking at: the scan in mm in the board's own frame
    std::fs::write(dir.join("true-size.ply"), made.mesh.to_ply())
}
