//! The rim: what faces the deck nearest to it, its middle line, and the gap unrolled along it.
use super::grid::Grid;
use super::{GapOptions, GapSample};
use crate::geom::{Polygon, outward_normals};
use geo::{Buffer, Simplify};
use serde::Serialize;

/// A floor is at least this far behind the rim, mm: deeper than the grooves that hold a gasket (common practice, no source:
/// 1 to 4 mm), shallower than any box.
pub(super) const DEPTH_MM: f64 = 6.0;
/// A band is empty when it holds less than this share of what lies below it: fillets, facets of a scan across an edge.
const SPARSE_RATIO: f64 = 0.03;
/// Fewer than this share of all cells are no rim but strays of a scan or posts.
const SPECK_RATIO: f64 = 0.05;
/// Neighbours in the order of gaps that lie farther apart than this, mm, do not go on a face: a slope of a tenth over a cell.
const STRAY_MM: f64 = 0.1;
/// Parts smaller than this share of the rim are bosses and crumbs.
const PART_RATIO: f64 = 0.2;
/// A hole in the plan below this share of the whole is no inside of a rim.
const HOLE_RATIO: f64 = 0.1;
/// Breaks up to twice this many cells are those of a bad mesh and are closed.
const CLOSE_CELLS: usize = 2;
/// Breaks of a rim that are bridged, mm: what a scan misses behind a finger or a cable, shorter than any box is wide inside.
const BREAKS_MM: [f64; 2] = [15.0, 40.0];
/// Distance of stations along the rim, mm: finer than any strip is wide.
const STATION_MM: f64 = 2.0;

/// One place along a rim.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct RimStation {
    /// Distance along the middle line from its start at the nose's side, counter-clockwise seen from the underside, mm.
    pub along_mm: f64,
    /// Place on the middle line, mm, deck frame.
    pub x_mm: f64,
    /// Place on the middle line, mm, deck frame.
    pub y_mm: f64,
    /// Mean gap under the gasket's strip, mm.
    pub gap_mm: f64,
    /// Least gap there, mm.
    pub least_mm: f64,
    /// Greatest gap there, mm.
    pub greatest_mm: f64,
    /// Standard uncertainty of the gap, mm.
    pub standard_uncertainty_mm: f64,
}
/// A rim unrolled.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct RimLoop {
    /// Length of the middle line, mm.
    pub length_mm: f64,
    /// Width of what faces the deck, mm.
    pub width_mm: f64,
    /// Whether it runs all round an inside; a plate's or an open rim's line is drawn half a gasket inside its border.
    pub closed: bool,
    /// Share of the line where the mesh shows no rim.
    pub missing_ratio: f64,
    /// Stations in the order of the line; places without rim are left out.
    pub stations: Vec<RimStation>,
}
impl RimLoop {
    /// Runs of stations without a place left out between them, as ranges of indices.
    pub fn runs(&self) -> Vec<std::ops::Range<usize>> {
        let mut out: Vec<std::ops::Range<usize>> = Vec::new();
        for (i, s) in self.stations.iter().enumerate() {
            match out.last_mut() {
                // one place left out is two steps of at most STATION_MM
                Some(r) if s.along_mm - self.stations[i - 1].along_mm < 1.5 * STATION_MM => r.end = i + 1,
                _ => out.push(i..i + 1),
            }
        }
        out
    }
    /// The station nearest to the plan place `p`; `None` for a rim without stations.
    pub fn nearest(&self, p: [f64; 2]) -> Option<&RimStation> {
        let d = |s: &RimStation| (s.x_mm - p[0]).hypot(s.y_mm - p[1]);
        self.stations.iter().min_by(|a, b| d(a).total_cmp(&d(b)))
    }
}
/// What faces the deck apart from the rim: bosses, posts, a lid's inside.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub struct OtherParts {
    /// Number of them.
    pub count: usize,
    /// The least gap of any, mm; `None` without one.
    pub least_mm: Option<f64>,
}
/// Cells of each rim, largest first, and the rest.
pub(super) struct Found {
    pub rims: Vec<Vec<usize>>,
    pub other: OtherParts,
}

/// How many of the cells (sorted by gap) lie below the first band as wide as a box is deep that holds next to none; `None` where
/// there is no such band.
fn first_sparse_band(cells: &[(usize, f64)]) -> Option<usize> {
    let least = ((SPECK_RATIO * cells.len() as f64).ceil() as usize).max(1);
    let mut end = 0;
    for k in least..cells.len() {
        while end < cells.len() && cells[end].1 <= cells[k - 1].1 + DEPTH_MM {
            end += 1;
        }
        if end == cells.len() {
            return None;
        }
        if (end - k) as f64 <= SPARSE_RATIO * k as f64 {
            // a rim's own last cells lie close together, or before a band that is empty altogether; strays lie apart
            let apart = |j: usize, mm: f64| cells[j].1 - cells[j - 1].1 > mm;
            let empty = (k..=end).find(|&j| apart(j, DEPTH_MM));
            return empty.or_else(|| (k..=end).find(|&j| apart(j, STRAY_MM))).or(Some(k));
        }
    }
    None
}

/// Tells rim from floor: below the first band of gaps as wide as a box is deep that is next to empty, in connected parts, those inside another
/// left out.
pub(super) fn find(grid: &Grid, limit: Option<&[Polygon; 2]>) -> Found {
    let mut cells: Vec<(usize, f64)> =
        (0..grid.z.len()).map(|i| (i, grid.rough_gap(i))).filter(|c| !c.1.is_nan()).collect();
    if let Some([outer, inner]) = limit {
        let (outer, inner) = (grid.inside(outer), grid.inside(inner));
        cells.retain(|c| outer[c.0] && !inner[c.0]);
    }
    cells.sort_unstable_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    if let Some(k) = first_sparse_band(&cells) {
        cells.truncate(k);
    }
    let mut mask = vec![false; grid.z.len()];
    cells.iter().for_each(|c| mask[c.0] = true);
    super::fringe::drop_slivers(grid, &mut mask);
    let parts = grid.parts(&mask, |_, _| true);
    let most = parts.first().map_or(0, Vec::len) as f64;
    let mut found = Found { rims: Vec::new(), other: OtherParts::default() };
    let mut borders: Vec<Polygon> = Vec::new();
    for part in parts {
        let within = borders.iter().any(|b| b.contains(grid.centre(part[0])));
        if (part.len() as f64) < PART_RATIO * most || within {
            let least = part.iter().map(|&i| grid.rough_gap(i)).fold(f64::INFINITY, f64::min);
            found.other.count += 1;
            found.other.least_mm = Some(found.other.least_mm.map_or(least, |l| l.min(least)));
        } else {
            borders.extend(grid.borders(&part, CLOSE_CELLS).into_iter().next());
            found.rims.push(part);
        }
    }
    found
}

/// The outer border of a rim, smooth within a cell, and whether it runs round an inside. A rim with a break is closed over it
/// where the break is short enough.
pub(super) fn outer_border(grid: &Grid, part: &[usize]) -> Option<(geo::Polygon<f64>, bool)> {
    let mut open = None;
    let breaks = BREAKS_MM.map(|mm| (mm / 2.0 / grid.cell).ceil() as usize);
    for r in [CLOSE_CELLS].into_iter().chain(breaks) {
        let borders = grid.borders(part, r);
        let (outer, rest) = borders.split_first()?;
        let closed = rest.iter().any(|b| -b.signed_area() > HOLE_RATIO * outer.signed_area());
        let ring: Vec<(f64, f64)> = outer.points.iter().chain(outer.points.first()).map(|p| (p[0], p[1])).collect();
        // the border's stairs are within a cell of it
        let border = geo::Polygon::new(ring.into(), vec![]).simplify(grid.cell);
        if closed {
            return Some((border, true));
        }
        open = open.or(Some(border));
    }
    open.map(|border| (border, false))
}

/// The rim's width from its area and outer border: w (P - pi w) = area, exact for a band of even width inside a smooth convex
/// border (the parallel curve at w / 2 is pi w shorter).
fn even_width(area: f64, perimeter: f64) -> f64 {
    let free = perimeter * perimeter - 4.0 * std::f64::consts::PI * area;
    (perimeter - free.max(0.0).sqrt()) / (2.0 * std::f64::consts::PI)
}

/// The middle line: counter-clockwise from the side of the nose.
fn middle_line(border: &geo::Polygon<f64>, inwards: f64) -> Option<Polygon> {
    let inner = border.buffer(-inwards);
    let largest = inner.0.iter().max_by(|a, b| geo_area(a).total_cmp(&geo_area(b)))?;
    let mut points: Vec<[f64; 2]> = largest.exterior().coords().map(|c| [c.x, c.y]).collect();
    points.pop();
    let mut p = Polygon { points };
    if p.signed_area() < 0.0 {
        p.points.reverse();
    }
    let n = (p.perimeter() / STATION_MM).ceil().max(8.0) as usize;
    let mut line = p.resampled(n);
    let (lo, hi) = line.bounds();
    let middle = (lo[1] + hi[1]) / 2.0;
    let ahead = |q: &[f64; 2]| (q[0] - hi[0]).hypot(q[1] - middle);
    let start = (0..line.points.len()).min_by(|&a, &b| ahead(&line.points[a]).total_cmp(&ahead(&line.points[b])))?;
    line.points.rotate_left(start);
    Some(line)
}
fn geo_area(p: &geo::Polygon<f64>) -> f64 {
    Polygon { points: p.exterior().coords().map(|c| [c.x, c.y]).collect() }.signed_area().abs()
}

/// Unrolls one rim's samples. `None` when it is too small for a line.
pub(super) fn unroll(grid: &Grid, part: &[usize], samples: &[GapSample], options: &GapOptions) -> Option<RimLoop> {
    let (border, closed) = outer_border(grid, part)?;
    let outer = Polygon { points: border.exterior().coords().skip(1).map(|c| [c.x, c.y]).collect() };
    let area = part.len() as f64 * grid.cell * grid.cell;
    let width_mm = if closed { even_width(area, outer.perimeter()) } else { options.strip_mm };
    let line = middle_line(&border, width_mm / 2.0)?;
    let (n, normals) = (line.points.len(), outward_normals(&line.points));
    let mut gathered: Vec<Vec<&GapSample>> = vec![Vec::new(); n];
    let reach = (options.strip_mm.min(width_mm) / 2.0).max(grid.cell);
    for s in samples {
        let off = |i: usize| [s.at[0] - line.points[i][0], s.at[1] - line.points[i][1]];
        let distance_sq = |i: usize| off(i).iter().map(|d| d * d).sum::<f64>();
        let nearest = (0..n).map(|i| (i, distance_sq(i))).min_by(|a, b| a.1.total_cmp(&b.1));
        let Some((i, d_sq)) = nearest else { continue };
        let across = off(i)[0] * normals[i][0] + off(i)[1] * normals[i][1];
        if across.abs() <= reach && d_sq.sqrt() <= reach + STATION_MM {
            gathered[i].push(s);
        }
    }
    let step = line.perimeter() / n as f64;
    let stations: Vec<RimStation> = gathered
        .iter()
        .enumerate()
        .filter(|(_, g)| !g.is_empty())
        .map(|(i, g)| {
            let mean = |f: &dyn Fn(&GapSample) -> f64| g.iter().map(|s| f(s)).sum::<f64>() / g.len() as f64;
            RimStation {
                along_mm: i as f64 * step,
                x_mm: line.points[i][0],
                y_mm: line.points[i][1],
                gap_mm: mean(&|s| s.gap_mm),
                least_mm: g.iter().map(|s| s.gap_mm).fold(f64::INFINITY, f64::min),
                greatest_mm: g.iter().map(|s| s.gap_mm).fold(f64::NEG_INFINITY, f64::max),
                standard_uncertainty_mm: mean(&|s| s.standard_uncertainty_mm),
            }
        })
        .collect();
    let missing_ratio = 1.0 - stations.len() as f64 / n as f64;
    Some(RimLoop { length_mm: line.perimeter(), width_mm, closed, missing_ratio, stations })
}
