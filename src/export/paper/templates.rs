//! What goes on paper: outline, footprint laid on the deck, ribs, rocker.
use super::drawing::{Drawing, LETTER_MM, Pen};
use crate::deck::Deck;
use crate::geom::Polygon;
use crate::mating::MatingFace;
use crate::num::TensorSpline;

/// A hole to drill, at a plan place of the deck frame.
#[derive(Debug, Clone, PartialEq)]
pub struct Hole {
    /// Place in plan, mm.
    pub at: [f64; 2],
    /// Diameter, mm.
    pub diameter_mm: f64,
    /// Its name, written beside it.
    pub name: String,
}
/// Height of a rib's card over the highest place of its curve, mm: stiff in common card, and room for words.
const BODY_MM: f64 = 30.0;
/// What a line round a hole is.
const RIM_HOLE: &str = "hole of the enclosure's rim, numbered as in drill.csv: drill on its cross";
const DECK_HOLE: &str = "hole through the deck";
/// Samples along a curve: 1 to 4 mm apart on a usual board, chords within 0.03 mm at a radius of 80 mm.
const SAMPLES: usize = 300;
/// Half length of a tick on a line, mm.
const TICK_MM: f64 = 5.0;

/// Plan places as a paper pressed onto the underside shows them: x along the centre line's own length from the origin, y
/// along the section's. Exact along the centre line and along every section; a deck bent both ways leaves a misfit
/// lengthwise away from the centre line, which [`Laid::misfit_mm`] gives.
pub struct Laid<'a> {
    z: &'a TensorSpline,
}
/// Steps of Simpson's rule per length: well below 0.001 mm on slopes below 45 degrees bent with a radius above 50 mm.
const STEPS: usize = 64;
/// Length of the graph of `slope` from 0 to `to`, mm.
fn run(slope: impl Fn(f64) -> f64, to: f64) -> f64 {
    let f = |t: f64| slope(to * t).hypot(1.0);
    let n = STEPS as f64;
    let inner: f64 = (1..STEPS).map(|i| f(i as f64 / n) * if i % 2 == 1 { 4.0 } else { 2.0 }).sum();
    to * (f(0.0) + inner + f(1.0)) / (3.0 * n)
}
impl<'a> Laid<'a> {
    /// On the underside `z`.
    pub fn new(z: &'a TensorSpline) -> Self {
        Self { z }
    }
    /// Place on the paper of the plan place (x, y), mm.
    pub fn at(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [run(|s| self.z.slopes(s, 0.0)[1], x), run(|t| self.z.slopes(x, t)[2], y)]
    }
    /// How much longer or shorter than the paper the deck is between the stations `a` and `b` at `y` off the centre line, mm.
    pub fn misfit_mm(&self, a: f64, b: f64, y: f64) -> f64 {
        let along = |y: f64, to: f64| run(|s| self.z.slopes(s, y)[1], to);
        ((along(y, b) - along(y, a)) - (along(0.0, b) - along(0.0, a))).abs()
    }
}

fn centre(d: &mut Drawing, lo: [f64; 2], hi: [f64; 2]) {
    d.line(vec![[lo[0], 0.0], [hi[0], 0.0]], false, Pen::Centre, "centre line");
    d.line(vec![[0.0, lo[1]], [0.0, hi[1]]], false, Pen::Centre, "centre line");
}

/// The outline in plan with centre lines and stations.
pub fn outline_template(deck: &Deck, mating: Option<&MatingFace>, stations: &[f64]) -> Drawing {
    let outline = deck.outline_polygon();
    let (lo, hi) = outline.bounds();
    let mut d = Drawing::default();
    centre(&mut d, lo, hi);
    for x in stations {
        let Some((a, b)) = outline.span(*x) else { continue };
        d.line(vec![[*x, a], [*x, b]], false, Pen::Mark, "station of a rib, or footprint of the enclosure");
        d.label([x + 1.5, LETTER_MM], format!("x = {x:+.1} mm"));
    }
    if let Some(m) = mating {
        for p in [&m.footprint.outer_polygon, &m.footprint.inner_polygon] {
            d.line(p.points.clone(), true, Pen::Mark, "station of a rib, or footprint of the enclosure");
        }
    }
    for (at, diameter) in deck.hole_places() {
        d.hole(at, diameter, &format!("{diameter} mm"), DECK_HOLE);
    }
    d.label([hi[0] - 22.0, LETTER_MM / 2.0], "nose");
    d.label([lo[0] + 10.0, LETTER_MM / 2.0], "tail");
    d.line(outline.points, true, Pen::Cut, "rail (outline)");
    d
}

/// The enclosure's footprint and the holes as a paper pressed onto the underside shows them, with the rails beside it to
/// place it by; also the greatest misfit of the paper, mm.
pub fn footprint_template(deck: &Deck, mating: &MatingFace, holes: &[Hole]) -> (Drawing, f64) {
    let laid = Laid::new(&deck.underside);
    let (lo, hi) = mating.footprint.outer_polygon.bounds();
    let mut d = Drawing::default();
    let on = |p: &Polygon| p.points.iter().map(|q| laid.at(*q)).collect::<Vec<_>>();
    d.line(on(&mating.footprint.outer_polygon), true, Pen::Cut, "outer and inner border of the rim");
    d.line(on(&mating.footprint.inner_polygon), true, Pen::Cut, "outer and inner border of the rim");
    for h in holes {
        d.hole(laid.at(h.at), h.diameter_mm, &h.name, RIM_HOLE);
    }
    let outline = deck.outline_polygon();
    for side in [0, 1] {
        let rail: Vec<[f64; 2]> = (0..=SAMPLES)
            .map(|i| lo[0] + (hi[0] - lo[0]) * i as f64 / SAMPLES as f64)
            .filter_map(|x| {
                let (a, b) = outline.span(x)?;
                Some(laid.at([x, if side == 0 { a } else { b }]))
            })
            .collect();
        if rail.len() > 1 {
            d.line(rail, false, Pen::Mark, "rail: lay it on the deck's edge");
        }
    }
    let (a, b) = (laid.at(lo), laid.at(hi));
    centre(&mut d, [a[0].min(0.0) - TICK_MM, a[1]], [b[0].max(0.0) + TICK_MM, b[1]]);
    d.label([b[0] - 30.0, LETTER_MM / 2.0], "to the nose");
    let misfit = [lo[1], hi[1]].map(|y| laid.misfit_mm(lo[0], hi[0], y));
    (d, misfit[0].max(misfit[1]))
}
/// A card with `curve` (rising abscissa) as its lower edge.
fn card(curve: Vec<[f64; 2]>, what: &str) -> Option<Drawing> {
    let (first, last) = (*curve.first()?, *curve.last()?);
    let top = curve.iter().map(|p| p[1]).fold(f64::NEG_INFINITY, f64::max) + BODY_MM;
    let mut d = Drawing::default();
    let mut border = curve;
    border.extend([[last[0], top], [first[0], top]]);
    d.line(border, true, Pen::Cut, what);
    Some(d)
}

/// The section at station `x` as a card that stands upright across the board and sits on its underside; seen from the nose
/// (y to the right). `None` where there is no board.
pub fn rib_template(deck: &Deck, mating: Option<&MatingFace>, x: f64) -> Option<Drawing> {
    let (lo, hi) = deck.outline_polygon().bounds();
    let section = deck.section(x, SAMPLES);
    let mut d = card(section, "rib: cut; the curved edge sits on the underside")?;
    let (_, top) = d.bounds();
    let z = |y: f64| deck.underside.at(x, y);
    d.line(vec![[0.0, z(0.0)], [0.0, z(0.0) + 2.0 * TICK_MM]], false, Pen::Centre, "centre line");
    if let Some(m) = mating {
        for p in [&m.footprint.outer_polygon, &m.footprint.inner_polygon] {
            for y in p.crossings(x) {
                d.line(vec![[y, z(y)], [y, z(y) + 2.0 * TICK_MM]], false, Pen::Mark, "border of the enclosure's rim");
            }
        }
    }
    // no minus before a zero
    let x = if x.abs() < 0.05 { 0.0 } else { x };
    let words = format!("rib at x = {x:+.1} mm, {:.1} mm from the nose, {:.1} mm from the tail", hi[0] - x, x - lo[0]);
    d.label([lo[1].max(-60.0), top[1] - 2.0 * LETTER_MM], words);
    d.label([lo[1].max(-60.0), top[1] - 4.0 * LETTER_MM], "stand it upright across the board, seen from the nose");
    Some(d)
}

/// The underside along the centre line as a card that stands upright on it, the nose to the right.
pub fn rocker_template(deck: &Deck, stations: &[f64]) -> Option<Drawing> {
    let outline = deck.outline_polygon();
    let (a, b) = outline.transposed().span(0.0)?;
    let z = |x: f64| deck.underside.at(x, 0.0);
    let n = 2 * SAMPLES;
    let curve = (0..=n).map(|i| a + (b - a) * i as f64 / n as f64).map(|x| [x, z(x)]).collect();
    let mut d = card(curve, "rocker: cut; the curved edge sits on the centre line of the underside")?;
    let top = d.bounds().1[1];
    for x in stations.iter().filter(|x| a < **x && **x < b) {
        d.line(vec![[*x, z(*x)], [*x, top]], false, Pen::Mark, "station of a rib");
        d.label([x + 1.5, top - 2.0 * LETTER_MM], format!("x = {x:+.1}"));
    }
    d.label([b - 22.0, top - LETTER_MM - 2.0], "nose");
    d.label([a + 4.0, top - LETTER_MM - 2.0], "tail");
    Some(d)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::{Knots, interpolate};
    use nalgebra::DMatrix;
    /// A cylinder of radius R about a line along x: a paper pressed onto it shows y as the arc R asin(y / R), x as it is.
    #[test]
    fn paper_on_a_cylinder_shows_arcs() {
        let r = 300.0_f64;
        let (x, y) = (Knots::uniform(3, 1, -200.0, 200.0), Knots::uniform(3, 40, -120.0, 120.0));
        let g = y.greville();
        let c = interpolate(&y, &DMatrix::from_fn(g.len(), 1, |j, _| (r * r - g[j] * g[j]).sqrt() - r)).unwrap();
        let row: Vec<f64> = c.iter().copied().collect();
        let z = TensorSpline::new(x.clone(), y, row.repeat(x.len())).unwrap();
        let laid = Laid::new(&z);
        for y in [-110.0, -40.0, 0.0, 75.0] {
            let p = laid.at([120.0, y]);
            assert!((p[0] - 120.0).abs() < 1e-6 && (p[1] - r * (y / r).asin()).abs() < 2e-3, "{p:?}");
        }
        assert!(laid.misfit_mm(-100.0, 100.0, 90.0) < 1e-9);
    }
}
