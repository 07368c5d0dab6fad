//! The rail as a space curve: the scan's rim, moved outwards over the surface.
use super::STATIONS;
use super::camera::Camera;
use super::fair::{fair_closed, sampled};
use crate::geom::{Polygon, length_and_width, outward_normals, periodic_cubic};
use crate::num::TensorSpline;
use nalgebra::{DVector, Vector3};

/// Control points of offsets along the rim: a span of 25-30 mm on a usual board, as fine as the outline's own.
pub(super) const CONTROLS: usize = 72;

/// The scan's rim in plan with outward normals, and the surface it lies on.
pub(super) struct Rim<'a> {
    pub plan: Vec<[f64; 2]>,
    pub normal: Vec<[f64; 2]>,
    /// Length and width of its box, mm.
    pub size: (f64, f64),
    pub z: &'a TensorSpline,
}
impl<'a> Rim<'a> {
    /// A fair rim at equal distances. `None` for a degenerate polygon.
    pub fn new(rim: &Polygon, z: &'a TensorSpline) -> Option<Self> {
        let fair = fair_closed(&rim.resampled(STATIONS).points)?;
        let plan = Polygon { points: sampled(&fair, 4 * STATIONS) }.resampled(STATIONS);
        Some(Self { size: length_and_width(&plan), normal: outward_normals(&plan.points), plan: plan.points, z })
    }
    /// The rim in plan.
    pub fn polygon(&self) -> Polygon {
        Polygon { points: self.plan.clone() }
    }
    /// The plan point `d` mm outside station `i`.
    pub fn plan_point(&self, i: usize, d: f64) -> [f64; 2] {
        let (p, n) = (self.plan[i], self.normal[i]);
        [p[0] + d * n[0], p[1] + d * n[1]]
    }
    pub fn point(&self, i: usize, d: f64) -> [f64; 3] {
        let [x, y] = self.plan_point(i, d);
        [x, y, self.z.at(x, y)]
    }
    /// The pixels of the rail with these offsets.
    pub fn pixels(&self, c: &Camera, d: &dyn Fn(usize) -> f64) -> Vec<[f64; 2]> {
        (0..self.plan.len()).map(|i| c.project(self.point(i, d(i)))).collect()
    }
}
/// First control and weights of the offsets at a station.
pub(super) fn basis(i: usize) -> (usize, [f64; 4]) {
    periodic_cubic(i as f64 * CONTROLS as f64 / STATIONS as f64)
}
/// The offset at a station.
pub(super) fn offset(c: &DVector<f64>, i: usize) -> f64 {
    let (k, w) = basis(i);
    (0..4).map(|j| w[j] * c[(k + j) % CONTROLS]).sum()
}
/// Normals pointing out of a contour that runs clockwise on the screen's y-down axes or the other way.
pub(super) fn outward(px: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let s = if (Polygon { points: px.to_vec() }).signed_area() < 0.0 { -1.0 } else { 1.0 };
    outward_normals(px).into_iter().map(|n| [s * n[0], s * n[1]]).collect()
}
/// The point where a pixel's ray meets the underside, from a start nearby.
pub(super) fn lift(c: &Camera, z: &TensorSpline, p: [f64; 2], near: [f64; 3]) -> Option<[f64; 3]> {
    let (e, v) = c.ray(p);
    let mut t = (Vector3::from(near) - e).dot(&v) / v.norm_squared();
    for _ in 0..20 {
        let q = e + v * t;
        let d = z.slopes(q.x, q.y);
        let step = (q.z - d[0]) / (v.z - d[1] * v.x - d[2] * v.y);
        t -= step;
        if step.abs() < 1e-10 * t.abs() {
            break;
        }
    }
    let q = e + v * t;
    (q.x.is_finite() && q.y.is_finite() && q.z.is_finite()).then_some([q.x, q.y, q.z])
}
