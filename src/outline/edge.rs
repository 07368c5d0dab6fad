//! The board's border across a strip along the predicted rim.
use super::odds::{Odds, RATIO_LIMIT};
use super::photo::Picture;
use crate::num::{each, median};

/// Histogram bins a colour channel.
const BINS: usize = 12;
/// Classes of colours.
pub(super) const COLOURS: usize = BINS * BINS * BINS;
/// Weight of the gradient (0..1 of full contrast) against log-likelihood ratios.
const GRADIENT_WEIGHT: f64 = 12.0;
/// Cost of a path that moves by one pixel between stations.
const BEND_COST: f64 = 1.0;
/// Most steps a path moves between stations.
const MAX_MOVE: usize = 3;

/// A station on the predicted rim: place in the photo, unit vector pointing out of the board, hidden or not.
#[derive(Debug, Clone, Copy)]
pub(super) struct Station {
    pub p: [f64; 2],
    pub n: [f64; 2],
    pub hidden: bool,
}
impl Station {
    /// The colour and alpha at an offset outwards, averaged along the rim only.
    pub fn colour(&self, photo: &Picture, o: f64) -> [f64; 4] {
        let mut c = [0.0; 4];
        for t in [-1.0, 0.0, 1.0] {
            let q = photo.at(self.p[0] + o * self.n[0] - t * self.n[1], self.p[1] + o * self.n[1] + t * self.n[0]);
            (0..4).for_each(|j| c[j] += q[j] / 3.0);
        }
        c
    }
}
/// The class of a colour.
pub(super) fn bin(c: [f64; 3]) -> usize {
    // lightness and two opponents: a shadow moves along one axis only
    let f = |v: f64, lo: f64, hi: f64| (((v - lo) / (hi - lo) * BINS as f64).max(0.0) as usize).min(BINS - 1);
    let l = f((c[0] + c[1] + c[2]) / 3.0, 0.0, 255.0);
    (l * BINS + f(c[0] - c[1], -96.0, 160.0)) * BINS + f((c[0] + c[1]) / 2.0 - c[2], -96.0, 160.0)
}
/// What was found across the strip.
pub(super) struct Edge {
    /// Offsets of the border along the stations' normals, pixels, within the band.
    pub offsets: Vec<f64>,
    /// Width over which the border goes from one side's colour to the other's, pixels, the median of the stations.
    pub width_px: f64,
    /// How clear it is at each station: the step of brightness across it, of full contrast; none where it is hidden.
    pub contrast: Vec<Option<f64>>,
}
/// The border along the stations' normals within +-`band` pixels.
pub(super) fn find(photo: &Picture, stations: &[Station], band: usize) -> Edge {
    let (n, m) = (stations.len(), 2 * band + 1);
    let reach = (3 * band).max(60) as i64;
    let rgb = |[r, g, b, _]: [f64; 4]| [r, g, b];
    let sample = |s: &Station, o: f64| rgb(photo.at(s.p[0] + o * s.n[0], s.p[1] + o * s.n[1]));
    // colours well inside and well outside; half the band each side stays out of both. A cut-out says itself what is board
    let odds = (!photo.cut_out).then(|| {
        Odds::new(&each(n, |i| {
            let s = &stations[i];
            let offsets = if s.hidden { 0..0 } else { (band as i64 / 2).max(4)..reach };
            offsets.map(|o| [-o, o].map(|o| bin(sample(s, o as f64)) as u16)).collect::<Vec<_>>()
        }))
    });
    let ratio = |i: usize, c: [f64; 4]| match &odds {
        Some(odds) => odds.at(i, bin(rgb(c))),
        None if c[3] >= 128.0 => RATIO_LIMIT,
        None => -RATIO_LIMIT,
    };
    let channels = if photo.cut_out { 3..4 } else { 0..3 };
    // of each station in sight: the steps of brightness at the places across it, their costs, and the edge's width
    let across = each(n, |i| {
        let s = Some(&stations[i]).filter(|s| !s.hidden)?;
        let colours: Vec<[f64; 4]> = (0..m + 2).map(|k| s.colour(photo, k as f64 - 1.0 - band as f64)).collect();
        let step = |a: [f64; 4], b: [f64; 4]| channels.clone().map(|j| (a[j] - b[j]).powi(2)).sum::<f64>().sqrt();
        let steps: Vec<f64> = (0..m).map(|k| step(colours[k], colours[k + 2])).collect();
        let steepest = steps.iter().map(|s| s / 2.0).fold(0.0, f64::max);
        let width = step(colours[0], colours[m + 1]) / steepest.max(f64::MIN_POSITIVE);
        let gradient: Vec<f64> = steps.iter().map(|s| s / 255.0).collect();
        let r: Vec<f64> = colours[1..=m].iter().map(|c| ratio(i, *c)).collect();
        let cost: Vec<f64> = label_costs(&r).zip(&gradient).map(|(label, g)| label - GRADIENT_WEIGHT * g).collect();
        Some((gradient, cost, width))
    });
    let mut cost = vec![0.0; n * m];
    let mut gradient = vec![0.0; n * m];
    let mut widths = Vec::new();
    for (i, (g, c, width)) in across.iter().enumerate().filter_map(|(i, a)| Some((i, a.as_ref()?))) {
        gradient[i * m..(i + 1) * m].copy_from_slice(g);
        cost[i * m..(i + 1) * m].copy_from_slice(c);
        widths.push(*width);
    }
    let path = closed_path(&cost, n, m);
    let contrast = (0..n).map(|i| (!stations[i].hidden).then(|| gradient[i * m + path[i]])).collect();
    let offsets = (0..n)
        .map(|i| {
            let g = &gradient[i * m..(i + 1) * m];
            let (lo, hi) = (path[i].saturating_sub(2).max(1), (path[i] + 2).min(m - 2));
            let k = (lo..=hi).fold(lo, |b, k| if g[k] > g[b] { k } else { b });
            let (a, b, c) = (g[k - 1], g[k], g[k + 1]);
            let d = a - 2.0 * b + c;
            let sub = if d < 0.0 { (0.5 * (a - c) / d).clamp(-0.5, 0.5) } else { 0.0 };
            if stations[i].hidden { 0.0 } else { k as f64 + sub - band as f64 }
        })
        .collect();
    Edge { offsets, width_px: median(&widths), contrast }
}
/// What speaks against the border at each place of a line across it, from how likely each shows the board (log-likelihood
/// ratios, from inside out): what is before the border is board, what is after it is not, the place itself is half and half.
pub(super) fn label_costs(ratios: &[f64]) -> impl Iterator<Item = f64> {
    let mut sum: f64 = ratios.iter().sum();
    ratios.iter().map(move |r| {
        sum -= 2.0 * r;
        sum + r
    })
}
/// The cheapest closed path: dynamic programming twice round, of which the middle is kept.
pub(super) fn closed_path(cost: &[f64], n: usize, m: usize) -> Vec<usize> {
    let total = 2 * n;
    let mut best = cost[..m].to_vec();
    let mut from = vec![0u16; total * m];
    for i in 1..total {
        let mut next = vec![f64::INFINITY; m];
        for k in 0..m {
            let lo = k.saturating_sub(MAX_MOVE);
            for (j, b) in best.iter().enumerate().take(k + MAX_MOVE + 1).skip(lo) {
                let c = b + BEND_COST * (k as f64 - j as f64).powi(2);
                if c < next[k] {
                    next[k] = c;
                    from[i * m + k] = j as u16;
                }
            }
            next[k] += cost[(i % n) * m + k];
        }
        best = next;
    }
    let mut k = (0..m).fold(0, |b, k| if best[k] < best[b] { k } else { b });
    let mut out = vec![0; n];
    for i in (0..total).rev() {
        if i >= n / 2 && i < n / 2 + n {
            out[i % n] = k;
        }
        k = usize::from(from[i * m + k]);
    }
    out
}
#[cfg(test)]
mod tests {
    use super::*;
    /// By hand: two places of board, then two of floor; the border lies between them, half a place off either.
    #[test]
    fn labels_cost_least_at_the_border() {
        assert_eq!(label_costs(&[1.0, 1.0, -1.0, -1.0]).collect::<Vec<_>>(), [-1.0, -3.0, -3.0, -1.0]);
    }
    #[test]
    fn path_follows_the_cheap_cells_round() {
        let (n, m) = (40, 21);
        let want: Vec<usize> = (0..n)
            .map(|i| (10.0 + 5.0 * (i as f64 / n as f64 * std::f64::consts::TAU).sin()).round() as usize)
            .collect();
        let mut c = vec![10.0; n * m];
        (0..n).for_each(|i| c[i * m + want[i]] = -10.0);
        assert_eq!(closed_path(&c, n, m), want);
    }
}
