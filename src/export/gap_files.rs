//! Gap maps as table, coloured points and picture.
use crate::error::{Error, Result, Stage};
use crate::gap::GapMap;
use crate::geom::Polygon;
use image::{ImageEncoder, Rgb, RgbImage};
use std::fmt::Write;

/// Colour for a place in 0..=1 on a ramp from dark blue over grey to yellow: lightness rises evenly, so it reads in grey
/// and for colour-blind readers.
fn ramp(t: f64) -> [u8; 3] {
    const STOPS: [[f64; 3]; 3] = [[0.0, 32.0, 96.0], [124.0, 123.0, 120.0], [255.0, 233.0, 69.0]];
    let t = t.clamp(0.0, 1.0) * 2.0;
    let i = (t as usize).min(1);
    std::array::from_fn(|k| (STOPS[i][k] + (STOPS[i + 1][k] - STOPS[i][k]) * (t - i as f64)).round() as u8)
}
/// Clashes stand out from the ramp.
const CLASH: [u8; 3] = [213, 94, 0];

fn colour(gap: f64, most: f64) -> [u8; 3] {
    if gap < 0.0 { CLASH } else { ramp(gap / most) }
}
fn most(map: &GapMap) -> f64 {
    map.summary.greatest_mm.max(1.0).ceil()
}

/// `x_mm,y_mm,z_mm,gap_mm,standard_uncertainty_mm`, one line a sample.
pub fn gap_csv(map: &GapMap) -> Vec<u8> {
    let mut o = String::from("x_mm,y_mm,z_mm,gap_mm,standard_uncertainty_mm\n");
    for s in &map.samples {
        let [x, y, z] = s.at;
        let _ = writeln!(o, "{x:.3},{y:.3},{z:.3},{:.4},{:.4}", s.gap_mm, s.standard_uncertainty_mm);
    }
    o.into_bytes()
}
/// The samples as a coloured cloud with the gap as a property.
pub fn gap_ply(map: &GapMap) -> Vec<u8> {
    let mut o = format!(
        "ply\nformat binary_little_endian 1.0\ncomment lengths in mm\nelement vertex {}\nproperty double x\nproperty double y\nproperty double z\nproperty double gap_mm\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n",
        map.samples.len()
    )
    .into_bytes();
    for s in &map.samples {
        for v in [s.at[0], s.at[1], s.at[2], s.gap_mm] {
            o.extend(v.to_le_bytes());
        }
        o.extend(colour(s.gap_mm, most(map)));
    }
    o
}

/// Rows of a 3 x 5 font, most significant bit left: digits, point, minus, m.
const FONT: [(char, [u8; 5]); 13] = [
    ('0', [7, 5, 5, 5, 7]),
    ('1', [2, 6, 2, 2, 7]),
    ('2', [7, 1, 7, 4, 7]),
    ('3', [7, 1, 7, 1, 7]),
    ('4', [5, 5, 7, 1, 1]),
    ('5', [7, 4, 7, 1, 7]),
    ('6', [7, 4, 7, 5, 7]),
    ('7', [7, 1, 1, 2, 2]),
    ('8', [7, 5, 7, 5, 7]),
    ('9', [7, 5, 7, 1, 7]),
    ('.', [0, 0, 0, 0, 2]),
    ('-', [0, 0, 7, 0, 0]),
    ('m', [0, 7, 7, 5, 5]),
];
fn write_text(img: &mut RgbImage, x: u32, y: u32, k: u32, s: &str) {
    for (n, c) in s.chars().enumerate() {
        let Some((_, rows)) = FONT.iter().find(|f| f.0 == c) else { continue };
        for (r, row) in rows.iter().enumerate() {
            for b in 0..3u32 {
                if row >> (2 - b) & 1 == 1 {
                    for (dx, dy) in (0..k).flat_map(|a| (0..k).map(move |b| (a, b))) {
                        let (px, py) = (x + (n as u32 * 4 + b) * k + dx, y + r as u32 * k + dy);
                        if px < img.width() && py < img.height() {
                            img.put_pixel(px, py, Rgb([30, 30, 30]));
                        }
                    }
                }
            }
        }
    }
}
/// Pixels along the board, and round the picture.
const WIDTH: u32 = 1600;
const ROOM: u32 = 40;

/// The map in plan with a bar of mm: dark is a small gap, light a large one, orange a clash.
///
/// # Errors
/// A failure to encode.
pub fn gap_png(map: &GapMap, outline: &Polygon) -> Result<Vec<u8>> {
    let (lo, hi) = outline.bounds();
    let k = f64::from(WIDTH - 2 * ROOM) / (hi[0] - lo[0]);
    let plan = (k * (hi[1] - lo[1])).ceil() as u32;
    let mut img = RgbImage::from_pixel(WIDTH, plan + 4 * ROOM, Rgb([250, 250, 247]));
    let at = |p: [f64; 2]| (ROOM + (k * (p[0] - lo[0])).round() as u32, ROOM + (k * (hi[1] - p[1])).round() as u32);
    let line = outline.resampled(4 * WIDTH as usize);
    for p in &line.points {
        let (x, y) = at(*p);
        for (dx, dy) in [(0, 0), (1, 0), (0, 1), (1, 1)] {
            if x + dx < img.width() && y + dy < img.height() {
                img.put_pixel(x + dx, y + dy, Rgb([90, 90, 90]));
            }
        }
    }
    // samples lie up to two cells of 2 mm apart: dots that wide leave no holes
    let side = (4.0 * k).ceil() as u32;
    for s in &map.samples {
        let (x, y) = at([s.at[0], s.at[1]]);
        for (dx, dy) in (0..side).flat_map(|a| (0..side).map(move |b| (a, b))) {
            let (px, py) = ((x + dx).saturating_sub(side / 2), (y + dy).saturating_sub(side / 2));
            if px < img.width() && py < img.height() {
                img.put_pixel(px, py, Rgb(colour(s.gap_mm, most(map))));
            }
        }
    }
    let (bar, top) = (WIDTH / 2, plan + 2 * ROOM);
    for x in 0..bar {
        for y in 0..20 {
            img.put_pixel(ROOM + x, top + y, Rgb(ramp(f64::from(x) / f64::from(bar))));
        }
    }
    let ticks = 4;
    for t in 0..=ticks {
        let v = most(map) * f64::from(t) / f64::from(ticks);
        write_text(&mut img, ROOM + bar * t / ticks, top + 26, 4, &format!("{v:.1} mm"));
    }
    let mut out = Vec::new();
    image::codecs::png::PngEncoder::new(&mut out)
        .write_image(img.as_raw(), img.width(), img.height(), image::ExtendedColorType::Rgb8)
        .map_err(|e| Error::new(Stage::Export, format!("the gap map cannot be drawn: {e}")))?;
    Ok(out)
}
