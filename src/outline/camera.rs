//! Pinhole camera with radial distortion.
//!
//! # References
//! D. C. Brown, *Close-range camera calibration*, 1971; A. E. Conrady, *Decentred lens-systems*, 1919: the radial terms
//! x_d = x (1 + k1 r^2 + k2 r^4), without the decentring ones.
use nalgebra::{Matrix2x3, Matrix3, Rotation3, Vector3};

/// What belongs to the camera and not to where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Lens {
    /// Focal length, pixels.
    pub focal: f64,
    /// First and second radial distortion.
    pub k: [f64; 2],
    /// Principal point, pixels.
    pub centre: [f64; 2],
}
/// Parameters of a lens: ln focal, k1, k2, principal point in focal lengths.
pub(super) const LENS: usize = 5;
/// Parameters of a pose: turn about the camera's axes (radians), shift in distances from the board.
pub(super) const POSE: usize = 6;

/// A camera: x to the right, y down, z into the picture.
#[derive(Debug, Clone)]
pub(super) struct Camera {
    pub rotation: Rotation3<f64>,
    pub shift: Vector3<f64>,
    pub lens: Lens,
}
/// A pixel and how it moves with everything it depends on.
pub(super) struct Projection {
    pub pixel: [f64; 2],
    /// With the point, pixels per mm.
    pub point: Matrix2x3<f64>,
    pub pose: [[f64; 2]; POSE],
    pub lens: [[f64; 2]; LENS],
}
impl Camera {
    /// What a pixel is across on the board, in the board's unit.
    pub fn mm_per_px(&self) -> f64 {
        self.shift.z.abs() / self.lens.focal
    }
    /// The pixel of a point.
    pub fn project(&self, p: [f64; 3]) -> [f64; 2] {
        let c = self.rotation * Vector3::from(p) + self.shift;
        let (x, y) = (c.x / c.z, c.y / c.z);
        let r2 = x * x + y * y;
        let l = &self.lens;
        let s = l.focal * (1.0 + r2 * (l.k[0] + l.k[1] * r2));
        [l.centre[0] + s * x, l.centre[1] + s * y]
    }
    /// The pixel of a point with its derivatives.
    pub fn projection(&self, p: [f64; 3]) -> Projection {
        let turned = self.rotation * Vector3::from(p);
        let c = turned + self.shift;
        let (x, y) = (c.x / c.z, c.y / c.z);
        let r2 = x * x + y * y;
        let l = &self.lens;
        let g = 1.0 + r2 * (l.k[0] + l.k[1] * r2);
        // derivative of the factor with r^2
        let e = l.k[0] + 2.0 * l.k[1] * r2;
        let dxy = nalgebra::Matrix2::new(
            l.focal * (g + 2.0 * e * x * x),
            l.focal * 2.0 * e * x * y,
            l.focal * 2.0 * e * x * y,
            l.focal * (g + 2.0 * e * y * y),
        );
        let in_camera = dxy * Matrix2x3::new(1.0 / c.z, 0.0, -x / c.z, 0.0, 1.0 / c.z, -y / c.z);
        let turn = in_camera * -turned.cross_matrix();
        let at = |m: &Matrix2x3<f64>, k: usize, s: f64| [s * m[(0, k)], s * m[(1, k)]];
        let z = self.shift.z;
        let f = l.focal;
        Projection {
            pixel: [l.centre[0] + f * g * x, l.centre[1] + f * g * y],
            point: in_camera * self.rotation.matrix(),
            pose: [
                at(&turn, 0, 1.0),
                at(&turn, 1, 1.0),
                at(&turn, 2, 1.0),
                at(&in_camera, 0, z),
                at(&in_camera, 1, z),
                at(&in_camera, 2, z),
            ],
            lens: [
                [f * g * x, f * g * y],
                [f * r2 * x, f * r2 * y],
                [f * r2 * r2 * x, f * r2 * r2 * y],
                [f, 0.0],
                [0.0, f],
            ],
        }
    }
    /// Eye and direction of the ray through a pixel.
    pub fn ray(&self, p: [f64; 2]) -> (Vector3<f64>, Vector3<f64>) {
        let l = &self.lens;
        let d = [(p[0] - l.centre[0]) / l.focal, (p[1] - l.centre[1]) / l.focal];
        let rd = d[0].hypot(d[1]);
        let mut r = rd;
        // Newton on r (1 + k1 r^2 + k2 r^4) = rd: quadratic convergence, distortion below a tenth needs five rounds
        for _ in 0..8 {
            let r2 = r * r;
            let slope = 1.0 + r2 * (3.0 * l.k[0] + 5.0 * l.k[1] * r2);
            r -= (r * (1.0 + r2 * (l.k[0] + l.k[1] * r2)) - rd) / if slope.abs() > 0.1 { slope } else { 0.1 };
        }
        let s = if rd > 0.0 { r / rd } else { 1.0 };
        let inverse = self.rotation.inverse();
        (inverse * -self.shift, inverse * Vector3::new(d[0] * s, d[1] * s, 1.0))
    }
    /// This camera turned and moved by the parameters of a pose.
    pub fn moved(&self, p: &[f64]) -> Self {
        Self {
            rotation: Rotation3::new(Vector3::new(p[0], p[1], p[2])) * self.rotation,
            // shifts count in distances, so all parameters have one size
            shift: self.shift + Vector3::new(p[3], p[4], p[5]) * self.shift.z,
            lens: self.lens.clone(),
        }
    }
    /// The camera with another lens that sees the board's middle where this one does, as large.
    pub fn with(&self, lens: &Lens) -> Self {
        let (own, z) = (&self.lens, self.shift.z);
        let by = lens.focal / own.focal;
        let [x, y] = [0, 1].map(|k| self.shift[k] + (own.centre[k] - lens.centre[k]) / own.focal * z);
        Self { shift: Vector3::new(x, y, by * z), lens: lens.clone(), ..self.clone() }
    }
    /// Whether the camera looks at the face whose normal is +z from in front of it.
    pub fn sees_underside(&self) -> bool {
        (self.rotation.inverse() * -self.shift).z > 0.0
    }
}
impl Lens {
    /// This lens changed by its parameters.
    pub fn changed(&self, p: &[f64]) -> Self {
        let f = self.focal;
        Self {
            focal: f * p[0].exp(),
            k: [self.k[0] + p[1], self.k[1] + p[2]],
            centre: [self.centre[0] + f * p[3], self.centre[1] + f * p[4]],
        }
    }
}
/// The turn that looks down on the underside, or up at the top side, with the board's x to the right.
pub(super) fn looking(underside: bool) -> Rotation3<f64> {
    let diagonal = if underside { Vector3::new(1.0, -1.0, -1.0) } else { Vector3::new(1.0, 1.0, 1.0) };
    Rotation3::from_matrix_unchecked(Matrix3::from_diagonal(&diagonal))
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::{LmOptions, minimize};
    use nalgebra::{DMatrix, DVector};
    fn camera() -> Camera {
        Camera {
            rotation: Rotation3::new(Vector3::new(0.1, -0.2, 0.7)) * looking(true),
            shift: Vector3::new(12.0, -30.0, 700.0),
            lens: Lens { focal: 1700.0, k: [0.04, -0.02], centre: [1210.0, 890.0] },
        }
    }
    /// Values worked by hand: X/Z = .3, Y/Z = .4, r^2 = .25, factor 1 + .04 * .25 - .16 * .0625 = 1.
    /// The board's middle at the same pixel, and a mm beside it as far off, through a lens of another middle and focal length.
    #[test]
    fn another_lens_sees_the_middle_at_its_place() {
        let own = Camera {
            rotation: looking(true),
            shift: Vector3::new(12.0, -30.0, 700.0),
            lens: Lens { focal: 1700.0, k: [0.0; 2], centre: [1210.0, 890.0] },
        };
        let lens = Lens { focal: 1650.0, k: [0.0; 2], centre: [1190.0, 905.0] };
        let other = own.with(&lens);
        assert_eq!(other.lens, lens);
        for p in [[0.0; 3], [1.0, -2.0, 0.0]] {
            let (a, b) = (own.project(p), other.project(p));
            assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-9, "{a:?} {b:?}");
        }
    }
    #[test]
    fn formula_and_round_trip() {
        let mut c = Camera {
            rotation: Rotation3::identity(),
            shift: Vector3::new(0.0, 0.0, 10.0),
            lens: Lens { focal: 1000.0, k: [0.04, -0.16], centre: [500.0, 400.0] },
        };
        let p = c.project([3.0, 4.0, 0.0]);
        assert!((p[0] - 800.0).abs() < 1e-9 && (p[1] - 800.0).abs() < 1e-9);
        c.lens.k[1] = 0.0;
        let p = c.project([3.0, 4.0, 0.0]);
        assert!((p[0] - 803.0).abs() < 1e-9 && (p[1] - 804.0).abs() < 1e-9);
        let (e, d) = c.ray(p);
        let t = -e.z / d.z;
        assert!((e + d * t - Vector3::new(3.0, 4.0, 0.0)).norm() < 1e-9);
    }
    /// Pixels by OpenCV's `projectPoints`, made by `fixtures/camera/project.py`; and back through the ray.
    #[test]
    fn agrees_with_a_vision_library() {
        let rows = include_str!("../../fixtures/camera/project.csv");
        assert_eq!(rows.lines().count(), 24);
        for row in rows.lines() {
            let v: Vec<f64> = row.split(',').map(|v| v.parse().unwrap()).collect();
            let c = Camera {
                rotation: Rotation3::new(Vector3::new(v[0], v[1], v[2])),
                shift: Vector3::new(v[3], v[4], v[5]),
                lens: Lens { focal: v[6], k: [v[7], v[8]], centre: [v[9], v[10]] },
            };
            let p = [v[11], v[12], v[13]];
            let q = c.project(p);
            // twelve digits in the file, pixels of thousands
            assert!((q[0] - v[14]).abs() < 1e-7 && (q[1] - v[15]).abs() < 1e-7, "{q:?} {row}");
            let (eye, d) = c.ray(q);
            let off = (Vector3::from(p) - eye).cross(&d).norm() / d.norm();
            assert!(off < 1e-6, "{off} mm off the ray: {row}");
        }
    }
    /// Pose, focal length and k1 from noisy pixels, as solved by OpenCV's `calibrateCamera`, made by
    /// `fixtures/camera/solve.py`: the same least squares, so the same minimum.
    #[test]
    fn solves_a_camera_as_a_vision_library_does() {
        let rows = include_str!("../../fixtures/camera/solve.csv");
        assert_eq!(rows.lines().count(), 6);
        for row in rows.lines() {
            let v: Vec<f64> = row.split(',').map(|v| v.parse().unwrap()).collect();
            let want = Camera {
                rotation: Rotation3::new(Vector3::new(v[0], v[1], v[2])),
                shift: Vector3::new(v[3], v[4], v[5]),
                lens: Lens { focal: v[6], k: [v[7], 0.0], centre: [v[9], v[10]] },
            };
            let mut start = want.moved(&[0.05, -0.04, 0.06, 0.03, -0.02, 0.1]);
            start.lens = start.lens.changed(&[0.1, -v[7], 0.0, 0.0, 0.0]);
            let at = |x: &[f64]| {
                let mut c = start.moved(&x[..POSE]);
                c.lens = c.lens.changed(&[x[6], x[7], 0.0, 0.0, 0.0]);
                c
            };
            let seen: Vec<&[f64]> = v[11..].chunks_exact(5).collect();
            assert_eq!(seen.len(), 40);
            let residuals = |c: &Camera| -> Vec<f64> {
                let off = |s: &&[f64]| {
                    let q = c.project([s[0], s[1], s[2]]);
                    [s[3] - q[0], s[4] - q[1]]
                };
                seen.iter().flat_map(off).collect()
            };
            let mut x = DVector::zeros(POSE + 2);
            let all = |x: &DVector<f64>| DVector::from_vec(residuals(&at(x.as_slice())));
            let report = minimize(&mut x, &LmOptions::default(), all, |x| {
                let columns = |k: usize| {
                    let moved = |h: f64| {
                        let mut y = x.clone();
                        y[k] += h;
                        DVector::from_vec(residuals(&at(y.as_slice())))
                    };
                    (moved(1e-6) - moved(-1e-6)) / 2e-6
                };
                DMatrix::from_columns(&(0..POSE + 2).map(columns).collect::<Vec<_>>())
            });
            let got = at(x.as_slice());
            // a minimum is flat: its height agrees far better than its place
            let rms = (report.rss / seen.len() as f64).sqrt();
            assert!((rms / v[8] - 1.0).abs() < 1e-6, "{rms} {}", v[8]);
            // the angle between nearly equal turns, by the matrices' difference: its arc cosine would be lost to rounding
            let turned = (got.rotation.matrix() - want.rotation.matrix()).norm() / 2f64.sqrt();
            assert!(turned < 1e-5, "{turned}");
            assert!((got.shift - want.shift).norm() < 1e-4 * want.shift.z, "{} {}", got.shift, want.shift);
            assert!((got.lens.focal / v[6] - 1.0).abs() < 1e-4, "{} {}", got.lens.focal, v[6]);
            assert!((got.lens.k[0] - v[7]).abs() < 1e-4, "{} {}", got.lens.k[0], v[7]);
        }
    }
    #[test]
    fn derivatives_are_the_differences() {
        let (c, p, h) = (camera(), [250.0, -80.0, 15.0], 1e-6);
        let j = c.projection(p);
        let check = |moved: [f64; 2], d: [f64; 2], what: &str| {
            for k in 0..2 {
                let n = (moved[k] - j.pixel[k]) / h;
                assert!((n - d[k]).abs() < 1e-3 * (1.0 + d[k].abs()), "{what}: {n} {}", d[k]);
            }
        };
        for k in 0..3 {
            let mut q = p;
            q[k] += h;
            check(c.project(q), [j.point[(0, k)], j.point[(1, k)]], "point");
        }
        for k in 0..POSE {
            let mut x = [0.0; POSE];
            x[k] = h;
            check(c.moved(&x).project(p), j.pose[k], "pose");
        }
        for k in 0..LENS {
            let mut x = [0.0; LENS];
            x[k] = h;
            check(Camera { lens: c.lens.changed(&x), ..c.clone() }.project(p), j.lens[k], "lens");
        }
    }
}
