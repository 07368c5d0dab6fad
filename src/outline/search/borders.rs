//! How much of a shape lies on borders of any kind in a small picture.
use super::super::photo::Blocks;
use crate::num::median;

/// Borders count alike from this many times the picture's median step of brightness on: strong joints of a floor must not
/// outweigh a weak rail all round.
const CLEAR: f64 = 6.0;

/// How strong a border is at each pixel, 0 to 1, by its direction: the structure tensor, widened by a pixel.
pub(super) struct Borders {
    width: usize,
    height: usize,
    tensor: Vec<[f32; 3]>,
}
impl Borders {
    pub fn of((w, h, blocks): &Blocks) -> Self {
        let (w, h) = (*w, *h);
        let at = |x: usize, y: usize| blocks[y.min(h - 1) * w + x.min(w - 1)].mean;
        let raw: Vec<[f64; 3]> = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let (l, r) = (at(x.saturating_sub(1), y), at(x + 1, y));
                let (t, b) = (at(x, y.saturating_sub(1)), at(x, y + 1));
                (0..3).fold([0.0; 3], |j, k| {
                    let (u, v) = (r[k] - l[k], b[k] - t[k]);
                    [j[0] + u * u, j[1] + u * v, j[2] + v * v]
                })
            })
            .collect();
        let strength: Vec<f64> = raw.iter().map(|j| (j[0] + j[2]).sqrt()).collect();
        // a level of each channel is what rounding alone makes
        let clear = CLEAR * median(&strength).max(1.0);
        let tensor = (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let best = (0..9)
                    .map(|k| ((y + k / 3).clamp(1, h) - 1) * w + (x + k % 3).clamp(1, w) - 1)
                    .fold(i, |b, j| if strength[j] > strength[b] { j } else { b });
                let s = strength[best].max(clear).powi(2);
                raw[best].map(|v| (v / s) as f32)
            })
            .collect();
        Self { width: w, height: h, tensor }
    }
    /// Zero outside the picture.
    fn across(&self, p: [f64; 2], n: [f64; 2]) -> f64 {
        if !(p[0] >= 0.0 && p[1] >= 0.0 && p[0] < self.width as f64 && p[1] < self.height as f64) {
            return 0.0;
        }
        let [a, b, c] = self.tensor[p[1] as usize * self.width + p[0] as usize].map(f64::from);
        (a * n[0] * n[0] + 2.0 * b * n[0] * n[1] + c * n[1] * n[1]).max(0.0).sqrt()
    }
    /// The mean over a line moved by `at`, or 0 once it cannot come above `floor`.
    pub fn along(&self, line: &[[f64; 2]], normals: &[[f64; 2]], at: [f64; 2], floor: f64) -> f64 {
        let n = line.len();
        let mut sum = 0.0;
        for (k, (p, normal)) in line.iter().zip(normals).enumerate() {
            sum += self.across([p[0] + at[0], p[1] + at[1]], *normal);
            // even perfect borders from here on would not do
            if sum + (n - k - 1) as f64 <= floor * n as f64 {
                return 0.0;
            }
        }
        sum / n.max(1) as f64
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::photo::pictured;
    /// A step from black to white between the columns 7 and 8: a line on it across is on a border all along, a line beside it or
    /// along the other direction is not, and what cannot beat the floor is 0.
    #[test]
    fn a_step_is_a_border_across_it_alone() {
        let image = image::RgbImage::from_fn(16, 16, |u, _| image::Rgb([255 * u8::from(u > 7); 3]));
        let b = Borders::of(&pictured(&image).blocks(1));
        let line: Vec<[f64; 2]> = (2..14).map(|v| [8.0, f64::from(v) + 0.5]).collect();
        let along = |n: [f64; 2], at: [f64; 2], floor: f64| b.along(&line, &vec![n; line.len()], at, floor);
        assert!((along([1.0, 0.0], [0.0; 2], 0.0) - 1.0).abs() < 1e-6);
        assert!(along([0.0, 1.0], [0.0; 2], 0.0) < 1e-6);
        assert!(along([1.0, 0.0], [4.0, 0.0], 0.0) < 1e-6);
        assert_eq!(along([1.0, 0.0], [40.0, 0.0], 0.0), 0.0);
        assert_eq!(along([1.0, 0.0], [4.0, 0.0], 0.5), 0.0);
    }
}
