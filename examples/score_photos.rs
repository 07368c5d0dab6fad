//! Scores the outline from planted photos of one board: `cargo run --example score_photos [-- PART_OF_A_NAME...]`.
//!
//! `--board NAME` takes another board than the pintail, `--write DIR` only writes each row's inputs, and the board's own
//! pixels as a mask.
//!
//! Width and photo given. `edge`, `p95`: plan distance of the outlines after a rigid alignment, mm; `z`: the scale's error in
//! stated standard uncertainties; `from`: what the outline was taken from. Beyond the limits of
//! `tests/boards/limits.rs` the last column gives the outline's warning, or `SILENT` where none speaks of it.
#![allow(clippy::print_stdout)]
#[path = "../tests/boards/mod.rs"]
mod boards;

use boards::{Case, Given, Made, PHOTO, PhotoSpec, find, limits, score, silhouette};
use faydeck::{Board, OutlineSource, Stage, reconstruct};
use image::{Rgb, RgbImage};
use std::path::Path;

/// A row: the case and, where the picture is turned afterwards, by how many degrees and what fills the corners.
struct Row {
    name: &'static str,
    case: Case,
    padded: Option<(f64, [u8; 3])>,
}
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut names, mut board, mut write) = (Vec::new(), "keel".to_owned(), None);
    let mut arguments = std::env::args().skip(1);
    while let Some(a) = arguments.next() {
        match a.as_str() {
            "--board" => board = arguments.next().ok_or("--board needs a name")?,
            "--write" => write = Some(arguments.next().ok_or("--write needs a folder")?),
            _ => names.push(a),
        }
    }
    let case = find(&board).ok_or("there is no such board")?;
    let mut made = case.make();
    println!(
        "{:<26} {:>6} {:>6} {:>7} {:>6} {:>5} {:<8} {:>4}",
        "photo", "edge", "p95", "scale%", "u%", "z", "from", "warn"
    );
    for row in rows(case) {
        if !names.is_empty() && names.iter().all(|n| !row.name.contains(n.as_str())) {
            continue;
        }
        // the world, the scan and the tape are the same for all rows
        row.case.shoot(&mut made);
        if let (Some((degrees, fill)), Some(photo)) = (row.padded, &made.photo) {
            made.photo = Some(turned(photo, degrees, fill)?);
        }
        match &write {
            Some(dir) => write_inputs(&row, &made, &Path::new(dir).join(row.name.replace([' ', ',', '.'], "_")))?,
            None => println!("{:<26} {}", row.name, scored(&row, &made)?),
        }
    }
    Ok(())
}
fn write_inputs(row: &Row, made: &Made, dir: &Path) -> Result<(), Box<dyn std::error::Error>> {
    std::fs::create_dir_all(dir)?;
    std::fs::write(dir.join(row.case.scan_name()), &made.scan)?;
    std::fs::write(dir.join("board.toml"), row.case.board_toml(made, Given::PHOTO))?;
    std::fs::write(dir.join("photo.jpg"), made.photo.as_deref().unwrap_or_default())?;
    silhouette(&made.world, &row.case.photo).save(dir.join("mask.png"))?;
    Ok(())
}
fn scored(row: &Row, made: &Made) -> Result<String, Box<dyn std::error::Error>> {
    let board = Board::parse(&row.case.board_toml(made, Given::PHOTO))?;
    let rec = match reconstruct(&board, &made.scan, made.photo.as_deref(), &mut ()) {
        Ok(rec) => rec,
        Err(e) => return Ok(format!("refused: {e}")),
    };
    let s = score(&made.world, &made.to_truth, &rec.value, &rec.warnings);
    let from = match s.outline {
        OutlineSource::Photo => "photo",
        OutlineSource::CutOut => "cut-out",
        OutlineSource::ScanRim => "scan rim",
    };
    let want = limits(&row.case, Given::PHOTO);
    let good = s.edge_rms <= want.outline_mm && s.scale_pct.abs() <= want.scale_pct;
    let verdict = match rec.warnings.iter().find(|w| w.stage == Stage::Outline) {
        Some(w) if !good => w.message.as_str(),
        None if !good => "SILENT",
        _ => "",
    };
    Ok(format!(
        "{:>6.2} {:>6.2} {:>+7.3} {:>6.3} {:>+5.1} {from:<8} {:>4} {verdict}",
        s.edge_rms,
        s.edge_p95,
        s.scale_pct,
        s.scale_stated_pct,
        s.scale_z(),
        s.warnings
    ))
}
/// The picture turned about its middle on a canvas that holds all of it, without EXIF, as an editor saves it.
fn turned(jpeg: &[u8], degrees: f64, fill: [u8; 3]) -> Result<Vec<u8>, image::ImageError> {
    let from = image::load_from_memory(jpeg)?.to_rgb8();
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (w, h) = (f64::from(from.width()), f64::from(from.height()));
    let (bw, bh) = (w * cos.abs() + h * sin.abs(), w * sin.abs() + h * cos.abs());
    let out = RgbImage::from_fn(bw.ceil() as u32, bh.ceil() as u32, |u, v| {
        let (x, y) = (f64::from(u) + 0.5 - bw / 2.0, f64::from(v) + 0.5 - bh / 2.0);
        let (s, t) = (x * cos + y * sin + w / 2.0 - 0.5, y * cos - x * sin + h / 2.0 - 0.5);
        image::imageops::interpolate_bilinear(&from, s as f32, t as f32)
            .filter(|_| s >= 0.0 && t >= 0.0)
            .unwrap_or(Rgb(fill))
    });
    let mut bytes = std::io::Cursor::new(Vec::new());
    out.write_to(&mut bytes, image::ImageFormat::Png)?;
    Ok(bytes.into_inner())
}
fn rows(keel: Case) -> Vec<Row> {
    use boards::{Ground, Mounted, Paint, Scene, Support, Tags};
    let base = PHOTO;
    let row = |name, photo| Row { name, case: Case { photo, photo_scene: None, ..keel }, padded: None };
    let scene = |name, scene| Row { case: Case { photo_scene: Some(scene), ..row("", base).case }, ..row(name, base) };
    let bare = Scene { support: Support::Floor, mounted: Mounted::Nothing, clutter: 0, on_deck: None };
    let sized = |size| PhotoSpec { size, ..base };
    let turn = |name, roll_deg| row(name, PhotoSpec { roll_deg, ..base });
    let tagged = |name, orientation| row(name, PhotoSpec { orientation, ..base });
    vec![
        row("plain", base),
        row("tilt 10", PhotoSpec { tilt_deg: [7.0, 7.0], ..base }),
        row("tilt 20", PhotoSpec { tilt_deg: [14.0, 14.5], ..base }),
        turn("roll 30", 30.0),
        turn("roll 45", 45.0),
        turn("roll 90", 90.0),
        turn("roll 180", 180.0),
        Row { padded: Some((30.0, [0; 3])), ..row("padded 30 black", base) },
        Row { padded: Some((30.0, [255; 3])), ..row("padded 30 white", base) },
        Row { padded: Some((45.0, [0; 3])), ..row("padded 45 black", base) },
        row("portrait", PhotoSpec { size: [1200, 1600], roll_deg: 90.0, ..base }),
        row("0.75 MP", sized([1000, 750])),
        row("1 MP", sized([1152, 864])),
        row("3 MP", sized([2000, 1500])),
        row("paving", PhotoSpec { ground: Ground::Paving, ..base }),
        row("paving, bars, dark ends", PhotoSpec { ground: Ground::Paving, paint: Paint::Bars, ..base }),
        row("floor alike", PhotoSpec { ground: Ground::Lookalike, ..base }),
        row("shadow, sun at 30", PhotoSpec { lamp_deg: Some(30.0), ..base }),
        row("shadow, sun at 55", PhotoSpec { lamp_deg: Some(55.0), ..base }),
        row("gloss, bars", PhotoSpec { gloss: true, paint: Paint::Bars, ..base }),
        row("grain, planks", PhotoSpec { paint: Paint::Grain, ground: Ground::Planks, ..base }),
        scene("wheels over the rail", Scene { mounted: Mounted::Wheels(80.0, 50.0), ..bare }),
        scene("box on the deck", Scene { on_deck: Some([300.0, 150.0, 45.0]), ..bare }),
        row("cropped", PhotoSpec { off_centre: [0.12, 0.05], ..base }),
        row("EXIF missing", PhotoSpec { tags: Tags::Missing, ..base }),
        row("EXIF stale", PhotoSpec { tags: Tags::Stale(0.75), ..base }),
        tagged("orientation 3", 3),
        tagged("orientation 6", 6),
        tagged("orientation 8", 8),
        row("top side", PhotoSpec { top_side: true, ..base }),
        row("12 MP", sized([4000, 3000])),
        row("50 MP", sized([8160, 6120])),
    ]
}
