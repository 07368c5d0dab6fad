//! Area and volume of the shapes written as STEP.
use crate::deck::Deck;
use crate::geom::Brep;
use crate::mating::MatingFace;
use serde::Serialize;

/// Area and volume of one file's shape, by quadrature on its B-splines.
#[derive(Debug, Clone, Serialize)]
pub struct ShapeMeasure {
    /// The file.
    pub file: String,
    /// Area of its faces, mm2.
    pub area_mm2: f64,
    /// Volume, mm3; `None` for an open face.
    pub volume_mm3: Option<f64>,
    /// Relative error of either, estimated from above by a coarser rule.
    pub relative_error_estimate: f64,
}
impl ShapeMeasure {
    fn new(file: &str, shape: &Brep) -> Self {
        let m = shape.measure();
        Self {
            file: file.into(),
            area_mm2: m.area_mm2,
            volume_mm3: shape.closed.then_some(m.volume_mm3),
            relative_error_estimate: m.relative_error,
        }
    }
    /// Of every STEP file of deck and mating face that a build writes.
    pub(super) fn all(deck: &Deck, mating: Option<&MatingFace>) -> Vec<Self> {
        let mut out = vec![Self::new("underside.step", &deck.underside_face()), Self::new("deck.step", deck.solid())];
        if let Some(m) = mating {
            out.push(Self::new("mating-face.step", &m.flange_face()));
            out.push(Self::new("mating-tool.step", &m.tool()));
        }
        out
    }
}
