//! The gap map as a picture in plan: classes, nose and tail, the places of least and greatest gap.
use super::gap_files::{CLASH, colour, most, ramp};
use crate::error::{Error, Result, Stage};
use crate::gap::{GapMap, GapSample, Gasket};
use crate::geom::Polygon;
use crate::num::shown;
use image::{ImageEncoder, Rgb, RgbImage};
use noto_sans_mono_bitmap::{FontWeight, RasterHeight, get_raster, get_raster_width};

/// Pixels along the board, round the picture, and above it for the title.
const WIDTH: u32 = 1600;
const ROOM: u32 = 70;
const TITLE: u32 = 70;
/// Pixels of the scale with its words.
const SCALE: u32 = 190;
const PAPER: [u8; 3] = [250, 250, 247];
const INK: [u8; 3] = [30, 30, 30];
/// Radius of the ring round a place that is marked, pixels.
const RING: i64 = 16;

struct Picture(RgbImage);
impl Picture {
    fn put(&mut self, x: i64, y: i64, c: [u8; 3]) {
        if let (Ok(x), Ok(y)) = (u32::try_from(x), u32::try_from(y))
            && x < self.0.width()
            && y < self.0.height()
        {
            self.0.put_pixel(x, y, Rgb(c));
        }
    }
    /// A rectangle from its upper left corner.
    fn fill(&mut self, at: [i64; 2], size: [i64; 2], c: [u8; 3]) {
        (0..size[0]).for_each(|dx| (0..size[1]).for_each(|dy| self.put(at[0] + dx, at[1] + dy, c)));
    }
    /// Words from their upper left corner, on paper of their own so that nothing crosses them.
    fn words(&mut self, x: i64, y: i64, height: RasterHeight, text: &str) {
        let wide = width(text, height);
        self.fill([x - 3, y], [wide + 6, height.val() as i64], PAPER);
        for (n, ch) in text.chars().enumerate() {
            let of = |c| get_raster(c, FontWeight::Regular, height);
            // a name may hold signs that the font has not
            let Some(raster) = of(ch).or_else(|| of('?')) else { continue };
            let left = x + width(&text.chars().take(n).collect::<String>(), height);
            for (dy, row) in raster.rows().enumerate() {
                for (dx, v) in row.iter().enumerate().filter(|(_, v)| **v > 0) {
                    let mix = |k: usize| PAPER[k] - ((u16::from(PAPER[k] - INK[k]) * u16::from(*v)) / 255) as u8;
                    self.put(left + dx as i64, y + dy as i64, [mix(0), mix(1), mix(2)]);
                }
            }
        }
    }
    /// A ring about a place, dark on light, so that it shows on any colour.
    fn ring(&mut self, x: i64, y: i64) {
        for dx in -RING - 3..=RING + 3 {
            for dy in -RING - 3..=RING + 3 {
                let d = ((dx * dx + dy * dy) as f64).sqrt() - RING as f64;
                if d.abs() <= 3.0 {
                    self.put(x + dx, y + dy, if d.abs() <= 1.5 { INK } else { [255; 3] });
                }
            }
        }
    }
}
/// Pixels that a text takes.
fn width(text: &str, height: RasterHeight) -> i64 {
    (text.chars().count() * get_raster_width(FontWeight::Regular, height)) as i64
}

/// The step of a scale's ticks up to `most`: 1, 2 or 5 times a power of ten, so that every tick is the value printed.
fn step(most: f64) -> f64 {
    let tens = 10f64.powf((most / 8.0).log10().floor());
    [1.0, 2.0, 5.0, 10.0].into_iter().map(|k| k * tens).find(|s| most / s <= 8.0).unwrap_or(most)
}

/// The map in plan with its title, nose and tail, a scale of mm with what the gasket does at each gap, and the places of the least and
/// the greatest gap: dark is a small gap, light a large one, orange a clash.
///
/// # Errors
/// A failure to encode.
pub fn gap_png(map: &GapMap, outline: &Polygon, title: &str, gasket: &Gasket) -> Result<Vec<u8>> {
    let (lo, hi) = outline.bounds();
    let k = f64::from(WIDTH - 2 * ROOM) / (hi[0] - lo[0]);
    let plan = (k * (hi[1] - lo[1])).ceil() as u32;
    let top = TITLE + ROOM;
    let mut img = Picture(RgbImage::from_pixel(WIDTH, top + plan + ROOM + SCALE, Rgb(PAPER)));
    let at = |p: [f64; 2]| {
        [i64::from(ROOM) + (k * (p[0] - lo[0])).round() as i64, i64::from(top) + (k * (hi[1] - p[1])).round() as i64]
    };
    // samples lie up to two cells of 2 mm apart: dots that wide leave no holes
    let side = (4.0 * k).ceil() as i64;
    let most = most(map);
    for s in &map.samples {
        let [x, y] = at([s.at[0], s.at[1]]);
        img.fill([x - side / 2, y - side / 2], [side, side], colour(s.gap_mm, most));
    }
    for p in &outline.resampled(4 * WIDTH as usize).points {
        let [x, y] = at(*p);
        img.fill([x, y], [2, 2], [90, 90, 90]);
    }
    let (large, small) = (RasterHeight::Size32, RasterHeight::Size24);
    let longest = (WIDTH as usize - 80) / get_raster_width(FontWeight::Regular, large);
    let title: String = format!("{title}: gap between rim and deck, mm").chars().take(longest).collect();
    img.words(40, 24, large, &title);
    img.words(i64::from(WIDTH) - 40 - width("nose", small), i64::from(top) - 40, small, "nose");
    img.words(40, i64::from(top) - 40, small, "tail");
    let middle = |text: &str| i64::from(WIDTH) / 2 - width(text, small) / 2;
    for (y, text) in [(top - 40, "left side, seen from the underside"), (top + plan + 16, "right side")] {
        img.words(middle(text), i64::from(y), small, text);
    }
    marked(&mut img, map, &at);
    scale(&mut img, most, i64::from(top + plan + ROOM), gasket);
    let Picture(img) = img;
    let mut out = Vec::new();
    image::codecs::png::PngEncoder::new(&mut out)
        .write_image(img.as_raw(), img.width(), img.height(), image::ExtendedColorType::Rgb8)
        .map_err(|e| Error::new(Stage::Export, format!("the gap map cannot be drawn: {e}")))?;
    Ok(out)
}

/// Rings and words at the least and the greatest gap, the words towards the board's middle.
fn marked(img: &mut Picture, map: &GapMap, at: &dyn Fn([f64; 2]) -> [i64; 2]) {
    let by = |a: &&GapSample, b: &&GapSample| a.gap_mm.total_cmp(&b.gap_mm);
    let places = [("least", map.samples.iter().min_by(by)), ("greatest", map.samples.iter().max_by(by))];
    let height = RasterHeight::Size24;
    let mut taken: Vec<[i64; 2]> = Vec::new();
    for (word, s) in places {
        let Some(s) = s else { continue };
        let [x, y] = at([s.at[0], s.at[1]]);
        img.ring(x, y);
        let text = format!("{word} {:.2} mm", shown(s.gap_mm, 2));
        let (wide, tall) = (width(&text, height), height.val() as i64);
        let middle =
            [i64::from(img.0.width()) / 2, (i64::from(img.0.height()) - i64::from(SCALE) + i64::from(TITLE)) / 2];
        let left = if x > middle[0] { x - RING - 10 - wide } else { x + RING + 10 };
        let mut up = if y > middle[1] { y - RING - tall } else { y + RING };
        // two places beside each other must not share their words
        if taken.iter().any(|t| (t[0] - left).abs() < wide && (t[1] - up).abs() < tall) {
            up += if y > middle[1] { -tall - 4 } else { tall + 4 };
        }
        img.words(left, up, height, &text);
        taken.push([left, up]);
    }
}

/// The scale: colours, values, and what the gasket does at each gap.
fn scale(img: &mut Picture, most: f64, top: i64, gasket: &Gasket) {
    let (left, long) = (i64::from(ROOM), i64::from(WIDTH - 2 * ROOM) * 3 / 4);
    let x = |mm: f64| left + (long as f64 * mm / most).round() as i64;
    for i in 0..long {
        img.fill([left + i, top + 40], [1, 30], ramp(i as f64 / long as f64));
    }
    let small = RasterHeight::Size24;
    let right = left + long + 40;
    img.fill([right, top + 40], [30, 30], CLASH);
    img.words(right + 40, top + 42, small, "cuts into deck");
    let step = step(most);
    for i in 0..=(most / step + 1e-9) as usize {
        let mm = i as f64 * step;
        let digits = if step < 1.0 { 1 } else { 0 };
        let text = format!("{mm:.digits$}");
        img.fill([x(mm), top + 70], [2, 8], INK);
        img.words(x(mm) - width(&text, small) / 2, top + 80, small, &text);
    }
    img.words(x(most) + 40, top + 80, small, "gap, mm");
    if gasket.thickness_mm <= 0.0 {
        return;
    }
    let at = |squeeze: f64| gasket.thickness_mm * (1.0 - squeeze);
    let limits = [0.0, at(gasket.most_ratio), at(gasket.least_ratio), gasket.thickness_mm, most];
    for (name, ends) in ["hard", "sealed", "light", "open"].into_iter().zip(limits.windows(2)) {
        let [a, b] = [ends[0].min(most), ends[1].min(most)];
        if b > a {
            img.fill([x(b), top + 30], [2, 50], INK);
            let place = (x(a) + x(b)) / 2 - width(name, small) / 2;
            if x(b) - x(a) > width(name, small) {
                img.words(place, top + 4, small, name);
            }
        }
    }
    let words = format!(
        "a strip of {} mm seals from {:.2} to {:.2} mm",
        gasket.thickness_mm,
        at(gasket.most_ratio),
        at(gasket.least_ratio)
    );
    img.words(left, top + 120, small, &words);
}

#[cfg(test)]
mod tests {
    use super::*;
    /// Ticks were quarters of the range, rounded to a tenth: 0.75 mm stood as 0.8.
    #[test]
    fn every_tick_is_the_value_printed_beside_it() {
        for most in [1.0, 3.0, 4.0, 7.0, 12.0, 35.0] {
            let s = step(most);
            assert!((most / s) as usize <= 8 && most / s >= 2.0, "{most} {s}");
            for i in 0..8 {
                let v = f64::from(i) * s;
                let printed: f64 = if s < 1.0 { format!("{v:.1}") } else { format!("{v:.0}") }.parse().unwrap();
                assert!((printed - v).abs() < 1e-9, "{most}: {v}");
            }
        }
    }
}
