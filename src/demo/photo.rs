//! A photo of a planted board, by ray casting.
use super::PlantedBoard;
use super::scan::Random;
use crate::error::{Error, Result, Stage};
use image::{ImageEncoder, Rgb, RgbImage};
use nalgebra::{Point3, Rotation3, Vector3};

/// Focal length of a usual phone (35 mm equivalent) and its first radial distortion.
const FILM_MM: u16 = 26;
const K1: f64 = 0.03;
/// Where the floor lies, mm.
const FLOOR_MM: f64 = -85.0;

/// How a photo is taken.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoScene {
    /// Width and height, pixels.
    pub size: [u32; 2],
    /// Distance of the camera from the board's middle, mm.
    pub camera_mm: f64,
    /// Its tilts about the board's x and y and its turn about the board's z, radians.
    pub tilt: [f64; 3],
    /// Whether the focal length is in the EXIF data.
    pub exif: bool,
}
impl Default for PhotoScene {
    fn default() -> Self {
        Self { size: [1600, 1200], camera_mm: 820.0, tilt: [0.06, -0.04, 0.10], exif: true }
    }
}

/// The photo as JPEG.
///
/// # Errors
/// A failure to encode.
pub fn planted_photo(board: &PlantedBoard, scene: &PhotoScene) -> Result<Vec<u8>> {
    let [w, h] = scene.size;
    let focal = f64::from(FILM_MM) / 36.0 * f64::from(w.max(h));
    let turn = Rotation3::from_euler_angles(scene.tilt[0], scene.tilt[1], scene.tilt[2]);
    let eye = Point3::from(turn * Vector3::new(0.0, 0.0, scene.camera_mm));
    let mut r = Random(5);
    // a floor of soft blotches: values on a coarse lattice, interpolated
    let lattice: Vec<f64> = (0..64 * 64).map(|_| r.unit()).collect();
    let blotch = |x: f64, y: f64| {
        let (u, v) = (x / 23.0 + 32.0 * 64.0, y / 23.0 + 32.0 * 64.0);
        let (i, j) = (u.floor(), v.floor());
        let at = |a: f64, b: f64| lattice[(a as usize % 64) * 64 + b as usize % 64];
        let (s, t) = (u - i, v - j);
        at(i, j) * (1.0 - s) * (1.0 - t)
            + at(i + 1.0, j) * s * (1.0 - t)
            + at(i, j + 1.0) * (1.0 - s) * t
            + at(i + 1.0, j + 1.0) * s * t
    };
    let colour = |u: f64, v: f64| -> [f64; 3] {
        let (xd, yd) = ((u - f64::from(w) / 2.0) / focal, (v - f64::from(h) / 2.0) / focal);
        // undistort by fixed point: x_d = x (1 + k1 r^2)
        let (mut x, mut y) = (xd, yd);
        for _ in 0..20 {
            let k = 1.0 + K1 * (x * x + y * y);
            let next = (xd / k, yd / k);
            if next == (x, y) {
                break;
            }
            (x, y) = next;
        }
        let ray = turn * Vector3::new(x, -y, -1.0);
        let (mut hit, mut s) = (None, (eye.z - 20.0) / -ray.z);
        for _ in 0..40 {
            let p = eye + ray * s;
            let z = board.height(p.x, p.y);
            let step = (p.z - z) / -ray.z;
            s += step;
            if step.abs() < 1e-6 {
                let p = eye + ray * s;
                if p.x.abs() < board.length_mm / 2.0 && p.y.abs() < board.half_width(p.x) {
                    hit = Some(p);
                }
                break;
            }
        }
        if let Some(p) = hit {
            let slope = (board.height(p.x + 0.5, p.y) - board.height(p.x - 0.5, p.y))
                - (board.height(p.x, p.y + 0.5) - board.height(p.x, p.y - 0.5));
            let light = 0.9 - 0.6 * slope;
            let stripe = (p.x - 0.4 * p.y + 60.0).rem_euclid(260.0) < 34.0;
            return if stripe { [225.0, 220.0, 205.0] } else { [28.0, 98.0, 118.0] }.map(|c: f64| c * light);
        }
        let p = eye + ray * ((FLOOR_MM - eye.z) / ray.z);
        // the lamp stands to one side: the shadow is the outline moved over the floor
        let (sx, sy) = (p.x - 18.0, p.y + 26.0);
        let shadow = sx.abs() < board.length_mm / 2.0 && sy.abs() < board.half_width(sx);
        let grey = (128.0 + 50.0 * blotch(p.x, p.y)) * if shadow { 0.62 } else { 1.0 };
        [grey, grey * 0.98, grey * 0.94]
    };
    let mut img = RgbImage::new(w, h);
    for v in 0..h {
        for u in 0..w {
            let mut sum = [0.0; 3];
            for (a, b) in [(0.25, 0.25), (0.75, 0.25), (0.25, 0.75), (0.75, 0.75)] {
                let c = colour(f64::from(u) + a, f64::from(v) + b);
                for k in 0..3 {
                    sum[k] += c[k] / 4.0;
                }
            }
            let grain = 6.0 * (r.unit() - 0.5);
            img.put_pixel(u, v, Rgb(sum.map(|c| (c + grain).clamp(0.0, 255.0) as u8)));
        }
    }
    let fail = |e: &dyn std::fmt::Display| Error::new(Stage::Export, format!("the demo photo cannot be encoded: {e}"));
    let mut out = Vec::new();
    let mut encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut out, 90);
    if scene.exif {
        encoder.set_exif_metadata(exif()).map_err(|e| fail(&e))?;
    }
    encoder.encode(img.as_raw(), w, h, image::ExtendedColorType::Rgb8).map_err(|e| fail(&e))?;
    Ok(out)
}
/// A TIFF block with one Exif entry, FocalLengthIn35mmFilm (0xA405, short; CIPA DC-008).
fn exif() -> Vec<u8> {
    let mut t = b"II*\0\x08\0\0\0".to_vec();
    let entry = |tag: u16, kind: u16, value: u32, t: &mut Vec<u8>| {
        t.extend(1u16.to_le_bytes());
        t.extend(tag.to_le_bytes());
        t.extend(kind.to_le_bytes());
        t.extend(1u32.to_le_bytes());
        t.extend(value.to_le_bytes());
        t.extend(0u32.to_le_bytes());
    };
    // the first directory points to the Exif directory, which starts 26 bytes in
    entry(0x8769, 4, 26, &mut t);
    entry(0xA405, 3, u32::from(FILM_MM), &mut t);
    t
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn exif_reads_back() {
        let e = exif::Reader::new().read_raw(super::exif()).unwrap();
        let f = e.get_field(exif::Tag::FocalLengthIn35mmFilm, exif::In::PRIMARY).unwrap();
        assert_eq!(f.value.get_uint(0), Some(u32::from(FILM_MM)));
    }
}
