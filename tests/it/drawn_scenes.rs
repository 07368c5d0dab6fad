//! Situations drawn at random (`tests/boards/drawn.rs`), by the width and a photo: right, or told, and never wrong in silence. Any number of
//! others: `cargo run --release --example score_scenes -- FROM TO`.

use crate::boards::{Given, Verdict, drawn};

/// Two dozen seeds, none of them chosen; those that do not come out right, each with what a builder gets.
const SEEDS: std::ops::RangeInclusive<u64> = 1..=24;
const NOT_RIGHT: [(u64, Verdict); 5] = [
    // 4.4 % too large, stated .94; the outline 3.9 mm off is within what that means at the ends, as the verdict counts it
    (5, Verdict::Told),
    // 3.4 and 2.3 % too small, stated 1.1; the cause is not known
    (13, Verdict::Told),
    (17, Verdict::Told),
    // 2.4 and 1.7 % too large, stated .9: outline 3.4 mm
    (18, Verdict::Told),
    (23, Verdict::Told),
];

/// Seeds that every run of the tests draws; the others make minutes.
const FEW: [u64; 2] = [1, 2];
/// The others in so many parts, for tests to run side by side.
const PARTS: u64 = 4;
fn part(k: u64) {
    judged(SEEDS.filter(|s| !FEW.contains(s) && s % PARTS == k));
}
fn judged(seeds: impl Iterator<Item = u64>) {
    let mut other = Vec::new();
    for seed in seeds {
        let case = drawn(seed);
        let mut made = case.make();
        case.shoot(&mut made);
        let result = case.run(&made, Given::PHOTO);
        let verdict = Verdict::of(&case, &result);
        if verdict != NOT_RIGHT.iter().find(|n| n.0 == seed).map_or(Verdict::Right, |n| n.1) {
            other.push(format!("seed {seed}: {verdict:?}, {result:?}"));
        }
    }
    assert!(other.is_empty(), "better: take it out of the list; worse: it got worse\n{}", other.join("\n"));
}
#[test]
fn the_first_two() {
    judged(FEW.into_iter());
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn one_of_four() {
    part(0);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn two_of_four() {
    part(1);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn three_of_four() {
    part(2);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn four_of_four() {
    part(3);
}
