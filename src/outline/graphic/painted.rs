//! The scan's colours over the underside, in plan.
use crate::geom::{Polygon, Similarity};
use crate::scan::RawCloud;
use crate::surface::Underside;

/// Points this near the underside are its own, mm: above scan noise and drift, below the least thickness of a truck's base
/// plate (3 mm: common practice, no source).
const NEAR_MM: f64 = 3.0;
/// Sides of the finest cells, mm: some four pixels of a usual photo, as fine as scans misplace their colours.
pub(super) const FINEST_MM: f64 = 2.0;
/// The rim as it is scanned, and what lies this far inside of it, mm, may be the floor's colour: scans are off by as much.
const BAND_MM: f64 = 5.0;
/// Places are added up as whole numbers of this many to the mm, so that the order of the points changes nothing.
const STEPS_A_MM: f64 = 1024.0;
/// Corners of the rim looked at: one some 20 mm, far finer than the band.
const CORNERS: usize = 120;

/// Points of one colour taken together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Cell {
    /// Their middle.
    pub at: [f64; 2],
    /// Red, green, blue, 0 to 255.
    pub colour: [f32; 3],
    pub points: f64,
}
/// The scan's colours over the underside, in the underside's frame and mm.
#[derive(Debug, Clone)]
pub struct Painted {
    pub(super) cells: Vec<Cell>,
    pub(super) lo: [f64; 2],
    pub(super) hi: [f64; 2],
}
impl Painted {
    /// The colours of `cloud`, brought to the frame of `underside` by `to_deck`, within its `rim`. `None` for a scan without colours, or
    /// with none on the underside.
    pub fn new(cloud: &RawCloud, to_deck: &Similarity, underside: &Underside, rim: &Polygon) -> Option<Self> {
        if !cloud.is_coloured() {
            return None;
        }
        let coloured = cloud.coloured().map(|(p, c)| {
            let p = to_deck.apply(&p);
            ([p.x, p.y, p.z], c)
        });
        Self::of(coloured, underside, rim)
    }
    /// Of points with their colours, in the underside's frame.
    pub(super) fn of(
        coloured: impl Iterator<Item = ([f64; 3], [u8; 3])>,
        underside: &Underside,
        rim: &Polygon,
    ) -> Option<Self> {
        let rim = rim.resampled(CORNERS);
        let (lo, hi) = rim.bounds();
        let nodes = [0, 1].map(|k| ((hi[k] - lo[k]) / FINEST_MM).ceil().max(0.0) as usize + 1);
        let middle =
            |cell: usize| [(0, cell / nodes[1]), (1, cell % nodes[1])].map(|(k, i)| lo[k] + FINEST_MM * i as f64);
        // a plane in each cell is far nearer to the underside than `NEAR_MM`
        let plane = |cell: usize| {
            let at = middle(cell);
            let inside = rim.contains(at) && rim.off(at).0.abs() > BAND_MM;
            inside.then(|| underside.z.slopes(at[0], at[1]))
        };
        let planes: Vec<Option<[f64; 3]>> = crate::num::each(nodes[0] * nodes[1], plane);
        let mut sums = vec![[0i64; 6]; planes.len()];
        for (p, colour) in coloured {
            let [i, j] = [0, 1].map(|k| ((p[k] - lo[k]) / FINEST_MM).round());
            if !(i >= 0.0 && j >= 0.0 && i < nodes[0] as f64 && j < nodes[1] as f64) {
                continue;
            }
            let cell = i as usize * nodes[1] + j as usize;
            let Some([z, along, across]) = planes[cell] else { continue };
            let [x, y] = middle(cell);
            let off = [p[0] - x, p[1] - y];
            if (p[2] - z - along * off[0] - across * off[1]).abs() < NEAR_MM {
                let sum = &mut sums[cell];
                (0..2).for_each(|k| sum[k] += (off[k] * STEPS_A_MM).round() as i64);
                (0..3).for_each(|k| sum[2 + k] += i64::from(colour[k]));
                sum[5] += 1;
            }
        }
        let mean = |(cell, sum): (usize, &[i64; 6])| {
            let n = sum[5] as f64;
            let at = middle(cell);
            (sum[5] > 0).then(|| Cell {
                at: [0, 1].map(|k| at[k] + sum[k] as f64 / n / STEPS_A_MM),
                colour: [2, 3, 4].map(|k| (sum[k] as f64 / n) as f32),
                points: n,
            })
        };
        let cells: Vec<Cell> = sums.iter().enumerate().filter_map(mean).collect();
        (!cells.is_empty()).then_some(Self { cells, lo, hi })
    }
    /// The cells taken together in squares of `step`.
    pub(super) fn coarser(&self, step: f64) -> Vec<Cell> {
        if step <= FINEST_MM {
            return self.cells.clone();
        }
        let rows = ((self.hi[1] - self.lo[1]) / step).ceil().max(0.0) as usize + 1;
        let square = |c: &Cell| {
            let [i, j] = [0, 1].map(|k| ((c.at[k] - self.lo[k]) / step).round().max(0.0) as usize);
            i * rows + j.min(rows - 1)
        };
        let mut by: Vec<(usize, usize)> = self.cells.iter().enumerate().map(|(k, c)| (square(c), k)).collect();
        by.sort_unstable();
        let together = |of: &[(usize, usize)]| {
            let mut sum = Cell { at: [0.0; 2], colour: [0.0; 3], points: 0.0 };
            for c in of.iter().map(|(_, k)| &self.cells[*k]) {
                (0..2).for_each(|k| sum.at[k] += c.points * c.at[k]);
                (0..3).for_each(|k| sum.colour[k] += c.points as f32 * c.colour[k]);
                sum.points += c.points;
            }
            Cell {
                at: sum.at.map(|v| v / sum.points),
                colour: sum.colour.map(|v| v / sum.points as f32),
                points: sum.points,
            }
        };
        by.chunk_by(|a, b| a.0 == b.0).map(together).collect()
    }
    /// Area of the underside over the cells: how much room each has for itself, mm2.
    pub(super) fn room(&self) -> f64 {
        // ends are round, and the band is left out: some four fifths of the box
        0.8 * (self.hi[0] - self.lo[0]) * (self.hi[1] - self.lo[1]) / self.cells.len() as f64
    }
}
