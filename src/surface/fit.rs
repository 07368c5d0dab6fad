//! Robust, curvature-adaptive fairing with smoothing chosen from the data.
use super::Underside;
use super::bins::{Bin, bins};
use super::sections::Fitted;
use super::smoothing::{Chosen, choose};
use crate::error::{Error, Result, Stage, Warned};
use crate::geom::Polygon;
use crate::num::{BIWEIGHT_TUNING, Knots, Sample, TensorFit, TensorSpline, biweight, each, mad_sigma, median};
use crate::tolerance::THIN_MM;
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
/// Fewest cells for a fit; a palm-sized patch has more.
const FEWEST_CELLS: usize = 200;
/// Passes of robust weights and curvature-adaptive stiffness.
const PASSES: usize = 4;
/// The domain goes this share of the width past the rim, so that an outline outside the rim stays on the surface.
const MARGIN_RATIO: f64 = 0.08;

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
    let cells = company(bins(sheet, cell), cell);
    let inside = coarse.within(-options.rim_band_mm);
    let cells: Vec<Bin> = cells.into_iter().filter(|c| inside.holds([c.x, c.y])).collect();
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
    let mut best: Option<(Chosen, Vec<Sample>, TensorFit)> = None;
    for _ in 0..PASSES {
        let last = best.as_ref().map(|b| &b.0.solution.z);
        let samples = weighted(&cells, &last.map_or_else(|| vec![1.0; cells.len()], |z| robust(z, &cells)));
        let typical = last.map(|z| (z, typical_curvature(z, &cells)));
        let fit = TensorFit::new(kx.clone(), ky.clone(), &samples, |x, y| match &typical {
            None => [1.0; 3],
            Some((z, typical)) => {
                let d = z.derivatives(x, y);
                [0, 1, 2].map(|k| 1.0 / (1.0 + (d[3 + k] / (2.0 * typical[k])).powi(2)))
            }
        });
        let chosen = choose(&fit, &samples, cell, best.as_ref().map(|b| b.0.lambda)).ok_or_else(|| {
            Error::new(Stage::Surface, format!("{} cells do not determine a surface", cells.len()))
                .hint("the scan has large holes; scan the whole underside")
        })?;
        best = Some((chosen, samples, fit));
    }
    let (chosen, samples, fit) = best.ok_or_else(|| Error::new(Stage::Surface, "no pass was made"))?;
    // as far past the rim as the domain goes, so that an outline outside it lies where the bound holds; corners are left out
    let thinned = chosen.solution.z.thinned(THIN_MM, |lo, hi| {
        let (middle, half) = ([0, 1].map(|k| (lo[k] + hi[k]) / 2.0), (hi[0] - lo[0]).hypot(hi[1] - lo[1]) / 2.0);
        coarse.signed_distance(middle) < margin + half
    });
    Ok(Fitted {
        sheet,
        fit,
        inside: &inside,
        bounds: coarse.bounds(),
        cells: &cells,
        samples: &samples,
        options,
        chosen,
        thinned,
    }
    .report())
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

/// Robust weights of the cells by their distances from a surface.
fn robust(z: &TensorSpline, cells: &[Bin]) -> Vec<f64> {
    let residuals = each(cells.len(), |i| z.beyond([cells[i].x, cells[i].y, cells[i].z]));
    let sigma = mad_sigma(&residuals).max(f64::EPSILON);
    residuals.iter().map(|r| biweight(r / (BIWEIGHT_TUNING * sigma))).collect()
}

/// Medians of |zxx|, |zxy| and |zyy| over the cells.
fn typical_curvature(z: &TensorSpline, cells: &[Bin]) -> [f64; 3] {
    let curvature = each(cells.len(), |i| z.derivatives(cells[i].x, cells[i].y));
    [3, 4, 5].map(|k| median(&curvature.iter().map(|d| d[k].abs()).collect::<Vec<_>>()).max(f64::MIN_POSITIVE))
}
