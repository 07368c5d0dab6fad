//! The deck: underside and top trimmed by the outline.
use crate::error::{Error, Result, Stage, Warned};
use crate::geom::{Brep, OffsetFault, Polygon, TriMesh, offset_height, trim};
use crate::num::{Curve, TensorSpline};
use crate::tolerance::CHORD_MM;

/// A deck in the deck frame, mm.
#[derive(Debug, Clone)]
pub struct Deck {
    /// The underside z(x, y).
    pub underside: TensorSpline,
    /// The top: the underside offset by the thickness along its normal.
    pub top: TensorSpline,
    /// The outline in plan, counter-clockwise, in consecutive pieces.
    pub outline: Vec<Curve<2>>,
    /// Thickness along the normal, mm.
    pub thickness_mm: f64,
}

/// Lower and upper corner of a plan curve's box, by dense samples.
pub(crate) fn outline_bounds(c: &Curve<2>) -> ([f64; 2], [f64; 2]) {
    trim::polygon(std::slice::from_ref(c), CHORD_MM).bounds()
}

pub(crate) fn offset_error(stage: Stage, what: &str, d: f64, fault: &OffsetFault) -> Error {
    match fault {
        OffsetFault::Fold { x, y, radius } => Error::new(
            stage,
            format!("{what} folds at x = {x:.0} mm, y = {y:.0} mm: the offset is {:.1} mm, the surface bends with {radius:.1} mm radius", d.abs()),
        )
        .hint("use a smaller offset there, or check the scan for a spike"),
        OffsetFault::Tolerance(worst) => Error::new(
            stage,
            format!("{what} stays {worst:.3} mm off the true offset, the limit is {} mm", crate::tolerance::OFFSET_MM),
        )
        .hint("check the sections in the report for ripples or spikes"),
    }
}

/// Makes the deck from its underside, its closed outline and its thickness.
///
/// # Errors
/// An outline that leaves the surface's domain, a thickness that folds the top, or a shape that is not sound.
pub fn make_deck(underside: &TensorSpline, outline: &Curve<2>, thickness_mm: f64) -> Result<Warned<Deck>> {
    let pieces = trim::pieces(outline);
    let polygon = trim::polygon(&pieces, CHORD_MM);
    let (lo, hi) = polygon.bounds();
    let ((x0, x1), (y0, y1)) = (underside.x.range(), underside.y.range());
    if lo[0] < x0 || lo[1] < y0 || hi[0] > x1 || hi[1] > y1 {
        return Err(Error::new(
            Stage::Deck,
            format!(
                "the outline ({:.0} x {:.0} mm) reaches past the fitted surface ({:.0} x {:.0} mm)",
                hi[0] - lo[0],
                hi[1] - lo[1],
                x1 - x0,
                y1 - y0
            ),
        )
        .hint("the tape measurements do not agree with the scan; measure again"));
    }
    // signed distance is dear: a coarse polygon decides where the offset must hold
    let coarse = polygon.resampled(300);
    let top = offset_height(underside, -thickness_mm, |x, y| coarse.contains([x, y]))
        .map_err(|f| offset_error(Stage::Deck, "the deck's top", thickness_mm, &f))?;
    let deck = Deck { underside: underside.clone(), top, outline: pieces, thickness_mm };
    let faults = deck.solid().faults();
    if let Some(first) = faults.first() {
        return Err(Error::new(Stage::Deck, format!("the deck is not sound ({} faults): {first}", faults.len()))
            .hint("the outline is too ragged; give a length (tape.length) and check the photo or scan"));
    }
    Ok(Warned::clean(deck))
}

impl Deck {
    /// The closed solid.
    pub fn solid(&self) -> Brep {
        trim::slab("deck", &self.underside, &self.top, &self.outline, ["underside", "top", "rail"])
    }
    /// The open face of the underside, normal out of it.
    pub fn underside_face(&self) -> Brep {
        trim::face("underside", &self.underside, std::slice::from_ref(&self.outline))
    }
    /// The outline as a polygon within the usual chord height.
    pub fn outline_polygon(&self) -> Polygon {
        trim::polygon(&self.outline, CHORD_MM)
    }
    /// The open mesh of the underside.
    ///
    /// # Errors
    /// An outline that crosses itself.
    pub fn underside_mesh(&self) -> Result<TriMesh> {
        trim::tessellate(&self.underside, &[self.outline_polygon()], CHORD_MM).ok_or_else(crossing)
    }
    /// The closed mesh of the solid.
    ///
    /// # Errors
    /// An outline that crosses itself.
    pub fn mesh(&self) -> Result<TriMesh> {
        trim::slab_mesh(&self.underside, &self.top, &self.outline_polygon(), CHORD_MM).ok_or_else(crossing)
    }
    /// The section at station `x` as `samples + 1` points (y, z); empty outside the board.
    pub fn section(&self, x: f64, samples: usize) -> Vec<[f64; 2]> {
        let cuts: Vec<f64> = self
            .outline_polygon()
            .edges()
            .filter(|(a, b)| (a[0] > x) != (b[0] > x))
            .map(|(a, b)| a[1] + (x - a[0]) / (b[0] - a[0]) * (b[1] - a[1]))
            .collect();
        let (lo, hi) = cuts.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
        if lo >= hi {
            return Vec::new();
        }
        (0..=samples)
            .map(|i| {
                let y = lo + (hi - lo) * i as f64 / samples as f64;
                [y, self.underside.at(x, y)]
            })
            .collect()
    }
}
fn crossing() -> Error {
    Error::new(Stage::Deck, "the outline crosses itself").hint("the rim of the scan is too ragged; scan the rails too")
}
