//! The gap between an enclosure's rim and the deck.
mod clamp;
mod doubt;
mod fringe;
mod gasket;
mod grade;
mod grid;
mod growth;
mod part_size;
mod register;
mod rest;
mod ride;
mod rim;
mod scanned;

pub use clamp::{ClampReport, Flange, Seat, clamp};
pub use doubt::{GapDoubt, PoseDoubt};
pub(crate) use doubt::{PLACEMENT_MM, surface_under};
pub(crate) use gasket::USUAL_MM;
pub use gasket::{Gasket, GasketReport, Verdict, VerdictShares, judge};
pub use grade::Grade;
pub use growth::{Growth, GrowthReport, growth};
pub use register::{Alternative, Freedom, Registered, Registration, register};
pub(crate) use register::{BetterPlace, Lies, as_it_lies};
pub use rest::rest;
pub use ride::{Bent, RideReport, RideStation, ride};
pub use rim::{OtherParts, RimLoop, RimStation};
pub use scanned::{PartTape, ScannedPart, register_scan};

use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Polygon, TriMesh};
use crate::mating::EnclosureSpec;
use crate::num::{TensorSpline, quantile};
use grid::{Grid, REACH_MM};

/// Choices of a gap map.
#[derive(Debug, Clone)]
pub struct GapOptions {
    /// Free thickness of the gasket, mm: a wider gap is open.
    pub gasket_mm: f64,
    /// Width of the gasket's strip, mm: the unrolled rim looks at that much about the rim's middle line.
    pub strip_mm: f64,
    /// Spacing of the samples on the rim, mm.
    pub sample_mm: f64,
    /// Outer and inner border in plan within which the rim is looked for; `None` finds it anywhere.
    pub limit: Option<[Polygon; 2]>,
    /// What the gap's uncertainty is made of; none for the gaps of bare geometry.
    pub doubt: GapDoubt,
}
/// Spacing of samples: finer than a gasket is wide.
const SAMPLE_MM: f64 = 1.0;
/// Width of a usual strip, mm (common practice, no source: 10 to 25 mm).
const STRIP_MM: f64 = 10.0;
impl GapOptions {
    /// The options of a board's enclosure; without one, any gap above 0 mm counts as open.
    pub fn for_spec(spec: Option<&EnclosureSpec>) -> Self {
        Self {
            gasket_mm: spec.map_or(0.0, |s| s.gasket_mm),
            strip_mm: STRIP_MM,
            sample_mm: SAMPLE_MM,
            limit: None,
            doubt: GapDoubt::none(),
        }
    }
}
/// One place on the rim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapSample {
    /// Place on the enclosure, mm, deck frame.
    pub at: [f64; 3],
    /// Signed distance along the deck's normal, mm; negative where the enclosure cuts into the deck.
    pub gap_mm: f64,
    /// Standard uncertainty of the gap, mm.
    pub standard_uncertainty_mm: f64,
}
/// The rim's gap.
#[derive(Debug, Clone)]
pub struct GapMap {
    /// One sample per cell of the plan.
    pub samples: Vec<GapSample>,
    /// The rims unrolled, the largest first.
    pub rims: Vec<RimLoop>,
    /// What faces the deck beside the rims.
    pub other: OtherParts,
    /// Figures.
    pub summary: GapSummary,
}
/// Figures of a gap map.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct GapSummary {
    /// Least gap, mm.
    pub least_mm: f64,
    /// Greatest gap, mm.
    pub greatest_mm: f64,
    /// 5 % quantile, mm.
    pub p5_mm: f64,
    /// 95 % quantile, mm.
    pub p95_mm: f64,
    /// Mean, mm.
    pub mean_mm: f64,
    /// Share wider than the free gasket.
    pub open_ratio: f64,
    /// Share that clashes.
    pub clash_ratio: f64,
    /// Greatest standard uncertainty of the gap, mm.
    pub standard_uncertainty_mm: f64,
    /// Samples on the rim.
    pub samples: usize,
}

/// Steps of the foot point's fixed point.
const STEPS: usize = 40;

/// Signed distance of `p` from the surface along its normal, and that normal.
fn signed_gap(z: &TensorSpline, p: [f64; 3]) -> (f64, [f64; 3]) {
    let (mut a, mut b) = (p[0], p[1]);
    for _ in 0..STEPS {
        let n = z.normal(a, b);
        let h = (p[2] - z.at(a, b)) * n[2];
        // move to where the normal through the foot passes the point
        let d = [p[0] - a - h * n[0], p[1] - b - h * n[1]];
        a += d[0] * n[2];
        b += d[1] * n[2];
        if d[0].abs() + d[1].abs() < 1e-9 {
            break;
        }
    }
    let n = z.normal(a, b);
    ((p[0] - a) * n[0] + (p[1] - b) * n[1] + (p[2] - z.at(a, b)) * n[2], n)
}

/// The gap of the enclosure's rim (found by itself: what faces the deck nearest to it) over the deck's plan.
///
/// # Errors
/// An enclosure without area over the deck.
pub fn gap_map(
    enclosure: &TriMesh,
    underside: &TensorSpline,
    outline: &Polygon,
    options: &GapOptions,
) -> Result<Warned<GapMap>> {
    let grid = Grid::new(enclosure, underside, outline, options.sample_mm);
    let found = rim::find(&grid, options.limit.as_ref());
    let (mut samples, mut rims) = (Vec::new(), Vec::new());
    for part in &found.rims {
        let mut cells = part.clone();
        cells.sort_unstable();
        let of_part: Vec<GapSample> = cells
            .iter()
            .map(|&i| {
                let [x, y] = grid.centre(i);
                let at = [x, y, grid.z[i]];
                let (gap_mm, n) = signed_gap(underside, at);
                GapSample { at, gap_mm, standard_uncertainty_mm: options.doubt.at(at, n, gap_mm) }
            })
            .collect();
        rims.extend(rim::unroll(&grid, part, &of_part, options));
        samples.extend(of_part);
    }
    if samples.is_empty() {
        return Err(Error::new(
            Stage::Gap,
            format!(
                "no part of the enclosure ({} triangles) faces the deck within {REACH_MM} mm of it",
                enclosure.triangles.len()
            ),
        )
        .hint("the enclosure must be in the deck frame, in mm: place it on mating-face.stl before exporting, or have it found with --register"));
    }
    let warnings = doubts(&rims, &found.other, grid.outside);
    samples.sort_by(|a, b| a.at[0].total_cmp(&b.at[0]).then(a.at[1].total_cmp(&b.at[1])));
    let summary = summary(&samples, options.gasket_mm);
    Ok(Warned::with(GapMap { samples, rims, other: found.other, summary }, warnings))
}

fn summary(samples: &[GapSample], gasket_mm: f64) -> GapSummary {
    let gaps: Vec<f64> = samples.iter().map(|s| s.gap_mm).collect();
    let share = |f: &dyn Fn(f64) -> bool| gaps.iter().filter(|g| f(**g)).count() as f64 / gaps.len() as f64;
    GapSummary {
        least_mm: quantile(&gaps, 0.0),
        greatest_mm: quantile(&gaps, 1.0),
        p5_mm: quantile(&gaps, 0.05),
        p95_mm: quantile(&gaps, 0.95),
        mean_mm: gaps.iter().sum::<f64>() / gaps.len() as f64,
        open_ratio: share(&|g| g > gasket_mm),
        clash_ratio: share(&|g| g < 0.0),
        standard_uncertainty_mm: samples.iter().map(|s| s.standard_uncertainty_mm).fold(0.0, f64::max),
        samples: gaps.len(),
    }
}

fn doubts(rims: &[RimLoop], other: &OtherParts, outside: usize) -> Vec<Warning> {
    let mut w = Vec::new();
    let mut add = |message: String, hint: &str| w.push(Warning::new(Stage::Gap, message, hint));
    if outside > 0 {
        add(
            format!("{outside} cells of the enclosure at the deck's level lie outside the outline"),
            "the rim hangs over the rail there and cannot seal; make it narrower",
        );
    }
    if rims.is_empty() {
        add(
            "what faces the deck is too small or too narrow for a rim: nothing is said of gasket, screws and rider"
                .into(),
            "the mesh must be in mm: one in inches has to be 25.4 times as large; look at the gap map to see what was found",
        );
    }
    for r in rims {
        if !r.closed {
            add(
                format!("the rim of {:.0} mm does not run all round an inside", r.length_mm),
                "a plate or an open rim is measured along its border; check the mesh for a gap in the rim",
            );
        } else if r.missing_ratio > 0.0 {
            add(
                format!("the mesh shows no rim along {:.1} % of its line", 100.0 * r.missing_ratio),
                "repair the mesh's holes, or look at the gap map to see whether they matter",
            );
        }
    }
    if let Some(least) = other.least_mm.filter(|l| *l < 0.0) {
        add(
            format!("{} parts beside the rim face the deck, one cuts {:.2} mm into it", other.count, -least),
            "shorten the posts or bosses inside the box",
        );
    }
    w
}

#[cfg(test)]
mod tests;
