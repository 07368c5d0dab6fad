//! Pinhole camera with radial distortion (Brown-Conrady, first coefficient).
use nalgebra::{Rotation3, Vector3};

/// A camera: x to the right, y down, z into the picture.
#[derive(Debug, Clone)]
pub(super) struct Camera {
    pub rotation: Rotation3<f64>,
    pub shift: Vector3<f64>,
    pub focal: f64,
    pub k1: f64,
    pub centre: [f64; 2],
}
impl Camera {
    /// The pixel of a point.
    pub fn project(&self, p: [f64; 3]) -> [f64; 2] {
        let c = self.rotation * Vector3::from(p) + self.shift;
        let (x, y) = (c.x / c.z, c.y / c.z);
        let s = self.focal * (1.0 + self.k1 * (x * x + y * y));
        [self.centre[0] + s * x, self.centre[1] + s * y]
    }
    /// Eye and direction of the ray through a pixel.
    pub fn ray(&self, p: [f64; 2]) -> (Vector3<f64>, Vector3<f64>) {
        let d = [(p[0] - self.centre[0]) / self.focal, (p[1] - self.centre[1]) / self.focal];
        let rd = d[0].hypot(d[1]);
        let mut r = rd;
        // Newton on r (1 + k1 r^2) = rd: quadratic convergence, distortion below a tenth needs five rounds
        for _ in 0..8 {
            let slope = 1.0 + 3.0 * self.k1 * r * r;
            r -= (r * (1.0 + self.k1 * r * r) - rd) / if slope.abs() > 0.1 { slope } else { 0.1 };
        }
        let s = if rd > 0.0 { r / rd } else { 1.0 };
        let inverse = self.rotation.inverse();
        (inverse * -self.shift, inverse * Vector3::new(d[0] * s, d[1] * s, 1.0))
    }
    /// This camera turned and moved by six small numbers, focal times e^p6, k1 = p7.
    pub fn changed(&self, p: &[f64]) -> Self {
        Self {
            rotation: Rotation3::new(Vector3::new(p[0], p[1], p[2])) * self.rotation,
            // shifts count in thousandths of the distance, so all parameters have one size
            shift: self.shift + Vector3::new(p[3], p[4], p[5]) * self.shift.z,
            focal: self.focal * p[6].exp(),
            k1: p[7],
            centre: self.centre,
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    /// Values worked by hand: X/Z = .3, Y/Z = .4, r^2 = .25, factor 1 + .04 * .25 = 1.01.
    #[test]
    fn formula_and_round_trip() {
        let c = Camera {
            rotation: Rotation3::identity(),
            shift: Vector3::new(0.0, 0.0, 10.0),
            focal: 1000.0,
            k1: 0.04,
            centre: [500.0, 400.0],
        };
        let p = c.project([3.0, 4.0, 0.0]);
        assert!((p[0] - 803.0).abs() < 1e-9 && (p[1] - 804.0).abs() < 1e-9);
        let (e, d) = c.ray(p);
        let t = -e.z / d.z;
        assert!((e + d * t - Vector3::new(3.0, 4.0, 0.0)).norm() < 1e-9);
    }
}
