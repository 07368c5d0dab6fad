//! The stated doubt of a gap against planted truth.
use faydeck::demo::{DEMO, PlantedBoard, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::geom::{Similarity, TriMesh};
use faydeck::{Board, Part, Pose, gaps, prove, reconstruct};
use nalgebra::{Point3, Vector3};

/// Half the length and width of the rim, mm, its width as a share, and its true gap, mm.
const HALF_MM: [f64; 2] = [170.0, 75.0];
const INNER_RATIO: f64 = 0.82;
const GAP_MM: f64 = 2.1;

/// A rim that keeps the gap everywhere over the planted board: the true surface, moved along its own normal.
fn rim(planted: &PlantedBoard) -> TriMesh {
    let mut m = TriMesh::default();
    let (around, across) = (360_u32, 8_u32);
    let root = |c: f64| c.abs().sqrt().copysign(c);
    for i in 0..around {
        let (sin, cos) = (f64::from(i) / f64::from(around) * std::f64::consts::TAU).sin_cos();
        for k in 0..=across {
            let r = INNER_RATIO + (1.0 - INNER_RATIO) * f64::from(k) / f64::from(across);
            let (x, y) = (r * HALF_MM[0] * root(cos), r * HALF_MM[1] * root(sin));
            let h = 0.01;
            let slope =
                |dx: f64, dy: f64| (planted.height(x + dx, y + dy) - planted.height(x - dx, y - dy)) / (2.0 * h);
            let n = Vector3::new(-slope(h, 0.0), -slope(0.0, h), 1.0).normalize();
            m.points.push(Point3::new(x, y, planted.height(x, y)) + GAP_MM * n);
        }
    }
    for i in 0..around {
        let (a, b) = (i * (across + 1), (i + 1) % around * (across + 1));
        for k in 0..across {
            m.triangles.push([a + k, a + k + 1, b + k]);
            m.triangles.push([a + k + 1, b + k + 1, b + k]);
        }
    }
    m
}

/// JCGM 100, annex G: twice the standard uncertainty holds some 95 % of a normal law. Errors hang together over a board, so that a
/// single one may do worse; of these few boards nine places in ten must be held, and the band must not be so wide that it says nothing.
#[test]
fn the_band_of_doubt_holds_the_planted_gap() {
    let deep = PlantedBoard { concave_mm: 14.0, camber_mm: 20.0, length_mm: 800.0, width_mm: 212.0, ..DEMO };
    let plain = ScanScene { points: 40_000, ..ScanScene::default() };
    let scenes = [
        (DEMO, plain.clone()),
        (DEMO, ScanScene { seed: 11, ..plain.clone() }),
        (deep, ScanScene { trucks: true, seed: 3, ..plain }),
    ];
    let (mut held, mut all, mut square) = (0.0, 0.0, 0.0);
    for (planted, scene) in scenes {
        let (points, truth) = planted_scan(&planted, &scene);
        let board =
            Board::parse(&Board::template("scan.ply", None, planted.width_mm, Some(planted.length_mm))).unwrap();
        let rec = reconstruct(&board, &write_ply(&points, None, &[]), None, &mut ()).unwrap().value;
        // a true-size rim laid where the reconstruction has the middle of its place: its scale error stays in the gap
        let there = rec.scan_to_deck.after(&truth.inverse());
        let middle = Point3::new(0.0, 0.0, planted.height(0.0, 0.0));
        let translation = there.apply(&middle).coords - there.rotation * middle.coords;
        let rigid = Similarity { rotation: there.rotation, scale: 1.0, translation };
        let mut mesh = rim(&planted);
        mesh.points.iter_mut().for_each(|p| *p = rigid.apply(p));
        let part = Part { mesh, pose: Pose::Given, within_footprint: false };
        let map = prove(&board, &rec, None, vec![], &part).unwrap().value.map;
        let [one] = &map.rims[..] else { panic!("{} rims", map.rims.len()) };
        assert!(one.closed && one.stations.len() > 350, "{}", one.stations.len());
        for s in &one.stations {
            let off = (s.gap_mm - GAP_MM) / s.standard_uncertainty_mm;
            held += f64::from(u8::from(off.abs() <= 2.0));
            square += off * off;
            all += 1.0;
        }
        let us: Vec<f64> = one.stations.iter().map(|s| s.standard_uncertainty_mm).collect();
        let (least, most) = us.iter().fold((f64::INFINITY, 0.0_f64), |(l, m), u| (l.min(*u), m.max(*u)));
        assert!(most > 1.02 * least && most < 0.5, "{least} to {most} mm: place by place, and of use");
    }
    assert!(held / all >= 0.9, "{held} of {all}");
    assert!(f64::sqrt(square / all) > 0.2, "the band is {} times too wide", f64::sqrt(all / square));
}

/// A mating face that cannot be made is the reason why a registered part has no place, not a missing table.
#[test]
fn a_footprint_that_cannot_be_made_says_why() {
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 20_000, ..ScanScene::default() });
    let text = format!(
        "{}\n[enclosure]\nlength = '2000 mm'\n",
        Board::template("scan.ply", None, DEMO.width_mm, Some(DEMO.length_mm)).split("[enclosure]").next().unwrap()
    );
    let board = Board::parse(&text).unwrap();
    let scan = write_ply(&points, None, &[]);
    let mut mesh = rim(&DEMO);
    let part = |pose: Pose, mesh: TriMesh| Part { mesh, pose, within_footprint: false };
    let e = gaps(&board, &scan, None, &part(Pose::Found, mesh.clone()), &mut ()).unwrap_err();
    assert!(e.message().contains("does not fit") && e.hint_text().is_some(), "{e}");
    // given in place it is proved all the same, and what is not known then is said
    let zero = DEMO.height(0.0, 0.0);
    mesh.points.iter_mut().for_each(|p| p.z -= zero);
    let made = gaps(&board, &scan, None, &part(Pose::Given, mesh), &mut ()).unwrap();
    assert!(made.warnings.iter().any(|w| w.message.contains("screws are not known")), "{:?}", made.warnings);
}
