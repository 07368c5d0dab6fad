//! Places strewn evenly on a triangle.

/// Place number `k`, from 1, of a sequence that fills a triangle evenly however far it goes: shares of the sides from the first corner
/// to the second and to the third.
///
/// The golden-ratio sequence R2 (Roberts 2018, from memory), folded into the triangle.
pub fn strewn(k: u32) -> [f64; 2] {
    // root of g^3 = g + 1
    let plastic = 1.324_717_957_244_746_f64;
    let (u, v) = ((f64::from(k) / plastic).fract(), (f64::from(k) / (plastic * plastic)).fract());
    if u + v > 1.0 { [1.0 - u, 1.0 - v] } else { [u, v] }
}
