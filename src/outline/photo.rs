//! Decodes a photo and its EXIF data.
use crate::error::{Error, Result, Stage};
use image::ImageDecoder;
use std::io::Cursor;

/// Longest side read, pixels: above any phone camera, below what fills a small machine's memory.
const MAX_SIDE: u32 = 20_000;
/// Most memory the decoder may take, bytes.
const MAX_BYTES: u64 = 1 << 30;
/// 35 mm film is 36 mm wide: the equivalent focal length is to it as the focal length to the long side.
const FILM_WIDTH_MM: f64 = 36.0;
/// Longest side worked on, pixels; larger photos are halved first. A pixel is then some .2 mm of a board, of which the edge
/// is found to a tenth.
const WORK_SIDE: usize = 5000;
/// Long side over short side of sensors and of the crops that cameras offer around their middle.
const SENSOR_RATIOS: [f64; 5] = [1.0, 4.0 / 3.0, 1.5, 16.0 / 9.0, 2.0];

/// A decoded photo, upright.
#[derive(Debug, Clone)]
pub(super) struct Picture {
    pub width: usize,
    pub height: usize,
    /// Red, green, blue, alpha.
    pub pixels: Vec<[u8; 4]>,
    /// Whether the alpha cuts something out.
    pub cut_out: bool,
    /// Focal length from the EXIF data, pixels.
    pub focal_px: Option<f64>,
    /// Whether the sides speak of a cut: neither those of the EXIF data nor a sensor's.
    pub cropped: bool,
    /// Pixels of the file along one of these.
    pub file_px: f64,
}
fn fail(e: &dyn std::fmt::Display) -> Error {
    Error::new(Stage::Outline, format!("the photo cannot be decoded: {e}")).hint("give a JPEG or PNG file")
}
fn pixels(bytes: &[u8]) -> Result<image::RgbaImage> {
    let mut reader = image::ImageReader::new(Cursor::new(bytes)).with_guessed_format().map_err(|e| fail(&e))?;
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    limits.max_alloc = Some(MAX_BYTES);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| fail(&e))?;
    let orientation = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let mut picture = image::DynamicImage::from_decoder(decoder).map_err(|e| fail(&e))?;
    picture.apply_orientation(orientation);
    Ok(picture.into_rgba8())
}
/// Decodes a JPEG or PNG.
pub(super) fn decode(bytes: &[u8]) -> Result<Picture> {
    let rgba = pixels(bytes)?;
    let (width, height) = (rgba.width() as usize, rgba.height() as usize);
    if width == 0 || height == 0 {
        return Err(fail(&"it has no pixels"));
    }
    let pixels: Vec<[u8; 4]> = rgba.pixels().map(|p| p.0).collect();
    drop(rgba);
    let meta = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).ok();
    let number = |t: exif::Tag| meta.as_ref()?.get_field(t, exif::In::PRIMARY)?.value.get_uint(0).filter(|v| *v > 0);
    let long = width.max(height) as f64;
    let focal_px = number(exif::Tag::FocalLengthIn35mmFilm).map(|f| f64::from(f) / FILM_WIDTH_MM * long);
    let ratio = long / width.min(height) as f64;
    let shot = number(exif::Tag::PixelXDimension)
        .zip(number(exif::Tag::PixelYDimension))
        .map(|(a, b)| f64::from(a.max(b)) / f64::from(a.min(b)));
    // sides are whole numbers, and resizing rounds them: some pixels in a thousand
    let like = |r: f64| (ratio / r - 1.0).abs() < 0.005;
    let cropped = !shot.map_or_else(|| SENSOR_RATIOS.into_iter().any(like), like);
    let mut p = Picture { width, height, cut_out: cuts(&pixels), pixels, focal_px, cropped, file_px: 1.0 };
    while p.width.max(p.height) > WORK_SIDE {
        p.halve();
    }
    Ok(p)
}
/// Whether alpha parts the picture: one pixel in a hundred each way; less is a stray hole, not a cut-out.
fn cuts(pixels: &[[u8; 4]]) -> bool {
    let clear = pixels.iter().filter(|p| p[3] < 128).count();
    clear * 100 > pixels.len() && (pixels.len() - clear) * 100 > pixels.len()
}
impl Picture {
    /// Takes the mask `bytes` (an image: light or opaque where the board is) as this picture's cut-out.
    pub fn mask(&mut self, bytes: &[u8]) -> Result<()> {
        let m = pixels(bytes)?;
        let (w, h) = (f64::from(m.width()), f64::from(m.height()));
        let bad = |what: String| {
            Error::new(Stage::Outline, format!("the mask {what}"))
                .hint("paint the board white on black over a copy of the photo, and save it as PNG")
        };
        if (w / h / (self.width as f64 / self.height as f64) - 1.0).abs() > 0.01 {
            let (pw, ph) = (self.width as f64 * self.file_px, self.height as f64 * self.file_px);
            return Err(bad(format!("is {w} x {h} pixels and has not the shape of its photo, {pw} x {ph}")));
        }
        let transparent = m.pixels().any(|p| p.0[3] < 128);
        let value = |q: &image::Rgba<u8>| {
            if transparent { q.0[3] } else { ((u32::from(q.0[0]) + u32::from(q.0[1]) + u32::from(q.0[2])) / 3) as u8 }
        };
        let values: Vec<[u8; 4]> = m.pixels().map(|q| [0, 0, 0, value(q)]).collect();
        let mask = Self {
            width: m.width() as usize,
            height: m.height() as usize,
            pixels: values,
            cut_out: true,
            focal_px: None,
            cropped: false,
            file_px: 1.0,
        };
        let s = w / self.width as f64;
        for i in 0..self.pixels.len() {
            let (u, v) = ((i % self.width) as f64 + 0.5, (i / self.width) as f64 + 0.5);
            self.pixels[i][3] = mask.at(u * s, v * s)[3] as u8;
        }
        self.cut_out = cuts(&self.pixels);
        if self.cut_out { Ok(()) } else { Err(bad("is light or dark all over".into())) }
    }
    /// Takes a closed line traced over the photo (pixels of the file) as this picture's cut-out: covered share of each pixel.
    pub fn trace(&mut self, line: &[[f64; 2]]) {
        /// Lines sampled in a pixel's height: its share is then good to a fiftieth of a pixel on sloping borders.
        const LINES: usize = 8;
        let line: Vec<[f64; 2]> = line.iter().map(|p| [p[0] / self.file_px, p[1] / self.file_px]).collect();
        let line = crate::geom::Polygon { points: line };
        let mut cover = vec![0.0; self.width];
        for row in 0..self.height {
            cover.fill(0.0);
            for s in 0..LINES {
                let v = row as f64 + (s as f64 + 0.5) / LINES as f64;
                let mut cuts: Vec<f64> = line
                    .edges()
                    .filter(|(a, b)| (a[1] > v) != (b[1] > v))
                    .map(|(a, b)| a[0] + (v - a[1]) / (b[1] - a[1]) * (b[0] - a[0]))
                    .collect();
                cuts.sort_unstable_by(f64::total_cmp);
                for pair in cuts.chunks_exact(2) {
                    let (a, b) = (pair[0].max(0.0), pair[1].min(self.width as f64));
                    for k in a as usize..(b.ceil().max(0.0) as usize).min(self.width) {
                        cover[k] += (b.min(k as f64 + 1.0) - a.max(k as f64)).max(0.0) / LINES as f64;
                    }
                }
            }
            for (p, c) in self.pixels[row * self.width..].iter_mut().zip(&cover) {
                p[3] = (255.0 * c).round().clamp(0.0, 255.0) as u8;
            }
        }
        self.cut_out = true;
    }
    /// Two by two pixels to one; an odd last row or column is dropped.
    fn halve(&mut self) {
        let (w, h) = (self.width / 2, self.height / 2);
        self.pixels = (0..w * h)
            .map(|i| {
                let at = |x: usize, y: usize| self.pixels[(i / w * 2 + y) * self.width + i % w * 2 + x];
                let q = [at(0, 0), at(1, 0), at(0, 1), at(1, 1)];
                std::array::from_fn(|k| ((q.iter().map(|p| u32::from(p[k])).sum::<u32>() + 2) / 4) as u8)
            })
            .collect();
        (self.width, self.height) = (w, h);
        self.focal_px = self.focal_px.map(|f| f / 2.0);
        self.file_px *= 2.0;
    }
    /// This picture small enough that its long side is at most `side`.
    pub fn at_most(&self, side: usize) -> Self {
        let mut p = self.clone();
        while p.width.max(p.height) > side {
            p.halve();
        }
        p
    }
    /// Colour at (u, v), pixel centres at half-integers, bilinear; the border goes on outside.
    pub fn at(&self, u: f64, v: f64) -> [f64; 4] {
        let cl = |t: f64, n: usize| (t - 0.5).clamp(0.0, (n - 1) as f64);
        let (x, y) = (cl(u, self.width), cl(v, self.height));
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f64, y - j as f64);
        let (i1, j1) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let p = |i: usize, j: usize| self.pixels[j * self.width + i];
        let (a, b, c, d) = (p(i, j), p(i1, j), p(i, j1), p(i1, j1));
        std::array::from_fn(|k| {
            let f = |q: [u8; 4]| f64::from(q[k]);
            (1.0 - fy) * ((1.0 - fx) * f(a) + fx * f(b)) + fy * ((1.0 - fx) * f(c) + fx * f(d))
        })
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn garbage_is_an_error() {
        for b in [&b""[..], b"not a picture", b"\x89PNG\r\n\x1a\nbroken", b"\xff\xd8\xff\xe0broken"] {
            assert_eq!(decode(b).unwrap_err().stage(), Stage::Outline);
        }
    }
}
