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

/// A decoded photo, upright.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    pub width: usize,
    pub height: usize,
    /// Red, green, blue, alpha.
    pub pixels: Vec<[u8; 4]>,
    /// Whether the alpha cuts something out.
    pub cut_out: bool,
    /// Focal length from the EXIF data, pixels.
    pub focal_px: Option<f64>,
}
/// Decodes a JPEG or PNG.
pub(crate) fn decode(bytes: &[u8]) -> Result<Picture> {
    let fail = |e: String| {
        Error::new(Stage::Outline, format!("the photo cannot be decoded: {e}")).hint("give a JPEG or PNG file")
    };
    let mut reader =
        image::ImageReader::new(Cursor::new(bytes)).with_guessed_format().map_err(|e| fail(e.to_string()))?;
    let mut limits = image::Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    limits.max_alloc = Some(MAX_BYTES);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(|e| fail(e.to_string()))?;
    let orientation = decoder.orientation().unwrap_or(image::metadata::Orientation::NoTransforms);
    let mut picture = image::DynamicImage::from_decoder(decoder).map_err(|e| fail(e.to_string()))?;
    picture.apply_orientation(orientation);
    let rgba = picture.to_rgba8();
    let (width, height) = (rgba.width() as usize, rgba.height() as usize);
    let pixels: Vec<[u8; 4]> = rgba.pixels().map(|p| p.0).collect();
    let clear = pixels.iter().filter(|p| p[3] < 128).count();
    let focal_px = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).ok().and_then(|e| {
        let f = e.get_field(exif::Tag::FocalLengthIn35mmFilm, exif::In::PRIMARY)?.value.get_uint(0)?;
        (f > 0).then(|| f64::from(f) / FILM_WIDTH_MM * width.max(height) as f64)
    });
    // one pixel in a hundred each way: less is a stray hole, not a cut-out
    let cut_out = clear * 100 > pixels.len() && (pixels.len() - clear) * 100 > pixels.len();
    Ok(Picture { width, height, pixels, cut_out, focal_px })
}
impl Picture {
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
