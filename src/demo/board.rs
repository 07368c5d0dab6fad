//! A board by formula.
use crate::geom::Polygon;

/// A board: superellipse ends, circular concave, parabolic camber, kicks that rise as circular arcs.
#[derive(Debug, Clone, PartialEq)]
pub struct PlantedBoard {
    /// Nose to tail in plan, mm.
    pub length_mm: f64,
    /// At the widest place, mm.
    pub width_mm: f64,
    /// How much narrower per side the middle is, mm.
    pub waist_mm: f64,
    /// How far the centre of the underside stands above the rails at mid length, mm.
    pub concave_mm: f64,
    /// How far mid length lies below (+) the trucks, underside up, mm.
    pub camber_mm: f64,
    /// Tilt of the ends, degrees, towards the top side.
    pub kick_deg: f64,
    /// Length of each end over which it bends, mm.
    pub kick_length_mm: f64,
}
impl PlantedBoard {
    /// Half the width at `x`.
    pub fn half_width(&self, x: f64) -> f64 {
        let t = (2.0 * x / self.length_mm).clamp(-1.0, 1.0);
        // widest where the waist's cosine ends, three fifths of the way out
        let waist = self.waist_mm * 0.5 * (1.0 + (std::f64::consts::PI * (t.abs() / 0.6).min(1.0)).cos());
        let nose = if t > 0.0 { 2.6 } else { 3.2 };
        let end = ((t.abs() - 0.6) / 0.4).max(0.0);
        (self.width_mm / 2.0 - waist) * (1.0 - end.powf(nose)).max(0.0).powf(1.0 / nose)
    }
    /// The underside's height.
    pub fn height(&self, x: f64, y: f64) -> f64 {
        let half = self.length_mm / 2.0;
        let s = (x.abs() - (half - self.kick_length_mm)).max(0.0);
        let slope = self.kick_deg.to_radians().tan();
        // the slope grows linearly over the first half of the kick, then stays
        let bend = self.kick_length_mm / 2.0;
        let kick = if s < bend { slope * s * s / (2.0 * bend) } else { slope * (s - bend / 2.0) };
        let v = 2.0 * y / self.width_mm;
        let fade = 1.0 / (1.0 + (s / bend).powi(2));
        -self.concave_mm * v * v * fade + self.camber_mm * ((x / half).powi(2) - 0.3) - kick
    }
    /// The outline, counter-clockwise.
    pub fn outline(&self, n: usize) -> Polygon {
        let half = self.length_mm / 2.0;
        let points = (0..n)
            .map(|i| {
                let a = i as f64 / n as f64 * std::f64::consts::TAU;
                let x = half * a.cos();
                [x, self.half_width(x) * a.sin().signum()]
            })
            .collect();
        Polygon { points }
    }
}
