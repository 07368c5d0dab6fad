//! Smoothing chosen from the data.
use crate::num::{Sample, TensorFit, TensorSolution, TensorSpline, each, mad_sigma};

/// Places at which the trace of the smoother is summed: its sampling error of some 5 % moves the choice far less than a step.
const TRACE_PLACES: usize = 300;
/// Smoothing is searched over this many decades, then by half decades.
const DECADES: (i32, i32) = (-2, 7);
/// Degrees of freedom count this much more, against the odd sample for which plain cross-validation follows the noise (Y.-J. Kim,
/// C. Gu 2004, doi 10.1046/j.1369-7412.2003.05316.x, from memory: 1.4 loses next to nothing on the other samples).
const PRUDENCE: f64 = 1.4;
/// A choice of smoothing.
#[derive(Debug, Clone)]
pub(super) struct Chosen {
    /// Weight of the bending energy.
    pub lambda: f64,
    /// The fit with it.
    pub solution: TensorSolution,
    /// The fit's degrees of freedom.
    pub trace: f64,
}

/// Smoothing by generalised cross-validation with the effective degrees of freedom inflated by the number of cells over
/// which residuals hang together (Craven & Wahba 1979, from memory; the inflation is estimated from the residuals of an
/// undersmoothed fit).
pub(super) fn choose(fit: &TensorFit, samples: &[Sample], cell_mm: f64, last: Option<f64>) -> Option<Chosen> {
    let n = samples.len() as f64;
    // trace of the smoother by a fixed thinned set of leverages
    let stride = (samples.len() / TRACE_PLACES).max(1);
    let attempt = |lambda: f64| {
        let solution = fit.solve(lambda)?;
        let squared = |s: &Sample| s.w * (s.z - solution.z.at(s.x, s.y)).powi(2);
        let rss: f64 = each(samples.len(), |i| squared(&samples[i])).iter().sum();
        let leverages = solution.leverages();
        let trace = samples.iter().step_by(stride).map(|s| s.w * leverages.at(s.x, s.y)).sum::<f64>() * stride as f64;
        Some((Chosen { lambda, solution, trace }, rss))
    };
    let middle = 10f64.powf(f64::from(DECADES.0 + DECADES.1) / 2.0);
    let inflation = PRUDENCE * correlation_cells(&fit.solve(middle)?.z, samples, cell_mm);
    let score = |t: &(Chosen, f64)| {
        let free = n - inflation * t.0.trace;
        if free > 0.0 { t.1 / (free * free) } else { f64::INFINITY }
    };
    // whole decades first, or about the last pass's choice, then half a decade to either side
    let coarse = match last {
        None => each((DECADES.1 - DECADES.0 + 1) as usize, |k| attempt(10f64.powi(DECADES.0 + k as i32)))
            .into_iter()
            .flatten()
            .min_by(|a, b| score(a).total_cmp(&score(b)))?,
        Some(l) => attempt(l)?,
    };
    // downhill by half decades in the better direction
    let mut best = coarse;
    for step in [0.5, -0.5] {
        let from = best.0.lambda;
        while let Some(next) = attempt(best.0.lambda * 10f64.powf(step)).filter(|t| score(t) < score(&best)) {
            best = next;
            if !(f64::from(DECADES.0)..=f64::from(DECADES.1)).contains(&best.0.lambda.log10()) {
                break;
            }
        }
        if best.0.lambda > from {
            break;
        }
    }
    Some(best.0)
}

/// How many cells' worth of residuals move together, at least 1: the larger of two estimates that are both low. The integral over
/// the plane of their correlation, taken along both axes up to the first lag at which nothing is left of it, misses what a loose fit
/// has taken away; a decay that goes on as it begins misses what noise of single cells hides at the first lag.
fn correlation_cells(z: &TensorSpline, samples: &[Sample], cell_mm: f64) -> f64 {
    /// Beyond this many cells a correlation is the surface's own shape: boards by formula are fitted alike between 4 and 8,
    /// and the kicks of coarse scans go with 20.
    const MOST: f64 = 6.0;
    /// Lags looked at, cells.
    const LAGS: i64 = 8;
    /// Fewest pairs that tell a correlation to some tenth.
    const PAIRS: f64 = 100.0;
    let residual = each(samples.len(), |i| samples[i].z - z.at(samples[i].x, samples[i].y));
    let limit = 3.0 * mad_sigma(&residual);
    let mut known: Vec<((i64, i64), f64)> = (samples.iter().zip(&residual))
        .filter(|(_, r)| r.abs() < limit)
        .map(|(s, r)| (((s.x / cell_mm).floor() as i64, (s.y / cell_mm).floor() as i64), *r))
        .collect();
    known.sort_unstable_by_key(|k| k.0);
    let variance = known.iter().map(|k| k.1 * k.1).sum::<f64>() / known.len() as f64;
    let (mut area, mut decay) = (1.0, 1.0);
    for lag in 1..=LAGS {
        let (mut product, mut pairs) = (0.0, 0.0);
        // cells come in order, so do those a lag away
        let mut at = [0; 2];
        for ((i, j), r) in &known {
            for (at, other) in at.iter_mut().zip([(i + lag, *j), (*i, j + lag)]) {
                *at += known[*at..].iter().take_while(|k| k.0 < other).count();
                if let Some(k) = known.get(*at).filter(|k| k.0 == other) {
                    product += r * k.1;
                    pairs += 1.0;
                }
            }
        }
        let rho = product / pairs / variance;
        // what chance makes of no correlation at all
        if pairs < PAIRS || !(rho > 2.0 / f64::sqrt(pairs)) {
            break;
        }
        if lag == 1 {
            // rho to the power of the lag in both directions sums to this over the plane
            let rho = f64::min(rho, 0.95);
            decay = ((1.0 + rho) / (1.0 - rho)).powi(2);
        }
        area += std::f64::consts::TAU * lag as f64 * rho;
    }
    f64::max(area, decay).min(MOST)
}
