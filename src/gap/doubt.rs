//! What the uncertainty of a gap is made of.
use crate::surface::ErrorMap;
use nalgebra::Vector3;

/// Standard uncertainties that make up that of the gap (JCGM 100, eq. 10: independent parts add by squares).
///
/// Each part counts once, and parts that a single board cannot show are in it: a bow of the whole scan (of the demo board's median of
/// 0.107 mm it makes 0.087, the noise 0.062), the tape's error, the play of the screws. Over boards planted with all of them, each by
/// its stated law, twice the uncertainty holds 98 % of the places; boards planted with noise alone lie well within it.
#[derive(Debug, Clone, PartialEq)]
pub struct GapDoubt {
    /// Of the fitted surface's heights, place by place.
    pub surface: ErrorMap,
    /// Of the scale, relative.
    pub scale_ratio: f64,
    /// Of the enclosure's place along the board and across, each, mm.
    pub placement_mm: f64,
    /// Of a registered enclosure's pose.
    pub pose: PoseDoubt,
}
/// Covariance of a pose: moves along x, y, z in mm, turns about them in radians, deck frame; all 0 for one that is given.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct PoseDoubt {
    /// Six rows of six.
    pub covariance: [[f64; 6]; 6],
}
impl PoseDoubt {
    /// Standard uncertainty along `n` of the place `p`, mm (JCGM 100, eq. 13).
    fn along(&self, p: [f64; 3], n: [f64; 3]) -> f64 {
        let turn = Vector3::from(p).cross(&Vector3::from(n));
        let j = [n[0], n[1], n[2], turn.x, turn.y, turn.z];
        let variance: f64 =
            (0..6).flat_map(|a| (0..6).map(move |b| (a, b))).map(|(a, b)| j[a] * self.covariance[a][b] * j[b]).sum();
        variance.max(0.0).sqrt()
    }
}
/// What a part that is laid by its own gaps leaves of the `surface`'s error: of a bow of the scan, `bow_mm` in the mean over the board,
/// its level and tilt are gone. Taken as a parabola, the rest over a share `ratio` of the length is as that square of it. The bow of
/// the part's own scan, `part_bow_mm` in the mean over the part, comes on top.
pub(crate) fn surface_under(surface: &ErrorMap, bow_mm: f64, ratio: f64, part_bow_mm: f64) -> ErrorMap {
    surface.with_part(bow_mm, (bow_mm * ratio * ratio).hypot(part_bow_mm))
}
impl GapDoubt {
    /// No doubt at all: the gaps of bare geometry.
    pub fn none() -> Self {
        let surface = ErrorMap::constant([-1.0, -1.0], [1.0, 1.0], 0.0);
        Self { surface, scale_ratio: 0.0, placement_mm: 0.0, pose: PoseDoubt::default() }
    }
    /// Standard uncertainty of the `gap` at `p` (mm, deck frame, the scale's fixed point at the origin) where the deck's normal
    /// is `n`: the surface's height is off by its error at the normal's foot, a change of scale moves the surface by p . n, a
    /// sideways move of the rim changes the gap by the slope.
    pub(super) fn at(&self, p: [f64; 3], n: [f64; 3], gap: f64) -> f64 {
        let surface = self.surface.at(p[0] - gap * n[0], p[1] - gap * n[1]) * n[2];
        let scale = self.scale_ratio * (p[0] * n[0] + p[1] * n[1] + p[2] * n[2]);
        surface.hypot(scale).hypot(self.placement_mm * n[0].hypot(n[1])).hypot(self.pose.along(p, n))
    }
}
/// Play of a screw's hole sets where the enclosure sits: M4 in a medium hole (ISO 273: 4.5 mm) has 0.25 mm to either side,
/// rectangular (JCGM 100).
pub(crate) const PLACEMENT_MM: f64 = 0.25 / 1.732_050_8;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;
    /// JCGM 100, eq. 10: independent parts add by squares. On a flat deck neither scale nor a sideways move changes a gap at
    /// height 0.
    #[test]
    fn uncertainty_adds_by_squares() {
        let surface = ErrorMap::constant([-300.0, -100.0], [300.0, 100.0], 0.3);
        let mut d = GapDoubt { surface, scale_ratio: 0.004, placement_mm: 0.1, pose: PoseDoubt::default() };
        assert!((d.at([200.0, 50.0, 0.0], [0.0, 0.0, 1.0], 2.0) - 0.3).abs() < 1e-15);
        let n = [0.6, 0.0, 0.8];
        let want = ((0.3_f64 * 0.8).powi(2) + (0.004_f64 * 100.0 * 0.6).powi(2) + (0.1_f64 * 0.6).powi(2)).sqrt();
        assert!((d.at([100.0, 9.0, 0.0], n, 2.0) - want).abs() < 1e-12);
        // a height known to 0.2 mm and a turn about the width known to 0.001, 100 mm away from it
        d.pose.covariance[2][2] = 0.04;
        d.pose.covariance[4][4] = 1e-6;
        let flat = d.at([100.0, 0.0, 0.0], [0.0, 0.0, 1.0], 2.0);
        assert!((flat - (0.09_f64 + 0.04 + 0.01).sqrt()).abs() < 1e-12, "{flat}");
    }
    /// A parabola b (u^2 - 1/3) over u from -1 to 1 has the mean square 4 b^2 / 45; between -1/2 and 1/2, with the mean there taken off,
    /// its sixteenth. The noise of 0.05 mm beside it stays.
    #[test]
    fn a_short_part_hardly_sees_the_bow() {
        let mean_square = |half: f64| {
            let places = (-500..=500).map(|i| half * f64::from(i) / 500.0);
            let mean = places.clone().map(|u| u * u).sum::<f64>() / 1001.0;
            places.map(|u| (u * u - mean).powi(2)).sum::<f64>() / 1001.0
        };
        assert!((mean_square(1.0) - 4.0 / 45.0).abs() < 1e-3);
        let left = (mean_square(0.5) / mean_square(1.0)).sqrt();
        let board = ErrorMap::constant([-300.0, -100.0], [300.0, 100.0], 0.05_f64.hypot(0.09));
        let got = surface_under(&board, 0.09, 0.5, 0.0).at(10.0, 20.0);
        assert!((got - 0.05_f64.hypot(0.09 * left)).abs() < 1e-9, "{got}");
        let scanned = surface_under(&board, 0.09, 0.5, 0.03).at(10.0, 20.0);
        assert!((scanned - got.hypot(0.03)).abs() < 1e-9 && surface_under(&board, 0.2, 0.0, 0.0).at(0.0, 0.0) == 0.0);
    }
    /// A surface known worse towards one end makes the gap there as much worse, read at the normal's foot.
    #[test]
    fn the_surfaces_error_counts_where_the_gap_is() {
        let rising = |x: f64| 0.5 + x / 1000.0;
        let knots = |a: f64| Knots::uniform(1, 1, -a, a);
        let surface = ErrorMap::filled(&knots(300.0), &knots(100.0), |x, _| rising(x));
        let d = GapDoubt { surface, ..GapDoubt::none() };
        for x in [-200.0, 0.0, 150.0] {
            assert!((d.at([x, 20.0, 5.0], [0.0, 0.0, 1.0], 5.0) - rising(x)).abs() < 1e-12, "{x}");
        }
        let n = [0.6, 0.0, 0.8];
        assert!((d.at([100.0, 0.0, 0.0], n, 10.0) - 0.8 * rising(94.0)).abs() < 1e-12);
    }
}
