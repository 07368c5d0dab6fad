//! Where the rim of a scanned part ends, and the size its tape reading gives it.
use super::PartTape;
use crate::mating::MatingFace;
use crate::num::{mad_sigma, median};
use nalgebra::{Matrix2, Point3, Vector2};

/// Slices over the middle half of an end, clear of rounded corners: each tells where the rim ends there.
const SLICES: usize = 15;
/// Height about the rim's face within which points may belong to it while size and pose are not yet true, mm: thinner than a
/// flange with its gasket.
const RIM_MM: f64 = 4.0;
/// Half height of the band that holds the face's points, in standard deviations of their scatter: all but 3 in 1000.
const BAND: f64 = 3.0;
/// And its least, mm: a layer of a print.
const LEAST_BAND_MM: f64 = 0.3;

/// One end of the rim.
struct End {
    /// How far it lies outside the footprint's border, mm.
    off_mm: f64,
    /// Standard error of that, from the slices' scatter.
    error_mm: f64,
    /// Scatter of the face's points there, mm.
    noise_mm: f64,
}
/// Along which axis, which end of it, and from which side the rim is seen.
#[derive(Clone, Copy)]
struct Which {
    axis: usize,
    sign: f64,
    back_mm: f64,
}

/// Finds one end of the rim by counting. As the face's points lie evenly, those beyond a place well inside it, over their number
/// per mm before it, tell how far it goes on; noise moves points out and in alike, so that the edge need not be sharp. The edge's own
/// wall is counted in the next band of heights, which holds as much of it and nothing of the face, and taken off.
fn end(points: &[Point3<f64>], mating: &MatingFace, which: Which) -> Option<End> {
    let Which { axis, sign, back_mm } = which;
    let across = 1 - axis;
    let (outer, inner) = (&mating.footprint.outer_polygon, &mating.footprint.inner_polygon);
    let (box_out, box_in) = (outer.bounds(), inner.bounds());
    let last = |b: ([f64; 2], [f64; 2])| if sign > 0.0 { b.1[axis] } else { -b.0[axis] };
    let width = last(box_out) - last(box_in);
    let (from, span) =
        ((3.0 * box_out.0[across] + box_out.1[across]) / 4.0, (box_out.1[across] - box_out.0[across]) / 2.0);
    // distance outside the border and height over the face (or the back) of each point of a slice
    let mut slices: Vec<Vec<[f64; 2]>> = vec![Vec::new(); SLICES];
    // an end bent as far as the rim is wide is one still
    let near = |p: &&Point3<f64>| sign * p[axis] > last(box_out) - 2.0 * width;
    for p in points.iter().filter(near) {
        let k = ((p[across] - from) / span * SLICES as f64).floor();
        let height = p.z - mating.face.at(p.x, p.y) - back_mm;
        if k >= 0.0 && k < SLICES as f64 && height.abs() < RIM_MM {
            slices[k as usize].push([outer.signed_distance([p.x, p.y]), height]);
        }
    }
    let inside = -width / 4.0;
    let before = |s: &[f64; 2]| s[0] > -0.75 * width && s[0] <= inside;
    let level = |s: &[[f64; 2]]| median(&s.iter().filter(|s| before(s)).map(|s| s[1]).collect::<Vec<_>>());
    let full: Vec<(&Vec<[f64; 2]>, f64)> =
        slices.iter().filter(|s| s.iter().filter(|p| before(p)).count() > SLICES).map(|s| (s, level(s))).collect();
    let heights: Vec<f64> =
        full.iter().flat_map(|(s, level)| s.iter().filter(|p| before(p)).map(move |p| p[1] - level)).collect();
    let noise_mm = mad_sigma(&heights);
    let band = (BAND * noise_mm).max(LEAST_BAND_MM);
    // the edge's wall goes on away from the side that is seen
    let down = if back_mm > 0.0 { -1.0 } else { 1.0 };
    let ends: Vec<f64> = full
        .iter()
        .filter_map(|(s, level)| {
            let count = |lo: f64, hi: f64, beyond: bool| {
                let within = |p: &&[f64; 2]| {
                    let h = down * (p[1] - level);
                    h > lo && h <= hi && if beyond { p[0] > inside && p[0] < width } else { before(p) }
                };
                s.iter().filter(within).count() as f64
            };
            let per_mm = count(-band, band, false) / (width / 2.0);
            (per_mm > 0.0).then(|| inside + (count(-band, band, true) - count(band, 2.0 * band, true)) / per_mm)
        })
        .collect();
    // of normal errors a median has sqrt(pi / 2) times a mean's (M. G. Kendall; from memory)
    let error_mm = (std::f64::consts::FRAC_PI_2 / ends.len() as f64).sqrt() * mad_sigma(&ends);
    (!ends.is_empty()).then(|| End { off_mm: median(&ends), error_mm, noise_mm })
}

/// What the tape makes of a scanned part.
pub(super) struct PartSize {
    /// Factor that makes its size true.
    pub factor: f64,
    /// Relative standard uncertainty of that.
    pub relative: f64,
    /// Length and width of the rim in the scan before that, mm; NaN where an end of it does not show.
    pub size_mm: [f64; 2],
    /// Length against width, over what the tape says, less 1, where that is more than three times what its errors account for.
    pub apart: Option<f64>,
}

/// Measures the rim of a part whose scan is laid on the mating face, and solves its size by least squares: of each reading
/// w = factor have + 2 d, where d is how far the scan's edges lie inside the part's. Edges come out no sharper than the scan is
/// noisy, so that d is 0 within its scatter; two readings tell it from the size. `None` where no end of the rim shows where the
/// tape was read. `back_mm` is the flange's thickness where its back is what is seen, else 0.
pub(super) fn part_size(
    points: &[Point3<f64>],
    tape: &PartTape,
    mating: &MatingFace,
    back_mm: f64,
) -> Option<PartSize> {
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let have = [0, 1].map(|axis| {
        let [a, b] = [1.0, -1.0].map(|sign| end(points, mating, Which { axis, sign, back_mm }));
        let (a, b) = (a?, b?);
        let size = hi[axis] - lo[axis] + a.off_mm + b.off_mm;
        Some((size, a.error_mm.hypot(b.error_mm), a.noise_mm.max(b.noise_mm)))
    });
    let readings: Vec<(f64, f64, f64, f64)> = [tape.length_mm, tape.width_mm]
        .into_iter()
        .zip(have)
        .filter_map(|(want, have)| want.zip(have).map(|(w, (h, e, n))| (w, h, e, n)))
        .collect();
    let noise = readings.iter().map(|r| r.3).fold(0.0, f64::max);
    let tape_u = tape.tolerance_mm / 3.0_f64.sqrt();
    // no reading and no edge is perfect: a least square needs a weight, a hundredth of a rule's finest division
    const FINEST_MM: f64 = 0.01;
    let (mut m, mut v) = (Matrix2::zeros(), Vector2::zeros());
    m[(1, 1)] = noise.max(FINEST_MM).powi(-2);
    for (want, have, error, _) in &readings {
        let u = tape_u.hypot(*error).max(FINEST_MM);
        let a = Vector2::new(*have, 2.0);
        m += a * a.transpose() / (u * u);
        v += a * (want / (u * u));
    }
    let inverse = m.try_inverse().filter(|_| !readings.is_empty())?;
    let factor = (inverse * v)[0];
    let apart = if let [(wa, ha, ea, _), (wb, hb, eb, _)] = readings[..] {
        let apart = (ha / wa) / (hb / wb) - 1.0;
        let each = |w: f64, e: f64| tape_u.hypot(e) / w;
        let u = each(wa, ea).hypot(each(wb, eb)).hypot(2.0 * noise * (1.0 / wa - 1.0 / wb));
        (apart.abs() > 3.0 * u).then_some(apart)
    } else {
        None
    };
    Some(PartSize {
        factor,
        relative: inverse[(0, 0)].sqrt() / factor,
        size_mm: have.map(|h| h.map_or(f64::NAN, |h| h.0)),
        apart,
    })
}
