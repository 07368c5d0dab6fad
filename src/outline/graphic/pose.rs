//! A camera from patches found in its photo: each is the scan's, with a displacement of a normal law, or found by chance anywhere.
//!
//! # References
//! A. P. Dempster, N. M. Laird and D. B. Rubin 1977, *Maximum likelihood from incomplete data via the EM algorithm*, for the mixture.
use super::super::camera::{Camera, LENS, POSE};
use super::super::prior::LensPrior;
use super::super::rim::Rim;
use crate::num::TensorSpline;
use nalgebra::{Matrix2, SMatrix, SVector, Vector2};

/// Unknown of a camera.
const UNKNOWN: usize = POSE + LENS;
/// How far a scan misplaces its colours from place to place, mm as a standard deviation: what is tried.
const SCATTER_MM: [f64; 10] = [0.05, 0.1, 0.2, 0.3, 0.5, 0.8, 1.3, 2.2, 3.6, 6.0];
/// By how much the pictures' noise makes the covariances larger than their own correlations say: what is tried.
const NOISE: [f64; 6] = [0.25, 0.5, 1.0, 2.0, 4.0, 8.0];
/// Unknowns of a camera that patches tell: pose, focal length, k1.
const TOLD: f64 = 8.0;
/// Shares of the patches that are right: what is tried.
const RIGHT: [f64; 9] = [0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.98];
/// Rounds of weights and steps.
const ROUNDS: usize = 12;

/// A place of the scan's colours and where a photo shows it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(in super::super) struct Match {
    /// In plan.
    pub at: [f64; 2],
    pub px: [f64; 2],
    /// Inverse of its covariance in plan, 1 / mm2.
    pub information: Matrix2<f64>,
}
/// How far a match is off a camera, and how that changes.
pub(in super::super) struct Off {
    /// mm in plan.
    pub mm: Vector2<f64>,
    /// Derivatives of where it is predicted, in plan: with the pose, the lens.
    pub pose: [Vector2<f64>; POSE],
    pub lens: [Vector2<f64>; LENS],
}
impl Match {
    /// By a camera, with the colours' common shift in plan.
    pub fn off(&self, c: &Camera, z: &TensorSpline, shift: [f64; 2]) -> Option<Off> {
        let [x, y] = [0, 1].map(|k| self.at[k] + shift[k]);
        let [z, along, across] = z.slopes(x, y);
        let q = c.projection([x, y, z]);
        let column = |k: usize, rise: f64| q.point.column(k) + rise * q.point.column(2);
        let inverse = Matrix2::from_columns(&[column(0, along), column(1, across)]).try_inverse()?;
        let plan = |g: [f64; 2]| inverse * Vector2::from(g);
        Some(Off {
            mm: plan([self.px[0] - q.pixel[0], self.px[1] - q.pixel[1]]),
            pose: q.pose.map(plan),
            lens: q.lens.map(plan),
        })
    }
    /// Square root of the information: residuals in standard deviations.
    pub fn root(&self) -> Matrix2<f64> {
        let e = self.information.symmetric_eigen();
        let values = e.eigenvalues.map(|v| v.max(0.0).sqrt());
        e.eigenvectors * Matrix2::from_diagonal(&values) * e.eigenvectors.transpose()
    }
}
/// A match's information by its own axes.
struct Axes {
    values: [f64; 2],
    vectors: Matrix2<f64>,
}
impl Axes {
    fn of(m: &Match) -> Self {
        let e = m.information.symmetric_eigen();
        Self { values: [0, 1].map(|k| e.eigenvalues[k].max(0.0)), vectors: e.eigenvectors }
    }
}
/// What matches tell of a camera.
pub(super) struct Solved {
    pub camera: Camera,
    /// Logarithm of how much likelier the matches are than by chance.
    pub evidence: f64,
    mixture: Mixture,
    /// How likely each match is right.
    pub right: Vec<f64>,
    /// By how much that makes covariances larger.
    followed: f64,
    /// Covariance of pose and lens.
    covariance: SMatrix<f64, UNKNOWN, UNKNOWN>,
}
/// The mixture of right and chance.
#[derive(Clone, Copy)]
struct Mixture {
    scatter_mm: f64,
    noise: f64,
    right: f64,
}
impl Mixture {
    /// The information on a match that is right, along its own axes.
    fn left(&self, own: &Axes) -> [f64; 2] {
        own.values.map(|v| v / (self.noise + v * self.scatter_mm * self.scatter_mm))
    }
    fn information(&self, own: &Axes) -> Matrix2<f64> {
        own.vectors * Matrix2::from_diagonal(&Vector2::from(self.left(own))) * own.vectors.transpose()
    }
    /// How many times likelier than by chance a match that is right is, so far off along its own axes.
    fn likelier(&self, own: &Axes, off: &Vector2<f64>, window_mm2: f64) -> f64 {
        // nothing is told along an edge: there it lies anywhere in the window
        let [a, b] = self.left(own).map(|v| v + anywhere(window_mm2));
        let squares = a * off.x * off.x + b * off.y * off.y;
        (a * b).sqrt() / std::f64::consts::TAU * (-0.5 * squares).exp() * window_mm2
    }
}
/// The information of a law that is even over a window.
fn anywhere(window_mm2: f64) -> f64 {
    12.0 / window_mm2
}
/// The camera that sees the matches where they are, near `start`; each was looked for in a window of so many mm2.
pub(super) fn solve(
    start: &Camera,
    lens: &LensPrior,
    z: &TensorSpline,
    matches: &[Match],
    window_mm2: f64,
) -> Option<Solved> {
    let mut camera = start.clone();
    let axes: Vec<Axes> = matches.iter().map(Axes::of).collect();
    // at first all that was found may be right
    let mut mixture = Mixture { scatter_mm: (window_mm2 / 12.0).sqrt(), noise: 1.0, right: 0.5 };
    let mut last = None;
    for round in 0..ROUNDS {
        let off: Vec<Off> = matches.iter().map(|m| m.off(&camera, z, [0.0; 2])).collect::<Option<_>>()?;
        let along: Vec<Vector2<f64>> = off.iter().zip(&axes).map(|(o, own)| own.vectors.transpose() * o.mm).collect();
        let likelier = |x: &Mixture| -> Vec<f64> {
            along.iter().zip(&axes).map(|(off, own)| x.likelier(own, off, window_mm2)).collect()
        };
        let evidence = |l: &[f64], right: f64| l.iter().map(|l| (right * l + 1.0 - right).ln()).sum::<f64>();
        if round > 0 {
            // the share that is right, and their scatter, in turns
            let scatters = SCATTER_MM.into_iter().flat_map(|s| NOISE.map(|noise| (s, noise)));
            let tried = scatters.map(|(scatter_mm, noise)| {
                let x = Mixture { scatter_mm, noise, ..mixture };
                (evidence(&likelier(&x), x.right), x)
            });
            mixture = tried.max_by(|a, b| a.0.total_cmp(&b.0))?.1;
            let l = likelier(&mixture);
            let tried = RIGHT.map(|right| (evidence(&l, right), right));
            mixture.right = tried.into_iter().max_by(|a, b| a.0.total_cmp(&b.0))?.1;
        }
        let likelier = likelier(&mixture);
        let mut a = SMatrix::<f64, UNKNOWN, UNKNOWN>::zeros();
        let mut b = SVector::<f64, UNKNOWN>::zeros();
        let mut right = Vec::with_capacity(matches.len());
        let mut observed = 0.0;
        for ((o, own), l) in off.iter().zip(&axes).zip(&likelier) {
            let w = mixture.right * l / (mixture.right * l + 1.0 - mixture.right);
            right.push(w);
            let left = mixture.left(own);
            observed += w * left.iter().map(|v| v / (v + anywhere(window_mm2))).sum::<f64>();
            let i = mixture.information(own) * w;
            let columns: Vec<Vector2<f64>> = o.pose.iter().chain(&o.lens).copied().collect();
            let j = SMatrix::<f64, 2, UNKNOWN>::from_columns(&columns);
            a += j.transpose() * i * j;
            b += j.transpose() * (i * o.mm);
        }
        for (k, (u, sd)) in lens.deviation(&camera.lens).into_iter().zip(lens.sd()).enumerate() {
            a[(POSE + k, POSE + k)] += sd.powi(-2);
            b[POSE + k] -= u / (sd * sd);
        }
        // the camera follows its own matches: what it takes of their scatter
        let followed = observed / (observed - TOLD).max(1.0);
        let covariance = a.cholesky()?.inverse();
        let x = covariance * b;
        if !x.iter().all(|v| v.is_finite()) || x.amax() > 0.5 {
            return None;
        }
        last = Some(Solved {
            camera: camera.clone(),
            evidence: evidence(&likelier, mixture.right),
            mixture,
            right,
            covariance: covariance * followed,
            followed,
        });
        camera.lens = camera.lens.changed(&x.as_slice()[POSE..]);
        camera = camera.moved(&x.as_slice()[..POSE]);
        if round > 2 && x.amax() < 1e-7 {
            break;
        }
    }
    last
}
impl Solved {
    /// A match with the information that the scatter of all leaves it.
    pub fn weighed(&self, m: &Match) -> Match {
        Match { information: self.mixture.information(&Axes::of(m)) / self.followed, ..*m }
    }
    /// Standard error of places along the rim as the camera sees them, mm rms in plan.
    pub fn rim_error_mm(&self, rim: &Rim) -> f64 {
        let stations = (0..rim.plan.len()).step_by(rim.plan.len().div_ceil(48).max(1));
        let one = |i: usize| {
            let at = rim.plan[i];
            let m = Match { at, px: [0.0; 2], information: Matrix2::identity() };
            let o = m.off(&self.camera, rim.z, [0.0; 2])?;
            let columns: Vec<Vector2<f64>> = o.pose.iter().chain(&o.lens).copied().collect();
            let j = SMatrix::<f64, 2, UNKNOWN>::from_columns(&columns);
            Some((j * self.covariance * j.transpose()).trace() / 2.0)
        };
        let all: Vec<f64> = stations.filter_map(one).collect();
        (all.iter().sum::<f64>() / all.len().max(1) as f64).sqrt()
    }
}
