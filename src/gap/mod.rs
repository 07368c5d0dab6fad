//! The gap between an enclosure's rim and the deck.
mod clamp;
mod doubt;
mod fringe;
mod gasket;
mod grade;
mod grid;
mod growth;
mod register;
mod ride;
mod rim;
mod scanned;

pub use clamp::{ClampReport, Flange, Seat, clamp};
pub(crate) use doubt::PLACEMENT_MM;
pub use doubt::{GapDoubt, PoseDoubt};
pub use gasket::{Gasket, GasketReport, Verdict, judge};
pub use grade::Grade;
pub use growth::{Growth, GrowthReport, growth};
pub use register::{Alternative, Freedom, Registered, Registration, register};
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
    /// What the gap's uncertainty is made of.
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
            doubt: GapDoubt::default(),
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
                GapSample { at, gap_mm, standard_uncertainty_mm: options.doubt.at(at, n) }
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
        .hint("the enclosure must be in the deck frame, in mm: place it on mating-face.stl before exporting"));
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
mod tests {
    use super::*;
    use crate::num::{Knots, interpolate};
    use nalgebra::{DMatrix, Point3};

    fn cylinder(r: f64) -> TensorSpline {
        let (x, y) = (Knots::uniform(3, 4, -200.0, 200.0), Knots::uniform(3, 40, -120.0, 120.0));
        let gy = y.greville();
        let nx = x.len();
        let v = DMatrix::from_fn(gy.len(), nx, |j, _| (r * r - gy[j] * gy[j]).sqrt() - r);
        let c = interpolate(&y, &v).unwrap();
        let c = (0..nx).flat_map(|i| (0..gy.len()).map(move |j| (i, j))).map(|(i, j)| c[(j, i)]).collect();
        TensorSpline::new(x, y, c).unwrap()
    }
    fn strip(f: impl Fn(f64) -> (f64, f64)) -> TriMesh {
        let mut m = TriMesh::default();
        for j in 0..=180 {
            let (y, z) = f(-90.0 + f64::from(j));
            m.points.push(Point3::new(-50.0, y, z));
            m.points.push(Point3::new(50.0, y, z));
        }
        for j in 0..180 {
            m.triangles.push([2 * j, 2 * j + 1, 2 * j + 2]);
            m.triangles.push([2 * j + 1, 2 * j + 3, 2 * j + 2]);
        }
        m
    }
    fn plan() -> Polygon {
        Polygon { points: vec![[-190.0, -110.0], [190.0, -110.0], [190.0, 110.0], [-190.0, 110.0]] }
    }
    const DOUBT: GapDoubt = GapDoubt {
        surface_mm: 0.0,
        scale_ratio: 0.0,
        placement_mm: 0.0,
        pose: PoseDoubt { covariance: [[0.0; 6]; 6] },
    };
    const OPTIONS: GapOptions =
        GapOptions { gasket_mm: 3.0, strip_mm: 10.0, sample_mm: 1.0, limit: None, doubt: DOUBT };

    /// A cylinder of radius R + g is everywhere g from one of radius R (differential geometry, exact).
    #[test]
    fn offset_cylinder_has_an_even_gap() {
        let (r, g) = (325.25, 2.1);
        let m = strip(|y| {
            let a = y / r;
            ((r + g) * a.sin(), (r + g) * a.cos() - r)
        });
        let map = gap_map(&m, &cylinder(r), &plan(), &OPTIONS).unwrap().value;
        assert!(
            (map.summary.least_mm - g).abs() < 2e-3 && (map.summary.greatest_mm - g).abs() < 2e-3,
            "{:?}",
            map.summary
        );
        let mut flipped = m;
        for t in flipped.triangles.iter_mut().step_by(2) {
            t.swap(0, 1);
        }
        let again = gap_map(&flipped, &cylinder(r), &plan(), &OPTIONS).unwrap().value;
        assert!((again.summary.mean_mm - map.summary.mean_mm).abs() < 1e-3);
    }
    /// Arc through a chord W with sagitta s: R = (W^2 / 4 + s^2) / (2 s); W = 180, s = 12.7 gives 325.25 (derived).
    #[test]
    fn flat_rim_over_an_arc() {
        let m = strip(|y| (y, 0.0));
        let map = gap_map(&m, &cylinder(325.25), &plan(), &OPTIONS).unwrap().value;
        // along the normal the gap is the distance from the axis less R
        for p in &map.samples {
            let want = 325.25_f64.hypot(p.at[1]) - 325.25;
            assert!((p.gap_mm - want).abs() < 2e-3, "{p:?} {want}");
        }
        assert!(map.summary.greatest_mm > 11.5 && map.summary.greatest_mm < 12.7, "{:?}", map.summary);
        assert!(map.summary.least_mm.abs() < 1e-2 && map.summary.clash_ratio < 0.02);
        assert!(map.summary.open_ratio > 0.3);
    }
    #[test]
    fn clash_is_negative_and_a_floor_is_no_rim() {
        let mut m = strip(|y| (y, -1.0 - y * y / 650.0));
        let behind = strip(|y| (y, 30.0));
        let n = m.points.len() as u32;
        m.points.extend(behind.points.iter().map(|p| Point3::new(p.x + 110.0, p.y, p.z)));
        m.triangles.extend(behind.triangles.iter().map(|t| t.map(|i| i + n)));
        let map = gap_map(&m, &cylinder(325.25), &plan(), &OPTIONS).unwrap().value;
        assert!(map.summary.greatest_mm < 0.0 && map.summary.clash_ratio == 1.0, "{:?}", map.summary);
    }
    #[test]
    fn nothing_near_is_an_error() {
        let m = strip(|y| (y, 500.0));
        assert!(gap_map(&m, &cylinder(325.25), &plan(), &OPTIONS).unwrap_err().message().contains("80 mm"));
        assert!(gap_map(&TriMesh::default(), &cylinder(325.25), &plan(), &OPTIONS).is_err());
    }
    /// A ring between two circles, `g` above a cylinder of radius `r`; planted: a middle line of 2 pi 70 mm, 20 mm wide.
    fn ring(r: f64, gap: impl Fn(f64) -> f64) -> TriMesh {
        let mut m = TriMesh::default();
        let n = 720;
        for i in 0..n {
            let a = f64::from(i) / f64::from(n) * std::f64::consts::TAU;
            // six radii: the chord across a wider facet would lie 0.1 mm inside the cylinder
            for q in [60.0, 64.0, 68.0, 72.0, 76.0, 80.0] {
                let (x, y) = (q * a.cos(), q * a.sin());
                let t = (y / r).asin();
                let g = gap(a);
                m.points.push(Point3::new(x, (r + g) * t.sin(), (r + g) * t.cos() - r));
            }
        }
        for i in 0..n {
            let (a, b) = (6 * i as u32, 6 * ((i + 1) % n) as u32);
            for k in 0..5 {
                m.triangles.push([a + k, a + k + 1, b + k]);
                m.triangles.push([a + k + 1, b + k + 1, b + k]);
            }
        }
        m
    }
    #[test]
    fn a_planted_wave_comes_back_along_the_rim() {
        let r = 325.25;
        let wave = |a: f64| 2.0 + (3.0 * a).cos();
        let map = gap_map(&ring(r, wave), &cylinder(r), &plan(), &OPTIONS).unwrap();
        assert!(map.warnings.is_empty(), "{:?}", map.warnings);
        let rim = &map.value.rims[0];
        assert_eq!((map.value.rims.len(), rim.closed), (1, true));
        let want = std::f64::consts::TAU * 70.0;
        assert!((rim.length_mm / want - 1.0).abs() < 0.02 && (rim.width_mm - 20.0).abs() < 1.0, "{rim:?}");
        for s in &rim.stations {
            let a = s.y_mm.atan2(s.x_mm);
            // the wave climbs 3 / 70 a mm: within its change over a station of 2 mm
            assert!((s.gap_mm - wave(a)).abs() < 0.09, "{s:?} {}", wave(a));
        }
        assert!(rim.stations[0].x_mm > 69.0 && rim.stations[30].y_mm > 0.0, "from the nose's side, counter-clockwise");
    }
    #[test]
    fn holes_and_double_walls_are_borne_and_posts_told_apart() {
        let r = 325.25;
        let mut m = ring(r, |_| 2.0);
        for k in [100, 101, 102, 103] {
            m.triangles.swap_remove(k);
        }
        let (n, behind) = (m.points.len() as u32, ring(r, |_| 4.5));
        m.points.extend(&behind.points);
        m.triangles.extend(behind.triangles.iter().map(|t| [t[1] + n, t[0] + n, t[2] + n]));
        let post = m.points.len() as u32;
        m.points.extend([[0.0, 0.0, -0.5], [10.0, 0.0, -0.5], [0.0, 10.0, -0.5]].map(Point3::from));
        m.triangles.push([post, post + 1, post + 2]);
        let map = gap_map(&m, &cylinder(r), &plan(), &OPTIONS).unwrap();
        assert!((map.value.summary.p95_mm - 2.0).abs() < 0.01, "{:?}", map.value.summary);
        assert_eq!((map.value.other.count, map.value.rims.len()), (1, 1));
        assert!(map.warnings.iter().any(|w| w.message.contains("cuts")), "{:?}", map.warnings);
    }
    /// A flange whose outer wall leans out shows its back side, 5 mm behind, past its edge: that is no gap of the rim.
    #[test]
    fn the_back_of_a_leaning_flange_is_no_rim() {
        let r = 325.25;
        let front = ring(r, |_| 2.0);
        let mut m = front.clone();
        let n = m.points.len() as u32;
        m.points.extend(front.points.iter().map(|p| {
            let k = 1.0 + 1.3 / p.x.hypot(p.y);
            Point3::new(k * p.x, k * p.y, p.z + 5.0)
        }));
        m.triangles.extend(front.triangles.iter().map(|t| [t[1] + n, t[0] + n, t[2] + n]));
        let map = gap_map(&m, &cylinder(r), &plan(), &OPTIONS).unwrap().value;
        assert!((map.summary.greatest_mm - 2.0).abs() < 0.05, "{:?}", map.summary);
        assert!(map.summary.samples > 8500, "the front is all there: {}", map.summary.samples);
    }
    /// A groove 4 mm wide and 2 mm deep that holds a cord is part of the rim.
    #[test]
    fn a_groove_stays() {
        let r = 325.25;
        let mut m = ring(r, |_| 2.0);
        // the ring's third and fourth radius, 68 and 72 mm, sunk with steep sides
        for p in m.points.iter_mut().filter(|p| (67.0..73.0).contains(&p.x.hypot(p.y))) {
            p.z += 2.0;
        }
        let map = gap_map(&m, &cylinder(r), &plan(), &OPTIONS).unwrap().value;
        assert!((map.summary.greatest_mm - 4.0).abs() < 0.1, "{:?}", map.summary);
    }
    /// Growth is coefficient times length times temperature: a 400 mm rim of 60e-6 on 6e-6 over 30 K is 0.648 mm longer.
    #[test]
    fn a_rim_grows_past_its_deck() {
        let mut rim =
            gap_map(&ring(325.25, |_| 2.0), &cylinder(325.25), &plan(), &OPTIONS).unwrap().value.rims.remove(0);
        rim.stations.iter_mut().for_each(|s| s.x_mm *= 2.0 / 0.7);
        let reach = rim.stations.iter().map(|s| s.x_mm).fold(0.0, f64::max);
        let g = growth(&rim, &Growth { enclosure_per_k: 60e-6, deck_per_k: 6e-6, change_k: 30.0 });
        assert!((reach - 200.0).abs() < 3.0 && (g.length_mm - 0.648).abs() < 0.01, "{g:?} {reach}");
        assert!((g.held_strain_ratio - 54e-6 * 30.0).abs() < 1e-15 && (g.end_mm * 2.0 - g.length_mm).abs() < 1e-15);
    }
}
