//! Photos of planted boards by ray casting, exact to the shape and the camera.
use super::camera::Camera;
use super::cloud::{Damage, Rail};
use super::noise::Field;
use super::photo_file::{encode, stored};
use super::rng::Rng;
use super::scene::World;
use image::{GrayImage, Luma, RgbImage};
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};

/// What lies under the board.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Ground {
    Plain,
    /// Stones of 200 x 130 mm with dark joints.
    Paving,
    /// Boards of 90 mm.
    Planks,
    /// Nearly the deck's own colour.
    Lookalike,
    /// Blotches of all sizes.
    Carpet,
}
/// What is on the deck.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Paint {
    Plain,
    /// Printed bars right across and dark ends, all reaching the rail.
    Bars,
    /// Wood grain.
    Grain,
}
/// The EXIF block.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Tags {
    Right,
    Missing,
    /// Of the whole picture from which this one was cut by this factor and then made smaller.
    Stale(f64),
}
/// Truck bolt holes: the pattern along and across the board, mm, and their grey level.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Holes {
    pub pattern_mm: [f64; 2],
    pub grey: f64,
}
#[derive(Clone, Copy, Debug)]
pub struct PhotoSpec {
    /// Width and height as seen, pixels.
    pub size: [u32; 2],
    /// Focal length for 36 mm film along the long side of the whole picture, mm.
    pub film_mm: u16,
    pub tags: Tags,
    /// EXIF orientation: 1 upright, 3, 6 or 8.
    pub orientation: u16,
    /// Camera off square about the board's two axes, and turned about its own, degrees.
    pub tilt_deg: [f64; 2],
    pub roll_deg: f64,
    pub k: [f64; 2],
    /// Principal point off the middle, as a share of the long side.
    pub off_centre: [f64; 2],
    pub ground: Ground,
    pub paint: Paint,
    pub holes: Option<Holes>,
    pub colour: [f64; 3],
    /// Height of the lamp over the horizon, degrees, for hard shadows; `None` for soft light.
    pub lamp_deg: Option<f64>,
    pub gloss: bool,
    /// Taken of the other side: what is seen is the mirrored outline.
    pub top_side: bool,
    /// Radius of the real rail's edge, mm.
    pub edge_mm: f64,
    pub seed: u64,
}
/// A phone held over the board with care.
pub const PHOTO: PhotoSpec = PhotoSpec {
    size: [1600, 1200],
    film_mm: 26,
    tags: Tags::Right,
    orientation: 1,
    tilt_deg: [2.0, -1.5],
    roll_deg: 3.0,
    k: [0.03, -0.01],
    off_centre: [0.0, 0.0],
    ground: Ground::Plain,
    paint: Paint::Plain,
    holes: None,
    colour: [178.0, 62.0, 48.0],
    lamp_deg: None,
    gloss: false,
    top_side: false,
    edge_mm: 2.5,
    seed: 5,
};

/// What a ray meets.
#[derive(Clone, Copy, PartialEq)]
enum Hit {
    Deck,
    Rail,
    Solid(usize),
    Ground,
}
/// Side of the cells that tell deep inside, rim and far outside, mm, and how far from the rail the rim goes.
const CELL_MM: f64 = 4.0;
const RIM_MM: f64 = 38.0;

struct Painter<'a> {
    world: &'a World,
    rail: Rail<'a>,
    spec: &'a PhotoSpec,
    /// +1: the camera is on the underside's side.
    side: f64,
    floor: [f64; 3],
    lamp: Vector3<f64>,
    fine: Field,
    coarse: Field,
    lo: [f64; 2],
    cells: [usize; 2],
    /// Signed distance to the outline per cell.
    deep: Vec<f32>,
}
impl Painter<'_> {
    /// Height of the face that is seen, at its formula.
    fn face(&self, x: f64, y: f64) -> f64 {
        let s = &self.world.shape;
        let z = s.height(x, y);
        if self.side > 0.0 { z } else { z - s.thickness_mm / s.normal(x, y).z }
    }
    fn deep(&self, x: f64, y: f64) -> f64 {
        let (i, j) = ((x - self.lo[0]) / CELL_MM, (y - self.lo[1]) / CELL_MM);
        if i < 0.0 || j < 0.0 || i as usize >= self.cells[0] || j as usize >= self.cells[1] {
            return RIM_MM;
        }
        f64::from(self.deep[i as usize * self.cells[1] + j as usize])
    }
    fn board(&self, eye: &Point3<f64>, d: &Vector3<f64>) -> Option<(f64, bool)> {
        // to the face or its continuation
        let mut t = -eye.z / d.z;
        for _ in 0..5 {
            let q = eye + d * t;
            let e = q.z - self.face(q.x, q.y);
            t -= e / d.z;
        }
        let q = eye + d * t;
        let deep = self.deep(q.x, q.y);
        if deep <= -0.6 * RIM_MM {
            return Some((t, false));
        }
        if deep >= RIM_MM {
            return None;
        }
        let end = t + 60.0;
        t -= 25.0;
        while t < end {
            let p = eye + d * t;
            let e = self.rail.distance(&p);
            if e < 0.01 {
                let on_face = (p.z - self.face(p.x, p.y)).abs() < 0.3;
                return Some((t, !on_face));
            }
            t += (0.9 * e).max(0.01);
        }
        None
    }
    fn ground_at(&self, eye: &Point3<f64>, d: &Vector3<f64>) -> f64 {
        let [a, b, c] = self.floor;
        (a + b * eye.x + c * eye.y - eye.z) / (d.z - b * d.x - c * d.y)
    }
    /// First thing a ray meets, and the distance.
    fn cast(&self, eye: &Point3<f64>, d: &Vector3<f64>) -> (Hit, f64) {
        let mut best = (Hit::Ground, self.ground_at(eye, d));
        if let Some((t, rail)) = self.board(eye, d) {
            best = (if rail { Hit::Rail } else { Hit::Deck }, t);
        }
        if self.side > 0.0 {
            for (i, s) in self.world.solids().enumerate() {
                if let Some(t) = s.hit(eye, d, 5000.0).filter(|t| *t < best.1) {
                    best = (Hit::Solid(i), t);
                }
            }
        }
        best
    }
    /// Whether the lamp does not reach a point.
    fn shaded(&self, p: &Point3<f64>, n: &Vector3<f64>) -> bool {
        if self.spec.lamp_deg.is_none() {
            return false;
        }
        let from = p + n * 1.0;
        if self.side > 0.0 && self.world.solids().any(|s| s.hit(&from, &self.lamp, 1500.0).is_some()) {
            return true;
        }
        let rise = (from.z - self.face(from.x, from.y)) * self.side;
        if rise > -2.0 {
            return false;
        }
        let mut t = -rise / (self.lamp.z * self.side);
        for _ in 0..3 {
            let q = from + self.lamp * t;
            t = (self.face(q.x, q.y) - from.z) / self.lamp.z;
        }
        let q = from + self.lamp * t;
        t > 3.0 && self.world.plan.contains([q.x, q.y])
    }
    /// Whether a bolt hole of 5.3 mm (common practice, no source) is at a place, the pattern laid on the slope it stands on.
    fn drilled(&self, pattern: [f64; 2], p: &Point3<f64>) -> bool {
        let s = &self.world.shape;
        let x = p.x.signum() * s.wheelbase_mm / 2.0;
        let slope = s.height(x + 1.0, 0.0) - s.height(x - 1.0, 0.0);
        let along = (p.x - x).abs() * (slope / 2.0).hypot(1.0);
        (along - pattern[0] / 2.0).hypot(p.y.abs() - pattern[1] / 2.0) < 2.65
    }
    fn deck_colour(&self, p: &Point3<f64>) -> [f64; 3] {
        if let Some(h) = self.spec.holes.filter(|h| self.drilled(h.pattern_mm, p)) {
            return [h.grey; 3];
        }
        let (c, s) = (self.spec.colour, &self.world.shape);
        match self.spec.paint {
            Paint::Plain => c,
            Paint::Bars => {
                if p.x.abs() > 0.37 * s.length_mm {
                    [40.0, 38.0, 42.0]
                } else if (p.x + 0.25 * p.y + 1000.0).rem_euclid(190.0) < 45.0 {
                    [222.0, 218.0, 205.0]
                } else {
                    c
                }
            }
            Paint::Grain => {
                let q = Point3::new(p.x / 9.0, p.y, 0.0);
                let g = 1.0 + 0.09 * self.fine.at(&q) + 0.05 * self.coarse.at(p);
                c.map(|c| c * g)
            }
        }
    }
    fn ground_colour(&self, p: &Point3<f64>) -> [f64; 3] {
        let q = Point3::new(p.x, p.y, 0.0);
        let soft = self.coarse.at(&q);
        match self.spec.ground {
            Ground::Plain => [152.0, 149.0, 144.0].map(|c| c * (1.0 + 0.04 * soft)),
            Ground::Lookalike => {
                let g = 0.93 + 0.04 * soft;
                let [r, gr, b] = self.spec.colour;
                [r * g + 6.0, gr * g + 6.0, b * g + 6.0]
            }
            Ground::Carpet => {
                let g = 1.0 + 0.16 * soft + 0.16 * self.fine.at(&q);
                [112.0, 108.0, 104.0].map(|c| c * g)
            }
            Ground::Paving => {
                let row = (q.y / 130.0).floor();
                let (u, v) = ((q.x + 83.0 * row).rem_euclid(200.0), q.y.rem_euclid(130.0));
                let stone = 1.0 + 0.1 * ((q.x + 83.0 * row) / 200.0).floor().sin() + 0.05 * soft;
                let joint = u < 7.0 || v < 7.0;
                [158.0, 154.0, 148.0].map(|c| c * if joint { 0.3 } else { stone })
            }
            Ground::Planks => {
                let (row, v) = ((q.y / 90.0).floor(), q.y.rem_euclid(90.0));
                let g = 1.0 + 0.13 * (row * 2.3).sin() + 0.07 * self.fine.at(&Point3::new(q.x / 10.0, q.y, row * 50.0));
                [186.0, 142.0, 96.0].map(|c| c * if v < 2.5 { 0.35 } else { g })
            }
        }
    }
    fn colour(&self, eye: &Point3<f64>, d: &Vector3<f64>) -> ([f64; 3], Hit) {
        let (hit, t) = self.cast(eye, d);
        let p = eye + d * t;
        let up = Vector3::z() * self.side;
        let (base, n) = match hit {
            Hit::Ground => (self.ground_colour(&p), up),
            Hit::Solid(i) => {
                let s = self.world.solids().nth(i);
                let e = 0.05;
                let n = Vector3::from_fn(|k, _| {
                    let step = Vector3::from_fn(|m, _| if m == k { e } else { 0.0 });
                    s.map_or(0.0, |s| s.distance(&(p + step)) - s.distance(&(p - step)))
                });
                (s.map_or([0.0; 3], |s| s.colour), n.try_normalize(0.0).unwrap_or(up))
            }
            Hit::Deck => (self.deck_colour(&p), self.world.shape.normal(p.x, p.y) * self.side),
            Hit::Rail => {
                // bare wood, seen where the rail turns over
                let (_, _, out) = self.rail.inside(p.x, p.y);
                ([196.0, 158.0, 112.0], (out + up * 0.4).normalize())
            }
        };
        let lit = if self.shaded(&p, &n) { 0.0 } else { n.dot(&self.lamp).max(0.0) };
        let light = if self.spec.lamp_deg.is_some() { 0.42 + 0.75 * lit } else { 0.55 + 0.5 * n.dot(&up).max(0.0) };
        let mut c = base.map(|c| c * light);
        if self.spec.gloss && hit == Hit::Deck {
            // a window: a wide lobe round the mirrored direction
            let mirrored = d - n * (2.0 * d.dot(&n));
            let window = (Vector3::new(0.25, -0.12, 0.0) + up).normalize();
            let g = 110.0 * mirrored.dot(&window).max(0.0).powi(40);
            c = c.map(|c| c + g);
        }
        (c, hit)
    }
}

/// A camera that has the whole board in the picture with a margin.
fn camera(world: &World, spec: &PhotoSpec, side: f64) -> Camera {
    let long = f64::from(spec.size[0].max(spec.size[1]));
    let whole = if let Tags::Stale(cut) = spec.tags { long / cut } else { long };
    let focal_px = f64::from(spec.film_mm) / 36.0 * whole;
    let centre = [0, 1].map(|k| f64::from(spec.size[k]) / 2.0 + spec.off_centre[k] * long);
    // facing the seen side, then off square, then turned about its own axis
    let face =
        if side > 0.0 { Matrix3::new(1.0, 0.0, 0.0, 0.0, -1.0, 0.0, 0.0, 0.0, -1.0) } else { Matrix3::identity() };
    let [a, b] = spec.tilt_deg.map(f64::to_radians);
    let turn =
        Rotation3::from_euler_angles(0.0, 0.0, spec.roll_deg.to_radians()) * Rotation3::from_euler_angles(a, b, 0.0);
    let turn = turn.matrix() * face;
    let forward = turn.row(2).transpose();
    let mut target = Point3::new(0.0, 0.0, 0.0);
    let mut distance = 0.9 * world.shape.length_mm * focal_px / whole;
    let mut camera = Camera { eye: target, turn, focal_px, k: spec.k, centre };
    for _ in 0..60 {
        camera.eye = target - forward * distance;
        let seen: Vec<[f64; 2]> =
            world.plan.points.iter().step_by(10).map(|p| camera.project(&world.shape.point(p[0], p[1]))).collect();
        let far = |f: fn(f64, f64) -> f64, s: f64, k: usize| seen.iter().map(|p| p[k]).fold(s, f);
        let (lo, hi) = ([0, 1].map(|k| far(f64::min, 1e9, k)), [0, 1].map(|k| far(f64::max, -1e9, k)));
        // the board's middle to the picture's middle
        let off = [0, 1].map(|k| (lo[k] + hi[k] - f64::from(spec.size[k])) / 2.0 * distance / focal_px);
        target += turn.row(0).transpose() * off[0] + turn.row(1).transpose() * off[1];
        let fill = [0, 1].map(|k| (hi[k] - lo[k]) / f64::from(spec.size[k]));
        distance *= 1.0 + 0.5 * (fill[0].max(fill[1]) / 0.88 - 1.0);
    }
    camera
}

/// What the camera of a photo looks at, and the camera.
fn painter<'a>(world: &'a World, spec: &'a PhotoSpec, edge: &'a Damage) -> (Painter<'a>, Camera) {
    let rng = Rng::new(spec.seed);
    let side = if spec.top_side { -1.0 } else { 1.0 };
    let camera = camera(world, spec, side);
    let mut r = rng.fork(1);
    let (lo, hi) = world.plan.bounds();
    let lo = lo.map(|v| v - RIM_MM);
    let cells = [0, 1].map(|k| ((hi[k] + RIM_MM - lo[k]) / CELL_MM) as usize + 1);
    let deep = (0..cells[0] * cells[1])
        .map(|i| {
            let at = [i / cells[1], i % cells[1]].map(|c| (c as f64 + 0.5) * CELL_MM);
            world.plan.signed([lo[0] + at[0], lo[1] + at[1]], RIM_MM).0 as f32
        })
        .collect();
    let lowest = world.plan.points.iter().step_by(9).map(|p| world.shape.height(p[0], p[1]));
    let floor = match (world.floor, spec.top_side) {
        (Some(f), false) => f,
        (None, false) => [lowest.fold(0.0, f64::min) - 70.0, 0.0, 0.0],
        // right way up on the floor: it lies where the underside is highest
        (_, true) => [lowest.fold(world.shape.height(0.0, 0.0), f64::max) + 60.0, 0.0, 0.0],
    };
    let lamp = {
        let (s, c) = spec.lamp_deg.unwrap_or(75.0).to_radians().sin_cos();
        let (a, b) = r.between(0.9, 2.2).sin_cos();
        Vector3::new(c * b, c * a, s * side)
    };
    let painter = Painter {
        world,
        rail: Rail::new(world, edge, &mut r),
        spec,
        side,
        floor,
        lamp,
        fine: Field::new(&mut r, 2.2),
        coarse: Field::new(&mut r, 28.0),
        lo,
        cells,
        deep,
    };
    (painter, camera)
}
/// The board in a photo alone, as seen (upright): the share of each pixel that is board, by 4 x 4 rays, times 255.
pub fn silhouette(world: &World, spec: &PhotoSpec) -> GrayImage {
    let edge = Damage::none(spec.edge_mm);
    let (painter, camera) = painter(world, spec, &edge);
    let on_board = |u: f64, v: f64| painter.board(&camera.eye, &camera.ray([u, v])).is_some();
    let [w, h] = spec.size;
    let middles: Vec<bool> = (0..w * h).map(|i| on_board(f64::from(i % w) + 0.5, f64::from(i / w) + 0.5)).collect();
    GrayImage::from_fn(w, h, |u, v| {
        let at = |u: u32, v: u32| middles[(v.min(h - 1) * w + u.min(w - 1)) as usize];
        let here = at(u, v);
        let beside = [at(u + 1, v), at(u.saturating_sub(1), v), at(u, v + 1), at(u, v.saturating_sub(1))];
        if beside.iter().all(|b| *b == here) {
            return Luma([255 * u8::from(here)]);
        }
        let sub = |i: u32| f64::from(i) / 4.0 + 0.125;
        let hits = (0..16).filter(|i| on_board(f64::from(u) + sub(i % 4), f64::from(v) + sub(i / 4))).count();
        Luma([(hits * 255 / 16) as u8])
    })
}
/// A photo: JPEG bytes and the camera that took it (of the upright picture).
pub fn take_photo(world: &World, spec: &PhotoSpec) -> (Vec<u8>, Camera) {
    let rng = Rng::new(spec.seed);
    let edge = Damage::none(spec.edge_mm);
    let (painter, camera) = painter(world, spec, &edge);
    let [w, h] = spec.size;
    let at = |u: f64, v: f64| painter.colour(&camera.eye, &camera.ray([u, v]));
    let line = |v: i64| -> Vec<([f64; 3], Hit)> { (0..w).map(|u| at(f64::from(u) + 0.5, v as f64 + 0.5)).collect() };
    let rows = |from: u32, to: u32| -> Vec<[u8; 3]> {
        let mut out = Vec::new();
        let (mut above, mut here) = (line(i64::from(from) - 1), line(i64::from(from)));
        for v in from..to {
            let below = line(i64::from(v) + 1);
            let mut grain = rng.fork(1000 + u64::from(v));
            for u in 0..w as usize {
                let (mut c, hit) = here[u];
                let beside = [above.get(u), below.get(u), here.get(u + 1), u.checked_sub(1).and_then(|i| here.get(i))];
                let border = |o: &([f64; 3], Hit)| o.1 != hit || (0..3).any(|k| (c[k] - o.0[k]).abs() > 25.0);
                if beside.into_iter().flatten().any(border) {
                    // a border runs through: 4 x 4 rays over the pixel
                    c = [0.0; 3];
                    for i in 0..16 {
                        let (a, b) = (f64::from(i % 4), f64::from(i / 4));
                        let s = at(u as f64 + (a + 0.5) / 4.0, f64::from(v) + (b + 0.5) / 4.0).0;
                        (0..3).for_each(|k| c[k] += s[k] / 16.0);
                    }
                }
                let g = 3.0 * grain.normal();
                out.push(c.map(|c| (c + g).round().clamp(0.0, 255.0) as u8));
            }
            (above, here) = (here, below);
        }
        out
    };
    // two halves at once: the numbers of a row depend on the row alone
    let parts = std::thread::scope(|s| {
        let first = s.spawn(|| rows(0, h / 2));
        let second = rows(h / 2, h);
        [first.join().expect("rendering does not panic"), second]
    });
    let flat: Vec<u8> = parts.concat().concat();
    let upright = RgbImage::from_raw(w, h, flat).expect("three bytes a pixel");
    (encode(&stored(upright, spec.orientation), spec), camera)
}
