//! Parts of the rail that what stands on the board hides from the camera.
use super::stray::SIDE_MM;
use crate::num::median;
use nalgebra::Point3;

/// Points whose nearest neighbours give the spacing: enough for a median.
const SAMPLES: usize = 400;
/// A hidden place lies within this many spacings of a standing point: a surface sampled at a spacing has no hole wider than
/// two of them, and one more is the penumbra of its shadow.
const SPACINGS: f64 = 3.0;
/// And within this, mm: beside a wheel a border climbs its side over so much of rail, and scans lose the outermost of a wheel.
const LEAST_MM: f64 = SIDE_MM;

/// Spacing of the points of what stands over the underside, mm; `None` for fewer than two.
pub(super) fn spacing(standing: &[Point3<f64>]) -> Option<f64> {
    if standing.len() < 2 {
        return None;
    }
    let near: Vec<f64> = standing
        .iter()
        .step_by(standing.len().div_ceil(SAMPLES))
        .map(|p| {
            standing.iter().map(|q| (p - q).norm_squared()).filter(|d| *d > 0.0).fold(f64::INFINITY, f64::min).sqrt()
        })
        .filter(|d| d.is_finite())
        .collect();
    (!near.is_empty()).then(|| median(&near))
}
/// Which of the contour's places lie behind the standing points seen at `posts`, `px_per_mm` and `spacing` mm apart.
pub(super) fn hidden(contour: &[[f64; 2]], posts: &[[f64; 2]], spacing: Option<f64>, px_per_mm: f64) -> Vec<bool> {
    let Some(spacing) = spacing else { return vec![false; contour.len()] };
    let radius = (SPACINGS * spacing).max(LEAST_MM) * px_per_mm;
    let near = |q: &[f64; 2], p: &[f64; 2]| (q[0] - p[0]).powi(2) + (q[1] - p[1]).powi(2) < radius * radius;
    // of a few hundred places and thousands of posts, only those within reach along x are compared
    let mut by_x: Vec<usize> = (0..contour.len()).collect();
    by_x.sort_by(|a, b| contour[*a][0].total_cmp(&contour[*b][0]));
    let mut out = vec![false; contour.len()];
    for q in posts {
        let from = by_x.partition_point(|i| contour[*i][0] < q[0] - radius);
        let within = by_x[from..].iter().take_while(|i| contour[**i][0] <= q[0] + radius);
        within.for_each(|i| out[*i] |= near(q, &contour[*i]));
    }
    bridge(&mut out);
    out
}
/// What is shorter than either hidden run beside it is hidden too: a scan sees a wheel's tread, not all of its face.
fn bridge(v: &mut [bool]) {
    let n = v.len();
    let Some(first) = (0..n).find(|&i| v[i] && !v[(i + n - 1) % n]) else { return };
    // runs in order round the ring from a hidden one's begin on: (length hidden, length open)
    let mut runs: Vec<(usize, usize)> = Vec::new();
    let mut k = 0;
    while k < n {
        let hidden = (k..n).take_while(|j| v[(first + j) % n]).count();
        let open = (k + hidden..n).take_while(|j| !v[(first + j) % n]).count();
        runs.push((hidden, open));
        k += hidden + open;
    }
    let mut at = first;
    for i in 0..runs.len() {
        let (hidden, open) = runs[i];
        let next = runs[(i + 1) % runs.len()].0;
        if runs.len() > 1 && open <= hidden.min(next) {
            (0..open).for_each(|j| v[(at + hidden + j) % n] = true);
        }
        at += hidden + open;
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn wheel_over_the_rail_hides_it_and_nothing_else() {
        // a wheel's tread, 2 mm apart, over places 40..60 of a straight rail with 1 px and 1 mm a place
        let line: Vec<[f64; 2]> = (0..200).map(|i| [f64::from(i), 0.0]).collect();
        let posts: Vec<[f64; 2]> = (0..11).map(|i| [40.0 + 2.0 * f64::from(i), 1.0]).collect();
        let points: Vec<Point3<f64>> = posts.iter().map(|p| Point3::new(p[0], p[1], 50.0)).collect();
        assert_eq!(spacing(&points), Some(2.0));
        let h = hidden(&line, &posts, spacing(&points), 1.0);
        let at: Vec<usize> = (0..200).filter(|&i| h[i]).collect();
        assert_eq!((at[0], at[at.len() - 1], at.len()), (29, 71, 43));
        assert_eq!(hidden(&line, &[], None, 1.0), vec![false; 200]);
    }
    #[test]
    fn only_short_gaps_between_hidden_runs_close() {
        let text = |s: &str| s.chars().map(|c| c == '#').collect::<Vec<_>>();
        for (given, want) in [
            ("..###..###....", "..########...."),
            ("..##...##.....", "..##...##....."),
            ("#.............", "#............."),
            (".##........##.", "###........###"),
            ("..............", ".............."),
        ] {
            let mut v = text(given);
            bridge(&mut v);
            assert_eq!(v, text(want), "{given}");
        }
    }
}
