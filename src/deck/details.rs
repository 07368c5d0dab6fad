//! What the deck's solid carries where it is known: rounded rails and truck holes.
use super::Deck;
use crate::error::{Error, Result, Stage, Warning};
use crate::frame::{Tape, tape_sd_mm};
use crate::geom::{Brep, RoundFault, Sight, plan, rounded_slab, trim};
use crate::num::TensorSpline;
use nalgebra::Vector3;

/// Rails and holes of the deck's solid; the default is a square rail and no hole.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct DeckDetails {
    /// Radius of the rounds between rail and faces, mm; 0 leaves the rail square.
    pub rail_radius_mm: f64,
    /// Holes through the deck.
    pub holes: Vec<DeckHole>,
}
/// Holes for one truck, or a single one, drilled along the deck's normal at their middle.
#[derive(Debug, Clone, PartialEq)]
pub struct DeckHole {
    /// The middle in plan, along the board and across, mm.
    pub at_mm: [f64; 2],
    /// Between the holes along the board and across, mm; 0 x 0 is a single hole.
    pub pattern_mm: [f64; 2],
    /// Diameter, mm.
    pub diameter_mm: f64,
}

/// Flat of the rail below which the rounds take half the thickness as their radius instead, mm: a lower strip is seen by
/// nobody and makes triangles of no use.
const LEAST_FLAT_MM: f64 = 0.5;
/// Least material between a hole and the rail's round, or another hole, mm: less than any truck leaves, and more than the
/// fit's tolerances can close.
pub(super) const LEAST_WEB_MM: f64 = 1.0;

fn fail(message: String, hint: &str) -> Error {
    Error::new(Stage::Deck, message).hint(hint)
}

/// The plane through the place of `z` in plan that is square to the unit vector `axis`, x along the board.
pub(super) fn sight_along(z: &TensorSpline, [x, y]: [f64; 2], axis: [f64; 3]) -> Sight {
    let n = Vector3::from(axis);
    let right = (Vector3::x() - n * n.x).normalize();
    Sight { origin: [x, y, z.at(x, y)], right: right.into(), up: n.cross(&right).into() }
}

impl DeckHole {
    /// The plane of the truck's baseplate: lines of sight along the normal of `z` at the middle, x along the board.
    fn sight(&self, z: &TensorSpline) -> Sight {
        let [x, y] = self.at_mm;
        sight_along(z, self.at_mm, z.normal(x, y))
    }
    /// Middles of the holes on the baseplate, mm.
    fn middles(&self) -> Vec<[f64; 2]> {
        let [a, b] = self.pattern_mm.map(|p| p / 2.0);
        if a == 0.0 && b == 0.0 { vec![[0.0; 2]] } else { vec![[a, b], [-a, b], [-a, -b], [a, -b]] }
    }
    /// Where the holes' middles lie on the underside in plan, and where they leave the top `thickness` away.
    fn places(&self, z: &TensorSpline, thickness: f64) -> [Vec<[f64; 2]>; 2] {
        let sight = self.sight(z);
        let (right, up) = (Vector3::from(sight.right), Vector3::from(sight.up));
        let n = right.cross(&up);
        let on: Vec<Vector3<f64>> = (self.middles().iter())
            .map(|m| {
                let p = Vector3::from(sight.origin) + right * m[0] + up * m[1];
                // along the normal from the baseplate onto the deck: one step is exact to the square of their distance
                p + n * ((z.at(p.x, p.y) - p.z) * n.z)
            })
            .collect();
        [0.0, thickness].map(|t| on.iter().map(|p| [p.x - t * n.x, p.y - t * n.y]).collect())
    }
}

impl DeckDetails {
    /// A warning where the two trucks' holes lie otherwise than the wheelbase read with the tape. Their places are chosen in mm, so that
    /// they tell nothing of the scan's size.
    pub(crate) fn beside(&self, tape: &Tape) -> Option<Warning> {
        let mut trucks = self.holes.iter().filter(|h| h.pattern_mm != [0.0; 2]);
        let (a, b) = (trucks.next()?.at_mm, trucks.next()?.at_mm);
        let (given, read) = ((a[0] - b[0]).hypot(a[1] - b[1]), tape.wheelbase_mm?);
        // three readings of one tape: both places and the wheelbase
        let most = 2.0 * 3f64.sqrt() * tape_sd_mm(tape);
        (trucks.next().is_none() && (given - read).abs() > most).then(|| {
            Warning::new(
                Stage::Deck,
                format!(
                    "the holes of deck.hole are {given:.1} mm apart, tape.wheelbase is {read:.1} mm: {most:.1} mm is the most that \
                     their readings may differ"
                ),
                "measure the holes' places again: the deck is drilled where deck.hole says",
            )
        })
    }
}

impl Deck {
    /// The same deck with these details on its solid.
    ///
    /// # Errors
    /// A radius above half the thickness, or one that the outline or the faces do not allow; holes too near to each other or
    /// to the rail.
    pub fn with_details(mut self, details: DeckDetails) -> Result<Self> {
        self.solid = self.rounded(details.rail_radius_mm)?;
        self.check_holes(&details)?;
        let mut number = 0;
        for h in &details.holes {
            let sight = h.sight(&self.underside);
            for m in h.middles() {
                number += 1;
                let drawing = plan::circle(m, h.diameter_mm / 2.0);
                self.solid.pierce(&format!("hole {number}"), [0, 1], &sight, &drawing, h.at_mm).ok_or_else(|| {
                    let [x, y] = h.at_mm;
                    fail(
                        format!("the holes about x = {x:.1} mm, y = {y:.1} mm do not go through the deck"),
                        "check deck.hole.at",
                    )
                })?;
            }
        }
        if let Some(first) = self.solid.faults().first() {
            return Err(fail(
                format!("the deck is not sound with rounded rails or holes: {first}"),
                "make deck.rail_radius smaller",
            ));
        }
        self.details = details;
        Ok(self)
    }
    fn rounded(&self, radius: f64) -> Result<Brep> {
        let t = self.thickness_mm;
        if radius == 0.0 {
            return Ok(trim::slab("deck", &self.underside, &self.top, &self.outline, super::FACES));
        }
        if !(radius > 0.0 && radius <= t / 2.0) {
            return Err(fail(
                format!("the rail's radius is {radius} mm, it must be 0 mm to {} mm, half the thickness", t / 2.0),
                "check deck.rail_radius and deck.thickness",
            ));
        }
        let radius = if t - 2.0 * radius < LEAST_FLAT_MM { t / 2.0 } else { radius };
        rounded_slab("deck", &self.underside, &self.top, &self.outline, radius, super::FACES).map_err(|f| {
            let what = match f {
                RoundFault::Outline => "the outline bends too sharply",
                RoundFault::Faces => "the faces bend too sharply",
            };
            fail(format!("{what} for rails rounded with {radius} mm"), "make deck.rail_radius smaller")
        })
    }
    fn check_holes(&self, details: &DeckDetails) -> Result<()> {
        let outline = self.outline_polygon();
        let mut all: Vec<([f64; 2], f64)> = Vec::new();
        for h in &details.holes {
            let radius = h.diameter_mm / 2.0;
            let [under, top] = h.places(&self.underside, self.thickness_mm);
            for (i, p) in under.iter().enumerate() {
                let web = [*p, top[i]].map(|q| -outline.signed_distance(q) - radius - details.rail_radius_mm);
                let between = (all.iter())
                    .map(|(q, r)| (p[0] - q[0]).hypot(p[1] - q[1]) - radius - r)
                    .fold(f64::INFINITY, f64::min);
                let least = web[0].min(web[1]).min(between);
                if !(least >= LEAST_WEB_MM && radius > 0.0) {
                    return Err(fail(
                        format!(
                            "a hole of {:.1} mm at x = {:.1} mm, y = {:.1} mm leaves {least:.1} mm to the rail or the next hole, the limit is {LEAST_WEB_MM} mm",
                            h.diameter_mm, p[0], p[1]
                        ),
                        "check deck.hole.at and .pattern: mm from the middle of the board, x towards the nose",
                    ));
                }
                all.push((*p, radius));
            }
        }
        Ok(())
    }
    /// Every hole's middle on the underside, in plan, and its diameter, mm.
    pub fn hole_places(&self) -> Vec<([f64; 2], f64)> {
        let of = |h: &DeckHole| h.places(&self.underside, self.thickness_mm)[0].clone();
        self.details.holes.iter().flat_map(|h| of(h).into_iter().map(|p| (p, h.diameter_mm))).collect()
    }
    /// Whether the solid is more than two faces and a square rail.
    pub(super) fn is_plain(&self) -> bool {
        self.details == DeckDetails::default()
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::{LENGTH, WIDTH, cambered, ellipse};
    use super::*;
    use crate::deck::make_deck;
    use crate::num::Knots;
    use std::f64::consts::PI;

    fn flat() -> Deck {
        let z =
            TensorSpline::new(Knots::uniform(3, 1, -210.0, 210.0), Knots::uniform(3, 1, -70.0, 70.0), vec![2.0; 16]);
        make_deck(&z.unwrap(), &ellipse(), 11.0).unwrap().value
    }
    /// The pattern of common trucks with 63.5 x 41.3 mm (common practice, no source).
    fn trucks() -> Vec<DeckHole> {
        let pattern_mm = [63.5, 41.275];
        [-130.0, 130.0].map(|x| DeckHole { at_mm: [x, 0.0], pattern_mm, diameter_mm: 5.5 }).to_vec()
    }
    /// Eight round holes through a flat plate take out eight cylinders.
    #[test]
    fn holes_take_out_cylinders() {
        let plain = flat().solid().measure();
        let deck = flat().with_details(DeckDetails { rail_radius_mm: 0.0, holes: trucks() }).unwrap();
        let one = PI * 2.75 * 2.75;
        let bored = deck.solid().measure();
        assert!(((plain.volume_mm3 - bored.volume_mm3) / (8.0 * one * 11.0) - 1.0).abs() < 1e-3);
        let area = 8.0 * (PI * 5.5 * 11.0 - 2.0 * one);
        assert!(((bored.area_mm2 - plain.area_mm2) / area - 1.0).abs() < 1e-3);
        assert_eq!(deck.hole_places().len(), 8);
        assert!((deck.hole_places()[0].0[0] - (-130.0 + 31.75)).abs() < 1e-9);
    }
    /// Rounds, holes and a bent deck at once; mesh and solid are two ways to the same volume, and the triangles of the rounds
    /// are no slivers.
    #[test]
    fn the_mesh_of_a_detailed_deck_is_closed_and_agrees_with_its_solid() {
        for radius in [3.0, 5.3] {
            let bent = make_deck(&cambered(600.0), &ellipse(), 11.0).unwrap().value;
            let deck = bent.with_details(DeckDetails { rail_radius_mm: radius, holes: trucks() }).unwrap();
            assert_eq!(deck.solid().faults(), Vec::<String>::new());
            let (mesh, exact) = (deck.mesh().unwrap(), deck.solid().measure());
            assert!(mesh.open_edges().is_empty());
            assert!((mesh.volume() / exact.volume_mm3 - 1.0).abs() < 1e-3, "{} {}", mesh.volume(), exact.volume_mm3);
            assert!((mesh.area() / exact.area_mm2 - 1.0).abs() < 1e-3);
            assert!(mesh.triangles.len() < 40_000, "{}", mesh.triangles.len());
        }
    }
    #[test]
    fn what_does_not_fit_is_refused() {
        let round = |r| flat().with_details(DeckDetails { rail_radius_mm: r, holes: vec![] });
        for (r, word) in [(5.6, "5.5 mm, half"), (-1.0, "0 mm"), (f64::NAN, "NaN")] {
            let e = round(r).unwrap_err();
            assert!(e.message().contains(word), "{e}");
        }
        let hole = |x: f64, y: f64, d: f64| {
            let holes = vec![DeckHole { at_mm: [x, y], pattern_mm: [0.0; 2], diameter_mm: d }];
            flat().with_details(DeckDetails { rail_radius_mm: 2.0, holes })
        };
        assert!(hole(0.0, 0.0, 8.0).is_ok());
        for (x, y, d) in [(0.0, WIDTH / 2.0 - 5.0, 5.5), (LENGTH, 0.0, 5.5), (0.0, 0.0, 0.0), (0.0, 0.0, f64::NAN)] {
            assert_eq!(hole(x, y, d).unwrap_err().stage(), Stage::Deck, "{x} {y} {d}");
        }
        let mut twice = trucks();
        twice[1].at_mm[0] = -126.0;
        assert!(flat().with_details(DeckDetails { rail_radius_mm: 0.0, holes: twice }).is_err());
    }
}
