//! What serves instead of the automatic edge: a cut-out, a mask, a path traced by hand, and a length known in the photo.
use crate::plain::{photo, scan};
use faydeck::demo::{DEMO, PhotoScene};
use faydeck::{Board, OutlineSource, PhotoBytes, Photos, Reconstruction, Warning, reconstruct};
use image::{GrayImage, ImageFormat, Luma, Rgba, RgbaImage};
use nalgebra::{Point3, Rotation3, Vector3};
use std::io::Cursor;
use std::slice::SliceIndex;

/// Width and height of the demo's photo.
const SIZE: [u32; 2] = [1600, 1200];

/// Where the demo's photo shows a place of the board: pinhole of 26 mm for 36 mm film, k1 = .03 (D. C. Brown 1971).
fn pixel(x: f64, y: f64) -> [f64; 2] {
    let scene = PhotoScene::default();
    let focal = 26.0 / 36.0 * f64::from(SIZE[0]);
    let turn = Rotation3::from_euler_angles(scene.tilt[0], scene.tilt[1], scene.tilt[2]);
    let eye = Point3::from(turn * Vector3::new(0.0, 0.0, scene.camera_mm));
    let c = turn.inverse() * (Point3::new(x, y, DEMO.height(x, y)) - eye);
    let (u, v) = (c.x / -c.z, c.y / c.z);
    let s = focal * (1.0 + 0.03 * (u * u + v * v));
    [f64::from(SIZE[0]) / 2.0 + s * u, f64::from(SIZE[1]) / 2.0 + s * v]
}
/// The true rail in the photo, `n` places.
fn rail(n: usize) -> Vec<[f64; 2]> {
    DEMO.outline(20_000).resampled(n).points.iter().map(|p| pixel(p[0], p[1])).collect()
}
/// Share of each pixel of a picture `shrink` times smaller that is inside a closed line.
fn covered(line: &[[f64; 2]], shrink: u32) -> GrayImage {
    let (w, h) = (SIZE[0] / shrink, SIZE[1] / shrink);
    let mut share = vec![0.0; (w * h) as usize];
    for v in 0..8 * h {
        let y = (f64::from(v) + 0.5) / 8.0 * f64::from(shrink);
        let mut cuts: Vec<f64> = (0..line.len())
            .map(|i| (line[i], line[(i + 1) % line.len()]))
            .filter(|(a, b)| (a[1] > y) != (b[1] > y))
            .map(|(a, b)| (a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0])) / f64::from(shrink))
            .collect();
        cuts.sort_by(f64::total_cmp);
        for c in cuts.chunks_exact(2) {
            for u in c[0] as u32..=(c[1] as u32).min(w - 1) {
                let inside = c[1].min(f64::from(u) + 1.0) - c[0].max(f64::from(u));
                share[(v / 8 * w + u) as usize] += inside / 8.0;
            }
        }
    }
    GrayImage::from_fn(w, h, |u, v| Luma([(255.0 * share[(v * w + u) as usize]).round() as u8]))
}
fn png(picture: &image::DynamicImage) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture.write_to(&mut bytes, ImageFormat::Png).unwrap();
    bytes.into_inner()
}
/// A path through places as a drawing program writes a smooth one: cubics with handles along the neighbours' chord.
fn smooth(p: &[[f64; 2]]) -> String {
    let n = p.len();
    let mut d = format!("M {:.3} {:.3}", p[0][0], p[0][1]);
    for i in 0..n {
        let at = |k: usize| p[(i + n + k - 1) % n];
        let [a, b, c, e] = [at(0), at(1), at(2), at(3)];
        let handle = |k: usize| [b[k] + (c[k] - a[k]) / 6.0, c[k] - (e[k] - b[k]) / 6.0];
        let (x, y) = (handle(0), handle(1));
        d += &format!(" C {:.3} {:.3} {:.3} {:.3} {:.3} {:.3}", x[0], y[0], x[1], y[1], c[0], c[1]);
    }
    d + " Z"
}
/// What goes with the photo in the board file, as bytes.
#[derive(Default, Clone)]
struct Extra {
    image: Option<Vec<u8>>,
    mask: Option<Vec<u8>>,
    path: Option<String>,
    known: String,
}
fn run(extra: &Extra, unusable: &str) -> faydeck::Result<(Reconstruction, Vec<Warning>)> {
    let text = format!(
        "[scan]\nfile='s.ply'\n[tape]\nwidth='226 mm'\n[photo]\nfile='p.jpg'\nunusable='{unusable}'\n{}\n",
        extra.known
    );
    let bytes = PhotoBytes {
        image: extra.image.as_deref().unwrap_or(photo()),
        mask: extra.mask.as_deref(),
        path: extra.path.as_deref().map(str::as_bytes),
    };
    let r = reconstruct(&Board::parse(&text).unwrap(), scan(), Photos(vec![bytes]), &mut ())?;
    Ok((r.value, r.warnings))
}
/// Error of the outline's length, relative, and of its place, mm rms, both against the planted board.
fn errors(r: &Reconstruction) -> (f64, f64) {
    let mine = r.deck.outline_polygon();
    let (lo, hi) = mine.bounds();
    let truth = DEMO.outline(4000);
    let rms = |flip: f64| {
        let p = mine.resampled(400).points;
        (p.iter().map(|p| truth.signed_distance([flip * p[0], flip * p[1]]).powi(2)).sum::<f64>() / 400.0).sqrt()
    };
    ((hi[0] - lo[0]) / DEMO.length_mm - 1.0, rms(1.0).min(rms(-1.0)))
}
fn path(d: String) -> Extra {
    Extra { path: Some(d), ..Extra::default() }
}

#[test]
fn a_mask_and_a_path_bring_the_board_back() {
    bring_back(..2);
}
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn cut_outs_masks_and_paths_bring_the_board_back() {
    bring_back(2..);
}
/// The truth drawn by hand in every way: each brings the board back within what is stated.
fn bring_back(which: impl SliceIndex<[(&'static str, Extra)], Output = [(&'static str, Extra)]>) {
    let exact = rail(1500);
    let alpha = {
        let cover = covered(&exact, 1);
        let flat = image::load_from_memory(photo()).unwrap().to_rgb8();
        let cut = RgbaImage::from_fn(SIZE[0], SIZE[1], |u, v| {
            let [r, g, b] = flat.get_pixel(u, v).0;
            Rgba([r, g, b, cover.get_pixel(u, v).0[0]])
        });
        png(&cut.into())
    };
    let nodes = smooth(&rail(90));
    // a page in mm, the photo placed on it, everything in a turned group; small curves beside the rail
    let (w, h) = (f64::from(SIZE[0]) * 0.25, f64::from(SIZE[1]) * 0.25);
    let drawn = format!(
        "<?xml version='1.0'?><svg xmlns='http://www.w3.org/2000/svg' xmlns:xlink='http://www.w3.org/1999/xlink' \
         width='500mm' height='400mm' viewBox='0 0 500 400'><g transform='translate(480 20) rotate(88)'>\
         <image xlink:href='photo.jpg' width='{w}' height='{h}' x='3' y='7'/><path d='M 5 5 h 9 v 9 z'/>\
         <path transform='translate(3,7) scale(.25)' d='M 0 0 h 9 v 4 z {nodes}'/></g></svg>"
    );
    let page = format!("<svg viewBox='0 0 {w} {h}' width='210mm'><path d='{nodes}' transform='scale(0.25)'/></svg>");
    let rows = [
        ("mask", Extra { mask: Some(png(&covered(&exact, 1).into())), ..Extra::default() }),
        ("drawing with the photo in it", path(drawn)),
        ("PNG with alpha", Extra { image: Some(alpha), ..Extra::default() }),
        ("mask of half the size", Extra { mask: Some(png(&covered(&exact, 2).into())), ..Extra::default() }),
        ("path data", path(nodes.clone())),
        ("page of the photo's shape", path(page)),
    ];
    for (name, extra) in &rows[which] {
        let (r, warnings) = run(extra, "refuse").unwrap_or_else(|e| panic!("{name}: {e}"));
        assert_eq!(r.outline_source, OutlineSource::CutOut, "{name}");
        let (length, rms) = errors(&r);
        let stated = r.scale.standard_uncertainty / r.scale.mm_per_unit;
        assert!(length.abs() < 2.0 * stated && stated < 0.01, "{name}: length off by {length}, stated {stated}");
        assert!(rms < 1.5, "{name}: {rms} mm, {warnings:?}");
    }
}

/// A hand strays by a pixel or two at each node, and by a pixel all along.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn a_shaky_trace_is_within_what_is_stated() {
    let mut seed = 11u64;
    let mut noise = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        // a uniform law of standard deviation 1
        ((seed >> 11) as f64 / (1u64 << 53) as f64 - 0.5) * 12f64.sqrt()
    };
    let mut sum = 0.0;
    for outwards in [-1.0, 0.0, 1.0] {
        let at = rail(120);
        let normals = faydeck::geom::outward_normals(&at);
        // pixels run y down, so that the normals of this rail point inwards
        let nodes: Vec<[f64; 2]> = (at.iter().zip(normals))
            .map(|(p, n)| [p[0] - outwards * n[0] + 1.2 * noise(), p[1] - outwards * n[1] + 1.2 * noise()])
            .collect();
        let (r, _) = run(&path(smooth(&nodes)), "refuse").unwrap();
        let (length, rms) = errors(&r);
        let stated = r.scale.standard_uncertainty / r.scale.mm_per_unit;
        assert!(
            length.abs() < 2.5 * stated && rms < 2.5,
            "{outwards}: length off by {length}, stated {stated}, {rms} mm"
        );
        sum += (length / stated).powi(2);
    }
    assert!(sum / 3.0 < 4.0, "errors are {} times what is stated", (sum / 3.0).sqrt());
}

#[test]
fn what_cannot_serve_is_told() {
    let gray = |w: u32, h: u32, v: u8| Some(png(&GrayImage::from_pixel(w, h, Luma([v])).into()));
    let crossed = {
        let mut p = rail(60);
        p.swap(10, 14);
        let d: Vec<String> = p.iter().map(|p| format!("{} {}", p[0], p[1])).collect();
        format!("M {} Z", d.join(" L "))
    };
    let open = {
        let p: Vec<String> = rail(100)[..80].iter().map(|p| format!("{} {}", p[0], p[1])).collect();
        format!("M {}", p.join(" L "))
    };
    let rows = [
        ("mask of another shape", Extra { mask: gray(900, 900, 255), ..Extra::default() }, "900 x 900"),
        ("empty mask", Extra { mask: gray(1600, 1200, 0), ..Extra::default() }, "light or dark all over"),
        ("full mask", Extra { mask: gray(1600, 1200, 255), ..Extra::default() }, "light or dark all over"),
        ("mask that is no image", Extra { mask: Some(b"mask".to_vec()), ..Extra::default() }, "mask cannot be decoded"),
        ("crossing path", path(crossed), "crosses itself"),
        ("open path", path(open), "is open"),
        (
            "path of a larger photo",
            path(smooth(&rail(60).iter().map(|p| p.map(|v| 2.5 * v)).collect::<Vec<_>>())),
            "outside its photo",
        ),
        ("path of another shape", path("M 300 300 H 1300 V 900 H 300 Z".into()), "cannot serve"),
        (
            "a known length off the photo",
            Extra {
                known: "known = { length = '80 cm', from = [10, 10], to = [1700, 10] }".into(),
                ..Extra::default()
            },
            "outside its photo",
        ),
    ];
    for (name, extra, want) in rows {
        let e = run(&extra, "refuse").err().unwrap_or_else(|| panic!("{name} was taken"));
        assert!(e.message().contains(want) && e.hint_text().is_some(), "{name}: {e}");
    }
    // what is no fault of the file, but no board's outline, leaves the scan's rim
    let (r, warnings) = run(&path("M 300 300 H 1300 V 900 H 300 Z".into()), "scan rim").unwrap();
    assert_eq!(r.outline_source, OutlineSource::ScanRim);
    assert!(warnings.iter().any(|w| w.message.contains("COULD NOT BE USED")), "{warnings:?}");
}

#[test]
fn a_known_length_helps_and_a_wrong_one_is_told() {
    let between = |a: [f64; 2], b: [f64; 2], mm: f64| {
        let (p, q) = (pixel(a[0], a[1]), pixel(b[0], b[1]));
        let known = format!("known = {{ length = '{mm} mm', from = [{}, {}], to = [{}, {}] }}", p[0], p[1], q[0], q[1]);
        run(&Extra { known, ..Extra::default() }, "refuse").unwrap()
    };
    let stated = |r: &Reconstruction| r.scale.standard_uncertainty / r.scale.mm_per_unit;
    let (a, b) = ([-330.0, 10.0], [320.0, -15.0]);
    let point = |p: [f64; 2]| Point3::new(p[0], p[1], DEMO.height(p[0], p[1]));
    let true_mm = (point(a) - point(b)).norm();
    let (without, _) = run(&Extra::default(), "refuse").unwrap();
    let (with, warnings) = between(a, b, true_mm);
    assert!(warnings.is_empty(), "{warnings:?}");
    // of all that tells of the scale here it is one of several
    assert!(stated(&with) < 0.9 * stated(&without), "{} {}", stated(&with), stated(&without));
    // either nearer, or off by no more than is said: one reading more moves the scale by its own error too
    assert!(
        errors(&with).0.abs() < errors(&without).0.abs().max(2.0 * stated(&with)),
        "{:?} {:?}",
        errors(&with),
        errors(&without)
    );
    let k = with.outline.photos[0].known.unwrap();
    assert!((k.found_mm - true_mm).abs() < 2.0 * k.standard_uncertainty_mm, "{k:?}");
    // 24 inches taken for 25
    let (_, warnings) = between(a, b, 1.04 * true_mm);
    assert!(warnings.iter().any(|w| w.message.contains("known length of photo 1 contradicts")), "{warnings:?}");
    // a ruler on the floor
    let (beside, warnings) = between([-330.0, 190.0], [320.0, 190.0], 650.0);
    assert!(warnings.iter().any(|w| w.message.contains("beside the board")), "{warnings:?}");
    assert!(beside.outline.photos[0].known.is_none());
}

/// A mask or a path that belongs to another photo of the same board, of the same pixel size: its shape fits, so that only the
/// photo itself can tell.
#[test]
#[ignore = "minutes: .ci/run runs it"]
fn a_mask_or_path_of_another_photo_is_noticed() {
    let beside = |extra: &Extra| {
        let (r, warnings) = run(extra, "refuse").unwrap();
        assert_eq!(r.outline_source, OutlineSource::CutOut);
        warnings.iter().any(|w| w.message.contains("beside the rail in the photo"))
    };
    // held 60 pixels farther to the left and 25 farther up, and turned a little
    let other: Vec<[f64; 2]> =
        rail(90).iter().map(|p| [p[0] - 60.0 + 0.03 * (p[1] - 600.0), p[1] - 25.0 - 0.03 * (p[0] - 800.0)]).collect();
    assert!(beside(&path(smooth(&other))));
    assert!(beside(&Extra { mask: Some(png(&covered(&other, 1).into())), ..Extra::default() }));
    assert!(!beside(&path(smooth(&rail(90)))));
}
