//! The photo with what was found drawn over it.
use super::photo::Picture;
use super::{PhotoLines, PhotoPicture};
use crate::error::{Error, Result, Stage};
use crate::num::at_once;
use image::ImageEncoder;

/// Longest side of the picture, pixels: fills a screen, weighs some hundred kilobytes.
const SIDE: usize = 1600;
/// Colours of the found rail, the scan's rim and what was bridged: apart in lightness too, for colour-blind eyes.
const FOUND: [u8; 3] = [255, 221, 0];
const SCAN: [u8; 3] = [0, 190, 255];
const BRIDGED: [u8; 3] = [255, 0, 160];

fn jpeg(rgb: &[u8], size_px: [usize; 2]) -> Result<Vec<u8>> {
    let mut out = Vec::new();
    image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 85)
        .write_image(rgb, size_px[0] as u32, size_px[1] as u32, image::ExtendedColorType::Rgb8)
        .map_err(|e| {
            Error::new(Stage::Outline, format!("the picture of the found rail cannot be encoded: {e}"))
                .hint("report this with the photo")
        })?;
    Ok(out)
}

/// The photo made smaller, bare and with the scan's rim as the solved camera predicts it (blue), the found rail (yellow) bridged parts (magenta)
/// and bolt holes found (blue crosses). Pixels of `photo`.
pub(super) fn overlay(
    photo: &Picture,
    scan: &[[f64; 2]],
    found: &[[f64; 2]],
    hidden: &[bool],
    holes: &[[f64; 2]],
) -> Result<PhotoPicture> {
    let small = photo.at_most(SIDE);
    let s = photo.width as f64 / small.width as f64;
    let (w, h) = (small.width, small.height);
    let mut rgb: Vec<u8> = small.pixels.iter().flat_map(|p| [p[0], p[1], p[2]]).collect();
    let plain = rgb.clone();
    let mut line = |a: [f64; 2], b: [f64; 2], c: [u8; 3], wide: bool| {
        let (a, b) = (a.map(|v| v / s), b.map(|v| v / s));
        // pieces far outside (a camera gone astray) would take for ever
        let steps = (b[0] - a[0]).hypot(b[1] - a[1]).min((w + h) as f64).ceil().max(1.0);
        for k in 0..=steps as usize {
            let t = k as f64 / steps;
            let (u, v) = (a[0] + t * (b[0] - a[0]), a[1] + t * (b[1] - a[1]));
            let reach = usize::from(wide);
            for (x, y) in (0..=reach).flat_map(|x| (0..=reach).map(move |y| (u + x as f64, v + y as f64))) {
                if x >= 0.0 && y >= 0.0 && (x as usize) < w && (y as usize) < h {
                    let at = 3 * (y as usize * w + x as usize);
                    rgb[at..at + 3].copy_from_slice(&c);
                }
            }
        }
    };
    for (points, own) in [(scan, Some(SCAN)), (found, None)] {
        for i in 0..points.len() {
            let j = (i + 1) % points.len();
            let c = own.unwrap_or(if hidden.get(i).copied().unwrap_or(false) { BRIDGED } else { FOUND });
            line(points[i], points[j], c, own.is_none());
        }
    }
    for h in holes {
        let r = 0.004 * photo.width.max(photo.height) as f64;
        for [u, v] in [[r, r], [r, -r]] {
            line([h[0] - u, h[1] - v], [h[0] + u, h[1] + v], SCAN, false);
        }
    }
    let on = |points: &[[f64; 2]]| points.iter().map(|p| p.map(|v| v / s)).collect();
    let lines = PhotoLines { rail: on(found), scan_rim: on(scan), hidden: hidden.to_vec(), holes: on(holes) };
    let (drawn, bare) = at_once(|| jpeg(&rgb, [w, h]), || jpeg(&plain, [w, h]));
    Ok(PhotoPicture { drawn: drawn?, bare: bare?, size_px: [w, h], lines })
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn colours_stand_where_they_should() {
        let photo = Picture {
            width: 400,
            height: 200,
            pixels: vec![[90, 90, 90, 255]; 80_000],
            cut_out: false,
            drawn: None,
            focal_px: None,
            cropped: false,
            resized: false,
            file_px: 1.0,
        };
        let square = |m: f64| vec![[m, m], [400.0 - m, m], [400.0 - m, 200.0 - m], [m, 200.0 - m]];
        let made =
            overlay(&photo, &square(60.0), &square(30.0), &[false, true, false, false], &[[200.0, 100.0]]).unwrap();
        assert_eq!(
            (made.size_px, made.lines.rail[1], made.lines.holes[0]),
            ([400, 200], [370.0, 30.0], [200.0, 100.0])
        );
        let bare = image::load_from_memory(&made.bare).unwrap().to_rgb8();
        assert!(bare.pixels().all(|p| p.0.iter().all(|c| c.abs_diff(90) < 4)));
        let back = image::load_from_memory(&made.drawn).unwrap().to_rgb8();
        let near = |x: u32, y: u32, c: [u8; 3]| {
            let p = back.get_pixel(x, y).0;
            assert!((0..3).all(|k| p[k].abs_diff(c[k]) < 90), "{p:?} at {x} {y}, not {c:?}");
        };
        near(200, 30, FOUND);
        near(370, 100, BRIDGED);
        near(200, 60, SCAN);
        near(200, 100, SCAN);
        near(180, 110, [90; 3]);
        // a contour that flew off is no panic and no endless loop
        assert!(overlay(&photo, &[[f64::NAN, 1e300], [-1e300, 0.0]], &[], &[], &[]).is_ok());
    }
}
