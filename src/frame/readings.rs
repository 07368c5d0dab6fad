//! What the tape's readings say beside everything else: residuals, verdicts, and the reading that would help most.
//!
//! # References
//! JCGM 100:2008 (GUM); W. Baarda, *A testing procedure for use in geodetic networks*, 1968 (from memory): a residual of least
//! squares is judged by its own standard deviation, which is small where the rest of the net does not check the reading.
use super::Tape;
use crate::error::{Stage, Warning};
use nalgebra::DMatrix;

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
    /// Whether other readings check this one at all; a width alone is met whatever it says.
    pub checked: bool,
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
}
impl TapeReport {
    /// A warning for each reading that contradicts the rest or could not be used.
    pub(crate) fn warnings(&self) -> Vec<Warning> {
        let contradicts = self.readings.iter().filter(|r| !r.agrees).map(|r| {
            Warning::new(
                Stage::Frame,
                format!(
                    "the tape's {} of {} mm is {:+.1} mm off what everything else says",
                    r.name, r.reading_mm, r.against_rest_mm
                ),
                "read it again; this reading, another one, or the scan is wrong",
            )
        });
        let unused = self.unused.iter().map(|u| {
            Warning::new(
                Stage::Frame,
                format!("the tape's {} of {} mm is not used: {}", u.name, u.reading_mm, u.why),
                "read another length that scan or photo show, nose to tail for example",
            )
        });
        contradicts.chain(unused).collect()
    }
}

/// A reading is doubted when it is more than three standard uncertainties off, as one true one in 370 is: with several readings of one
/// board a limit of two would doubt a true one on every fifth board.
const COVERAGE: f64 = 3.0;
/// A reading is checked when the rest knows its place to this many times what the reading itself does; beyond, it would have to be
/// wrong by the size of the board to show.
const LOOSE: f64 = 100.0;
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
    /// How the reading, which is in the solution with its weight, agrees with the rest of it.
    pub fn verdict(&self, covariance: &DMatrix<f64>) -> TapeReading {
        let own = self.sd_mm * self.sd_mm;
        // what the rest knows by itself: all the information less the reading's own
        let rest = 1.0 / (1.0 / self.variance(covariance) - self.weight / own);
        let checked = rest >= 0.0 && rest < LOOSE * LOOSE * own;
        // without this reading the residual would be larger by what the reading itself took off it
        let against_rest_mm = if checked { self.residual_mm * (1.0 + self.weight * rest / own) } else { 0.0 };
        TapeReading {
            name: self.name.clone(),
            reading_mm: self.reading_mm,
            residual_mm: self.residual_mm,
            against_rest_mm,
            agrees: !checked || against_rest_mm.abs() <= COVERAGE * (own + rest).sqrt(),
            checked,
        }
    }
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
    /// By hand: with 1 mm of doubt before, a reading good to 0.5 mm leaves the root of 1 / (1 + 4).
    #[test]
    fn gain_by_hand() {
        let c = DMatrix::from_element(1, 1, 1.0 / 800.0 / 800.0);
        let n = next_reading(&[row(5.0, 0.0), row(0.5, 0.0)], &c, 0, 1.0 / 800.0).unwrap();
        assert!((n.relative_then * 800.0 - 0.2f64.sqrt()).abs() < 1e-9, "{n:?}");
        assert!(next_reading(&[row(5.0, 0.0)], &c, 0, 1.0 / 800.0).is_none());
    }
}
