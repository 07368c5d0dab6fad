//! Scale and rim displacement from what the tape says, by least squares.
//!
//! # References
//! JCGM 100:2008 (GUM): a rectangular law of half-width a has the standard uncertainty a / sqrt 3 (4.3.7); the covariance of
//! a least-squares solution is the inverse of its normal matrix.
use super::{NextReading, Tape, TapeReading};
use crate::geom::{Polygon, width_angle};
use nalgebra::{Matrix3, Vector3};

/// Lengths of a rim and the doubt about it, in one unit (mm up to the scale sought).
#[derive(Debug, Clone)]
pub(crate) struct RimSize {
    /// Over all, along the board.
    pub length: f64,
    /// At the widest place.
    pub width: f64,
    /// Widths at the tape's stations, in the tape's order: measured from one end and from the other.
    pub stations: Vec<[f64; 2]>,
    /// Narrowest width over the middle half of the board.
    pub waist: f64,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends.
    pub doubt: [f64; 2],
}
impl RimSize {
    /// What `rim` measures, for the readings of `tape`.
    pub fn of(rim: &Polygon, doubt: [f64; 2], tape: &Tape) -> Self {
        // as callipers take it: the long axis of a lopsided board is not the one of least width
        let rim = rim.turned(-width_angle(&rim.points));
        let (lo, hi) = rim.bounds();
        let (length, width) = (hi[0] - lo[0], hi[1] - lo[1]);
        let unit = tape.width_mm / width;
        let width_at = |x: f64| rim.span(x).map_or(f64::NAN, |(a, b)| b - a);
        let stations = tape
            .stations
            .iter()
            .map(|s| {
                let d = s.from_end_mm / unit;
                [width_at(lo[0] + d), width_at(hi[0] - d)]
            })
            .collect();
        let waist = (0..=40)
            .map(|i| width_at(lo[0] + length * (0.25 + 0.5 * f64::from(i) / 40.0)))
            .filter(|w| w.is_finite())
            .fold(width, f64::min);
        Self { length, width, stations, waist, doubt }
    }
}
/// What the tape makes of a rim.
#[derive(Debug, Clone)]
pub(crate) struct TapeSolution {
    /// Factor that makes the rim's unit true.
    pub factor: f64,
    /// Its relative standard uncertainty.
    pub relative: f64,
    /// How far the rim lies inside the rail at the sides and at the ends, true mm.
    pub displacement: [f64; 2],
    /// Each reading and how well it is met.
    pub readings: Vec<TapeReading>,
    /// The further reading that would help most.
    pub next: Option<NextReading>,
}

/// A reading is doubted when its residual is more than twice the standard uncertainty it should have: 5 % of true ones are.
const COVERAGE: f64 = 2.0;

/// One line of the least squares: a . (factor, sides, ends) = b within a standard uncertainty.
struct Row(Vector3<f64>, f64, f64);

fn normal(rows: &[Row]) -> (Matrix3<f64>, Vector3<f64>) {
    rows.iter().fold((Matrix3::zeros(), Vector3::zeros()), |(m, v), Row(a, b, u)| {
        (m + a * a.transpose() / (u * u), v + a * (b / (u * u)))
    })
}

/// Solves factor and displacements; `None` when lengths are not positive.
pub(crate) fn solve_scale(rim: &RimSize, tape: &Tape) -> Option<TapeSolution> {
    // no reading is perfect; without a tolerance the least square still needs a weight: a hundredth of the finest division
    let u = (tape.tolerance_mm / 3f64.sqrt()).max(0.01);
    // the rim's own lengths are in a unit near the mm
    let near = tape.width_mm / rim.width;
    if !(near > 0.0 && near.is_finite() && rim.length > 0.0) {
        return None;
    }
    let doubt = rim.doubt.map(|d| (d * near).max(f64::EPSILON * tape.width_mm));
    let sides = |width: f64, reading: f64| Row(Vector3::new(width * near, 2.0, 0.0), reading, u);
    let length = |reading: f64| Row(Vector3::new(rim.length * near, 0.0, 2.0), reading, u);
    let mut rows = vec![
        Row(Vector3::new(0.0, 1.0, 0.0), 0.0, doubt[0]),
        Row(Vector3::new(0.0, 0.0, 1.0), 0.0, doubt[1]),
        // what rounds the sides rounds the ends too: half of the doubt is common to both
        Row(Vector3::new(0.0, 1.0, -1.0), 0.0, doubt[0].max(doubt[1])),
        sides(rim.width, tape.width_mm),
    ];
    let mut names = vec!["width".to_owned()];
    if let Some(l) = tape.length_mm {
        rows.push(length(l));
        names.push("length".to_owned());
    }
    for (station, widths) in tape.stations.iter().zip(&rim.stations) {
        // nobody says which end it was measured from: the one that agrees better with the readings so far
        let (m, v) = normal(&rows);
        let p = m.cholesky()?.solve(&v);
        let miss = |w: f64| (w * near * p[0] + 2.0 * p[1] - station.width_mm).abs();
        let w = if miss(widths[0]) <= miss(widths[1]) { widths[0] } else { widths[1] };
        rows.push(sides(w, station.width_mm));
        names.push(format!("width {} mm from the end", station.from_end_mm));
    }
    let (m, v) = normal(&rows);
    let inverse = m.cholesky()?.inverse();
    let p = inverse * v;
    let first = rows.len() - names.len();
    let readings = rows[first..]
        .iter()
        .zip(names)
        .map(|(Row(a, b, u), name)| {
            // the residual's own variance: what the reading has beyond what the fit takes from it
            let expected = (u * u - (a.transpose() * inverse * a)[0]).max(0.0).sqrt();
            let residual = b - a.dot(&p);
            let free = expected > 1e-3 * u;
            TapeReading {
                name,
                reading_mm: *b,
                residual_mm: residual,
                agrees: !free || residual.abs() <= COVERAGE * expected.max(u * u / (u + expected)),
                checked: free,
            }
        })
        .collect();
    let relative = inverse[(0, 0)].sqrt() / p[0];
    let next = {
        let with = |row: Row| {
            let a = row.0;
            (m + a * a.transpose() / (row.2 * row.2)).cholesky().map(|c| c.inverse()[(0, 0)].sqrt() / p[0])
        };
        let mut options = Vec::new();
        if tape.length_mm.is_none() {
            options.push(("the length over all".to_owned(), with(length(0.0))));
        }
        // a second width tells displacement from scale only where the board is much narrower
        options.push(("the width at the narrowest place of the middle".to_owned(), with(sides(rim.waist, 0.0))));
        options.push(("the width again, with a finer rule".to_owned(), {
            let mut fine = sides(rim.width, 0.0);
            fine.2 = 0.1;
            with(fine)
        }));
        options
            .into_iter()
            .filter_map(|(name, r)| Some((name, r?)))
            .min_by(|a, b| a.1.total_cmp(&b.1))
            // a gain of a tenth is not worth a walk to the board
            .filter(|(_, r)| *r < 0.9 * relative)
            .map(|(name, r)| NextReading { name, relative_now: relative, relative_then: r })
    };
    Some(TapeSolution { factor: near * p[0], relative, displacement: [p[1], p[2]], readings, next })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::StationWidth;
    fn rim(lost: f64, unit: f64, doubt: f64) -> RimSize {
        let cut = |v: f64| (v - 2.0 * lost) / unit;
        RimSize {
            length: cut(800.0),
            width: cut(210.0),
            stations: vec![[cut(150.0), cut(170.0)]],
            waist: cut(190.0),
            doubt: [doubt / unit; 2],
        }
    }
    fn tape(length_mm: Option<f64>) -> Tape {
        Tape { width_mm: 210.0, length_mm, tolerance_mm: 0.7, stations: vec![] }
    }
    /// A rim 2 mm inside the rail all round, in a unit of 1.25 mm: with a length the scale comes out, and the stated
    /// uncertainty covers what is left.
    #[test]
    fn planted_displacement_comes_back() {
        let s = solve_scale(&rim(2.0, 1.25, 1.5), &tape(Some(800.0))).unwrap();
        assert!((s.factor / 1.25 - 1.0).abs() < 2.0 * s.relative && s.relative < 0.004, "{s:?}");
        assert!((s.displacement[0] - 2.0).abs() < 1.0, "{s:?}");
        let w = solve_scale(&rim(2.0, 1.25, 1.5), &tape(None)).unwrap();
        assert!((w.factor / 1.25 - 1.0).abs() < 2.0 * w.relative && w.relative > s.relative, "{w:?}");
        assert!(w.next.as_ref().unwrap().name.contains("length"), "{w:?}");
    }
    /// By hand: with the width alone, u(scale) / scale is the root of tape and twice the doubt over the width.
    #[test]
    fn width_alone_by_hand() {
        let mut r = rim(0.0, 1.0, 1.0);
        r.doubt = [1.0, 1e6];
        let s = solve_scale(&r, &tape(None)).unwrap();
        // the tie between sides and ends has the ends' doubt, and does not count
        let hand = (0.49f64 / 3.0 + 4.0).sqrt() / 210.0;
        assert!((s.relative / hand - 1.0).abs() < 1e-6, "{} {hand}", s.relative);
    }
    #[test]
    fn wrong_reading_is_named() {
        let mut t = tape(Some(800.0));
        t.stations = vec![StationWidth { from_end_mm: 120.0, width_mm: 150.0 }];
        let good = solve_scale(&rim(0.5, 1.0, 0.3), &t).unwrap();
        assert!(good.readings.iter().all(|r| r.agrees), "{good:?}");
        t.stations[0].width_mm = 158.0;
        let bad = solve_scale(&rim(0.5, 1.0, 0.3), &t).unwrap();
        assert!(bad.readings.iter().any(|r| !r.agrees && r.name.contains("120")), "{bad:?}");
    }
}
