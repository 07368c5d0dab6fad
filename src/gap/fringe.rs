//! What shows past the rim's edge: the flange's back side where its outer wall leans, and crumbs behind holes.
use super::grid::Grid;

/// Takes from `mask` the slivers that lie behind a step steeper than 45 degrees and are narrower than three cells: cells whose
/// middle just misses the rim's face and sees what is behind it. Grooves are wider, and ridges nearer to the deck stay.
pub(super) fn drop_slivers(grid: &Grid, mask: &mut [bool]) {
    let smooth = |a: usize, b: usize| (grid.rough_gap(a) - grid.rough_gap(b)).abs() <= grid.cell;
    let parts = grid.parts(mask, smooth);
    let mut part_of = vec![usize::MAX; mask.len()];
    for (k, part) in parts.iter().enumerate() {
        part.iter().for_each(|&i| part_of[i] = k);
    }
    let cored = |part: &[usize], k: usize| {
        part.iter().any(|&i| {
            let around = grid.around(i);
            around.len() == 8 && around.into_iter().all(|j| part_of[j] == k)
        })
    };
    let cored: Vec<bool> = parts.iter().enumerate().map(|(k, part)| cored(part, k)).collect();
    for (k, part) in parts.iter().enumerate().filter(|(k, _)| !cored[*k]) {
        let behind = part.iter().any(|&i| {
            grid.around(i).into_iter().any(|j| {
                part_of[j] != usize::MAX
                    && part_of[j] != k
                    && cored[part_of[j]]
                    && grid.rough_gap(j) + grid.cell < grid.rough_gap(i)
            })
        });
        if behind {
            part.iter().for_each(|&i| mask[i] = false);
        }
    }
}
