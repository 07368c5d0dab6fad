//! A board where it is scanned: floor or stand, trucks, things lying about.
use super::plan::Plan;
use super::rng::Rng;
use super::shape::Shape;
use super::solid::{Form, RUBBER, STEEL, Solid};
use nalgebra::{Isometry3, Matrix3, Point3, Rotation3, Translation3, UnitQuaternion, Vector3};

/// What carries the board while it lies upside down.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Support {
    /// Nothing is seen round it.
    Nothing,
    /// It lies on the floor: kicks, or the middle of a camber, touch.
    Floor,
    /// On a stand this high, mm.
    Stand(f64),
}
/// What is mounted.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mounted {
    Nothing,
    /// Trucks without wheels.
    Trucks,
    /// Trucks with wheels of this diameter and width, mm.
    Wheels(f64, f64),
    /// No trucks, but eight bolts in their holes: the pattern along and across, diameter and height over the underside, mm;
    /// blackened or of steel.
    Bolts {
        pattern_mm: [f64; 2],
        diameter_mm: f64,
        height_mm: f64,
        black: bool,
    },
}
#[derive(Clone, Copy, Debug)]
pub struct Scene {
    pub support: Support,
    pub mounted: Mounted,
    /// Objects on the floor round the board.
    pub clutter: usize,
    /// A box lying on the deck: length, width, height, mm.
    pub on_deck: Option<[f64; 3]>,
}
/// Bare on the floor.
pub const BARE: Scene = Scene { support: Support::Floor, mounted: Mounted::Nothing, clutter: 0, on_deck: None };

/// The built scene.
pub struct World {
    pub shape: Shape,
    pub plan: Plan,
    /// Trucks, wheels, a box: over the underside.
    pub standing: Vec<Solid>,
    /// Stand and clutter.
    pub around: Vec<Solid>,
    /// Floor as z = a + b x + c y.
    pub floor: Option<[f64; 3]>,
}
/// Directions to where a scanner may have been: straight up and eight at 50 degrees from it.
fn views() -> [Vector3<f64>; 9] {
    std::array::from_fn(|i| {
        if i == 0 {
            return Vector3::z();
        }
        let (s, c) = (i as f64 * std::f64::consts::FRAC_PI_4).sin_cos();
        let (t, u) = 50f64.to_radians().sin_cos();
        Vector3::new(t * c, t * s, u)
    })
}
/// A surface seen at less than 10 degrees from its plane is not measured.
const GRAZING: f64 = 0.17;

impl World {
    pub fn new(shape: &Shape, scene: &Scene, rng: &mut Rng) -> Self {
        let plan = Plan::new(&shape.outline());
        let floor = match scene.support {
            Support::Nothing => None,
            Support::Floor => Some(floor_under(shape, &plan, 0.0, rng)),
            Support::Stand(h) => Some(floor_under(shape, &plan, h, rng)),
        };
        let mut world =
            Self { shape: *shape, plan, standing: mounted(shape, scene.mounted), around: Vec::new(), floor };
        if let Some([l, w, h]) = scene.on_deck {
            // it touches a deck at the highest place under it
            let mut top = f64::NEG_INFINITY;
            for i in -20..=20 {
                for j in -10..=10 {
                    top = top.max(shape.height(l / 40.0 * f64::from(i), w / 20.0 * f64::from(j)));
                }
            }
            let pose = Isometry3::translation(0.0, 0.0, top + h / 2.0);
            world.standing.push(Solid::new(Form::Block(Vector3::new(l, w, h) / 2.0), pose, [70.0, 70.0, 74.0]));
        }
        if let (Support::Stand(h), Some([a, ..])) = (scene.support, floor) {
            // two trestles under the trucks, a little narrower or wider than the board
            for side in [-1.0, 1.0] {
                let half = Vector3::new(22.0, shape.width_mm * rng.between(0.35, 0.6), h / 2.0 - 2.0);
                let at = Isometry3::translation(side * shape.wheelbase_mm * 0.4, 0.0, a + h / 2.0 - 2.0);
                world.around.push(Solid::new(Form::Block(half), at, [140.0, 110.0, 80.0]));
            }
        }
        for _ in 0..scene.clutter {
            world.add_clutter(rng);
        }
        world
    }
    fn add_clutter(&mut self, rng: &mut Rng) {
        let form = match rng.below(3) {
            0 => Form::Block(Vector3::from_fn(|_, _| rng.between(15.0, 70.0))),
            1 => Form::Rod(rng.between(20.0, 60.0), rng.between(20.0, 90.0)),
            _ => Form::Capsule(rng.between(25.0, 50.0), rng.between(1.0, 80.0)),
        };
        let colour = std::array::from_fn(|_| rng.between(40.0, 220.0));
        // beside the board, out of its plan by at least 20 mm
        for _ in 0..50 {
            let (l, w) = (self.shape.length_mm, self.shape.width_mm);
            let at = [rng.between(-0.6, 0.6) * l, rng.between(-1.3, 1.3) * w];
            let mut solid = Solid::new(form, Isometry3::identity(), colour);
            let (_, r) = solid.ball();
            if self.plan.signed(at, r + 20.0).0 < r + 20.0 {
                continue;
            }
            let turn = UnitQuaternion::from_axis_angle(&Vector3::z_axis(), rng.between(0.0, 3.0));
            let lie = match form {
                Form::Block(_) => UnitQuaternion::identity(),
                _ => UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::FRAC_PI_2),
            };
            let up = match form {
                Form::Block(h) => h.z,
                Form::Rod(r, _) | Form::Capsule(r, _) => r,
            };
            let ground = self.floor.map_or(-60.0, |f| f[0] + f[1] * at[0] + f[2] * at[1]);
            solid.pose = Isometry3::from_parts(Translation3::new(at[0], at[1], ground + up), turn * lie);
            self.around.push(solid);
            return;
        }
    }
    pub fn floor_z(&self, x: f64, y: f64) -> Option<f64> {
        self.floor.map(|f| f[0] + f[1] * x + f[2] * y)
    }
    pub fn solids(&self) -> impl Iterator<Item = &Solid> {
        self.standing.iter().chain(&self.around)
    }
    /// Whether the deck lies between a point under it and the direction.
    fn deck_hides(&self, p: &Point3<f64>, d: &Vector3<f64>) -> bool {
        let mut t = (self.shape.height(p.x, p.y) - p.z) / d.z;
        for _ in 0..3 {
            let q = p + d * t;
            t = (self.shape.height(q.x, q.y) - p.z) / d.z;
        }
        let q = p + d * t;
        // the underside is 3 mm and more above: a point of the deck does not hide itself
        t > 3.0 && self.plan.contains([q.x, q.y])
    }
    /// Whether a surface point with this normal is seen from at least two of the views, as matching needs.
    pub fn visible(&self, p: &Point3<f64>, n: &Vector3<f64>) -> bool {
        let from = p + n * 0.6;
        let seen = views()
            .iter()
            .filter(|d| n.dot(d) > GRAZING)
            .filter(|d| !self.deck_hides(&from, d) && self.solids().all(|s| s.hit(&from, d, 400.0).is_none()))
            .count();
        seen >= 2
    }
}
/// A floor that touches the lowest place of the deck's top side, or lies `gap` below it, tilted by up to a degree and half.
fn floor_under(shape: &Shape, plan: &Plan, gap: f64, rng: &mut Rng) -> [f64; 3] {
    let (b, c) = (rng.between(-0.02, 0.02), rng.between(-0.02, 0.02));
    let under = |x: f64, y: f64| shape.height(x, y) - shape.thickness_mm * shape.normal(x, y).z - b * x - c * y;
    let rim = plan.points.iter().step_by(8).map(|p| under(p[0], p[1]));
    let middle = (-40..=40).map(|i| under(f64::from(i) / 82.0 * shape.length_mm, 0.0));
    [rim.chain(middle).fold(f64::INFINITY, f64::min) - gap, b, c]
}
/// Trucks with plates 85 x 56 mm, hangers, axles and wheels (sizes by common practice, no source).
fn mounted(shape: &Shape, what: Mounted) -> Vec<Solid> {
    let mut out = Vec::new();
    if what == Mounted::Nothing {
        return out;
    }
    for side in [-1.0, 1.0] {
        let x = side * shape.wheelbase_mm / 2.0;
        let foot = shape.point(x, 0.0);
        let n = shape.normal(x, 0.0);
        let across = (Vector3::y() - n * n.y).normalize();
        let frame = Rotation3::from_matrix_unchecked(Matrix3::from_columns(&[across.cross(&n), across, n]));
        let local =
            Isometry3::from_parts(Translation3::from(foot.coords), UnitQuaternion::from_rotation_matrix(&frame));
        let at = |x: f64, y: f64, z: f64| local * Point3::new(x * -side, y, z);
        if let Mounted::Bolts { pattern_mm, diameter_mm, height_mm, black } = what {
            for (i, j) in [(-0.5, -0.5), (-0.5, 0.5), (0.5, -0.5), (0.5, 0.5)] {
                let [x, y] = [i * pattern_mm[0], j * pattern_mm[1]];
                // the deck falls away from the plane through its middle: from it to its own place and over that by the height
                let ground = at(x, y, 0.0);
                let foot = shape.point(ground.x, ground.y);
                let colour = if black { RUBBER } else { STEEL };
                let stand = Translation3::from(foot.coords + n * (height_mm / 2.0 - 1.0)) * local.rotation;
                out.push(Solid::new(Form::Rod(diameter_mm / 2.0, height_mm / 2.0 + 1.0), stand, colour));
            }
            continue;
        }
        let height = match what {
            Mounted::Wheels(d, _) => 50.0 + d / 8.0,
            _ => 56.0,
        };
        // a plate on the deck's highest line, sunk a little as riser pads are pressed
        out.push(Solid::new(
            Form::Block(Vector3::new(42.5, 28.0, 5.0)),
            local * Translation3::new(0.0, 0.0, 4.5),
            STEEL,
        ));
        out.push(Solid::bar(at(4.0, 0.0, 8.0), at(-6.0, 0.0, height + 8.0), 13.0, STEEL));
        out.push(Solid::bar(at(-34.0, 0.0, 14.0), at(0.0, 0.0, height - 6.0), 9.0, STEEL));
        let reach = shape.width_mm / 2.0 + 4.0;
        let hanger = reach - 62.0;
        out.push(Solid::bar(at(0.0, -hanger, height), at(0.0, hanger, height), 11.0, STEEL));
        out.push(Solid::bar(at(-14.0, 0.0, height - 8.0), at(0.0, hanger * 0.8, height - 2.0), 9.0, STEEL));
        out.push(Solid::bar(at(-14.0, 0.0, height - 8.0), at(0.0, -hanger * 0.8, height - 2.0), 9.0, STEEL));
        out.push(Solid::bar(at(0.0, -reach, height), at(0.0, reach, height), 4.0, STEEL));
        if let Mounted::Wheels(d, w) = what {
            let lie = UnitQuaternion::from_axis_angle(&Vector3::x_axis(), std::f64::consts::FRAC_PI_2);
            for y in [-1.0, 1.0] {
                let place = Translation3::new(0.0, y * (reach - 5.0 - w / 2.0), height);
                out.push(Solid::new(Form::Rod(d / 2.0, w / 2.0), local * place * lie, RUBBER));
            }
        }
    }
    out
}
