//! The deck's solid with more holes than its own: those that screws go through.
use super::details::{LEAST_WEB_MM, sight_along};
use super::{CHORD_MM, Deck};
use crate::geom::{Brep, plan};

/// A round hole straight through the deck.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Bore {
    /// Where its axis meets the underside in plan, mm.
    pub at_mm: [f64; 2],
    /// Unit vector along its axis, out of the underside.
    pub axis: [f64; 3],
    /// Diameter, mm.
    pub diameter_mm: f64,
}
impl Deck {
    /// The closed solid with these holes besides its own, called `screw hole 1` and so on. `None` where one comes within
    /// a millimetre of the rail or of another hole.
    pub fn drilled(&self, bores: &[Bore]) -> Option<Brep> {
        let outline = self.outline_polygon();
        let mut taken = self.hole_places();
        let mut solid = Brep { name: "deck-drilled".into(), ..self.solid.clone() };
        for (i, b) in bores.iter().enumerate() {
            // along a leaning axis the top is met further on
            let deep = self.thickness_mm / b.axis[2];
            let ends = [0.0, deep].map(|t| [0, 1].map(|k| b.at_mm[k] - t * b.axis[k]));
            let web = |p: [f64; 2]| -outline.signed_distance(p) - b.diameter_mm / 2.0 - self.details.rail_radius_mm;
            let between =
                |(q, d): &([f64; 2], f64)| (b.at_mm[0] - q[0]).hypot(b.at_mm[1] - q[1]) - (b.diameter_mm + d) / 2.0;
            let least = ends.map(web).into_iter().chain(taken.iter().map(between)).fold(f64::INFINITY, f64::min);
            if !(least >= LEAST_WEB_MM) {
                return None;
            }
            let sight = sight_along(&self.underside, b.at_mm, b.axis);
            let drawing = plan::circle([0.0; 2], b.diameter_mm / 2.0);
            solid.pierce(&format!("screw hole {}", i + 1), [0, 1], &sight, &drawing, b.at_mm)?;
            taken.push((b.at_mm, b.diameter_mm));
        }
        (solid.faults().is_empty() && solid.mesh(CHORD_MM).is_some()).then_some(solid)
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{WIDTH, cambered, ellipse};
    use super::*;
    use crate::deck::make_deck;
    use crate::geom::SurfaceForm;
    use std::f64::consts::PI;

    /// An upright and a leaning hole in a bent deck take out cylinders as long as the deck is thick along them, and are found
    /// again by axis and radius; holes that come too near to each other or to the rail are none.
    #[test]
    fn bolts_take_out_cylinders_with_their_axis() {
        let deck = make_deck(&cambered(600.0), &ellipse(), 11.0).unwrap().value;
        let leaning = deck.underside.normal(60.0, 20.0);
        let bores = [([-60.0, 10.0], [0.0, 0.0, 1.0]), ([60.0, 20.0], leaning)].map(|(at_mm, axis)| Bore {
            at_mm,
            axis,
            diameter_mm: 4.5,
        });
        let solid = deck.drilled(&bores).unwrap();
        let taken = deck.solid().measure().volume_mm3 - solid.measure().volume_mm3;
        // upright the deck is thicker: the normal leans by asin(60 / 600) there
        let upright = 11.0 / (1.0 - 0.01_f64).sqrt();
        let want = PI * 2.25 * 2.25 * (11.0 + upright);
        assert!((taken / want - 1.0).abs() < 2e-3, "{taken} {want}");
        let made = solid.analytic();
        assert_eq!(made.faults(), Vec::<String>::new());
        for (i, b) in bores.iter().enumerate() {
            let name = format!("screw hole {}", i + 1);
            let of_it: Vec<_> = made.faces.iter().filter(|f| f.name == name).collect();
            assert_eq!(of_it.len(), 2);
            for f in of_it {
                let SurfaceForm::Cylinder(at, radius) = &f.form else { panic!("{name} is no cylinder") };
                let along: f64 = (0..3).map(|k| at.axis[k] * b.axis[k]).sum();
                assert!(*radius == 2.25 && (along.abs() - 1.0).abs() < 1e-8, "{name} {radius} {along}");
            }
        }
        let twice = [bores[0], Bore { at_mm: [-57.0, 10.0], ..bores[0] }];
        assert!(deck.drilled(&twice).is_none());
        assert!(deck.drilled(&[Bore { at_mm: [0.0, WIDTH / 2.0 - 2.0], ..bores[0] }]).is_none());
    }
}
