//! Prisms on the flat face of a cut: blind holes and grooves into it, tongues out of it.
use super::layered::tube;
use super::{Brep, EdgeUse};
use crate::num::Curve;

impl Brep {
    /// Sinks the closed loop `pieces` in (y, z), counter-clockwise, along x by `depth` mm into the last face, which
    /// [`Brep::cut`] made; a negative depth raises it out of it. The loop must lie within the face. The joint stays the last
    /// face.
    pub fn extrude_joint(&mut self, name: &str, pieces: &[Curve<2>], depth: f64) {
        let Some(mut cap) = self.faces.pop() else { return };
        let (x, sense) = (cap.surface.points[0][0], cap.same_sense);
        let end = if sense { x - depth } else { x + depth };
        let space = |c: &Curve<2>, x: f64| Curve {
            knots: c.knots.clone(),
            points: c.points.iter().map(|p| [x, p[0], p[1]]).collect(),
        };
        let ends = [x, end].map(|x| pieces.iter().map(|c| space(c, x)).collect::<Vec<_>>());
        let (edges, sides) = tube(self, &ends, &[], sense, |_, _| name.into());
        let ring = |e0: usize, forward: bool| {
            let mut l: Vec<EdgeUse> =
                pieces.iter().enumerate().map(|(i, c)| EdgeUse { edge: e0 + i, forward, pcurve: c.clone() }).collect();
            if !forward {
                l.reverse();
            }
            l
        };
        let mut floor = cap.clone();
        for p in &mut floor.surface.points {
            p[0] = end;
        }
        (floor.name, floor.loops) = (format!("{name} end"), vec![ring(edges[1], sense)]);
        // a hole's loop runs against its face's outer one
        cap.loops.push(ring(edges[0], !sense));
        self.faces.push(floor);
        self.faces.extend(sides);
        self.faces.push(cap);
    }
}
