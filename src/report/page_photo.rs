//! The photo for the page: upright, small enough to travel inside it.
use super::{Bytes, PagePhoto, PhotoLine};
use crate::outline::photo::decode;
use image::{ImageEncoder, RgbImage, imageops};

/// Longest side on the page, pixels: sharp on a wide screen, some 300 kB.
const SIDE: usize = 1600;
/// JPEG quality: artefacts stay below a pixel of the shrunken picture.
const QUALITY: u8 = 82;

impl PagePhoto {
    /// A JPEG or PNG with the outline found in it (pixels of the upright picture); `None` where it cannot be decoded.
    pub fn new(bytes: &[u8], contour_px: &[[f64; 2]]) -> Option<Self> {
        let picture = decode(bytes).ok()?;
        let (w, h) = (picture.width, picture.height);
        let full = RgbImage::from_fn(w as u32, h as u32, |u, v| {
            let p = picture.pixels[v as usize * w + u as usize];
            // what a cut-out leaves away is shown white
            let over = |c: u8| ((u32::from(c) * u32::from(p[3]) + 255 * (255 - u32::from(p[3]))) / 255) as u8;
            image::Rgb([over(p[0]), over(p[1]), over(p[2])])
        });
        let most = w.max(h);
        let shrunk = match most > SIDE {
            true => {
                let side = |n: usize| (n * SIDE / most).max(1) as u32;
                imageops::resize(&full, side(w), side(h), imageops::FilterType::Triangle)
            }
            false => full,
        };
        let mut jpeg = Vec::new();
        image::codecs::jpeg::JpegEncoder::new_with_quality(&mut jpeg, QUALITY)
            .write_image(shrunk.as_raw(), shrunk.width(), shrunk.height(), image::ExtendedColorType::Rgb8)
            .ok()?;
        let outline = PhotoLine {
            name: "outline".into(),
            closed: true,
            x: contour_px.iter().map(|p| p[0]).collect(),
            y: contour_px.iter().map(|p| p[1]).collect(),
        };
        Some(Self {
            media_type: "image/jpeg".into(),
            bytes: Bytes(jpeg),
            size_px: [w, h],
            lines: if contour_px.is_empty() { Vec::new() } else { vec![outline] },
            about:
                "The line must lie on the board's rail all round. Where it leaves the rail, take the photo again with \
                    an even floor of another colour."
                    .into(),
            from: "the photo, made smaller".into(),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn large_photos_shrink_and_garbage_is_left_out() {
        let mut png = std::io::Cursor::new(Vec::new());
        image::RgbImage::from_pixel(2000, 500, image::Rgb([90, 120, 60]))
            .write_to(&mut png, image::ImageFormat::Png)
            .unwrap();
        let p = PagePhoto::new(&png.into_inner(), &[[1.0, 2.0], [1999.0, 2.0], [5.0, 400.0]]).unwrap();
        let back = image::load_from_memory(&p.bytes.0).unwrap();
        assert_eq!((back.width(), back.height(), p.size_px), (1600, 400, [2000, 500]));
        assert_eq!(p.lines[0].x.0, [1.0, 1999.0, 5.0]);
        assert_eq!(PagePhoto::new(b"no picture", &[]), None);
    }
}
