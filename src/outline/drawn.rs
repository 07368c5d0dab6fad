//! Whether a mask or path was made for the photo it was given with: the photo's own edge tells.
use super::camera::Camera;
use super::contradiction::UNEVEN_MM;
use super::rim::Rim;
use crate::error::{Stage, Warning};
use crate::geom::Polygon;
use crate::num::rms;

/// Both rails, the drawn one and the one the photo shows, are within 2 mm rms of the scan's rim where they are right
/// (`UNEVEN_MM`): farther apart than the two together, they are not the same rail.
const APART_MM: f64 = 2.0 * UNEVEN_MM;
/// Stations looked at: one in eight, some 20 mm apart.
const EVERY: usize = 8;

/// The warning where the rail drawn by hand (pixels, as solved) lies beside the one that the photo alone shows by a camera
/// and one displacement `d` of the rim; `px` is how many of the file's pixels go to one of these.
pub(super) fn beside(
    what: &str,
    number: usize,
    drawn: &[[f64; 2]],
    rim: &Rim,
    (camera, d): (&Camera, f64),
    px: f64,
) -> Option<Warning> {
    let drawn = Polygon { points: drawn.to_vec() };
    let off: Vec<f64> =
        (0..rim.plan.len()).step_by(EVERY).map(|i| drawn.signed_distance(camera.project(rim.point(i, d)))).collect();
    let apart_px = rms(&off);
    let apart_mm = apart_px * camera.mm_per_px();
    (apart_mm > APART_MM).then(|| {
        Warning::new(
            Stage::Outline,
            format!(
                "the {what} of photo {number} lies {:.0} pixels ({apart_mm:.0} mm, rms) beside the rail in the photo, {APART_MM} mm is \
                 usual at most",
                apart_px * px
            ),
            "look at photo-outline.jpg: was it drawn over this very photo, or is the photo's own edge mistaken?",
        )
    })
}
