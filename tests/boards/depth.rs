//! Scans like those of a fused depth volume: a mesh on a coarse lattice, with a false layer behind it.
use super::cloud::{Damage, Normals, Rail, bend, holes};
use super::files::Mesh;
use super::noise::Field;
use super::rng::Rng;
use super::scene::World;
use nalgebra::{Point3, Vector3};

#[derive(Clone, Copy, Debug)]
pub struct DepthScan {
    pub voxel_mm: f64,
    /// Distance of the false layer behind the surface, mm.
    pub back_mm: Option<f64>,
    pub normals: Normals,
}
/// How much rougher the back layer is than the front.
const BACK_ROUGHNESS: f64 = 5.0;
/// Floor seen round the board, mm.
const MARGIN_MM: f64 = 130.0;
/// Side of the blocks in which far space is skipped, voxels.
const BLOCK: usize = 6;

/// Values on a lattice.
struct Volume {
    lo: Point3<f64>,
    step: f64,
    n: [usize; 3],
    v: Vec<f32>,
}
impl Volume {
    fn index(&self, i: [usize; 3]) -> usize {
        (i[0] * self.n[1] + i[1]) * self.n[2] + i[2]
    }
    fn place(&self, i: [usize; 3]) -> Point3<f64> {
        self.lo + Vector3::new(i[0] as f64, i[1] as f64, i[2] as f64) * self.step
    }
    fn filled(lo: Point3<f64>, hi: Point3<f64>, step: f64, f: impl Fn(&Point3<f64>) -> f64) -> Self {
        let n = [0, 1, 2].map(|k| ((hi[k] - lo[k]) / step) as usize + 2);
        let mut out = Self { lo, step, n, v: vec![0.0; n[0] * n[1] * n[2]] };
        // a block whose middle is further from the surface than its corners holds no surface
        let reach = BLOCK as f64 * step * 3f64.sqrt() / 2.0 * 1.4;
        let starts = n.map(|n| n.div_ceil(BLOCK));
        for b in 0..starts[0] * starts[1] * starts[2] {
            let block = [b / (starts[1] * starts[2]), b / starts[2] % starts[1], b % starts[2]];
            let middle = lo + Vector3::from_fn(|k, _| (block[k] as f64 + 0.5) * BLOCK as f64 * step - step / 2.0);
            let there = f(&middle);
            let range = |k: usize| block[k] * BLOCK..((block[k] + 1) * BLOCK).min(n[k]);
            for i in range(0) {
                for j in range(1) {
                    for k in range(2) {
                        let at = out.index([i, j, k]);
                        out.v[at] = if there.abs() > reach { there } else { f(&out.place([i, j, k])) } as f32;
                    }
                }
            }
        }
        out
    }
    /// The zero surface by surface nets (Gibson 1998, doi 10.1007/BFb0056277), triangles outward from negative values.
    fn surface(&self) -> Mesh {
        let mut mesh = Mesh::default();
        let mut vertex = vec![u32::MAX; self.v.len()];
        let corner = |c: usize| [c & 1, c >> 1 & 1, c >> 2 & 1];
        let cells = self.n.map(|n| n - 1);
        for i in 0..cells[0] {
            for j in 0..cells[1] {
                for k in 0..cells[2] {
                    let at = |c: usize| {
                        let o = corner(c);
                        self.v[self.index([i + o[0], j + o[1], k + o[2]])]
                    };
                    let inside = (0..8).filter(|&c| at(c) < 0.0).count();
                    if inside == 0 || inside == 8 {
                        continue;
                    }
                    let (mut sum, mut count) = (Vector3::zeros(), 0.0);
                    for a in 0..8 {
                        for bit in [1, 2, 4] {
                            if a & bit == 0 && (at(a) < 0.0) != (at(a | bit) < 0.0) {
                                let t = f64::from(at(a) / (at(a) - at(a | bit)));
                                let (p, q) = (corner(a), corner(a | bit));
                                sum += Vector3::from_fn(|m, _| p[m] as f64 + t * (q[m] as f64 - p[m] as f64));
                                count += 1.0;
                            }
                        }
                    }
                    vertex[self.index([i, j, k])] = mesh.points.len() as u32;
                    mesh.points.push(self.place([i, j, k]) + sum / count * self.step);
                }
            }
        }
        for i in 1..cells[0] {
            for j in 1..cells[1] {
                for k in 1..cells[2] {
                    let here = self.v[self.index([i, j, k])] < 0.0;
                    for axis in 0..3 {
                        let mut next = [i, j, k];
                        next[axis] += 1;
                        if here == (self.v[self.index(next)] < 0.0) {
                            continue;
                        }
                        let (u, w) = ((axis + 1) % 3, (axis + 2) % 3);
                        let quad = [[0, 0], [1, 0], [1, 1], [0, 1]].map(|[a, b]| {
                            let mut c = [i, j, k];
                            c[u] -= a;
                            c[w] -= b;
                            vertex[self.index(c)]
                        });
                        let [a, b, c, d] = quad;
                        if here {
                            mesh.triangles.extend([[a, b, c], [a, c, d]]);
                        } else {
                            mesh.triangles.extend([[a, c, b], [a, d, c]]);
                        }
                    }
                }
            }
        }
        mesh
    }
}

/// The scan in mm in the board's frame.
pub fn scan_depth(world: &World, scan: &DepthScan, damage: &Damage, rng: &Rng) -> Mesh {
    let rail = Rail::new(world, damage, &mut rng.fork(1));
    let mut r = rng.fork(2);
    let holes = holes(world, damage, &mut r);
    let smooth = Field::new(&mut r, damage.smooth_length_mm);
    let thick = world.shape.thickness_mm;
    let solids: Vec<_> = world.solids().collect();
    let value = |p: &Point3<f64>| {
        let mut f = rail.distance(p);
        if let Some([c, gx, gy]) = world.floor {
            f = f.min((p.z - c - gx * p.x - gy * p.y) / (1.0 + gx * gx + gy * gy).sqrt());
        }
        for s in &solids {
            f = f.min(s.distance(p));
        }
        // noise matters only near the surface
        if f.abs() < 2.0 * scan.voxel_mm { f + damage.smooth_mm * smooth.at(p) } else { f }
    };
    let (lo, hi) = world.plan.bounds();
    let heights = world.plan.points.iter().step_by(10).map(|p| world.shape.height(p[0], p[1]));
    let lowest = heights.fold(0.0, f64::min) - thick;
    let bottom = world.floor.map_or(lowest, |f| f[0] - 40.0);
    let top = solids.iter().map(|s| s.ball()).map(|(c, r)| c.z + r).fold(30.0, f64::max);
    let from = Point3::new(lo[0] - MARGIN_MM, lo[1] - MARGIN_MM, bottom - 8.0);
    let to = Point3::new(hi[0] + MARGIN_MM, hi[1] + MARGIN_MM, top + 12.0);
    let mut mesh = Volume::filled(from, to, scan.voxel_mm, value).surface();
    let normals = mesh.vertex_normals();
    let keep: Vec<bool> = mesh
        .points
        .iter()
        .zip(&normals)
        .map(|(p, n)| {
            let (d, i) = world.plan.signed([p.x, p.y], 20.0);
            // the height goes on past the rail, where it may cross the floor
            let on_deck = d < 2.0 && (p.z - world.shape.height(p.x, p.y)).abs() < 5.0;
            let in_hole = holes.iter().any(|(c, s)| (p.x - c[0]).hypot(p.y - c[1]) < *s);
            let torn = d > -20.0 && -d < rail.missing(i);
            !(on_deck && (in_hole || torn)) && world.visible(p, n)
        })
        .collect();
    let mut back = Mesh::default();
    if let Some(depth) = scan.back_mm {
        let rough = Field::new(&mut r, 1.2 * scan.voxel_mm);
        // behind what looks up, with the winding turned; its rim is eaten away
        let kept: Vec<bool> = (0..keep.len()).map(|i| keep[i] && normals[i].z > 0.6).collect();
        back = mesh.clone();
        for (p, n) in back.points.iter_mut().zip(&normals) {
            let e = BACK_ROUGHNESS * damage.smooth_mm * rough.at(p);
            *p -= n * (depth + e);
        }
        back.triangles.iter_mut().for_each(|t| t.swap(1, 2));
        back.retain(&kept);
    }
    mesh.retain(&keep);
    mesh.append(&back);
    for p in &mut mesh.points {
        p.z += bend(world, damage, p);
        *p += r.normal3() * damage.white_mm;
    }
    // stray lumps: single small triangles in the air
    for _ in 0..(damage.floaters * mesh.points.len() as f64 / 3.0) as usize {
        let c = Point3::new(
            r.between(-0.7, 0.7) * world.shape.length_mm,
            r.between(-1.2, 1.2) * world.shape.width_mm,
            r.between(-100.0, 120.0),
        );
        let k = mesh.points.len() as u32;
        mesh.points.extend([(); 3].map(|()| c + r.normal3() * scan.voxel_mm));
        mesh.triangles.push([k, k + 1, k + 2]);
    }
    if scan.normals == Normals::Inward {
        mesh.triangles.iter_mut().for_each(|t| t.swap(1, 2));
    }
    if scan.normals != Normals::None {
        mesh.normals = Some(mesh.vertex_normals());
    }
    mesh
}
