//! Finds roughly where the board is in a photo.
use super::photo::Picture;
use crate::geom::Polygon;
use crate::geom::spread;
use crate::num::{mad_sigma, median, quantile};

/// Long side of the picture the search works on, pixels: a board's width is still some thirty of them.
const LONG_SIDE: usize = 400;
/// Robust standard deviations of the border's chroma beyond which a pixel is not background.
const CHROMA_SIGMAS: f64 = 6.0;
/// Least chroma spread, of 255: below it is JPEG noise.
const CHROMA_FLOOR: f64 = 3.0;
/// Pixels darker than this share of the border's dark end are not background either: a shadow keeps more of the light.
const DARK_RATIO: f64 = 0.5;
/// The border's dark end, as a quantile of its lightness.
const DARK_QUANTILE: f64 = 0.02;
/// Parts of a board cut up by its graphics count from this share of the largest part's area on.
const PART_RATIO: f64 = 0.05;
/// Least share of the picture a board covers.
const MIN_AREA_RATIO: f64 = 0.01;

/// The border of the board-like region in photo pixels (unordered).
pub(super) fn board_border(p: &Picture) -> Result<Vec<[f64; 2]>, String> {
    let step = p.width.max(p.height).div_ceil(LONG_SIDE).max(1);
    let (w, h) = (p.width / step, p.height / step);
    if w < 16 || h < 16 {
        return Err(format!("it is only {} x {} pixels", p.width, p.height));
    }
    let mut mask = vec![false; w * h];
    if p.cut_out {
        for (i, m) in mask.iter_mut().enumerate() {
            *m = p.pixels[(i / w * step + step / 2) * p.width + i % w * step + step / 2][3] >= 128;
        }
    } else {
        let (_, _, colours) = p.blocks(step);
        let chroma: Vec<[f64; 3]> = colours
            .iter()
            .map(|b| b.mean)
            .map(|s| [s[0] - s[1], 0.5 * (s[0] + s[1]) - s[2], (s[0] + s[1] + s[2]) / 3.0])
            .collect();
        let edge = (w.min(h) / 20).max(1);
        let border: Vec<usize> =
            (0..w * h).filter(|i| i % w < edge || i % w >= w - edge || i / w < edge || i / w >= h - edge).collect();
        let model = [0, 1].map(|k| {
            let v: Vec<f64> = border.iter().map(|&i| chroma[i][k]).collect();
            (median(&v), mad_sigma(&v).max(CHROMA_FLOOR))
        });
        let light: Vec<f64> = border.iter().map(|&i| chroma[i][2]).collect();
        let dark = DARK_RATIO * quantile(&light, DARK_QUANTILE);
        for (m, c) in mask.iter_mut().zip(&chroma) {
            *m = c[2] < dark
                || ((c[0] - model[0].0) / model[0].1).hypot((c[1] - model[1].0) / model[1].1) > CHROMA_SIGMAS;
        }
    }
    // close gaps of graphics and wheels, keep the largest parts that lie together
    let r = (w.max(h) / 60).max(1);
    mask = spread(&mask, w, h, r, true);
    mask = spread(&mask, w, h, r, false);
    let board = largest(&mask, w, h);
    let count = board.iter().filter(|m| **m).count();
    if (count as f64) < MIN_AREA_RATIO * (w * h) as f64 {
        return Err(format!("no region differs from its border's colour over {MIN_AREA_RATIO} of it"));
    }
    let at: Vec<[f64; 2]> = (0..w * h)
        .filter(|&i| board[i])
        .map(|i| [((i % w) as f64 + 0.5) * step as f64, ((i / w) as f64 + 0.5) * step as f64])
        .collect();
    let hull = Polygon { points: hull(at) };
    let n = (hull.perimeter() / step as f64) as usize;
    Ok(hull.resampled(n.max(8)).points)
}
/// Convex hull (monotone chain).
fn hull(mut p: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    p.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let half = |it: &mut dyn Iterator<Item = &[f64; 2]>| {
        let mut o: Vec<[f64; 2]> = Vec::new();
        for &q in it {
            while let [.., a, b] = o[..] {
                if (b[0] - a[0]) * (q[1] - a[1]) - (b[1] - a[1]) * (q[0] - a[0]) > 0.0 {
                    break;
                }
                o.pop();
            }
            o.push(q);
        }
        o.pop();
        o
    };
    let mut o = half(&mut p.iter());
    o.extend(half(&mut p.iter().rev()));
    o
}
/// The largest connected part and the parts near it.
fn largest(m: &[bool], w: usize, h: usize) -> Vec<bool> {
    let mut seen = vec![false; w * h];
    let mut parts: Vec<Vec<usize>> = Vec::new();
    for s in 0..w * h {
        if !m[s] || seen[s] {
            continue;
        }
        let mut part = vec![s];
        seen[s] = true;
        let mut k = 0;
        while k < part.len() {
            let i = part[k];
            k += 1;
            let (x, y) = (i % w, i / w);
            let next = [(x > 0, i.wrapping_sub(1)), (x + 1 < w, i + 1), (y > 0, i.wrapping_sub(w)), (y + 1 < h, i + w)];
            for (ok, j) in next {
                if ok && m[j] && !seen[j] {
                    seen[j] = true;
                    part.push(j);
                }
            }
        }
        parts.push(part);
    }
    parts.sort_by_key(|p| std::cmp::Reverse(p.len()));
    let centre = |p: &[usize]| {
        let n = p.len() as f64;
        let x: f64 = p.iter().map(|i| (i % w) as f64).sum();
        let y: f64 = p.iter().map(|i| (i / w) as f64).sum();
        [x / n, y / n]
    };
    let mut out = vec![false; w * h];
    if let Some(first) = parts.first() {
        let (c, count) = (centre(first), first.len() as f64);
        // a board's half length is some 2.5 times the root of a third of its area
        let reach = 2.5 * count.sqrt();
        for p in &parts {
            let d = centre(p);
            if p.len() as f64 >= PART_RATIO * count && (c[0] - d[0]).hypot(c[1] - d[1]) < reach {
                p.iter().for_each(|&i| out[i] = true);
            }
        }
    }
    out
}
