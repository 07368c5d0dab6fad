//! Smooth random fields.
use super::rng::Rng;
use nalgebra::{Point3, Vector3};
use std::f64::consts::TAU;

/// Waves summed for one field: the field is then near enough to normally distributed (kurtosis off by 1.5 / 40).
const WAVES: usize = 40;

/// A stationary random field of unit variance with the covariance exp(-(d / length)^2 / 2), as a sum of random waves
/// (Rahimi and Recht 2007, random Fourier features).
pub struct Field {
    waves: Vec<(Vector3<f64>, f64)>,
}
impl Field {
    pub fn new(rng: &mut Rng, length_mm: f64) -> Self {
        let waves = (0..WAVES).map(|_| (rng.normal3() / length_mm, rng.between(0.0, TAU))).collect();
        Self { waves }
    }
    pub fn at(&self, p: &Point3<f64>) -> f64 {
        let sum: f64 = self.waves.iter().map(|(k, a)| (k.dot(&p.coords) + a).cos()).sum();
        sum * (2.0 / WAVES as f64).sqrt()
    }
}
/// A periodic function of [0, 1) of unit variance from its first harmonics.
pub struct Ring {
    terms: Vec<[f64; 2]>,
    norm: f64,
}
impl Ring {
    pub fn new(rng: &mut Rng, harmonics: usize) -> Self {
        let terms: Vec<[f64; 2]> = (0..harmonics).map(|_| [rng.normal(), rng.normal()]).collect();
        let norm = terms.iter().map(|c| (c[0] * c[0] + c[1] * c[1]) / 2.0).sum::<f64>().sqrt();
        Self { terms, norm }
    }
    pub fn at(&self, t: f64) -> f64 {
        let sum: f64 = self
            .terms
            .iter()
            .enumerate()
            .map(|(k, c)| {
                let (s, co) = (TAU * (k + 1) as f64 * t).sin_cos();
                c[0] * co + c[1] * s
            })
            .sum();
        sum / self.norm
    }
}
#[test]
fn fields_have_unit_variance_and_the_stated_correlation() {
    let mut r = Rng::new(3);
    let (mut sum, mut square, mut product) = (0.0, 0.0, 0.0);
    let n = 4000;
    for _ in 0..n {
        let f = Field::new(&mut r, 9.0);
        let (a, b) = (f.at(&Point3::new(100.0, 20.0, 3.0)), f.at(&Point3::new(109.0, 20.0, 3.0)));
        sum += a / f64::from(n);
        square += a * a / f64::from(n);
        product += a * b / f64::from(n);
    }
    // at one length the correlation is exp(-1/2); standard errors are some .016
    assert!(sum.abs() < 0.05 && (square - 1.0).abs() < 0.07, "{sum} {square}");
    assert!((product - (-0.5f64).exp()).abs() < 0.06, "{product}");
}
