//! Work in several threads, where the feature is on; results are the same in any number of them.

/// `f` of 0 to `n - 1`, in this order.
#[cfg(feature = "threads")]
pub(crate) fn each<R: Send>(n: usize, f: impl Fn(usize) -> R + Sync + Send) -> Vec<R> {
    use rayon::prelude::*;
    (0..n).into_par_iter().map(f).collect()
}
#[cfg(not(feature = "threads"))]
pub(crate) fn each<R>(n: usize, f: impl Fn(usize) -> R) -> Vec<R> {
    (0..n).map(f).collect()
}

/// Sorts by an order in which no two that compare equal can be told apart.
#[cfg(feature = "threads")]
pub(crate) fn sort_by<T: Send>(all: &mut [T], by: impl Fn(&T, &T) -> std::cmp::Ordering + Sync) {
    use rayon::prelude::*;
    all.par_sort_unstable_by(by);
}
#[cfg(not(feature = "threads"))]
pub(crate) fn sort_by<T>(all: &mut [T], by: impl Fn(&T, &T) -> std::cmp::Ordering) {
    all.sort_unstable_by(by);
}

/// What `main` gives, worked out on this thread, and what `beside` gives, at the same time on another where there is one.
#[cfg(feature = "threads")]
pub(crate) fn at_once<A, B: Send>(main: impl FnOnce() -> A, beside: impl FnOnce() -> B + Send) -> (A, B) {
    if rayon::current_num_threads() == 1 {
        return (main(), beside());
    }
    let (done, waiting) = std::sync::mpsc::channel();
    let first = rayon::in_place_scope(|scope| {
        // the other end is held until the scope ends
        scope.spawn(move |_| drop(done.send(beside())));
        main()
    });
    match waiting.recv() {
        Ok(second) => (first, second),
        // a panic in `beside` has come out of the scope already
        Err(_) => unreachable!("what was worked out beside is sent before the scope ends"),
    }
}
#[cfg(not(feature = "threads"))]
pub(crate) fn at_once<A, B>(main: impl FnOnce() -> A, beside: impl FnOnce() -> B) -> (A, B) {
    (main(), beside())
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn results_come_in_order() {
        assert_eq!(each(1000, |i| i * i), (0..1000).map(|i| i * i).collect::<Vec<_>>());
        let (a, b) = at_once(|| each(50, |i| i + 1).len(), || each(70, |i| i + 1).len());
        assert_eq!((a, b), (50, 70));
    }
}
