//! Holes through two faces of a solid along a straight line of sight, whatever the faces' shapes.
use super::layered::tube;
use super::{Brep, EdgeUse, Face, Polygon, Surface3};
use crate::num::{Curve, Knots, interpolate};
use crate::tolerance::EDGE_MM;
use nalgebra::DMatrix;

/// A flat drawing plane in space: its origin, and unit vectors along the drawing's x and y, mm. Lines of sight are square to it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sight {
    /// Where the drawing's (0, 0) lies.
    pub origin: [f64; 3],
    /// Unit vector along the drawing's x.
    pub right: [f64; 3],
    /// Unit vector along the drawing's y.
    pub up: [f64; 3],
}
impl Sight {
    /// Where a point is seen on the drawing.
    pub fn seen(&self, p: [f64; 3]) -> [f64; 2] {
        [self.right, self.up].map(|e| (0..3).map(|k| (p[k] - self.origin[k]) * e[k]).sum())
    }
}

/// Least spans of the cubic along a piece of the drawing at first; one that has more itself is followed on as many.
const SPANS: usize = 6;
/// Times the spans are doubled before giving up; each shrinks the error sixteenfold.
const DOUBLINGS: usize = 4;
/// Newton's steps: quadratic, so that ten halve no more; the rest is for a far start.
const STEPS: usize = 40;
/// Step of a difference quotient, share of the surface's domain: the cube root of the machine epsilon.
const DIFFERENCE: f64 = 6e-6;
/// Newton has arrived below this, mm: far below what an edge may be off its face.
const ARRIVED_MM: f64 = 1e-9;

/// Where the line of sight through `p` meets `s`, sought from `from` on; `None` outside of the surface's domain.
fn meet(s: &Surface3, sight: &Sight, p: [f64; 2], from: [f64; 2]) -> Option<[f64; 2]> {
    let ranges = [s.u.range(), s.v.range()];
    let mut at = from;
    for _ in 0..STEPS {
        let here = sight.seen(s.at(at[0], at[1]));
        let off = [p[0] - here[0], p[1] - here[1]];
        if off[0].hypot(off[1]) < ARRIVED_MM {
            let within = (0..2).all(|k| at[k] > ranges[k].0 && at[k] < ranges[k].1);
            return within.then_some(at);
        }
        let [du, dv] = [0, 1].map(|k| {
            let h = DIFFERENCE * (ranges[k].1 - ranges[k].0);
            let moved = |d: f64| {
                let mut q = at;
                q[k] += d;
                sight.seen(s.at(q[0], q[1]))
            };
            let (a, b) = (moved(-h), moved(h));
            [(b[0] - a[0]) / (2.0 * h), (b[1] - a[1]) / (2.0 * h)]
        });
        let det = du[0] * dv[1] - du[1] * dv[0];
        at[0] += (off[0] * dv[1] - off[1] * dv[0]) / det;
        at[1] += (du[0] * off[1] - du[1] * off[0]) / det;
        if !(at[0].is_finite() && at[1].is_finite()) {
            return None;
        }
    }
    None
}

/// A piece of the drawing on a surface: in its (u, v) and in space.
type OnFace = (Curve<2>, Curve<3>);

/// A piece of the drawing as cubics of `spans` spans on a surface, and how far the two lie apart, mm.
fn projected(
    s: &Surface3,
    sight: &Sight,
    piece: &Curve<2>,
    spans: usize,
    from: &mut [f64; 2],
) -> Option<(OnFace, f64)> {
    let (lo, hi) = piece.knots.range();
    let knots = Knots::uniform(3, spans, 0.0, 1.0);
    let mut places = Vec::new();
    for t in knots.greville() {
        *from = meet(s, sight, piece.at(lo + (hi - lo) * t), *from)?;
        places.push(*from);
    }
    let n = places.len();
    let uv = interpolate(&knots, &DMatrix::from_fn(n, 2, |i, d| places[i][d]))?;
    let xyz = interpolate(&knots, &DMatrix::from_fn(n, 3, |i, d| s.at(places[i][0], places[i][1])[d]))?;
    let plane = Curve { knots: knots.clone(), points: (0..n).map(|i| [uv[(i, 0)], uv[(i, 1)]]).collect() };
    let space = Curve { knots, points: (0..n).map(|i| [0, 1, 2].map(|d| xyz[(i, d)])).collect() };
    let off = |t: f64| {
        let (q, p) = (plane.at(t), space.at(t));
        let on = s.at(q[0], q[1]);
        (0..3).map(|k| (p[k] - on[k]).powi(2)).sum::<f64>().sqrt()
    };
    let worst = (0..=8 * spans).map(|i| off(i as f64 / (8 * spans) as f64)).fold(0.0, f64::max);
    Some(((plane, space), worst))
}

impl Brep {
    /// Bores a hole through the two `faces`, whose materials lie between them, along the lines of sight of the closed loop
    /// `drawing`. `from` is a place in both faces' (u, v) near which the middle is seen; the new faces are called `name`. `None` where
    /// the hole would leave a face; the solid is then unchanged.
    pub fn pierce(
        &mut self,
        name: &str,
        faces: [usize; 2],
        sight: &Sight,
        drawing: &[Curve<2>],
        from: [f64; 2],
    ) -> Option<()> {
        self.bore(name, faces, sight, drawing, [from; 2])
    }

    /// As [`Brep::pierce`], from a flat face square to the sight that is sunk into the first face within the closed loop
    /// `border`, as far as the drawing's plane.
    pub fn pierce_sunk(
        &mut self,
        faces: [usize; 2],
        sight: &Sight,
        [border, drawing]: [&[Curve<2>]; 2],
        from: [f64; 2],
    ) -> Option<()> {
        let unchanged = self.clone();
        let points: Vec<[f64; 2]> = border.iter().flat_map(|c| c.points.iter().copied()).collect();
        let (lo, hi) = super::bounds(&points);
        // beyond the border on all sides, so that a line of sight never ends on the plane's own
        let room = [0, 1].map(|k| hi[k] - lo[k]);
        let (lo, hi) = ([0, 1].map(|k| lo[k] - room[k]), [0, 1].map(|k| hi[k] + room[k]));
        let at = |x: f64, y: f64| [0, 1, 2].map(|k| sight.origin[k] + x * sight.right[k] + y * sight.up[k]);
        let plane = self.faces.len();
        self.faces.push(Face {
            name: "seal face".into(),
            surface: Surface3 {
                u: Knots::uniform(1, 1, lo[0], hi[0]),
                v: Knots::uniform(1, 1, lo[1], hi[1]),
                points: vec![at(lo[0], lo[1]), at(lo[0], hi[1]), at(hi[0], lo[1]), at(hi[0], hi[1])],
            },
            // towards the one who looks, as the first face
            same_sense: true,
            loops: vec![],
        });
        let middle = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
        let made = self
            .bore("seal face", [faces[0], plane], sight, border, [from, middle])
            .and_then(|()| self.bore("opening", [plane, faces[1]], sight, drawing, [middle, from]));
        if made.is_none() {
            *self = unchanged;
        }
        made
    }

    /// A tube between two faces along the lines of sight; in a face that has no loop yet it is the outer one.
    fn bore(
        &mut self,
        name: &str,
        faces: [usize; 2],
        sight: &Sight,
        drawing: &[Curve<2>],
        from: [[f64; 2]; 2],
    ) -> Option<()> {
        let mut both: Option<[Vec<OnFace>; 2]> = None;
        for k in 0..=DOUBLINGS {
            let mut worst = 0.0_f64;
            let mut made = [Vec::new(), Vec::new()];
            for ((side, &f), from) in made.iter_mut().zip(&faces).zip(from) {
                let mut at = from;
                for piece in drawing {
                    let spans = SPANS.max(piece.knots.breaks().len() - 1) << k;
                    let (on, off) = projected(&self.faces[f].surface, sight, piece, spans, &mut at)?;
                    worst = worst.max(off);
                    side.push(on);
                }
            }
            if worst < EDGE_MM / 4.0 {
                both = Some(made);
                break;
            }
        }
        let both = both?;
        // a hole's loop runs against its face's outer one
        let forward = [0, 1].map(|k| {
            let border = Polygon { points: both[k].iter().flat_map(|c| c.0.points.iter().copied()).collect() };
            let face = &self.faces[faces[k]];
            (border.signed_area() < 0.0) == (face.same_sense != face.loops.is_empty())
        });
        if forward[0] == forward[1] {
            return None;
        }
        let ends = [0, 1].map(|k| both[k].iter().map(|c| c.1.clone()).collect::<Vec<_>>());
        let (edges, sides) = tube(self, &ends, &[], !forward[0], |_, _| name.into());
        for k in 0..2 {
            let mut ring: Vec<EdgeUse> = (both[k].iter().enumerate())
                .map(|(i, c)| EdgeUse { edge: edges[k] + i, forward: forward[k], pcurve: c.0.clone() })
                .collect();
            if !forward[k] {
                ring.reverse();
            }
            self.faces[faces[k]].loops.push(ring);
        }
        self.faces.extend(sides);
        Some(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Layer, Ring, Wall, layered, plan};
    use crate::num::TensorSpline;

    /// A ring wall between radii 60 and 50, pierced along x by a circle of radius 8: the hole's volume is the integral over the
    /// circle of sqrt(60^2 - y^2) - sqrt(50^2 - y^2) (elementary geometry).
    #[test]
    fn a_hole_through_a_round_wall_takes_out_what_geometry_says() {
        let k = Knots::uniform(3, 2, -80.0, 80.0);
        let flat = |z: f64| TensorSpline::new(k.clone(), k.clone(), vec![z; 25]).unwrap();
        let (low, high) = (flat(0.0), flat(40.0));
        let layers = [Layer { name: "low", z: &low, up: false }, Layer { name: "high", z: &high, up: true }];
        // seams at 45 degrees, so that the hole at 0 meets none
        let turned = |r: f64| -> Vec<Curve<2>> {
            let q = std::f64::consts::FRAC_PI_2;
            (0..4).map(|i| plan::arc([0.0; 2], r, (f64::from(i) - 0.5) * q, q)).collect()
        };
        let wall = |r: f64, inside| {
            let ring = |layer| Ring { layer, pieces: turned(r) };
            Wall { name: "wall".into(), foot: ring(0), head: ring(1), inside, breaks: vec![] }
        };
        let mut b = layered("ring", &layers, &[wall(60.0, true), wall(50.0, false)]);
        let volume = |b: &Brep| {
            assert_eq!(b.faults(), Vec::<String>::new());
            let m = b.mesh(0.005).unwrap();
            assert!(m.open_edges().is_empty());
            m.volume()
        };
        let before = volume(&b);
        let sight = Sight { origin: [60.0, 0.0, 20.0], right: [0.0, 1.0, 0.0], up: [0.0, 0.0, 1.0] };
        // faces: two layers, four outside, four inside
        b.pierce("opening", [2, 6], &sight, &plan::circle([0.0, 0.0], 8.0), [0.5, 0.5]).unwrap();
        let taken = before - volume(&b);
        let n = 2000;
        let want: f64 = (0..n)
            .map(|i| -8.0 + 16.0 * (f64::from(i) + 0.5) / f64::from(n))
            .map(|y| 2.0 * (64.0 - y * y).sqrt() * ((3600.0 - y * y).sqrt() - (2500.0 - y * y).sqrt()))
            .sum::<f64>()
            * 16.0
            / f64::from(n);
        assert!((taken / want - 1.0).abs() < 5e-3, "{taken} {want}");
        // from a flat sunk 2 mm below the place nearest to the eye: of radius 12, its depth there is 60 - 2 - the wall
        let whole = layered("ring", &layers, &[wall(60.0, true), wall(50.0, false)]);
        let low = Sight { origin: [58.0, 0.0, 20.0], ..sight };
        let mut sunk = whole.clone();
        sunk.pierce_sunk([2, 6], &low, [&plan::circle([0.0, 0.0], 12.0), &plan::circle([0.0, 0.0], 8.0)], [0.5, 0.5])
            .unwrap();
        let taken = before - volume(&sunk);
        // over a circle of radius r the integral of f(y) is that of f times twice its half chord
        let over = |r: f64, f: &dyn Fn(f64) -> f64| -> f64 {
            (0..n)
                .map(|i| -r + 2.0 * r * (f64::from(i) + 0.5) / f64::from(n))
                .map(|y| 2.0 * (r * r - y * y).sqrt() * f(y) * 2.0 * r / f64::from(n))
                .sum()
        };
        let want = over(12.0, &|y| (3600.0 - y * y).sqrt() - 58.0) + over(8.0, &|y| 58.0 - (2500.0 - y * y).sqrt());
        assert!((taken / want - 1.0).abs() < 5e-3, "{taken} {want}");
        let unchanged = b.clone();
        assert!(
            b.pierce("opening", [2, 6], &sight, &plan::circle([0.0, 0.0], 25.0), [0.5, 0.5]).is_none(),
            "higher than the wall"
        );
        assert_eq!(b, unchanged);
    }
}
