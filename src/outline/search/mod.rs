//! First poses where the colours at the picture's border do not part the board from the floor: the scan's rim is laid all over
//! a small picture, at every turn and size, and stays where it parts colours and textures best or lies on borders of any kind;
//! each such place is then moved and tilted until it does both as well as it can.
mod borders;
mod tones;

use super::laid::Laid;
use super::photo::Picture;
use super::rim::Rim;
use super::start::{Prior, State};
use crate::geom::{bounds, outward_normals};
use crate::num::each;
use borders::Borders;
use tones::{By, Tones, spans};

/// Long side of the picture searched all over, pixels: a board is then some 15 wide.
const COARSE: usize = 80;
/// Least short side of it: thinner, no board is in it.
const LEAST: usize = 8;
/// Long side of the picture in which a place is moved and tilted.
const FINE: usize = 160;
/// One in so many stations along the rim is looked at: corners and ends still have several each.
const STRIDE: usize = 9;
/// Least and most length of the board over the picture's long side. A smaller board is too few pixels to measure; a picture's
/// diagonal is 1.25 of its long side.
const LENGTHS: [f64; 2] = [0.4, 1.25];
/// Places handed on of each search, each this far from all better ones, in pixels of the coarse picture at the board's ends.
const MOST: usize = 8;
const APART: f64 = 2.5;
/// Places of which each face and turn is tried, and starts handed on, of either score.
const PLACES: usize = 2;
const STARTS: usize = 6;
/// Halvings of the steps of the last search.
const HALVINGS: usize = 4;
/// First steps of the last search: pixels of the fine picture, shares of the size, radians of turn and of tilt; some three pixels at a
/// board's end each.
const STEPS: [f64; 6] = [3.0, 3.0, 0.04, 0.04, 0.07, 0.07];
/// A gain of the score that is worth another round: half a pixel of the coarse picture's some 500 along a rim is more.
const LEAST_GAIN: f64 = 1e-3;
/// Most tilt, radians: beyond, nobody holds a phone over a board.
const MOST_TILT: f64 = 0.5;

/// Steps of a search all over: of size (a share of it), turn (radians), place (pixels).
struct Grid {
    size: f64,
    turn: f64,
    place: usize,
}
/// Two shapes that overlap by most of their area tell nearly as much as one on the other.
const BY_TONES: Grid = Grid { size: 0.08, turn: 0.09, place: 3 };
/// Each moves the rim by a pixel and a half or so: a border is three wide.
const BY_BORDERS: Grid = Grid { size: 0.04, turn: 0.045, place: 2 };

/// What the rim is laid over.
struct Search<'a> {
    photo: &'a Picture,
    rim: &'a Rim<'a>,
    prior: &'a Prior<'a>,
    /// Points along the rim.
    points: Vec<[f64; 3]>,
}
impl Search<'_> {
    fn step(&self, side: usize) -> usize {
        self.photo.width.max(self.photo.height).div_ceil(side)
    }
    /// The rim's pixels in a picture of blocks of `step`.
    fn pixels(&self, pose: &Laid, step: usize) -> Vec<[f64; 2]> {
        let camera = pose.camera(self.photo, self.rim, self.prior.lens);
        self.points.iter().map(|p| camera.project(*p).map(|v| v / step as f64)).collect()
    }
    /// The best place of each size and turn, over a picture of `w` by `h` blocks of `step`; `score` is told the shape, where it is
    /// moved to and what is to be beaten.
    fn all_over(
        &self,
        grid: &Grid,
        [w, h]: [usize; 2],
        step: usize,
        score: impl Fn(&Shape, [usize; 2], f64) -> f64 + Sync,
    ) -> Vec<(f64, Laid)> {
        let long = (w.max(h) * step) as f64;
        let sizes = ((LENGTHS[1] / LENGTHS[0]).ln() / grid.size).ceil() as usize + 1;
        // the other face and the half turn are tried later
        let turns = (std::f64::consts::PI / grid.turn).ceil() as usize;
        let best = |k: usize| {
            let (size, turn) = (k / turns, k % turns);
            let px_per_mm = LENGTHS[0] * (grid.size * size as f64).exp() * long / self.rim.size.0;
            let angle = turn as f64 * std::f64::consts::PI / turns as f64;
            let centre = [self.photo.width as f64 / 2.0, self.photo.height as f64 / 2.0];
            let pose = Laid { underside: true, angle, middle: centre, px_per_mm, tilt: [0.0; 2] };
            let shape = Shape::new(self.pixels(&pose, step), [w, h])?;
            let mut best: Option<(f64, [usize; 2])> = None;
            for v in (0..=h - shape.size[1]).step_by(grid.place) {
                for u in (0..=w - shape.size[0]).step_by(grid.place) {
                    let s = score(&shape, [u, v], best.map_or(0.0, |b| b.0));
                    if best.is_none_or(|b| s > b.0) {
                        best = Some((s, [u, v]));
                    }
                }
            }
            let (s, at) = best?;
            let middle = [0, 1].map(|k| centre[k] + (at[k] as f64 - shape.low[k]) * step as f64);
            Some((s, Laid { middle, ..pose }))
        };
        each(sizes * turns, best).into_iter().flatten().collect()
    }
    /// The best of these that are places of their own.
    fn distinct(&self, mut found: Vec<(f64, Laid)>, most: usize) -> Vec<Laid> {
        let apart = APART * self.step(COARSE) as f64;
        found.sort_by(|a, b| b.0.total_cmp(&a.0));
        let mut kept: Vec<Laid> = Vec::new();
        for (_, pose) in found {
            if kept.len() == most {
                break;
            }
            if kept.iter().all(|k| self.apart(k, &pose) > apart) {
                kept.push(pose);
            }
        }
        kept
    }
    /// How far apart two places are at their ends, whichever way round, pixels.
    fn apart(&self, a: &Laid, b: &Laid) -> f64 {
        let half = |p: &Laid| p.px_per_mm * self.rim.size.0 / 2.0;
        let moved = (a.middle[0] - b.middle[0]).hypot(a.middle[1] - b.middle[1]);
        moved + (half(a) - half(b)).abs() + half(a).max(half(b)) * (a.angle - b.angle).sin().abs()
    }
    /// Moves, sizes, turns and tilts a place by ever smaller steps as long as its score grows (a pattern search, Hooke & Jeeves 1961).
    fn settled(&self, start: Laid, score: &(impl Fn(&Laid) -> f64 + Sync)) -> (f64, Laid) {
        let step = self.step(FINE) as f64;
        let changed = |p: &Laid, k: usize, by: f64| {
            let mut q = *p;
            match k {
                0 | 1 => q.middle[k] += by * step,
                2 => q.px_per_mm *= by.exp(),
                3 => q.angle += by,
                _ => q.tilt[k - 4] = (q.tilt[k - 4] + by).clamp(-MOST_TILT, MOST_TILT),
            }
            q
        };
        let (mut pose, mut best) = (start, score(&start));
        for halving in 0..=HALVINGS {
            let share = 0.5f64.powi(halving as i32);
            loop {
                let before = best;
                for k in 0..STEPS.len() {
                    for sign in [-1.0, 1.0] {
                        let tried = changed(&pose, k, sign * share * STEPS[k]);
                        let s = score(&tried);
                        if s > best {
                            (pose, best) = (tried, s);
                        }
                    }
                }
                // what is gained by less is noise of single pixels
                if best - before < LEAST_GAIN {
                    break;
                }
            }
        }
        (best, pose)
    }
    /// The best of these places, settled, of either face and turn.
    fn ways(&self, places: &[Laid], score: &(impl Fn(&Laid) -> f64 + Sync)) -> Vec<Laid> {
        let settle = |places: &[Laid]| each(places.len(), |k| self.settled(places[k], score));
        let ways: Vec<Laid> = (self.distinct(settle(places), PLACES).iter())
            .flat_map(|p| {
                let turned = Laid { angle: p.angle + std::f64::consts::PI, ..*p };
                let over = |p: Laid| Laid { underside: !p.underside, ..p };
                [*p, turned, over(*p), over(turned)]
            })
            .collect();
        let mut ways = settle(&ways);
        ways.sort_by(|a, b| b.0.total_cmp(&a.0));
        ways.into_iter().take(STARTS).map(|w| w.1).collect()
    }
}

/// A line with the pixels inside, moved to the corner of the picture.
struct Shape {
    line: Vec<[f64; 2]>,
    normals: Vec<[f64; 2]>,
    inside: Vec<tones::Span>,
    /// Whole pixels it covers.
    size: [usize; 2],
    /// By how much it was moved.
    low: [f64; 2],
}
impl Shape {
    /// `None` where it is larger than the picture.
    fn new(mut line: Vec<[f64; 2]>, picture: [usize; 2]) -> Option<Self> {
        let (low, high) = bounds(&line);
        let size = [0, 1].map(|k| (high[k] - low[k]).ceil() as usize);
        if size[0] > picture[0] || size[1] > picture[1] {
            return None;
        }
        line.iter_mut().for_each(|p| *p = [p[0] - low[0], p[1] - low[1]]);
        Some(Self { normals: outward_normals(&line), inside: spans(&line, size), line, size, low })
    }
}
/// Poses of the rim that part the picture best, of either face and turn: by colours and borders, then by hues alone.
pub(super) fn starts(photo: &Picture, rim: &Rim, prior: &Prior) -> Vec<State> {
    let points = (0..rim.plan.len()).step_by(STRIDE).map(|i| rim.point(i, 0.0)).collect();
    let search = Search { photo, rim, prior, points };
    let step = search.step(COARSE);
    if photo.width.min(photo.height) / step < LEAST {
        return Vec::new();
    }
    let blocks = photo.blocks(step);
    let (tones, borders) = (Tones::of(&blocks, By::Colour), Borders::of(&blocks));
    let small = [tones.width, tones.height];
    let by_tones = search.all_over(&BY_TONES, small, step, |s, at, _| tones.information(&s.inside, at));
    let mut places = search.distinct(by_tones, MOST);
    let by_borders = search.all_over(&BY_BORDERS, small, step, |s, at, floor| {
        borders.along(&s.line, &s.normals, at.map(|v| v as f64), floor)
    });
    places.extend(search.distinct(by_borders, MOST));
    let step = search.step(FINE);
    let blocks = photo.blocks(step);
    let (tones, hues, borders) = (Tones::of(&blocks, By::Colour), Tones::of(&blocks, By::Hue), Borders::of(&blocks));
    let size = [tones.width, tones.height];
    // bits, one at most, and a share: a rim that does both best is the board's
    let colours_and_borders = |line: &[[f64; 2]]| {
        tones.information(&spans(line, size), [0, 0]) + borders.along(line, &outward_normals(line), [0.0; 2], 0.0)
    };
    let hue = |line: &[[f64; 2]]| hues.information(&spans(line, size), [0, 0]);
    let mut poses = search.ways(&places, &|pose| colours_and_borders(&search.pixels(pose, step)));
    poses.extend(search.ways(&places, &|pose| hue(&search.pixels(pose, step))));
    poses.iter().map(|pose| State::new(pose.camera(photo, rim, prior.lens))).collect()
}
#[cfg(test)]
mod tests {
    use super::super::prior::LensPrior;
    use super::*;
    use crate::geom::Polygon;
    use crate::num::{Knots, TensorSpline};
    use crate::outline::photo::pictured;
    fn picture(width: u32, height: u32, colour: impl Fn(u32, u32) -> [u8; 3]) -> Picture {
        pictured(&image::RgbImage::from_fn(width, height, |u, v| image::Rgb(colour(u, v))))
    }
    /// An egg seen 15 degrees off square, two thirds of the picture long, on a floor with a thing of its own colour beside it: some
    /// start lies within the narrower bands of the edge, 16 pixels here; slivers have none.
    #[test]
    fn a_tilted_board_is_found_and_slivers_are_not_searched() {
        let (x, y) = (Knots::uniform(3, 1, -500.0, 500.0), Knots::uniform(3, 1, -200.0, 200.0));
        let z = TensorSpline::new(x, y, vec![0.0; 16]).unwrap();
        let points = (0..400)
            .map(|i| f64::from(i) / 400.0 * std::f64::consts::TAU)
            .map(|a| [400.0 * a.cos(), (100.0 + 20.0 * a.cos()) * a.sin()])
            .collect();
        let rim = Rim::new(&Polygon { points }, &z).unwrap();
        let blank = picture(1600, 1200, |_, _| [0; 3]);
        let lens = LensPrior::of(&blank);
        let prior = Prior { lens: &lens, tape: None };
        let truth = Laid {
            underside: true,
            angle: 0.5,
            middle: [850.0, 560.0],
            px_per_mm: 1.3,
            tilt: [15f64.to_radians(), 0.1],
        };
        let want = rim.pixels(&truth.camera(&blank, &rim, &lens), &|_| 0.0);
        let board = Polygon { points: want.clone() };
        let photo = picture(1600, 1200, |u, v| match [f64::from(u), f64::from(v)] {
            p if board.contains(p) => [170, 60, 50],
            [u, v] if u < 300.0 && v < 250.0 => [170, 60, 50],
            _ => [150, 148, 145],
        });
        let off = |s: &State| {
            let px = rim.pixels(&s.camera, &|_| 0.0);
            px.iter().zip(&want).map(|(p, q)| (p[0] - q[0]).hypot(p[1] - q[1])).fold(0.0, f64::max)
        };
        let found = starts(&photo, &rim, &prior);
        assert!(found.len() <= 2 * STARTS);
        let nearest = found.iter().map(off).fold(f64::INFINITY, f64::min);
        assert!(nearest < 16.0, "{nearest}");
        for (w, h) in [(1000, 3), (79, 8), (3, 1000), (16, 16)] {
            let sliver = picture(w, h, |u, _| [(u % 256) as u8; 3]);
            assert!(starts(&sliver, &rim, &prior).len() <= 2 * STARTS);
        }
    }
}
