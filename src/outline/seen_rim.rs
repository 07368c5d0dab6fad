//! The rail as a photo shows it that the scan's colours place: nearer to the true one than the scan's rim, whose spurs and dents the solve's
//! offsets are too smooth to take away.
use super::rim::Rim;
use crate::geom::Polygon;
use crate::num::median;

/// Stations either way whose median is taken: some 15 mm of rail in all, half of what the solve's offsets resolve.
const NEAR: usize = 2;

/// Stations over which a line's direction is taken beside a place that is not seen: some 30 mm.
const ALONG: usize = 12;
/// A piece of rail shorter than this, in stations, is not bridged by its own bend: some 30 mm.
const SHORT: usize = 12;
/// Cosine of the most by which a bridged piece bends: 30 degrees, more than a side does behind a wheel.
const MOST_BENT: f64 = 0.866;

/// The rim moved out to a border so far outside of it, mm; where the border is not seen (`None`) by what is seen on either side, but no
/// farther out than the fair curve that carries on both sides: what hides a rail melts into a scan's rim as a bump, and a wheel well is a dent.
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
        let bridge = if k > last + SHORT { Bridge::over(rim, &smooth, [last, k]) } else { None };
        for i in last..=k {
            let t = if k > last { (i - last) as f64 / (k - last) as f64 } else { 0.0 };
            let even = before + t * (here - before);
            off[i % n] = bridge.as_ref().map_or(even, |b| even.min(b.outside(rim, i % n, t)));
        }
        last = k;
    }
    Some(Polygon { points: (0..n).map(|i| rim.plan_point(i, off[i])).collect() })
}
/// A cubic (Hermite's) from where a border is seen last to where it is seen again, in plan.
struct Bridge {
    ends: [[f64; 2]; 2],
    /// Its directions there, as long as it is.
    along: [[f64; 2]; 2],
}
impl Bridge {
    /// From one station to another; `None` where no direction is seen at either, or they bend much.
    fn over(rim: &Rim, off: &[Option<f64>], [from, to]: [usize; 2]) -> Option<Self> {
        let n = off.len();
        let at = |i: usize| Some(rim.plan_point(i % n, off[i % n]?));
        let (a, b) = (at(from)?, at(to)?);
        let (before, after) = (at(from + n - ALONG)?, at(to + ALONG)?);
        let stretch = (to - from) as f64 / ALONG as f64;
        let direction = |p: [f64; 2], q: [f64; 2]| [0, 1].map(|k| stretch * (q[k] - p[k]));
        let along = [direction(before, a), direction(b, after)];
        let dot = |p: [f64; 2], q: [f64; 2]| p[0] * q[0] + p[1] * q[1];
        // round an end a cubic cuts corners
        let bent = dot(along[0], along[1]) < MOST_BENT * (dot(along[0], along[0]) * dot(along[1], along[1])).sqrt();
        (!bent).then_some(Self { ends: [a, b], along })
    }
    /// How far outside of the rim it passes a station, a share `t` of the way.
    fn outside(&self, rim: &Rim, i: usize, t: f64) -> f64 {
        let u = 1.0 - t;
        let w = [u * u * (1.0 + 2.0 * t), t * t * (1.0 + 2.0 * u), t * u * u, -t * t * u];
        let (p, m) = (rim.plan[i], rim.normal[i]);
        (0..2)
            .map(|k| {
                let q =
                    w[0] * self.ends[0][k] + w[1] * self.ends[1][k] + w[2] * self.along[0][k] + w[3] * self.along[1][k];
                (q - p[k]) * m[k]
            })
            .sum()
    }
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
    /// By hand, an ellipse whose scan bulges by 5 mm behind a wheel that hides it, or goes in by 5 mm where it has a well: the bulge goes, to
    /// within what a cubic is off the ellipse, and the well stays.
    #[test]
    fn a_wheel_makes_no_bulge() {
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let z = TensorSpline::new(x, y, vec![0.0; 16]).unwrap();
        for by in [5.0, -5.0] {
            let points = (0..1200)
                .map(|i| f64::from(i) / 1200.0 * std::f64::consts::TAU)
                .map(|a| {
                    let bump =
                        by * (-((400.0 * a.cos() - 150.0) / 25.0).powi(2)).exp() * f64::from(u8::from(a.sin() > 0.0));
                    [400.0 * a.cos(), 100.0 * a.sin() + bump]
                })
                .collect();
            let rim = Rim::new(&Polygon { points }, &z).unwrap();
            let behind = |p: &[f64; 2]| (p[0] - 150.0).abs() < 60.0 && p[1] > 0.0;
            let off: Vec<Option<f64>> = rim.plan.iter().map(|p| (!behind(p)).then_some(0.0)).collect();
            let moved = seen_rim(&off, &rim).unwrap();
            let top =
                moved.points.iter().filter(|p| behind(p)).map(|p| p[1] - 100.0 * (1.0 - (p[0] / 400.0).powi(2)).sqrt());
            let (lo, hi) = top.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| (l.min(v), h.max(v)));
            assert!(hi < 1.0 && if by > 0.0 { lo > -1.0 } else { lo < -4.0 }, "{by}: {lo} {hi}");
        }
    }
}
