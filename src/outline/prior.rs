//! What is believed before the photos speak: of lenses, of the scan's rim, of the surface under the rail, of its rounding.
use super::STATIONS;
use super::camera::{LENS, Lens};
use super::photo::Picture;
use super::rim::{CONTROLS, Rim};
use nalgebra::{DMatrix, Matrix3, Vector3};

/// Focal length over long side without EXIF data: 26 mm equivalent, the usual main camera of a phone.
const USUAL_FOCAL: f64 = 26.0 / 36.0;
/// Relative standard deviation of the focal length with EXIF data (whole mm, and the width of film or its diagonal is taken
/// for the standard's 35 mm: 4 % apart on 4 : 3) and without.
const FOCAL_SD: [f64; 2] = [0.03, 0.15];
/// Standard deviation of the principal point in focal lengths: of a whole picture (a lens's own, and its stabiliser's), and
/// of one cut on some side.
const CENTRE_SD: [f64; 2] = [0.005, 0.1];
/// Standard deviations of a whole picture's principal point from which on it is taken for a cut one's: nearer, other faults of a lens look
/// the same.
const MOVED: f64 = 5.0;
/// Standard deviations of k1 and k2: phones correct most of their distortion.
pub(super) const K_SD: [f64; 2] = [0.05, 0.03];
/// What a scan loses differs from place to place, on all scales up to a side or an end: correlated as exp(-distance) over this share
/// of the way round (what the scan has lost at the sides and at either end as a whole stands beside it).
const LONG_RATIO: f64 = 1.0 / 8.0;

/// All that is believed.
#[derive(Clone)]
pub(super) struct Believed {
    pub lenses: Vec<LensPrior>,
    pub rim: RimPrior,
    /// The surface's standard deviation under the rail at each control, mm.
    pub surface_sd: Vec<f64>,
    /// Mean and standard deviation of the radius of the rail's rounding, mm.
    pub radius: [f64; 2],
}
/// What is believed of a lens before the solve.
#[derive(Debug, Clone)]
pub(super) struct LensPrior {
    pub focal: f64,
    /// Of ln focal.
    pub focal_sd: f64,
    pub centre: [f64; 2],
    /// In focal lengths.
    pub centre_sd: f64,
}
impl LensPrior {
    /// Of the lens that took this picture.
    pub fn of(p: &Picture) -> Self {
        Self {
            focal: p.focal_px.unwrap_or(USUAL_FOCAL * p.width.max(p.height) as f64),
            // a cut leaves the EXIF focal length in pixels unknown as well, also one that kept the sides' ratio
            focal_sd: FOCAL_SD[usize::from(p.focal_px.is_none() || p.cropped || p.resized)],
            centre: [p.width as f64 / 2.0, p.height as f64 / 2.0],
            centre_sd: CENTRE_SD[usize::from(p.cropped)],
        }
    }
    /// Whether its picture has been cut on some side.
    pub fn is_cut(&self) -> bool {
        self.centre_sd >= CENTRE_SD[1]
    }
    /// Of the same lens where the picture has been cut; `None` where it is so already.
    pub fn as_cut(&self) -> Option<Self> {
        (!self.is_cut()).then(|| Self { focal_sd: FOCAL_SD[1], centre_sd: CENTRE_SD[1], ..self.clone() })
    }
    /// Whether a principal point lies where a whole picture's does not.
    pub fn moved(&self, l: &Lens) -> bool {
        let off = self.deviation(l);
        off[3].hypot(off[4]) > MOVED * CENTRE_SD[0]
    }
    /// In a picture of so many times as many pixels along a side.
    pub fn enlarged(&self, by: f64) -> Self {
        Self { focal: by * self.focal, centre: self.centre.map(|c| by * c), ..self.clone() }
    }
    /// How far a lens is from what is believed of it: ln focal, k1, k2, and the principal point in focal lengths.
    pub fn deviation(&self, l: &Lens) -> [f64; LENS] {
        let f = self.focal;
        [(l.focal / f).ln(), l.k[0], l.k[1], (l.centre[0] - self.centre[0]) / f, (l.centre[1] - self.centre[1]) / f]
    }
    /// Standard deviations of these.
    pub fn sd(&self) -> [f64; LENS] {
        [self.focal_sd, K_SD[0], K_SD[1], self.centre_sd, self.centre_sd]
    }
}
/// What a scan has lost as a whole is this much larger, at most, than what differs along its rim: causes of the one are causes of the
/// other. A photo cannot tell some ways in which a rim differs from those of its camera, so that they must not be taken for
/// impossible.
const WHOLE_FACTOR: f64 = 2.0;

/// Correlation matrix of values along the rim by the chord between two places on a circle of circumference 1: positive definite
/// for kernels that are so in the plane.
fn along_the_rim(kernel: impl Fn(f64) -> f64) -> DMatrix<f64> {
    DMatrix::from_fn(CONTROLS, CONTROLS, |i, j| {
        let t = (i as f64 - j as f64) / CONTROLS as f64;
        kernel((std::f64::consts::PI * t).sin().abs() / std::f64::consts::PI)
    })
}
/// Of smooth values that go together over a share of the way round.
pub(super) fn smooth(ratio: f64) -> DMatrix<f64> {
    along_the_rim(|chord| (-0.5 * (chord / ratio).powi(2)).exp())
}
/// Of values that differ on all scales up to a share of the way round.
fn rough(ratio: f64) -> DMatrix<f64> {
    along_the_rim(|chord| (-chord / ratio).exp())
}
/// Covariance of how far the rim lies inside the rail, mm^2 at the controls.
#[derive(Clone)]
pub(super) struct RimPrior {
    /// Of what the sides and either end have lost as a whole.
    lost: DMatrix<f64>,
    long: DMatrix<f64>,
    short: DMatrix<f64>,
    /// Least standard deviation of what differs along the rim, mm.
    pub least_mm: f64,
}
impl RimPrior {
    /// From the standard uncertainty at the sides and at the ends, mm: one loss for both sides, one for either end, for these are
    /// seen from other directions; what rounds the sides rounds the ends too, so that half of the doubt is common.
    pub fn new(rim: &Rim, doubt_mm: [f64; 2]) -> Self {
        // a rim without any doubt still needs a covariance
        let [side, end] = doubt_mm.map(|d| d.max(1e-3).powi(-2));
        let tie = side.min(end);
        let precision = Matrix3::new(side + 2.0 * tie, -tie, -tie, -tie, end + tie, 0.0, -tie, 0.0, end + tie);
        let covariance = precision.try_inverse().unwrap_or_default();
        let share = |k: usize| {
            let n = rim.normal[k * STATIONS / CONTROLS];
            let end = n[0] * n[0];
            let (nose, tail) = if n[0] > 0.0 { (end, 0.0) } else { (0.0, end) };
            Vector3::new(n[1] * n[1], nose, tail)
        };
        let lost = DMatrix::from_fn(CONTROLS, CONTROLS, |i, j| share(i).dot(&(covariance * share(j))));
        Self {
            lost,
            long: rough(LONG_RATIO),
            short: smooth(1.0 / CONTROLS as f64),
            least_mm: doubt_mm[0].min(doubt_mm[1]) / WHOLE_FACTOR,
        }
    }
    /// With standard deviations, mm, of what differs along the rim: over long and over short stretches.
    pub fn covariance(&self, [long, short]: [f64; 2]) -> DMatrix<f64> {
        let mut c = &self.lost + &self.long * long.powi(2) + &self.short * short.powi(2);
        // smooth kernels alone are singular to rounding
        (0..CONTROLS).for_each(|i| c[(i, i)] *= 1.0 + 1e-6);
        c
    }
}
/// Standard deviation of how a wall leans, as it is found in a scan: clouds tell it to a tenth or two, but fused scans find walls square to
/// the underside anything from that to upright, which is a rectangular law (JCGM 100:2008, 4.3.7).
pub(super) const LEAN_SD: f64 = 0.5 / 1.732_050_807_568_877_2;
/// Greatest error of a rail's radius read with a gauge, mm (common practice, no source): gauges go by half millimetres, and a
/// sanded rail is no arc.
const GAUGE_MM: f64 = 1.0;

/// Mean and standard deviation of the radius of a rail's rounding, mm: as measured, else anything from none to half the
/// thickness; rectangular laws (JCGM 100:2008, 4.3.7).
pub(super) fn rounding(thickness_mm: f64, measured_mm: Option<f64>) -> [f64; 2] {
    let [middle, half] = measured_mm.map_or([thickness_mm / 4.0; 2], |r| [r, GAUGE_MM]);
    [middle, half / 3f64.sqrt()]
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::Polygon;
    use crate::num::{Knots, TensorSpline};
    use crate::outline::photo::pictured;
    /// By hand: at the middle of a long side the variance is the sides', at a tip that end's; the two tips share less than a tip
    /// and a side do.
    #[test]
    fn sides_and_ends_have_their_own_doubt() {
        let points = (0..600)
            .map(|i| f64::from(i) / 600.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), 100.0 * a.sin()])
            .collect();
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let flat = TensorSpline::new(x, y, vec![0.0; 16]).unwrap();
        let rim = Rim::new(&Polygon { points }, &flat).unwrap();
        let c = RimPrior::new(&rim, [1.0, 1.0]).covariance([0.0, 0.0]);
        let at = |n: [f64; 2]| {
            let dot = |k: usize| rim.normal[k * STATIONS / CONTROLS];
            (0..CONTROLS).fold(0, |b, k| {
                let v = |k: usize| dot(k)[0] * n[0] + dot(k)[1] * n[1];
                if v(k) > v(b) { k } else { b }
            })
        };
        let (nose, tail, left) = (at([1.0, 0.0]), at([-1.0, 0.0]), at([0.0, 1.0]));
        // precision [[3, -1, -1], [-1, 2, 0], [-1, 0, 2]] has the inverse [[4, 2, 2], [2, 5, 1], [2, 1, 5]] / 8
        for ((i, j), want) in [((left, left), 0.5), ((nose, nose), 0.625), ((nose, left), 0.25), ((nose, tail), 0.125)]
        {
            assert!((c[(i, j)] - want).abs() < 0.02, "{i} {j}: {} {want}", c[(i, j)]);
        }
        assert!(RimPrior::new(&rim, [0.0, 0.0]).covariance([0.1, 0.05]).cholesky().is_some());
    }
    /// A size other than the EXIF data's leaves the focal length as little known as no EXIF data.
    #[test]
    fn a_resized_photos_focal_length_is_believed_less() {
        let whole = Picture { focal_px: Some(30.0), ..pictured(&image::RgbImage::new(40, 30)) };
        let of = |p: &Picture| LensPrior::of(p).focal_sd;
        assert_eq!(of(&whole), FOCAL_SD[0]);
        assert_eq!(of(&Picture { resized: true, ..whole.clone() }), FOCAL_SD[1]);
        assert_eq!(of(&Picture { focal_px: None, ..whole }), FOCAL_SD[1]);
    }
    /// By hand: 15 and 20 pixels of 1000 are .025 of a focal length, five standard deviations of .005.
    #[test]
    fn a_cut_leaves_the_middle_unknown() {
        let whole = LensPrior { focal: 1000.0, focal_sd: FOCAL_SD[0], centre: [800.0, 600.0], centre_sd: CENTRE_SD[0] };
        let lens = |by: f64| Lens { focal: 1000.0, k: [0.0; 2], centre: [800.0 + 15.0 * by, 600.0 - 20.0 * by] };
        assert!(!whole.moved(&lens(0.99)) && whole.moved(&lens(1.01)));
        let cut = whole.as_cut().unwrap();
        assert!((cut.focal_sd, cut.centre_sd) == (FOCAL_SD[1], CENTRE_SD[1]) && cut.is_cut() && cut.as_cut().is_none());
        let twice = cut.enlarged(2.0);
        assert!((twice.focal, twice.centre, twice.centre_sd) == (2000.0, [1600.0, 1200.0], CENTRE_SD[1]));
    }
    #[test]
    fn rounding_is_between_none_and_half_the_thickness() {
        let [mean, sd] = rounding(12.0, None);
        assert!((mean - 3.0).abs() < 1e-12 && (sd - 6.0 / 12f64.sqrt()).abs() < 1e-12);
        assert_eq!(rounding(12.0, Some(5.0))[0], 5.0);
        assert!(rounding(12.0, Some(5.0))[1] < sd);
    }
}
