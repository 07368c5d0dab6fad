//! Masks on a raster.

/// A mask of `w` by `h` cells, row by row, in which every cell within `r` rows and columns of one that is `value` is so too:
/// grown for true, shrunk for false.
pub fn spread(m: &[bool], w: usize, h: usize, r: usize, value: bool) -> Vec<bool> {
    let pass = |m: &[bool], dx: usize, dy: usize| -> Vec<bool> {
        (0..w * h)
            .map(|i| {
                let (x, y) = (i % w, i / w);
                let (x0, x1) = (x.saturating_sub(dx), (x + dx).min(w - 1));
                let (y0, y1) = (y.saturating_sub(dy), (y + dy).min(h - 1));
                let hit = (y0..=y1).any(|y| (x0..=x1).any(|x| m[y * w + x] == value));
                if hit { value } else { !value }
            })
            .collect()
    };
    pass(&pass(m, r, 0), 0, r)
}
