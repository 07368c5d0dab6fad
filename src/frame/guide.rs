//! A smooth surface through what is surely board, to sort all points by.
use super::explain;
use super::patch::Patch;
use super::smooth::Smooth;
use crate::num::{BIWEIGHT_TUNING, Knots, Sample, TensorFit, TensorSpline, biweight, mad_sigma};
use nalgebra::Point3;

/// Wavelength below which the guide surface smooths, as a share of the width: some 7 mm on a usual board, so that it follows a tip
/// bent up within a few centimetres, and no single points.
const GUIDE_WAVE: f64 = 0.03;
/// Passes of the guide surface's robust weights.
const GUIDE_PASSES: usize = 5;
/// Half thickness of the slab round the guide surface whose points are the sheet, as a share of the width (about 3 mm on a
/// usual board): above scan noise, below the least thickness of a truck's base plate.
pub(super) const SLAB: f64 = 0.013;
/// Cells that tell what lies within the board, in voxels: of points one to a voxel none stays empty.
const INNER_VOXELS: f64 = 1.6;
/// How far from a rim the board is sure, as a share of the width: a fillet of one to three cells, some centimetre.
const RIM_BAND: f64 = 0.05;

/// The board's points without those that run out of it into something else: the fillet in which a mesh melts into the floor.
pub(super) fn core(board: &Patch, points: &[Point3<f64>], slab: f64) -> Vec<u32> {
    let rows = explain::in_box(board, points);
    let Some(smooth) = Smooth::robust(&rows) else { return board.members.clone() };
    let off: Vec<f64> = rows.iter().map(|p| p[2] - smooth.at(p[0], p[1])).collect();
    let most = slab.max(BIWEIGHT_TUNING * mad_sigma(&off));
    (board.members.iter().zip(&off)).filter(|(_, r)| r.abs() <= most).map(|(i, _)| *i).collect()
}

/// The points of `core` with the board all round them: what is nearer to a rim, a hole or a truck may be none of it, and a surface
/// bends on in the direction that its last points have.
pub(super) fn inner(core: &[Point3<f64>], voxel: f64, width: f64) -> Vec<Point3<f64>> {
    let size = INNER_VOXELS * voxel;
    let cell = |p: &Point3<f64>| ((p.x / size).floor() as i64, (p.y / size).floor() as i64);
    let mut cells: Vec<(i64, i64)> = core.iter().map(cell).collect();
    cells.sort_unstable();
    cells.dedup();
    let steps = (RIM_BAND * width / size).ceil() as i64;
    let round: Vec<(i64, i64)> = (-steps..=steps)
        .flat_map(|i| (-steps..=steps).map(move |j| (i, j)))
        .filter(|(i, j)| i * i + j * j <= steps * steps)
        .collect();
    let inside = |c: (i64, i64)| round.iter().all(|(i, j)| cells.binary_search(&(c.0 + i, c.1 + j)).is_ok());
    let held: Vec<bool> = cells.iter().map(|c| inside(*c)).collect();
    let kept: Vec<Point3<f64>> =
        core.iter().filter(|p| cells.binary_search(&cell(p)).is_ok_and(|k| held[k])).copied().collect();
    if 2 * kept.len() > core.len() { kept } else { core.to_vec() }
}
/// A robust smooth height surface through the core of the board, to sort points by.
pub(super) fn guide_surface(core: &[Point3<f64>], width: f64) -> Option<TensorSpline> {
    let (lo, hi) = core.iter().fold((core[0], core[0]), |(l, h), p| (l.inf(p), h.sup(p)));
    let margin = 0.1 * width;
    let knots = |a: f64, b: f64| {
        Knots::uniform(3, ((b - a + 2.0 * margin) / (width / 8.0)).ceil() as usize, a - margin, b + margin)
    };
    let wave = GUIDE_WAVE * width;
    let density = core.len() as f64 / ((hi.x - lo.x) * (hi.y - lo.y));
    let mut samples: Vec<Sample> = core.iter().map(|p| Sample { x: p.x, y: p.y, z: p.z, w: 1.0 }).collect();
    let mut fit = TensorFit::new(knots(lo.x, hi.x), knots(lo.y, hi.y), &samples, |_, _| [1.0; 3]);
    let mut z = None;
    for pass in 0..GUIDE_PASSES {
        let s = fit.solve(density * wave.powi(4))?.z;
        let r: Vec<f64> = core.iter().map(|p| p.z - s.at(p.x, p.y)).collect();
        // a bend that the first passes cut across must not be thrown out: what is within the sheet counts, then half of it, and so on
        let cut = (3.0 * mad_sigma(&r)).max(SLAB * width / 2f64.powi(pass as i32));
        for (sample, r) in samples.iter_mut().zip(&r) {
            sample.w = biweight(r / cut);
        }
        fit.set_samples(&samples);
        z = Some(s);
    }
    z
}
