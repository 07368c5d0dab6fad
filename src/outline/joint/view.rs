//! What one photo brings to the solve.
use super::super::border::SHARP_PX;
use super::super::camera::Camera;
use super::super::graphic::Match;
use super::super::rim::Rim;

/// Standard deviation of an edge's bias, in common and from tone to tone, over the edge's width: where in its blur the border between light and dark
/// is found depends on their tones, a quarter of the width to either side at most, by a uniform law.
const BIAS_RATIO: f64 = 0.25 / 1.732_050_807_568_877_2;

/// A border pixel of a photo.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::outline) struct Seen {
    pub station: usize,
    pub px: [f64; 2],
    /// Unit normal out of the board.
    pub normal: [f64; 2],
    pub turn: Turn,
}
/// Where a camera sees the border of the rail beside the rail's edge.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(in crate::outline) struct Turn {
    /// How far inside of it, in radii of its rounding.
    pub radii: f64,
    /// How far outside of it by the wall that is in sight, mm before the scale.
    pub wall_mm: f64,
}

/// A length known between two pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in crate::outline) struct Known {
    pub px: [[f64; 2]; 2],
    pub mm: f64,
    /// Its standard deviation, mm.
    pub sd_mm: f64,
}
/// One photo in the solve.
#[derive(Debug, Clone)]
pub(in crate::outline) struct View<'a> {
    /// The rail's edge that it shows.
    pub edge: &'a Rim<'a>,
    pub camera: Camera,
    /// Which lens it was taken with.
    pub lens: usize,
    pub seen: Vec<Seen>,
    pub known: Vec<Known>,
    /// Where it shows the scan's colours.
    pub matches: Vec<Match>,
    pub bias_px: f64,
    /// Width of its edges, pixels.
    pub width_px: f64,
    /// Scatter of one border pixel, and how many neighbours go together.
    pub sigma_px: f64,
    pub together: f64,
}
/// Standard deviation of a view's edge bias, pixels.
pub(super) fn bias_sd_px(v: &View) -> f64 {
    BIAS_RATIO * v.width_px.max(SHARP_PX)
}
