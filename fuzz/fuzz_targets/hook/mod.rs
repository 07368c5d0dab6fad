//! What a panic does in a run.

/// A panic stops the run, but for those of crates below that a reader catches.
pub fn set() {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |told| {
        if !faydeck::panic_is_caught() {
            usual(told);
        }
    }));
}
