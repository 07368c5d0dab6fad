//! Reads any scan file into a [`RawCloud`] in scan units.
use nalgebra::{Point3, Vector3};

/// A scan as read: scan units, any pose. Points are finite.
#[derive(Debug, Clone, Default)]
pub struct RawCloud {
    /// Points, one per vertex, in scan units.
    pub points: Vec<Point3<f64>>,
    /// Normals from the file (signs are not to be trusted), one per point, or none.
    pub normals: Option<Vec<Vector3<f64>>>,
    /// Triangles as indices into `points`; empty for a cloud.
    pub triangles: Vec<[u32; 3]>,
    /// What the reader did.
    pub report: ReadReport,
}

/// What a reader found in a scan file.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct ReadReport {
    /// The format, for example "ply binary_little_endian".
    pub format: String,
    /// Points kept.
    pub points: usize,
    /// Points left out because a coordinate was not finite.
    pub dropped_non_finite: usize,
    /// Triangles kept.
    pub triangles: usize,
}
