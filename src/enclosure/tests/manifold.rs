//! Every STL written is a manifold: one strap's had degenerate triangles where a knot lay on the cut.
use super::*;
use crate::export::{enclosure_files, fit_check_files, write_stl};
use crate::fit_check::{FitCheckSpec, make_fit_check};
use crate::geom::TriMesh;
use std::collections::BTreeMap;

/// Boxes drawn, and how many of them must be possible.
const DRAWN: u64 = 40;
const MOST_MADE: usize = 16;
const LEAST_MADE: usize = 10;

/// SplitMix64 (Steele, Lea, Flood 2014, doi 10.1145/2660193.2660195).
struct Random(u64);
impl Random {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) >> 11) as f64 / (1u64 << 53) as f64
    }
    fn between(&mut self, a: f64, b: f64) -> f64 {
        a + (b - a) * self.unit()
    }
    fn chance(&mut self, share: f64) -> bool {
        self.unit() < share
    }
}

/// What keeps a binary STL from being a closed manifold whose normals point out, its corners joined where their bytes are the same.
fn fault(stl: &[u8]) -> Option<String> {
    let mut edges: BTreeMap<[[u8; 12]; 2], u32> = BTreeMap::new();
    let mut volume = 0.0;
    for t in stl[84..].chunks(50) {
        let corner: [[u8; 12]; 3] = [0, 1, 2].map(|k| t[12 + 12 * k..24 + 12 * k].try_into().unwrap());
        let [a, b, c] = corner.map(|c| {
            nalgebra::Vector3::from(
                [0, 1, 2].map(|k| f64::from(f32::from_le_bytes(c[4 * k..4 * k + 4].try_into().unwrap()))),
            )
        });
        if (b - a).cross(&(c - a)).norm() == 0.0 {
            return Some(format!("a triangle without area at {a:?}"));
        }
        volume += a.dot(&b.cross(&c)) / 6.0;
        for k in 0..3 {
            *edges.entry([corner[k], corner[(k + 1) % 3]]).or_default() += 1;
        }
    }
    let shared = |e: &[[u8; 12]; 2]| edges.get(e).copied().unwrap_or(0);
    let odd = edges.keys().filter(|e| shared(e) != 1 || shared(&[e[1], e[0]]) != 1).count();
    if odd > 0 {
        Some(format!("{odd} of {} edges are not shared by two triangles in opposite directions", edges.len()))
    } else {
        (volume <= 0.0).then(|| format!("volume {volume}"))
    }
}
fn hold(name: &str, stl: &[u8], drawn: &dyn std::fmt::Debug) {
    assert!(stl.len() > 84 + 4 * 50, "{name} is empty");
    assert_eq!(fault(stl), None, "{name} of {drawn:?}");
}

fn draw(r: &mut Random) -> (EnclosureSpec, BodySpec) {
    let bend = r.chance(0.3);
    let rim = EnclosureSpec {
        length_mm: r.between(150.0, 380.0),
        offset_mm: r.between(-40.0, 40.0),
        inset_mm: r.between(10.0, 20.0),
        flange_mm: r.between(16.0, 26.0),
        corner_radius_mm: r.chance(0.5).then(|| r.between(10.0, 45.0)),
        gasket_mm: r.between(2.0, 8.0),
        ..rim()
    };
    let mut spec = body();
    spec.depth = Depth::Clear(r.between(18.0, 50.0));
    spec.shell.wall_mm = r.between(2.8, 5.0);
    spec.shell.floor_mm = r.between(2.8, 5.0);
    spec.shell.flange_mm = r.between(4.0, 8.0);
    spec.shell.draft = if r.chance(0.3) { 0.0 } else { r.between(0.5, 9.0).to_radians() };
    spec.shell.follow = bend;
    spec.shell.flange_chamfer_mm = if r.chance(0.4) { r.between(0.5, 4.0) } else { 0.0 };
    spec.shell.floor_edge =
        (!bend && r.chance(0.4)).then(|| EdgeSpec { size_mm: r.between(0.5, 2.0), round: r.chance(0.5) });
    spec.shell.groove =
        r.chance(0.25).then(|| GrooveSpec { strip_mm: r.between(4.0, 7.0), land_mm: r.between(0.3, 0.8) });
    spec.screws.size = if r.chance(0.5) { ScrewSize::M3 } else { ScrewSize::M4 };
    spec.screws.pitch_mm = r.between(60.0, 130.0);
    spec.screws.edge_mm = spec.shell.groove.map(|_| 6.0);
    spec.screws.slip_mm = if r.chance(0.5) { r.between(0.2, 2.0) } else { 0.0 };
    spec.screws.along = if r.chance(0.5) { Along::Deck } else { Along::Bench };
    spec.screws.boss = spec.screws.along == Along::Bench && r.chance(0.5);
    if r.chance(0.5) {
        spec.openings.push(opening([r.between(-30.0, 50.0), 0.0], OpeningShape::Circle(r.between(4.0, 16.0)), FLOOR));
    }
    // knots of surfaces lie at round numbers, and so may a cut
    let bed = if r.chance(0.5) { r.between(90.0, 250.0) } else { 10.0 * r.between(9.0, 25.0).round() };
    spec.printer = r.chance(0.75).then(|| PrinterSpec {
        bed_mm: [bed, 240.0, 250.0],
        joint: if r.chance(0.5) { JointKind::Tongue } else { JointKind::Butt },
        layers_along: r.chance(0.5),
    });
    (rim, spec)
}

#[test]
fn every_stl_of_boxes_drawn_at_random_is_a_manifold() {
    let decks = [f64::INFINITY, 500.0, 1500.0].map(deck);
    for d in &decks {
        hold("deck", &write_stl(&d.mesh().unwrap()), &"a deck");
    }
    let (mut made, mut cut, mut refused) = (0, 0, Vec::new());
    for k in 0..DRAWN {
        let (rim, spec) = draw(&mut Random(k));
        let d = &decks[(k % 3) as usize];
        let Ok(m) = make_mating(d, &rim) else { continue };
        let e = match make_enclosure(d, &m.value, &rim, &spec) {
            Ok(e) => e.value,
            Err(e) => {
                refused.push(e.message().to_owned());
                continue;
            }
        };
        hold("enclosure", &write_stl(e.mesh()), &(&rim, &spec));
        cut += usize::from(e.print_parts.len() > 1);
        for p in &e.print_parts {
            hold(&p.name, &write_stl(&p.mesh), &(&rim, &spec));
        }
        // coarser chords take other points
        if k % 8 == 0 {
            let files = enclosure_files("box", d, None, &e, 0.2).unwrap();
            for f in files.iter().filter(|f| f.name.ends_with(".stl")) {
                hold(&f.name, &f.bytes, &(&rim, &spec));
            }
            let check = FitCheckSpec { bed_mm: Some([120.0, 200.0]), ..FitCheckSpec::default() };
            let pieces = make_fit_check(d, Some(&m.value), &[-100.0, 0.0, 77.7], &check).unwrap();
            for f in fit_check_files(&pieces).unwrap().iter().filter(|f| f.name.ends_with(".stl")) {
                hold(&f.name, &f.bytes, &(&rim, &spec));
            }
        }
        made += 1;
        if made == MOST_MADE {
            break;
        }
    }
    assert!(made >= LEAST_MADE && cut >= LEAST_MADE / 3, "{made} made, {cut} of them cut; refused: {refused:#?}");
}
#[test]
fn what_is_no_manifold_is_found() {
    let p = |x: f64, y: f64, z: f64| nalgebra::Point3::new(x, y, z);
    let points = vec![p(0.0, 0.0, 0.0), p(1.0, 0.0, 0.0), p(0.0, 1.0, 0.0), p(0.0, 0.0, 1.0), p(0.5, 0.0, 0.0)];
    let good = vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [2, 0, 3]];
    let told = |triangles: Vec<[u32; 3]>| {
        fault(&write_stl(&TriMesh { points: points.clone(), triangles })).unwrap_or_default()
    };
    assert_eq!(told(good.clone()), "");
    assert!(told(good[1..].to_vec()).contains("edges"));
    assert!(told(good.iter().map(|t| [t[0], t[2], t[1]]).collect()).contains("volume"));
    assert!(told([good.clone(), vec![[0, 4, 1]]].concat()).contains("without area"));
    assert!(told([good.clone(), good].concat()).contains("edges"));
}
