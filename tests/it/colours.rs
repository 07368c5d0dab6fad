//! A scan's colours: painted by formula on a planted board, found again over the true-size underside and in what is written.
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_coloured_ply;
use faydeck::{Board, LayerColours, RawCloud, Report, build, read_scan, reconstruct, rescale};
use nalgebra::Point3;

const FLOOR: [u8; 3] = [255, 255, 255];
/// The paint at a place of the board, mm: four quarters, so that neither a mirrored nor a turned board passes.
fn paint(x: f64, y: f64) -> [u8; 3] {
    [if x > 0.0 { 200 } else { 40 }, if y > 0.0 { 180 } else { 20 }, 90]
}
/// Points in scan units with their paint; all that is not near the underside is white.
fn painted() -> (Vec<Point3<f64>>, Vec<[u8; 3]>) {
    let (points, to_board) = planted_scan(&DEMO, &ScanScene { points: 40_000, trucks: true, ..ScanScene::default() });
    let colour = |p: &Point3<f64>| {
        let q = to_board.apply(p);
        if (q.z - DEMO.height(q.x, q.y)).abs() < 2.0 { paint(q.x, q.y) } else { FLOOR }
    };
    let colours = points.iter().map(colour).collect();
    (points, colours)
}
fn board() -> Board {
    Board::parse(&Board::template("scan.ply", None, DEMO.width_mm, Some(DEMO.length_mm))).unwrap()
}

#[test]
fn paint_lies_where_it_was_painted() {
    let (points, colours) = painted();
    let scan = write_coloured_ply(&points, None, Some(&colours), &[]);
    let made = reconstruct(&board(), &scan, None, &mut ()).unwrap().value;
    let map = made.colours.as_ref().expect("the scan has colours");
    let (mut right, mut turned, mut inside) = (0, 0, 0);
    for (k, found) in map.colours.iter().enumerate() {
        let [x, y] =
            [(0, k / map.nodes[1]), (1, k % map.nodes[1])].map(|(a, i)| map.origin_mm[a] + map.step_mm * i as f64);
        // a cell over a border of two paints, or near the rounded rail, is a mixture
        if x.abs() < 6.0 || y.abs() < 6.0 || DEMO.half_width(x) - y.abs() < 12.0 {
            continue;
        }
        inside += 1;
        right += usize::from(*found == Some(paint(x, y)));
        turned += usize::from(*found == Some(paint(-x, -y)));
    }
    // trucks hide a part of it; a board with two like ends may come out turned by half
    let most = right.max(turned);
    assert!(inside > 5000 && most as f64 > 0.8 * f64::from(inside), "{right} right, {turned} turned, of {inside}");
    assert!(right.min(turned) == 0, "{right} right, {turned} turned");
    let page = Report::new(&board(), &made, None, vec![]).page;
    let layer = page.layers.iter().find(|l| l.colours == LayerColours::Own).expect("a layer of the scan's colours");
    assert_eq!(layer.rgb.0.len(), 3 * layer.values.0.len());
    assert!(layer.values.0.iter().all(|v| v.is_nan() || (0.0..=100.0).contains(v)));
}

#[test]
fn the_order_of_coloured_points_changes_nothing() {
    let (points, colours) = painted();
    let made = |p: &[Point3<f64>], c: &[[u8; 3]]| {
        reconstruct(&board(), &write_coloured_ply(p, None, Some(c), &[]), None, &mut ()).unwrap().value.colours
    };
    let back = |n: usize| (0..n).rev();
    let (p, c): (Vec<_>, Vec<_>) = back(points.len()).map(|i| (points[i], colours[i])).unzip();
    assert!(made(&points, &colours) == made(&p, &c));
}

#[test]
fn a_scan_without_colours_has_no_such_layer() {
    let (points, _) = painted();
    let made = build(&board(), &write_coloured_ply(&points, None, None, &[]), None, &mut ()).unwrap();
    assert!(made.report.page.layers.iter().all(|l| l.colours != LayerColours::Own && l.rgb.0.is_empty()));
}

#[test]
fn rescaled_points_keep_their_colours() {
    let (points, colours) = painted();
    let scan = write_coloured_ply(&points, None, Some(&colours), &[]);
    let (cloud, _): (RawCloud, _) = rescale(&scan, &board().tape, false).unwrap().value;
    assert_eq!(cloud.colors.as_ref(), Some(&colours));
    let again = write_coloured_ply(&cloud.points, None, cloud.colors.as_deref(), &[]);
    assert_eq!(read_scan(&again).unwrap().value.colors, Some(colours));
}
