//! What must not matter does not: where and how large the scan is, the order of its points, twice as many of them, and which
//! hand the board has.
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::geom::Similarity;
use faydeck::{Board, Reconstruction, build, reconstruct};
use nalgebra::{Matrix3, Point3, Rotation3, Vector3};
use std::ops::Range;

fn board() -> Board {
    Board::parse(&Board::template("scan.ply", None, DEMO.width_mm, Some(DEMO.length_mm))).unwrap()
}
fn scan(seed: u64, points: usize) -> Vec<Point3<f64>> {
    planted_scan(&DEMO, &ScanScene { points, seed, ..ScanScene::default() }).0
}
fn made(points: &[Point3<f64>]) -> Reconstruction {
    reconstruct(&board(), &write_ply(points, None, &[]), None, &mut ()).unwrap().value
}
/// Random numbers that are the same on every machine (splitmix64, S. Vigna, public domain).
fn random(state: &mut u64) -> f64 {
    *state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
    let mut z = *state;
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    (z ^ (z >> 31)) as f64 / u64::MAX as f64
}
/// Root mean square and greatest height difference of two decks, mm, at places well inside the rim; `at` brings a place of the
/// first deck's plan to the second's, up to the half turn in which a board without a nose may come out.
fn apart(a: &Reconstruction, b: &Reconstruction, at: impl Fn(f64, f64) -> (f64, f64)) -> (f64, f64) {
    let mut best = (f64::MAX, f64::MAX);
    for turn in [1.0, -1.0] {
        let (mut sum, mut n, mut most) = (0.0f64, 0.0, 0.0f64);
        for i in -40..=40 {
            for j in -9..=9 {
                let (x, y) = (DEMO.length_mm * f64::from(i) / 84.0, DEMO.width_mm * f64::from(j) / 20.0);
                if DEMO.half_width(x) - y.abs() < 15.0 {
                    continue;
                }
                let (u, v) = at(x, y);
                let d = a.deck.underside.at(x, y) - b.deck.underside.at(turn * u, turn * v);
                sum += d * d;
                n += 1.0;
                most = most.max(d.abs());
            }
        }
        assert!(n > 500.0);
        let rms = (sum / n).sqrt();
        if rms < best.0 {
            best = (rms, most);
        }
    }
    best
}
fn same(x: f64, y: f64) -> (f64, f64) {
    (x, y)
}
fn sides(r: &Reconstruction) -> [f64; 2] {
    let (lo, hi) = r.deck.outline_polygon().bounds();
    [hi[0] - lo[0], hi[1] - lo[1]]
}

#[test]
fn a_similarity_of_the_scan_gives_the_same_deck() {
    same_deck("width", None, 0..1);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn any_similarity_of_the_scan_gives_the_same_deck() {
    same_deck("width", None, 1..4);
    same_deck("width and length", Some(DEMO.length_mm), 0..4);
}
/// A board with trucks on, its scan turned by a hundredth of a degree or by any angle, shifted and scaled, by the width alone and with a
/// length: the same deck to 0.02 mm rms, the same scale to 5e-5, and the same end in front. Scans that were turned once gave a deck of
/// floor, a scale half again as large, or nose for tail without a word.
fn same_deck(given: &str, length: Option<f64>, which: Range<usize>) {
    let points = planted_scan(&DEMO, &ScanScene { points: 30_000, seed: 1, trucks: true, ..ScanScene::default() }).0;
    let board = Board::parse(&Board::template("scan.ply", None, DEMO.width_mm, length)).unwrap();
    let made =
        |points: &[Point3<f64>]| reconstruct(&board, &write_ply(points, None, &[]), None, &mut ()).unwrap().value;
    let mut state = 11;
    let maps = [(1.0, 0.0001745), (1e-3, 3.0), (40.0, 3.0), (0.7, 3.0)].map(|(scale, most)| {
        let mut next = || random(&mut state) * 2.0 - 1.0;
        let axis = Vector3::new(next(), next(), next());
        Similarity {
            rotation: *Rotation3::new(axis * most).matrix(),
            scale,
            translation: Vector3::new(next(), next(), next()) * 1000.0 * scale,
        }
    });
    let first = made(&points);
    for map in &maps[which] {
        let moved: Vec<_> = points.iter().map(|p| map.apply(p)).collect();
        let other = made(&moved);
        let ratio = other.scale.mm_per_unit * map.scale / first.scale.mm_per_unit;
        let turn = other.scan_to_deck.after(map).rotation * first.scan_to_deck.rotation.transpose();
        assert!(turn[(0, 0)] > 0.99 && turn[(2, 2)] > 0.99, "{given}, {}: turned by {turn}", map.scale);
        assert!((ratio - 1.0).abs() < 5e-5, "{given}, {}: scales differ by {ratio}", map.scale);
        let (rms, most) = apart(&first, &other, same);
        assert!(rms < 0.02 && most < 0.1, "{given}, {}: {rms} mm rms, {most} mm at most", map.scale);
        let (a, b) = (sides(&first), sides(&other));
        assert!((a[0] - b[0]).abs() < 0.1 && (a[1] - b[1]).abs() < 0.1, "{given}: {a:?} {b:?}");
    }
}

fn shuffled(mut points: Vec<Point3<f64>>) -> Vec<Point3<f64>> {
    let mut state = 5;
    for i in (1..points.len()).rev() {
        points.swap(i, (random(&mut state) * (i as f64 + 0.999)) as usize);
    }
    points
}

/// Sums in another order differ in their last digits, and a fit that turns on them by its own numeric tolerance: a
/// thousandth of the edge tolerance of the files.
#[test]
fn any_order_of_the_points_gives_the_same_deck() {
    let points = scan(2, 15_000);
    let (rms, most) = apart(&made(&points), &made(&shuffled(points)), same);
    assert!(rms < 1e-5 && most < 1e-5, "{rms} mm rms, {most} mm at most");
}

/// Points are put into an order of their own before anything is summed: the file's order changes no byte.
#[test]
fn any_order_of_the_points_gives_the_same_bytes() {
    let points = scan(2, 15_000);
    let files = |p: &[Point3<f64>]| build(&board(), &write_ply(p, None, &[]), None, &mut ()).unwrap().files;
    let (one, two) = (files(&points), files(&shuffled(points)));
    for (a, b) in one.iter().zip(&two) {
        assert!(a == b, "{} differs", a.name);
    }
}

/// Every point given twice says nothing new; a second set of points from the same board brings a little.
#[test]
fn twice_the_points_change_little() {
    let points = scan(3, 20_000);
    let first = made(&points);
    let doubled = made(&[points.clone(), points.clone()].concat());
    let (rms, most) = apart(&first, &doubled, same);
    assert!(rms < 0.05 && most < 0.3, "each point twice: {rms} mm rms, {most} mm at most");
    let finer = made(&scan(3, 40_000));
    let (rms, most) = apart(&first, &finer, same);
    assert!(rms < 0.2 && most < 1.0, "other points: {rms} mm rms, {most} mm at most");
}

/// The mirrored scan of a board is the scan of the mirrored board.
#[test]
fn mirrored_scans_give_mirrored_decks() {
    let points = scan(4, 30_000);
    let first = made(&points);
    let mirror = Matrix3::from_diagonal(&Vector3::new(1.0, -1.0, 1.0));
    let other = made(&points.iter().map(|p| mirror * p).collect::<Vec<_>>());
    let (rms, most) = apart(&first, &other, |x, y| (x, -y));
    assert!(rms < 0.1 && most < 0.6, "{rms} mm rms, {most} mm at most");
}
