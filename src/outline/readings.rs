//! The tape's readings beside rim and photos: rows of the joint solve, and what they say after it.
use super::holes::BoltHoles;
use super::joint::{Joint, SCALE};
use super::rim::{CONTROLS, basis};
use super::widest::Widest;
use crate::frame::{
    FINE_SD_MM, Row, TapeReport, UnusedReading, WHEELBASE, WidthThere, beyond, names, next_reading, no_trucks,
    station_name, station_sd_mm, tape_sd_mm, waist, widened, width_from_ends,
};
use crate::geom::{Across, Polygon, line_across};
use crate::num::CAUCHY_TUNING;
use nalgebra::DMatrix;

/// Middles of the two patterns of truck holes in a photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SeenTrucks {
    /// The photo's place among those used.
    pub view: usize,
    /// Rear and front, pixels.
    pub px: [[f64; 2]; 2],
}
impl SeenTrucks {
    pub fn new(joint: &Joint, view: usize, holes: &BoltHoles) -> Self {
        let s = joint.ln_scale.exp();
        let px = [0, 4].map(|first| {
            let four = &holes.at_mm[first..first + 4];
            let [x, y] = [0, 1].map(|k| four.iter().map(|p| p[k]).sum::<f64>() / (4.0 * s));
            joint.views[view].camera.project([x, y, joint.rim.z.at(x, y)])
        });
        Self { view, px }
    }
}
/// Standard deviation of the distance of two patterns' middles, mm: each of the eight holes is drilled within some quarter mm.
const DRILLED_SD_MM: f64 = 0.25 / std::f64::consts::SQRT_2;

/// The rail as it stands in the solve, along the board's axes, before the scale.
pub(super) struct Rail<'a> {
    pub joint: &'a Joint<'a>,
    pub polygon: Polygon,
    pub s: f64,
}
impl Rail<'_> {
    /// Derivatives of `factor` x the place of a station along `u`.
    fn moves(&self, i: usize, u: [f64; 2], factor: f64) -> impl Iterator<Item = (usize, f64)> + use<> {
        let n = self.joint.rim.normal[i];
        let g = factor * (n[0] * u[0] + n[1] * u[1]);
        let (k, w) = basis(i);
        (0..4).map(move |c| ((k + c) % CONTROLS, g * w[c]))
    }
    /// The stations at the lower and the upper end, and the direction from one to the other.
    fn ends(&self) -> ([usize; 2], [f64; 2]) {
        let x = |i: usize| self.polygon.points[i][0];
        let pick = |s: f64| (0..self.polygon.points.len()).fold(0, |b, i| if s * x(i) > s * x(b) { i } else { b });
        let (sin, cos) = self.joint.angle.sin_cos();
        ([pick(-1.0), pick(1.0)], [cos, sin])
    }
    /// The true length over all.
    fn length(&self, name: &str, reading_mm: f64) -> Row {
        let ([a, b], u) = self.ends();
        let now = self.s * (self.polygon.points[b][0] - self.polygon.points[a][0]);
        let mut j = vec![(SCALE, now)];
        j.extend(self.moves(a, u, -self.s).chain(self.moves(b, u, self.s)));
        self.row(name, reading_mm, now, j)
    }
    pub fn row(&self, name: &str, reading_mm: f64, now: f64, j: Vec<(usize, f64)>) -> Row {
        Row {
            name: name.into(),
            reading_mm,
            residual_mm: reading_mm - now,
            sd_mm: tape_sd_mm(self.joint.tape),
            weight: 1.0,
            j,
        }
    }
    /// Derivatives of the true length of a line across with the offsets, as it ends between two stations on either side.
    pub fn grows(&self, line: &Across) -> impl Iterator<Item = (usize, f64)> {
        let points = &self.polygon.points;
        let n = points.len();
        let (sin, cos) = self.joint.angle.sin_cos();
        let x = line.x;
        let stations = line.edges.into_iter().flat_map(move |i| {
            let k = (i + 1) % n;
            let t = (x - points[i][0]) / (points[k][0] - points[i][0]);
            [(i, 1.0 - t), (k, t)]
        });
        stations.flat_map(move |(i, share)| {
            let normal = self.joint.rim.normal[i];
            let g = self.s * share / (cos * normal[1] - sin * normal[0]).abs().max(f64::EPSILON);
            let (k, w) = basis(i);
            (0..4).map(move |c| ((k + c) % CONTROLS, g * w[c]))
        })
    }
    /// Derivatives of the true width at `x`, which is `width` now.
    fn across(&self, x: f64, width: f64) -> Vec<(usize, f64)> {
        let scale = (SCALE, self.s * width);
        line_across(&self.polygon, x).iter().flat_map(|line| self.grows(line)).chain([scale]).collect()
    }
    /// The width read `from_end` mm from an end, taken from that end.
    fn station(&self, name: &str, from_end: f64, reading_mm: f64, high: bool, t: WidthThere) -> Row {
        let mut j = self.across(t.x, t.width);
        // a larger scale moves the place towards its end, and so does what the rim gains there
        j.push((SCALE, -t.slope * from_end));
        let ([a, b], u) = self.ends();
        let (end, out) = if high { (b, 1.0) } else { (a, -1.0) };
        j.extend(self.moves(end, u, -out * self.s * t.slope));
        Row { sd_mm: station_sd_mm(self.joint.tape, t.slope), ..self.row(name, reading_mm, self.s * t.width, j) }
    }
}
impl Joint<'_> {
    pub(super) fn rail(&self) -> Rail<'_> {
        Rail { joint: self, polygon: self.along_axes(), s: self.ln_scale.exp() }
    }
    /// Every tape reading as a row, and those that nothing can be laid beside.
    pub(super) fn tape_rows(&self) -> (Vec<Row>, Vec<UnusedReading>) {
        let rail = self.rail();
        let mut rows = vec![Widest::of(&rail).row(&rail, "width", self.tape.width_mm, tape_sd_mm(self.tape))];
        rows.extend(self.tape.length_mm.map(|l| rail.length("length", l)));
        let mut unused = Vec::new();
        if let Some(w) = self.tape.wheelbase_mm {
            let why = "no photo shows all eight truck holes, and no two trucks are seen in the scan";
            match self.wheelbase_row(WHEELBASE, w, self.seen_trucks) {
                Some(row) => rows.push(row),
                None => unused.push(no_trucks(w, why)),
            }
        }
        for s in &self.tape.stations {
            let there = width_from_ends(&rail.polygon, s.from_end_mm / rail.s);
            // nobody says which end it was measured from: the one that agrees better
            let ends = there
                .into_iter()
                .zip([false, true])
                .filter_map(|(t, high)| Some(rail.station(&station_name(s), s.from_end_mm, s.width_mm, high, t?)));
            match ends.min_by(|a, b| a.residual_mm.abs().total_cmp(&b.residual_mm.abs())) {
                Some(row) => rows.push(row),
                None => unused.push(beyond(s)),
            }
        }
        // a slip of the hand in one of the further readings must not bend all the rest: Cauchy weights as for an edge
        for row in rows.iter_mut().filter(|r| r.name != "width" && r.name != "length") {
            row.weight = 1.0 / (1.0 + (row.residual_mm / row.sd_mm / CAUCHY_TUNING).powi(2));
        }
        (rows, unused)
    }
    /// The distance of the trucks by the holes in a photo, else by the trucks in the scan.
    fn wheelbase_row(&self, name: &str, reading_mm: f64, seen: Option<SeenTrucks>) -> Option<Row> {
        let tape = tape_sd_mm(self.tape);
        let (now, j, own) = match (seen, self.trucks) {
            (Some(h), _) => {
                let (now, j) = self.between_row(h.view, h.px)?;
                (now, j, DRILLED_SD_MM)
            }
            (None, Some(t)) => {
                let now = self.ln_scale.exp() * t.apart;
                (now, vec![(SCALE, now)], t.sd_mm)
            }
            (None, None) => return None,
        };
        Some(Row {
            name: name.into(),
            reading_mm,
            residual_mm: reading_mm - now,
            sd_mm: tape.hypot(own),
            weight: 1.0,
            j,
        })
    }
    /// The length over all as it is solved, true mm, with its standard uncertainty.
    pub(super) fn length(&self, covariance: &DMatrix<f64>) -> [f64; 2] {
        let row = self.rail().length("", 0.0);
        [-row.residual_mm, row.known_to_mm(covariance)]
    }
    /// What the tape's readings say at the solution; `seen` are truck holes that a further reading could be laid beside, `free` is the length
    /// that a solve without the tape's gave, with its standard uncertainty.
    pub(super) fn tape_report(
        &self,
        covariance: &DMatrix<f64>,
        seen: Option<SeenTrucks>,
        free: Option<[f64; 2]>,
    ) -> TapeReport {
        let (rows, unused) = self.tape_rows();
        let rail = self.rail();
        let (x, width) = waist(&rail.polygon);
        let mut options = vec![
            rail.row(names::WAIST, 0.0, rail.s * width, rail.across(x, width)),
            Widest::of(&rail).row(&rail, names::AGAIN, 0.0, FINE_SD_MM),
        ];
        if self.tape.length_mm.is_none() {
            options.push(rail.length(names::LENGTH, 0.0));
        }
        if self.tape.wheelbase_mm.is_none() {
            options.extend(self.wheelbase_row(names::WHEELBASE, 0.0, seen));
        }
        let readings = rows.iter().map(|r| r.verdict(covariance)).collect();
        let mut report = TapeReport { readings, unused, ..TapeReport::default() };
        if let Some(free) = free {
            report.beside_a_solve_without_length(free, tape_sd_mm(self.tape));
        }
        let wide = self.widened(covariance, &report);
        report.size_uncertainty_mm =
            [rail.length("", 0.0), Widest::of(&rail).row(&rail, "", 0.0, 0.0)].map(|r| r.known_to_mm(&wide));
        // where readings contradict, they are what has to be read
        if !report.contradicts() {
            report.next_reading = next_reading(&options, covariance, SCALE, Joint::scale_sd(covariance));
        }
        report
    }
    /// `covariance`, made large enough for readings that contradict.
    pub(super) fn widened(&self, covariance: &DMatrix<f64>, report: &TapeReport) -> DMatrix<f64> {
        widened(covariance, &self.tape_rows().0, report)
    }
}
