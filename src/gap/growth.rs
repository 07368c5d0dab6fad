//! Growth of the enclosure against the deck with temperature. Figures are estimates.
use super::RimLoop;
use serde::Serialize;

/// How enclosure and deck grow.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Growth {
    /// Of the enclosure's material, 1/K.
    pub enclosure_per_k: f64,
    /// Of the deck along the board, 1/K.
    pub deck_per_k: f64,
    /// Difference of temperature from where the holes were drilled, to either side, K.
    pub change_k: f64,
}
/// What it does to a rim.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct GrowthReport {
    /// Coefficients and temperature.
    #[serde(flatten)]
    pub growth: Growth,
    /// How much longer the rim grows than the deck under it, end to end, mm.
    pub length_mm: f64,
    /// How far either end moves past the deck, mm, the middle being held.
    pub end_mm: f64,
    /// Strain of a rim that is held at both ends.
    pub held_strain_ratio: f64,
}
/// The growth of `rim` past the deck.
pub fn growth(rim: &RimLoop, g: &Growth) -> GrowthReport {
    let ends = rim.stations.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |e, s| (e.0.min(s.x_mm), e.1.max(s.x_mm)));
    let strain = (g.enclosure_per_k - g.deck_per_k) * g.change_k;
    let length_mm = strain * (ends.1 - ends.0).max(0.0);
    GrowthReport { growth: *g, length_mm, end_mm: length_mm / 2.0, held_strain_ratio: strain.abs() }
}
