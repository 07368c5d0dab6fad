//! What the tape's readings say beside everything else: residuals, verdicts, and the reading that would help most.
//!
//! # References
//! JCGM 100:2008 (GUM); W. Baarda, *A testing procedure for use in geodetic networks*, 1968 (from memory): a residual of least
//! squares is judged by its own standard deviation, which is small where the rest of the net does not check the reading.
use super::Tape;
use crate::error::{Stage, Warning};
use crate::num::shown;
use nalgebra::{DMatrix, DVector};

/// How well one tape reading agrees with the solution.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct TapeReading {
    /// What was read.
    pub name: String,
    /// The reading, mm.
    pub reading_mm: f64,
    /// Reading less what the solution has there, mm.
    pub residual_mm: f64,
    /// What the reading is off what all the rest says by itself, mm; 0 where nothing else checks it.
    pub against_rest_mm: f64,
    /// Whether that is within three times the standard uncertainty it should have.
    pub agrees: bool,
    /// Whether a slip of 10 mm in this reading would show: only then agreeing means anything.
    pub checked: bool,
    /// The least slip of this reading that all the rest would show four times in five, mm; none where nothing checks it.
    pub slip_seen_mm: Option<f64>,
}
/// What can be said of a reading.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TapeVerdict {
    /// A slip would show, and none does.
    Agrees,
    /// A slip of 10 mm would not show.
    CannotBeChecked,
    /// It is farther off all the rest than both allow.
    Contradicts,
}
impl TapeReading {
    /// What can be said of it.
    pub fn verdict(&self) -> TapeVerdict {
        match (self.agrees, self.checked) {
            (false, _) => TapeVerdict::Contradicts,
            (true, true) => TapeVerdict::Agrees,
            (true, false) => TapeVerdict::CannotBeChecked,
        }
    }
    /// The verdict in words.
    pub fn words(&self) -> String {
        let off = shown(self.against_rest_mm, 1);
        match (self.verdict(), self.slip_seen_mm) {
            (TapeVerdict::Agrees, mm) => {
                let power = mm.map_or(String::new(), |mm| format!("; a slip of {mm:.0} mm or more would show"));
                format!("agrees: {off:+.1} mm against the rest{power}")
            }
            (TapeVerdict::Contradicts, _) => format!("contradicts the rest by {off:+.1} mm"),
            (TapeVerdict::CannotBeChecked, Some(mm)) => {
                format!(
                    "cannot be checked: {off:+.1} mm against the rest, and only a slip of {mm:.0} mm or more would show"
                )
            }
            (TapeVerdict::CannotBeChecked, None) => "cannot be checked: nothing else measures the size".into(),
        }
    }
    /// Standard uncertainty of what it is off all the rest, mm: the slip that shows is so many of them.
    fn difference_sd_mm(&self) -> Option<f64> {
        Some(self.slip_seen_mm? / (COVERAGE + POWER))
    }
    /// Whether it is farther off the rest than a right reading usually is, but not so far that it contradicts it.
    fn is_doubtful(&self) -> bool {
        self.agrees && self.difference_sd_mm().is_some_and(|sd| self.against_rest_mm.abs() > DOUBTFUL * sd)
    }
    /// What a reading is that is `off` mm off all the rest, where that difference is known to `sd` mm.
    fn judged(mut self, off: f64, sd: f64) -> Self {
        let slip = (COVERAGE + POWER) * sd;
        self.against_rest_mm = off;
        self.agrees = off.abs() <= COVERAGE * sd;
        self.slip_seen_mm = Some(slip);
        // a doubtful one does not agree, whatever would show
        self.checked = !self.agrees || slip <= SLIP_MM && off.abs() <= DOUBTFUL * sd;
        self
    }
    /// What all the rest says that the tape should have read, mm.
    fn by_the_rest_mm(&self) -> f64 {
        self.reading_mm - self.against_rest_mm
    }
    /// What this one would be if the other of two is right, in words.
    fn if_right(&self, other: &Self, digits: usize) -> String {
        format!("if the {} is right, the {} would be {:.digits$} mm", other.name, self.name, self.by_the_rest_mm())
    }
}
/// A tape reading that nothing in scan or photo can be laid beside.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct UnusedReading {
    /// What was read.
    pub name: String,
    /// The reading, mm.
    pub reading_mm: f64,
    /// Why it is not used.
    pub why: String,
}
/// The further tape reading that would lower the scale's uncertainty most.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct NextReading {
    /// What to read.
    pub name: String,
    /// Relative standard uncertainty of the scale now.
    pub relative_now: f64,
    /// The same with this reading.
    pub relative_then: f64,
}
/// The tape beside scan and photo.
#[derive(Debug, Clone, Default, PartialEq, serde::Serialize)]
pub struct TapeReport {
    /// Every reading used and how well it agrees.
    pub readings: Vec<TapeReading>,
    /// Readings that could not be used.
    pub unused: Vec<UnusedReading>,
    /// The reading that would help most, if any would.
    pub next_reading: Option<NextReading>,
    /// Standard uncertainty of the board's length and width, mm: less than the scale's over them where the tape read them.
    #[serde(skip)]
    pub size_uncertainty_mm: [f64; 2],
}
impl TapeReport {
    /// A warning for each reading that contradicts the rest or could not be used.
    pub(crate) fn warnings(&self) -> Vec<Warning> {
        let both = matches!(self.readings.as_slice(), [a, b] if a.is_doubtful() && b.is_doubtful());
        let contradicts: Vec<Warning> = match self.readings.as_slice() {
            // of two neither is known to be the wrong one
            [a, b] if self.contradicts() => vec![Warning::new(
                Stage::Frame,
                format!(
                    "the tape's {} of {} mm and {} of {} mm do not go together on this scan: {}; {}",
                    a.name,
                    a.reading_mm,
                    b.name,
                    b.reading_mm,
                    a.if_right(b, 1),
                    b.if_right(a, 1)
                ),
                "read both again with the hook pulled tight, and check the unit; until then every stated uncertainty is made \
                 large enough that either can be right",
            )],
            // nor of two that may be
            [a, b] if both => vec![Warning::new(
                Stage::Frame,
                format!(
                    "the tape's {} of {} mm or its {} of {} mm may be wrong: {}; {}",
                    a.name,
                    a.reading_mm,
                    b.name,
                    b.reading_mm,
                    a.if_right(b, 0),
                    b.if_right(a, 0)
                ),
                "read both again with the hook pulled tight, and check the unit",
            )],
            all => (all.iter().filter(|r| !r.agrees))
                .map(|r| {
                    Warning::new(
                        Stage::Frame,
                        format!(
                            "the tape's {} of {} mm is {:+.1} mm off what everything else says, which is {:.1} mm",
                            r.name,
                            r.reading_mm,
                            r.against_rest_mm,
                            r.by_the_rest_mm()
                        ),
                        "read it again; this reading, another one, or the scan is wrong. Until then every stated uncertainty is \
                         made large enough that either can be right",
                    )
                })
                .collect(),
        };
        let doubtful = self.readings.iter().filter(|r| !both && r.is_doubtful()).filter_map(|r| {
            let sd = r.difference_sd_mm()?;
            Some(Warning::new(
                Stage::Frame,
                format!(
                    "the tape's {} of {} mm may be wrong: all the rest says {:.0} mm, give or take {:.0} mm",
                    r.name,
                    r.reading_mm,
                    r.by_the_rest_mm(),
                    2.0 * sd
                ),
                "read it again with the hook pulled tight, and check the unit",
            ))
        });
        let unused = self.unused.iter().map(|u| {
            Warning::new(
                Stage::Frame,
                format!("the tape's {} of {} mm is not used for the size: {}", u.name, u.reading_mm, u.why),
                "read another length that scan or photo show, nose to tail for example",
            )
        });
        contradicts.into_iter().chain(doubtful).chain(unused).collect()
    }
    /// Judges width and length, the only readings, by a solve without the length: photo and scan then give it by themselves, `length_mm`
    /// within `sd_mm`. In a solve with a wrong length the border's weights give way to it, so that a residual there shows too little of a
    /// slip. All of the solve without it grows with the width: what the length is off is what the width may be off.
    pub(crate) fn beside_a_solve_without_length(&mut self, [length_mm, sd_mm]: [f64; 2], tape_sd_mm: f64) {
        if let [w, l] = self.readings.as_mut_slice() {
            let (off, sd, share) = (l.reading_mm - length_mm, sd_mm.hypot(tape_sd_mm), w.reading_mm / length_mm);
            *l = l.clone().judged(off, sd);
            *w = w.clone().judged(-off * share, sd * share);
        }
    }
    /// Whether any reading contradicts the rest.
    pub fn contradicts(&self) -> bool {
        self.readings.iter().any(|r| !r.agrees)
    }
}

/// A reading is doubted when it is more than three standard uncertainties off, as one true one in 370 is: with several readings of one
/// board a limit of two would doubt a true one on every fifth board.
const COVERAGE: f64 = 3.0;
/// A reading is checked when the rest knows its place to this many times what the reading itself does; beyond, it would have to be
/// wrong by the size of the board to show.
const LOOSE: f64 = 100.0;
/// A reading that cannot be checked, but lies farther off all the rest than this many standard uncertainties, is told: one true one in 80
/// is.
const DOUBTFUL: f64 = 2.5;
/// The slip that a verdict must be able to see, mm: a centimetre misread is the common one, with the hook that was pressed instead of
/// pulled and the inch taken for a centimetre beyond it.
const SLIP_MM: f64 = 10.0;
/// A slip of this many standard uncertainties more than [`COVERAGE`] is found four times in five (normal law, 80 % quantile).
const POWER: f64 = 0.84;
/// A gain of a tenth is not worth a walk to the board.
const WORTH: f64 = 0.9;

/// A reading as one line of a linearised least squares.
#[derive(Debug, Clone)]
pub(crate) struct Row {
    pub name: String,
    pub reading_mm: f64,
    /// Reading less what the unknowns give at present, mm.
    pub residual_mm: f64,
    /// Standard uncertainty of the reading, mm.
    pub sd_mm: f64,
    /// Weight in the solution: below 1 where a robust solve holds a reading for wrong.
    pub weight: f64,
    /// Derivatives of what the unknowns give.
    pub j: Vec<(usize, f64)>,
}
impl Row {
    /// Covariance of what the unknowns give here with the unknown `i`.
    fn with(&self, covariance: &DMatrix<f64>, i: usize) -> f64 {
        self.j.iter().map(|(k, g)| g * covariance[(*k, i)]).sum()
    }
    fn variance(&self, covariance: &DMatrix<f64>) -> f64 {
        self.j.iter().map(|(k, g)| g * self.with(covariance, *k)).sum()
    }
    /// Standard uncertainty of what the unknowns give here, mm.
    pub fn known_to_mm(&self, covariance: &DMatrix<f64>) -> f64 {
        self.variance(covariance).max(0.0).sqrt()
    }
    /// How the reading, which is in the solution with its weight, agrees with the rest of it.
    pub fn verdict(&self, covariance: &DMatrix<f64>) -> TapeReading {
        let own = self.sd_mm * self.sd_mm;
        // what the rest knows by itself: all the information less the reading's own
        let rest = 1.0 / (1.0 / self.variance(covariance) - self.weight / own);
        let any = rest >= 0.0 && rest < LOOSE * LOOSE * own;
        // without this reading the residual would be larger by what the reading itself took off it
        let against_rest_mm = if any { self.residual_mm * (1.0 + self.weight * rest / own) } else { 0.0 };
        let unchecked = TapeReading {
            name: self.name.clone(),
            reading_mm: self.reading_mm,
            residual_mm: self.residual_mm,
            against_rest_mm,
            agrees: true,
            checked: false,
            slip_seen_mm: None,
        };
        if any { unchecked.judged(against_rest_mm, (own + rest).sqrt()) } else { unchecked }
    }
    /// What the covariance must hold where this reading contradicts the rest: the solution without it as well as the one with it. The
    /// covariance without it, and the step from one solution to the other as one standard deviation.
    fn widens(&self, covariance: &DMatrix<f64>, against_rest_mm: f64) -> Option<DMatrix<f64>> {
        let own = self.sd_mm * self.sd_mm;
        let mut j = DVector::zeros(covariance.nrows());
        self.j.iter().for_each(|(k, g)| j[*k] += g);
        let toward = covariance * &j;
        let held = own - self.weight * j.dot(&toward);
        if held <= 0.0 {
            return None;
        }
        let rest = &toward * toward.transpose() * (self.weight / held);
        let toward = &toward + &rest * &j;
        let step = &toward * (against_rest_mm / (own + j.dot(&toward)));
        Some(rest + &step * step.transpose())
    }
}
/// `covariance` of a solution with the readings `rows`, made large enough that each reading that contradicts the rest, and the rest,
/// can be right.
pub(crate) fn widened(covariance: &DMatrix<f64>, rows: &[Row], report: &TapeReport) -> DMatrix<f64> {
    let wrong = rows.iter().zip(&report.readings).filter(|(_, r)| !r.agrees);
    wrong.fold(covariance.clone(), |c, (row, r)| match row.widens(covariance, r.against_rest_mm) {
        Some(more) => c + more,
        None => c,
    })
}
/// Of readings that are not in the solution yet the one after which the unknown `scale` is known best, where that is worth while.
pub(crate) fn next_reading(
    options: &[Row],
    covariance: &DMatrix<f64>,
    scale: usize,
    relative_now: f64,
) -> Option<NextReading> {
    let now = covariance[(scale, scale)];
    let gain = |r: &Row| r.with(covariance, scale).powi(2) / (r.sd_mm * r.sd_mm + r.variance(covariance)) / now;
    let (best, gained) = options.iter().map(|r| (r, gain(r))).max_by(|a, b| a.1.total_cmp(&b.1))?;
    let relative_then = relative_now * (1.0 - gained).max(0.0).sqrt();
    (relative_then < WORTH * relative_now).then(|| NextReading { name: best.name.clone(), relative_now, relative_then })
}
/// Standard uncertainty of a tape reading, mm: its greatest error is the half-width of a rectangular law (GUM 4.3.7). No reading is
/// perfect, and without a tolerance the least square still needs a weight: a hundredth of the finest division.
pub(crate) fn tape_sd_mm(tape: &Tape) -> f64 {
    (tape.tolerance_mm / 3f64.sqrt()).max(0.01)
}
/// What a rule of half a millimetre is good to, mm: read against steel instead of with a tape's hook.
pub(crate) const FINE_SD_MM: f64 = 0.1;
/// Names of readings that would help, as they are printed.
pub(crate) mod names {
    pub const LENGTH: &str = "the length over all";
    pub const WAIST: &str = "the width at the narrowest place of the middle";
    pub const AGAIN: &str = "the width again, with a finer rule";
    pub const WHEELBASE: &str = "the wheelbase, from the middle of one truck's holes to the other's";
}

#[cfg(test)]
mod tests {
    use super::*;
    fn row(sd_mm: f64, residual_mm: f64) -> Row {
        Row { name: "length".into(), reading_mm: 800.0, residual_mm, sd_mm, weight: 1.0, j: vec![(0, 800.0)] }
    }
    /// By hand, one unknown known to 1/800 before a reading of 800 units within 0.5 mm: the rest puts it 1 mm uncertain, so that a
    /// reading 4 mm off moves the solution by 4 x 1 / (1 + 0.25) = 3.2 mm and leaves 0.8 mm.
    #[test]
    fn a_reading_against_the_rest_by_hand() {
        let c = DMatrix::from_element(1, 1, 1.0 / (1.0 + 4.0) / 800.0 / 800.0);
        let v = row(0.5, 0.8).verdict(&c);
        assert!((v.against_rest_mm - 4.0).abs() < 1e-9 && v.checked && !v.agrees, "{v:?}");
        // 1.118 mm is the standard uncertainty of the difference, three times that is 3.35
        assert!(row(0.5, 0.2 * 3.3).verdict(&c).agrees);
        assert!(!row(0.5, 0.2 * 3.4).verdict(&c).agrees);
        // held for wrong by the solve, it is judged alike: 4 mm off is 3.6 times the root of 1 and 0.25
        let v = Row { weight: 0.0, ..row(0.5, 4.0) }.verdict(&DMatrix::from_element(1, 1, 1.0 / 800.0 / 800.0));
        assert!((v.against_rest_mm - 4.0).abs() < 1e-9 && v.checked && !v.agrees, "{v:?}");
        let alone = DMatrix::from_element(1, 1, 0.25 / 800.0 / 800.0);
        assert!(!row(0.5, 0.0).verdict(&alone).checked);
    }
    /// Carver, true length 990 mm, 981 typed: "agrees, -7.9 mm". A slip is seen at 3 + 0.84 standard uncertainties of the
    /// difference; the root of 0.25 + 9 is 3.04 mm, so that 11.7 mm would have to be wrong before it shows.
    #[test]
    fn a_centimetre_misread_is_never_said_to_agree() {
        let c = |rest: f64| DMatrix::from_element(1, 1, 1.0 / (1.0 / rest + 4.0) / 800.0 / 800.0);
        // off by 7.9 mm against a rest known to 3 mm: the reading itself took nearly all of it
        let v = row(0.5, 7.9 * 0.25 / 9.25).verdict(&c(9.0));
        assert!((v.against_rest_mm - 7.9).abs() < 1e-9 && v.agrees && !v.checked, "{v:?}");
        assert_eq!(v.verdict(), TapeVerdict::CannotBeChecked);
        assert!(v.words().contains("cannot be checked") && v.words().contains("12 mm"), "{}", v.words());
        // a rest known to 2 mm sees 10 mm: 3.84 x 2.06 = 7.9
        let v = row(0.5, 0.0).verdict(&c(4.0));
        assert!(v.verdict() == TapeVerdict::Agrees && (v.slip_seen_mm.unwrap() - 7.92).abs() < 0.01, "{v:?}");
    }
    /// Cruiser, 214.5 x 762 mm: a width of 204.5 mm "agrees: -3.7 mm", and the length, which was right, "may be wrong". Photo and scan
    /// alone give 733 mm of length with that width, within 6.6 mm: 29 mm off is more than four times that.
    #[test]
    fn a_width_misread_by_a_centimetre_is_not_said_to_agree_beside_a_photo() {
        let reading = |name: &str, reading_mm| TapeReading {
            name: name.into(),
            reading_mm,
            residual_mm: 0.1,
            against_rest_mm: -3.7,
            agrees: true,
            checked: true,
            slip_seen_mm: Some(6.0),
        };
        let judged = |width: f64, free: f64| {
            let readings = vec![reading("width", width), reading("length", 762.0)];
            let mut report = TapeReport { readings, ..TapeReport::default() };
            report.beside_a_solve_without_length([free, 6.6], 0.4);
            report
        };
        let r = judged(204.5, 733.0);
        assert!(r.readings.iter().all(|r| r.verdict() == TapeVerdict::Contradicts), "{r:?}");
        let w = r.warnings();
        assert!(w.len() == 1 && w[0].message.contains("if the length is right, the width would be 212.6 mm"), "{w:?}");
        // 2.6 times its uncertainty off: neither agrees, and both are named
        let r = judged(214.5, 779.2);
        assert!(r.readings.iter().all(|r| r.verdict() == TapeVerdict::CannotBeChecked), "{r:?}");
        let w = r.warnings();
        assert!(w.len() == 1 && w[0].message.contains("if the width is right, the length would be 779 mm"), "{w:?}");
        // as it is: the width agrees, of the length nobody can tell
        let r = judged(214.5, 769.0);
        assert!(r.warnings().is_empty() && r.readings[1].verdict() == TapeVerdict::CannotBeChecked, "{r:?}");
        assert_eq!(r.readings[0].words(), "agrees: +2.0 mm against the rest; a slip of 7 mm or more would show");
    }
    /// One unknown, the rest known to 1 mm, a reading good to 0.5 mm and 20 mm off: the solution with it lies 20 / 1.25 = 16 mm from
    /// that without it, and the stated uncertainty must hold both.
    #[test]
    fn readings_that_contradict_make_everything_less_sure() {
        let c = DMatrix::from_element(1, 1, 1.0 / (1.0 + 4.0) / 800.0 / 800.0);
        let row = row(0.5, 20.0 / 5.0);
        let report = TapeReport { readings: vec![row.verdict(&c)], ..TapeReport::default() };
        assert!(report.contradicts());
        let sd = widened(&c, &[row], &report)[(0, 0)].sqrt() * 800.0;
        assert!((sd - 1f64.hypot(16.0)).abs() < 1e-9, "{sd}");
    }
    #[test]
    fn of_two_readings_the_message_says_what_either_would_make_of_the_other() {
        let reading = |name: &str, reading_mm, against_rest_mm| TapeReading {
            name: name.into(),
            reading_mm,
            residual_mm: 0.0,
            against_rest_mm,
            agrees: false,
            checked: true,
            slip_seen_mm: Some(8.0),
        };
        let readings = vec![reading("width", 214.5, 8.4), reading("length", 732.0, -30.0)];
        let w = TapeReport { readings, ..TapeReport::default() }.warnings();
        assert!(w.len() == 1 && w[0].message.contains("if the length is right, the width would be 206.1 mm"), "{w:?}");
        assert!(w[0].message.contains("if the width is right, the length would be 762.0 mm"), "{w:?}");
    }
    /// By hand: with 1 mm of doubt before, a reading good to 0.5 mm leaves the root of 1 / (1 + 4).
    #[test]
    fn gain_by_hand() {
        let c = DMatrix::from_element(1, 1, 1.0 / 800.0 / 800.0);
        let n = next_reading(&[row(5.0, 0.0), row(0.5, 0.0)], &c, 0, 1.0 / 800.0).unwrap();
        assert!((n.relative_then * 800.0 - 0.2f64.sqrt()).abs() < 1e-9, "{n:?}");
        assert!(next_reading(&[row(5.0, 0.0)], &c, 0, 1.0 / 800.0).is_none());
    }
}
