//! The rail as a photo shows it that the scan's colours place: nearer to the true one than the scan's rim, whose spurs and dents the solve's
//! offsets are too smooth to take away.
use super::rim::Rim;
use crate::geom::Polygon;
use crate::num::median;

/// Stations either way whose median is taken: some 15 mm of rail in all, half of what the solve's offsets resolve.
const NEAR: usize = 2;

/// The rim moved out to a border so far outside of it, mm; where the border is not seen (`None`) by what is seen on either side.
/// `None` where nothing is seen.
pub(super) fn seen_rim(off_mm: &[Option<f64>], rim: &Rim) -> Option<Polygon> {
    let n = off_mm.len();
    let near = |i: usize| -> Vec<f64> { (0..=2 * NEAR).filter_map(|k| off_mm[(i + n + k - NEAR) % n]).collect() };
    let smooth: Vec<Option<f64>> = (0..n).map(|i| off_mm[i].map(|_| median(&near(i)))).collect();
    let first = smooth.iter().position(Option::is_some)?;
    let mut off = vec![0.0; n];
    let mut last = first;
    // once round, to the first again
    for k in first..=first + n {
        let Some(here) = smooth[k % n] else { continue };
        let before = smooth[last % n].unwrap_or(here);
        for i in last..=k {
            let t = if k > last { (i - last) as f64 / (k - last) as f64 } else { 0.0 };
            off[i % n] = before + t * (here - before);
        }
        last = k;
    }
    Some(Polygon { points: (0..n).map(|i| rim.plan_point(i, off[i])).collect() })
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::{Knots, TensorSpline};
    use crate::outline::STATIONS;
    /// By hand: 2 mm out where it is seen, on a slope between 2 and 4 mm where it is not, also over the first station; a single place
    /// gone astray moves nothing.
    #[test]
    fn what_is_not_seen_lies_between_what_is() {
        let points = (0..600)
            .map(|i| f64::from(i) / 600.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let z = TensorSpline::new(x, y, vec![0.0; 16]).unwrap();
        let rim = Rim::new(&Polygon { points }, &z).unwrap();
        let off: Vec<Option<f64>> = (0..STATIONS)
            .map(|i| match i {
                0..20 | 700.. => None,
                50 => Some(9.0),
                20..400 => Some(2.0),
                _ => Some(4.0),
            })
            .collect();
        let moved = seen_rim(&off, &rim).unwrap();
        let by = |i: usize| (moved.points[i][0] - rim.plan[i][0]).hypot(moved.points[i][1] - rim.plan[i][1]);
        for (i, want) in [(30, 2.0), (50, 2.0), (500, 4.0), (699, 4.0)] {
            assert!((by(i) - want).abs() < 1e-9, "{i}: {}", by(i));
        }
        // 21 steps from station 699 to station 20
        assert!((by(0) - (4.0 - 2.0 * 21.0 / 41.0)).abs() < 1e-9, "{}", by(0));
        assert!(seen_rim(&vec![None; STATIONS], &rim).is_none());
    }
}
