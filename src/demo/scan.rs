//! A phone scan of a planted board.
use super::PlantedBoard;
use crate::geom::{Similarity, outward_normals};
use nalgebra::{Point3, Rotation3, Vector3};

/// What a scan suffers.
#[derive(Debug, Clone)]
pub struct ScanScene {
    /// Start of the random numbers.
    pub seed: u64,
    /// Points on the underside.
    pub points: usize,
    /// Noise along the normal, mm.
    pub noise_mm: f64,
    /// How far below the origin the floor lies, mm; `None` for no floor.
    pub floor_mm: Option<f64>,
    /// Stray points.
    pub floaters: usize,
    /// Two boxes where trucks stand, hiding what is beneath.
    pub trucks: bool,
    /// Radius of the rounding that a scan gives the rail, mm.
    pub rounding_mm: f64,
    /// How far inside the true rail the scan's rim lies, mm.
    pub rim_inset_mm: f64,
    /// Scan units to a mm.
    pub units_per_mm: f64,
}
impl Default for ScanScene {
    fn default() -> Self {
        Self {
            seed: 11,
            points: 40_000,
            noise_mm: 0.4,
            floor_mm: Some(85.0),
            floaters: 1500,
            trucks: false,
            rounding_mm: 4.0,
            rim_inset_mm: 1.0,
            units_per_mm: 0.0023,
        }
    }
}
/// Random numbers: a 64-bit linear congruential generator (Knuth's MMIX constants, from memory), high bits used.
pub(super) struct Random(pub u64);
impl Random {
    pub(super) fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }
    /// A normal deviate (Box-Muller).
    fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// The scan's points in scan units, and the transform from them to the board's frame in mm.
pub fn planted_scan(board: &PlantedBoard, scene: &ScanScene) -> (Vec<Point3<f64>>, Similarity) {
    let mut r = Random(scene.seed);
    let outline = board.outline(720);
    let (lo, hi) = outline.bounds();
    let mut mm: Vec<Point3<f64>> = Vec::new();
    let truck = |x: f64, y: f64| scene.trucks && (x.abs() - 0.33 * board.length_mm).abs() < 40.0 && y.abs() < 30.0;
    // a board without area takes no point: give up after as many tries as a board that fills a tenth of its box needs
    for _ in 0..10 * scene.points {
        if mm.len() == scene.points {
            break;
        }
        let (x, y) = (r.between(lo[0], hi[0]), r.between(lo[1], hi[1]));
        let inside = board.half_width(x) - y.abs() - scene.rim_inset_mm;
        if inside <= 0.0 || truck(x, y) {
            continue;
        }
        // the rail is rounded: near it points hang lower, on a quarter circle
        let t = (1.0 - inside / scene.rounding_mm).max(0.0);
        let droop = scene.rounding_mm * (1.0 - (1.0 - t * t).max(0.0).sqrt());
        mm.push(Point3::new(x, y, board.height(x, y) - droop + scene.noise_mm * r.normal()));
    }
    // the rail wall below the rounding
    let rail = outline.resampled(scene.points / 10);
    for (q, n) in rail.points.iter().zip(outward_normals(&rail.points)) {
        let p = [q[0] - scene.rim_inset_mm * n[0], q[1] - scene.rim_inset_mm * n[1]];
        let z = board.height(p[0], p[1]) - scene.rounding_mm - r.between(0.0, 5.0);
        let n = scene.noise_mm;
        mm.push(Point3::new(p[0] + n * r.normal(), p[1] + n * r.normal(), z));
    }
    if scene.trucks {
        for k in 0..scene.points / 10 {
            let side = if k % 2 == 0 { 1.0 } else { -1.0 };
            let (x, y) = (side * 0.33 * board.length_mm + r.between(-40.0, 40.0), r.between(-30.0, 30.0));
            mm.push(Point3::new(x, y, board.height(x, y) + r.between(14.0, 45.0)));
        }
    }
    if let Some(depth) = scene.floor_mm {
        for _ in 0..2 * scene.points {
            let (x, y) = (r.between(-0.75, 0.75) * board.length_mm, r.between(-1.2, 1.2) * board.width_mm);
            if board.half_width(x) < y.abs() || x.abs() > board.length_mm / 2.0 {
                mm.push(Point3::new(x, y, -depth + scene.noise_mm * r.normal()));
            }
        }
    }
    for _ in 0..scene.floaters {
        mm.push(Point3::new(
            r.between(-0.8, 0.8) * board.length_mm,
            r.between(-1.3, 1.3) * board.width_mm,
            r.between(-110.0, 110.0),
        ));
    }
    let rotation = Rotation3::from_euler_angles(r.between(-3.0, 3.0), r.between(-1.5, 1.5), r.between(-3.0, 3.0));
    let shift = Vector3::new(r.between(-2.0, 2.0), r.between(-2.0, 2.0), r.between(-2.0, 2.0));
    let to_scan = Similarity { rotation: *rotation.matrix(), scale: scene.units_per_mm, translation: shift };
    (mm.iter().map(|p| to_scan.apply(p)).collect(), to_scan.inverse())
}
