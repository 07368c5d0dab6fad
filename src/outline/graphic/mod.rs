//! A photo placed by the scan's own colours: patches of the coloured underside are looked for in the photo laid flat, coarse to fine,
//! and tell the camera on the inside of the board, where the surface is well known, whatever the scan's rim has lost.
mod flat;
mod painted;
mod patches;
mod pose;
#[cfg(test)]
mod tests;
pub use painted::Painted;
pub(super) use pose::Match;

use super::camera::Camera;
use super::photo::Picture;
use super::prior::LensPrior;
use super::rim::Rim;
use crate::geom::bounds;
use flat::{Flat, Pyramid};
use nalgebra::{Matrix3, Rotation3, Vector3};
use painted::FINEST_MM;
use patches::{LEAST_CELLS, patches};
use pose::Solved;

/// Cells of each pass, mm, and how far patches are looked for either way, steps of half a cell: from what a contour may be off (a rim some
/// mm off the rail, traded against the lens) down to a cell. What a pass has found is looked for again near by.
const PASSES: [(f64, usize); 6] = [(8.0, 5), (8.0, 4), (4.0, 4), (4.0, 3), (2.0, 4), (2.0, 2)];
/// Coarse passes, and passes, after which a start that is no likelier than chance is given up.
const COARSE: usize = 2;
const GIVEN_UP: usize = 4;
/// Cells of a patch: three times what is least, so that most that lie half over the rim serve too; twice as many where each holds one
/// point, whose noise nothing averages.
const CELLS: f64 = 3.0 * LEAST_CELLS as f64;
/// A camera takes as much evidence by chance as it has unknowns that matter (pose, focal length, k1), half of ln n each (G. Schwarz
/// 1978, *Estimating the dimension of a model*); beyond it must be a thousand times likelier than chance, ln 1000.
const UNKNOWN: f64 = 8.0;
const SURE: f64 = 6.9;
/// Standard error at the rim up to which colours place a photo, mm: more than that any scan's rim tells.
const PLACED_MM: f64 = 1.0;
/// Least patches found.
const LEAST: usize = 6;
/// Matches less likely right than this are left out.
const RIGHT: f64 = 0.5;

/// A start is the right one, not another, where the other's evidence is less than this share of it: prints that are alike either way round
/// tell nearly the same, a wrong one nothing.
const DECIDED: f64 = 0.5;

/// Rms from which on a patch's colours are clear, levels: two to three times what sensors and packing scatter.
const CLEAR: f64 = 20.0;
/// Fewer clear patches than a camera has unknowns tell nothing.
const CLEAR_PLACES: usize = 8;

/// A photo placed.
#[derive(Debug, Clone)]
pub(super) struct Placed {
    pub camera: Camera,
    /// What of the colours was found in it.
    pub matches: Vec<Match>,
    /// Logarithm of how much likelier than chance.
    pub evidence: f64,
    /// Standard error at the rim, mm.
    #[cfg(test)]
    pub error_mm: f64,
}
impl Placed {
    fn ruled_out(&self, by: &Self) -> bool {
        DECIDED * by.evidence > self.evidence
    }
    /// Whether its colours are likelier than those of another way round, by more than chance.
    pub fn likelier(&self, other: &Self) -> bool {
        self.evidence > other.evidence + SURE
    }
}
/// The ways round in which a photo's colours are the scan's.
pub(super) struct Ways {
    /// The start's, or the other where colours are clearly for that.
    pub first: Placed,
    /// The other, where colours are about as likely so.
    pub other: Option<Placed>,
}
/// The scan's colours and the surface they lie on.
pub(super) struct Graphic<'a> {
    painted: &'a Painted,
    rim: &'a Rim<'a>,
}
impl<'a> Graphic<'a> {
    pub fn new(painted: &'a Painted, rim: &'a Rim<'a>) -> Self {
        Self { painted, rim }
    }
    /// The photo placed near the first start that its colours like, or near the one of `all` that they like best.
    pub fn best(&self, photo: &Picture, lens: &LensPrior, starts: &[Camera], all: bool) -> Option<Ways> {
        let mut best: Option<Placed> = None;
        for start in starts {
            for camera in [start, &self.turned(start)] {
                let Some(placed) = self.place(photo, lens, camera) else { continue };
                if best.as_ref().is_none_or(|b| b.ruled_out(&placed)) {
                    best = Some(placed);
                }
            }
            if best.is_some() && !all {
                break;
            }
        }
        let best = best?;
        Some(match self.place(photo, lens, &self.turned(&best.camera)) {
            Some(other) if best.ruled_out(&other) => Ways { first: other, other: None },
            other => Ways { other: other.filter(|o| !o.ruled_out(&best)), first: best },
        })
    }
    /// In how many places that both scan and photo show clearly the photo has other colours than the scan, where its contour was found and
    /// either way round; `None` where they are too few to tell, or agree.
    pub fn contradicts(&self, photo: &Picture, lens: &LensPrior, c: &Camera) -> Option<usize> {
        let pyramid = Pyramid::new(photo, 1.0 / c.mm_per_px(), PASSES[0].0);
        let mut least = usize::MAX;
        for camera in [c, &self.turned(c)] {
            let mut camera = camera.clone();
            let (size, reach) = PASSES[0];
            let (patches, flat) = self.laid(&pyramid, &camera, size, reach);
            let clear = |p: &&patches::Patch| p.contrast > CLEAR && p.contrast_in(&flat).is_some_and(|c| c > CLEAR);
            least = least.min(patches.iter().filter(clear).count());
            for (size, reach) in PASSES.into_iter().take(COARSE) {
                let Some(found) = self.pass(&pyramid, lens, &camera, size, reach) else { break };
                if found.solved.evidence > SURE {
                    return None;
                }
                camera = found.solved.camera;
            }
        }
        (least >= CLEAR_PLACES).then_some(least)
    }
    /// The camera that sees the board's outline where this one does, turned by half a turn.
    fn turned(&self, c: &Camera) -> Camera {
        self.about_middle(c, Vector3::new(-1.0, -1.0, 1.0))
    }
    /// The camera that looks at the underside where this one looks at it, or at the top.
    pub fn seen_from_below(&self, c: &Camera) -> Camera {
        if c.sees_underside() { c.clone() } else { self.about_middle(c, Vector3::new(1.0, -1.0, -1.0)) }
    }
    fn about_middle(&self, c: &Camera, diagonal: Vector3<f64>) -> Camera {
        let (lo, hi) = bounds(&self.rim.plan);
        let [x, y] = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
        let middle = Vector3::new(x, y, self.rim.z.at(x, y));
        let turn = Rotation3::from_matrix_unchecked(Matrix3::from_diagonal(&diagonal));
        let rotation = c.rotation * turn;
        Camera { rotation, shift: c.shift + (c.rotation * middle - rotation * middle), lens: c.lens.clone() }
    }
    /// The photo placed near `start`; `None` where colours do not tell.
    pub fn place(&self, photo: &Picture, lens: &LensPrior, start: &Camera) -> Option<Placed> {
        let pyramid = Pyramid::new(photo, 1.0 / start.mm_per_px(), PASSES[0].0);
        let mut camera = start.clone();
        let mut last = None;
        for (k, (size, reach)) in PASSES.into_iter().enumerate() {
            let Some(found) = self.pass(&pyramid, lens, &camera, size, reach) else {
                // a fine pass may find nothing where colours are coarse
                if k < GIVEN_UP { return None } else { break }
            };
            let evidence = found.solved.evidence;
            if k + 1 == GIVEN_UP && !found.sure() || k + 1 == COARSE && evidence < SURE {
                return None;
            }
            camera = found.solved.camera.clone();
            // where points are sparse fine cells tell less than coarse ones
            let error_mm = found.solved.rim_error_mm(self.rim);
            if k >= COARSE && found.sure() && last.as_ref().is_none_or(|(_, least)| error_mm < *least) {
                last = Some((found, error_mm));
            }
        }
        let (Pass { solved, matches }, error_mm): (Pass, f64) = last?;
        let together = together(&matches, &solved, self.rim);
        let kept: Vec<Match> = matches
            .iter()
            .zip(&solved.right)
            .filter(|(_, r)| **r > RIGHT)
            .map(|(m, _)| {
                let m = solved.weighed(m);
                Match { information: m.information / together, ..m }
            })
            .collect();
        let error_mm = error_mm * together.sqrt();
        (error_mm < PLACED_MM).then_some(Placed {
            camera: solved.camera,
            matches: kept,
            evidence: solved.evidence / together,
            #[cfg(test)]
            error_mm,
        })
    }
    /// Patches of cells of `size`, and the photo laid flat by `camera` with room for `reach` half cells about them.
    fn laid(&self, pyramid: &Pyramid, camera: &Camera, size: f64, reach: usize) -> (Vec<patches::Patch>, Flat) {
        let step = size / 2.0;
        let cells = self.painted.coarser(size);
        let side = (CELLS * (size * size).max(2.0 * self.painted.room())).sqrt();
        let margin = step * (reach + 2) as f64;
        let window = [self.painted.lo.map(|v| v - margin), self.painted.hi.map(|v| v + margin)];
        (patches(&cells, self.painted.lo, side), Flat::new(pyramid, camera, self.rim.z, window, step, size))
    }
    /// Looks for patches of cells of `size` within `reach` half cells of where `camera` sees them, and solves for the camera.
    fn pass(&self, pyramid: &Pyramid, lens: &LensPrior, camera: &Camera, size: f64, reach: usize) -> Option<Pass> {
        let (patches, flat) = self.laid(pyramid, camera, size, reach);
        let found = crate::num::each(patches.len(), |k| {
            let d = patches[k].found(&flat, reach)?;
            let at = patches[k].at;
            let [x, y] = [0, 1].map(|k| at[k] + d.by[k]);
            let px = camera.project([x, y, self.rim.z.at(x, y)]);
            Some(Match { at, px, information: d.information })
        });
        let matches: Vec<Match> = found.into_iter().flatten().collect();
        if matches.len() < LEAST {
            return None;
        }
        let window_mm2 = (flat.step * (2 * reach + 1) as f64).powi(2);
        let solved = pose::solve(camera, lens, self.rim.z, &matches, window_mm2)?;
        Some(Pass { solved, matches })
    }
}
/// What a pass found.
struct Pass {
    solved: Solved,
    matches: Vec<Match>,
}
impl Pass {
    /// Whether it is no work of chance.
    fn sure(&self) -> bool {
        self.solved.evidence > UNKNOWN / 2.0 * (self.matches.len() as f64).ln() + SURE
    }
}
/// How many neighbouring matches say the same: 1 and what those beside each correlate with it, where they do.
fn together(matches: &[Match], solved: &Solved, rim: &Rim) -> f64 {
    let off: Vec<([f64; 2], nalgebra::Vector2<f64>)> = matches
        .iter()
        .zip(&solved.right)
        .filter(|(_, r)| **r > RIGHT)
        .filter_map(|(m, _)| Some((m.at, m.off(&solved.camera, rim.z, [0.0; 2])?.mm)))
        .collect();
    let n = off.len() as f64;
    let variance = off.iter().map(|(_, o)| o.norm_squared()).sum::<f64>() / n;
    // patches lie on a grid: the nearest are one side apart
    let nearest = |i: usize| {
        let d = |j: usize| (off[i].0[0] - off[j].0[0]).hypot(off[i].0[1] - off[j].0[1]);
        (0..off.len()).filter(|j| *j != i).map(d).fold(f64::INFINITY, f64::min)
    };
    let side = crate::num::median(&(0..off.len()).map(nearest).collect::<Vec<_>>());
    // correlations with distance, in rings one side wide; each ring holds some 2 pi of its number
    let mut rings = [(0.0, 0.0); 6];
    for i in 0..off.len() {
        for j in 0..i {
            let d = (off[i].0[0] - off[j].0[0]).hypot(off[i].0[1] - off[j].0[1]) / side;
            let ring = (d - 0.5).max(0.0) as usize;
            if ring < rings.len() {
                rings[ring].0 += off[i].1.dot(&off[j].1);
                rings[ring].1 += 1.0;
            }
        }
    }
    // of unlike ones a correlation is as much as one over the root of their number: what is less than twice that is chance
    let correlated = rings.iter().map(|(sum, count): &(f64, f64)| {
        let c = sum / count / variance;
        if c > 2.0 / count.sqrt() { c } else { 0.0 }
    });
    let sum: f64 =
        correlated.take_while(|c| *c > 0.0).enumerate().map(|(k, c)| std::f64::consts::TAU * (k + 1) as f64 * c).sum();
    if sum.is_finite() { 1.0 + sum } else { 1.0 }
}
/// Cells finer than which nothing is looked for.
const _: () = assert!(PASSES[PASSES.len() - 1].0 <= FINEST_MM);
