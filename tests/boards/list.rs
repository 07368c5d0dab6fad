//! The boards: every shape, scene, kind of scan and kind of photo once at least.
use super::case::{Case, Kind};
use super::cloud::{CloudScan, Damage, Normals};
use super::depth::DepthScan;
use super::photo::{Ground, PHOTO, Paint, PhotoSpec, Tags};
use super::scene::{BARE, Mounted, Scene, Support};
use super::shape::{Concave, End, PLAIN, Shape};

const CLOUD: CloudScan = CloudScan { points: 60_000, normals: Normals::None, passes: 2, drift_mm: 0.3, uneven: 0.5 };
const DEPTH: DepthScan = DepthScan { voxel_mm: 5.0, back_mm: Some(20.0), normals: Normals::None };
/// Usual for a cloud.
const CLEAR: Damage = Damage {
    white_mm: 0.3,
    smooth_mm: 0.2,
    smooth_length_mm: 8.0,
    round_mm: 3.5,
    loss_mm: 0.7,
    loss_varies_mm: 0.4,
    ragged_mm: 1.0,
    bend_mm: 0.1,
    holes: 2,
    hole_mm: 18.0,
    floaters: 0.02,
};
/// Usual for fused depth.
const MUSHY: Damage = Damage {
    white_mm: 0.02,
    smooth_mm: 0.35,
    smooth_length_mm: 12.0,
    round_mm: 8.0,
    loss_mm: 1.8,
    loss_varies_mm: 0.7,
    ragged_mm: 2.0,
    bend_mm: 0.2,
    holes: 2,
    hole_mm: 20.0,
    floaters: 0.01,
};
const CASE: Case = Case {
    name: "",
    about: "",
    shape: PLAIN,
    scene: BARE,
    kind: Kind::Cloud(CLOUD),
    damage: CLEAR,
    stl: false,
    photo: PHOTO,
    photo_scene: None,
    seed: 1,
};

/// All boards.
pub fn cases() -> Vec<Case> {
    let mut all = boards();
    all.extend(photo_series());
    all
}
/// One board scanned well, and photographed in many ways.
fn photo_series() -> Vec<Case> {
    let keel = Case { photo: PHOTO, ..boards().into_iter().find(|c| c.name == "keel").unwrap_or(CASE) };
    let with = |name, about, photo| Case { name, about, photo, ..keel };
    vec![
        with("keel-20deg", "20 degrees off square", PhotoSpec { tilt_deg: [14.0, 14.5], ..PHOTO }),
        with("keel-askew", "turned by 123 degrees", PhotoSpec { roll_deg: 123.0, ..PHOTO }),
        with("keel-crop", "principal point off by 12 %", PhotoSpec { off_centre: [0.12, 0.05], ..PHOTO }),
        with(
            "keel-paving",
            "dark joints, dark ends",
            PhotoSpec { ground: Ground::Paving, paint: Paint::Bars, ..PHOTO },
        ),
        with("keel-alike", "floor of the deck's colour", PhotoSpec { ground: Ground::Lookalike, ..PHOTO }),
        with("keel-shadow", "hard low sun", PhotoSpec { lamp_deg: Some(30.0), ground: Ground::Carpet, ..PHOTO }),
        with("keel-gloss", "gloss and bars", PhotoSpec { gloss: true, paint: Paint::Bars, ..PHOTO }),
        with("keel-top", "top side, mirrored", PhotoSpec { top_side: true, ..PHOTO }),
        with("keel-12mp", "12 megapixels", PhotoSpec { size: [4000, 3000], ..PHOTO }),
        Case {
            photo_scene: Some(Scene { mounted: Mounted::Wheels(80.0, 50.0), support: Support::Floor, ..BARE }),
            ..with("keel-wheels", "wheels over the rail", PHOTO)
        },
    ]
}
fn boards() -> Vec<Case> {
    let stand = |h: f64| Scene { support: Support::Stand(h), ..BARE };
    let no_floor = Scene { support: Support::Nothing, ..BARE };
    vec![
        Case {
            name: "plain",
            about: "round ends, radial concave, on the floor",
            photo: PhotoSpec { ground: Ground::Carpet, ..PHOTO },
            seed: 101,
            ..CASE
        },
        Case {
            name: "spring",
            about: "45 mm camber, its middle on the floor; scrambled normals",
            shape: Shape {
                length_mm: 1012.0,
                width_mm: 241.0,
                bow_mm: -45.0,
                concave_mm: 6.0,
                nose: End::round(210.0, 2.2),
                tail: End::round(190.0, 2.4),
                wheelbase_mm: 760.0,
                ..PLAIN
            },
            kind: Kind::Cloud(CloudScan { normals: Normals::Scrambled, ..CLOUD }),
            photo: PhotoSpec { lamp_deg: Some(32.0), ground: Ground::Planks, size: [2000, 1125], seed: 6, ..PHOTO },
            seed: 102,
            ..CASE
        },
        Case {
            name: "ridge",
            about: "W concave, rocker, fused depth on a 120 mm stand, inward winding",
            shape: Shape {
                length_mm: 866.0,
                width_mm: 236.5,
                concave: Concave::W(4.0),
                concave_mm: 12.0,
                bow_mm: 14.0,
                ..PLAIN
            },
            scene: stand(120.0),
            kind: Kind::Depth(DepthScan { normals: Normals::Inward, ..DEPTH }),
            damage: MUSHY,
            photo: PhotoSpec {
                ground: Ground::Paving,
                tilt_deg: [12.0, 6.0],
                lamp_deg: Some(45.0),
                roll_deg: -14.0,
                seed: 7,
                ..PHOTO
            },
            seed: 103,
            ..CASE
        },
        Case {
            name: "keel",
            about: "V concave, pintail, one side fuller, no floor seen",
            shape: Shape {
                length_mm: 1050.0,
                width_mm: 226.0,
                asym_mm: 7.0,
                concave: Concave::V,
                concave_mm: 10.0,
                nose: End::round(230.0, 2.1),
                tail: End::pin(330.0),
                thickness_mm: 13.0,
                ..PLAIN
            },
            scene: no_floor,
            damage: Damage { floaters: 0.005, ..CLEAR },
            photo: PhotoSpec { size: [1200, 1600], roll_deg: 93.0, orientation: 6, ..PHOTO },
            seed: 104,
            ..CASE
        },
        Case {
            name: "bindings",
            about: "35 degree tips with a snappy bend, 200 mm stand",
            shape: Shape {
                length_mm: 940.0,
                width_mm: 224.0,
                nose: End::round(130.0, 2.6).kicked(35.0, 128.0, 62.0, false),
                tail: End::round(130.0, 2.6).kicked(35.0, 128.0, 62.0, false),
                concave_mm: 5.0,
                bow_mm: 6.0,
                wheelbase_mm: 520.0,
                thickness_mm: 16.0,
                ..PLAIN
            },
            scene: stand(200.0),
            photo: PhotoSpec { tilt_deg: [4.0, 3.0], colour: [60.0, 92.0, 140.0], ..PHOTO },
            seed: 105,
            ..CASE
        },
        Case {
            name: "popsicle",
            about: "kicks of 21 and 18 degrees that rest on the floor, trucks and wheels on",
            shape: Shape {
                length_mm: 806.0,
                width_mm: 212.5,
                nose: End::round(120.0, 2.3).kicked(21.0, 168.0, 160.0, true),
                tail: End::round(115.0, 2.4).kicked(18.0, 160.0, 150.0, true),
                concave_mm: 11.0,
                bow_mm: 0.0,
                wheelbase_mm: 365.0,
                ..PLAIN
            },
            scene: Scene { mounted: Mounted::Wheels(56.0, 34.0), ..BARE },
            photo: PhotoSpec { paint: Paint::Bars, ground: Ground::Paving, colour: [44.0, 120.0, 96.0], ..PHOTO },
            seed: 106,
            ..CASE
        },
        Case {
            name: "carryall",
            about: "tub, wells, tail kick, big wheels past the rail, clutter, fused depth, STL",
            shape: Shape {
                length_mm: 960.0,
                width_mm: 249.0,
                concave: Concave::Tub(0.45),
                concave_mm: 13.0,
                well_mm: 3.5,
                tail: End::round(150.0, 3.2).kicked(14.0, 130.0, 110.0, false),
                nose: End::round(160.0, 3.0),
                wheelbase_mm: 560.0,
                ..PLAIN
            },
            scene: Scene { mounted: Mounted::Wheels(83.0, 52.0), clutter: 5, ..stand(90.0) },
            kind: Kind::Depth(DepthScan { voxel_mm: 4.5, ..DEPTH }),
            damage: MUSHY,
            stl: true,
            photo: PhotoSpec { paint: Paint::Grain, colour: [196.0, 160.0, 112.0], lamp_deg: Some(55.0), ..PHOTO },
            seed: 107,
            ..CASE
        },
        Case {
            name: "hourglass",
            about: "waist of 16 mm a side, W concave, trucks without wheels, three passes 0.6 mm apart",
            shape: Shape {
                length_mm: 742.0,
                width_mm: 238.0,
                waist_mm: 16.0,
                concave: Concave::W(3.0),
                concave_mm: 10.0,
                nose: End::round(120.0, 2.8).kicked(12.0, 105.0, 120.0, true),
                tail: End::round(120.0, 3.0).kicked(16.0, 110.0, 90.0, false),
                wheelbase_mm: 470.0,
                ..PLAIN
            },
            scene: Scene { mounted: Mounted::Trucks, ..stand(60.0) },
            kind: Kind::Cloud(CloudScan { passes: 3, drift_mm: 0.6, points: 120_000, ..CLOUD }),
            photo: PhotoSpec {
                gloss: true,
                paint: Paint::Bars,
                ground: Ground::Planks,
                colour: [30.0, 52.0, 96.0],
                ..PHOTO
            },
            photo_scene: Some(Scene { on_deck: Some([300.0, 150.0, 45.0]), ..stand(60.0) }),
            seed: 108,
            ..CASE
        },
        Case {
            name: "lopsided",
            about: "asymmetric outline and twist of 2 degrees, uneven density, inward normals",
            shape: Shape {
                length_mm: 891.0,
                width_mm: 243.0,
                asym_mm: 13.0,
                taper_mm: 9.0,
                twist_deg: 2.0,
                concave_mm: 8.0,
                bow_mm: -8.0,
                nose: End::round(180.0, 2.2),
                tail: End::round(150.0, 2.6).kicked(8.0, 120.0, 160.0, true),
                ..PLAIN
            },
            scene: Scene { clutter: 3, ..BARE },
            kind: Kind::Cloud(CloudScan { normals: Normals::Inward, uneven: 1.0, ..CLOUD }),
            photo: PhotoSpec { tags: Tags::Missing, tilt_deg: [-6.0, 5.0], off_centre: [0.06, -0.04], ..PHOTO },
            seed: 109,
            ..CASE
        },
        Case {
            name: "plank",
            about: "nearly flat, on a 60 mm stand, fused depth of 6 mm",
            shape: Shape {
                length_mm: 1070.0,
                width_mm: 254.0,
                concave_mm: 0.6,
                bow_mm: 1.0,
                nose: End::round(170.0, 2.4),
                tail: End::round(170.0, 2.4),
                ..PLAIN
            },
            scene: stand(60.0),
            kind: Kind::Depth(DepthScan { voxel_mm: 6.0, ..DEPTH }),
            damage: Damage { smooth_mm: 0.45, round_mm: 9.0, ..MUSHY },
            photo: PhotoSpec { ground: Ground::Lookalike, paint: Paint::Grain, colour: [172.0, 136.0, 92.0], ..PHOTO },
            seed: 110,
            ..CASE
        },
        Case {
            name: "sparse",
            about: "small board, 5,000 points, cut-outs at the wheels",
            shape: Shape {
                length_mm: 686.0,
                width_mm: 197.0,
                cutout_mm: 9.0,
                concave_mm: 7.0,
                wheelbase_mm: 430.0,
                nose: End::round(110.0, 2.5),
                tail: End::round(110.0, 2.9).kicked(15.0, 100.0, 110.0, true),
                ..PLAIN
            },
            kind: Kind::Cloud(CloudScan { points: 5_000, normals: Normals::Outward, passes: 1, ..CLOUD }),
            damage: Damage { holes: 0, ..CLEAR },
            photo: PhotoSpec { size: [1180, 885], roll_deg: 37.0, ground: Ground::Carpet, ..PHOTO },
            seed: 111,
            ..CASE
        },
        Case {
            name: "platform",
            about: "platform dropped 18 mm, 300,000 points with outward normals, box on the floor",
            shape: Shape {
                length_mm: 985.0,
                width_mm: 252.0,
                drop_mm: 18.0,
                concave: Concave::Tub(0.3),
                concave_mm: 9.0,
                wheelbase_mm: 780.0,
                cutout_mm: 14.0,
                nose: End::round(100.0, 3.4),
                tail: End::round(100.0, 3.4),
                ..PLAIN
            },
            scene: Scene { clutter: 4, ..stand(150.0) },
            kind: Kind::Cloud(CloudScan { points: 300_000, normals: Normals::Outward, ..CLOUD }),
            photo: PhotoSpec { tags: Tags::Stale(0.75), orientation: 3, k: [0.05, -0.03], ..PHOTO },
            seed: 112,
            ..CASE
        },
        Case {
            name: "seat",
            about: "35 degree tips and trucks, fused depth, on the floor",
            shape: Shape {
                length_mm: 905.0,
                width_mm: 230.0,
                nose: End::round(140.0, 2.6).kicked(35.0, 132.0, 80.0, true),
                tail: End::round(140.0, 2.6).kicked(30.0, 128.0, 70.0, false),
                concave_mm: 4.0,
                wheelbase_mm: 500.0,
                thickness_mm: 17.0,
                ..PLAIN
            },
            scene: Scene { mounted: Mounted::Trucks, ..BARE },
            kind: Kind::Depth(DEPTH),
            damage: MUSHY,
            photo: PhotoSpec { tilt_deg: [20.0, 0.0], lamp_deg: Some(40.0), colour: [70.0, 70.0, 76.0], ..PHOTO },
            seed: 113,
            ..CASE
        },
    ]
}
/// The board of this name.
pub fn find(name: &str) -> Option<Case> {
    cases().into_iter().find(|c| c.name == name)
}
