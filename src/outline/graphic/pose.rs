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
/// The information left when so many mm of scatter are added to the covariance.
fn scattered(information: Matrix2<f64>, mm: f64) -> Matrix2<f64> {
    let e = information.symmetric_eigen();
    let values = e.eigenvalues.map(|v| v / (1.0 + v * mm * mm));
    e.eigenvectors * Matrix2::from_diagonal(&values) * e.eigenvectors.transpose()
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
    /// The information on a match that is right.
    fn of(&self, information: Matrix2<f64>) -> Matrix2<f64> {
        scattered(information / self.noise, self.scatter_mm)
    }
    /// How much likelier a match is than by chance, and how likely it is right.
    fn tells(&self, off: &Vector2<f64>, information: Matrix2<f64>, window_mm2: f64) -> (f64, f64) {
        // nothing is told along an edge: there it lies anywhere in the window
        let i = self.of(information) + Matrix2::identity() * (12.0 / window_mm2);
        let normal = i.determinant().max(0.0).sqrt() / std::f64::consts::TAU * (-0.5 * off.dot(&(i * off))).exp();
        let right = self.right * normal * window_mm2;
        let all = right + 1.0 - self.right;
        (all.ln(), right / all)
    }
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
    // at first all that was found may be right
    let mut mixture = Mixture { scatter_mm: (window_mm2 / 12.0).sqrt(), noise: 1.0, right: 0.5 };
    let mut last = None;
    for round in 0..ROUNDS {
        let off: Vec<Off> = matches.iter().map(|m| m.off(&camera, z, [0.0; 2])).collect::<Option<_>>()?;
        let evidence = |x: &Mixture| {
            off.iter().zip(matches).map(|(o, m)| x.tells(&o.mm, m.information, window_mm2).0).sum::<f64>()
        };
        if round > 0 {
            let tried = SCATTER_MM.into_iter().flat_map(|scatter_mm| {
                NOISE.into_iter().flat_map(move |noise| RIGHT.map(|right| Mixture { scatter_mm, noise, right }))
            });
            let best = tried.map(|x| (evidence(&x), x)).max_by(|a, b| a.0.total_cmp(&b.0))?;
            mixture = best.1;
        }
        let mut a = SMatrix::<f64, UNKNOWN, UNKNOWN>::zeros();
        let mut b = SVector::<f64, UNKNOWN>::zeros();
        let mut right = Vec::with_capacity(matches.len());
        for (o, m) in off.iter().zip(matches) {
            let w = mixture.tells(&o.mm, m.information, window_mm2).1;
            right.push(w);
            let i = mixture.of(m.information) * w;
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
        let observed = 2.0 * right.iter().sum::<f64>();
        let followed = observed / (observed - TOLD).max(1.0);
        let covariance = a.cholesky()?.inverse();
        let x = covariance * b;
        if !x.iter().all(|v| v.is_finite()) || x.amax() > 0.5 {
            return None;
        }
        last = Some(Solved {
            camera: camera.clone(),
            evidence: evidence(&mixture),
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
    pub fn tells(&self) -> (f64, f64, f64) {
        (self.mixture.scatter_mm, self.mixture.noise, self.mixture.right)
    }
    /// A match with the information that the scatter of all leaves it.
    pub fn weighed(&self, m: &Match) -> Match {
        Match { information: self.mixture.of(m.information) / self.followed, ..*m }
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
