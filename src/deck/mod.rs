//! The deck: underside and top trimmed by the outline.
mod colours;
mod details;
mod drilled;
pub use colours::ColourMap;
pub use details::{DeckDetails, DeckHole};
pub use drilled::Bore;

use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Brep, OffsetFault, Polygon, TriMesh, offset_within, trim};
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
    /// What the solid carries besides.
    details: DeckDetails,
    solid: Brep,
}

/// Names of the solid's faces: the first two, and the rail between them.
const FACES: [&str; 3] = ["underside", "top", "rail"];

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
            format!("{what} stays {worst:.3} mm off the true offset, the limit is {} mm", crate::tolerance::OFFSET_MOST_MM),
        )
        .hint("check the sections in the report for ripples or spikes"),
    }
}

/// What is said of an offset that stays off the true one by more than usual.
pub(crate) fn offset_warning(stage: Stage, what: &str, off_mm: f64) -> Option<Warning> {
    (off_mm > crate::tolerance::OFFSET_MM).then(|| {
        Warning::new(
            stage,
            format!(
                "{what} is {off_mm:.3} mm off the true offset at one place, {} mm is usual",
                crate::tolerance::OFFSET_MM
            ),
            "nothing to do: no saw, print or strip shows this",
        )
    })
}

/// Makes the deck from its underside, its closed outline and its thickness.
///
/// # Errors
/// A thickness that is not positive or folds the top, an outline that leaves the surface's domain, or a shape that is not
/// sound.
pub fn make_deck(underside: &TensorSpline, outline: &Curve<2>, thickness_mm: f64) -> Result<Warned<Deck>> {
    if !(thickness_mm > 0.0 && thickness_mm.is_finite()) {
        return Err(Error::new(Stage::Deck, format!("the deck is {thickness_mm} mm thick, it must be more than 0 mm"))
            .hint("measure deck.thickness at a truck hole or the rail"));
    }
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
    // a chord without limit leaves few points inside: this asks only whether the border can be filled
    if trim::tessellate(underside, std::slice::from_ref(&polygon), f64::MAX).is_none() {
        return Err(crossing());
    }
    // signed distance is dear: a coarse polygon decides where the offset must hold
    let coarse = polygon.resampled(300);
    let (top, off) = offset_within(underside, -thickness_mm, |x, y| coarse.contains([x, y]))
        .map_err(|f| offset_error(Stage::Deck, "the deck's top", thickness_mm, &f))?;
    let solid = trim::slab("deck", underside, &top, &pieces, FACES);
    let details = DeckDetails::default();
    let deck = Deck { underside: underside.clone(), top, outline: pieces, thickness_mm, details, solid };
    let faults = deck.solid.faults();
    if let Some(first) = faults.first() {
        return Err(Error::new(Stage::Deck, format!("the deck is not sound ({} faults): {first}", faults.len()))
            .hint("the outline is too ragged; give a length (tape.length) and check the photo or scan"));
    }
    Ok(Warned::with(deck, offset_warning(Stage::Deck, "the deck's top", off).into_iter().collect()))
}

impl Deck {
    /// Its rail and holes.
    pub fn details(&self) -> &DeckDetails {
        &self.details
    }
    /// The closed solid.
    pub fn solid(&self) -> &Brep {
        &self.solid
    }
    /// The open face of the underside as far as the outline, without holes, normal out of it.
    pub fn underside_face(&self) -> Brep {
        trim::face("underside", &self.underside, std::slice::from_ref(&self.outline))
    }
    /// The outline as a polygon within the usual chord height.
    pub fn outline_polygon(&self) -> Polygon {
        trim::polygon(&self.outline, CHORD_MM)
    }
    fn mesh_border(&self, chord: f64) -> Polygon {
        trim::border(&self.outline, &[&self.underside, &self.top], chord / 2.0)
    }
    /// The open mesh of the underside.
    ///
    /// # Errors
    /// An outline that crosses itself.
    pub fn underside_mesh(&self) -> Result<TriMesh> {
        self.underside_mesh_within(CHORD_MM)
    }
    /// As [`Deck::underside_mesh`], with chords within `chord` mm.
    ///
    /// # Errors
    /// As there.
    pub fn underside_mesh_within(&self, chord: f64) -> Result<TriMesh> {
        trim::tessellate(&self.underside, &[self.mesh_border(chord)], chord).ok_or_else(crossing)
    }
    /// The closed mesh of the solid.
    ///
    /// # Errors
    /// An outline that crosses itself.
    pub fn mesh(&self) -> Result<TriMesh> {
        self.mesh_within(CHORD_MM)
    }
    /// As [`Deck::mesh`], with chords within `chord` mm.
    ///
    /// # Errors
    /// As there.
    pub fn mesh_within(&self, chord: f64) -> Result<TriMesh> {
        let (under, top) = (&self.underside, &self.top);
        let mesh = if self.is_plain() {
            trim::slab_mesh(under, top, &[self.mesh_border(chord)], chord)
        } else {
            self.solid.mesh_over(chord, &[under, top])
        };
        mesh.ok_or_else(crossing)
    }
    /// The section at station `x` as `samples + 1` points (y, z); empty outside the board.
    pub fn section(&self, x: f64, samples: usize) -> Vec<[f64; 2]> {
        let cuts = self.outline_polygon().crossings(x);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::closed_fit;
    use crate::num::{Knots, interpolate};
    use nalgebra::DMatrix;

    pub(super) const LENGTH: f64 = 400.0;
    pub(super) const WIDTH: f64 = 120.0;

    pub(super) fn ellipse() -> Curve<2> {
        let n = 2000;
        let points = (0..n)
            .map(|i| (f64::from(i) / f64::from(n) * std::f64::consts::TAU).sin_cos())
            .map(|(s, c)| [LENGTH / 2.0 * c, WIDTH / 2.0 * s])
            .collect();
        closed_fit(&Polygon { points }, 80).unwrap()
    }
    /// A cylinder about a line along y, bent downwards from z = 0.
    pub(super) fn cambered(radius: f64) -> TensorSpline {
        let (x, y) = (Knots::uniform(3, 40, -210.0, 210.0), Knots::uniform(3, 1, -70.0, 70.0));
        let g = x.greville();
        let v = DMatrix::from_fn(g.len(), 1, |i, _| (radius * radius - g[i] * g[i]).sqrt() - radius);
        let c = interpolate(&x, &v).unwrap();
        let n = y.len();
        TensorSpline::new(x, y, c.iter().flat_map(|c| std::iter::repeat_n(*c, n)).collect()).unwrap()
    }
    /// Flat: an elliptic cylinder, volume pi a b t, area of a face pi a b.
    #[test]
    fn a_flat_deck_has_the_volume_of_its_cylinder() {
        let flat =
            TensorSpline::new(Knots::uniform(3, 1, -210.0, 210.0), Knots::uniform(3, 1, -70.0, 70.0), vec![2.0; 16])
                .unwrap();
        let d = make_deck(&flat, &ellipse(), 11.0).unwrap().value;
        let face = std::f64::consts::PI * LENGTH * WIDTH / 4.0;
        let (solid, under) = (d.mesh().unwrap(), d.underside_mesh().unwrap());
        assert!(solid.open_edges().is_empty());
        assert!((solid.volume() / (face * 11.0) - 1.0).abs() < 5e-4, "{}", solid.volume());
        assert!((under.area() / face - 1.0).abs() < 5e-4, "{}", under.area());
        let [a, b, c] = under.corners(0);
        assert!((b - a).cross(&(c - a)).z > 0.0, "normals point out of the underside");
    }
    /// Bent: the top of a cylinder of radius R lies on the cylinder of radius R - t; the volume is the integral over the
    /// plan of the height between both, here by the midpoint rule.
    #[test]
    fn a_bent_deck_is_sound_and_has_its_thickness_along_the_normal() {
        let (r, t) = (600.0, 11.0);
        let d = make_deck(&cambered(r), &ellipse(), t).unwrap().value;
        assert_eq!(d.solid().faults(), Vec::<String>::new());
        assert_eq!(d.underside_face().faults(), Vec::<String>::new());
        let top = |x: f64| ((r - t) * (r - t) - x * x).sqrt() - r;
        for x in [-190.0, -64.0, 0.0, 151.0] {
            assert!((d.top.at(x, 5.0) - top(x)).abs() < crate::tolerance::OFFSET_MM, "{x}");
        }
        let n = 20_000;
        let step = LENGTH / f64::from(n);
        let want: f64 = (0..n)
            .map(|i| -LENGTH / 2.0 + (f64::from(i) + 0.5) * step)
            .map(|x| ((r * r - x * x).sqrt() - r - top(x)) * WIDTH * (1.0 - (2.0 * x / LENGTH).powi(2)).sqrt() * step)
            .sum();
        let got = d.mesh().unwrap().volume();
        assert!((got / want - 1.0).abs() < 1e-3, "{got} {want}");
    }
    #[test]
    fn an_outline_that_crosses_itself_is_refused() {
        let n = 400;
        let points = (0..n)
            .map(|i| f64::from(i) / f64::from(n) * std::f64::consts::TAU)
            // a figure eight with one lobe larger than the other
            .map(|a| [150.0 * a.cos(), 35.0 * (2.0 * a).sin() + 10.0 * a.sin()])
            .collect();
        let eight = closed_fit(&Polygon { points }, 80).unwrap();
        let e = make_deck(&cambered(600.0), &eight, 11.0).unwrap_err();
        assert!(e.message().contains("crosses itself"), "{e}");
    }
    #[test]
    fn thickness_must_be_positive_and_must_not_fold_the_top() {
        for t in [0.0, -11.0, f64::NAN, f64::INFINITY] {
            assert_eq!(make_deck(&cambered(600.0), &ellipse(), t).unwrap_err().stage(), Stage::Deck);
        }
        let e = make_deck(&cambered(300.0), &ellipse(), 310.0).unwrap_err();
        assert!(e.message().contains("folds at x = "), "{e}");
    }
}
