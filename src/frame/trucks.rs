//! Where the trucks sit: the plates seen standing over the underside.
use crate::num::quantile;
use nalgebra::Point3;

/// Plates are looked for between these heights over the underside, as shares of the width: clear of the sheet's
/// own slab (0.013), some 4 mm, and below the hanger (common practice, no source: 5 to 8 mm of plate on 0 to 15 mm of riser).
const HEIGHT: [f64; 2] = [0.017, 0.11];
/// And within this share of the width from the middle line, where no wheel reaches.
const ACROSS: f64 = 0.25;
/// Lengths of plates, mm (common practice, no source), a tenth wider for the first scale.
const PLATE_MM: [f64; 2] = [58.0, 132.0];
/// Points farther apart than this along the board, as a share of the width, belong to different things: trucks stand a hand apart.
const GAP: f64 = 0.15;
/// Fewest points that show both ends of a plate.
const FEWEST_POINTS: usize = 20;
/// A plate's holes are not always in its middle, mm: six-hole plates take two patterns, 9.5 mm different in length, at the same end
/// (common practice, no source). Both trucks are turned against one another, so that it counts twice.
const OFF_MIDDLE_MM: f64 = 9.5 / 2.0;

/// From the middle of one truck's plate to the other's.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TruckSpan {
    /// In the points' unit.
    pub apart: f64,
    /// Standard uncertainty as a distance between holes, mm.
    pub sd_mm: f64,
}
/// The span between two truck plates among points with their heights over the underside, in mm of a first scale of a board `width` wide;
/// `None` where there are not two things like plates, and nothing else of that height.
pub(super) fn truck_span(standing: &[(Point3<f64>, f64)], width: f64, spacing: f64) -> Option<TruckSpan> {
    let mut x: Vec<f64> = standing
        .iter()
        .filter(|(p, h)| *h > HEIGHT[0] * width && *h < HEIGHT[1] * width && p.y.abs() < ACROSS * width)
        .map(|(p, _)| p.x)
        .collect();
    x.sort_by(f64::total_cmp);
    let groups: Vec<&[f64]> = x.chunk_by(|a, b| b - a < GAP * width).filter(|g| g.len() >= FEWEST_POINTS).collect();
    let [rear, front] = groups[..] else { return None };
    let middle = |g: &[f64]| {
        // a stray or two at either end are no plate
        let (a, b) = (quantile(g, 0.01), quantile(g, 0.99));
        (PLATE_MM[0]..=PLATE_MM[1]).contains(&(b - a)).then_some((a + b) / 2.0)
    };
    // each of four ends is seen to a spacing either way; holes off the middle are so on both: rectangular laws (GUM 4.3.7)
    let sd_mm = (2.0 * OFF_MIDDLE_MM).hypot(spacing) / 3f64.sqrt();
    Some(TruckSpan { apart: middle(front)? - middle(rear)?, sd_mm })
}

#[cfg(test)]
mod tests {
    use super::*;
    fn plate(x: f64, length: f64) -> Vec<(Point3<f64>, f64)> {
        let at = |i: usize, j: usize| Point3::new(x + length * (i as f64 / 20.0 - 0.5), 5.0 * j as f64 - 25.0, 9.0);
        (0..=20).flat_map(|i| (0..=10).map(move |j| (at(i, j), 9.0))).collect()
    }
    #[test]
    fn two_plates_give_their_distance() {
        let mut seen = plate(-240.0, 85.0);
        seen.extend(plate(252.0, 85.0));
        // a hanger over it and a wheel beside it
        seen.extend([(Point3::new(-150.0, 0.0, 50.0), 50.0), (Point3::new(-150.0, 90.0, 5.0), 5.0)]);
        let span = truck_span(&seen, 210.0, 2.0).unwrap();
        assert!((span.apart - 492.0).abs() < 2.0 && span.sd_mm > 5.0, "{span:?}");
    }
    #[test]
    fn what_is_not_two_plates_is_nothing() {
        assert!(truck_span(&[], 210.0, 2.0).is_none());
        assert!(truck_span(&plate(-240.0, 85.0), 210.0, 2.0).is_none());
        // a box that lies on the deck
        let mut three = plate(-240.0, 85.0);
        three.extend(plate(252.0, 85.0));
        three.extend(plate(0.0, 120.0));
        assert!(truck_span(&three, 210.0, 2.0).is_none());
        let mut long = plate(-240.0, 85.0);
        long.extend(plate(200.0, 300.0));
        assert!(truck_span(&long, 210.0, 2.0).is_none());
    }
}
