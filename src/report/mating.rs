//! The mating face in figures.
use crate::mating::{EnclosureSpec, MatingFace, Room, rooms};
use crate::pipeline::Reconstruction;
use serde::Serialize;

/// The mating face's part of the report.
#[derive(Debug, Clone, Serialize)]
pub struct MatingSection {
    /// Distance of the face from the deck along the normal: the squeezed gasket, mm.
    pub standoff_mm: f64,
    /// Free thickness of the gasket, mm.
    pub gasket_mm: f64,
    /// 1 - gap / free thickness.
    pub squeeze_ratio: f64,
    /// What the scale's standard uncertainty means at the rim: how far an end of it lies along the board from where it should, mm.
    pub scale_uncertainty_along_mm: f64,
    /// Room to what stands on the deck in the scan, to trucks by their holes and to kicks.
    pub rooms: Vec<Room>,
    /// And how far the deck's face is off in height there, where the rim is seated in its middle, mm.
    pub scale_uncertainty_height_mm: f64,
}
impl MatingSection {
    pub(super) fn new(m: &MatingFace, e: &EnclosureSpec, rec: &Reconstruction) -> Self {
        let relative = rec.scale.standard_uncertainty / rec.scale.mm_per_unit;
        let rim = &m.footprint.outer_polygon;
        let (lo, hi) = rim.bounds();
        // a face scaled by 1 + u about the rim's middle differs from itself by u (z - x z_x - y z_y), heights from the middle's
        let [x, y] = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
        let z = &rec.deck.underside;
        let off = |p: &[f64; 2]| {
            let [h, p_x, p_y] = z.slopes(p[0], p[1]);
            h - z.at(x, y) - (p[0] - x) * p_x - (p[1] - y) * p_y
        };
        let (low, high) = rim.points.iter().map(off).fold((0f64, 0f64), |(l, h), v| (l.min(v), h.max(v)));
        Self {
            standoff_mm: m.standoff_mm,
            rooms: rooms(&rec.keep_outs, rim),
            gasket_mm: e.gasket_mm,
            squeeze_ratio: e.squeeze_ratio,
            scale_uncertainty_along_mm: relative * (hi[0] - lo[0]) / 2.0,
            scale_uncertainty_height_mm: relative * (high - low),
        }
    }
}
