//! A photo laid flat: what it shows over the board's plan, as a camera sees the underside.
use super::super::camera::Camera;
use super::super::photo::Picture;
use crate::num::{TensorSpline, each};

/// Nodes from one that is projected to the next: between them a pixel is found along lines, which is off by a hundredth of a mm where a
/// board bends most (a radius of 50 mm, seen 30 degrees off square, nodes 4 mm apart).
const APART: usize = 4;

/// A photo and ever smaller ones, each half the one before.
pub(super) struct Pyramid<'a> {
    photo: &'a Picture,
    halves: Vec<Picture>,
}
impl<'a> Pyramid<'a> {
    /// Down to where a pixel is as large as the coarsest cells, by a board of `px` pixels a mm.
    pub fn new(photo: &'a Picture, px_per_mm: f64, coarsest_mm: f64) -> Self {
        let mut halves: Vec<Picture> = Vec::new();
        let mut px = px_per_mm * coarsest_mm;
        while px >= 2.0 {
            let last = halves.last().unwrap_or(photo);
            if last.width.min(last.height) < 32 {
                break;
            }
            halves.push(last.half());
            px /= 2.0;
        }
        Self { photo, halves }
    }
    /// The picture whose pixels are the largest up to so many of the photo's, and how many of them.
    fn level(&self, px: f64) -> (&Picture, f64) {
        let level = (px.max(1.0).log2().floor() as usize).min(self.halves.len());
        let picture = if level == 0 { self.photo } else { &self.halves[level - 1] };
        (picture, (1u64 << level) as f64)
    }
}
/// Colours over the plan on a square grid.
pub(super) struct Flat {
    pub lo: [f64; 2],
    pub step: f64,
    pub nodes: [usize; 2],
    /// Red, green, blue, x index outside; not a number outside the picture.
    pub colours: Vec<[f32; 3]>,
}
impl Flat {
    /// What `camera` shows of the underside `z` between `lo` and `hi`, blurred over `blur` mm.
    pub fn new(
        pyramid: &Pyramid,
        camera: &Camera,
        z: &TensorSpline,
        [lo, hi]: [[f64; 2]; 2],
        step: f64,
        blur: f64,
    ) -> Self {
        let nodes = [0, 1].map(|k| (((hi[k] - lo[k]) / step).ceil().max(0.0) as usize).div_ceil(APART) * APART + 1);
        let (picture, px) = pyramid.level(blur / camera.mm_per_px());
        let coarse = nodes.map(|n| (n - 1) / APART + 1);
        let pixels: Vec<[f64; 2]> = each(coarse[0], |i| {
            let x = lo[0] + step * (i * APART) as f64;
            (0..coarse[1])
                .map(|j| {
                    let y = lo[1] + step * (j * APART) as f64;
                    camera.project([x, y, z.at(x, y)]).map(|v| v / px)
                })
                .collect::<Vec<_>>()
        })
        .concat();
        let (w, h) = (picture.width as f64, picture.height as f64);
        let colours = each(nodes[0], |i| {
            let (a, s) = (i / APART, (i % APART) as f64 / APART as f64);
            let b = (a + 1).min(coarse[0] - 1);
            let between = |u: [f64; 2], v: [f64; 2], t: f64| [u[0] + t * (v[0] - u[0]), u[1] + t * (v[1] - u[1])];
            let row: Vec<[f64; 2]> =
                (0..coarse[1]).map(|j| between(pixels[a * coarse[1] + j], pixels[b * coarse[1] + j], s)).collect();
            (0..nodes[1])
                .map(|j| {
                    let (c, t) = (j / APART, (j % APART) as f64 / APART as f64);
                    let [u, v] = between(row[c], row[(c + 1).min(coarse[1] - 1)], t);
                    if u >= 0.0 && v >= 0.0 && u < w && v < h { picture.rgb(u, v) } else { [f32::NAN; 3] }
                })
                .collect::<Vec<_>>()
        })
        .concat();
        Self { lo, step, nodes, colours }
    }
}
