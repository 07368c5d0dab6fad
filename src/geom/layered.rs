//! Solids between height functions: layers trimmed by rings, walls ruled from ring to ring.
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
        assert!(w.foot.pieces.len() == w.head.pieces.len(), "a wall joins rings of as many pieces");
        let both: Vec<_> = w
            .foot
            .pieces
            .iter()
            .zip(&w.head.pieces)
            .map(|(f, h)| raised(&[(f, layers[w.foot.layer].z), (h, layers[w.head.layer].z)]))
            .collect();
        let ends = [0, 1].map(|k| both.iter().map(|c| c[k].1.clone()).collect::<Vec<_>>());
        let ([ef, eh], faces) = tube(&mut b, [&ends[0], &ends[1]], w.inside, |i| format!("{} {}", w.name, i + 1));
        sides.extend(faces);
        for (k, ring, e0) in [(0, &w.foot, ef), (1, &w.head, eh)] {
            // the layer runs along an edge against the wall
            let forward = (k == 1) == w.inside;
            let mut uses: Vec<EdgeUse> = both
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

/// Edges of two closed loops of as many pieces on the same knots and of the straight lines between their vertices, added to
/// `b`, and the ruled faces from the first loop to the second. `sense`: whether the faces look the way of (along the loop) x
/// (from the first loop to the second). Gives the first edge of each loop.
pub(super) fn tube(
    b: &mut Brep,
    ends: [&[Curve<3>]; 2],
    sense: bool,
    name: impl Fn(usize) -> String,
) -> ([usize; 2], Vec<Face>) {
    let first = ends.map(|c| add_loop(b, c));
    let columns: Vec<[&Curve<3>; 2]> = ends[0].iter().zip(ends[1]).map(|(f, h)| [f, h]).collect();
    (first, strip(b, first, &columns, sense, name))
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
