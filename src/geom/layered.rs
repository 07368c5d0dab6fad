//! Solids between height functions: layers trimmed by rings, walls from ring to ring, with chamfers and rounds between.
use super::trim::{add_loop, polygon, raised};
use super::{Brep, Edge, EdgeUse, Face, Surface3};
use crate::num::{Curve, Knots, TensorSpline};

/// A face that is the graph of a height function.
#[derive(Debug, Clone, Copy)]
pub struct Layer<'a> {
    /// The name written to files.
    pub name: &'a str,
    /// The height function.
    pub z: &'a TensorSpline,
    /// Whether the solid lies below it, so that the face looks to +z.
    pub up: bool,
}
/// A closed loop in plan on a layer.
#[derive(Debug, Clone)]
pub struct Ring {
    /// Index of the layer.
    pub layer: usize,
    /// Counter-clockwise consecutive pieces.
    pub pieces: Vec<Curve<2>>,
}
/// Faces ruled from one ring to another of as many pieces on the same knots.
#[derive(Debug, Clone)]
pub struct Wall {
    /// The name written to files, with the piece's number.
    pub name: String,
    /// Where it begins, the lower one in z.
    pub foot: Ring,
    /// Where it ends, the higher one.
    pub head: Ring,
    /// Whether the solid lies inside the loop (a rim) or outside it (a hole).
    pub inside: bool,
    /// Edges between foot and head, in that order, at which the wall changes its lean.
    pub breaks: Vec<Break>,
}
/// An edge along a wall, and the faces from it to the next ring.
#[derive(Debug, Clone)]
pub struct Break {
    /// The name of the faces, with the piece's number.
    pub name: String,
    /// Height of the edge.
    pub z: TensorSpline,
    /// Counter-clockwise consecutive pieces, as many and on the same knots as the wall's.
    pub pieces: Vec<Curve<2>>,
    /// The sharp corner that the faces round off, in height and plan; flat faces without one.
    pub rounded: Option<(TensorSpline, Vec<Curve<2>>)>,
}

/// Greatest chord height of the polygons that tell an outer loop from a hole, mm: their areas differ by far more.
const COARSE_MM: f64 = 0.5;

/// The closed solid of `layers` and `walls`. Every ring is an edge of one layer and one wall; the largest ring of a layer is
/// its border, the others are holes. Faces come in the order of the layers, then the walls' pieces.
///
/// # Panics
/// When a wall's rings differ in pieces or knots, or name no layer: a programming error.
pub fn layered(name: &str, layers: &[Layer], walls: &[Wall]) -> Brep {
    let mut b = Brep { name: name.into(), closed: true, ..Brep::default() };
    let mut loops: Vec<Vec<(f64, Vec<EdgeUse>)>> = vec![Vec::new(); layers.len()];
    let mut sides = Vec::new();
    for w in walls {
        let (foot, head) = (&w.foot, &w.head);
        let mut lines: Vec<(&[Curve<2>], &TensorSpline)> = vec![(&foot.pieces, layers[foot.layer].z)];
        lines.extend(w.breaks.iter().map(|k| (k.pieces.as_slice(), &k.z)));
        lines.push((&head.pieces, layers[head.layer].z));
        let count = lines.len();
        lines.extend(w.breaks.iter().filter_map(|k| k.rounded.as_ref()).map(|(z, p)| (p.as_slice(), z)));
        assert!(lines.iter().all(|l| l.0.len() == foot.pieces.len()), "a wall joins rings of as many pieces");
        let all: Vec<_> =
            (0..foot.pieces.len()).map(|i| raised(&lines.iter().map(|l| (&l.0[i], l.1)).collect::<Vec<_>>())).collect();
        let mut space: Vec<Vec<Curve<3>>> =
            (0..lines.len()).map(|k| all.iter().map(|c| c[k].1.clone()).collect()).collect();
        let mut corners = space.split_off(count).into_iter();
        let bands = std::iter::once(None)
            .chain(w.breaks.iter().map(|k| k.rounded.as_ref().and_then(|_| corners.next())))
            .collect::<Vec<_>>();
        let names = |band: usize, i: usize| {
            let name = if band == 0 { &w.name } else { &w.breaks[band - 1].name };
            format!("{name} {}", i + 1)
        };
        let (edges, faces) = tube(&mut b, &space, &bands, w.inside, names);
        sides.extend(faces);
        for (k, ring, e0) in [(0, foot, edges[0]), (count - 1, head, edges[count - 1])] {
            // the layer runs along an edge against the wall
            let forward = (k > 0) == w.inside;
            let mut uses: Vec<EdgeUse> = all
                .iter()
                .enumerate()
                .map(|(i, c)| EdgeUse { edge: e0 + i, forward, pcurve: c[k].0.clone() })
                .collect();
            if !forward {
                uses.reverse();
            }
            loops[ring.layer].push((polygon(&ring.pieces, COARSE_MM).signed_area().abs(), uses));
        }
    }
    for (l, mut rings) in layers.iter().zip(loops) {
        rings.sort_by(|a, b| b.0.total_cmp(&a.0));
        b.faces.push(Face {
            name: l.name.into(),
            surface: Surface3::graph(l.z),
            same_sense: l.up,
            loops: rings.into_iter().map(|r| r.1).collect(),
        });
    }
    b.faces.extend(sides);
    b
}

/// Share of the way from where a round begins to its corner at which a cubic has its inner control point: follows a quarter of a
/// circle within 0.03 % of its radius (elementary geometry), and within 0.5 % where a wall leans by 5 degrees.
const ROUND: f64 = 4.0 / 3.0 * (std::f64::consts::SQRT_2 - 1.0);

fn towards(a: &[f64; 3], b: &[f64; 3], share: f64) -> [f64; 3] {
    [0, 1, 2].map(|k| a[k] + share * (b[k] - a[k]))
}

/// Edges of closed loops of as many pieces on the same knots and of the lines between their vertices, added to `b`, and the
/// faces from each loop to the next: ruled, or rounding off the corner that `corners` has for them. `sense`: whether the faces
/// look the way of (along a loop) x (to the next loop). `name` is given the number of the loop and of the piece. Gives the first
/// edge of each loop.
pub(super) fn tube(
    b: &mut Brep,
    loops: &[Vec<Curve<3>>],
    corners: &[Option<Vec<Curve<3>>>],
    sense: bool,
    name: impl Fn(usize, usize) -> String,
) -> (Vec<usize>, Vec<Face>) {
    let firsts: Vec<usize> = loops.iter().map(|c| add_loop(b, c)).collect();
    let mut faces = Vec::new();
    for (k, pair) in loops.windows(2).enumerate() {
        let [foot, head] = pair else { break };
        let corner = corners.get(k).and_then(Option::as_ref);
        let columns: Vec<Vec<Curve<3>>> = (foot.iter().zip(head).enumerate())
            .map(|(i, (foot, head))| {
                let inner = |from: &Curve<3>, corner: &Curve<3>| Curve {
                    knots: from.knots.clone(),
                    points: from.points.iter().zip(&corner.points).map(|(p, c)| towards(p, c, ROUND)).collect(),
                };
                match corner {
                    None => vec![foot.clone(), head.clone()],
                    Some(c) => vec![foot.clone(), inner(foot, &c[i]), inner(head, &c[i]), head.clone()],
                }
            })
            .collect();
        faces.extend(strip(b, [firsts[k], firsts[k + 1]], &columns, sense, |i| name(k, i)));
    }
    (firsts, faces)
}

/// Edges between the vertices of two loops that `b` holds already (`first`: their first edges), and the faces from the first
/// loop to the second, one to each piece: Bezier across, with control points on the piece's columns, the outer ones of which
/// are the loops' curves. `sense` as in [`tube`].
pub(super) fn strip<C: AsRef<[E]>, E: std::borrow::Borrow<Curve<3>>>(
    b: &mut Brep,
    [ef, eh]: [usize; 2],
    columns: &[C],
    sense: bool,
    name: impl Fn(usize) -> String,
) -> Vec<Face> {
    let n = columns.len();
    let ev = b.edges.len();
    let mut faces = Vec::with_capacity(n);
    for (i, c) in columns.iter().enumerate() {
        let c: Vec<&Curve<3>> = c.as_ref().iter().map(std::borrow::Borrow::borrow).collect();
        let surface = Surface3::across(&c);
        let curve = Curve { knots: surface.v.clone(), points: c.iter().map(|c| c.points[0]).collect() };
        b.edges.push(Edge { curve, start: b.edges[ef + i].start, end: b.edges[eh + i].start });
        let (lo, hi) = surface.u.range();
        let along = |v: f64| Curve { knots: Knots::uniform(1, 1, lo, hi), points: vec![[lo, v], [hi, v]] };
        let up = |s: f64| Curve::line([s, 0.0], [s, 1.0]);
        let mut uses = vec![
            EdgeUse { edge: ef + i, forward: true, pcurve: along(0.0) },
            EdgeUse { edge: ev + (i + 1) % n, forward: true, pcurve: up(hi) },
            EdgeUse { edge: eh + i, forward: false, pcurve: along(1.0) },
            EdgeUse { edge: ev + i, forward: false, pcurve: up(lo) },
        ];
        if !sense {
            uses.reverse();
            uses.iter_mut().for_each(|u| u.forward = !u.forward);
        }
        faces.push(Face { name: name(i), surface, same_sense: sense, loops: vec![uses] });
    }
    faces
}
