//! What of an enclosure faces the deck, on a grid in plan.
use crate::geom::{Polygon, TriMesh, connected, spread};
use crate::num::TensorSpline;
use nalgebra::Vector3;
use std::sync::Arc;

/// Least cosine between a facet of the rim and the deck's normal: walls and drafts are steeper than 45 degrees to it.
const FACING: f64 = 0.707;
/// Samples more than this outside gaps of any use are not looked at, mm: above the deepest enclosures (common practice, no
/// source: 60 mm) and any thickness of a deck.
pub(super) const REACH_MM: f64 = 80.0;

/// A grid in plan whose cells hold the enclosure's height nearest to the deck. Cells are numbered row by row along x.
#[derive(Clone)]
pub(super) struct Grid {
    pub lo: [f64; 2],
    pub cell: f64,
    pub nx: usize,
    pub ny: usize,
    /// Height of what faces the deck nearest to it, mm; NaN where nothing does.
    pub z: Vec<f64>,
    /// The deck's height and normal in each cell; NaN outside the outline.
    deck: Arc<Vec<[f64; 4]>>,
    /// Plan area of what faces the deck's level but lies outside the outline, in cells.
    pub outside: usize,
}

impl Grid {
    /// The plan place of the middle of cell `i`.
    pub(super) fn centre(&self, i: usize) -> [f64; 2] {
        let (ix, iy) = (i % self.nx, i / self.nx);
        [self.lo[0] + (ix as f64 + 0.5) * self.cell, self.lo[1] + (iy as f64 + 0.5) * self.cell]
    }
    /// Marks the cells whose middle is inside `polygon`.
    pub(super) fn inside(&self, polygon: &Polygon) -> Vec<bool> {
        let mut mask = vec![false; self.nx * self.ny];
        for ix in 0..self.nx {
            let mut cuts = polygon.crossings(self.centre(ix)[0]);
            cuts.sort_unstable_by(f64::total_cmp);
            for pair in cuts.chunks_exact(2) {
                let row = |y: f64| ((y - self.lo[1]) / self.cell - 0.5).ceil().clamp(0.0, self.ny as f64) as usize;
                for iy in row(pair[0])..row(pair[1]) {
                    mask[iy * self.nx + ix] = true;
                }
            }
        }
        mask
    }
    /// The deck's plan from `lo` to `hi` without an enclosure.
    pub(super) fn bare(underside: &TensorSpline, outline: &Polygon, (lo, hi): ([f64; 2], [f64; 2]), cell: f64) -> Self {
        let (mut from, to) = outline.bounds();
        for k in 0..2 {
            // cells lie on whole multiples of their size, whatever the extent
            from[k] = (from[k].max(lo[k]) / cell).floor() * cell;
        }
        let count = |k: usize| ((to[k].min(hi[k]) - from[k]) / cell).ceil().max(0.0) as usize;
        let (nx, ny) = (count(0), count(1));
        let z = vec![f64::NAN; nx * ny];
        let mut g = Self { lo: from, cell, nx, ny, z, deck: Arc::default(), outside: 0 };
        let deck = |(i, inside): (usize, bool)| {
            let [x, y] = g.centre(i);
            let n = if inside { underside.normal(x, y) } else { [f64::NAN; 3] };
            [if inside { underside.at(x, y) } else { f64::NAN }, n[0], n[1], n[2]]
        };
        g.deck = Arc::new(g.inside(outline).into_iter().enumerate().map(deck).collect());
        g
    }
    /// The enclosure over the deck's plan: in every cell the height of the facing facet nearest to the deck. Facets' turning
    /// direction is not asked for, so flipped facets and doubled walls do no harm.
    pub(super) fn new(enclosure: &TriMesh, underside: &TensorSpline, outline: &Polygon, cell: f64) -> Self {
        let over = crate::geom::bounds(&enclosure.points.iter().map(|p| [p.x, p.y]).collect::<Vec<_>>());
        Self::bare(underside, outline, over, cell).with(enclosure, underside)
    }
    /// This plan with `enclosure` over it.
    pub(super) fn with(&self, enclosure: &TriMesh, underside: &TensorSpline) -> Self {
        let mut g = Self { z: vec![f64::NAN; self.z.len()], outside: 0, ..self.clone() };
        for t in 0..enclosure.triangles.len() {
            g.add(enclosure, t, underside);
        }
        g
    }
    fn add(&mut self, mesh: &TriMesh, t: usize, underside: &TensorSpline) {
        let [a, b, c] = mesh.corners(t);
        let Some(n) = (b - a).cross(&(c - a)).try_normalize(0.0) else { return };
        // a vertical facet covers no cell
        let det = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
        if det == 0.0 {
            return;
        }
        let span = |k: usize, n: usize| {
            let (l, h) = (a[k].min(b[k]).min(c[k]), a[k].max(b[k]).max(c[k]));
            let at = |v: f64| ((v - self.lo[k]) / self.cell - 0.5).clamp(-1.0, n as f64);
            (at(l).ceil().max(0.0) as usize, (at(h).floor() + 1.0).max(0.0) as usize)
        };
        let ((x0, x1), (y0, y1)) = (span(0, self.nx), span(1, self.ny));
        // a hair beyond the edges, so that a cell's middle on the edge of two facets is in one of them at least
        const EDGE: f64 = -1e-9;
        for iy in y0..y1.min(self.ny) {
            for ix in x0..x1.min(self.nx) {
                let i = iy * self.nx + ix;
                let [x, y] = self.centre(i);
                let v = ((x - a.x) * (c.y - a.y) - (c.x - a.x) * (y - a.y)) / det;
                let w = ((b.x - a.x) * (y - a.y) - (x - a.x) * (b.y - a.y)) / det;
                if v < EDGE || w < EDGE || v + w > 1.0 - EDGE {
                    continue;
                }
                let z = a.z + v * (b.z - a.z) + w * (c.z - a.z);
                let [h, dx, dy, dz] = self.deck[i];
                if h.is_nan() {
                    self.outside += usize::from(n.z.abs() >= FACING && (z - underside.at(x, y)).abs() < self.cell);
                } else if (n.x * dx + n.y * dy + n.z * dz).abs() >= FACING
                    && (z - h).abs() <= REACH_MM
                    && !(z >= self.z[i])
                {
                    self.z[i] = z;
                }
            }
        }
    }
    /// The gap of cell `i` to first order, mm; NaN where nothing faces the deck.
    pub(super) fn rough_gap(&self, i: usize) -> f64 {
        (self.z[i] - self.deck[i][0]) * self.deck[i][3]
    }
    /// The deck's unit normal in cell `i`.
    pub(super) fn normal(&self, i: usize) -> Vector3<f64> {
        let [_, x, y, z] = self.deck[i];
        Vector3::new(x, y, z)
    }
    /// The cell that holds the plan place `p`.
    pub(super) fn cell_at(&self, p: [f64; 2]) -> Option<usize> {
        let [x, y] = [0, 1].map(|k| ((p[k] - self.lo[k]) / self.cell).floor());
        let inside = x >= 0.0 && y >= 0.0 && x < self.nx as f64 && y < self.ny as f64;
        inside.then(|| y as usize * self.nx + x as usize)
    }
    /// The cells round cell `i`, corners too: eight, fewer at the grid's edge.
    pub(super) fn around(&self, i: usize) -> Vec<usize> {
        let (x, y) = (i % self.nx, i / self.nx);
        let rows = y.saturating_sub(1)..=(y + 1).min(self.ny - 1);
        let columns = x.saturating_sub(1)..=(x + 1).min(self.nx - 1);
        rows.flat_map(|j| columns.clone().map(move |c| j * self.nx + c)).filter(|&c| c != i).collect()
    }
    /// Connected parts of `mask`, corners touching, where `joined` lets two neighbours belong together; the largest first.
    pub(super) fn parts(&self, mask: &[bool], joined: impl Fn(usize, usize) -> bool) -> Vec<Vec<usize>> {
        connected(mask.len(), |i| mask[i], |i| self.around(i).into_iter().filter(|&c| joined(i, c)).collect())
    }
    /// The closed borders of `part` along cell edges, holes clockwise, the largest area first. Breaks and holes narrower than
    /// `2 r` cells are closed first.
    pub(super) fn borders(&self, part: &[usize], r: usize) -> Vec<Polygon> {
        let (w, h) = (self.nx + 2 * r + 2, self.ny + 2 * r + 2);
        let mut m = vec![false; w * h];
        for &i in part {
            m[(i / self.nx + r + 1) * w + i % self.nx + r + 1] = true;
        }
        for value in [true, false] {
            m = spread(&m, w, h, r, value);
        }
        let mut edges: Vec<([usize; 2], [usize; 2])> = Vec::new();
        for y in 1..h - 1 {
            for x in (1..w - 1).filter(|x| m[y * w + x]) {
                // counter-clockwise round the cell, the cell to the left
                let sides = [(x, y, x + 1, y, x, y - 1), (x + 1, y, x + 1, y + 1, x + 1, y)];
                let back = [(x + 1, y + 1, x, y + 1, x, y + 1), (x, y + 1, x, y, x - 1, y)];
                for (ax, ay, bx, by, cx, cy) in sides.into_iter().chain(back) {
                    if !m[cy * w + cx] {
                        edges.push(([ax, ay], [bx, by]));
                    }
                }
            }
        }
        edges.sort_unstable();
        let mut used = vec![false; edges.len()];
        let mut loops = Vec::new();
        for s in 0..edges.len() {
            let mut points = Vec::new();
            let mut k = s;
            while !used[k] {
                used[k] = true;
                let (a, b) = edges[k];
                let at = |v: usize, d: usize| self.lo[d] + (v as f64 - (r + 1) as f64) * self.cell;
                points.push([at(a[0], 0), at(a[1], 1)]);
                // where two parts touch at a corner, turn left: they stay apart
                let turn = |e: &[usize; 2]| {
                    (b[0] as i64 - a[0] as i64) * (e[1] as i64 - b[1] as i64)
                        - (b[1] as i64 - a[1] as i64) * (e[0] as i64 - b[0] as i64)
                };
                let from = edges.partition_point(|e| e.0 < b);
                let next = (from..edges.len()).take_while(|&i| edges[i].0 == b).filter(|&i| !used[i]);
                let Some(n) = next.max_by_key(|&i| turn(&edges[i].1)) else { break };
                k = n;
            }
            if points.len() > 3 {
                loops.push(Polygon { points });
            }
        }
        loops.sort_by(|a, b| b.signed_area().abs().total_cmp(&a.signed_area().abs()));
        loops
    }
}
