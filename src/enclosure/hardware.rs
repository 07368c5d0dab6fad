//! What holds an enclosure on its deck, in the sizes that are sold.
use super::{Enclosure, Screw, ScrewSize};
use crate::deck::Deck;
use crate::num::TensorSpline;

/// Nominal lengths of socket head screws of 3 to 6 mm, mm.
///
/// # References
/// ISO 4762 (values from memory).
pub(super) const LENGTHS_MM: [f64; 18] =
    [5.0, 6.0, 8.0, 10.0, 12.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 65.0, 70.0, 80.0];

impl ScrewSize {
    /// Its name.
    pub fn name(self) -> &'static str {
        match self {
            Self::M3 => "M3",
            Self::M4 => "M4",
            Self::M5 => "M5",
            Self::M6 => "M6",
        }
    }
    /// Lengths under the head in which it is sold, mm.
    ///
    /// # References
    /// ISO 4762, preferred lengths (values from memory).
    pub fn lengths_mm(self) -> &'static [f64] {
        match self {
            Self::M3 => &LENGTHS_MM[..9],
            Self::M4 => &LENGTHS_MM[1..11],
            Self::M5 => &LENGTHS_MM[2..13],
            Self::M6 => &LENGTHS_MM[3..15],
        }
    }
    /// Diameter and height of a socket head, mm.
    ///
    /// # References
    /// ISO 4762 (plain heads, greatest sizes; values from memory).
    pub fn head_mm(self) -> [f64; 2] {
        match self {
            Self::M3 => [5.5, 3.0],
            Self::M4 => [7.0, 4.0],
            Self::M5 => [8.5, 5.0],
            Self::M6 => [10.0, 6.0],
        }
    }
    /// Height of a plain nut, mm.
    ///
    /// # References
    /// ISO 4032 (greatest sizes; values from memory).
    pub fn nut_mm(self) -> f64 {
        match self {
            Self::M3 => 2.4,
            Self::M4 => 3.2,
            Self::M5 => 4.7,
            Self::M6 => 5.2,
        }
    }
    /// Thickness of a plain washer, mm.
    ///
    /// # References
    /// ISO 7089 (normal series; values from memory).
    pub fn washer_thickness_mm(self) -> f64 {
        match self {
            Self::M3 => 0.5,
            Self::M4 => 0.8,
            Self::M5 => 1.0,
            Self::M6 => 1.6,
        }
    }
    /// Greatest height of a lock nut, mm.
    ///
    /// # References
    /// ISO 7040 (values from memory).
    pub fn lock_nut_mm(self) -> f64 {
        match self {
            Self::M3 => 4.5,
            Self::M4 => 6.0,
            Self::M5 => 6.8,
            Self::M6 => 8.0,
        }
    }
    /// Pitch of the coarse thread, mm.
    ///
    /// # References
    /// ISO 261.
    pub fn thread_pitch_mm(self) -> f64 {
        match self {
            Self::M3 => 0.5,
            Self::M4 => 0.7,
            Self::M5 => 0.8,
            Self::M6 => 1.0,
        }
    }
}

/// Threads of a bolt that stand out of its nut (common practice, no source: one to three).
const THREADS_OUT: f64 = 2.0;
/// Steps in which a hole's way to the flange's back is found: the back is nearly level, and each step takes its slope off.
const STEPS: usize = 20;

/// Screws, washers and nuts of an enclosure, and the gasket's strip.
#[derive(Debug, Clone, PartialEq)]
pub struct Hardware {
    /// Size of the screws.
    pub size: ScrewSize,
    /// How many.
    pub screws: usize,
    /// From the deck's underside to the flange's back along a hole, least and most, mm, the gasket squeezed as drawn.
    pub grip_mm: [f64; 2],
    /// The shortest length that is sold and long enough, mm; none where no screw of the size is.
    pub length_mm: Option<f64>,
    /// What a screw must be long at least, mm.
    pub least_mm: f64,
    /// Washers on each screw: of a bolt one under its head and one under its nut, of a screw into an insert as many as keep it
    /// from the ground of its hole.
    pub washers: usize,
    /// Length of the gasket's strip round the rim, along its middle, mm, in plan.
    pub strip_length_mm: f64,
}
impl Hardware {
    /// Of `e` on `deck`.
    pub fn of(deck: &Deck, e: &Enclosure) -> Self {
        let size = e.screw_size;
        let grips: Vec<f64> = e.screws.iter().map(|s| grip_mm(s, &e.shell.back)).collect();
        let grip_mm = [grips.iter().copied().fold(f64::INFINITY, f64::min), grips.iter().copied().fold(0.0, f64::max)];
        let washer = size.washer_thickness_mm();
        let (least_mm, most_mm) = match e.insert_mm {
            // one diameter of thread holds as much as the screw does (common practice, no source), or all of a shorter insert
            Some(insert) => (grip_mm[1] + washer + size.thread_mm().min(insert), grip_mm[0] + washer + insert),
            None => {
                let out = size.lock_nut_mm() + THREADS_OUT * size.thread_pitch_mm();
                let deck_mm = e.screws.iter().map(|s| s.through_mm(deck)).fold(deck.thickness_mm, f64::max);
                (grip_mm[1] + deck_mm + 2.0 * washer + out, f64::INFINITY)
            }
        };
        let length_mm = size.lengths_mm().iter().copied().find(|l| *l >= least_mm);
        let more = length_mm.map_or(0, |l| ((l - most_mm) / washer).max(0.0).ceil() as usize);
        let borders: Vec<f64> = e.strip_borders().iter().map(|p| p.perimeter()).collect();
        Self {
            size,
            screws: e.screws.len(),
            grip_mm,
            length_mm,
            least_mm,
            washers: if e.insert_mm.is_some() { 1 + more } else { 2 },
            strip_length_mm: borders.iter().sum::<f64>() / borders.len().max(1) as f64,
        }
    }
}
/// From the deck's underside along a screw's axis to the flange's back, or to its boss, mm.
fn grip_mm(s: &Screw, back: &TensorSpline) -> f64 {
    let face = s.boss.as_ref().map_or(back, |b| &b.face);
    let [x, y, z] = s.axis;
    let mut t = 0.0;
    for _ in 0..STEPS {
        t = (face.at(s.at_mm[0] + t * x, s.at_mm[1] + t * y) - s.deck_mm) / z;
    }
    t
}

/// An order in which screws numbered round a rim are tightened: each far from those before it, so that the gasket gives way evenly.
///
/// # References
/// J. G. van der Corput, Proc. Kon. Ned. Akad. v. Wet. 38 (1935), 813: the sequence that halves the largest gaps in turn.
pub fn tightening_order(screws: usize) -> Vec<usize> {
    let mut order = Vec::with_capacity(screws);
    for i in 0..screws.next_power_of_two() {
        // its digits mirrored at the point, as a share of the way round
        let share = i.reverse_bits() as u128;
        let number = ((share * screws as u128) >> usize::BITS) as usize + 1;
        if number <= screws && !order.contains(&number) {
            order.push(number);
        }
    }
    order
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn every_screw_is_tightened_once_and_the_first_two_face_each_other() {
        for n in 0..60 {
            let order = tightening_order(n);
            let mut sorted = order.clone();
            sorted.sort_unstable();
            assert_eq!(sorted, (1..=n).collect::<Vec<_>>());
        }
        assert_eq!(tightening_order(8), [1, 5, 3, 7, 2, 6, 4, 8]);
        assert_eq!(tightening_order(10), [1, 6, 3, 8, 2, 7, 4, 9, 5, 10]);
    }
    #[test]
    fn lengths_of_a_size_rise() {
        for size in [ScrewSize::M3, ScrewSize::M4, ScrewSize::M5, ScrewSize::M6] {
            assert!(size.lengths_mm().windows(2).all(|w| w[0] < w[1]));
            assert!(size.lengths_mm().contains(&20.0) && ScrewSize::named(size.name()) == Some(size));
        }
    }
}
