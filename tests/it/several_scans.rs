//! Two scans of one board, each of its own size, to one deck.
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{Board, Report, Scans, reconstruct};
use nalgebra::Point3;

#[test]
fn two_scans_of_unlike_size_give_one_true_size_deck() {
    let text = Board::template("a.ply", None, DEMO.width_mm, Some(DEMO.length_mm));
    let board = Board::parse(&text.replace("file = \"a.ply\"", "files = [\"a.ply\", \"b.ply\"]")).unwrap();
    assert_eq!(board.scan_files, ["a.ply", "b.ply"]);
    let scan = |seed: u64, units_per_mm: f64, keep: &dyn Fn(f64) -> bool| {
        let (points, to_mm) = planted_scan(&DEMO, &ScanScene { seed, units_per_mm, ..ScanScene::default() });
        let points: Vec<Point3<f64>> = points.into_iter().filter(|p| keep(to_mm.apply(p).x)).collect();
        write_ply(&points, None, &[])
    };
    // a hole in the first scan that the second one fills
    let first = scan(1, 0.002, &|x| (x - 60.0).abs() > 20.0);
    let second = scan(2, 0.7, &|_| true);
    let rec = reconstruct(&board, Scans(vec![(&first).into(), (&second).into()]), None, &mut ()).unwrap().value;
    assert_eq!(rec.joined.len(), 1);
    assert!((rec.joined[0].scale_ratio * 350.0 - 1.0).abs() < 3e-3, "{:?}", rec.joined);
    assert!((rec.scale.mm_per_unit * 0.002 - 1.0).abs() < 3e-3, "{:?}", rec.scale);
    let page = Report::new(&board, &rec, None, Vec::new()).page;
    let row = page.numbers.iter().find(|n| n.name == "Scan 2 laid on the others").unwrap();
    assert!(row.value.contains("% overlap") && row.uncertainty.starts_with('±'), "{row:?}");
    let (mut sum, mut n) = (0.0, 0);
    let z0 = rec.deck.underside.at(0.0, 0.0) - DEMO.height(0.0, 0.0);
    for i in -30..=30 {
        for j in -8..=8 {
            let (x, y) = (12.0 * f64::from(i), 10.0 * f64::from(j));
            // the demo board's height is the same either way round
            sum += (rec.deck.underside.at(x, y) - DEMO.height(x, y) - z0).powi(2);
            n += 1;
        }
    }
    let rms = (sum / f64::from(n)).sqrt();
    assert!(rms < 0.3, "{rms} mm rms");
}
