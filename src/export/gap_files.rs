//! Gap maps as table and coloured points.
use crate::gap::GapMap;
use std::fmt::Write;

/// Colour for a place in 0..=1 on a ramp from dark blue over grey to yellow: lightness rises evenly, so it reads in grey
/// and for colour-blind readers.
pub(super) fn ramp(t: f64) -> [u8; 3] {
    const STOPS: [[f64; 3]; 3] = [[0.0, 32.0, 96.0], [124.0, 123.0, 120.0], [255.0, 233.0, 69.0]];
    let t = t.clamp(0.0, 1.0) * 2.0;
    let i = (t as usize).min(1);
    std::array::from_fn(|k| (STOPS[i][k] + (STOPS[i + 1][k] - STOPS[i][k]) * (t - i as f64)).round() as u8)
}
/// Clashes stand out from the ramp.
pub(super) const CLASH: [u8; 3] = [213, 94, 0];

pub(super) fn colour(gap: f64, most: f64) -> [u8; 3] {
    if gap < 0.0 { CLASH } else { ramp(gap / most) }
}
pub(super) fn most(map: &GapMap) -> f64 {
    map.summary.greatest_mm.max(1.0).ceil()
}

/// `x_mm,y_mm,z_mm,gap_mm,standard_uncertainty_mm`, one line a sample.
pub fn gap_csv(map: &GapMap) -> Vec<u8> {
    let mut o = String::from("x_mm,y_mm,z_mm,gap_mm,standard_uncertainty_mm\n");
    for s in &map.samples {
        let [x, y, z] = s.at;
        let _ = writeln!(o, "{x:.3},{y:.3},{z:.3},{:.4},{:.4}", s.gap_mm, s.standard_uncertainty_mm);
    }
    o.into_bytes()
}
/// The samples as a coloured cloud with the gap as a property.
pub fn gap_ply(map: &GapMap) -> Vec<u8> {
    let mut o = format!(
        "ply\nformat binary_little_endian 1.0\ncomment lengths in mm\nelement vertex {}\nproperty double x\nproperty double y\nproperty double z\nproperty double gap_mm\nproperty uchar red\nproperty uchar green\nproperty uchar blue\nend_header\n",
        map.samples.len()
    )
    .into_bytes();
    for s in &map.samples {
        for v in [s.at[0], s.at[1], s.at[2], s.gap_mm] {
            o.extend(v.to_le_bytes());
        }
        o.extend(colour(s.gap_mm, most(map)));
    }
    o
}
