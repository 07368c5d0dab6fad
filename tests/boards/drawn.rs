//! Situations drawn at random: a board, what is mounted and lies about, how it is scanned and photographed.
use super::case::{Case, Kind};
use super::cloud::{CloudScan, Damage, Normals};
use super::depth::DepthScan;
use super::photo::{Ground, PHOTO, Paint, PhotoSpec, Tags};
use super::rng::Rng;
use super::scene::{Mounted, Scene, Support};
use super::shape::{Concave, End, PLAIN, Shape};

/// The situation of a seed. Ranges are what builders have and do (common practice, no source).
pub fn drawn(seed: u64) -> Case {
    let rng = Rng::new(seed);
    let shape = shape(&mut rng.fork(20));
    let mut r = rng.fork(21);
    let scene = scene(&mut r, &shape);
    let depth = r.chance(0.45);
    Case {
        name: "drawn",
        about: "drawn at random",
        shape,
        scene,
        kind: if depth {
            let back_mm = r.chance(0.5).then(|| r.between(12.0, 30.0));
            Kind::Depth(DepthScan { voxel_mm: r.between(4.5, 7.0), back_mm, normals: Normals::None })
        } else {
            Kind::Cloud(CloudScan {
                points: r.between(12_000.0, 30_000.0) as usize,
                normals: [Normals::None, Normals::Outward, Normals::Scrambled][r.below(3)],
                passes: 1 + r.below(2),
                drift_mm: r.between(0.0, 0.4),
                uneven: r.between(0.0, 0.9),
            })
        },
        damage: damage(&mut r, depth),
        stl: depth && r.chance(0.3),
        photo: photo(&mut rng.fork(22)),
        photo_scene: None,
        seed,
    }
}
fn end(r: &mut Rng, kicked: bool, length_mm: f64) -> End {
    let end = if r.chance(0.12) {
        End::pin(r.between(180.0, 300.0))
    } else {
        End::round(r.between(100.0, 200.0), r.between(2.0, 3.0))
    };
    if kicked {
        let from = r.between(0.12, 0.2) * length_mm;
        end.kicked(r.between(6.0, 22.0), from, r.between(60.0, 170.0), r.chance(0.5))
    } else {
        end
    }
}
fn shape(r: &mut Rng) -> Shape {
    let width_mm = r.between(195.0, 255.0);
    let length_mm = (width_mm * r.between(3.2, 4.6)).min(1100.0);
    let kicked = [r.chance(0.4), r.chance(0.5)];
    Shape {
        length_mm,
        width_mm,
        nose: end(r, kicked[0], length_mm),
        tail: end(r, kicked[1], length_mm),
        waist_mm: if r.chance(0.3) { r.between(2.0, 12.0) } else { 0.0 },
        taper_mm: if r.chance(0.3) { r.between(1.0, 8.0) } else { 0.0 },
        asym_mm: if r.chance(0.15) { r.between(1.0, 6.0) } else { 0.0 },
        concave: [Concave::Radial, Concave::Tub(0.4), Concave::W(2.5), Concave::V][r.below(4)],
        concave_mm: r.between(2.0, 12.0),
        bow_mm: r.between(-15.0, 12.0),
        twist_deg: if r.chance(0.2) { r.between(-1.5, 1.5) } else { 0.0 },
        wheelbase_mm: length_mm * r.between(0.48, 0.66),
        thickness_mm: r.between(9.0, 15.0),
        ..PLAIN
    }
}
fn scene(r: &mut Rng, shape: &Shape) -> Scene {
    let support = match r.below(10) {
        0..4 => Support::Floor,
        4..8 => Support::Stand(r.between(40.0, 220.0)),
        _ => Support::Nothing,
    };
    let mounted = match r.below(10) {
        0..5 => Mounted::Wheels(r.between(52.0, 90.0), r.between(32.0, 55.0)),
        5 => Mounted::Trucks,
        _ => Mounted::Nothing,
    };
    let on_deck = r.chance(0.08).then(|| [0.2 * shape.length_mm, 0.4 * shape.width_mm, r.between(20.0, 60.0)]);
    Scene { support, mounted, clutter: r.below(5), on_deck }
}
fn damage(r: &mut Rng, depth: bool) -> Damage {
    Damage {
        white_mm: if depth { 0.02 } else { r.between(0.1, 0.5) },
        smooth_mm: r.between(0.1, 0.45),
        smooth_length_mm: r.between(6.0, 15.0),
        round_mm: if depth { r.between(4.0, 8.0) } else { r.between(2.0, 4.0) },
        loss_mm: if depth { r.between(0.5, 2.5) } else { r.between(-0.5, 1.5) },
        loss_varies_mm: r.between(0.2, 0.8),
        ragged_mm: r.between(0.5, 2.5),
        bend_mm: r.between(0.0, 0.3),
        holes: r.below(4),
        hole_mm: r.between(8.0, 22.0),
        floaters: r.between(0.0, 0.02),
    }
}
fn photo(r: &mut Rng) -> PhotoSpec {
    let colour = std::array::from_fn(|_| r.between(35.0, 215.0));
    PhotoSpec {
        size: [800, 600],
        film_mm: [24, 26, 28][r.below(3)],
        tags: if r.chance(0.25) { Tags::Missing } else { Tags::Right },
        tilt_deg: [r.between(-12.0, 12.0), r.between(-12.0, 12.0)],
        roll_deg: r.between(-25.0, 25.0) + if r.chance(0.5) { 180.0 } else { 0.0 },
        k: [r.between(-0.03, 0.05), r.between(-0.02, 0.02)],
        ground: [Ground::Plain, Ground::Paving, Ground::Planks, Ground::Carpet][r.below(4)],
        paint: [Paint::Plain, Paint::Bars, Paint::Grain][r.below(3)],
        colour,
        lamp_deg: r.chance(0.5).then(|| r.between(28.0, 65.0)),
        gloss: r.chance(0.2),
        edge_mm: r.between(1.5, 4.0),
        seed: r.next(),
        ..PHOTO
    }
}
