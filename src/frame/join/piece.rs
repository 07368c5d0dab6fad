//! What a scan shows of the board, in a frame and size of its own: the unit is the width of its smooth patch.
use crate::error::Result;
use crate::frame::FrameOptions;
use crate::frame::explain::{self, Choice, Seen};
use crate::frame::local::{Local, NEIGHBOURS, locals, searchable};
use crate::frame::order::Ordered;

use crate::geom::Similarity;
use crate::num::median;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Matrix3, Point3, Vector3};

/// How far below the patch rail walls hang and above it trucks stand, in widths: a floor lies farther below.
const BELOW: f64 = 0.15;
const ABOVE: f64 = 0.7;
/// And how far beside its box.
const BESIDE: f64 = 0.1;
/// Points with neighbours farther away than this many times the usual are strays.
const LONE_RATIO: f64 = 2.5;
/// And those whose neighbours spread this much of their reach along the normal lie on no face: a ball of points has 0.45.
const FLAT_RATIO: f64 = 0.25;
/// Passes that share the normals' noise: three reach some five spacings far, a centimetre or two on a usual board.
const SMOOTHINGS: usize = 3;
/// Cosine of the angle within which normals belong to one face: the noise of a plane fit stays below 30 degrees, a rail does not.
const ONE_FACE: f64 = 0.866;

/// A scan's board points, thinned, in widths of its patch; x along the patch, z out of it.
pub(super) struct Piece {
    /// From the scan's frame and unit.
    pub from_scan: Similarity,
    pub points: Vec<Point3<f64>>,
    /// Unit normals, signs arbitrary.
    pub normals: Vec<Vector3<f64>>,
    /// Where the patch begins and ends along x.
    pub ends: [f64; 2],
    /// Distance of neighbouring points.
    pub spacing: f64,
    tree: ImmutableKdTree<f64, 3>,
}

impl Piece {
    pub fn new(points: &[Point3<f64>], options: &FrameOptions) -> Result<Self> {
        let ordered = Ordered::new(points);
        let (voxel, thin) = ordered.thinned();
        let around = locals(&thin)?;
        let Choice { board, up, .. } = explain::choose(&Seen {
            points: &thin,
            locals: &around,
            voxel,
            options,
            aspect: explain::PART_ASPECT,
            thickness: 0.0,
        })?;
        let x = (board.long_axis - up * board.long_axis.dot(&up)).normalize();
        let rotation = Matrix3::from_rows(&[x.transpose(), up.cross(&x).transpose(), up.transpose()]);
        let scale = 1.0 / board.size[1];
        let from_scan = Similarity { rotation, scale, translation: -scale * (rotation * board.centre) };
        let patch: Vec<Point3<f64>> = board.members.iter().map(|&i| from_scan.apply(&thin[i as usize])).collect();
        let bounds =
            |k: usize| patch.iter().fold([f64::INFINITY, f64::NEG_INFINITY], |r, p| [r[0].min(p[k]), r[1].max(p[k])]);
        let [along, across, high] = [0, 1, 2].map(bounds);
        let body: Vec<Point3<f64>> = (ordered.points.iter())
            .map(|p| from_scan.apply(p))
            .filter(|p| {
                let beside = |v: f64, r: [f64; 2]| v > r[0] - BESIDE && v < r[1] + BESIDE;
                beside(p.x, along) && beside(p.y, across) && p.z > high[0] - BELOW && p.z < high[1] + ABOVE
            })
            .collect();
        let (_, body) = Ordered::new(&body).thinned();
        let local = locals(&body)?;
        let reach = median(&local.iter().map(|l| l.reach).collect::<Vec<_>>());
        let (points, normals): (Vec<_>, Vec<_>) = smoothed(&body, &local)
            .into_iter()
            .zip(&local)
            .filter(|(_, l)| l.reach < LONE_RATIO * reach && l.roughness < FLAT_RATIO * l.reach)
            .map(|(smooth, _)| smooth)
            .unzip();
        let (_, tree) = searchable(&points)?;
        // so many neighbours lie within their reach
        let spacing = reach * (std::f64::consts::PI / NEIGHBOURS as f64).sqrt();
        Ok(Self { from_scan, points, normals, ends: along, spacing, tree })
    }
    /// The index of the point next to `p`.
    pub fn nearest(&self, p: &Point3<f64>) -> Option<usize> {
        let found = self.tree.query(&p.coords.into()).nearest_one::<SquaredEuclidean<f64>>().execute();
        let i = found.item as usize;
        (i < self.points.len()).then_some(i)
    }
    pub fn length(&self) -> f64 {
        self.ends[1] - self.ends[0]
    }
}

/// Points and normals with their noise shared among neighbours of one face. A normal's own noise would hold every slide, as
/// if the face were rough there, and a weakly held one would creep.
fn smoothed(points: &[Point3<f64>], local: &[Local]) -> Vec<(Point3<f64>, Vector3<f64>)> {
    let mut normals: Vec<Vector3<f64>> = local.iter().map(|l| l.normal).collect();
    for _ in 0..SMOOTHINGS {
        normals = (local.iter().enumerate())
            .map(|(i, l)| {
                let own = normals[i];
                let near = l.near.iter().map(|&j| normals[j as usize]);
                let sum = near.fold(own, |sum, n| {
                    let along = own.dot(&n);
                    if along.abs() > ONE_FACE { sum + n * along.signum() } else { sum }
                });
                sum.normalize()
            })
            .collect();
    }
    let onto_plane = |i: usize| {
        let (p, n) = (points[i], normals[i]);
        let face: Vec<f64> = (local[i].near.iter().map(|&j| j as usize))
            .filter(|&j| n.dot(&normals[j]).abs() > ONE_FACE)
            .map(|j| n.dot(&(points[j] - p)))
            .collect();
        (p + n * (face.iter().sum::<f64>() / (face.len() + 1) as f64), n)
    };
    (0..points.len()).map(onto_plane).collect()
}
