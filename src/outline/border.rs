//! The border beside the steepest place: where the floor begins.
//!
//! A rounded rail darkens before it ends, and a light print darkens most: the steepest place then lies on the board, by a
//! millimetre and more. Here each pixel is told apart by the colours of the board near by, lighter or darker as a whole (a
//! matt face turned away: Lambert's law), and by those of the floor near by.
use super::edge::{Edge, Station, closed_path, label_costs};
use super::photo::Picture;
use crate::num::median;

/// Places a pixel in which the border is looked for.
const PER_PX: usize = 2;
/// Width of the sharpest edge, pixels: two samples of the steepest place.
pub(super) const SHARP_PX: f64 = 2.0;
/// In edge widths from the steepest place: how far the border is looked for, from where on outwards a pixel shows the floor
/// and inwards the board, and the depth of either sample. An edge widens by its own width where the rail is rounded.
const LOOK: f64 = 3.0;
const FLOOR: f64 = 1.5;
const BOARD: f64 = 3.0;
const DEPTH: f64 = 3.0;
/// A turned face's brightness over the flat's: from what the sky alone gives, to a gloss.
const SHADE: [f64; 2] = [0.3, 1.5];
/// Log-likelihood ratios are cut here, so that no single pixel decides.
const RATIO_LIMIT: f64 = 3.0;
/// The border is seen where the colours beside it differ by this many standard deviations of the noise.
const SEEN: f64 = 3.0;
/// Least standard deviation of a channel: the rounding to whole levels of three.
const LEAST_NOISE: f64 = 1.0;

type Colour = [f64; 3];

fn squared(a: Colour, b: Colour) -> f64 {
    (0..3).map(|k| (a[k] - b[k]).powi(2)).sum()
}
/// Squared distance of `c` from the shades of `a`.
fn squared_from_shades(c: Colour, a: Colour) -> f64 {
    let dot = |u: Colour, v: Colour| (0..3).map(|k| u[k] * v[k]).sum::<f64>();
    let shade = (dot(c, a) / dot(a, a).max(1.0)).clamp(SHADE[0], SHADE[1]);
    squared(c, a.map(|v| shade * v))
}
fn least(of: impl Iterator<Item = f64>) -> f64 {
    of.fold(f64::INFINITY, f64::min)
}
/// The strip of a photo along the stations.
struct Strip<'a> {
    photo: &'a Picture,
    stations: &'a [Station],
    edge: &'a Edge,
    /// Edge width, pixels, and the pixels sampled on either side.
    width: f64,
    depth: usize,
}
impl Strip<'_> {
    /// The colour at an offset outwards from station `i`.
    fn colour(&self, i: usize, o: f64) -> Colour {
        let [r, g, b, _] = self.stations[i].colour(self.photo, o);
        [r, g, b]
    }
    /// Colours about station `i` from `from` pixels off the steepest place on, towards `sign`.
    fn samples(&self, i: usize, from: f64, sign: f64) -> Vec<Colour> {
        let n = self.stations.len();
        let near = [i + n - 1, i, i + 1].map(|j| j % n);
        let seen = near.into_iter().filter(|j| !self.stations[*j].hidden);
        let at = |j: usize, k: usize| self.colour(j, self.edge.offsets[j] + sign * (from + k as f64));
        seen.flat_map(|j| (0..self.depth).map(move |k| at(j, k))).collect()
    }
    /// The border near `o` from station `i` by the area that is board: `None` where board and floor look alike.
    fn settled(&self, i: usize, o: f64, noise: f64) -> Option<f64> {
        let outside = (0..self.depth).map(|k| self.colour(i, o + self.width + k as f64));
        let floor = outside.fold([0.0; 3], |m, c| std::array::from_fn(|j| m[j] + c[j] / self.depth as f64));
        // the rail's last colour: farther in it is lighter, nearer it is mixed with the floor
        let (from, to) = (o - 0.75 * self.width, o + self.width);
        let rail = self.colour(i, from);
        let contrast = squared(rail, floor);
        if contrast < (SEEN * noise).powi(2) {
            return None;
        }
        let cells = 2 * PER_PX * (to - from).ceil() as usize;
        let step = (to - from) / cells as f64;
        let board = (0..cells).map(|q| {
            let c = self.colour(i, from + (q as f64 + 0.5) * step);
            let along: f64 = (0..3).map(|j| (c[j] - floor[j]) * (rail[j] - floor[j])).sum();
            (along / contrast).clamp(0.0, 1.0) * step
        });
        Some(from + board.sum::<f64>())
    }
}
/// Offsets of the border along the stations' normals, pixels, near the steepest places; `None` where a station is hidden or
/// the board's colour runs into the floor's, so that only its neighbours tell.
pub(super) fn settle(photo: &Picture, stations: &[Station], edge: &Edge) -> Vec<Option<f64>> {
    if photo.cut_out {
        // transparency has no shades
        return stations.iter().zip(&edge.offsets).map(|(s, o)| (!s.hidden).then_some(*o)).collect();
    }
    let width = edge.width_px.max(SHARP_PX);
    let strip = Strip { photo, stations, edge, width, depth: (DEPTH * width).ceil() as usize };
    let n = stations.len();
    let half = (LOOK * width * PER_PX as f64).ceil() as usize;
    let m = 2 * half + 1;
    let step = 1.0 / PER_PX as f64;
    let place = |i: usize, k: usize| edge.offsets[i] + (k as f64 - half as f64) * step;
    // for each place the squared distances from the floor's colours and from the board's
    let mut likeness = vec![[0.0; 2]; n * m];
    let mut sampled = vec![[Vec::new(), Vec::new()]; n];
    let mut scatter = Vec::new();
    for i in (0..n).filter(|i| !stations[*i].hidden) {
        let (board, floor) = (strip.samples(i, BOARD * width, -1.0), strip.samples(i, FLOOR * width, 1.0));
        for (k, c) in floor.iter().enumerate() {
            scatter.push(least((0..floor.len()).filter(|j| *j != k).map(|j| squared(*c, floor[j]))));
        }
        sampled[i] = [board, floor];
    }
    let noise = median(&scatter).sqrt().max(LEAST_NOISE);
    for i in (0..n).filter(|i| !stations[*i].hidden) {
        let [board, floor] = &sampled[i];
        let shaded = |c: Colour| least(board.iter().map(|b| squared_from_shades(c, *b)));
        // a floor of the board's hue is told from it as it is lit
        let apart = median(&floor.iter().map(|f| shaded(*f)).collect::<Vec<_>>()) > (SEEN * noise).powi(2);
        for k in 0..m {
            let c = strip.colour(i, place(i, k));
            let to_board = if apart { shaded(c) } else { least(board.iter().map(|b| squared(c, *b))) };
            likeness[i * m + k] = [least(floor.iter().map(|f| squared(c, *f))), to_board];
        }
    }
    let mut cost = vec![0.0; n * m];
    for (cost, likeness) in cost.chunks_mut(m).zip(likeness.chunks(m)) {
        let ratio = |[floor, board]: &[f64; 2]| {
            ((floor - board) / (2.0 * noise * noise)).clamp(-RATIO_LIMIT, RATIO_LIMIT) * step
        };
        let ratios: Vec<f64> = likeness.iter().map(ratio).collect();
        cost.iter_mut().zip(label_costs(&ratios)).for_each(|(cost, label)| *cost = label);
    }
    let path = closed_path(&cost, n, m);
    let settled = |i: usize| strip.settled(i, place(i, path[i]), noise);
    (0..n).map(|i| if stations[i].hidden { None } else { settled(i) }).collect()
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::photo::pictured;
    const MIDDLE: [f64; 2] = [150.3, 100.2];
    /// A disc of radius 60.4 px with a rail of `round` px that darkens to a third, light in one quarter, on a grey floor
    /// whose tone is that of the light quarter's rail somewhere; from outside in.
    fn disc(round: f64, floor: f64) -> (Picture, Vec<Station>) {
        let shade = |inside: f64| if inside > round { 1.0 } else { 0.35 + 0.65 * (inside / round).sqrt() };
        let level = |x: f64, y: f64| {
            // 4 x 4 samples a pixel
            let mut c = [0.0; 3];
            for (a, b) in (0..16).map(|k| (k % 4, k / 4)) {
                let at = [x + (f64::from(a) + 0.5) / 4.0 - MIDDLE[0], y + (f64::from(b) + 0.5) / 4.0 - MIDDLE[1]];
                let inside = 60.4 - at[0].hypot(at[1]);
                let paint = if at[0] > 0.0 && at[1] > 0.0 { [225.0, 215.0, 60.0] } else { [150.0, 40.0, 35.0] };
                let colour = if inside > 0.0 { paint.map(|p| p * shade(inside)) } else { [floor; 3] };
                (0..3).for_each(|k| c[k] += colour[k] / 16.0);
            }
            c
        };
        let image = image::RgbImage::from_fn(300, 200, |u, v| {
            image::Rgb(level(f64::from(u), f64::from(v)).map(|c| c.round() as u8))
        });
        let stations = (0..200)
            .map(|i| f64::from(i) / 200.0 * std::f64::consts::TAU)
            .map(|a| [a.cos(), a.sin()])
            .map(|n| Station { p: [MIDDLE[0] + 60.0 * n[0], MIDDLE[1] + 60.0 * n[1]], n, hidden: false })
            .collect();
        (pictured(&image), stations)
    }
    /// The steepest place is mistaken at the light print, the settled border is not.
    #[test]
    fn a_rail_that_darkens_does_not_move_the_border() {
        let (photo, stations) = disc(7.0, 120.0);
        // the steepest places of a light print lie where its rail begins to turn
        let offsets = (0..200).map(|i| if (1..50).contains(&i) { -2.6 } else { 0.4 }).collect();
        let edge = Edge { offsets, width_px: 2.2, contrast: vec![] };
        let found = settle(&photo, &stations, &edge);
        let errors: Vec<f64> = found.iter().flatten().map(|o| (o - 0.4).abs()).collect();
        assert!(errors.len() > 180, "{}", errors.len());
        let worst = errors.iter().fold(0.0, |a: f64, b| a.max(*b));
        assert!(worst < 1.0 && median(&errors) < 0.3, "{worst} {}", median(&errors));
    }
    /// A bare board in the shadow that it casts on a floor of its own wood: half as bright, the floor is a shade of the board, and the
    /// border once went out to the shadow's end, 8 pixels away.
    #[test]
    fn a_floor_of_the_boards_hue_is_told_by_its_light() {
        let grain = |u: u32, v: u32, c: [f64; 3]| {
            let by = 1.0 + 0.06 * (f64::from(u * 7 + v * 13) * 0.37).sin();
            image::Rgb(c.map(|p| (p * by).round() as u8))
        };
        let image = image::RgbImage::from_fn(300, 200, |u, v| {
            let r = (f64::from(u) + 0.5 - MIDDLE[0]).hypot(f64::from(v) + 0.5 - MIDDLE[1]);
            let lit = if r < 60.4 {
                1.0
            } else if r < 68.4 {
                0.4
            } else {
                0.75
            };
            grain(u, v, [190.0, 145.0, 95.0].map(|p| lit * p))
        });
        let (_, stations) = disc(0.0, 120.0);
        let edge = Edge { offsets: vec![0.4; 200], width_px: 2.0, contrast: vec![] };
        let found = settle(&pictured(&image), &stations, &edge);
        let errors: Vec<f64> = found.iter().flatten().map(|o| (o - 0.4).abs()).collect();
        let worst = errors.iter().fold(0.0, |a: f64, b| a.max(*b));
        assert!(errors.len() > 180 && worst < 1.0, "{} {worst}", errors.len());
    }
    #[test]
    fn colours_that_run_together_are_not_measured() {
        let (photo, mut stations) = disc(0.0, 120.0);
        stations[7].hidden = true;
        let edge = Edge { offsets: vec![0.4; 200], width_px: 2.0, contrast: vec![] };
        let found = settle(&photo, &stations, &edge);
        assert!(found[7].is_none() && found.iter().flatten().count() == 199);
        // a photo of one colour shows nothing
        let blank = pictured(&image::RgbImage::from_pixel(300, 200, image::Rgb([120; 3])));
        assert!(settle(&blank, &stations, &edge).iter().all(Option::is_none));
    }
}
