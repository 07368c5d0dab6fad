//! How likely a colour beside a piece of the rail is the board's: counts of colours inside and outside of it.
//!
//! A board has prints and dark ends, a floor its shadows, so that one colour may be the board's here and the floor's there; but where both
//! look alike only all of the rail has counts enough. How much the whole rail tells beside a piece's own neighbourhood is chosen by how well
//! each piece is foretold by the others.
use super::edge::COLOURS;
use crate::num::median;

/// Pieces of the rail, and how many to either side tell with one: a fifth of the way round in all, as much as an end of a board, whose
/// print is no side's.
const PIECES: usize = 24;
const NEAR: usize = 2;
/// Counts of the whole rail beside those near by, in pieces, that are tried.
const WHOLE: [f64; 5] = [1.0, 4.0, 16.0, 64.0, 1e6];
/// Log-likelihood ratios are cut here, so that no single pixel decides.
pub(super) const RATIO_LIMIT: f64 = 3.0;

/// Counts of colour classes, inside and outside of the rail.
type Counts = [Vec<f64>; 2];

/// Log-likelihood ratios, board to floor, of the colours beside each piece.
pub(super) struct Odds {
    ratios: Vec<Vec<f64>>,
    stations: usize,
}
impl Odds {
    /// From the classes of colours seen inside and outside of each station.
    pub fn new(stations: &[Vec<[u16; 2]>]) -> Self {
        let mut counts: Vec<Counts> = vec![[vec![0.0; COLOURS], vec![0.0; COLOURS]]; PIECES];
        for (i, seen) in stations.iter().enumerate() {
            let piece = &mut counts[piece_of(i, stations.len())];
            seen.iter().for_each(|bins| (0..2).for_each(|side| piece[side][usize::from(bins[side])] += 1.0));
        }
        let all = sum(&counts);
        // what each piece costs that the others foretell
        let mut costs = [[0.0; WHOLE.len()]; PIECES];
        for (k, own) in counts.iter().enumerate() {
            let around = near(&counts, (1..=NEAR).flat_map(|j| [k + j, k + PIECES - j]));
            let rest = [0, 1].map(|side| all[side].iter().zip(&own[side]).map(|(a, o)| a - o).collect::<Vec<f64>>());
            for (cost, whole) in costs[k].iter_mut().zip(WHOLE) {
                for c in (0..COLOURS).filter(|&c| own[0][c] + own[1][c] > 0.0) {
                    let r = ratio(&around, &rest, whole, c);
                    *cost += own[0][c] * (-r).exp().ln_1p() + own[1][c] * r.exp().ln_1p();
                }
            }
        }
        let ratios = (0..PIECES)
            .map(|k| {
                let beside = (0..=2 * NEAR).map(|j| (k + j + PIECES - NEAR) % PIECES);
                let cost = |w: usize| beside.clone().map(|j| costs[j][w]).sum::<f64>();
                let best = (0..WHOLE.len()).rev().fold(WHOLE.len() - 1, |b, w| if cost(w) < cost(b) { w } else { b });
                let around = near(&counts, beside.clone());
                (0..COLOURS).map(|c| ratio(&around, &all, WHOLE[best], c)).collect()
            })
            .collect();
        Self { ratios, stations: stations.len() }
    }
    /// That of a class at a station.
    pub fn at(&self, station: usize, colour: usize) -> f64 {
        self.ratios[piece_of(station, self.stations)][colour]
    }
}
fn piece_of(station: usize, stations: usize) -> usize {
    station * PIECES / stations
}
fn sum(counts: &[Counts]) -> Counts {
    [0, 1].map(|side| (0..COLOURS).map(|c| counts.iter().map(|k| k[side][c]).sum()).collect())
}
/// What those of some pieces that are in sight tell together: as much as the middle one of them does from each, so that what covers few of
/// them, a block over the rail, says nothing of the board's colour.
fn near(counts: &[Counts], pieces: impl Iterator<Item = usize>) -> Counts {
    let seen: Vec<&Counts> = pieces.map(|k| &counts[k % PIECES]).filter(|c| c[0].iter().any(|n| *n > 0.0)).collect();
    let mut of = Vec::with_capacity(seen.len());
    [0, 1].map(|side| {
        (0..COLOURS)
            .map(|c| {
                of.clear();
                of.extend(seen.iter().map(|k| k[side][c]));
                if of.iter().all(|n| *n == 0.0) { 0.0 } else { median(&of) * of.len() as f64 }
            })
            .collect()
    })
}
/// The ratio of a class from what is seen near by and, with the weight of `whole` pieces, along the whole rail.
fn ratio(near: &Counts, all: &Counts, whole: f64, c: usize) -> f64 {
    let of = |side: usize| whole / PIECES as f64 * (all[side][c] + 0.5) + near[side][c];
    (of(0) / of(1)).ln().clamp(-RATIO_LIMIT, RATIO_LIMIT)
}

#[cfg(test)]
mod tests {
    use super::*;
    /// A pseudo-random number below `n`, SplitMix64.
    fn drawn(seed: &mut u64, n: u64) -> u16 {
        *seed = seed.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = *seed;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % n) as u16
    }
    /// Odds from 40 pixels a station of the classes `of` it, inside and outside.
    fn odds(of: impl Fn(usize) -> [u16; 2]) -> Odds {
        Odds::new(&(0..720).map(|i| vec![of(i); 40]).collect::<Vec<_>>())
    }
    /// The shadow beside a side was taken for board, since the board's ends are as dark.
    #[test]
    fn a_dark_shadow_beside_a_side_is_floor_though_the_ends_are_dark() {
        let (wood, dark, floor) = (10, 20, 30);
        let odds = odds(|i| match i {
            0..180 => [dark, floor],
            180..360 => [wood, dark],
            _ => [wood, floor],
        });
        assert!(odds.at(90, 20) > 2.0 && odds.at(270, 20) < -2.0, "{} {}", odds.at(90, 20), odds.at(270, 20));
        assert!(odds.at(270, 10) > 2.0 && odds.at(500, 30) < -2.0);
    }
    /// A dark block over the rail was taken for board where nothing else is dark, and the border went round it.
    #[test]
    fn a_block_over_the_rail_is_no_board() {
        let (wood, dark, floor) = (10, 20, 30);
        let odds = odds(|i| match i {
            300..345 => [dark, floor],
            500..520 => [wood, dark],
            _ => [wood, floor],
        });
        assert!(odds.at(320, 20) < 1.0 && odds.at(320, 10) > 2.0, "{}", odds.at(320, 20));
    }
    /// Board and floor of many shades alike: what a few pixels of one place happen to be tells nothing of the next.
    #[test]
    fn chance_is_no_evidence() {
        let mut seed = 5;
        let stations: Vec<Vec<[u16; 2]>> =
            (0..720).map(|_| (0..40).map(|_| [drawn(&mut seed, 400), drawn(&mut seed, 400)]).collect()).collect();
        let odds = Odds::new(&stations);
        let mean = (0..400).map(|c| odds.at(100, c).abs()).sum::<f64>() / 400.0;
        // 36 counts of each class to either side over the whole rail: 1.13 / sqrt(36) in the mean
        assert!(mean < 0.25, "{mean}");
    }
}
