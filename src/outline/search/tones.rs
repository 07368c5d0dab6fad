//! A small picture as classes of colour, and how much a shape tells of them.
//!
//! # References
//! T. M. Cover, J. A. Thomas, *Elements of information theory*, 2006, 2.3: mutual information, here of a pixel's class and of
//! whether it lies inside the shape, by counts.
use super::super::edge;
use super::super::photo::Blocks;

/// Scatter of lightness within a block, levels, from which on it is texture: noise and compression of a plain face stay below.
const SMOOTH: f64 = 4.0;
/// Octaves of scatter from there on that are told apart.
const OCTAVES: usize = 3;

/// Lightness, of 255, to which hues are brought, and below which a hue is noise.
const EVEN: f64 = 128.0;
const DARK: f64 = 16.0;

/// What is told apart.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    /// Colour, lightness and texture.
    Colour,
    /// Hue alone: a shadow on the floor is floor (it has less light, of the same colour).
    Hue,
}
/// Pixels of a row, from and up to.
pub(super) type Span = [usize; 3];

/// A small picture's classes.
pub(super) struct Tones {
    pub width: usize,
    pub height: usize,
    class: Vec<u16>,
    /// Pixels of each class.
    total: Vec<u32>,
    /// n log2 n.
    n_log: Vec<f64>,
}
impl Tones {
    pub fn of((width, height, blocks): &Blocks, by: By) -> Self {
        let (width, height) = (*width, *height);
        let mut numbers = vec![None; edge::COLOURS * (OCTAVES + 1)];
        let mut total = Vec::new();
        let class = blocks.iter().map(|b| {
            let light = b.mean.iter().sum::<f64>() / 3.0;
            let texture = ((b.scatter / SMOOTH).log2().floor() + 1.0).max(0.0) as usize;
            let all = match by {
                By::Colour => edge::bin(b.mean) * (OCTAVES + 1) + texture.min(OCTAVES),
                By::Hue if light < DARK => 0,
                By::Hue => edge::bin(b.mean.map(|v| v * EVEN / light)),
            };
            let at = *numbers[all].get_or_insert_with(|| {
                total.push(0);
                total.len() - 1
            });
            total[at] += 1;
            at as u16
        });
        let class = class.collect();
        let n_log = (0..=width * height).map(|n| if n > 0 { n as f64 * (n as f64).log2() } else { 0.0 }).collect();
        Self { width, height, class, total, n_log }
    }
    /// What knowing a pixel's class tells of its lying inside, bits, moved by whole pixels.
    pub fn information(&self, inside: &[Span], [u, v]: [usize; 2]) -> f64 {
        let mut count = vec![0_u32; self.total.len()];
        for [row, from, to] in inside {
            let row = (row + v) * self.width + u;
            self.class[row + from..row + to].iter().for_each(|c| count[usize::from(*c)] += 1);
        }
        let all = self.class.len();
        let within = count.iter().sum::<u32>() as usize;
        let log = |n: usize| self.n_log[n];
        let split = |inside: usize, total: usize| log(inside) + log(total - inside) - log(total);
        let known: f64 = count.iter().zip(&self.total).map(|(i, t)| split(*i as usize, *t as usize)).sum();
        (known - split(within, all)) / all as f64
    }
}
/// The pixels inside a closed line by rows, even-odd, within a picture.
pub(super) fn spans(line: &[[f64; 2]], [width, height]: [usize; 2]) -> Vec<Span> {
    let mut crossings: Vec<Vec<f64>> = vec![Vec::new(); height];
    for (k, a) in line.iter().enumerate() {
        let b = line[(k + 1) % line.len()];
        let (top, low) = if a[1] < b[1] { (*a, b) } else { (b, *a) };
        // rows whose middle is between them
        let (from, to) = ((top[1] - 0.5).ceil().max(0.0), (low[1] - 0.5).ceil().clamp(0.0, height as f64));
        for row in from as usize..to as usize {
            let t = (row as f64 + 0.5 - top[1]) / (low[1] - top[1]);
            crossings[row].push(top[0] + t * (low[0] - top[0]));
        }
    }
    let mut out = Vec::new();
    for (row, x) in crossings.iter_mut().enumerate() {
        x.sort_by(f64::total_cmp);
        for pair in x.chunks_exact(2) {
            let [from, to] = [pair[0], pair[1]].map(|x| (x - 0.5).ceil().clamp(0.0, width as f64) as usize);
            if from < to {
                out.push([row, from, to]);
            }
        }
    }
    out
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::photo::pictured;
    fn square(lo: f64, hi: f64) -> Vec<[f64; 2]> {
        vec![[lo, lo], [hi, lo], [hi, hi], [lo, hi]]
    }
    /// By hand: pixel middles 2.5 and 3.5 lie between 2.2 and 4.4.
    #[test]
    fn spans_hold_the_middles_inside() {
        assert_eq!(spans(&square(2.2, 4.4), [9, 9]), [[2, 2, 4], [3, 2, 4]]);
        assert_eq!(spans(&square(-5.0, 1.0), [9, 9]), [[0, 0, 1]]);
        assert!(spans(&square(20.0, 30.0), [9, 9]).is_empty());
    }
    /// By hand: a quarter of a picture in a colour of its own, p = 1/4: h(1/4) = 0.811278 bits are told by the quarter
    /// itself; nothing by a shape that holds as large a share of it as of the rest.
    #[test]
    fn a_shape_tells_most_where_it_parts_the_colours() {
        let image = image::RgbImage::from_fn(16, 16, |u, v| {
            image::Rgb(if u < 8 && v < 8 { [200, 30, 30] } else { [90, 90, 90] })
        });
        let t = Tones::of(&pictured(&image).blocks(1), By::Colour);
        let told = |lo: f64, hi: f64, at| t.information(&spans(&square(lo, hi), [16, 16]), at);
        assert!((told(0.0, 8.0, [0, 0]) - 0.811_278).abs() < 1e-6, "{}", told(0.0, 8.0, [0, 0]));
        assert!(told(0.0, 8.0, [4, 4]).abs() < 1e-9);
        assert!(told(0.0, 16.0, [0, 0]).abs() < 1e-9);
        assert!(told(0.0, 8.0, [1, 0]) < told(0.0, 8.0, [0, 0]));
    }
    /// A quarter in red with a grey strip of shadow beside it on a grey floor: by hue the quarter alone tells most.
    #[test]
    fn by_hue_a_shadow_is_floor() {
        let image = image::RgbImage::from_fn(16, 16, |u, v| {
            image::Rgb(match (u, v) {
                (0..8, 0..8) => [200, 30, 30],
                (8..10, 0..8) => [40, 40, 40],
                _ => [120, 120, 120],
            })
        });
        let photo = pictured(&image);
        let wide = vec![[0.0, 0.0], [10.0, 0.0], [10.0, 8.0], [0.0, 8.0]];
        let told =
            |by: By, line: &[[f64; 2]]| Tones::of(&photo.blocks(1), by).information(&spans(line, [16, 16]), [0, 0]);
        assert!(told(By::Hue, &square(0.0, 8.0)) > told(By::Hue, &wide));
        assert!(told(By::Colour, &wide) > told(By::Colour, &square(0.0, 8.0)));
    }
}
