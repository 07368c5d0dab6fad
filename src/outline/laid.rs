//! A board laid before a camera: where its middle is, how it is turned, how large and how far off square it is seen.
use super::camera::{Camera, Lens, looking};
use super::photo::Picture;
use super::prior::LensPrior;
use super::rim::Rim;
use crate::geom::bounds;
use nalgebra::{Rotation3, Vector3};

/// A board as a camera sees it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Laid {
    /// The face towards the camera.
    pub underside: bool,
    /// From the picture's x to the board's, radians.
    pub angle: f64,
    /// Where the middle of the rim's box is, pixels.
    pub middle: [f64; 2],
    /// Of a board square to the camera, there.
    pub px_per_mm: f64,
    /// Off square, about the picture's x and y, radians.
    pub tilt: [f64; 2],
}
impl Laid {
    /// The camera that sees the board so.
    pub fn camera(&self, photo: &Picture, rim: &Rim, lens: &LensPrior) -> Camera {
        let f = lens.focal;
        let centre = [photo.width as f64 / 2.0, photo.height as f64 / 2.0];
        let (lo, hi) = bounds(&rim.plan);
        let c = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
        let [a, b] = self.tilt;
        let rotation = Rotation3::from_axis_angle(&Vector3::x_axis(), a)
            * Rotation3::from_axis_angle(&Vector3::y_axis(), b)
            * Rotation3::from_axis_angle(&Vector3::z_axis(), self.angle)
            * looking(self.underside);
        let at = Vector3::new((self.middle[0] - centre[0]) / f, (self.middle[1] - centre[1]) / f, 1.0);
        let shift = at * (f / self.px_per_mm) - rotation * Vector3::new(c[0], c[1], rim.z.at(c[0], c[1]));
        Camera { rotation, shift, lens: Lens { focal: f, k: [0.0; 2], centre } }
    }
}
