//! Scale and rim displacement from what the tape says, by least squares.
//!
//! # References
//! JCGM 100:2008 (GUM): a rectangular law of half-width a has the standard uncertainty a / sqrt 3 (4.3.7); the covariance of
//! a least-squares solution is the inverse of its normal matrix.
use super::readings::{FINE_SD_MM, Row, TapeReport, UnusedReading, names, next_reading, tape_sd_mm, widened};
use super::{StationWidth, Tape, TruckSpan};
use crate::geom::{Polygon, longest_across, width_angle};
use nalgebra::{DMatrix, Matrix3, Vector3};

/// A width at a distance from an end, in the rim's unit, and how fast it grows with that distance.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) struct WidthThere {
    pub width: f64,
    pub slope: f64,
    /// Where that is along the rim.
    pub x: f64,
}
/// Lengths of a rim and the doubt about it, in one unit (mm up to the scale sought).
#[derive(Debug, Clone)]
pub(crate) struct RimSize {
    /// Over all, along the board.
    pub length: f64,
    /// At the widest place.
    pub width: f64,
    /// Widths at the tape's stations, in the tape's order, measured from one end and from the other; `None` beyond the board.
    pub stations: Vec<[Option<WidthThere>; 2]>,
    /// Narrowest width over the middle half of the board.
    pub waist: f64,
    /// Standard uncertainty of how far the rim lies inside the rail, at the sides and at the ends.
    pub doubt: [f64; 2],
    /// How much farther out along the board the ends lie, on average, for a rail farther out by one: more than 1 where they are pointed.
    pub pointed: f64,
    /// The trucks' distance where they are seen.
    pub trucks: Option<TruckSpan>,
}
impl RimSize {
    /// What `rim` measures, for the readings of `tape`.
    pub fn of(rim: &Polygon, doubt: [f64; 2], trucks: Option<TruckSpan>, tape: &Tape) -> Self {
        // the long axis of a lopsided board is not the one of least width
        let rim = rim.turned(-width_angle(rim));
        let (lo, hi) = rim.bounds();
        let (length, width) = (hi[0] - lo[0], longest_across(&rim).1);
        let unit = tape.width_mm / width;
        let stations = tape.stations.iter().map(|s| width_from_ends(&rim, s.from_end_mm / unit)).collect();
        let waist = waist(&rim).1;
        Self { length, width, stations, waist, doubt, pointed: pointed(&rim), trucks }
    }
}
/// Depth from an end at which its width tells how pointed it is, as a share of the board's: over less of it, some centimetre, lies what
/// rounds a scan's edges; over more a round end looks pointed.
const TIP_DEPTH: f64 = 0.05;
/// How far the ends of `rim`, which lies along x, move out when its flanks do by one: two lines that meet at an angle of 2 a meet
/// 1 / sin a farther out. The mean of both ends.
fn pointed(rim: &Polygon) -> f64 {
    let (lo, hi) = rim.bounds();
    let depth = TIP_DEPTH * (hi[1] - lo[1]);
    let end = |x: f64| rim.span(x).map_or(1.0, |(a, b)| 1f64.hypot(2.0 * depth / (b - a)));
    (end(lo[0] + depth) + end(hi[0] - depth)) / 2.0
}
/// Width of `rim`, which lies along x, at a distance from its lower end and from its upper one.
pub(crate) fn width_from_ends(rim: &Polygon, distance: f64) -> [Option<WidthThere>; 2] {
    let (lo, hi) = rim.bounds();
    // over a hundredth of the length an outline bends little, and a rim's own raggedness is evened out
    let h = (hi[0] - lo[0]) / 200.0;
    [(lo[0], 1.0), (hi[0], -1.0)].map(|(end, sign)| {
        let at = |d: f64| rim.span(end + sign * d).map(|(a, b)| b - a);
        let width = at(distance)?;
        let slope =
            at(distance + h).zip(at((distance - h).max(0.0))).map_or(0.0, |(b, a)| (b - a) / (h + h.min(distance)));
        Some(WidthThere { width, slope, x: end + sign * distance })
    })
}
/// Place and width of the narrowest cross-section over the middle half of `rim`, which lies along x.
pub(crate) fn waist(rim: &Polygon) -> (f64, f64) {
    let (lo, hi) = rim.bounds();
    (0..=40)
        .map(|i| lo[0] + (hi[0] - lo[0]) * (0.25 + 0.5 * f64::from(i) / 40.0))
        .filter_map(|x| rim.span(x).map(|(a, b)| (x, b - a)))
        .min_by(|a, b| a.1.total_cmp(&b.1))
        .unwrap_or(((lo[0] + hi[0]) / 2.0, hi[1] - lo[1]))
}
/// Standard uncertainty of a width read at a place that is itself read with the tape.
pub(crate) fn station_sd_mm(tape: &Tape, slope: f64) -> f64 {
    tape_sd_mm(tape) * slope.hypot(1.0)
}
/// What a station's reading is called.
pub(crate) fn station_name(s: &StationWidth) -> String {
    format!("width {} mm from the end", s.from_end_mm)
}
/// A width read beyond the board's end.
pub(crate) fn beyond(s: &StationWidth) -> UnusedReading {
    let why = "no width can be read there, beyond the board's other end".to_owned();
    UnusedReading { name: station_name(s), reading_mm: s.width_mm, why }
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
    /// The readings and how well they are met.
    pub report: TapeReport,
}

/// One line of the least squares: a . (factor, sides, ends) = b within a standard uncertainty.
struct Line(Vector3<f64>, f64, f64);
impl Line {
    fn row(&self, name: &str, reading_mm: f64, p: &Vector3<f64>) -> Row {
        let j = (0..3).map(|k| (k, self.0[k])).collect();
        Row { name: name.to_owned(), reading_mm, residual_mm: self.1 - self.0.dot(p), sd_mm: self.2, weight: 1.0, j }
    }
}

fn normal<'a>(lines: impl Iterator<Item = &'a Line>) -> (Matrix3<f64>, Vector3<f64>) {
    lines.fold((Matrix3::zeros(), Vector3::zeros()), |(m, v), Line(a, b, u)| {
        (m + a * a.transpose() / (u * u), v + a * (b / (u * u)))
    })
}

/// Solves factor and displacements; `None` when lengths are not positive.
pub(crate) fn solve_scale(rim: &RimSize, tape: &Tape) -> Option<TapeSolution> {
    let u = tape_sd_mm(tape);
    // the rim's own lengths are in a unit near the mm
    let near = tape.width_mm / rim.width;
    if !(near > 0.0 && near.is_finite() && rim.length > 0.0) {
        return None;
    }
    let doubt = rim.doubt.map(|d| (d * near).max(f64::EPSILON * tape.width_mm));
    let sides = |width: f64, reading: f64| Line(Vector3::new(width * near, 2.0, 0.0), reading, u);
    let length = |reading: f64| Line(Vector3::new(rim.length * near, 0.0, 2.0), reading, u);
    let trucks = |t: TruckSpan, reading: f64| Line(Vector3::new(t.apart * near, 0.0, 0.0), reading, u.hypot(t.sd_mm));
    let mut lines = vec![
        Line(Vector3::new(0.0, 1.0, 0.0), 0.0, doubt[0]),
        Line(Vector3::new(0.0, 0.0, 1.0 / rim.pointed), 0.0, doubt[1]),
        // what rounds the sides rounds the ends too: half of the doubt is common to both
        Line(Vector3::new(0.0, 1.0, -1.0 / rim.pointed), 0.0, doubt[0].max(doubt[1])),
    ];
    let believed = lines.len();
    let mut read = vec![("width".to_owned(), tape.width_mm)];
    lines.push(sides(rim.width, tape.width_mm));
    if let Some(l) = tape.length_mm {
        read.push(("length".to_owned(), l));
        lines.push(length(l));
    }
    let mut unused = Vec::new();
    match (tape.wheelbase_mm, rim.trucks) {
        (Some(w), Some(t)) => {
            read.push((WHEELBASE.to_owned(), w));
            lines.push(trucks(t, w));
        }
        (Some(reading_mm), None) => unused.push(no_trucks(reading_mm, "no two trucks are seen in the scan")),
        (None, _) => {}
    }
    for (station, there) in tape.stations.iter().zip(&rim.stations) {
        let line = |t: WidthThere| {
            // a larger factor moves the place towards its end, and so does what the rim has lost there
            let drop = t.slope * station.from_end_mm;
            let across = 2.0 * (t.slope / 2.0).hypot(1.0);
            let a = Vector3::new(t.width * near - drop, across, -t.slope);
            // what a rim has lost at one place differs from what it has lost as a whole by as much as that is in doubt, on either side
            let place = 2f64.sqrt() * doubt[0];
            Line(a, station.width_mm - drop, station_sd_mm(tape, t.slope).hypot(place))
        };
        // nobody says which end it was measured from: the one that agrees better with the readings so far
        let (m, v) = normal(lines.iter());
        let p = m.cholesky()?.solve(&v);
        let ends = there.iter().flatten().map(|t| line(*t));
        let miss = |l: &Line| (l.1 - l.0.dot(&p)).abs();
        match ends.min_by(|a, b| miss(a).total_cmp(&miss(b))) {
            Some(l) => {
                read.push((station_name(station), station.width_mm));
                lines.push(l);
            }
            None => unused.push(beyond(station)),
        }
    }
    let (m, v) = normal(lines.iter());
    let inverse = m.cholesky()?.inverse();
    let p = inverse * v;
    let covariance = DMatrix::from_fn(3, 3, |i, j| inverse[(i, j)]);
    let rows: Vec<Row> = lines[believed..].iter().zip(&read).map(|(l, (name, mm))| l.row(name, *mm, &p)).collect();
    let readings = rows.iter().map(|r| r.verdict(&covariance)).collect();
    let mut report = TapeReport { readings, unused, ..TapeReport::default() };
    let wide = widened(&covariance, &rows, &report);
    let relative = wide[(0, 0)].sqrt() / p[0];
    report.size_uncertainty_mm = [length(0.0), sides(rim.width, 0.0)].map(|l| l.row("", 0.0, &p).known_to_mm(&wide));
    let mut options = vec![
        // a second width tells displacement from scale only where the board is much narrower
        sides(rim.waist, 0.0).row(names::WAIST, 0.0, &p),
        Row { sd_mm: FINE_SD_MM, ..sides(rim.width, 0.0).row(names::AGAIN, 0.0, &p) },
    ];
    if tape.length_mm.is_none() {
        options.push(length(0.0).row(names::LENGTH, 0.0, &p));
    }
    if let (None, Some(t)) = (tape.wheelbase_mm, rim.trucks) {
        options.push(trucks(t, 0.0).row(names::WHEELBASE, 0.0, &p));
    }
    // where readings contradict, they are what has to be read
    if !report.contradicts() {
        report.next_reading = next_reading(&options, &covariance, 0, relative);
    }
    Some(TapeSolution { factor: near * p[0], relative, displacement: [p[1], p[2]], report })
}
/// What the wheelbase is called among the readings.
pub(crate) const WHEELBASE: &str = "wheelbase";
/// A wheelbase with nothing that shows it.
pub(crate) fn no_trucks(reading_mm: f64, why: &str) -> UnusedReading {
    UnusedReading { name: WHEELBASE.to_owned(), reading_mm, why: why.to_owned() }
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
            stations: vec![[150.0, 170.0].map(|w| Some(WidthThere { width: cut(w), slope: 0.0, x: 0.0 }))],
            waist: cut(190.0),
            doubt: [doubt / unit; 2],
            pointed: 1.0,
            trucks: None,
        }
    }
    fn tape(length_mm: Option<f64>) -> Tape {
        Tape { width_mm: 210.0, length_mm, tolerance_mm: 0.7, ..Tape::default() }
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
        assert!(w.report.next_reading.as_ref().unwrap().name.contains("length"), "{w:?}");
    }
    /// A nose of two flanks that meet at 60 degrees, drawn 1 mm farther out all round, is 1 / sin 30 = 2 mm longer; a square tail 1 mm.
    #[test]
    fn a_pointed_end_moves_farther() {
        let shape = |d: f64| {
            let (half, tip) = (100.0 + d, 400.0 + 2.0 * d);
            let neck = tip - half * 3f64.sqrt();
            let corners = [[-400.0 - d, half], [-400.0 - d, -half], [neck, -half], [tip, 0.0], [neck, half]];
            Polygon { points: corners.to_vec() }
        };
        let grown = |p: &Polygon| p.bounds().1[0] - p.bounds().0[0];
        let by_hand = (grown(&shape(10.0)) - grown(&shape(0.0))) / 20.0;
        assert!(
            (by_hand - 1.5).abs() < 0.05 && (pointed(&shape(0.0)) - by_hand).abs() < 0.1,
            "{}",
            pointed(&shape(0.0))
        );
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
        assert!(good.report.readings.iter().all(|r| r.agrees), "{good:?}");
        t.stations[0].width_mm = 158.0;
        let bad = solve_scale(&rim(0.5, 1.0, 0.3), &t).unwrap();
        assert!(bad.report.readings.iter().any(|r| !r.agrees && r.name.contains("120")), "{bad:?}");
    }
    /// Two true widths at a place where the outline narrows by 0.4 mm per mm, and trucks: each row's prediction at the true factor is
    /// the reading, and leaving the board's end unknown widens the station's doubt.
    #[test]
    fn stations_and_trucks_are_met_at_the_true_scale() {
        let unit = 1.25;
        let mut r = rim(0.0, unit, 0.5);
        let t = Tape {
            wheelbase_mm: Some(450.0),
            stations: vec![StationWidth { from_end_mm: 60.0, width_mm: 140.0 }],
            ..tape(None)
        };
        r.stations = vec![[Some(WidthThere { width: 140.0 / unit, slope: 0.4, x: 0.0 }), None]];
        r.trucks = Some(TruckSpan { apart: 450.0 / unit, sd_mm: 0.3 });
        let s = solve_scale(&r, &t).unwrap();
        assert!((s.factor / unit - 1.0).abs() < 1e-9 && s.report.readings.len() == 3, "{s:?}");
        assert!(s.report.readings.iter().all(|r| r.residual_mm.abs() < 1e-6 && r.agrees), "{s:?}");
        let without = solve_scale(&RimSize { trucks: None, ..r.clone() }, &t).unwrap();
        assert!(without.relative > s.relative && without.report.unused.len() == 1, "{without:?}");
        // asked for, it does as much as was said: the solve is linear
        let asked = Tape { wheelbase_mm: None, ..t.clone() };
        let next = solve_scale(&r, &asked).unwrap().report.next_reading.unwrap();
        assert!(next.name.contains("wheelbase") && (next.relative_then / s.relative - 1.0).abs() < 1e-9, "{next:?}");
        let beyond = solve_scale(&RimSize { stations: vec![[None; 2]], ..r }, &t).unwrap();
        assert!(beyond.report.unused[0].why.contains("beyond"), "{beyond:?}");
    }
}
