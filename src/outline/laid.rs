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
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Polygon;
    use crate::num::{Knots, TensorSpline};
    use crate::outline::photo::pictured;
    /// The middle of the rim's box lies where it is laid, whatever the face and the tilt; a mm along the board is as many pixels as stated.
    #[test]
    fn the_middle_is_where_it_is_laid() {
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let z = TensorSpline::new(x, y, vec![3.0; 16]).unwrap();
        let points = (0..400)
            .map(|i| f64::from(i) / 400.0 * std::f64::consts::TAU)
            .map(|a| [20.0 + 400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let rim = Rim::new(&Polygon { points }, &z).unwrap();
        let photo = pictured(&image::RgbImage::new(160, 120));
        let lens = LensPrior::of(&photo);
        for (underside, tilt) in [(true, [0.0; 2]), (false, [0.0; 2]), (true, [0.2, -0.1]), (false, [-0.1, 0.3])] {
            let laid = Laid { underside, angle: 0.4, middle: [90.0, 50.0], px_per_mm: 0.15, tilt };
            let c = laid.camera(&photo, &rim, &lens);
            assert_eq!(c.sees_underside(), underside);
            let at = c.project([20.0, 0.0, 3.0]);
            assert!((at[0] - 90.0).hypot(at[1] - 50.0) < 1e-3, "{at:?}");
            let beside = c.project([21.0, 0.0, 3.0]);
            let px = (beside[0] - at[0]).hypot(beside[1] - at[1]);
            assert!(tilt != [0.0; 2] || (px - 0.15).abs() < 1e-4, "{px}");
        }
    }
}
