//! The command line of faydeck.
fn main() {}
