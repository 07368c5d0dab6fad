//! Decodes a photo and its EXIF data.
use crate::error::{Error, Result, Stage};
use crate::geom::Polygon;
use crate::num::each;
use crate::picture::{PhotoLimits, stored, undecoded};
use image::metadata::Orientation;
use image::{DynamicImage, RgbImage, RgbaImage};
use std::io::Cursor;

/// 35 mm film is 36 mm wide: the equivalent focal length is to it as the focal length to the long side.
const FILM_WIDTH_MM: f64 = 36.0;
/// Longest side worked on, pixels; larger photos are halved first. A pixel is then some .2 mm of a board, of which the edge
/// is found to a tenth.
const WORK_SIDE: usize = 5000;
/// Long side over short side of sensors and of the crops that cameras offer around their middle.
const SENSOR_RATIOS: [f64; 5] = [1.0, 4.0 / 3.0, 1.5, 16.0 / 9.0, 2.0];

/// Sides this near, ln of their ratio, are the same sides: a squeeze by less could be a camera's tilt of ten degrees.
const SQUARE: f64 = 0.05;
/// A picture squeezed by more than half, ln of the ratio, is no accident.
const MOST_SQUEEZE: f64 = std::f64::consts::LN_2;

/// A decoded photo, upright.
#[derive(Debug, Clone)]
pub(crate) struct Picture {
    pub width: usize,
    pub height: usize,
    /// Red, green, blue, alpha.
    pub pixels: Vec<[u8; 4]>,
    /// Whether the alpha cuts something out.
    pub cut_out: bool,
    /// What says where the rail is, drawn by hand: "mask" or "path".
    pub drawn: Option<&'static str>,
    /// Focal length from the EXIF data, pixels.
    pub focal_px: Option<f64>,
    /// Whether the sides speak of a cut: neither those of the EXIF data nor a sensor's.
    pub cropped: bool,
    /// Whether the EXIF data speak of another size: what made it smaller may have cut it too, and the focal length is then a longer one.
    pub resized: bool,
    /// Pixels of the file along one of these.
    pub file_px: f64,
}
/// Width and height of a small picture, and its blocks row by row.
pub(crate) type Blocks = (usize, usize, Vec<Block>);
/// Pixels taken together.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Block {
    /// Red, green, blue.
    pub mean: [f64; 3],
    /// Standard deviation of the lightness.
    pub scatter: f64,
}
fn upright((mut picture, orientation): (DynamicImage, Orientation)) -> RgbaImage {
    picture.apply_orientation(orientation);
    picture.into_rgba8()
}
/// Whether the stored columns and rows run against the axes they become when the picture is turned upright (TIFF 6.0, tag 274).
fn reversed(orientation: Orientation) -> [bool; 2] {
    use Orientation::{
        FlipHorizontal, FlipVertical, NoTransforms, Rotate90, Rotate90FlipH, Rotate180, Rotate270, Rotate270FlipH,
    };
    match orientation {
        NoTransforms | Rotate90FlipH => [false, false],
        FlipHorizontal | Rotate270 => [true, false],
        FlipVertical | Rotate90 => [false, true],
        Rotate180 | Rotate270FlipH => [true, true],
    }
}
/// The mean of each two by two pixels: what [`Picture::half`] does, before a large photo is turned and given alpha. Of an odd number
/// of columns or rows the one is dropped that will be the last.
fn halved(photo: &RgbImage, orientation: Orientation) -> RgbImage {
    let wide = 3 * photo.width() as usize;
    let [reversed_x, reversed_y] = reversed(orientation);
    let skipped = |n: u32, reversed: bool| usize::from(reversed) * (n % 2) as usize;
    let (left, top) = (skipped(photo.width(), reversed_x), skipped(photo.height(), reversed_y));
    let rows = each(photo.height() as usize / 2, |y| {
        let from = (2 * y + top) * wide;
        let (above, below) = photo.as_raw()[from..from + 2 * wide].split_at(wide);
        let pairs = above[3 * left..].as_chunks::<6>().0.iter().zip(below[3 * left..].as_chunks::<6>().0);
        let mean = |a: &[u8; 6], b: &[u8; 6], k: usize| {
            ((u16::from(a[k]) + u16::from(a[k + 3]) + u16::from(b[k]) + u16::from(b[k + 3]) + 2) / 4) as u8
        };
        pairs.flat_map(|(a, b)| [0, 1, 2].map(|k| mean(a, b, k))).collect::<Vec<u8>>()
    });
    RgbImage::from_raw(photo.width() / 2, photo.height() / 2, rows.concat()).unwrap_or_default()
}
/// Decodes a JPEG or PNG.
pub(crate) fn decode(bytes: &[u8], limits: &PhotoLimits) -> Result<Picture> {
    let (mut stored, orientation) = stored("the photo", bytes, limits)?;
    let mut file_px = 1.0;
    if let DynamicImage::ImageRgb8(photo) = &stored
        && photo.width().max(photo.height()) as usize > WORK_SIDE
    {
        stored = halved(photo, orientation).into();
        file_px = 2.0;
    }
    let rgba = upright((stored, orientation));
    let (width, height) = (rgba.width() as usize, rgba.height() as usize);
    if width == 0 || height == 0 {
        return Err(undecoded("the photo", &"it has no pixels"));
    }
    let pixels = rgba.as_raw().as_chunks::<4>().0.to_vec();
    drop(rgba);
    let meta = exif::Reader::new().read_from_container(&mut Cursor::new(bytes)).ok();
    let number = |t: exif::Tag| meta.as_ref()?.get_field(t, exif::In::PRIMARY)?.value.get_uint(0).filter(|v| *v > 0);
    let long = width.max(height) as f64;
    let focal_px = number(exif::Tag::FocalLengthIn35mmFilm).map(|f| f64::from(f) / FILM_WIDTH_MM * long);
    let ratio = long / width.min(height) as f64;
    let shot = number(exif::Tag::PixelXDimension)
        .zip(number(exif::Tag::PixelYDimension))
        .map(|(a, b)| (f64::from(a.max(b)), f64::from(a.min(b))));
    // sides are whole numbers, and resizing rounds them: some pixels in a thousand
    let same = |a: f64, b: f64| (a / b - 1.0).abs() < 0.005;
    let cropped = !shot.map_or_else(|| SENSOR_RATIOS.iter().any(|r| same(ratio, *r)), |(a, b)| same(ratio, a / b));
    let resized = shot.is_some_and(|(a, _)| !same(long * file_px, a));
    let mut p =
        Picture { width, height, cut_out: cuts(&pixels), drawn: None, pixels, focal_px, cropped, resized, file_px };
    while p.width.max(p.height) > WORK_SIDE {
        p = p.half();
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
    pub fn mask(&mut self, bytes: &[u8], limits: &PhotoLimits) -> Result<()> {
        let m = stored("the mask", bytes, limits).map(upright)?;
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
            drawn: None,
            focal_px: None,
            cropped: false,
            resized: false,
            file_px: 1.0,
        };
        let s = w / self.width as f64;
        for i in 0..self.pixels.len() {
            let (u, v) = ((i % self.width) as f64 + 0.5, (i / self.width) as f64 + 0.5);
            self.pixels[i][3] = mask.at(u * s, v * s)[3] as u8;
        }
        self.cut_out = cuts(&self.pixels);
        self.drawn = Some("mask");
        if self.cut_out { Ok(()) } else { Err(bad("is light or dark all over".into())) }
    }
    /// Takes a closed line traced over the photo (pixels of the file) as this picture's cut-out: covered share of each pixel.
    pub fn trace(&mut self, line: &[[f64; 2]]) {
        let points = line.iter().map(|p| [p[0] / self.file_px, p[1] / self.file_px]).collect();
        let shares = super::cover::covered(&Polygon { points }, self.width, self.height);
        for (p, share) in self.pixels.iter_mut().zip(shares) {
            p[3] = (255.0 * share).round() as u8;
        }
        self.cut_out = true;
        self.drawn = Some("path");
    }
    /// This picture with its height changed; a focal length in pixels of its sides is then unknown.
    pub fn with_height(&self, height: usize) -> Self {
        let by = self.height as f64 / height as f64;
        let pixels = (0..self.width * height).map(|i| {
            let (u, v) = ((i % self.width) as f64 + 0.5, (i / self.width) as f64 + 0.5);
            self.at(u, v * by).map(|c| c.round() as u8)
        });
        Self { height, pixels: pixels.collect(), focal_px: None, cropped: false, resized: false, ..*self }
    }
    /// Heights this picture would have were its sides a sensor's, lying and standing, but for those it nearly has.
    pub fn other_heights(&self) -> Vec<usize> {
        let upright = SENSOR_RATIOS.into_iter().flat_map(|r| [r, 1.0 / r]);
        let mut heights: Vec<usize> = upright.map(|r| (self.width as f64 / r).round() as usize).collect();
        heights.sort_unstable();
        heights.dedup();
        let by = |h: &usize| (*h as f64 / self.height as f64).ln().abs();
        heights.retain(|h| by(h) > SQUARE && by(h) < MOST_SQUEEZE);
        heights
    }
    /// Two by two pixels to one; an odd last row or column is dropped.
    pub(super) fn half(&self) -> Self {
        let (width, height) = (self.width / 2, self.height / 2);
        let rows = each(height, |y| {
            let (above, below) = self.pixels[2 * y * self.width..(2 * y + 2) * self.width].split_at(self.width);
            let pairs = above.as_chunks::<2>().0.iter().zip(below.as_chunks::<2>().0);
            let mean = |[a, b]: &[[u8; 4]; 2], [c, d]: &[[u8; 4]; 2], k: usize| {
                ((u16::from(a[k]) + u16::from(b[k]) + u16::from(c[k]) + u16::from(d[k]) + 2) / 4) as u8
            };
            pairs.map(|(a, c)| std::array::from_fn(|k| mean(a, c, k))).collect::<Vec<[u8; 4]>>()
        });
        Self {
            width,
            height,
            pixels: rows.concat(),
            cut_out: self.cut_out,
            drawn: self.drawn,
            focal_px: self.focal_px.map(|f| f / 2.0),
            cropped: self.cropped,
            resized: self.resized,
            file_px: 2.0 * self.file_px,
        }
    }
    /// Width, height and the blocks of `step` by `step` pixels; what is left over at the far sides is dropped.
    pub fn blocks(&self, step: usize) -> Blocks {
        let (w, h) = (self.width / step, self.height / step);
        let block = |i: usize| {
            let (mut mean, mut light, mut squared) = ([0.0; 3], 0.0, 0.0);
            for y in 0..step {
                for x in 0..step {
                    let q = self.pixels[(i / w * step + y) * self.width + i % w * step + x].map(f64::from);
                    (0..3).for_each(|k| mean[k] += q[k]);
                    let l = (q[0] + q[1] + q[2]) / 3.0;
                    light += l;
                    squared += l * l;
                }
            }
            let n = (step * step) as f64;
            Block { mean: mean.map(|v| v / n), scatter: (squared / n - (light / n).powi(2)).max(0.0).sqrt() }
        };
        (w, h, (0..w * h).map(block).collect())
    }
    /// This picture small enough that its long side is at most `side`.
    pub fn at_most(&self, side: usize) -> Self {
        if self.width.max(self.height) <= side { self.clone() } else { self.half().at_most(side) }
    }
    /// Red, green and blue at (u, v) as [`Picture::at`] has them, in single precision.
    pub fn rgb(&self, u: f64, v: f64) -> [f32; 3] {
        let cl = |t: f64, n: usize| (t - 0.5).clamp(0.0, (n - 1) as f64);
        let (x, y) = (cl(u, self.width), cl(v, self.height));
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = ((x - i as f64) as f32, (y - j as f64) as f32);
        let (i1, j1) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let p = |i: usize, j: usize| &self.pixels[j * self.width + i];
        let (a, b, c, d) = (p(i, j), p(i1, j), p(i, j1), p(i1, j1));
        let (gx, gy) = (1.0 - fx, 1.0 - fy);
        [0, 1, 2].map(|k| {
            let [a, b, c, d] = [a, b, c, d].map(|p| f32::from(p[k]));
            gy * (gx * a + fx * b) + fy * (gx * c + fx * d)
        })
    }
    /// Colour at (u, v), pixel centres at half-integers, bilinear; the border goes on outside.
    pub fn at(&self, u: f64, v: f64) -> [f64; 4] {
        let cl = |t: f64, n: usize| (t - 0.5).clamp(0.0, (n - 1) as f64);
        let (x, y) = (cl(u, self.width), cl(v, self.height));
        let (i, j) = (x as usize, y as usize);
        let (fx, fy) = (x - i as f64, y - j as f64);
        let (i1, j1) = ((i + 1).min(self.width - 1), (j + 1).min(self.height - 1));
        let p = |i: usize, j: usize| self.pixels[j * self.width + i].map(f64::from);
        let (a, b, c, d) = (p(i, j), p(i1, j), p(i, j1), p(i1, j1));
        let (gx, gy) = (1.0 - fx, 1.0 - fy);
        std::array::from_fn(|k| gy * (gx * a[k] + fx * b[k]) + fy * (gx * c[k] + fx * d[k]))
    }
}
/// The picture of a PNG that holds `image`.
#[cfg(test)]
pub(super) fn pictured(image: &RgbImage) -> Picture {
    let mut png = std::io::Cursor::new(Vec::new());
    image.write_to(&mut png, image::ImageFormat::Png).unwrap();
    decode(png.get_ref(), &PhotoLimits::default()).unwrap()
}
#[cfg(test)]
mod tests {
    use super::*;
    /// A file cut anywhere, even within its last two bytes, is told; decoders fill what is missing.
    #[test]
    fn a_jpeg_cut_short_is_told() {
        let mut whole = Vec::new();
        let picture = RgbImage::from_fn(64, 48, |x, y| image::Rgb([(x * 4) as u8, (y * 5) as u8, 90]));
        let encoder = image::codecs::jpeg::JpegEncoder::new(&mut whole);
        picture.write_with_encoder(encoder).unwrap();
        assert!(decode(&whole).is_ok());
        // what cameras append behind the picture does not matter
        assert!(decode(&[whole.as_slice(), b"more"].concat()).is_ok());
        for n in [whole.len() - 1, whole.len() - 2, whole.len() * 3 / 4] {
            let e = decode(&whole[..n]).unwrap_err();
            assert!(e.message().contains(&format!("{n} bytes ends before")) && e.hint_text().is_some(), "{e}");
        }
    }
    fn decode(bytes: &[u8]) -> Result<Picture> {
        super::decode(bytes, &PhotoLimits::default())
    }
    #[test]
    fn garbage_is_an_error() {
        for b in [&b""[..], b"not a picture", b"\x89PNG\r\n\x1a\nbroken", b"\xff\xd8\xff\xe0broken"] {
            assert_eq!(decode(b).unwrap_err().stage(), Stage::Outline);
        }
    }
    /// A JPEG whose left upper corner is red, with EXIF entries (tag, value): short ones of the first directory and, of the
    /// Exif directory, those from 0xA000 on (TIFF 6.0; CIPA DC-008).
    fn jpeg(w: u32, h: u32, entries: &[(u16, u32)]) -> Vec<u8> {
        let (sub, first): (Vec<_>, Vec<_>) = entries.iter().copied().partition(|e| e.0 >= 0xA000);
        let mut t = b"II*\0\x08\0\0\0".to_vec();
        let at = 8 + 2 + 12 * (first.len() as u32 + 1) + 4;
        let mut directory = |entries: &[(u16, u16, u32)]| {
            t.extend((entries.len() as u16).to_le_bytes());
            for (tag, kind, value) in entries {
                t.extend(tag.to_le_bytes());
                t.extend(kind.to_le_bytes());
                t.extend(1u32.to_le_bytes());
                t.extend(value.to_le_bytes());
            }
            t.extend(0u32.to_le_bytes());
        };
        let mut one: Vec<_> = first.iter().map(|e| (e.0, 3, e.1)).collect();
        one.push((0x8769, 4, at));
        directory(&one);
        directory(&sub.iter().map(|e| (e.0, 3, e.1)).collect::<Vec<_>>());
        let red = |x: u32, y: u32| if x < w / 4 && y < h / 4 { [250, 10, 10] } else { [90, 90, 90] };
        let picture = image::RgbImage::from_fn(w, h, |x, y| image::Rgb(red(x, y)));
        let mut out = Vec::new();
        let mut e = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 95);
        image::ImageEncoder::set_exif_metadata(&mut e, t).unwrap();
        e.encode(picture.as_raw(), w, h, image::ExtendedColorType::Rgb8).unwrap();
        out
    }
    /// Where the stored left upper corner goes, by the table of the Orientation tag (TIFF 6.0, tag 274): the stored row 0
    /// and column 0 are the picture's top and left, top and right, bottom and right, ... side.
    #[test]
    fn orientation_turns_the_photo_upright() {
        let corners = [[0, 0], [1, 0], [1, 1], [0, 1], [0, 0], [1, 0], [1, 1], [0, 1]];
        for (k, corner) in corners.into_iter().enumerate() {
            let p = decode(&jpeg(80, 60, &[(0x0112, k as u32 + 1)])).unwrap();
            assert_eq!((p.width, p.height), if k < 4 { (80, 60) } else { (60, 80) }, "orientation {}", k + 1);
            let at = |c: usize, n: usize| if c == 0 { 4.0 } else { n as f64 - 4.0 };
            let c = p.at(at(corner[0], p.width), at(corner[1], p.height));
            assert!(c[0] > 200.0 && c[1] < 60.0, "orientation {}: {c:?}", k + 1);
        }
    }
    /// CIPA DC-008: FocalLengthIn35mmFilm 0xA405, PixelXDimension 0xA002, PixelYDimension 0xA003.
    #[test]
    fn focal_length_survives_resizing_and_cuts_are_noticed() {
        let focal =
            |w, h, e: &[(u16, u32)]| decode(&jpeg(w, h, e)).map(|p| (p.focal_px, p.cropped, p.resized)).unwrap();
        assert_eq!(focal(360, 270, &[(0xA405, 26)]), (Some(260.0), false, false));
        assert_eq!(focal(270, 360, &[(0xA405, 26)]), (Some(260.0), false, false));
        // resized after it was taken: the 35 mm equivalent goes with the long side
        assert_eq!(focal(360, 270, &[(0xA405, 26), (0xA002, 4000), (0xA003, 3000)]), (Some(260.0), false, true));
        assert_eq!(focal(360, 270, &[(0xA405, 26), (0xA002, 360), (0xA003, 270)]), (Some(260.0), false, false));
        assert_eq!(focal(360, 200, &[(0xA405, 26), (0xA002, 4000), (0xA003, 3000)]), (Some(260.0), true, true));
        assert_eq!(focal(360, 290, &[]), (None, true, false));
        assert_eq!(focal(320, 240, &[(0xA405, 0)]), (None, false, false));
    }
    #[test]
    fn large_photos_are_halved_and_small_pictures_keep_their_pixels() {
        let p = decode(&jpeg(800, 600, &[(0xA405, 36)])).unwrap();
        let (before, f) = (p.at(200.0, 150.0), p.focal_px.unwrap());
        let p = p.half();
        assert_eq!((p.width, p.height, p.file_px, p.focal_px), (400, 300, 2.0, Some(f / 2.0)));
        let after = p.at(100.0, 75.0);
        assert!((before[0] - after[0]).abs() < 30.0, "{before:?} {after:?}");
        assert_eq!(p.at_most(150).width, 100);
    }
    /// Whatever way it is turned and whether its sides are odd: the pixels are those of the photo turned first, halved afterwards.
    #[test]
    fn large_photos_come_out_alike_halved_before_or_after_they_are_turned() {
        for (width, height) in [(WORK_SIDE as u32 + 200, 40), (WORK_SIDE as u32 + 201, 41)] {
            let photo = RgbImage::from_fn(width, height, |x, y| {
                image::Rgb([(x * 7 % 256) as u8, (y * 31 % 256) as u8, (x * y % 256) as u8])
            });
            for exif in 1..=8 {
                let orientation = Orientation::from_exif(exif).unwrap();
                let before = upright((halved(&photo, orientation).into(), orientation));
                let turned = upright((photo.clone().into(), orientation));
                let after = Picture {
                    width: turned.width() as usize,
                    height: turned.height() as usize,
                    pixels: turned.as_raw().as_chunks::<4>().0.to_vec(),
                    cut_out: false,
                    drawn: None,
                    focal_px: None,
                    cropped: false,
                    resized: false,
                    file_px: 1.0,
                }
                .half();
                assert_eq!((before.width() as usize, before.height() as usize), (after.width, after.height), "{exif}");
                assert!(before.as_raw().as_chunks::<4>().0 == after.pixels, "{width} x {height}, orientation {exif}");
            }
            let mut png = Cursor::new(Vec::new());
            photo.write_to(&mut png, image::ImageFormat::Png).unwrap();
            let p = decode(png.get_ref()).unwrap();
            assert_eq!((p.width, p.height, p.file_px), (width as usize / 2, 20, 2.0));
        }
    }
    #[test]
    fn mask_and_trace_cut_out_the_same() {
        let mut masked = decode(&jpeg(400, 300, &[])).unwrap();
        let mut traced = masked.clone();
        let inside = |x: f64, y: f64| (100.0..300.0).contains(&x) && (80.0..200.5).contains(&y);
        let mask = image::GrayImage::from_fn(800, 600, |x, y| {
            image::Luma([if inside(f64::from(x) / 2.0 + 0.25, f64::from(y) / 2.0 + 0.25) { 255 } else { 0 }])
        });
        let mut png = Cursor::new(Vec::new());
        mask.write_to(&mut png, image::ImageFormat::Png).unwrap();
        masked.mask(png.get_ref(), &PhotoLimits::default()).unwrap();
        traced.trace(&[[100.0, 80.0], [300.0, 80.0], [300.0, 200.5], [100.0, 200.5]]);
        assert!(masked.cut_out && traced.cut_out);
        for (x, y, want) in [(150.0, 120.0, 255.0), (50.5, 120.5, 0.0), (150.5, 200.5, 127.5), (250.5, 250.5, 0.0)] {
            for p in [&masked, &traced] {
                assert!((p.at(x, y)[3] - want).abs() < 3.0, "{x} {y}: {}", p.at(x, y)[3]);
            }
        }
        let e = decode(&jpeg(400, 200, &[])).unwrap().mask(png.get_ref(), &PhotoLimits::default()).unwrap_err();
        assert!(e.message().contains("800 x 600"), "{e}");
    }
}
