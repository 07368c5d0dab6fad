//! The gasket's strip as a solid, and the deck with the holes for the screws: what lies beside the body.
use super::Enclosure;
use super::shell::STRIP_PLAY_MM;
use crate::deck::{Bore, Deck};
use crate::geom::{Brep, Layer, Ring, Wall, layered, plan};

impl Enclosure {
    /// The squeezed strip as a closed solid between the deck and what it lies on. `None` where its borders fold at a corner.
    pub fn gasket(&self, deck: &Deck) -> Option<Brep> {
        let s = &self.shell;
        let (rest, borders) = match &s.groove {
            Some(g) => {
                let [outer, inner] = &g.borders;
                (&g.floor, [plan::parallel(outer, -STRIP_PLAY_MM)?, plan::parallel(inner, STRIP_PLAY_MM)?])
            }
            None => (&s.seat, [plan::parallel(&s.wall_in[0], self.strip_mm)?, s.wall_in[0].clone()]),
        };
        let layers = [
            Layer { name: "on the deck", z: &deck.underside, up: false },
            Layer { name: "on the rim", z: rest, up: true },
        ];
        let [outer, inner] = borders;
        let side = |name: &str, pieces: Vec<_>, inside| {
            let ring = |layer| Ring { layer, pieces: pieces.clone() };
            Wall { name: name.into(), foot: ring(0), head: ring(1), inside, breaks: vec![] }
        };
        let made = layered("gasket", &layers, &[side("outside", outer, true), side("inside", inner, false)]);
        made.faults().is_empty().then_some(made)
    }
    /// The deck with a clearance hole for every bolt through it. `None` with inserts, whose holes are as wide as their maker says,
    /// and where a hole breaks out.
    pub fn drilled(&self, deck: &Deck) -> Option<Brep> {
        let bores: Vec<Bore> =
            self.screws.iter().map(|s| Bore { at_mm: s.at_mm, axis: s.axis, diameter_mm: s.hole_mm }).collect();
        if self.insert_mm.is_some() { None } else { deck.drilled(&bores) }
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{body, made_on};
    use super::super::{BodySpec, GrooveSpec, ShellSpec};
    use crate::geom::trim;

    /// Between a flat deck and a flat rim the strip is as high as the squeezed gasket, in a groove and on a plain seat; on a
    /// bent deck it is sound too.
    #[test]
    fn the_strip_fills_the_gap() {
        let grooved = BodySpec {
            shell: ShellSpec { groove: Some(GrooveSpec { strip_mm: 4.0, land_mm: 1.0 }), wall_mm: 8.0, ..body().shell },
            strip_mm: 4.0,
            ..body()
        };
        for spec in [body(), grooved] {
            let (deck, e) = made_on(f64::INFINITY, &spec);
            let strip = e.gasket(&deck).unwrap();
            let [outer, inner] = [0, 1].map(|k| trim::polygon(&ring(&strip, k), 1e-3).signed_area().abs());
            let want = (outer - inner).abs() * e.shell.standoff_mm;
            assert!((strip.measure().volume_mm3 / want - 1.0).abs() < 1e-3, "{want}");
            let (deck, e) = made_on(900.0, &spec);
            assert!(e.gasket(&deck).is_some());
        }
    }
    fn ring(b: &crate::geom::Brep, k: usize) -> Vec<crate::num::Curve<2>> {
        let mut uses = b.faces[0].loops[k].clone();
        // the curves run counter-clockwise whichever way the loop does
        if !uses[0].forward {
            uses.reverse();
        }
        uses.into_iter().map(|u| u.pcurve).collect()
    }
    /// Bolts through the deck have holes in it, inserts none.
    #[test]
    fn bolts_are_drilled_for() {
        for insert_mm in [None, Some(8.0)] {
            let mut spec = body();
            spec.screws.insert_mm = insert_mm;
            let (deck, e) = made_on(900.0, &spec);
            let drilled = e.drilled(&deck);
            assert_eq!(drilled.is_some(), insert_mm.is_none());
            if let Some(d) = drilled {
                assert_eq!(d.faces.len(), deck.solid().faces.len() + 2 * e.screws.len());
            }
        }
    }
}
