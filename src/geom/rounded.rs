//! Solids between two height functions whose rail is rounded as a ball rolled along it would: arcs that touch the walls and
//! the faces.
use super::layered::strip;
use super::offset::foot;
use super::trim::{add_loop, halved};
use super::{Brep, EdgeUse, Face, Surface3, plan};
use crate::num::{Curve, TensorSpline, interpolate};
use crate::tolerance::EDGE_MM;
use nalgebra::{DMatrix, Vector3};

/// Why a rail cannot be rounded.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RoundFault {
    /// The outline bends more sharply inside than the radius.
    Outline,
    /// The faces come too near to each other, or bend too much, for two rounds of this radius.
    Faces,
}

/// Halvings of the outline's knots tried before giving up; each shrinks the error sixteenfold.
const HALVINGS: usize = 4;
/// Samples along every span at which the rounds are compared with the rolled ball: between knots the error is greatest.
const SPAN_SAMPLES: usize = 6;
/// Walls lower than this are left out, mm: the rounds meet, each shifted by half of it at the most, which is what an edge may
/// be off its face. The faces' own refit leaves as much where the radius is half the thickness.
const NO_WALL_MM: f64 = 2.0 * EDGE_MM;

/// Control points of a round across the rail: a cubic from the wall to the face.
type Arc = [Vector3<f64>; 4];

/// The cubic along the arc of a ball about `centre` from its normal `out` to its normal `n` (Goldapp 1991: within 0.03 % of
/// the radius over a right angle).
fn arc(centre: Vector3<f64>, radius: f64, out: Vector3<f64>, n: Vector3<f64>) -> Arc {
    let (c, s) = (out.dot(&n), out.cross(&n).norm());
    let along = (n - out * c) / s;
    let handle = 4.0 / 3.0 * (s.atan2(c) / 4.0).tan() * radius;
    let (a, b) = (centre + radius * out, centre + radius * n);
    [a, a + handle * along, b - handle * (along * c - out * s), b]
}

/// Two faces with a wall round them.
struct Rolled<'a> {
    upper: &'a TensorSpline,
    lower: &'a TensorSpline,
    radius: f64,
}
impl Rolled<'_> {
    /// The rounds below and above the wall at the parameter `u` of the outline's piece, each from the wall to its face; and
    /// the height of the wall between them.
    fn at(&self, piece: &Curve<2>, u: f64) -> ([Arc; 2], f64) {
        let [p, v, _] = piece.derivatives(u);
        let l = v[0].hypot(v[1]);
        let out = Vector3::new(v[1] / l, -v[0] / l, 0.0);
        let (cx, cy) = (p[0] - self.radius * out.x, p[1] - self.radius * out.y);
        let [low, high] = [(self.lower, 1.0), (self.upper, -1.0)].map(|(z, side)| {
            let [a, b] = foot(z, side * self.radius, cx, cy);
            let n = Vector3::from(z.normal(a, b));
            (Vector3::new(cx, cy, z.at(a, b) + side * self.radius * n.z), -side * n)
        });
        ([low, high].map(|(c, n)| arc(c, self.radius, out, n)), high.0.z - low.0.z)
    }
    /// As [`Rolled::at`], as columns from below to above, with no wall where it would be lower than [`NO_WALL_MM`].
    fn columns(&self, piece: &Curve<2>, u: f64, full: bool) -> [Vector3<f64>; 8] {
        let ([mut low, mut high], wall) = self.at(piece, u);
        if full {
            low[0].z += wall / 2.0;
            high[0].z = low[0].z;
        }
        low.reverse();
        std::array::from_fn(|k| if k < 4 { low[k] } else { high[k - 4] })
    }
    /// The columns along a piece, on knots as fine as they need.
    fn along(&self, piece: &Curve<2>, full: bool) -> Option<Vec<Curve<3>>> {
        let mut piece = piece.clone();
        for _ in 0..=HALVINGS {
            let at: Vec<_> = piece.knots.greville().iter().map(|u| self.columns(&piece, *u, full)).collect();
            let c = interpolate(&piece.knots, &DMatrix::from_fn(at.len(), 24, |i, k| at[i][k / 3][k % 3]))?;
            let curves: Vec<Curve<3>> = (0..8)
                .map(|k| {
                    let points = (0..at.len()).map(|i| [0, 1, 2].map(|d| c[(i, 3 * k + d)])).collect();
                    Curve { knots: piece.knots.clone(), points }
                })
                .collect();
            let mut worst = 0.0_f64;
            for w in piece.knots.breaks().windows(2) {
                for i in 0..SPAN_SAMPLES {
                    let u = w[0] + (w[1] - w[0]) * (i as f64 + 0.5) / SPAN_SAMPLES as f64;
                    let want = self.columns(&piece, u, full);
                    let off = curves.iter().zip(want).map(|(c, p)| (Vector3::from(c.at(u)) - p).norm());
                    worst = off.fold(worst, f64::max);
                }
            }
            if worst < EDGE_MM / 2.0 {
                return Some(curves);
            }
            piece = halved(&piece);
        }
        None
    }
    /// Lowest and highest wall along the outline.
    fn walls(&self, outline: &[Curve<2>]) -> (f64, f64) {
        let heights = outline.iter().flat_map(|p| p.knots.greville().into_iter().map(|u| self.at(p, u).1));
        heights.fold((f64::INFINITY, f64::NEG_INFINITY), |(lo, hi), h| (lo.min(h), hi.max(h)))
    }
}

fn trimmed(name: &str, z: &TensorSpline, first: usize, ring: &[&Curve<3>], up: bool) -> Face {
    let flat = |c: &Curve<3>| Curve { knots: c.knots.clone(), points: c.points.iter().map(|p| [p[0], p[1]]).collect() };
    let mut uses: Vec<EdgeUse> =
        ring.iter().enumerate().map(|(i, c)| EdgeUse { edge: first + i, forward: up, pcurve: flat(c) }).collect();
    if !up {
        uses.reverse();
    }
    Face { name: name.into(), surface: Surface3::graph(z), same_sense: up, loops: vec![uses] }
}

/// The closed solid between `upper` and `lower` inside one closed smooth loop, its walls along z, with rounds of `radius` mm
/// between walls and faces; where two rounds leave no wall they meet. `names`: upper, lower, wall. The faces come in this
/// order, then the rounds below, the walls, the rounds above.
///
/// # Errors
/// A radius that does not fit.
pub fn rounded_slab(
    name: &str,
    upper: &TensorSpline,
    lower: &TensorSpline,
    outline: &[Curve<2>],
    radius: f64,
    names: [&str; 3],
) -> Result<Brep, RoundFault> {
    plan::parallel(outline, -radius).ok_or(RoundFault::Outline)?;
    let rolled = Rolled { upper, lower, radius };
    let (least, most) = rolled.walls(outline);
    let full = most < NO_WALL_MM;
    if least < -NO_WALL_MM || (!full && least <= 0.0) {
        return Err(RoundFault::Faces);
    }
    let pieces: Vec<Vec<Curve<3>>> =
        outline.iter().map(|p| rolled.along(p, full)).collect::<Option<_>>().ok_or(RoundFault::Faces)?;
    let columns = |from: usize, to: usize| pieces.iter().map(|c| &c[from..=to]).collect::<Vec<_>>();
    let ring = |k: usize| pieces.iter().map(|c| &c[k]).collect::<Vec<_>>();
    let mut b = Brep { name: name.into(), closed: true, ..Brep::default() };
    let mut edges = |k: usize| add_loop(&mut b, &ring(k).into_iter().cloned().collect::<Vec<_>>());
    let (foot, low) = (edges(0), edges(3));
    let high = if full { low } else { edges(4) };
    let head = edges(7);
    b.faces.push(trimmed(names[0], upper, head, &ring(7), true));
    b.faces.push(trimmed(names[1], lower, foot, &ring(0), false));
    let mut add = |ends: [usize; 2], columns: Vec<&[Curve<3>]>, what: &str| {
        let faces = strip(&mut b, ends, &columns, true, |i| format!("{what} {}", i + 1));
        b.faces.extend(faces);
    };
    add([foot, low], columns(0, 3), &format!("{} to {}", names[2], names[1]));
    if !full {
        add([low, high], columns(3, 4), names[2]);
    }
    add([high, head], columns(4, 7), &format!("{} to {}", names[2], names[0]));
    Ok(b)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::num::Knots;
    use std::f64::consts::PI;

    const NAMES: [&str; 3] = ["underside", "top", "rail"];
    fn flat(z: f64) -> TensorSpline {
        let k = Knots::uniform(3, 3, -60.0, 60.0);
        TensorSpline::new(k.clone(), k, vec![z; 36]).unwrap()
    }
    /// A round disc of radius R with rounded rims, by the theorems of Pappus and Guldin: quarter discs of radius r have their
    /// centre of gravity 4 r / 3 pi, quarter arcs 2 r / pi from their centres.
    #[test]
    fn a_disc_with_a_rounded_rim_is_that_of_pappus() {
        let (big, t) = (40.0, 8.0);
        for (r, faces) in [(1.0, 8), (2.5, 8), (4.0, 6)] {
            let disc = rounded_slab("disc", &flat(3.0), &flat(3.0 - t), &plan::circle([2.0, -1.0], big), r, NAMES);
            let disc = disc.unwrap();
            assert_eq!(disc.faults(), Vec::<String>::new());
            assert_eq!(disc.faces.len(), faces);
            let c = big - r;
            let volume = PI * c * c * t
                + 2.0 * (2.0 * PI * (c + 4.0 * r / (3.0 * PI))) * (PI * r * r / 4.0)
                + 2.0 * PI * (c + r / 2.0) * r * (t - 2.0 * r);
            let area = 2.0 * PI * c * c
                + 2.0 * (2.0 * PI * (c + 2.0 * r / PI)) * (PI * r / 2.0)
                + 2.0 * PI * big * (t - 2.0 * r);
            let m = disc.measure();
            assert!((m.volume_mm3 / volume - 1.0).abs() < 1e-4, "{r}: {} {volume}", m.volume_mm3);
            assert!((m.area_mm2 / area - 1.0).abs() < 1e-4, "{r}: {} {area}", m.area_mm2);
        }
    }
    /// On a vault every place of a round is one radius from the ball's centre, and the ball touches the vault: its centre is
    /// one radius from it too (here by a fine search along the section).
    #[test]
    fn rounds_on_a_vault_are_rolled_by_a_ball() {
        let (big, r) = (150.0_f64, 3.0);
        let vault = |z: f64, radius: f64| {
            let k = Knots::uniform(3, 60, -60.0, 60.0);
            let g = k.greville();
            let v = DMatrix::from_fn(g.len(), 1, |i, _| z + (radius * radius - g[i] * g[i]).sqrt() - radius);
            let c = interpolate(&k, &v).unwrap();
            let n = k.len();
            TensorSpline::new(k.clone(), k, c.iter().flat_map(|c| std::iter::repeat_n(*c, n)).collect()).unwrap()
        };
        let (upper, lower) = (vault(0.0, big), vault(-9.0, big - 9.0));
        let b = rounded_slab("vault", &upper, &lower, &plan::circle([0.0, 0.0], 45.0), r, NAMES).unwrap();
        assert_eq!(b.faults(), Vec::<String>::new());
        for f in b.faces.iter().filter(|f| f.name.starts_with("rail to underside")) {
            for i in 0..=10 {
                let u = f64::from(i) / 10.0;
                let wall = Vector3::from(f.surface.at(u, 0.0));
                let c = wall - Vector3::new(wall.x, wall.y, 0.0).normalize() * r;
                for j in 0..=10 {
                    let p = Vector3::from(f.surface.at(u, f64::from(j) / 10.0));
                    assert!(((p - c).norm() - r).abs() < EDGE_MM / 2.0, "{}", (p - c).norm());
                }
                // the vault's axis runs along y through (0, -R)
                let depth = big - c.x.hypot(c.z + big);
                assert!((depth - r).abs() < EDGE_MM / 2.0, "{depth}");
            }
        }
    }
    #[test]
    fn radii_that_do_not_fit_are_refused() {
        let disc = |r, big| rounded_slab("disc", &flat(0.0), &flat(-8.0), &plan::circle([0.0, 0.0], big), r, NAMES);
        assert_eq!(disc(4.5, 40.0).unwrap_err(), RoundFault::Faces);
        assert_eq!(disc(3.0, 3.1).unwrap_err(), RoundFault::Outline);
    }
}
