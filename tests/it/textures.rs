//! The colours of textured scans: against what another library reads (`fixtures/scans/textured/make.py`: trimesh, pillow), against the
//! glTF 2.0 specification on files made by hand, and on a planted board whose photo they place.
use faydeck::demo::DEMO;
use faydeck::{Board, RawCloud, ReadLimits, Reconstruction, Textures, Warned, read_mesh, reconstruct};
use faydeck::{read_scan, read_scan_textured};
use image::{ImageFormat, Rgb, RgbImage};
use nalgebra::Point3;
use serde_json::{Value, json};
use std::io::Cursor;

const FOLDER: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/scans/textured");
fn fixture(name: &str) -> Vec<u8> {
    std::fs::read(format!("{FOLDER}/{name}")).unwrap()
}
fn beside(name: &str) -> Option<Vec<u8>> {
    std::fs::read(format!("{FOLDER}/{name}")).ok()
}
fn read(file: &[u8], beside: &dyn Fn(&str) -> Option<Vec<u8>>) -> Warned<RawCloud> {
    read_scan_textured(file, &ReadLimits::default(), Textures::Beside(beside)).unwrap()
}
fn png(picture: &RgbImage) -> Vec<u8> {
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, ImageFormat::Png).unwrap();
    out.into_inner()
}

/// A GLB made piece by piece (glTF 2.0, 4.4).
#[derive(Default)]
struct Glb {
    bin: Vec<u8>,
    views: Vec<Value>,
    accessors: Vec<Value>,
}
impl Glb {
    fn view(&mut self, bytes: &[u8]) -> usize {
        self.views.push(json!({ "buffer": 0, "byteOffset": self.bin.len(), "byteLength": bytes.len() }));
        self.bin.extend(bytes);
        self.bin.resize(self.bin.len().next_multiple_of(4), 0);
        self.views.len() - 1
    }
    fn values(&mut self, bytes: &[u8], kind: &str, component: u32, count: usize) -> usize {
        let view = self.view(bytes);
        let normalized = matches!(component, 5121 | 5123) && kind != "SCALAR";
        self.accessors.push(
            json!({ "bufferView": view, "componentType": component, "type": kind, "count": count, "normalized": normalized }),
        );
        self.accessors.len() - 1
    }
    fn floats<const N: usize>(&mut self, values: &[[f64; N]]) -> usize {
        let bytes: Vec<u8> = values.iter().flatten().flat_map(|v| (*v as f32).to_le_bytes()).collect();
        self.values(&bytes, ["", "SCALAR", "VEC2", "VEC3", "VEC4"][N], 5126, values.len())
    }
    fn indices(&mut self, triangles: &[[u32; 3]]) -> usize {
        let bytes: Vec<u8> = triangles.iter().flatten().flat_map(|i| i.to_le_bytes()).collect();
        self.values(&bytes, "SCALAR", 5125, 3 * triangles.len())
    }
    fn file(&self, primitives: Value, more: Value) -> Vec<u8> {
        let mut all = json!({
            "asset": { "version": "2.0" }, "buffers": [{ "byteLength": self.bin.len() }], "bufferViews": self.views,
            "accessors": self.accessors, "meshes": [{ "primitives": primitives }], "nodes": [{ "mesh": 0 }],
        });
        all.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        let mut text = all.to_string().into_bytes();
        text.resize(text.len().next_multiple_of(4), b' ');
        let mut out = b"glTF\x02\0\0\0".to_vec();
        out.extend((28 + text.len() as u32 + self.bin.len() as u32).to_le_bytes());
        for (kind, chunk) in [(b"JSON", &text), (b"BIN\0", &self.bin)] {
            out.extend((chunk.len() as u32).to_le_bytes());
            out.extend(kind);
            out.extend(chunk);
        }
        out
    }
}
/// Triangles apart from each other, each all at one place of a picture; their `more` attributes and their material.
fn patches(picture: &RgbImage, places: &[[f64; 2]], material: Value, more: Value) -> Vec<u8> {
    let mut glb = Glb::default();
    let points: Vec<[f64; 3]> = (0..places.len())
        .flat_map(|i| [[0., 0.], [1., 0.], [0., 1.]].map(|p| [2.0 * i as f64 + p[0], p[1], 0.0]))
        .collect();
    let at: Vec<[f64; 2]> = places.iter().flat_map(|p| [*p; 3]).collect();
    let (points, at) = (glb.floats(&points), glb.floats(&at));
    let view = glb.view(&png(picture));
    let mut extra = json!({
        "materials": [{ "pbrMetallicRoughness": material }], "textures": [{ "source": 0 }],
        "images": [{ "bufferView": view, "mimeType": "image/png" }],
    });
    extra.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    glb.file(json!([{ "attributes": { "POSITION": points, "TEXCOORD_0": at }, "material": 0 }]), extra)
}
/// The colour of each patch; all three of its points have it.
fn patch_colours(file: &[u8]) -> Vec<[u8; 3]> {
    let read = read_scan(file).unwrap();
    assert!(read.warnings.is_empty(), "{:?}", read.warnings);
    let colours = read.value.colors.expect("textured");
    let (patches, _) = colours.as_chunks::<3>();
    assert!(patches.iter().all(|p| p[0] == p[1] && p[0] == p[2]));
    patches.iter().map(|p| p[0]).collect()
}
/// Pixels in a row, left to right.
fn row(pixels: &[[u8; 3]]) -> RgbImage {
    RgbImage::from_fn(pixels.len() as u32, 1, |x, _| Rgb(pixels[x as usize]))
}
const FOUR: [[u8; 3]; 4] = [[255, 0, 0], [0, 255, 0], [0, 0, 255], [9, 99, 199]];

#[test]
fn textured_scans_have_the_colours_that_another_library_reads() {
    for (name, told, within) in [
        ("grid.glb", "grid.glb", 0),
        // two decoders of JPEG differ by rounding
        ("grid-jpeg.glb", "grid-jpeg.glb", 3),
        ("grid.obj", "grid.obj", 0),
        ("grid-ascii.ply", "grid-ascii.ply", 0),
        // each corner of a face by itself: the same places
        ("grid-corners.ply", "grid-ascii.ply", 0),
    ] {
        let read = read(&fixture(name), &beside);
        assert!(read.warnings.is_empty(), "{name}: {:?}", read.warnings);
        let (colours, csv) =
            (read.value.colors.expect(name), String::from_utf8(fixture(&format!("{told}.csv"))).unwrap());
        let want: Vec<Vec<u8>> = csv.lines().map(|l| l.split(',').map(|v| v.parse().unwrap()).collect()).collect();
        assert_eq!((colours.len(), want.len(), read.value.report.colors), (96, 96, true));
        for (i, (got, want)) in colours.iter().zip(&want).enumerate() {
            let off = got.iter().zip(want).map(|(a, b)| a.abs_diff(*b)).max();
            assert!(off <= Some(within), "{name}, point {i}: {got:?}, {want:?}");
        }
        assert!(read.value.texels.iter().all(|t| t.at.iter().all(|v| v.is_finite())));
    }
}

/// A board's face may be two triangles: every place of it has its own colour, not a mixture of the corners'.
#[test]
fn a_large_face_has_its_textures_colour_at_every_place() {
    let picture = RgbImage::from_fn(64, 32, |x, y| Rgb([4 * x as u8, 8 * y as u8, 77]));
    let mut glb = Glb::default();
    // 2 wide and 1 high; the picture's upper left corner is at (0, 1)
    let points = glb.floats(&[[0., 0., 3.], [2., 0., 3.], [2., 1., 3.], [0., 1., 3.]]);
    let at = glb.floats(&[[0., 1.], [1., 1.], [1., 0.], [0., 0.]]);
    let faces = glb.indices(&[[0, 1, 2], [0, 2, 3]]);
    let view = glb.view(&png(&picture));
    let file = glb.file(
        json!([{ "attributes": { "POSITION": points, "TEXCOORD_0": at }, "indices": faces, "material": 0 }]),
        json!({
            "materials": [{ "pbrMetallicRoughness": { "baseColorTexture": { "index": 0 } } }],
            "textures": [{ "source": 0 }], "images": [{ "bufferView": view }],
        }),
    );
    let c = read_scan(&file).unwrap().value;
    // as many as the picture has pixels, and no more: it tells nothing between them
    assert_eq!(c.texels.len(), 2048);
    for t in &c.texels {
        let want = [(t.at.x / 2.0 * 64.0).floor() * 4.0, ((1.0 - t.at.y) * 32.0).floor() * 8.0];
        let off = [0, 1].map(|k| (f64::from(t.color[k]) - want[k]).abs());
        // a place within rounding of two pixels may be of either
        assert!(off[0] <= 4.0 && off[1] <= 8.0 && t.color[2] == 77 && t.at.z == 3.0, "{t:?}, not {want:?}");
    }
    let exact = c.texels.iter().filter(|t| f64::from(t.color[0]) == (t.at.x / 2.0 * 64.0).floor() * 4.0).count();
    assert!(exact > 2000, "{exact}");
    // corners on the border of the picture have the colour of their own side of it
    assert_eq!(c.colors.unwrap(), [[0, 248, 77], [252, 248, 77], [252, 0, 77], [0, 0, 77]]);
    let quarter = c.texels.iter().filter(|t| t.at.x < 1.0 && t.at.y < 0.5).count();
    assert!(quarter.abs_diff(512) < 20, "{quarter}");
}

/// glTF 2.0, 3.8.4.5 and the sampler's constants: 10497 repeat, 33648 mirrored repeat, 33071 clamp to edge.
#[test]
fn places_beyond_a_picture_are_taken_back_as_gltf_says() {
    // in pixels of four: -1.5, .5, 4.5, 5.5, 8.5
    let places = [-0.375, 0.125, 1.125, 1.375, 2.125];
    for (mode, want) in [(10497, [2, 0, 0, 1, 0]), (33648, [1, 0, 3, 2, 0]), (33071, [0, 0, 3, 3, 3])] {
        let file = |key: &str, picture: &RgbImage, at: &dyn Fn(f64) -> [f64; 2]| {
            let textures = json!({ "textures": [{ "source": 0, "sampler": 0 }], "samplers": [{ key: mode }] });
            patches(picture, &places.map(at), json!({ "baseColorTexture": { "index": 0 } }), textures)
        };
        let want = want.map(|i: usize| FOUR[i]);
        assert_eq!(patch_colours(&file("wrapS", &row(&FOUR), &|u| [u, 0.5])), want, "{mode} along");
        let column = image::imageops::rotate90(&row(&FOUR));
        assert_eq!(patch_colours(&file("wrapT", &column, &|v| [0.5, v])), want, "{mode} down");
    }
}

/// glTF 2.0, 3.9.2: factor, texture and COLOR_0 are multiplied as linear light; the texture is sRGB (IEC 61966-2-1), the others linear.
#[test]
fn base_colour_texture_and_vertex_colour_are_multiplied_as_light() {
    let srgb = |c: f64| 255.0 * if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
    let light = |v: u8| {
        let c = f64::from(v) / 255.0;
        if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    let (texel, factor, tint) = ([200u8, 150, 30], [0.5, 1.0, 0.25], [1.0, 0.3, 0.6]);
    let with = |colours: bool, base: Value| {
        let mut glb = Glb::default();
        let points = glb.floats(&[[0., 0., 0.], [1., 0., 0.], [0., 1., 0.]]);
        let at = glb.floats(&[[0.5, 0.5]; 3]);
        let tints = glb.floats(&[tint; 3]);
        let view = glb.view(&png(&row(&[texel])));
        let mut attributes = json!({ "POSITION": points, "TEXCOORD_0": at });
        if colours {
            attributes["COLOR_0"] = json!(tints);
        }
        let more = json!({
            "materials": [{ "pbrMetallicRoughness": base }], "textures": [{ "source": 0 }], "images": [{ "bufferView": view }],
        });
        read_scan(&glb.file(json!([{ "attributes": attributes, "material": 0 }]), more)).unwrap().value.colors
    };
    let scaled = json!({ "baseColorFactor": [0.5, 1.0, 0.25, 1.0], "baseColorTexture": { "index": 0 } });
    let bare = json!({ "baseColorFactor": [0.5, 1.0, 0.25, 1.0] });
    let plain = json!({ "baseColorTexture": { "index": 0 } });
    let of = |f: &dyn Fn(usize) -> f64| [0, 1, 2].map(|k| srgb(f(k)));
    for (what, got, want) in [
        ("texture alone", with(false, plain.clone()), texel.map(f64::from)),
        ("factor and texture", with(false, scaled.clone()), of(&|k| light(texel[k]) * factor[k])),
        ("texture and vertex colour", with(true, plain), of(&|k| light(texel[k]) * tint[k])),
        ("all three", with(true, scaled), of(&|k| light(texel[k]) * factor[k] * tint[k])),
        ("factor and vertex colour", with(true, bare.clone()), of(&|k| factor[k] * tint[k])),
    ] {
        let got = got.expect(what)[0].map(f64::from);
        assert!((0..3).all(|k| (got[k] - want[k]).abs() <= 1.5), "{what}: {got:?}, {want:?}");
    }
    // a colour that is the same all over is no print
    assert_eq!(with(false, bare), None);
}

/// Places as shares of 255 and of 65,535, in the set that the material names, moved by KHR_texture_transform: its example is the
/// picture's lower left quarter, turned.
#[test]
fn places_are_read_in_every_form_that_gltf_allows() {
    let picture = RgbImage::from_fn(2, 2, |x, y| Rgb(FOUR[(2 * y + x) as usize]));
    let read = |component: u32, bytes: &[u8], texture: Value| {
        let mut glb = Glb::default();
        let points = glb.floats(&[[0., 0., 0.], [1., 0., 0.], [0., 1., 0.]]);
        let elsewhere = glb.floats(&[[0.25, 0.25]; 3]);
        let at = glb.values(bytes, "VEC2", component, 3);
        let view = glb.view(&png(&picture));
        let more = json!({
            "extensionsRequired": ["KHR_texture_transform"], "images": [{ "bufferView": view }], "textures": [{ "source": 0 }],
            "materials": [{ "pbrMetallicRoughness": { "baseColorTexture": texture } }],
        });
        let attributes = json!({ "POSITION": points, "TEXCOORD_0": elsewhere, "TEXCOORD_1": at });
        read_scan(&glb.file(json!([{ "attributes": attributes, "material": 0 }]), more)).unwrap().value.colors.unwrap()
    };
    let (named, shorts): (Value, Vec<u8>) = (
        json!({ "index": 0, "texCoord": 1 }),
        [[50_000u16, 10_000]; 3].iter().flatten().flat_map(|v| v.to_le_bytes()).collect(),
    );
    assert_eq!(read(5121, &[200, 40, 200, 40, 200, 40], named.clone()), [FOUR[1]; 3]);
    assert_eq!(read(5123, &shorts, named), [FOUR[1]; 3]);
    let floats = |p: [f32; 2]| [p; 3].iter().flatten().flat_map(|v| v.to_le_bytes()).collect::<Vec<u8>>();
    let transform = json!({ "offset": [0, 1], "rotation": std::f64::consts::FRAC_PI_2, "scale": [0.5, 0.5] });
    for p in [[0.1, 0.2], [0.9, 0.3], [0.6, 0.9]] {
        let texture = json!({ "index": 0, "texCoord": 1, "extensions": { "KHR_texture_transform": transform } });
        assert_eq!(read(5126, &floats(p), texture), [FOUR[2]; 3], "{p:?}");
    }
    // the extension's own set counts before the material's
    let texture = json!({ "index": 0, "extensions": { "KHR_texture_transform": { "texCoord": 1 } } });
    assert_eq!(read(5126, &floats([0.75, 0.75]), texture), [FOUR[3]; 3]);
}

#[test]
fn a_missing_texture_is_named_and_costs_only_the_colours() {
    for (name, lost) in [
        ("grid.obj", "the scan's texture C:\\scans\\grid paint.png is not beside it: its colours are not used"),
        ("grid-ascii.ply", "the scan's texture grid paint.png is not beside it: its colours are not used"),
    ] {
        let without = |n: &str| beside(n).filter(|_| !n.contains("paint"));
        for read in [read(&fixture(name), &without), read_scan(&fixture(name)).unwrap()].into_iter().take(2) {
            assert_eq!(
                (read.value.points.len(), read.value.colors, read.value.report.colors),
                (96, None, false),
                "{name}"
            );
            assert_eq!(read.warnings.len(), 1);
        }
        assert_eq!(read(&fixture(name), &without).warnings[0].message, lost);
        // where only the shape is wanted nothing is missing
        let mesh = read_mesh(&fixture(name)).unwrap();
        assert!(mesh.warnings.is_empty() && mesh.value.points.len() == 96, "{:?}", mesh.warnings);
    }
    let read = read(&fixture("grid.obj"), &|_| None);
    let want = "the scan's materials grid.mtl are not beside it: the colours of its textures are not used";
    assert_eq!((read.warnings[0].message.as_str(), read.warnings.len()), (want, 1));
}

/// An OBJ of two materials, one of whose pictures is missing: the colours of the other stay, each with its place.
#[test]
fn a_missing_texture_takes_no_other_with_it() {
    let obj = "mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nv 5 0 0\nv 6 0 0\nv 5 1 0\nvt 0.25 0.75\nusemtl one\nf 1/1 2/1 3/1\nusemtl two\nf 4/1 5/1 6/1\n";
    let mtl = "newmtl one\nKd 1 0.5 1\nmap_Kd a.png\nnewmtl two\nmap_Kd b.png\n";
    let picture = RgbImage::from_fn(2, 2, |x, y| Rgb([[200, 100, 50], [1, 1, 1]][usize::from(x + y > 0)]));
    let files = |n: &str| match n {
        "a.mtl" => Some(mtl.as_bytes().to_vec()),
        "a.png" => Some(png(&picture)),
        _ => None,
    };
    let read = read(obj.as_bytes(), &files);
    assert_eq!(read.warnings[0].message, "the scan's texture b.png is not beside it: its colours are not used");
    let c = read.value;
    let told: Vec<_> = c.coloured().collect();
    assert_eq!((c.colors.is_none(), c.report.colors), (true, true));
    assert_eq!(told.iter().map(|t| t.0).collect::<Vec<_>>(), c.points[..3]);
    // 100 of 255 is .127 of the light, and .5 as a screen shows it .214: .0272 of the light is 46 of 255 (IEC 61966-2-1)
    assert!(told.iter().all(|t| t.1[0] == 200 && t.1[1].abs_diff(46) <= 1 && t.1[2] == 50), "{told:?}");
    // a point that both share takes the mean of what is there
    let shared = obj.replace("f 4/1", "f 1/1").replace("newmtl two\nmap_Kd b.png", "newmtl two\nmap_Kd a.png");
    let both = |n: &str| if n == "a.mtl" { Some(mtl.replace("b.png", "a.png").into_bytes()) } else { files(n) };
    let c = read_scan_textured(shared.as_bytes(), &ReadLimits::default(), Textures::Beside(&both)).unwrap().value;
    let seen: Vec<_> = c.coloured().filter(|t| t.0 == Point3::origin()).map(|t| t.1).collect();
    assert!(seen.len() == 1 && seen[0][1].abs_diff(73) <= 1, "{seen:?}");
}

/// A print of waves of some 20 to 60 mm with sharp borders, no two places alike.
fn print(x: f64, y: f64) -> [u8; 3] {
    let wave = |a: f64, b: f64, c: f64| ((x * a.cos() + y * a.sin()) / b + c).sin();
    let w = wave(0.3, 9.0, 1.0) + wave(1.9, 5.0, 0.4) + wave(-0.9, 7.0, 2.0) + wave(0.8, 3.1, 0.2);
    if w > 0.3 { [200, 120, 40] } else { [60, 70, 110] }
}
/// A photo of the planted board with that print on a grey floor, from above and a little to one side.
fn photo() -> Vec<u8> {
    let (size, focal) = ([1400u32, 1050u32], 1400.0 * 26.0 / 36.0);
    let turn = nalgebra::Rotation3::from_euler_angles(0.06, -0.04, 0.1);
    let eye = turn * nalgebra::Vector3::new(0.0, 0.0, 860.0);
    let mut dice = 3u32;
    let picture = RgbImage::from_fn(size[0], size[1], |u, v| {
        let at = |k: usize, i: u32| (f64::from(i) + 0.5 - f64::from(size[k]) / 2.0) / focal;
        let ray = turn * nalgebra::Vector3::new(at(0, u), -at(1, v), -1.0);
        let mut p = eye;
        for _ in 0..12 {
            p += ray * ((p.z - DEMO.height(p.x, p.y)) / -ray.z);
        }
        let on_board = p.x.abs() < DEMO.length_mm / 2.0 && p.y.abs() < DEMO.half_width(p.x);
        dice = dice.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let grain = dice >> 29;
        Rgb(if on_board { print(p.x, p.y) } else { [168, 164, 158] }.map(|c| c + grain as u8))
    });
    let mut out = Cursor::new(Vec::new());
    picture.write_to(&mut out, ImageFormat::Jpeg).unwrap();
    out.into_inner()
}
/// The planted board as a mesh.
struct Meshed {
    points: Vec<[f64; 3]>,
    faces: Vec<[u32; 3]>,
}
impl Meshed {
    /// Faces between rows of `width` points that begin at `first`.
    fn strip(&mut self, first: u32, rows: u32, width: u32) {
        for a in (0..rows - 1).flat_map(|i| (0..width - 1).map(move |j| first + i * width + j)) {
            self.faces.extend([[a, a + width, a + width + 1], [a, a + width + 1, a + 1]]);
        }
    }
}
/// `along` rows of `across` points from side to side, the wall below, the floor.
fn meshed(along: u32, across: u32) -> Meshed {
    let mut m = Meshed { points: Vec::new(), faces: Vec::new() };
    let mut dice = 1u64;
    let mut noise = || {
        dice = dice.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        0.3 * ((dice >> 11) as f64 / (1u64 << 53) as f64 - 0.5)
    };
    let share = |i: u32, n: u32| 2.0 * f64::from(i) / f64::from(n - 1) - 1.0;
    for i in 0..along {
        // a scan loses a millimetre of the rail
        let x = (DEMO.length_mm / 2.0 - 1.0) * share(i, along);
        for j in 0..across {
            let y = (DEMO.half_width(x) - 1.0).max(0.0) * share(j, across);
            m.points.push([x, y, DEMO.height(x, y) + noise()]);
        }
    }
    m.strip(0, along, across);
    let (side, far) = ((0..along).map(|i| i * across), (0..along).rev().map(|i| (i + 1) * across - 1));
    let (end, start) = ((1..across).map(|j| (along - 1) * across + j), (0..across).rev());
    let round: Vec<u32> = side.chain(end).chain(far.skip(1)).chain(start.skip(1)).collect();
    let first = m.points.len() as u32;
    for depth in [0.0, 3.0, 6.0, 9.0] {
        for &i in &round {
            let [x, y, z] = m.points[i as usize];
            m.points.push([x, y, z - depth + noise()]);
        }
    }
    m.strip(first, 4, round.len() as u32);
    let first = m.points.len() as u32;
    for (i, j) in (0..61).flat_map(|i| (0..31).map(move |j| (i, j))) {
        m.points.push([620.0 * share(i, 61), 310.0 * share(j, 31), -85.0 + noise()]);
    }
    m.strip(first, 61, 31);
    m
}
const GREY: [u8; 3] = [128; 3];
/// Whether a point is of the board; what else there is is grey.
fn of_board(p: &[f64; 3]) -> bool {
    p[2] > -40.0
}
fn photographed(scan: &[u8], photo: &[u8]) -> Reconstruction {
    let board = Board::parse(&Board::template("s.glb", None, DEMO.width_mm, None)).unwrap();
    let made = reconstruct(&board, scan, Some(photo), &mut ()).unwrap();
    assert!(made.warnings.is_empty(), "{:?}", made.warnings);
    made.value
}
/// The mesh with its print as colours of its points.
fn by_points(m: &Meshed) -> Vec<u8> {
    let mut glb = Glb::default();
    let light = |v: u8| {
        let c = f64::from(v) / 255.0;
        if c <= 0.040_45 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) }
    };
    let paint = |p: &[f64; 3]| if of_board(p) { print(p[0], p[1]) } else { GREY };
    let colours: Vec<[f64; 3]> = m.points.iter().map(|p| paint(p).map(light)).collect();
    let (at, colours, faces) = (glb.floats(&m.points), glb.floats(&colours), glb.indices(&m.faces));
    glb.file(json!([{ "attributes": { "POSITION": at, "COLOR_0": colours }, "indices": faces }]), json!({}))
}
/// The mesh with its print in a picture of a millimetre a pixel, whose last rows are for what is no board.
fn by_texture(m: &Meshed) -> Vec<u8> {
    let picture = RgbImage::from_fn(900, 320, |x, y| {
        Rgb(if y < 300 { print(f64::from(x) - 449.5, 149.5 - f64::from(y)) } else { GREY })
    });
    let place = |p: &[f64; 3]| {
        if of_board(p) { [(p[0] + 450.0) / 900.0, (150.0 - p[1]) / 320.0] } else { [0.5, 310.0 / 320.0] }
    };
    let places: Vec<[f64; 2]> = m.points.iter().map(place).collect();
    let mut glb = Glb::default();
    let (at, places, faces) = (glb.floats(&m.points), glb.floats(&places), glb.indices(&m.faces));
    let view = glb.view(&png(&picture));
    let primitive =
        json!([{ "attributes": { "POSITION": at, "TEXCOORD_0": places }, "indices": faces, "material": 0 }]);
    let more = json!({
        "materials": [{ "pbrMetallicRoughness": { "baseColorTexture": { "index": 0 } } }], "textures": [{ "source": 0 }],
        "images": [{ "bufferView": view }],
    });
    glb.file(primitive, more)
}
/// A mesh of 5 mm from point to point with its print in a picture serves as one of half of that with a colour at each point, and tells
/// far more of the print than its own points do.
#[test]
fn a_photo_is_placed_by_a_textured_scan_as_by_vertex_colours() {
    let (photo, dense, coarse) = (photo(), meshed(350, 90), meshed(150, 40));
    let told = |scan: &[u8]| {
        let made = photographed(scan, &photo);
        let (lo, hi) = made.deck.outline_polygon().bounds();
        let off = (hi[0] - lo[0]) / DEMO.length_mm - 1.0;
        let stated = made.scale.standard_uncertainty / made.scale.mm_per_unit;
        let cells = made.colours.map_or(0, |c| c.colours.iter().flatten().count());
        (made.outline.photos[0].colour_patches, off, stated, cells)
    };
    let [points, few, texture] = [by_points(&dense), by_points(&coarse), by_texture(&coarse)].map(|s| told(&s));
    let all = format!("{points:?}, {few:?}, {texture:?}");
    assert!(points.0 > 100 && texture.0 > points.0 && few.0 < texture.0 / 3, "{all}");
    assert!(texture.1.abs() < 2.0 * texture.2 && texture.1.abs() < 0.001 && texture.2 < 1.1 * points.2, "{all}");
    // and the page shows its print as finely as it is
    assert!(texture.3 > 20_000 && few.3 < 2_000, "{all}");
}
