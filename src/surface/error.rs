//! How far the fitted surface may be off, place by place.
//!
//! # References
//! G. Wahba, *Bayesian "confidence intervals" for the cross-validated smoothing spline*, 1983, and D. Nychka, *Bayesian
//! confidence intervals for smoothing splines*, 1988 (both from memory): the band of the penalised fit's posterior holds its
//! level on average over the surface, the fit's own bias included.
use super::bins::Bin;
use super::smoothing::Chosen;
use crate::num::{Knots, Sample, TensorFit, TensorSpline, each, mad_sigma, median};

/// Standard error of a surface over its plan, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct ErrorMap(TensorSpline);
impl ErrorMap {
    /// One value everywhere over the rectangle from `lo` to `hi`, mm.
    pub fn constant(lo: [f64; 2], hi: [f64; 2], mm: f64) -> Self {
        Self::filled(&Knots::uniform(1, 1, lo[0], hi[0]), &Knots::uniform(1, 1, lo[1], hi[1]), |_, _| mm)
    }
    /// Values at the knots of `x` and `y`, straight between them.
    pub(crate) fn filled(x: &Knots, y: &Knots, f: impl Fn(f64, f64) -> f64) -> Self {
        let (bx, by) = (x.breaks(), y.breaks());
        let c = bx.iter().flat_map(|u| by.iter().map(|v| f(*u, *v))).collect();
        Self(TensorSpline { x: x.clone(), y: y.clone(), c })
    }
    /// The standard error at (x, y) of the surface's frame, mm.
    pub fn at(&self, x: f64, y: f64) -> f64 {
        self.0.at(x, y)
    }
    /// The map of the surface scaled by `s` about the origin, then moved by `by` in plan, mm.
    #[must_use]
    pub fn moved(&self, s: f64, by: [f64; 2]) -> Self {
        Self(self.0.moved(s, [by[0], by[1], 0.0]))
    }
    /// The map with an even part of `from` mm, which is in it by squares, changed to `to` mm.
    #[must_use]
    pub(crate) fn with_part(&self, from: f64, to: f64) -> Self {
        let mut z = self.0.clone();
        z.c.iter_mut().for_each(|c| *c = (*c * *c - from * from).max(0.0).sqrt().hypot(to));
        Self(z)
    }
    /// The map of the surface after half a turn about the x axis.
    #[must_use]
    pub fn turned(&self) -> Self {
        let mut z = self.0.turned();
        z.c.iter_mut().for_each(|c| *c = -*c);
        Self(z)
    }
}

/// Relative standard uncertainty, of the board's length, by which a whole scan is bent: a self-calibrated camera or a drifting
/// depth sensor bows flat things, and nothing in one scan shows it. By experience with simulated scans, beyond what noise and passes
/// account for: boards by formula (bent by 0.1 to 0.2 mm) are held 95 % of the time with it, and all of the time with three times
/// as much; scans bent more than that ask for twice as much. A board measured with a straight edge would tell it.
pub(crate) const BOW_RELATIVE: f64 = 1e-4;
/// The rougher and the stiffer fit about the chosen one, as factors of its smoothing: wide enough to hold some tens of waves, and
/// a decade to either side moves the resolution by no more than two (a wavelength goes with the fourth root of the smoothing).
const BAND: f64 = 10.0;
/// Windows along the board in which the scatter is compared.
const WINDOWS: usize = 12;
/// Fewest points of a window: its variance is then known to some tenth.
const FEWEST_POINTS: usize = 200;

/// Variance per unit weight of the fit, from what it has at the resolution chosen: the difference of a rougher and a stiffer fit
/// holds the waves that the choice of smoothing cuts through, where shape and noise are about alike. White noise of variance 1
/// through the same two fits tells what that is worth. Noise that hangs together over neighbouring cells is strong there though its
/// scatter is small. Creases are left to the robust scale.
fn unit_variance(mut fit: TensorFit, lambda: f64, samples: &[Sample]) -> Option<f64> {
    let band = |fit: &TensorFit| {
        let (rough, stiff) = (fit.solve(lambda / BAND)?.z, fit.solve(lambda * BAND)?.z);
        let waves = |s: &Sample| rough.at(s.x, s.y) - stiff.at(s.x, s.y);
        Some(mad_sigma(&each(samples.len(), |i| waves(&samples[i]))))
    };
    let seen = band(&fit)?;
    let mut signs = Signs(1);
    let white: Vec<Sample> = samples.iter().map(|s| Sample { z: signs.next() / s.w.sqrt(), ..*s }).collect();
    fit.set_samples(&white);
    Some((seen / band(&fit)?).powi(2))
}
/// A fixed row of signs: white noise of variance 1 (Marsaglia's xorshift 13-7-17, 2003, doi 10.18637/jss.v008.i14).
struct Signs(u64);
impl Signs {
    fn next(&mut self) -> f64 {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        // a high bit: the first low ones of a small seed are not mixed yet
        if self.0 >> 62 & 1 == 0 { -1.0 } else { 1.0 }
    }
}

/// Standard uncertainty of the shape from passes that lie apart, mm. Where two passes of a scan overlap, half of the points lie on
/// either layer, a distance D apart, and the residuals' variance is larger by D^2 / 4 than where there is one; a third of the
/// windows along the board with the largest scatter is taken as doubled, a third with the least as single. Of three passes
/// independently off, D is the square root of 2 of one's error, and one lies the square root of 2/3 of it off their mean: D / 3^0.5.
/// Layers that double the whole board evenly are not seen, but then their mean is the surface.
fn passes_apart(points: &[(f64, f64)], lo: f64, hi: f64) -> f64 {
    let step = (hi - lo) / WINDOWS as f64;
    let mut scatter: Vec<(f64, usize)> = (0..WINDOWS)
        .filter_map(|i| {
            let a = lo + step * i as f64;
            let r: Vec<f64> = points.iter().filter(|p| p.0 >= a && p.0 < a + step).map(|p| p.1 * p.1).collect();
            (r.len() >= FEWEST_POINTS).then(|| (r.iter().sum::<f64>() / r.len() as f64, r.len()))
        })
        .collect();
    scatter.sort_by(|a, b| a.0.total_cmp(&b.0));
    let third = scatter.len() / 3;
    if third == 0 {
        return 0.0;
    }
    let mean = |v: &[(f64, usize)]| v.iter().map(|s| s.0).sum::<f64>() / v.len() as f64;
    let (single, doubled) = (mean(&scatter[..third]), mean(&scatter[scatter.len() - third..]));
    // sorting alone parts the thirds by 2.2 standard deviations of a window's variance (normal law)
    let least = scatter.iter().map(|s| s.1).min().unwrap_or(FEWEST_POINTS);
    let chance = 2.2 * single * (2.0 / least as f64).sqrt();
    (4.0 * (doubled - single - chance).max(0.0) / 3.0).sqrt()
}

/// The standard error and its parts, mm.
pub(super) struct Found {
    pub map: ErrorMap,
    /// Median over the cells of what the noise leaves.
    pub noise_mm: f64,
    pub drift_mm: f64,
    pub bow_mm: f64,
    /// Median over the cells of all together.
    pub median_mm: f64,
}
impl Found {
    /// `points` are places along x with residuals along the normal; `thinning_mm` bounds the change when knots were taken out.
    pub fn new(
        fit: TensorFit,
        chosen: &Chosen,
        samples: &[Sample],
        cells: &[Bin],
        points: &[(f64, f64)],
        thinning_mm: f64,
    ) -> Self {
        let z = &chosen.solution.z;
        // both fits lie a decade from one that was solved; should one fail, 1 mm per unit weight is more than any scan's noise
        let variance = unit_variance(fit, chosen.lambda, samples).unwrap_or(1.0);
        let (lo, hi) = cells.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), b| (l.min(b.x), h.max(b.x)));
        let drift_mm = passes_apart(points, lo, hi);
        let bow_mm = BOW_RELATIVE * (hi - lo);
        // a bound without more known about it is a rectangular distribution (GUM 4.3.7)
        let wide = drift_mm.hypot(bow_mm).hypot(thinning_mm / 3f64.sqrt());
        let nodes = |k: &Knots| {
            let (a, b) = k.range();
            Knots::uniform(1, 2 * (k.breaks().len() - 1), a, b)
        };
        let leverages = chosen.solution.leverages();
        let noise = ErrorMap::filled(&nodes(&z.x), &nodes(&z.y), |x, y| (variance * leverages.at(x, y)).sqrt());
        let over = |m: &ErrorMap| median(&each(cells.len(), |i| m.at(cells[i].x, cells[i].y)));
        let noise_mm = over(&noise);
        let mut map = noise;
        map.0.c.iter_mut().for_each(|c| *c = c.hypot(wide));
        Self { noise_mm, drift_mm, bow_mm, median_mm: over(&map), map }
    }
}
