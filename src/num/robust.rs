//! Order statistics and robust scale.

/// The `q` quantile (0..=1) by linear interpolation of order statistics; NaN for no values. NaNs sort last.
pub fn quantile(values: &[f64], q: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let mut v = values.to_vec();
    let t = q.clamp(0.0, 1.0) * (v.len() - 1) as f64;
    let i = t.floor() as usize;
    let (_, low, above) = v.select_nth_unstable_by(i, f64::total_cmp);
    let high = above.iter().copied().min_by(f64::total_cmp).unwrap_or(*low);
    *low + (high - *low) * (t - i as f64)
}
/// The `q` quantile (0..=1) as the nearest lower order statistic, in linear time; reorders `values`. NaN for no values.
pub fn quantile_select(values: &mut [f64], q: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let k = (q.clamp(0.0, 1.0) * (values.len() - 1) as f64) as usize;
    *values.select_nth_unstable_by(k, f64::total_cmp).1
}
/// The root mean square; 0 of nothing.
pub fn rms(values: &[f64]) -> f64 {
    (values.iter().map(|v| v * v).sum::<f64>() / values.len().max(1) as f64).sqrt()
}
/// The median.
pub fn median(values: &[f64]) -> f64 {
    quantile(values, 0.5)
}
/// Standard deviation estimated by the median absolute deviation about the median: 1.4826 MAD, exact for a normal law.
pub fn mad_sigma(values: &[f64]) -> f64 {
    let m = median(values);
    let d: Vec<f64> = values.iter().map(|v| (v - m).abs()).collect();
    1.482_602_218_505_602 * median(&d)
}
/// Tuning of Cauchy weights in standard deviations: 95 % efficiency for a normal law (Holland & Welsch 1977, from memory).
pub const CAUCHY_TUNING: f64 = 2.385;
/// Tuning of [`biweight`] in standard deviations: 95 % efficiency for a normal law (Holland & Welsch 1977, from memory).
pub const BIWEIGHT_TUNING: f64 = 4.685;
/// Tukey's redescending weight of a residual over its cut-off: 1 at 0, 0 from 1 on.
pub fn biweight(t: f64) -> f64 {
    if t.abs() < 1.0 { (1.0 - t * t).powi(2) } else { 0.0 }
}
