//! How much of each pixel lies inside a line.
use crate::geom::Polygon;

/// Share of each of `width` x `height` pixels inside a line that does not cross itself, row by row. Each edge takes as much work
/// as it crosses pixels, and memory goes with the pixels alone, however many edges lie side by side.
///
/// An edge changes the share of all pixels to its right by its height within the row, and of those it crosses by the part of
/// that on their side of it: these changes are gathered, and summed along the row.
pub(super) fn covered(line: &Polygon, width: usize, height: usize) -> Vec<f32> {
    let mut shares = vec![0.0f32; width * height];
    for (a, b) in line.edges() {
        let (up, low, high) = if a[1] < b[1] { (1.0, a, b) } else { (-1.0, b, a) };
        let slope = (high[0] - low[0]) / (high[1] - low[1]);
        let (top, end) = (low[1].max(0.0), high[1].min(height as f64));
        // what lies beside the picture counts as lying on its side
        let x_at = |y: f64| (low[0] + (y - low[1]) * slope).clamp(0.0, width as f64);
        // a level edge covers nothing
        for row in if top < end { top as usize..end.ceil() as usize } else { 0..0 } {
            let (y0, y1) = (top.max(row as f64), end.min(row as f64 + 1.0));
            let (x0, x1) = (x_at(y0).min(x_at(y1)), x_at(y0).max(x_at(y1)));
            let cells = &mut shares[row * width..(row + 1) * width];
            let mut change = |cell: usize, by: f64| cells.get_mut(cell).into_iter().for_each(|c| *c += by as f32);
            let (first, last) = (x0 as usize, x1 as usize);
            let mut told = 0.0;
            for cell in first..=last {
                // share of the edge's height that lies left of the pixel's far side, and where its middle is
                let (l, r) = (x0.max(cell as f64), x1.min(cell as f64 + 1.0));
                let part = if first == last { 1.0 } else { (r - l) / (x1 - x0) };
                let within = up * (y1 - y0) * part * (cell as f64 + 1.0 - (l + r) / 2.0);
                change(cell, within + told);
                // the rest of it belongs to the next pixel
                told = up * (y1 - y0) * part - within;
            }
            change(last + 1, told);
        }
    }
    for row in shares.chunks_exact_mut(width) {
        let mut sum = 0.0;
        for share in row {
            sum += *share;
            *share = sum.abs().min(1.0);
        }
    }
    shares
}
#[cfg(test)]
mod tests {
    use super::*;
    /// A circle's shares add up to its area (pi r squared), and a picture wholly inside the line is all covered.
    #[test]
    fn shares_of_pixels_add_up_to_the_area() {
        let ring = |n: u32, r: f64| {
            let at = |i| f64::from(i) / f64::from(n) * std::f64::consts::TAU;
            Polygon { points: (0..n).map(|i| [60.3 + r * at(i).cos(), 50.7 + r * at(i).sin()]).collect() }
        };
        for n in [7, 5000] {
            let line = ring(n, 40.0);
            let sum: f64 = covered(&line, 120, 100).into_iter().map(f64::from).sum();
            assert!((sum / line.signed_area() - 1.0).abs() < 1e-5, "{n}: {sum}");
        }
        assert!(covered(&ring(9, 900.0), 120, 100).iter().all(|s| (*s - 1.0).abs() < 1e-5));
        assert!(covered(&ring(9, 5.0), 20, 20).iter().all(|s| *s == 0.0));
    }
    /// A comb of a hundred thousand teeth as high as the photo: each row has all of them, which must not be kept row by row.
    #[test]
    fn a_comb_of_long_edges_takes_no_more_memory_than_its_photo() {
        let (teeth, wide, high) = (50_000u32, 400.0, 2000.0);
        let mut points: Vec<[f64; 2]> = (0..teeth)
            .flat_map(|i| {
                let x = wide * f64::from(i) / f64::from(teeth);
                [[x, 1.0], [x + wide / f64::from(2 * teeth), high - 1.0]]
            })
            .collect();
        points.extend([[wide, high], [0.0, high]]);
        let shares = covered(&Polygon { points }, wide as usize, high as usize);
        // half-way down half of the width lies between the teeth
        let middle = &shares[1000 * 400..1001 * 400];
        assert!(middle.iter().all(|s| (s - 0.5).abs() < 0.02), "{:?}", &middle[..5]);
    }
}
