//! A photo's file: JPEG with its EXIF block.
use super::photo::{PhotoSpec, Tags};
use image::{ExtendedColorType, ImageEncoder, RgbImage, imageops};

/// The picture as the sensor stores it, so that its orientation tag turns it upright (CIPA DC-008, tag 0x0112).
pub fn stored(upright: RgbImage, orientation: u16) -> RgbImage {
    match orientation {
        3 => imageops::rotate180(&upright),
        6 => imageops::rotate270(&upright),
        8 => imageops::rotate90(&upright),
        _ => upright,
    }
}
/// A JPEG with the tags of `spec`.
pub fn encode(picture: &RgbImage, spec: &PhotoSpec) -> Vec<u8> {
    let mut out = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 90);
    if spec.tags != Tags::Missing {
        encoder.set_exif_metadata(tags(picture, spec)).expect("the encoder takes EXIF");
    }
    encoder
        .encode(picture, picture.width(), picture.height(), ExtendedColorType::Rgb8)
        .expect("the picture fits a JPEG");
    out
}
/// A TIFF block: orientation; focal length for 35 mm film, picture width and height (CIPA DC-008 tags 0x0112, 0xA405,
/// 0xA002, 0xA003).
fn tags(picture: &RgbImage, spec: &PhotoSpec) -> Vec<u8> {
    // stale tags speak of a picture of 4032 pixels, whatever is left of it
    let size = match spec.tags {
        Tags::Stale(_) => [4032, 3024],
        _ => [picture.width(), picture.height()],
    };
    let mut t = b"II*\0\x08\0\0\0".to_vec();
    let directory = |entries: &[(u16, u16, u32)], t: &mut Vec<u8>| {
        t.extend((entries.len() as u16).to_le_bytes());
        for (tag, kind, value) in entries {
            t.extend(tag.to_le_bytes());
            t.extend(kind.to_le_bytes());
            t.extend(1u32.to_le_bytes());
            t.extend(value.to_le_bytes());
        }
        t.extend(0u32.to_le_bytes());
    };
    // the second directory begins after the first: 8 + 2 + 2 x 12 + 4 bytes
    directory(&[(0x0112, 3, u32::from(spec.orientation)), (0x8769, 4, 38)], &mut t);
    directory(&[(0xA002, 4, size[0]), (0xA003, 4, size[1]), (0xA405, 3, u32::from(spec.film_mm))], &mut t);
    t
}
