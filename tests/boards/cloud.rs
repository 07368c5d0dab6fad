//! Scans like those of photogrammetry: points without connection, uneven, drifting between passes.
use super::files::Mesh;
use super::noise::{Field, Ring};
use super::rng::Rng;
use super::scene::World;
use nalgebra::{Point3, Vector3};

/// What a scan suffers, of either kind.
#[derive(Clone, Copy, Debug)]
pub struct Damage {
    /// White noise of each point, mm.
    pub white_mm: f64,
    /// Smooth noise along the normal and its correlation length, mm.
    pub smooth_mm: f64,
    pub smooth_length_mm: f64,
    /// Radius that the rail's edge is rounded with, mm.
    pub round_mm: f64,
    /// How far the scan's rail lies inside the true one, its mean and its scatter along the rail, mm.
    pub loss_mm: f64,
    pub loss_varies_mm: f64,
    /// Depth of missing bits at the rim, mm.
    pub ragged_mm: f64,
    /// False bend of the whole scan over the length, mm.
    pub bend_mm: f64,
    /// Holes in the underside, and their radius, mm.
    pub holes: usize,
    pub hole_mm: f64,
    /// Stray points as a share of all.
    pub floaters: f64,
}
impl Damage {
    /// The deck itself, its edge rounded by `round_mm`.
    pub const fn none(round_mm: f64) -> Self {
        Self {
            white_mm: 0.0,
            smooth_mm: 0.0,
            smooth_length_mm: 1.0,
            round_mm,
            loss_mm: 0.0,
            loss_varies_mm: 0.0,
            ragged_mm: 0.0,
            bend_mm: 0.0,
            holes: 0,
            hole_mm: 0.0,
            floaters: 0.0,
        }
    }
}
/// Normals in the file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Normals {
    None,
    Outward,
    Inward,
    /// Right but for the sign, which is random.
    Scrambled,
}
#[derive(Clone, Copy, Debug)]
pub struct CloudScan {
    pub points: usize,
    pub normals: Normals,
    /// Passes along the board, each overlapping the next by a third, and how far they lie apart, mm.
    pub passes: usize,
    pub drift_mm: f64,
    /// Unevenness of the density: log of the ratio of a dense to a mean place.
    pub uneven: f64,
}

/// How the scan's rail lies about the true one.
pub struct Rail<'a> {
    world: &'a World,
    damage: &'a Damage,
    loss: Ring,
    ragged: Ring,
}
/// Beyond this distance from the rail nothing of it is felt, mm.
const REACH_MM: f64 = 40.0;
/// Wavelength of missing bits: about 30 mm round a board of 2 m.
const RAGGED_HARMONICS: usize = 70;

impl<'a> Rail<'a> {
    pub fn new(world: &'a World, damage: &'a Damage, rng: &mut Rng) -> Self {
        // ends and sides differ, and the two sides: three waves round the board
        Self { world, damage, loss: Ring::new(rng, 3), ragged: Ring::new(rng, RAGGED_HARMONICS) }
    }
    pub fn loss(&self, i: usize) -> f64 {
        if self.damage.loss_varies_mm == 0.0 {
            return self.damage.loss_mm;
        }
        let t = i as f64 / self.world.plan.points.len() as f64;
        self.damage.loss_mm + self.damage.loss_varies_mm * self.loss.at(t)
    }
    pub fn missing(&self, i: usize) -> f64 {
        if self.damage.ragged_mm == 0.0 {
            return 0.0;
        }
        let t = i as f64 / self.world.plan.points.len() as f64;
        self.damage.ragged_mm * self.ragged.at(t).max(0.0)
    }
    /// Distance inside the scan's rail along the surface, with the outline's point and the outward direction in the surface.
    pub fn inside(&self, x: f64, y: f64) -> (f64, usize, Vector3<f64>) {
        let (d, i) = self.world.plan.signed([x, y], REACH_MM);
        if d <= -REACH_MM {
            return (REACH_MM, i, Vector3::zeros());
        }
        let (m, [p, q]) = (self.world.plan.normals[i], self.world.shape.slopes(x, y));
        let out = Vector3::new(m[0], m[1], p * m[0] + q * m[1]);
        let stretch = out.norm();
        (-(d + self.loss(i)) * stretch, i, out / stretch)
    }
    /// Signed distance to the deck as the scan has it: between both faces, inside the rail, the upper edge rounded.
    pub fn distance(&self, p: &Point3<f64>) -> f64 {
        let shape = &self.world.shape;
        let n = shape.normal(p.x, p.y);
        let a = (p.z - shape.height(p.x, p.y)) * n.z;
        let foot = p - n * a;
        let (u, ..) = self.inside(foot.x, foot.y);
        let r = self.damage.round_mm;
        let (s, t) = (a + r, r - u);
        let edge = s.max(t).min(0.0) + s.max(0.0).hypot(t.max(0.0)) - r;
        edge.max(-a - shape.thickness_mm)
    }
    fn deck_point(&self, rng: &mut Rng) -> Option<(Point3<f64>, Vector3<f64>)> {
        let (lo, hi) = self.world.plan.bounds();
        let (x, y) = (rng.between(lo[0] - 3.0, hi[0] + 3.0), rng.between(lo[1] - 3.0, hi[1] + 3.0));
        let (u, i, out) = self.inside(x, y);
        if u <= self.missing(i) && u < REACH_MM {
            return None;
        }
        let (n, r) = (self.world.shape.normal(x, y), self.damage.round_mm);
        if u >= r {
            return Some((self.world.shape.point(x, y), n));
        }
        let s = (r - u) / r;
        let c = (1.0 - s * s).max(0.0).sqrt();
        Some((self.world.shape.point(x, y) - n * (r * (1.0 - c)), n * c + out * s))
    }
    fn wall_point(&self, rng: &mut Rng) -> Option<(Point3<f64>, Vector3<f64>)> {
        let i = rng.below(self.world.plan.points.len());
        if self.missing(i) > 0.5 * self.damage.round_mm {
            return None;
        }
        let (p, m) = (self.world.plan.points[i], self.world.plan.normals[i]);
        let d = self.loss(i);
        let (x, y) = (p[0] - d * m[0], p[1] - d * m[1]);
        let (_, _, out) = self.inside(x, y);
        let (r, t) = (self.damage.round_mm, self.world.shape.thickness_mm);
        // fewer and fewer points towards the floor
        let down = r + (t - r).max(1.0) * rng.unit().powi(2);
        Some((self.world.shape.point(x, y) - self.world.shape.normal(x, y) * down, out))
    }
}
/// Places where a scan has holes.
pub fn holes(world: &World, damage: &Damage, rng: &mut Rng) -> Vec<([f64; 2], f64)> {
    (0..damage.holes)
        .map(|_| {
            let at = [rng.between(-0.45, 0.45) * world.shape.length_mm, rng.between(-0.4, 0.4) * world.shape.width_mm];
            (at, damage.hole_mm * rng.between(0.5, 1.0))
        })
        .collect()
}
/// The false bend of a whole scan: along the board, and half as much as a turn about it.
pub fn bend(world: &World, damage: &Damage, p: &Point3<f64>) -> f64 {
    let (u, v) = (2.0 * p.x / world.shape.length_mm, 2.0 * p.y / world.shape.width_mm);
    damage.bend_mm * (u * u + 0.25 * u * v)
}
/// The slow deformation of one pass.
struct Pass {
    from: f64,
    to: f64,
    turn: Vector3<f64>,
    shift: Vector3<f64>,
    curve: [f64; 2],
}
fn passes(world: &World, scan: &CloudScan, rng: &mut Rng) -> Vec<Pass> {
    let (n, l) = (scan.passes.max(1), world.shape.length_mm);
    (0..n)
        .map(|k| {
            let part = l / n as f64;
            let drift = if n > 1 { scan.drift_mm } else { 0.0 };
            Pass {
                from: if k == 0 { f64::NEG_INFINITY } else { -l / 2.0 + (k as f64 - 0.33) * part },
                to: if k + 1 == n { f64::INFINITY } else { -l / 2.0 + (k as f64 + 1.33) * part },
                turn: rng.normal3() * (drift / l),
                shift: rng.normal3() * (0.5 * drift),
                curve: [rng.normal() * drift * 0.5, rng.normal() * drift * 0.5],
            }
        })
        .collect()
}

/// The scan in mm in the board's frame.
pub fn scan_cloud(world: &World, scan: &CloudScan, damage: &Damage, rng: &Rng) -> Mesh {
    let rail = Rail::new(world, damage, &mut rng.fork(1));
    let mut r = rng.fork(2);
    let holes = holes(world, damage, &mut r);
    let passes = passes(world, scan, &mut r);
    let density = Field::new(&mut r, 110.0);
    let smooth: Vec<Field> = passes.iter().map(|_| Field::new(&mut r, damage.smooth_length_mm)).collect();
    let (l, w) = (world.shape.length_mm, world.shape.width_mm);
    // by area, the floor half as dense
    let floor_area = if world.floor.is_some() { 1.5 * l * 2.6 * w * 0.5 } else { 0.0 };
    let solid_area: f64 = world.solids().map(|s| s.area() / 2.0).sum();
    let areas = [0.85 * l * w, 2.2 * l * world.shape.thickness_mm, solid_area, floor_area];
    let sum: f64 = areas.iter().sum();
    let total = scan.points as f64 * (1.0 - damage.floaters);
    let solids: Vec<_> = world.solids().collect();
    let mut mesh = Mesh::default();
    let mut normals = Vec::new();
    for (part, area) in areas.iter().enumerate() {
        let wanted = (total * area / sum) as usize;
        let mut made = 0;
        for _ in 0..40 * wanted {
            if made == wanted {
                break;
            }
            let candidate = match part {
                0 => rail.deck_point(&mut r),
                1 => rail.wall_point(&mut r),
                2 => {
                    let mut t = r.between(0.0, 2.0 * solid_area);
                    let k = solids.iter().position(|s| {
                        t -= s.area();
                        t <= 0.0
                    });
                    k.map(|k| solids[k].sample(&mut r)).filter(|(p, _)| solids.iter().all(|s| s.distance(p) > -0.1))
                }
                _ => {
                    let (x, y) = (r.between(-0.75, 0.75) * l, r.between(-1.3, 1.3) * w);
                    world.floor_z(x, y).map(|z| (Point3::new(x, y, z), Vector3::z()))
                }
            };
            let Some((p, n)) = candidate else { continue };
            if !r.chance((scan.uneven * (density.at(&p) - 1.0)).exp().min(1.0))
                || (part == 0 && holes.iter().any(|(c, s)| (p.x - c[0]).hypot(p.y - c[1]) < *s))
                || !world.visible(&p, &n)
            {
                continue;
            }
            made += 1;
            let covering: Vec<usize> =
                (0..passes.len()).filter(|&k| p.x >= passes[k].from && p.x <= passes[k].to).collect();
            let k = covering[r.below(covering.len())];
            let pass = &passes[k];
            let (u, v) = (2.0 * p.x / l, 2.0 * p.y / w);
            let mut q = p + n * (damage.smooth_mm * smooth[k].at(&p)) + r.normal3() * damage.white_mm;
            q += pass.turn.cross(&p.coords) + pass.shift;
            q.z += pass.curve[0] * u * u + pass.curve[1] * u * v + bend(world, damage, &p);
            mesh.points.push(q);
            let tilted = (n + r.normal3() * 0.08).normalize();
            normals.push(match scan.normals {
                Normals::Inward => -tilted,
                Normals::Scrambled if r.chance(0.5) => -tilted,
                _ => tilted,
            });
        }
    }
    while mesh.points.len() < scan.points {
        // half are lost anywhere, half hang in threads near the rail, as at borders of depth
        let p = if r.chance(0.5) {
            Point3::new(r.between(-0.8, 0.8) * l, r.between(-1.4, 1.4) * w, r.between(-110.0, 120.0))
        } else {
            let i = r.below(world.plan.points.len());
            let (p, m, d) = (world.plan.points[i], world.plan.normals[i], r.between(-2.0, 25.0));
            Point3::new(
                p[0] + d * m[0],
                p[1] + d * m[1],
                world.shape.height(p[0], p[1]) - r.between(0.0, 2.0) * d.abs(),
            )
        };
        mesh.points.push(p);
        normals.push(r.direction());
    }
    if scan.normals != Normals::None {
        mesh.normals = Some(normals);
    }
    // the order of a file tells nothing: shuffle (Fisher and Yates)
    for i in (1..mesh.points.len()).rev() {
        let j = r.below(i + 1);
        mesh.points.swap(i, j);
        if let Some(n) = &mut mesh.normals {
            n.swap(i, j);
        }
    }
    mesh
}
