//! A reconstruction against the truth, in mm, after a rigid alignment (never scaled).
use super::plan::Plan;
use super::scene::World;
use faydeck::geom::Similarity;
use faydeck::{OutlineSource, Reconstruction, Warning};
use nalgebra::{Matrix3, Matrix6, Point3, Rotation3, Vector3, Vector6};

/// How good a reconstruction is.
#[derive(Clone, Debug)]
pub struct Score {
    /// Distance along the normal to the true underside, 12 mm and more inside the true outline.
    pub under_rms: f64,
    pub under_p95: f64,
    /// The same once the reconstruction is brought to the true scale: the fit's own error.
    pub fit_rms: f64,
    /// Plan distance between both outlines, both ways; `None` where more than a board apart.
    pub edge_rms: f64,
    pub edge_p95: f64,
    /// mm per unit against the truth, per cent, and what the reconstruction states as its standard uncertainty.
    pub scale_pct: f64,
    pub scale_stated_pct: f64,
    pub length_error: f64,
    pub width_error: f64,
    /// Standard error stated for the surface, median over the points scored, mm.
    pub error_stated: f64,
    /// Share of the points at true scale whose error is below 1.96 times the standard error stated there.
    pub within: f64,
    /// Control points of the underside along and across.
    pub control_points: [usize; 2],
    /// Share of the true underside, 12 mm inside, that is inside the reconstruction's outline.
    pub cover: f64,
    /// The top side was taken for the underside.
    pub upside_down: bool,
    pub outline: OutlineSource,
    pub warnings: usize,
    /// One of them is in capitals.
    pub loud: bool,
}
impl Score {
    /// Error of the scale in stated standard uncertainties.
    pub fn scale_z(&self) -> f64 {
        self.scale_pct / self.scale_stated_pct
    }
}
/// Band at the rail that is left out, mm.
const BAND_MM: f64 = 12.0;
/// Step of the grid of samples on the underside, mm.
const GRID_MM: f64 = 5.0;
/// Weight of the outline against the surface in the alignment: it fixes what a flat board's surface leaves free.
const OUTLINE_WEIGHT: f64 = 0.35;
/// Outline distances beyond this count less in the alignment, mm.
const ROBUST_MM: f64 = 3.0;

/// The stated standard error of the surface at a place of the reconstruction, mm.
fn stated(rec: &Reconstruction, x: f64, y: f64) -> f64 {
    rec.surface_error.at(x, y)
}
fn rms(e: &[f64]) -> f64 {
    (e.iter().map(|e| e * e).sum::<f64>() / e.len().max(1) as f64).sqrt()
}
fn p95(e: &[f64]) -> f64 {
    let mut a: Vec<f64> = e.iter().map(|e| e.abs()).collect();
    a.sort_by(f64::total_cmp);
    a.get((a.len() as f64 * 0.95) as usize).copied().unwrap_or(f64::NAN)
}
/// Points of a reconstruction: a grid on its underside with the stated errors, and its outline.
struct Samples {
    under: Vec<(Point3<f64>, f64)>,
    rim: Vec<Point3<f64>>,
}
impl Samples {
    fn of(rec: &Reconstruction, outline: &Plan) -> Self {
        let z = &rec.deck.underside;
        let (lo, hi) = outline.bounds();
        let mut under = Vec::new();
        for i in 0..=((hi[0] - lo[0]) / GRID_MM) as usize {
            for j in 0..=((hi[1] - lo[1]) / GRID_MM) as usize {
                let (x, y) = (lo[0] + GRID_MM * i as f64, lo[1] + GRID_MM * j as f64);
                if outline.contains([x, y]) {
                    under.push((Point3::new(x, y, z.at(x, y)), stated(rec, x, y)));
                }
            }
        }
        let rim = outline.points.iter().step_by(2).map(|p| Point3::new(p[0], p[1], z.at(p[0], p[1]))).collect();
        Self { under, rim }
    }
    fn scaled(&self, s: f64) -> Self {
        Self {
            under: self.under.iter().map(|(p, e)| (p * s, e * s)).collect(),
            rim: self.rim.iter().map(|p| p * s).collect(),
        }
    }
}
/// The rigid motion that lays the samples on the truth, by iterated closest points, from a first guess.
fn align(world: &World, samples: &Samples, guess: (Matrix3<f64>, Vector3<f64>)) -> (Matrix3<f64>, Vector3<f64>) {
    let (mut r, mut t) = guess;
    for round in 0..30 {
        let (mut a, mut b) = (Matrix6::zeros(), Vector6::zeros());
        let mut add = |q: &Point3<f64>, n: &Vector3<f64>, e: f64, w: f64| {
            let c = q.coords.cross(n);
            let j = Vector6::new(c.x, c.y, c.z, n.x, n.y, n.z);
            a += j * j.transpose() * w;
            b -= j * (e * w);
        };
        // far points first pull, then only what is near counts
        let far = if round < 10 { 25.0 } else { 6.0 };
        let n = samples.under.len() as f64;
        for (p, _) in samples.under.iter().step_by(3) {
            let q = Point3::from(r * p.coords + t);
            let e = q.z - world.shape.height(q.x, q.y);
            if e.abs() < far {
                let m = world.shape.normal(q.x, q.y);
                add(&q, &m, e * m.z, 3.0 / n);
            }
        }
        let n = samples.rim.len() as f64;
        for p in samples.rim.iter().step_by(2) {
            let q = Point3::from(r * p.coords + t);
            let (d, i) = world.plan.signed([q.x, q.y], 60.0);
            let m = world.plan.normals[i];
            if d.abs() < 60.0 {
                let w = 2.0 * OUTLINE_WEIGHT * OUTLINE_WEIGHT / n / (d.abs() / ROBUST_MM).max(1.0);
                add(&q, &Vector3::new(m[0], m[1], 0.0), d, w);
            }
        }
        let Some(x) = a.cholesky().map(|c| c.solve(&b)) else { break };
        let turn = Rotation3::new(Vector3::new(x[0], x[1], x[2]));
        r = turn * r;
        t = turn * t + Vector3::new(x[3], x[4], x[5]);
        if x.norm() < 1e-8 && round > 12 {
            break;
        }
    }
    (r, t)
}
/// Errors along the normal with the stated standard errors, where well inside the true outline.
fn height_errors(world: &World, samples: &Samples, pose: &(Matrix3<f64>, Vector3<f64>)) -> Vec<(f64, f64)> {
    samples
        .under
        .iter()
        .map(|(p, e)| (Point3::from(pose.0 * p.coords + pose.1), *e))
        .filter(|(q, _)| world.plan.signed([q.x, q.y], 2.0 * BAND_MM).0 <= -BAND_MM)
        .map(|(q, e)| ((q.z - world.shape.height(q.x, q.y)) * world.shape.normal(q.x, q.y).z, e))
        .collect()
}

/// Scores `rec` against the board it was scanned from; `to_truth` takes scan units to mm in the board's frame.
pub fn score(world: &World, to_truth: &Similarity, rec: &Reconstruction, warnings: &[Warning]) -> Score {
    let capital = |word: &str| word.len() > 3 && word.chars().all(|c| c.is_ascii_uppercase());
    let loud = warnings.iter().any(|w| w.message.split_whitespace().any(capital));
    let outline = Plan::new(&rec.deck.outline_polygon().points);
    let samples = Samples::of(rec, &outline);
    let guess = to_truth.after(&rec.scan_to_deck.inverse());
    let first = (guess.rotation, guess.translation);
    let pose = align(world, &samples, first);
    let errors = height_errors(world, &samples, &pose);
    let under: Vec<f64> = errors.iter().map(|e| e.0).collect();

    let to_true = to_truth.scale / rec.scale.mm_per_unit;
    let sized = samples.scaled(to_true);
    let sized_pose = align(world, &sized, first);
    let at_true_scale = height_errors(world, &sized, &sized_pose);
    let fit: Vec<f64> = at_true_scale.iter().map(|e| e.0).collect();
    let within = at_true_scale.iter().filter(|(e, s)| e.abs() < 1.96 * s).count() as f64 / fit.len().max(1) as f64;
    let mut stated: Vec<f64> = at_true_scale.iter().map(|e| e.1).collect();
    stated.sort_by(f64::total_cmp);

    let moved: Vec<[f64; 2]> = outline
        .points
        .iter()
        .map(|p| pose.0 * Vector3::new(p[0], p[1], rec.deck.underside.at(p[0], p[1])) + pose.1)
        .map(|q| [q.x, q.y])
        .collect();
    let found = Plan::new(&moved);
    let one_way = |from: &Plan, to: &Plan| -> Vec<f64> {
        let far = world.shape.length_mm;
        from.points.iter().map(|p| to.nearest(*p, far).map_or(far, |n| n.1)).collect()
    };
    let mut edge = one_way(&found, &world.plan);
    edge.extend(one_way(&world.plan, &found));

    let (lo, hi) = world.plan.bounds();
    let (mut inside, mut all) = (0, 0);
    for q in grid(lo, hi) {
        if world.plan.signed(q, 2.0 * BAND_MM).0 <= -BAND_MM {
            all += 1;
            inside += usize::from(found.contains(q));
        }
    }
    let (flo, fhi) = outline.bounds();
    Score {
        under_rms: rms(&under),
        under_p95: p95(&under),
        fit_rms: rms(&fit),
        edge_rms: rms(&edge),
        edge_p95: p95(&edge),
        scale_pct: 100.0 * (rec.scale.mm_per_unit / to_truth.scale - 1.0),
        scale_stated_pct: 100.0 * rec.scale.standard_uncertainty / rec.scale.mm_per_unit,
        length_error: fhi[0] - flo[0] - (hi[0] - lo[0]),
        width_error: outline.width() - world.plan.width(),
        error_stated: stated.get(stated.len() / 2).copied().unwrap_or(f64::NAN),
        within,
        control_points: rec.surface.control_points,
        cover: f64::from(inside as u32) / f64::from(all),
        upside_down: first.0[(2, 2)] < 0.0,
        outline: rec.outline_source,
        warnings: warnings.len(),
        loud,
    }
}
fn grid(lo: [f64; 2], hi: [f64; 2]) -> Vec<[f64; 2]> {
    let n = [0, 1].map(|k| ((hi[k] - lo[k]) / GRID_MM) as usize);
    (0..=n[0]).flat_map(|i| (0..=n[1]).map(move |j| [lo[0] + GRID_MM * i as f64, lo[1] + GRID_MM * j as f64])).collect()
}
/// Planted in the scorer: a circle against one 2 mm larger differs by 2 mm everywhere, and resampling keeps the length.
#[test]
fn distances_between_circles() {
    let circle = |r: f64| -> Vec<[f64; 2]> {
        (0..3000).map(|i| f64::from(i) / 3000.0 * std::f64::consts::TAU).map(|a| [r * a.cos(), r * a.sin()]).collect()
    };
    let (a, b) = (Plan::new(&circle(100.0)), Plan::new(&circle(102.0)));
    let d: Vec<f64> = a.points.iter().map(|p| b.nearest(*p, 50.0).unwrap().1).collect();
    assert!((rms(&d) - 2.0).abs() < 0.01 && (p95(&d) - 2.0).abs() < 0.02);
    assert!((a.signed([0.0, 90.0], 50.0).0 + 10.0).abs() < 0.01 && (a.signed([0.0, 107.0], 50.0).0 - 7.0).abs() < 0.01);
    assert!(a.signed([1.0, 2.0], 50.0).0 == -50.0 && a.signed([300.0, 2.0], 50.0).0 == 50.0);
    assert!((a.width() - 200.0).abs() < 0.1);
    assert_eq!(super::plan::resample(&circle(100.0), 1.0).len(), 628);
}
