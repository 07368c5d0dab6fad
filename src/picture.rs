//! JPEG and PNG under limits: photos, masks and the textures of scans.
use crate::error::{Error, Result, Stage};
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder};
use std::io::Cursor;

/// What a photo, a mask or a scan's texture may ask for, whatever its file says of itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhotoLimits {
    /// Longest side read, pixels.
    pub side_px: u32,
    /// Most memory its decoded pixels may take, bytes.
    pub bytes: u64,
}
impl Default for PhotoLimits {
    fn default() -> Self {
        // above any phone's camera (200 megapixels are 16,320 pixels wide and 600 MB), below what fills a small machine
        Self { side_px: 20_000, bytes: 1 << 30 }
    }
}
impl PhotoLimits {
    /// Refuses the picture that is called `what`, of these sides, `bytes` when decoded.
    fn allow(&self, what: &str, [width, height]: [u32; 2], bytes: u64) -> Result<()> {
        let fail = |why: String| {
            Error::new(Stage::Outline, format!("{what} {why}"))
                .hint(format!("make {what} smaller, or raise its limit under [limits]"))
        };
        if width.max(height) > self.side_px {
            return Err(fail(format!("has {width} x {height} pixels, the limit is {} on a side", self.side_px)));
        }
        if bytes > self.bytes {
            return Err(fail(format!("of {width} x {height} pixels takes {bytes} bytes, the limit is {}", self.bytes)));
        }
        Ok(())
    }
}
/// The refusal of what cannot be decoded.
pub(crate) fn undecoded(what: &str, e: &dyn std::fmt::Display) -> Error {
    Error::new(Stage::Outline, format!("{what} cannot be decoded: {e}"))
        .hint(format!("give {what} as a JPEG or PNG file"))
}
/// The picture that is called `what` ("the photo") as it is stored, and how it is to be turned upright.
pub(crate) fn stored(what: &str, bytes: &[u8], most: &PhotoLimits) -> Result<(DynamicImage, Orientation)> {
    if bytes.starts_with(&[0xFF, 0xD8]) && cut_short(bytes) {
        return Err(Error::new(
            Stage::Outline,
            format!("{what}'s file of {} bytes ends before its picture does", bytes.len()),
        )
        .hint("copy it from the camera once more; if it looks whole, open it and save it anew"));
    }
    let fail = |e: image::ImageError| undecoded(what, &e);
    let mut reader =
        image::ImageReader::new(Cursor::new(bytes)).with_guessed_format().map_err(|e| undecoded(what, &e))?;
    let mut limits = image::Limits::default();
    limits.max_alloc = Some(most.bytes);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().map_err(fail)?;
    // the decoder's own limits count its working memory; sides and pixels are refused before any is taken
    let (width, height) = decoder.dimensions();
    most.allow(what, [width, height], decoder.total_bytes().max(4 * u64::from(width) * u64::from(height)))?;
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    Ok((DynamicImage::from_decoder(decoder).map_err(fail)?, orientation))
}
/// Whether a JPEG ends before its picture does: after the first scan's header (marker FF DA) there is no end of image (FF D9),
/// and within a scan FF is followed by 0 or a restart (ITU-T T.81, B.1.1). Decoders fill what is missing with grey.
fn cut_short(bytes: &[u8]) -> bool {
    let mut at = 2;
    while let Some(&[255, marker, high, low]) = bytes.get(at..at + 4) {
        if marker == 0xDA {
            return !bytes[at..].windows(2).any(|w| w == [0xFF, 0xD9]);
        }
        at += 2 + usize::from(u16::from_be_bytes([high, low]));
    }
    false
}
