//! Pinhole camera with Brown-Conrady distortion (D. C. Brown 1966; radial terms k1, k2).
use nalgebra::{Matrix3, Point3, Vector3};

/// x to the right, y down, z into the picture; pixel centres at half-integers.
#[derive(Clone, Debug)]
pub struct Camera {
    pub eye: Point3<f64>,
    /// Rows: the picture's right, down and forward in the board's frame.
    pub turn: Matrix3<f64>,
    pub focal_px: f64,
    pub k: [f64; 2],
    pub centre: [f64; 2],
}
impl Camera {
    /// The pixel of a point, exactly.
    pub fn project(&self, p: &Point3<f64>) -> [f64; 2] {
        let c = self.turn * (p - self.eye);
        let (x, y) = (c.x / c.z, c.y / c.z);
        let r = x * x + y * y;
        let s = self.focal_px * (1.0 + r * (self.k[0] + r * self.k[1]));
        [self.centre[0] + s * x, self.centre[1] + s * y]
    }
    /// Unit direction of the ray through a pixel: the distortion is undone by fixed point, which gains a factor of some
    /// ten a round for distortions of a few per cent.
    pub fn ray(&self, pixel: [f64; 2]) -> Vector3<f64> {
        let d = [0, 1].map(|i| (pixel[i] - self.centre[i]) / self.focal_px);
        let mut q = d;
        for _ in 0..16 {
            let r = q[0] * q[0] + q[1] * q[1];
            let s = 1.0 + r * (self.k[0] + r * self.k[1]);
            let next = d.map(|v| v / s);
            if next == q {
                break;
            }
            q = next;
        }
        (self.turn.transpose() * Vector3::new(q[0], q[1], 1.0)).normalize()
    }
}
#[test]
fn projects_by_the_formula_and_back() {
    // by hand: x = .3, y = .4, r2 = .25, 1 + .04 .25 - .016 .0625 = 1.009
    let c = Camera {
        eye: Point3::new(0.0, 0.0, 10.0),
        turn: Matrix3::new(1.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0, 0.0, -1.0),
        focal_px: 1000.0,
        k: [0.04, -0.016],
        centre: [500.0, 400.0],
    };
    let p = Point3::new(3.0, -4.0, 0.0);
    let [u, v] = c.project(&p);
    assert!((u - 802.7).abs() < 1e-9 && (v - 803.6).abs() < 1e-9, "{u} {v}");
    let back = c.eye + c.ray([u, v]) * (p - c.eye).norm();
    assert!((back - p).norm() < 1e-9);
}
