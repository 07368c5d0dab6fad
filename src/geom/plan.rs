//! Plan curves: arcs, slots, rounded rectangles, and parallels of a loop's pieces, smooth or mitred at corners.
use crate::num::{Curve, Knots, interpolate};
use nalgebra::DMatrix;
use std::f64::consts::{FRAC_PI_2, PI};

/// Spans of a cubic over a right angle: the fourth power of the angle of a span over 384 times the radius is then below
/// 0.001 mm for radii up to 30 mm.
const SPANS_PER_RIGHT_ANGLE: f64 = 6.0;

/// The cubic through the points `f(u)` at the Greville abscissae of `knots`; both ends are met.
pub fn through(knots: &Knots, f: impl Fn(f64) -> [f64; 2]) -> Curve<2> {
    let at: Vec<[f64; 2]> = knots.greville().into_iter().map(f).collect();
    let v = DMatrix::from_fn(at.len(), 2, |i, d| at[i][d]);
    // only a full interior knot has no solution: the points themselves are then near enough
    let c = interpolate(knots, &v).unwrap_or(v);
    Curve { knots: knots.clone(), points: (0..at.len()).map(|i| [c[(i, 0)], c[(i, 1)]]).collect() }
}

/// The arc about `centre` from angle `from` over `sweep` (radians, positive counter-clockwise).
pub fn arc(centre: [f64; 2], radius: f64, from: f64, sweep: f64) -> Curve<2> {
    let spans = (sweep.abs() / FRAC_PI_2 * SPANS_PER_RIGHT_ANGLE).ceil().max(1.0) as usize;
    through(&Knots::uniform(3, spans, 0.0, 1.0), |u| {
        let (s, c) = (from + sweep * u).sin_cos();
        [centre[0] + radius * c, centre[1] + radius * s]
    })
}
/// A circle, counter-clockwise, in two halves: a hole's walls are then two faces, as CAD makes them.
pub fn circle(centre: [f64; 2], radius: f64) -> Vec<Curve<2>> {
    (0..2).map(|k| arc(centre, radius, f64::from(k) * PI, PI)).collect()
}
/// A slot along x, counter-clockwise: two half circles whose centres are `travel` apart, joined by straight sides.
pub fn slot(centre: [f64; 2], radius: f64, travel: f64) -> Vec<Curve<2>> {
    if !(travel > 0.0) {
        return circle(centre, radius);
    }
    let ([x, y], h) = (centre, travel / 2.0);
    vec![
        Curve::line([x - h, y - radius], [x + h, y - radius]),
        arc([x + h, y], radius, -FRAC_PI_2, PI),
        Curve::line([x + h, y + radius], [x - h, y + radius]),
        arc([x - h, y], radius, FRAC_PI_2, PI),
    ]
}
/// A rectangle with rounded corners (`radius` 0: sharp), counter-clockwise; `size` along x and y.
pub fn rectangle(centre: [f64; 2], size: [f64; 2], radius: f64) -> Vec<Curve<2>> {
    let r = radius.clamp(0.0, size[0].min(size[1]) / 2.0 * 0.999);
    let (a, b) = (size[0] / 2.0, size[1] / 2.0);
    let corners = [[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]];
    let mut out = Vec::new();
    for k in 0..4 {
        let (p, q) = (corners[(k + 3) % 4], corners[k]);
        // along a side, stopping short of both corners
        let d = [(q[0] - p[0]) / 2.0, (q[1] - p[1]) / 2.0];
        let at = |c: [f64; 2], s: f64| [centre[0] + a * c[0] + s * r * d[0], centre[1] + b * c[1] + s * r * d[1]];
        out.push(Curve::line(at(p, 1.0), at(q, -1.0)));
        if r > 0.0 {
            let c = [centre[0] + (a - r) * q[0], centre[1] + (b - r) * q[1]];
            out.push(arc(c, r, (k as f64 - 1.0) * FRAC_PI_2, FRAC_PI_2));
        }
    }
    out
}

/// The loop `pieces` (counter-clockwise, smooth where pieces meet) moved outwards by `d` mm (inwards when negative), on the
/// same knots. `None` where it would fold.
pub fn parallel(pieces: &[Curve<2>], d: f64) -> Option<Vec<Curve<2>>> {
    pieces
        .iter()
        .map(|c| {
            let shift = |u: f64| {
                let [p, v, _] = c.derivatives(u);
                let l = v[0].hypot(v[1]);
                [p[0] + d * v[1] / l, p[1] - d * v[0] / l]
            };
            let (lo, hi) = c.knots.range();
            let n = 4 * c.points.len();
            let sound = (0..=n).all(|i| {
                let [_, v, a] = c.derivatives(lo + (hi - lo) * i as f64 / n as f64);
                let speed = v[0].hypot(v[1]);
                let bend = (v[0] * a[1] - v[1] * a[0]) / speed.powi(3);
                speed > 0.0 && 1.0 + d * bend > LEAST_SHRINK
            });
            sound.then(|| through(&c.knots, shift))
        })
        .collect()
}
/// The least radius that the loop `pieces` (counter-clockwise) turns inwards with, mm: moved inwards by more it folds.
pub fn least_radius(pieces: &[Curve<2>]) -> f64 {
    let bends = pieces.iter().flat_map(|c| {
        let (lo, hi) = c.knots.range();
        let n = 4 * c.points.len();
        (0..=n).map(move |i| {
            let [_, v, a] = c.derivatives(lo + (hi - lo) * i as f64 / n as f64);
            (v[0] * a[1] - v[1] * a[0]) / v[0].hypot(v[1]).powi(3)
        })
    });
    1.0 / bends.filter(|b| b.is_finite()).fold(0.0, f64::max)
}
/// The radius that a loop must turn with to be moved inwards by `d` mm.
pub fn radius_for(d: f64) -> f64 {
    d / (1.0 - LEAST_SHRINK)
}
/// Newton's steps to a mitre: pieces are nearly straight, so that three would do.
const MITRE_STEPS: usize = 20;
/// A mitre is met below this, mm: far below what an edge may be off its face.
const MET_MM: f64 = 1e-9;

/// The loop `pieces` (counter-clockwise, corners where pieces meet) moved inwards by `d` mm, corners mitred: neighbours are cut
/// or carried on straight to where they meet. `None` where a piece is used up.
pub fn inset(pieces: &[Curve<2>], d: f64) -> Option<Vec<Curve<2>>> {
    // the parallel of a piece at t from 0 to 1, straight beyond, and its direction
    let moved = |c: &Curve<2>, t: f64| {
        let (lo, hi) = c.knots.range();
        let k = t.clamp(0.0, 1.0);
        let [p, v, _] = c.derivatives(lo + (hi - lo) * k);
        let v = v.map(|s| s * (hi - lo));
        let l = v[0].hypot(v[1]);
        ([p[0] + (t - k) * v[0] - d * v[1] / l, p[1] + (t - k) * v[1] + d * v[0] / l], v)
    };
    let n = pieces.len();
    // where each piece meets the next: its own parameter and the next one's
    let mitre = |i: usize| {
        let (a, b) = (&pieces[i], &pieces[(i + 1) % n]);
        let (mut s, mut t) = (1.0, 0.0);
        for _ in 0..MITRE_STEPS {
            let ((p, u), (q, v)) = (moved(a, s), moved(b, t));
            let off = [q[0] - p[0], q[1] - p[1]];
            if off[0].hypot(off[1]) < MET_MM {
                return Some((s, t));
            }
            let det = u[1] * v[0] - u[0] * v[1];
            s += (off[1] * v[0] - off[0] * v[1]) / det;
            t += (off[1] * u[0] - off[0] * u[1]) / det;
            if !(s.is_finite() && t.is_finite()) {
                return None;
            }
        }
        None
    };
    let ends: Vec<(f64, f64)> = (0..n).map(mitre).collect::<Option<_>>()?;
    (0..n)
        .map(|i| {
            let (from, to) = (ends[(i + n - 1) % n].1, ends[i].0);
            let knots = Knots::uniform(3, SPANS_PER_RIGHT_ANGLE as usize, 0.0, 1.0);
            (from < to).then(|| through(&knots, |u| moved(&pieces[i], from + (to - from) * u).0))
        })
        .collect()
}

/// Share of a bend's radius that a parallel must leave: nearer to a fold the cubic no longer follows it.
const LEAST_SHRINK: f64 = 0.1;

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Layer, Ring, Wall, layered, trim};
    use crate::num::TensorSpline;

    fn area(pieces: &[Curve<2>]) -> f64 {
        trim::polygon(pieces, 1e-4).signed_area()
    }
    /// Areas of circle, slot and rounded rectangle (elementary geometry, exact).
    #[test]
    fn areas_are_those_of_elementary_shapes() {
        for (pieces, want) in [
            (circle([3.0, -2.0], 2.25), PI * 2.25 * 2.25),
            (slot([3.0, -2.0], 2.25, 1.5), PI * 2.25 * 2.25 + 1.5 * 4.5),
            (rectangle([1.0, 2.0], [30.0, 20.0], 4.0), 600.0 - (4.0 - PI) * 16.0),
            (rectangle([1.0, 2.0], [30.0, 20.0], 0.0), 600.0),
        ] {
            let got = area(&pieces);
            assert!((got / want - 1.0).abs() < 2e-4, "{got} {want}");
            for (a, b) in pieces.iter().zip(pieces.iter().cycle().skip(1)) {
                let (e, s) = (a.points[a.points.len() - 1], b.points[0]);
                assert!((e[0] - s[0]).hypot(e[1] - s[1]) < 1e-9, "pieces join");
            }
        }
    }
    #[test]
    fn arcs_keep_their_radius() {
        for c in circle([0.0, 0.0], 30.0) {
            assert!((0..=400).map(|i| c.at(f64::from(i) / 400.0)).all(|p| (p[0].hypot(p[1]) - 30.0).abs() < 1e-3));
        }
    }
    /// The parallel of a circle of radius r at d is a circle of radius r + d; inwards past the centre it folds.
    #[test]
    fn parallels_of_a_circle() {
        let c = circle([5.0, 1.0], 20.0);
        for d in [3.0, -7.0] {
            let want = PI * (20.0 + d) * (20.0 + d);
            assert!((area(&parallel(&c, d).unwrap()) / want - 1.0).abs() < 1e-4);
        }
        assert!(parallel(&c, -19.9).is_none());
    }
    /// An angle section 30 x 20, 4 thick, moved in by 1 is one of 28 x 18, 2 thick: its inner corner is mitred outwards; moved
    /// in by half its thickness nothing is left (elementary geometry).
    #[test]
    fn insets_mitre_corners_both_ways() {
        let at = [[0.0, 0.0], [30.0, 0.0], [30.0, 4.0], [4.0, 4.0], [4.0, 20.0], [0.0, 20.0]];
        let angle: Vec<_> = (0..6).map(|i| Curve::line(at[i], at[(i + 1) % 6])).collect();
        let smaller = inset(&angle, 1.0).unwrap();
        assert!((area(&smaller) - (28.0 * 2.0 + 16.0 * 2.0)).abs() < 1e-9);
        let start = smaller[3].points[0];
        assert!((start[0] - 3.0).hypot(start[1] - 3.0) < 1e-9, "{start:?}");
        assert!(inset(&angle, 2.1).is_none());
    }
    /// A block with a leaning hole through it: a frustum of a cone is taken out, pi h (r1^2 + r1 r2 + r2^2) / 3.
    #[test]
    fn a_layered_solid_is_sound_and_its_mesh_is_closed() {
        let k = Knots::uniform(3, 2, -60.0, 60.0);
        let flat = |z: f64| TensorSpline::new(k.clone(), k.clone(), vec![z; 25]).unwrap();
        let (low, high) = (flat(0.0), flat(9.0));
        let layers = [Layer { name: "low", z: &low, up: false }, Layer { name: "high", z: &high, up: true }];
        let wall = |name: &str, a: Vec<Curve<2>>, b: Vec<Curve<2>>, inside| Wall {
            name: name.into(),
            foot: Ring { layer: 0, pieces: a },
            head: Ring { layer: 1, pieces: b },
            inside,
            breaks: vec![],
        };
        let block = rectangle([0.0, 0.0], [80.0, 60.0], 10.0);
        let walls = [
            wall("side", block.clone(), block.clone(), true),
            wall("hole", circle([5.0, 3.0], 12.0), circle([5.0, 3.0], 8.0), false),
        ];
        let b = layered("block", &layers, &walls);
        assert_eq!(b.faults(), Vec::<String>::new());
        let m = b.mesh(0.002).unwrap();
        assert!(m.open_edges().is_empty());
        let want = 9.0 * (4800.0 - (4.0 - PI) * 100.0) - PI * 9.0 * (144.0 + 96.0 + 64.0) / 3.0;
        assert!((m.volume() / want - 1.0).abs() < 3e-4, "{} {want}", m.volume());
    }
}
