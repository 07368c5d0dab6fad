//! What each stage takes, by the number of points: `cargo bench`. `benches/reference.py` runs these beside the same work by
//! general-purpose libraries, in processor time, and prints ratios and limits.
use divan::Bencher;
use faydeck::demo::{DEMO, PhotoScene, ScanScene, planted_photo, planted_scan};
use faydeck::export::{OutputOptions, build_files, write_ply, write_stl};
use faydeck::geom::TriMesh;
use faydeck::*;
use nalgebra::Point3;

fn main() {
    divan::main();
}
fn board() -> Board {
    Board::parse(&Board::template("scan.ply", None, DEMO.width_mm, None)).expect("template")
}
/// The demo scan with its points repeated, a little shifted, up to `n`.
fn points(n: usize) -> Vec<Point3<f64>> {
    let (first, _) = planted_scan(&DEMO, &ScanScene { points: n.min(100_000), ..ScanScene::default() });
    let shift = |i: usize| 1e-6 * (i / first.len()) as f64;
    (0..n).map(|i| first[i % first.len()].map(|c| c + shift(i))).collect()
}
/// Binary PLY of three floats a point, as scanning apps write it.
fn ply(n: usize) -> Vec<u8> {
    let mut out = format!("ply\nformat binary_little_endian 1.0\nelement vertex {n}\nproperty float x\nproperty float y\nproperty float z\nend_header\n").into_bytes();
    out.extend(points(n).iter().flat_map(|p| [p.x, p.y, p.z]).flat_map(|c| (c as f32).to_le_bytes()));
    out
}
fn cloud(n: usize) -> RawCloud {
    read_scan(&ply(n)).expect("demo").value
}
fn framed() -> Framed {
    frame_deck(&cloud(100_000), &board().tape, &FrameOptions::default()).expect("demo").value
}
fn reconstruction() -> Reconstruction {
    reconstruct(&board(), &ply(100_000), None, &mut ()).expect("demo").value
}

#[divan::bench(args = [10_000, 100_000, 1_000_000, 10_000_000, 30_000_000], sample_count = 3)]
fn read_ply(b: Bencher, n: usize) {
    let bytes = ply(n);
    b.bench_local(|| read_scan(&bytes).expect("demo"));
}
#[divan::bench(args = [10_000, 100_000, 1_000_000], sample_count = 5)]
fn read_stl(b: Bencher, n: usize) {
    let points = points(n);
    let triangles = (0..n as u32 - 2).map(|i| [i, i + 1, i + 2]).collect();
    let bytes = write_stl(&TriMesh { points, triangles });
    b.bench_local(|| read_scan(&bytes).expect("demo"));
}
#[divan::bench(args = [10_000, 100_000, 1_000_000], sample_count = 5)]
fn read_text(b: Bencher, n: usize) {
    let text: String = points(n).iter().map(|p| format!("{:.6} {:.6} {:.6}\n", p.x, p.y, p.z)).collect();
    b.bench_local(|| read_scan(text.as_bytes()).expect("demo"));
}
#[divan::bench(args = [10_000, 100_000, 1_000_000, 10_000_000, 30_000_000], sample_count = 3)]
fn isolate(b: Bencher, n: usize) {
    let (cloud, board) = (cloud(n), board());
    b.bench_local(|| frame_deck(&cloud, &board.tape, &FrameOptions::default()).expect("demo"));
}
#[divan::bench(sample_count = 5)]
fn fit(b: Bencher) {
    let f = framed();
    b.bench_local(|| fit_underside(&f.sheet, &f.rim, &SurfaceOptions::default()).expect("demo"));
}
#[divan::bench(sample_count = 3)]
fn outline_from_photo(b: Bencher) {
    let (f, board, photo) = (framed(), board(), planted_photo(&DEMO, &PhotoScene::default()).expect("demo"));
    let z = fit_underside(&f.sheet, &f.rim, &SurfaceOptions::default()).expect("demo").value;
    let photos = [photo.as_slice().into()];
    let scanned = ScannedBoard {
        underside: &z,
        rim: &f.rim,
        rim_doubt_mm: f.report.rim_doubt_mm,
        rim_lean: f.rim_lean,
        rim_bridged: f.report.rim_bridged_ratio,
        trucks: f.trucks,
        standing: &f.standing,
        thickness_mm: board.thickness_mm,
        rail_radius_mm: None,
        painted: None,
    };
    b.bench_local(|| find_outline(&photos, Unusable::Refuse, &scanned, &board.tape).expect("demo"));
}
#[divan::bench(sample_count = 3)]
fn gap(b: Bencher) {
    let (r, board) = (reconstruction(), board());
    let made = build(&board, &ply(100_000), None, &mut ()).expect("demo");
    let face = made.files.iter().find(|f| f.name == "mating-face.stl").expect("demo");
    let mesh = read_mesh(&face.bytes).expect("demo").value;
    let options = GapOptions::for_spec(board.enclosure.as_ref());
    let outline = r.deck.outline_polygon();
    b.bench_local(|| gap_map(&mesh, &r.deck.underside, &outline, &options).expect("demo"));
}
#[divan::bench(sample_count = 3)]
fn export(b: Bencher) {
    let deck = reconstruction().deck;
    b.bench_local(|| build_files("demo", &deck, None, &[], &OutputOptions::default()).expect("demo"));
}
#[divan::bench(args = [100_000, 1_000_000], sample_count = 5)]
fn write_points(b: Bencher, n: usize) {
    let points = points(n);
    b.bench_local(|| write_ply(&points, None, &[]));
}
