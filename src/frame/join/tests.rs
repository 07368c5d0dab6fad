//! Planted scans split in overlapping parts, each turned, moved and of its own size.
use super::*;
use crate::demo::{DEMO, ScanScene, planted_scan};
use nalgebra::{Point3, Rotation3, Vector3};

/// A scan of the board between two places along it, in a frame and size of its own, and the map from there to mm.
fn part(seed: u64, from: f64, to: f64) -> (RawCloud, Similarity) {
    let scene = ScanScene { seed, trucks: true, points: 30_000, ..ScanScene::default() };
    let (points, to_mm) = planted_scan(&DEMO, &scene);
    let s = seed as f64;
    let axis = Vector3::new((3.0 * s).sin(), (5.0 * s).cos(), (7.0 * s).sin()) * 3.0;
    let own = Similarity {
        rotation: *Rotation3::new(axis).matrix(),
        scale: 0.01 * (1.0 + s),
        translation: Vector3::new(s, -2.0 * s, 0.5),
    };
    let points =
        points.iter().map(|p| to_mm.apply(p)).filter(|p| p.x > from && p.x < to).map(|p| own.apply(&p)).collect();
    (RawCloud { points, ..RawCloud::default() }, own.inverse())
}
fn tape(length: bool) -> Tape {
    Tape::new(DEMO.width_mm, length.then_some(DEMO.length_mm), None).unwrap()
}
/// Greatest miss of the board's corners, mm, of a joined scan whose own map to mm is `own`.
fn miss(report: &JoinReport, own: &Similarity, first: &Similarity) -> f64 {
    let rows = report.to_first;
    let joined = |p: Point3<f64>| {
        let [x, y, z] = [0, 1, 2].map(|r| (0..3).map(|c| rows[r][c] * p[c]).sum::<f64>() + rows[r][3]);
        first.apply(&Point3::new(x, y, z))
    };
    let (l, w) = (DEMO.length_mm / 2.0, DEMO.width_mm / 2.0);
    [(-l, -w), (-l, w), (l, -w), (l, w)]
        .map(|(x, y)| Point3::new(x, y, 0.0))
        .map(|p| (joined(own.inverse().apply(&p)) - p).norm())
        .into_iter()
        .fold(0.0, f64::max)
}
fn joined(parts: &[(RawCloud, Similarity)], length: bool) -> Result<Warned<(RawCloud, Vec<JoinReport>)>> {
    join_scans(parts.iter().map(|p| p.0.clone()).collect(), &tape(length), &FrameOptions::default())
}

/// Scans share noise of 0.4 mm; a place of the joined board is within a millimetre where both show the same end.
#[test]
fn scans_of_unlike_size_that_share_an_end_are_laid_on_each_other() {
    for (from, to) in [(-900.0, 900.0), (0.0, 900.0)] {
        let parts = [part(3, -900.0, 900.0), part(4, from, to)];
        let (cloud, reports) = joined(&parts, true).unwrap().value;
        let [r] = &reports[..] else { panic!("{reports:?}") };
        assert_eq!((r.scan, cloud.points.len()), (2, parts[0].0.points.len() + parts[1].0.points.len()));
        let ratio = parts[1].1.scale / parts[0].1.scale;
        assert!((r.scale_ratio / ratio - 1.0).abs() < 2e-3, "{r:?}, planted {ratio}");
        let off = miss(r, &parts[1].1, &parts[0].1);
        assert!(off < 1.5 && r.standard_error_mm < 1.5, "{off} mm: {r:?}");
        assert!(r.overlap_ratio > 0.95 && r.matched_ratio > 0.9 && r.residual_rms_mm < 0.7, "{r:?}");
    }
}
#[test]
fn scans_that_do_not_overlap_are_refused() {
    let parts = [part(3, -900.0, -50.0), part(4, 50.0, 900.0)];
    let e = joined(&parts, true).unwrap_err();
    assert!(e.message().contains("scan 2 does not overlap") && e.hint_text().is_some(), "{e}");
    // without the length nothing tells whether scans slid: none are joined
    assert!(joined(&parts, false).is_err());
}
/// Overlaps of a smooth middle: what is joined lies within three stated standard errors, the rest is refused for its doubt.
#[test]
fn halves_that_share_only_a_smooth_middle_are_refused_or_honest() {
    let mut told = Vec::new();
    for (seed, shared) in [(3, 220.0), (5, 350.0), (7, 500.0)] {
        let parts = [part(seed, -900.0, shared / 2.0), part(seed + 1, -shared / 2.0, 900.0)];
        match joined(&parts, true) {
            Ok(j) => {
                let r = &j.value.1[0];
                let off = miss(r, &parts[1].1, &parts[0].1);
                told.push((shared, off, r.standard_error_mm, off < 3.0 * r.standard_error_mm));
            }
            Err(e) => assert!(e.hint_text().is_some(), "{shared}: {e}"),
        }
    }
    assert!(told.iter().all(|t| t.3), "{told:?}");
}
#[test]
fn one_scan_comes_back_as_it_is_and_none_is_refused() {
    let (cloud, _) = part(3, -900.0, 900.0);
    let (same, reports) = join_scans(vec![cloud.clone()], &tape(true), &FrameOptions::default()).unwrap().value;
    assert!(same.points == cloud.points && reports.is_empty());
    assert!(join_scans(Vec::new(), &tape(true), &FrameOptions::default()).is_err());
    let few = RawCloud { points: cloud.points[..50].to_vec(), ..RawCloud::default() };
    let e = join_scans(vec![cloud, few], &tape(true), &FrameOptions::default()).unwrap_err();
    assert!(e.message().contains("50 points"), "{e}");
}
#[test]
fn colours_stay_where_both_scans_have_them() {
    let one = |colors: Option<Vec<[u8; 3]>>| RawCloud {
        points: vec![Point3::new(1.0, 2.0, 3.0); 2],
        triangles: vec![[0, 1, 1]],
        colors,
        ..RawCloud::default()
    };
    let pose = Similarity { scale: 2.0, ..Similarity::identity() };
    let mut both = one(Some(vec![[1; 3]; 2]));
    append(&mut both, one(Some(vec![[9; 3]; 2])), &pose);
    assert_eq!((both.colors, both.triangles), (Some(vec![[1; 3], [1; 3], [9; 3], [9; 3]]), vec![[0, 1, 1], [2, 3, 3]]));
    assert_eq!(both.points[3], Point3::new(2.0, 4.0, 6.0));
    let mut first = one(Some(vec![[1; 3]; 2]));
    append(&mut first, one(None), &pose);
    assert_eq!(first.colors, None);
    // textures of a part of one scan go with the other's points
    let texel = crate::scan::Texel { at: Point3::new(0.0, 0.0, 1.0), color: [5; 3] };
    let partly = RawCloud { texels: vec![texel], ..one(None) };
    for (mut first, second, places) in [
        (one(Some(vec![[1; 3]; 2])), partly.clone(), [[1., 2., 3.], [1., 2., 3.], [0., 0., 2.]]),
        (partly, one(Some(vec![[1; 3]; 2])), [[0., 0., 1.], [2., 4., 6.], [2., 4., 6.]]),
    ] {
        append(&mut first, second, &pose);
        let told: Vec<_> = first.coloured().map(|c| c.0).collect();
        assert_eq!((first.colors.is_none(), told), (true, places.map(Point3::from).to_vec()));
    }
}
