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
#[derive(Debug)]
pub(super) struct Rim<'a> {
    pub plan: Vec<[f64; 2]>,
    pub normal: Vec<[f64; 2]>,
    /// Length and width of its box, mm.
    pub size: (f64, f64),
    pub z: &'a TensorSpline,
    /// How far each station comes out as the wall leans by one more, mm: not at all on the underside.
    pub lean_mm: Vec<f64>,
}
impl<'a> Rim<'a> {
    /// A fair rim at equal distances. `None` for a degenerate polygon.
    pub fn new(rim: &Polygon, z: &'a TensorSpline) -> Option<Self> {
        let fair = fair_closed(&rim.resampled(STATIONS).points)?;
        let plan = Polygon { points: sampled(&fair, 4 * STATIONS) }.resampled(STATIONS);
        let normal = outward_normals(&plan.points);
        Some(Self { size: length_and_width(&plan), lean_mm: vec![0.0; normal.len()], normal, plan: plan.points, z })
    }
    /// The rail's other edge, on the `top` `thickness_mm` off this face: where a wall that leans by `lean` ends.
    pub fn other_edge(&self, top: &'a TensorSpline, thickness_mm: f64, lean: f64) -> Self {
        let square = |p: &[f64; 2]| {
            let n = self.z.normal(p[0], p[1]);
            [-thickness_mm * n[0], -thickness_mm * n[1]]
        };
        let moved: Vec<[f64; 2]> = self.plan.iter().map(square).collect();
        let plan = self.plan.iter().zip(&moved).map(|(p, m)| [p[0] + lean * m[0], p[1] + lean * m[1]]).collect();
        let lean_mm = moved.iter().zip(&self.normal).map(|(m, n)| m[0] * n[0] + m[1] * n[1]).collect();
        Self { plan, normal: self.normal.clone(), size: self.size, z: top, lean_mm }
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
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::offset_height;
    use crate::num::Knots;
    /// By hand: on a plane that rises by three in four along the board a wall of 10 mm square to it ends 6 mm farther along, 8 mm lower;
    /// an upright one ends right below.
    #[test]
    fn the_other_edge_of_a_sloping_board() {
        let points = (0..400)
            .map(|i| f64::from(i) / 400.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let c = x.greville().iter().flat_map(|x| [0.75 * x; 4]).collect();
        let z = TensorSpline::new(x, y, c).unwrap();
        let rim = Rim::new(&Polygon { points }, &z).unwrap();
        let top = offset_height(&z, -10.0, |_, _| true).unwrap();
        for (lean, by) in [(0.0, 0.0), (0.5, 3.0), (1.0, 6.0)] {
            let other = rim.other_edge(&top, 10.0, lean);
            for i in (0..STATIONS).step_by(31) {
                let (p, q, n) = (rim.plan[i], other.plan[i], rim.normal[i]);
                assert!(
                    (q[0] - p[0] - by).abs() < 1e-9 && q[1] == p[1] && (other.lean_mm[i] - 6.0 * n[0]).abs() < 1e-9
                );
            }
        }
        let [square, under] = [rim.other_edge(&top, 10.0, 1.0).point(7, 0.0), rim.point(7, 0.0)];
        assert!((square[2] - under[2] + 8.0).abs() < 1e-6, "{square:?} {under:?}");
    }
}
