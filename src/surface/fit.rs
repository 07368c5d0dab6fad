//! Robust, curvature-adaptive fairing with smoothing chosen from the data.
use super::bins::{Bin, bins};
use super::{StationReport, SurfaceReport, Underside};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::Polygon;
use crate::num::{
    BIWEIGHT_TUNING, Knots, Sample, TensorFit, TensorSolution, TensorSpline, biweight, mad_sigma, median, quantile,
};
use nalgebra::Point3;

/// Choices of the fit.
#[derive(Debug, Clone)]
pub struct SurfaceOptions {
    /// Plan cell into which points are gathered, mm: half the wavelength of the finest shape a deck has is far larger.
    pub cell_mm: f64,
    /// Length of a knot span, mm: a bend of 35 degrees within some 60 mm needs three or four spans.
    pub span_mm: f64,
    /// How far inside the scan's rim points are taken, mm: a scan rounds the rail over this band.
    pub rim_band_mm: f64,
}
impl Default for SurfaceOptions {
    fn default() -> Self {
        Self { cell_mm: 3.0, span_mm: 18.0, rim_band_mm: 8.0 }
    }
}

/// Cells are at least this many point spacings wide, so that nearly every one under the board holds a point.
const CELL_SPACINGS: f64 = 1.5;
/// Relative standard uncertainty, of the board's length, by which a whole scan is bent: a self-calibrated camera or a drifting
/// depth sensor bows flat things, and nothing in one scan shows it (trials on simulated scans left 0.2 to 0.35 mm on boards of
/// 0.76 to 0.99 m; a board measured with a straight edge would tell it).
const BOW_RELATIVE: f64 = 3e-4;
/// Fewest cells for a fit; a palm-sized patch has more.
const FEWEST_CELLS: usize = 200;
/// Passes of robust weights and curvature-adaptive stiffness.
const PASSES: usize = 4;
/// The domain goes this share of the width past the rim, so that an outline outside the rim stays on the surface.
const MARGIN_RATIO: f64 = 0.08;
/// Places at which the trace of the smoother is summed: its sampling error of some 5 % moves the choice far less than a step.
const TRACE_PLACES: usize = 300;
/// Smoothing is searched over this many decades, then by half decades.
const DECADES: (i32, i32) = (-2, 7);
/// Sections reported.
const STATIONS: usize = 9;

/// Fits the underside to points in the deck frame (mm); `rim` is the rail as the scan shows it.
///
/// # Errors
/// Too few points, or points that do not determine a surface.
pub fn fit_underside(sheet: &[Point3<f64>], rim: &Polygon, options: &SurfaceOptions) -> Result<Warned<Underside>> {
    let (lo, hi) = rim.bounds();
    let coarse = rim.resampled(400);
    // a sparse scan's cells are as wide as its points lie apart, so that neighbours can be told from lone points
    let spacing = (rim.signed_area().abs() / sheet.len().max(1) as f64).sqrt();
    let cell = options.cell_mm.max(CELL_SPACINGS * spacing);
    let cells: Vec<Bin> = company(bins(sheet, cell), cell)
        .into_iter()
        .filter(|b| coarse.signed_distance([b.x, b.y]) < -options.rim_band_mm)
        .collect();
    if cells.len() < FEWEST_CELLS {
        return Err(Error::new(
            Stage::Surface,
            format!(
                "only {} cells of {} mm hold points of the underside, but a fit needs {FEWEST_CELLS}",
                cells.len(),
                cell
            ),
        )
        .hint("scan the underside more slowly and closely, with light that does not glare"));
    }
    let margin = MARGIN_RATIO * (hi[1] - lo[1]);
    let knots = |lo: f64, hi: f64| {
        let (a, b) = (lo - margin, hi + margin);
        Knots::uniform(3, ((b - a) / options.span_mm).ceil().max(4.0) as usize, a, b)
    };
    let (kx, ky) = (knots(lo[0], hi[0]), knots(lo[1], hi[1]));
    let mut robust = vec![1.0; cells.len()];
    let mut stiffness: Option<(TensorSpline, [f64; 3])> = None;
    let mut best: Option<(f64, TensorSolution, f64)> = None;
    for _ in 0..PASSES {
        let samples = weighted(&cells, &robust);
        let fit = TensorFit::new(kx.clone(), ky.clone(), &samples, |x, y| match &stiffness {
            None => [1.0; 3],
            Some((z, typical)) => {
                let d = z.derivatives(x, y);
                [0, 1, 2].map(|k| 1.0 / (1.0 + (d[3 + k] / (2.0 * typical[k])).powi(2)))
            }
        });
        let chosen = choose(&fit, &samples, cell, best.as_ref().map(|b| b.0)).ok_or_else(|| {
            Error::new(Stage::Surface, format!("{} cells do not determine a surface", cells.len()))
                .hint("the scan has large holes; scan the whole underside")
        })?;
        let residuals = residuals(&chosen.1.z, &cells);
        let sigma = mad_sigma(&residuals).max(f64::EPSILON);
        for (w, r) in robust.iter_mut().zip(&residuals) {
            *w = biweight(r / (BIWEIGHT_TUNING * sigma));
        }
        let curvature: Vec<[f64; 6]> = cells.iter().map(|b| chosen.1.z.derivatives(b.x, b.y)).collect();
        let typical = [3, 4, 5].map(|k| {
            let v: Vec<f64> = curvature.iter().map(|d| d[k].abs()).collect();
            median(&v).max(f64::MIN_POSITIVE)
        });
        stiffness = Some((chosen.1.z.clone(), typical));
        best = Some(chosen);
    }
    let (lambda, solution, inflation) = best.ok_or_else(|| Error::new(Stage::Surface, "no pass was made"))?;
    Ok(report(sheet, rim, &coarse, &cells, &robust, options, lambda, solution, inflation))
}

/// Cells that have at least a third of the neighbours they could have within two cells: a lone floater in a hole would
/// otherwise draw the surface to itself.
fn company(cells: Vec<Bin>, size: f64) -> Vec<Bin> {
    /// Cells in the five by five round one, without it.
    const AROUND: usize = 24;
    let key = |b: &Bin| ((b.x / size).floor() as i64, (b.y / size).floor() as i64);
    let keys: Vec<(i64, i64)> = cells.iter().map(key).collect();
    let mut sorted = keys.clone();
    sorted.sort_unstable();
    let has = |i: i64, j: i64| sorted.binary_search(&(i, j)).is_ok();
    cells
        .into_iter()
        .zip(keys)
        .filter(|(_, (i, j))| {
            let near = (-2..=2).flat_map(|a| (-2..=2).map(move |b| (a, b))).filter(|d| *d != (0, 0));
            3 * near.filter(|(a, b)| has(i + a, j + b)).count() >= AROUND
        })
        .map(|(b, _)| b)
        .collect()
}

fn weighted(cells: &[Bin], robust: &[f64]) -> Vec<Sample> {
    // a cell's weight is capped, so that dense patches and lone borders of holes do not rule: noise within a cell is
    // correlated, and more points do not make a cell that much better
    let counts: Vec<f64> = cells.iter().map(|b| b.count as f64).collect();
    let cap = median(&counts);
    cells
        .iter()
        .zip(robust)
        .filter(|(_, r)| **r > 0.0)
        .map(|(b, r)| Sample { x: b.x, y: b.y, z: b.z, w: r * (b.count as f64).min(cap) / cap })
        .collect()
}

fn residuals(z: &TensorSpline, cells: &[Bin]) -> Vec<f64> {
    cells.iter().map(|b| (b.z - z.at(b.x, b.y)) * z.normal(b.x, b.y)[2]).collect()
}

/// Smoothing by generalised cross-validation with the effective degrees of freedom inflated by the number of cells over
/// which residuals hang together (Craven & Wahba 1979, from memory; the inflation is estimated from the residuals of an
/// undersmoothed fit).
fn choose(fit: &TensorFit, samples: &[Sample], cell_mm: f64, last: Option<f64>) -> Option<(f64, TensorSolution, f64)> {
    let n = samples.len() as f64;
    // trace of the smoother by a fixed thinned set of leverages
    let stride = (samples.len() / TRACE_PLACES).max(1);
    let attempt = |lambda: f64| {
        let solution = fit.solve(lambda)?;
        let rss: f64 = samples.iter().map(|s| s.w * (s.z - solution.z.at(s.x, s.y)).powi(2)).sum();
        let trace: f64 =
            samples.iter().step_by(stride).map(|s| s.w * solution.leverage(s.x, s.y)).sum::<f64>() * stride as f64;
        Some((lambda, solution, rss, trace))
    };
    let middle = 10f64.powf(f64::from(DECADES.0 + DECADES.1) / 2.0);
    let inflation = correlation_cells(&fit.solve(middle)?.z, samples, cell_mm);
    let score = |t: &(f64, TensorSolution, f64, f64)| {
        let free = n - inflation * t.3;
        if free > 0.0 { t.2 / (free * free) } else { f64::INFINITY }
    };
    // whole decades first, or about the last pass's choice, then half a decade to either side
    let coarse = match last {
        None => (DECADES.0..=DECADES.1)
            .filter_map(|e| attempt(10f64.powi(e)))
            .min_by(|a, b| score(a).total_cmp(&score(b)))?,
        Some(l) => attempt(l)?,
    };
    // downhill by half decades in the better direction
    let mut best = coarse;
    for step in [0.5, -0.5] {
        let from = best.0;
        while let Some(next) = attempt(best.0 * 10f64.powf(step)).filter(|t| score(t) < score(&best)) {
            best = next;
            if !(f64::from(DECADES.0)..=f64::from(DECADES.1)).contains(&best.0.log10()) {
                break;
            }
        }
        if best.0 > from {
            break;
        }
    }
    Some((best.0, best.1, inflation))
}

/// How many cells' worth of residuals move together: the integral of the residuals' correlation over neighbouring cells,
/// at least 1, capped where the estimate itself would be shape rather than noise.
fn correlation_cells(z: &TensorSpline, samples: &[Sample], cell_mm: f64) -> f64 {
    /// Beyond this many cells a correlation is the surface's own shape.
    const MOST: f64 = 6.0;
    let r: Vec<f64> = samples.iter().map(|s| s.z - z.at(s.x, s.y)).collect();
    let limit = 3.0 * mad_sigma(&r);
    let variance = r.iter().filter(|v| v.abs() < limit).map(|v| v * v).sum::<f64>();
    let used = r.iter().filter(|v| v.abs() < limit).count() as f64;
    if !(variance > 0.0) {
        return 1.0;
    }
    // samples are ordered by cell column and row: the next one is the neighbour along y
    let (mut product, mut pairs) = (0.0, 0.0);
    for (a, b) in samples.windows(2).zip(r.windows(2)).map(|(s, r)| ((s[0], r[0]), (s[1], r[1]))) {
        let near = (a.0.y - b.0.y).abs() < 2.0 * (a.0.x - b.0.x).abs().max(cell_mm) && b.0.y > a.0.y;
        if near && a.1.abs() < limit && b.1.abs() < limit {
            product += a.1 * b.1;
            pairs += 1.0;
        }
    }
    if pairs < 50.0 {
        return 1.0;
    }
    let rho = (product / pairs / (variance / used)).clamp(0.0, 0.95);
    // an exponential decay rho per cell in the plane sums to about ((1 + rho) / (1 - rho))^2 cells
    (((1.0 + rho) / (1.0 - rho)).powi(2)).clamp(1.0, MOST)
}

#[allow(clippy::too_many_arguments)]
fn report(
    sheet: &[Point3<f64>],
    rim: &Polygon,
    coarse: &Polygon,
    cells: &[Bin],
    robust: &[f64],
    options: &SurfaceOptions,
    lambda: f64,
    solution: TensorSolution,
    inflation: f64,
) -> Warned<Underside> {
    let z = &solution.z;
    let (lo, hi) = rim.bounds();
    let stride = (sheet.len() / 50_000).max(1);
    let used: Vec<(f64, f64)> = sheet
        .iter()
        .step_by(stride)
        .filter(|p| coarse.signed_distance([p.x, p.y]) < -options.rim_band_mm)
        .map(|p| (p.x, (p.z - z.at(p.x, p.y)) * z.normal(p.x, p.y)[2]))
        .collect();
    let values: Vec<f64> = used.iter().map(|u| u.1).collect();
    let cut = BIWEIGHT_TUNING * mad_sigma(&values);
    let kept: Vec<(f64, f64)> = used.iter().copied().filter(|u| u.1.abs() <= cut).collect();
    let rms = |v: &[f64]| (v.iter().map(|r| r * r).sum::<f64>() / v.len().max(1) as f64).sqrt();
    let inside: Vec<f64> = kept.iter().map(|u| u.1).collect();
    let cell_sigma = {
        let r = residuals(z, cells);
        let kept: Vec<f64> = r.iter().zip(robust).filter(|(_, w)| **w > 0.0).map(|(r, _)| *r).collect();
        rms(&kept)
    };
    let step = (cells.len() / 60).max(1);
    let errors: Vec<f64> =
        cells.iter().step_by(step).map(|b| cell_sigma * (inflation * solution.leverage(b.x, b.y)).sqrt()).collect();
    let bow = BOW_RELATIVE * (hi[0] - lo[0]);
    let half = (hi[0] - lo[0]) / (2.0 * STATIONS as f64);
    let stations = (0..STATIONS)
        .map(|i| {
            let x = lo[0] + half * (2 * i + 1) as f64;
            let r: Vec<f64> = kept.iter().filter(|u| (u.0 - x).abs() < options.span_mm / 2.0).map(|u| u.1).collect();
            StationReport { x_mm: x, residual_rms_mm: rms(&r), points: r.len() * stride }
        })
        .collect();
    let report = SurfaceReport {
        points: kept.len() * stride,
        rejected_ratio: 1.0 - kept.len() as f64 / used.len().max(1) as f64,
        residual_rms_mm: rms(&inside),
        residual_p95_mm: quantile(&inside.iter().map(|r| r.abs()).collect::<Vec<_>>(), 0.95),
        noise_error_mm: median(&errors),
        bow_error_mm: bow,
        standard_error_mm: median(&errors).hypot(bow),
        control_points: [z.x.len(), z.y.len()],
        smoothing: lambda,
        stations,
    };
    let mut warnings = Vec::new();
    // a third of the points thrown out means that the surface is not what most of the scan shows
    if report.rejected_ratio > 0.33 {
        warnings.push(Warning::new(
            Stage::Surface,
            format!("{:.0} % of the points do not lie on the fitted underside", 100.0 * report.rejected_ratio),
            "look at the sections in the report; if the board is doubled, scan it in one pass",
        ));
    }
    Warned::with(Underside { z: solution.z, report }, warnings)
}
