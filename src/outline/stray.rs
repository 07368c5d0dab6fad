//! Pieces of a photo's border that are not the rail's: a wheel, a strap or a hand over it that the scan does not show.
//!
//! A rail and a scan's rim are both fair, so that what lies between them changes slowly along the rail. A thing over the rail takes the
//! border away from it at once, and gives it back a hand's breadth farther on.
use super::STATIONS;
use super::rim::Rim;
use super::start::OFF_MM;
use crate::num::{mad_sigma, median};

/// A piece is a thing's when it is this far off the border beside it, mm: two standard deviations of what differs along a poor scan's
/// rim; and this many of what differs along this one.
pub(super) const LEAST_MM: f64 = 2.0 * OFF_MM;
const SIGMAS: f64 = 4.0;
/// It reaches as far as it is more than this share of that off.
const FOOT: f64 = 0.25;
/// Where a thing begins and ends the border moves as far within this much of rail, mm: a scan's rim is fitted over twice as much to
/// either side, and what it loses changes more slowly.
pub(super) const SIDE_MM: f64 = 12.0;
/// What covers less of the rail is a border gone astray for a few places, which the solve's weights take care of: straps are wider.
const NARROW_MM: f64 = 20.0;

/// Stations along half a board's width of rail, along a thing's side, and along the narrowest thing.
#[derive(Debug, Clone, Copy)]
pub(super) struct Reach {
    half_width: usize,
    side: usize,
    narrow: usize,
}
impl Reach {
    pub fn of(rim: &Rim) -> Self {
        let step = rim.polygon().perimeter() / STATIONS as f64;
        let stations = |mm: f64| ((mm / step).round() as usize).clamp(1, STATIONS / 4);
        Self { half_width: stations(rim.size.1 / 2.0), side: stations(SIDE_MM), narrow: stations(NARROW_MM) }
    }
}
impl Reach {
    /// Stations along a quarter of a board's width.
    pub fn quarter_width(self) -> usize {
        self.half_width / 2
    }
}
/// Of a border so far outside the scan's rim, mm (`None` where it is not seen), that of things over the rail.
pub(super) fn strays(off_mm: &[Option<f64>], reach: Reach) -> Vec<Option<f64>> {
    let n = off_mm.len();
    // what is shorter than half of the stretch is in the minority there
    let beside = |i: usize| {
        let near: Vec<f64> =
            (0..=2 * reach.half_width).filter_map(|k| off_mm[(i + n + k - reach.half_width) % n]).collect();
        Some(off_mm[i]? - median(&near))
    };
    let off: Vec<Option<f64>> = (0..n).map(beside).collect();
    let off = &off;
    let seen: Vec<f64> = off.iter().flatten().copied().collect();
    if seen.is_empty() {
        return vec![None; n];
    }
    let limit = (SIGMAS * mad_sigma(&seen)).max(LEAST_MM);
    let beyond = |i: usize, sign: f64, least: f64| off[i % n].is_some_and(|o| sign * o > least);
    // whether the border leaves, or comes back, at once within a side's reach of station `i`; what is not seen takes no reach
    let at_once = |i: usize| {
        let seen = |step: usize| {
            let reached = (1..=reach.half_width).filter_map(move |k| off[(i + k * step) % n]);
            reached.take(reach.side)
        };
        let mut near: Vec<f64> = seen(n - 1).collect();
        near.reverse();
        near.extend(off[i].into_iter().chain(seen(1)));
        near.windows(reach.side + 1).any(|w| w.iter().any(|o| (o - w[0]).abs() > limit))
    };
    let mut out = vec![None; n];
    for sign in [1.0, -1.0] {
        // pieces begin where what is before is not so far off
        let foot = |i: usize| beyond(i, sign, FOOT * limit);
        for first in (0..n).filter(|&i| foot(i) && !foot(i + n - 1)) {
            let len = (0..n).take_while(|k| foot(first + k)).count();
            let core = (first..first + len).any(|i| beyond(i, sign, limit));
            if core && (reach.narrow..n).contains(&len) && at_once(first) && at_once((first + len - 1) % n) {
                (first..first + len).for_each(|i| out[i % n] = off_mm[i % n]);
            }
        }
    }
    out
}
/// Stations to either side over which a line's bend is taken: some 10 mm, above the scatter of its places.
const BEND: usize = 4;

/// Of pieces that stray from the scan's rim those whose border bends more than the rim does there: where it bends less the rim has a notch
/// or a spur.
pub(super) fn unfair(mut strays: Vec<Option<f64>>, off_mm: &[Option<f64>], rim: &Rim) -> Vec<Option<f64>> {
    let n = strays.len();
    let bend = |off: &dyn Fn(usize) -> Option<f64>, i: usize| {
        let at = |k: usize| Some(rim.plan_point(k % n, off(k % n)?));
        let (a, b, c) = (at(i + n - BEND)?, at(i)?, at(i + BEND)?);
        Some((a[0] - 2.0 * b[0] + c[0]).powi(2) + (a[1] - 2.0 * b[1] + c[1]).powi(2))
    };
    let starts: Vec<usize> = (0..n).filter(|&i| strays[i].is_some() && strays[(i + n - 1) % n].is_none()).collect();
    for first in starts {
        let len = (0..n).take_while(|k| strays[(first + k) % n].is_some()).count();
        let (mut border, mut scanned) = (0.0, 0.0);
        for i in first + n - 2 * BEND..first + n + len + 2 * BEND {
            if let (Some(b), Some(r)) = (bend(&|k| off_mm[k], i % n), bend(&|_| Some(0.0), i % n)) {
                (border, scanned) = (border + b, scanned + r);
            }
        }
        if border < scanned {
            (first..first + len).for_each(|i| strays[i % n] = None);
        }
    }
    strays
}
#[cfg(test)]
mod tests {
    use super::*;
    /// 2.6 mm from station to station.
    const REACH: Reach = Reach { half_width: 40, side: 5, narrow: 8 };
    /// A border that scatters by 0.3 mm and wanders by 2 mm along the rail.
    fn fair(i: usize) -> f64 {
        2.0 * (i as f64 / 720.0 * 12.0).sin() + 0.3 * (i as f64 * 2.3).sin()
    }
    fn places(off: impl Fn(usize) -> Option<f64>) -> Vec<usize> {
        let found = strays(&(0..720).map(off).collect::<Vec<_>>(), REACH);
        (0..720).filter(|i| found[*i].is_some()).collect()
    }
    #[test]
    fn a_wheel_strays_on_either_side_of_the_rail() {
        for out in [8.0, -8.0] {
            let found = places(|i| Some(fair(i) + if (300..324).contains(&i) { out } else { 0.0 }));
            assert_eq!(found, (300..324).collect::<Vec<_>>());
        }
        // over the first station, and beside places that are not seen
        let found = places(|i| match i {
            700..720 | 0..4 => Some(fair(i) + 8.0),
            4..9 => None,
            _ => Some(fair(i)),
        });
        assert_eq!(found, (0..4).chain(700..720).collect::<Vec<_>>());
    }
    /// No border without a thing, none that is off for a few places, none of an end that lies 10 mm out over more than a width, nor of one that rises over a hand's breadth.
    #[test]
    fn a_fair_border_does_not_stray() {
        assert!(places(|i| Some(fair(i))).is_empty());
        assert!(places(|i| Some(fair(i) + if i < 120 { 10.0 } else { 0.0 })).is_empty());
        assert!(places(|i| Some(fair(i) + 6.0 * (-((i as f64 - 300.0) / 15.0).powi(2)).exp())).is_empty());
        assert!(places(|i| Some(fair(i) + if (300..306).contains(&i) { 8.0 } else { 0.0 })).is_empty());
        assert!(places(|_| None).is_empty());
    }
}
