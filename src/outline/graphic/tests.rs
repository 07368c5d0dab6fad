//! A bent board with a print, seen through known cameras, and scanned with dull colours a little beside their places.
use super::*;
use crate::geom::Polygon;
use crate::num::{Knots, TensorSpline};
use crate::outline::camera::{Lens, looking};
use crate::outline::photo::pictured;
use crate::outline::rim::lift;
use crate::surface::{ErrorMap, SurfaceReport, Underside};

const WIDTH: u32 = 900;
const HEIGHT: u32 = 600;

fn underside() -> Underside {
    let (kx, ky) = (Knots::uniform(3, 10, -340.0, 340.0), Knots::uniform(3, 3, -120.0, 120.0));
    let height = |x: f64, y: f64| -(x / 60.0).powi(4) / 40.0 - y * y / 900.0;
    let (gx, gy) = (kx.greville(), ky.greville());
    let c = gx.iter().flat_map(|&x| gy.iter().map(move |&y| height(x, y))).collect();
    Underside {
        z: TensorSpline::new(kx, ky, c).unwrap(),
        error: ErrorMap::constant([-340.0, -120.0], [340.0, 120.0], 0.1),
        report: SurfaceReport::default(),
    }
}
fn egg() -> Polygon {
    let at = |a: f64| [300.0 * a.cos(), (85.0 + 8.0 * a.cos()) * a.sin()];
    Polygon { points: (0..600).map(|i| at(f64::from(i) / 600.0 * std::f64::consts::TAU)).collect() }
}
fn camera() -> Camera {
    Camera {
        rotation: Rotation3::new(Vector3::new(0.12, -0.08, 0.2)) * looking(true),
        shift: Vector3::new(6.0, -9.0, 560.0),
        lens: Lens { focal: 640.0, k: [0.03, 0.0], centre: [451.0, 298.0] },
    }
}
fn lens() -> LensPrior {
    LensPrior { focal: 650.0, focal_sd: 0.03, centre: [450.0, 300.0], centre_sd: 0.005 }
}
/// The print of board number `k`: waves of 15 to 60 mm across the board, with sharp borders.
fn print(k: f64, [x, y]: [f64; 2]) -> [f64; 3] {
    let wave = |a: f64, b: f64, c: f64| ((x * a.cos() + y * a.sin()) / b + c + k).sin();
    let w = wave(0.3 + k, 9.0, 1.0) + wave(1.9, 5.0, 0.4 * k) + wave(-0.9, 7.0 + k, 2.0) + wave(0.8, 3.1, 0.2);
    if w > 0.3 { [200.0, 120.0, 40.0] } else { [60.0 + 20.0 * w, 70.0, 110.0] }
}
struct Dice(u64);
impl Dice {
    fn even(&mut self) -> f64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1u64 << 53) as f64 - 0.5
    }
}
/// A photo by `camera` of what has the colour `of` in plan, on a grey floor.
fn photo(camera: &Camera, u: &Underside, of: impl Fn([f64; 2]) -> [f64; 3]) -> Picture {
    let rim = egg();
    let mut dice = Dice(5);
    pictured(&image::RgbImage::from_fn(WIDTH, HEIGHT, |a, b| {
        let px = [f64::from(a) + 0.5, f64::from(b) + 0.5];
        let at = lift(camera, &u.z, px, [0.0; 3]).filter(|p| rim.contains([p[0], p[1]]));
        let c = at.map_or([120.0; 3], |p| of([p[0], p[1]]));
        image::Rgb(c.map(|v| (v + 8.0 * dice.even()).clamp(0.0, 255.0) as u8))
    }))
}
/// A scan of some 2.5 mm from point to point, each colour beside its place by up to half a mm and `shift`.
fn scan(u: &Underside, shift: [f64; 2], of: impl Fn([f64; 2]) -> [f64; 3]) -> Painted {
    let mut dice = Dice(9);
    let mut points = Vec::new();
    for i in 0..16_000 {
        let (x, y) = (600.0 * dice.even(), 190.0 * (f64::from(i) * 0.618_033_988_7).fract() - 95.0);
        let c = of([x + shift[0] + dice.even(), y + shift[1] + dice.even()]);
        let dull = c.map(|v| (70.0 + 0.5 * v + 12.0 * dice.even()) as u8);
        points.push(([x, y, u.z.at(x, y) + 0.5 * dice.even()], dull));
    }
    Painted::of(points.into_iter(), u, &egg()).unwrap()
}
/// A start as a contour gives it where the scan's rim lies some mm off the rail.
fn start() -> Camera {
    let mut c = camera().moved(&[0.012, -0.01, 0.004, 0.006, -0.005, 0.02]);
    c.lens = Lens { focal: 650.0, k: [0.0; 2], centre: [450.0, 300.0] };
    c
}
/// How far places along the rim are seen beside where the true camera sees them, mm in plan, rms a coordinate.
fn off_mm(c: &Camera, rim: &Rim) -> f64 {
    let off = |i: usize| {
        let at = rim.plan[i];
        let m = Match { at, px: camera().project(rim.point(i, 0.0)), information: nalgebra::Matrix2::identity() };
        m.off(c, rim.z, [0.0; 2]).unwrap().mm.norm_squared() / 2.0
    };
    ((0..rim.plan.len()).map(off).sum::<f64>() / rim.plan.len() as f64).sqrt()
}
/// Under a light that falls off to a third across the board as well; pose and lens are what they are.
#[test]
fn colours_place_a_photo_within_its_standard_error() {
    let u = underside();
    let rim = Rim::new(&egg(), &u.z).unwrap();
    let painted = scan(&u, [0.0; 2], |p| print(0.0, p));
    let graphic = Graphic::new(&painted, &rim);
    assert!(off_mm(&start(), &rim) > 2.0, "{}", off_mm(&start(), &rim));
    for fall in [0.0, 0.3] {
        let lit = |p: [f64; 2]| print(0.0, p).map(|v| v * (0.7 - fall * p[0] / 300.0 - fall * p[1] / 180.0));
        let placed = graphic.place(&photo(&camera(), &u, lit), &lens(), &start()).unwrap();
        let off = off_mm(&placed.camera, &rim);
        assert!(off < 0.3 && off < 2.5 * placed.error_mm, "{off} {}", placed.error_mm);
        assert!(placed.error_mm < 0.15 && placed.matches.len() > 30, "{} {}", placed.error_mm, placed.matches.len());
        let focal = placed.camera.lens.focal;
        assert!((focal / 640.0 - 1.0).abs() < 0.02, "{focal}");
    }
}
/// A board taken the wrong way round, or from the wrong side, is turned.
#[test]
fn colours_tell_which_way_round_a_board_lies() {
    let u = underside();
    let rim = Rim::new(&egg(), &u.z).unwrap();
    let painted = scan(&u, [0.0; 2], |p| print(0.0, p));
    let graphic = Graphic::new(&painted, &rim);
    let photo = photo(&camera(), &u, |p| print(0.0, p));
    let wrong = graphic.turned(&start());
    // chance places some patches the wrong way round too
    let chance = graphic.place(&photo, &lens(), &wrong).map_or(0.0, |w| w.evidence);
    let right = graphic.place(&photo, &lens(), &start()).unwrap().evidence;
    assert!(right > chance + SURE, "{chance} {right}");
    let ways = graphic.best(&photo, &lens(), &[wrong], false).unwrap();
    let placed = ways.other.filter(|o| o.likelier(&ways.first)).unwrap_or(ways.first);
    let off = off_mm(&placed.camera, &rim);
    assert!(off < 0.3, "{off}");
    assert!(graphic.seen_from_below(&graphic.about_middle(&start(), Vector3::new(1.0, -1.0, -1.0))).sees_underside());
}
#[test]
fn colours_that_do_not_show_in_the_photo_place_nothing() {
    let u = underside();
    let rim = Rim::new(&egg(), &u.z).unwrap();
    let seen = photo(&camera(), &u, |p| print(0.0, p));
    let of = |colours: &dyn Fn([f64; 2]) -> [f64; 3]| {
        let painted = scan(&u, [0.0; 2], colours);
        let graphic = Graphic::new(&painted, &rim);
        let placed = graphic.best(&seen, &lens(), &[start()], false).is_some();
        (placed, graphic.contradicts(&seen, &lens(), &start()).is_some())
    };
    assert_eq!(of(&|p| print(0.0, p)), (true, false));
    // a board of one colour says nothing, another board's print says no
    assert_eq!(of(&|_| [150.0, 110.0, 70.0]), (false, false));
    assert_eq!(of(&|p| print(1.7, p)), (false, true));
}
/// Points in any order give the same cells; those off the surface or at the rim none.
#[test]
fn cells_hold_what_lies_on_the_underside() {
    let u = underside();
    let mut points: Vec<([f64; 3], [u8; 3])> = (0..200u8)
        .map(|k| {
            let (x, y) = (f64::from(k) * 0.11, f64::from(k) * 0.07);
            ([x, y, u.z.at(x, y)], [k, 255 - k, 7])
        })
        .collect();
    points.push(([10.0, 10.0, u.z.at(10.0, 10.0) + 3.5], [0; 3]));
    points.push(([298.0, 0.0, u.z.at(298.0, 0.0)], [0; 3]));
    let there = Painted::of(points.iter().copied(), &u, &egg()).unwrap();
    let back = Painted::of(points.iter().rev().copied(), &u, &egg()).unwrap();
    assert_eq!(there.cells, back.cells);
    assert!((there.cells.iter().map(|c| c.points).sum::<f64>() - 200.0).abs() < 1e-9);
    let coarse = there.coarser(8.0);
    assert!(coarse.len() < there.cells.len());
    assert!((coarse.iter().map(|c| c.points).sum::<f64>() - 200.0).abs() < 1e-9);
}
