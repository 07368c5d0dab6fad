//! What a scan was taken for of which no deck could be made.
use nalgebra::Point3;

/// What became of points.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
#[non_exhaustive]
pub enum PointRole {
    /// Kept: the underside.
    #[default]
    Kept,
    /// Left out: stands on the underside.
    Standing,
    /// Left out: floor.
    Floor,
    /// Left out: anything else.
    Other,
    /// The largest smooth piece of a scan that shows no board.
    Largest,
    /// Nothing is known of them: the work ended before.
    Unexplained,
}
/// Points of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct RefusedPoints {
    /// What they were taken for.
    pub role: PointRole,
    /// How many there are among those looked at.
    pub count: usize,
    /// Some of them.
    pub points: Vec<Point3<f64>>,
}
/// What is known of a scan at the moment when it is refused.
///
/// # Units
/// Places are in mm where the tape has given a first scale, else in scan units; x along the board or the scan, z upwards from it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Refusal {
    /// What the refusal means, in short sentences.
    pub meaning: &'static str,
    /// Whether places are in mm.
    pub scaled: bool,
    /// The points by what they were taken for; no kind is empty.
    pub points: Vec<RefusedPoints>,
}
/// Points of each kind kept for a picture.
const PICTURE_POINTS: usize = 6000;

impl Refusal {
    /// Nothing but what it means.
    pub(crate) fn new(meaning: &'static str, scaled: bool) -> Self {
        Self { meaning, scaled, points: Vec::new() }
    }
    /// Adds `count` points of a kind, of which `shown` are given, thinned evenly.
    #[must_use]
    pub(crate) fn with(mut self, role: PointRole, count: usize, shown: &[Point3<f64>]) -> Self {
        if count > 0 {
            let step = shown.len().div_ceil(PICTURE_POINTS).max(1);
            self.points.push(RefusedPoints { role, count, points: shown.iter().step_by(step).copied().collect() });
        }
        self
    }
}
