//! What a build is worth to a builder who does not know the truth.
use super::case::Case;
use super::score::Score;

/// Rms up to which a build is right, mm: the underside's, as far as foam takes it up, and the outline's, as far as an enclosure is
/// kept from the rail (common practice, no source).
const UNDERSIDE_MM: f64 = 1.0;
const OUTLINE_MM: f64 = 3.0;
/// Least share of the underside that a right one covers.
const COVER: f64 = 0.95;
/// By how much an outline may be worse than the stated scale explains, and the most that a loud warning excuses, mm.
const BESIDE_MM: f64 = 1.5;
const LOUD_MM: f64 = 12.0;
/// The worst underside that is still the board's, mm.
const NONSENSE_MM: f64 = 3.0;

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Verdict {
    Right,
    /// Off by more, and the stated uncertainty or a warning in capitals says so.
    Told,
    Refused,
    /// Off by more and nothing says so: the worst there is.
    Silent,
}
impl Verdict {
    pub fn of(case: &Case, result: &Result<Score, String>) -> Self {
        let Ok(s) = result else { return Self::Refused };
        let sound = !s.upside_down && s.cover > COVER;
        if sound && s.under_rms < UNDERSIDE_MM && s.edge_rms < OUTLINE_MM {
            return Self::Right;
        }
        // 95 % of the stated scale, at an end
        let stated_mm = 2.0 * s.scale_stated_pct / 100.0 * case.shape.length_mm / 2.0;
        let explained = s.edge_rms < stated_mm + BESIDE_MM && s.under_rms < NONSENSE_MM;
        if !s.upside_down && explained || s.loud && s.edge_rms < LOUD_MM { Self::Told } else { Self::Silent }
    }
}
