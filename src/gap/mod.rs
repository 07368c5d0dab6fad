//! The gap between an enclosure's rim and the deck.
use crate::error::{Error, Result, Stage, Warned};
use crate::geom::{Polygon, TriMesh};
use crate::mating::EnclosureSpec;
use crate::num::{TensorSpline, quantile};

/// Choices of a gap map.
#[derive(Debug, Clone)]
pub struct GapOptions {
    /// Free thickness of the gasket, mm: a wider gap is open.
    pub gasket_mm: f64,
    /// Spacing of the samples on the rim, mm.
    pub sample_mm: f64,
}
/// Spacing of samples: finer than a gasket is wide.
const SAMPLE_MM: f64 = 2.0;
impl GapOptions {
    /// The options of a board's enclosure; without one, any gap above 0 mm counts as open.
    pub fn for_spec(spec: Option<&EnclosureSpec>) -> Self {
        Self { gasket_mm: spec.map_or(0.0, |s| s.gasket_mm), sample_mm: SAMPLE_MM }
    }
}
/// One place on the rim.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct GapSample {
    /// Place on the enclosure, mm, deck frame.
    pub at: [f64; 3],
    /// Signed distance along the deck's normal, mm; negative where the enclosure cuts into the deck.
    pub gap_mm: f64,
}
/// The rim's gap.
#[derive(Debug, Clone)]
pub struct GapMap {
    /// One sample per cell of the plan.
    pub samples: Vec<GapSample>,
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
    /// Samples on the rim.
    pub samples: usize,
}

/// Least cosine between a facet of the rim and the deck's normal: walls and drafts are steeper than 45 degrees to it.
const FACING: f64 = 0.707;
/// Steps of the foot point's fixed point.
const STEPS: usize = 40;
/// An enclosure's floor is at least this far behind its rim, mm (common practice, no source: 25 mm and more).
const DEPTH_MM: f64 = 12.0;
/// Samples more than this outside gaps of any use are not looked at, mm: above the deepest enclosures (common practice, no
/// source: 60 mm) and any thickness of a deck.
const REACH_MM: f64 = 80.0;

/// Signed distance of `p` from the surface along its normal.
fn signed_gap(z: &TensorSpline, p: [f64; 3]) -> f64 {
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
    (p[0] - a) * n[0] + (p[1] - b) * n[1] + (p[2] - z.at(a, b)) * n[2]
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
    let cell = options.sample_mm;
    let coarse = outline.resampled(400);
    let mut found: Vec<((i64, i64), GapSample)> = Vec::new();
    for t in 0..enclosure.triangles.len() {
        let [a, b, c] = enclosure.corners(t);
        let Some(n) = (b - a).cross(&(c - a)).try_normalize(0.0) else { continue };
        let longest = (b - a).norm().max((c - b).norm()).max((a - c).norm());
        let parts = (longest / cell).ceil().clamp(1.0, 1000.0) as usize;
        for i in 0..parts {
            for j in 0..parts - i {
                let (u, v) = ((i as f64 + 1.0 / 3.0) / parts as f64, (j as f64 + 1.0 / 3.0) / parts as f64);
                let p = a + (b - a) * u + (c - a) * v;
                let d = underside.normal(p.x, p.y);
                let facing = (n.x * d[0] + n.y * d[1] + n.z * d[2]).abs();
                let height = p.z - underside.at(p.x, p.y);
                if facing < FACING || height.abs() > REACH_MM || !coarse.contains([p.x, p.y]) {
                    continue;
                }
                let at = [p.x, p.y, p.z];
                found.push((
                    ((p.x / cell).floor() as i64, (p.y / cell).floor() as i64),
                    GapSample { at, gap_mm: signed_gap(underside, at) },
                ));
            }
        }
    }
    found.sort_unstable_by(|x, y| x.0.cmp(&y.0).then(x.1.gap_mm.total_cmp(&y.1.gap_mm)));
    // what is nearest to the deck in a cell faces it; the rest is behind
    found.dedup_by(|b, a| a.0 == b.0);
    if found.is_empty() {
        return Err(Error::new(
            Stage::Gap,
            format!(
                "no part of the enclosure ({} triangles) faces the deck within {REACH_MM} mm of it",
                enclosure.triangles.len()
            ),
        )
        .hint("the enclosure must be in the deck frame, in mm: place it on mating-face.stl before exporting"));
    }
    let samples = rim_of(found.into_iter().map(|f| f.1).collect());
    let gaps: Vec<f64> = samples.iter().map(|s| s.gap_mm).collect();
    let share = |f: &dyn Fn(f64) -> bool| gaps.iter().filter(|g| f(**g)).count() as f64 / gaps.len() as f64;
    let summary = GapSummary {
        least_mm: quantile(&gaps, 0.0),
        greatest_mm: quantile(&gaps, 1.0),
        p5_mm: quantile(&gaps, 0.05),
        p95_mm: quantile(&gaps, 0.95),
        mean_mm: gaps.iter().sum::<f64>() / gaps.len() as f64,
        open_ratio: share(&|g| g > options.gasket_mm),
        clash_ratio: share(&|g| g < 0.0),
        samples: gaps.len(),
    };
    Ok(Warned::clean(GapMap { samples, summary }))
}

/// The samples of the rim: below the widest empty band of gaps, if one is as wide as an enclosure is deep.
fn rim_of(mut samples: Vec<GapSample>) -> Vec<GapSample> {
    samples.sort_by(|a, b| a.gap_mm.total_cmp(&b.gap_mm));
    let cut = samples.windows(2).position(|w| w[1].gap_mm - w[0].gap_mm > DEPTH_MM);
    if let Some(k) = cut {
        samples.truncate(k + 1);
    }
    samples.sort_by(|a, b| a.at[0].total_cmp(&b.at[0]).then(a.at[1].total_cmp(&b.at[1])));
    samples
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
    const OPTIONS: GapOptions = GapOptions { gasket_mm: 3.0, sample_mm: 2.0 };

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
}
