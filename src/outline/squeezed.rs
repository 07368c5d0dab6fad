//! Whether a photo fits the scan only with its height changed: its pixels are then not square. A camera tilted far with a long
//! lens sees a board much as a squeezed photo shows it, so that the rail alone does not tell.
use super::alone::{Found, Scene, find_by_colour};
use super::photo::Picture;
use super::prior::LensPrior;
use super::start::{OFF_MM, Prior};

/// A phone held over a board by hand is off square by 20 degrees at most, by these as a standard deviation.
const TILT_DEG: f64 = 10.0;
/// What is so far from usual, as a chi-square of three, is a reason to look: 1 in 30 by a normal law.
const UNUSUAL: f64 = 9.0;

/// How unusual a camera and its contour are: a chi-square of focal length, tilt and contour.
fn unusual(f: &Found) -> f64 {
    let camera = &f.state.camera;
    let tilt = camera.rotation[(2, 2)].abs().min(1.0).acos().to_degrees();
    let focal = f.lens.deviation(&camera.lens)[0] / f.lens.sd()[0];
    focal.powi(2) + (tilt / TILT_DEG).powi(2) + (f.rms_mm / OFF_MM).powi(2)
}
/// Whether a phone held over a board by hand may have seen this.
pub(super) fn usual(f: &Found) -> bool {
    unusual(f) <= UNUSUAL
}
/// What was found in a photo, unless one of a sensor's sides makes it far less unusual: then half a sentence.
pub(super) fn refused(
    photo: &Picture,
    scene: &Scene,
    prior: &Prior,
    found: Result<Found, String>,
) -> Result<Found, String> {
    let own = found.as_ref().map_or(f64::INFINITY, unusual);
    if own <= UNUSUAL {
        return found;
    }
    let fits = |height: usize| {
        let other = photo.with_height(height);
        let lens = LensPrior::of(&other);
        let f = find_by_colour(&other, scene, &Prior { lens: &lens, ..*prior }).ok()?;
        Some((unusual(&f), height))
    };
    let best = photo.other_heights().into_iter().filter_map(fits).min_by(|a, b| a.0.total_cmp(&b.0));
    match best {
        Some((other, height)) if other < UNUSUAL && 2.0 * other < own => {
            let [w, h, made] = [photo.width, photo.height, height].map(|n| n as f64 * photo.file_px);
            let told = format!("its {w} x {h} pixels fit the scan only when made {w} x {made}");
            Err(match found {
                Ok(_) => format!("{told}: it is squeezed, or shows another board"),
                // what shows no rail at all may fit by chance
                Err(why) => format!("{why}; {told}: is it squeezed?"),
            })
        }
        _ => found,
    }
}
