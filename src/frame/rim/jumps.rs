//! Pieces of a rim that leave the rest at once: what stands out from under a board, a hole, a wheel over the rail.
use super::edge::Edge;

/// A rim that leaves faster than this, across for along, jumps: outlines of boards turn slowly beside a middle line, wheel wells too
/// (common practice, no source: 15 mm deep over 90 mm).
const STEEP: f64 = 1.0;
/// The same about a pointed end, whose flanks run towards the middle line.
const STEEP_AT_END: f64 = 3.0;
/// A piece this share of the way round and shorter may be left out: two hands of a usual board.
const LONGEST: f64 = 0.09;
/// And so much of the rim together at most: of a rim that jumps everywhere nothing tells which pieces are the rail.
const MOST: f64 = 0.35;

/// The edges without the pieces between two jumps, out and back or in and back.
pub(super) fn without_jumps(mut edges: Vec<Option<Edge>>, step: f64, pointed: &[bool]) -> Vec<Option<Edge>> {
    let n = edges.len();
    let seen: Vec<usize> = (0..n).filter(|i| edges[*i].is_some()).collect();
    if seen.len() < 8 {
        return edges;
    }
    let place = |k: usize| edges[seen[k]].as_ref().map_or(0.0, |e| e.place);
    let range = |k: usize| edges[seen[k]].as_ref().map_or(0.0, |e| e.range);
    // the jump from the k-th edge seen to the next one, beyond what a slope and their own doubt allow
    let jump = |k: usize| {
        let m = (k + 1) % seen.len();
        let gap = (seen[m] + n - seen[k]) % n;
        let steep = if pointed[seen[k]] || pointed[seen[m]] { STEEP_AT_END } else { STEEP };
        let by = place(m) - place(k);
        if by.abs() > steep * step * gap as f64 + range(k).max(range(m)) { by } else { 0.0 }
    };
    let jumps: Vec<(usize, f64)> = (0..seen.len()).map(|k| (k, jump(k))).filter(|j| j.1 != 0.0).collect();
    let longest = (LONGEST * n as f64) as usize;
    let mut out: Vec<usize> = Vec::new();
    for (a, (k, by)) in jumps.iter().enumerate() {
        // the next jump the other way
        for b in 1..jumps.len() {
            let (m, back) = jumps[(a + b) % jumps.len()];
            let (first, last) = ((k + 1) % seen.len(), m);
            let span = (seen[last] + n - seen[first]) % n;
            if span > longest {
                break;
            }
            if back * by < 0.0 {
                let count = (last + seen.len() - first) % seen.len();
                out.extend((0..=count).map(|c| seen[(first + c) % seen.len()]));
                break;
            }
        }
    }
    out.sort_unstable();
    out.dedup();
    if (out.len() as f64) < MOST * n as f64 {
        out.into_iter().for_each(|i| edges[i] = None);
    }
    edges
}

#[cfg(test)]
mod tests {
    use super::*;
    fn edges(place: impl Fn(usize) -> f64) -> Vec<Option<Edge>> {
        (0..200).map(|i| Some(Edge { place: place(i), range: 0.5, support: 9.0 })).collect()
    }
    fn left_out(place: impl Fn(usize) -> f64) -> Vec<usize> {
        let kept = without_jumps(edges(place), 5.0, &[false; 200]);
        (0..200).filter(|i| kept[*i].is_none()).collect()
    }
    /// A crate that sticks out from under the board by 40 mm over ten rays, and a wheel that hides the rail over eight.
    #[test]
    fn a_crate_under_the_board_is_no_rail() {
        assert_eq!(left_out(|i| if (60..70).contains(&i) { 150.0 } else { 110.0 }), (60..70).collect::<Vec<_>>());
        assert_eq!(left_out(|i| if (90..98).contains(&i) { 80.0 } else { 110.0 }), (90..98).collect::<Vec<_>>());
        assert_eq!(left_out(|i| if !(3..195).contains(&i) { 80.0 } else { 110.0 }).len(), 8);
    }
    /// A wheel well of 15 mm and a corner stay; so does the far half of a rim that jumps once.
    #[test]
    fn a_wheel_well_is_rail() {
        assert!(left_out(|i| 110.0 - 15.0 * (-((i as f64 - 100.0) / 9.0).powi(2)).exp()).is_empty());
        assert!(left_out(|i| if i < 100 { 110.0 } else { 150.0 }).is_empty());
    }
}
