//! The screws as they sit in the enclosure: where their heads rest, how long they are, their shapes.
use super::hardware::LENGTHS_MM;
use super::{Enclosure, ScrewSize};
use crate::deck::Deck;
use crate::geom::{Brep, Layer, Ring, Wall, layered, plan};
use crate::num::{Knots, TensorSpline};

/// A screw in its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SeatedScrew {
    /// Where its axis meets what its head rests on: the flange's back, or its boss; mm, deck frame.
    pub seat_mm: [f64; 3],
    /// Unit vector along its axis, from the deck to the head.
    pub axis: [f64; 3],
    /// Its nominal length, under the head, mm.
    pub length_mm: f64,
}

impl ScrewSize {
    /// A screw of this nominal length as a solid, mm: head and shank are cylinders, without socket and thread. z is its axis, the
    /// head above 0 and the shank below.
    pub fn solid(self, length_mm: f64) -> Brep {
        let ([head, height], shank) = (self.head_mm(), self.thread_mm());
        let plane = |z: f64| {
            let k = Knots::uniform(3, 1, -head, head);
            TensorSpline { x: k.clone(), y: k, c: vec![z; 16] }
        };
        let (top, under, end) = (plane(height), plane(0.0), plane(-length_mm));
        let layers = [
            Layer { name: "head", z: &top, up: true },
            Layer { name: "under the head", z: &under, up: false },
            Layer { name: "end", z: &end, up: false },
        ];
        let side = |name: &str, diameter: f64, foot: usize, head: usize| {
            let ring = |layer| Ring { layer, pieces: plan::circle([0.0; 2], diameter / 2.0) };
            Wall { name: name.into(), foot: ring(foot), head: ring(head), inside: true, breaks: vec![] }
        };
        let walls = [side("head side", head, 1, 0), side("shank", shank, 2, 1)];
        layered(&format!("screw {} x {length_mm:.0}", self.name()), &layers, &walls)
    }
}
impl Enclosure {
    /// Every screw in its place, in order round the rim, without washers: the longest usual one that an insert takes, or the shortest
    /// that reaches through the deck and a nut.
    pub fn seated_screws(&self, deck: &Deck) -> Vec<SeatedScrew> {
        let seated = |s: &super::Screw| {
            let [x, y] = s.at_mm;
            // over the deck along the axis
            let far = match &s.boss {
                Some(b) => b.face.at(x, y) - s.deck_mm,
                None if s.is_upright() => self.shell.back.at(x, y) - s.deck_mm,
                None => self.shell.back_mm(),
            };
            let least = |mm: f64| LENGTHS_MM.into_iter().find(|l| *l >= mm).unwrap_or(mm.ceil());
            let length_mm = match self.insert_mm {
                Some(insert) => LENGTHS_MM.into_iter().rfind(|l| *l <= far + insert).unwrap_or(LENGTHS_MM[0]),
                None => least(far + s.through_mm(deck) + self.screw_size.nut_mm()),
            };
            let foot = [x, y, s.deck_mm];
            SeatedScrew { seat_mm: [0, 1, 2].map(|k| foot[k] + far * s.axis[k]), axis: s.axis, length_mm }
        };
        self.screws.iter().map(seated).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::enclosure::tests::{body, made_on};
    use std::f64::consts::PI;

    /// Two cylinders on each other (elementary geometry), sound, with the head over the seat.
    #[test]
    fn a_screw_is_a_head_on_a_shank() {
        let b = ScrewSize::M4.solid(16.0);
        assert_eq!(b.faults(), Vec::<String>::new());
        assert_eq!(b.name, "screw M4 x 16");
        let want = PI * (3.5 * 3.5 * 4.0 + 2.0 * 2.0 * 16.0);
        assert!((b.measure().volume_mm3 / want - 1.0).abs() < 1e-4);
        let z = b.vertices.iter().map(|v| v[2]);
        let (low, high) = (z.clone().fold(0.0, f64::min), z.fold(0.0, f64::max));
        assert!((low + 16.0).abs() < 1e-12 && (high - 4.0).abs() < 1e-12, "{low} {high}");
    }
    /// Screws in inserts end within them, bolts through the deck beyond it and their nut; each the next usual length.
    #[test]
    fn lengths_reach_where_they_must() {
        let (deck, mut e) = made_on(900.0, &body());
        for insert in [Some(6.0), None] {
            e.insert_mm = insert;
            for (s, placed) in e.screws.iter().zip(e.seated_screws(&deck)) {
                let far = placed.seat_mm[2] - s.deck_mm;
                let [least, most] = match insert {
                    Some(mm) => [far + mm - 5.0, far + mm],
                    None => [far + deck.thickness_mm + 3.2, far + deck.thickness_mm + 3.2 + 6.0],
                };
                assert!(far > 0.0 && (least..=most).contains(&placed.length_mm), "{least} {most} {placed:?}");
            }
        }
    }
}
