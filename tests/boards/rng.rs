//! Seeded random numbers.
use nalgebra::{Rotation3, Unit, UnitQuaternion, Vector3};
use std::f64::consts::TAU;

/// SplitMix64 (Steele, Lea, Flood 2014, doi 10.1145/2660193.2660195).
#[derive(Clone)]
pub struct Rng(u64);
impl Rng {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }
    /// A stream of its own for a part of the work, so that parts do not shift each other's numbers.
    pub fn fork(&self, part: u64) -> Self {
        let mut r = Self(self.0 ^ part.wrapping_mul(0xd134_2543_de82_ef95));
        r.next();
        r
    }
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }
    /// Uniform in [0, 1).
    pub fn unit(&mut self) -> f64 {
        (self.next() >> 11) as f64 / (1u64 << 53) as f64
    }
    pub fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }
    pub fn below(&mut self, n: usize) -> usize {
        (self.unit() * n as f64) as usize
    }
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }
    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * (1.0 - self.unit()).ln()).sqrt() * (TAU * self.unit()).cos()
    }
    pub fn normal3(&mut self) -> Vector3<f64> {
        Vector3::new(self.normal(), self.normal(), self.normal())
    }
    pub fn direction(&mut self) -> Vector3<f64> {
        loop {
            if let Some(d) = self.normal3().try_normalize(1e-6) {
                return d;
            }
        }
    }
    /// A rotation by any angle about any axis.
    pub fn rotation(&mut self) -> Rotation3<f64> {
        UnitQuaternion::from_axis_angle(&Unit::new_normalize(self.direction()), self.between(0.0, TAU))
            .to_rotation_matrix()
    }
}
#[test]
fn first_numbers_of_seed_1234567() {
    // the published test sequence of the generator (from memory)
    let mut r = Rng::new(1_234_567);
    assert_eq!([r.next(), r.next()], [6_457_827_717_110_365_317, 3_203_168_211_198_807_973]);
}
