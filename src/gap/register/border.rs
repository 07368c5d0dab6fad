//! The rim's border in plan, finer than the grid.
use crate::gap::grid::Grid;
use crate::gap::rim::{DEPTH_MM, outer_border};
use crate::geom::{Polygon, TriMesh, outward_normals};

/// Halvings of the two cells about a coarse border: to a thousandth of a cell.
const HALVINGS: usize = 11;

/// Triangles by the cells they touch.
struct Cover<'a> {
    mesh: &'a TriMesh,
    grid: &'a Grid,
    cells: Vec<Vec<u32>>,
}
impl<'a> Cover<'a> {
    /// Those of `mesh` that touch a cell of `wanted`.
    fn new(mesh: &'a TriMesh, grid: &'a Grid, wanted: &[bool]) -> Self {
        let mut cells = vec![Vec::new(); grid.nx * grid.ny];
        for t in 0..mesh.triangles.len() {
            let c = mesh.corners(t);
            let span = |k: usize, n: usize| {
                let (l, h) = (c[0][k].min(c[1][k]).min(c[2][k]), c[0][k].max(c[1][k]).max(c[2][k]));
                let at = |v: f64| ((v - grid.lo[k]) / grid.cell).floor();
                (at(l).max(0.0) as usize, (at(h) + 1.0).clamp(0.0, n as f64) as usize)
            };
            let ((x0, x1), (y0, y1)) = (span(0, grid.nx), span(1, grid.ny));
            for iy in y0..y1 {
                for ix in (x0..x1).filter(|ix| wanted[iy * grid.nx + ix]) {
                    cells[iy * grid.nx + ix].push(t as u32);
                }
            }
        }
        Self { mesh, grid, cells }
    }
    /// Whether the mesh has a facet over `p` within half a box's depth of the height `z`; walls have none.
    fn covers(&self, p: [f64; 2], z: f64) -> bool {
        let Some(i) = self.grid.cell_at(p) else { return false };
        self.cells[i].iter().any(|&t| {
            let [a, b, c] = self.mesh.corners(t as usize);
            let det = (b.x - a.x) * (c.y - a.y) - (c.x - a.x) * (b.y - a.y);
            if det.abs() < (b - a).cross(&(c - a)).norm() * 0.5 {
                return false;
            }
            let v = ((p[0] - a.x) * (c.y - a.y) - (c.x - a.x) * (p[1] - a.y)) / det;
            let w = ((b.x - a.x) * (p[1] - a.y) - (p[0] - a.x) * (b.y - a.y)) / det;
            let height = a.z + v * (b.z - a.z) + w * (c.z - a.z);
            v >= 0.0 && w >= 0.0 && v + w <= 1.0 && (height - z).abs() < DEPTH_MM / 2.0
        })
    }
}

/// Places on the outer border of `part`, each with the rim's height there.
pub(super) fn border_points(mesh: &TriMesh, grid: &Grid, part: &[usize]) -> Vec<[f64; 3]> {
    let Some((coarse, _)) = outer_border(grid, part) else { return Vec::new() };
    let line = Polygon { points: coarse.exterior().coords().skip(1).map(|c| [c.x, c.y]).collect() };
    let n = (line.perimeter() / (2.0 * grid.cell)).ceil() as usize;
    let line = line.resampled(n);
    let normals = outward_normals(&line.points);
    let reach = 2.0 * grid.cell;
    let mut wanted = vec![false; grid.nx * grid.ny];
    for p in &line.points {
        for (dx, dy) in (-2..=2).flat_map(|i| (-2..=2).map(move |j| (f64::from(i), f64::from(j)))) {
            if let Some(i) = grid.cell_at([p[0] + dx * grid.cell, p[1] + dy * grid.cell]) {
                wanted[i] = true;
            }
        }
    }
    let cover = Cover::new(mesh, grid, &wanted);
    let at = |i: usize, s: f64| [0, 1].map(|k| line.points[i][k] + s * normals[i][k]);
    (0..n)
        .filter_map(|i| {
            let inner = at(i, -grid.cell);
            let z = grid.z[grid.cell_at(inner)?];
            if z.is_nan() || !cover.covers(inner, z) || cover.covers(at(i, reach), z) {
                return None;
            }
            let (mut a, mut b) = (-grid.cell, reach);
            for _ in 0..HALVINGS {
                let m = (a + b) / 2.0;
                if cover.covers(at(i, m), z) { a = m } else { b = m }
            }
            let [x, y] = at(i, (a + b) / 2.0);
            Some([x, y, z])
        })
        .collect()
}
