//! Connected parts of a graph.

/// The parts of the nodes `0..n` that are `wanted`, joined by what `neighbours` gives for each; the largest first, those of one
/// size by their first node.
pub fn connected(
    n: usize,
    wanted: impl Fn(usize) -> bool,
    neighbours: impl Fn(usize) -> Vec<usize>,
) -> Vec<Vec<usize>> {
    let mut seen = vec![false; n];
    let mut parts: Vec<Vec<usize>> = Vec::new();
    for s in 0..n {
        if seen[s] || !wanted(s) {
            continue;
        }
        seen[s] = true;
        let mut part = vec![s];
        let mut k = 0;
        while k < part.len() {
            for j in neighbours(part[k]) {
                if !seen[j] && wanted(j) {
                    seen[j] = true;
                    part.push(j);
                }
            }
            k += 1;
        }
        parts.push(part);
    }
    parts.sort_by_key(|p| std::cmp::Reverse(p.len()));
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn two_chains_and_a_lone_node() {
        let near = |i: usize| [i.wrapping_sub(1), i + 1].into_iter().filter(|j| *j < 10).collect();
        let parts = connected(10, |i| i != 2 && i != 4, near);
        assert_eq!(parts, vec![vec![5, 6, 7, 8, 9], vec![0, 1], vec![3]]);
    }
}
