//! Broken and hostile files: each kind with the message it gets, and hundreds of random changes of good files of every
//! format, none of which may panic. `fuzz/` does the last at length.
use faydeck::export::write_ply;
use faydeck::{Board, ReadLimits, Textures, read_scan, read_scan_textured, reconstruct};
use flate2::{Compression, write::GzEncoder};
use nalgebra::Point3;
use std::io::{Cursor, Write};
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Mutex;

const SCANS: [&str; 21] = [
    "grid-binary.ply",
    "grid-ascii.ply",
    "grid.stl",
    "grid-ascii.stl",
    "grid.obj",
    "grid.3mf",
    "grid.gltf",
    "two.glb",
    "two.e57",
    "grid-1.2.las",
    "grid-1.4.las",
    "grid-1.2.laz",
    "grid-1.4.laz",
    "grid.xyz",
    "grid.csv",
    "grid.pts",
    "grid.xyz.gz",
    "textured/grid.glb",
    "textured/grid.obj",
    "textured/grid-ascii.ply",
    "textured/grid-corners.ply",
];
fn good(name: &str) -> Vec<u8> {
    let read = |n: &str| std::fs::read(format!("{}/fixtures/scans/{n}", env!("CARGO_MANIFEST_DIR"))).unwrap();
    name.strip_suffix(".gz").map_or_else(|| read(name), |n| gzip(&read(n)))
}
fn gzip(plain: &[u8]) -> Vec<u8> {
    let mut e = GzEncoder::new(Vec::new(), Compression::best());
    e.write_all(plain).unwrap();
    e.finish().unwrap()
}
fn zip(parts: &[(&str, &[u8])]) -> Vec<u8> {
    let mut z = zip::ZipWriter::new(Cursor::new(Vec::new()));
    for (name, bytes) in parts {
        z.start_file(*name, zip::write::SimpleFileOptions::default()).unwrap();
        z.write_all(bytes).unwrap();
    }
    z.finish().unwrap().into_inner()
}
fn model(inner: &str) -> Vec<u8> {
    zip(&[("3D/3dmodel.model", format!("<model unit=\"millimeter\">{inner}</model>").as_bytes())])
}
/// The bytes at `at` replaced.
fn put(mut file: Vec<u8>, at: usize, with: &[u8]) -> Vec<u8> {
    file[at..at + with.len()].copy_from_slice(with);
    file
}
fn swap(file: &[u8], from: &str, to: &str) -> Vec<u8> {
    let at = file.windows(from.len()).position(|w| w == from.as_bytes()).unwrap_or_else(|| panic!("{from}"));
    [&file[..at], to.as_bytes(), &file[at + from.len()..]].concat()
}
fn ply(vertices: &str, faces: &str, body: &str) -> Vec<u8> {
    format!("ply\nformat ascii 1.0\nelement vertex {vertices}\nproperty float x\nproperty float y\nproperty float z\nelement face {faces}\nproperty list uchar int vertex_indices\nend_header\n{body}").into_bytes()
}
fn gltf(more: &str) -> Vec<u8> {
    format!("{{\"asset\":{{\"version\":\"2.0\"}},{more}}}").into_bytes()
}

/// `before`, a number and `after`, `n` times with rising numbers.
fn numbered(before: &str, after: &str, n: usize) -> Vec<u8> {
    (0..n).flat_map(|i| format!("{before}{i}{after}").into_bytes()).collect()
}

#[test]
fn each_malformed_file_gets_its_sentence() {
    let binary = write_ply(&[Point3::new(1.0, 2.0, 3.0); 40], None, &[[0, 1, 2]; 7]);
    let las = good("grid-1.2.las");
    let laz = good("grid-1.4.laz");
    let glb = good("two.glb");
    let utf16: Vec<u8> = "\u{feff}1 2 3\n".encode_utf16().flat_map(u16::to_le_bytes).collect();
    let mut deep = "<a>".repeat(200_000);
    deep.push_str(&"</a>".repeat(200_000));
    let mut laughs = String::from("<resources><object id=\"0\"><mesh/></object>");
    for i in 1..30 {
        laughs.push_str(&format!(
            "<object id=\"{i}\"><components>{}</components></object>",
            format!("<component objectid=\"{}\"/>", i - 1).repeat(9)
        ));
    }
    laughs.push_str("</resources><build><item objectid=\"29\"/></build>");
    let itself = "<resources><object id=\"1\"><components><component objectid=\"1\"/></components></object></resources><build><item objectid=\"1\"/></build>";
    let outside = "<resources><object id=\"1\"><mesh><vertices><vertex x=\"0\" y=\"0\" z=\"0\"/></vertices><triangles><triangle v1=\"0\" v2=\"0\" v3=\"1\"/></triangles></mesh></object></resources><build><item objectid=\"1\"/></build>";
    let bomb = vec![b' '; 40 << 20];
    // each part has one point and, of one list told once, a hundred thousand normals: 48 GB in all
    let normals = "A".repeat(16 * 100_000);
    let primitives = vec!["{\"attributes\":{\"POSITION\":0,\"NORMAL\":1}}"; 20_000].join(",");
    let repeated = format!(
        "\"accessors\":[{{\"bufferView\":0,\"componentType\":5126,\"count\":0,\"type\":\"VEC3\"}},{{\"bufferView\":0,\"componentType\":5126,\"count\":100000,\"type\":\"VEC3\"}}],\"meshes\":[{{\"primitives\":[{primitives}]}}],\"nodes\":[{{\"mesh\":0}}],\"bufferViews\":[{{\"buffer\":0,\"byteLength\":1200000}}],\"buffers\":[{{\"byteLength\":1200000,\"uri\":\"data:application/octet-stream;base64,{normals}\"}}]"
    );
    let names: Vec<String> = (0..3000).map(|i| format!("3D/{i}.model")).collect();
    let items: String = names.iter().map(|n| format!("<item objectid=\"1\" path=\"{n}\"/>")).collect();
    let first = format!("<model>{items}</model>");
    let mut parts: Vec<(&str, &[u8])> = names.iter().map(|n| (n.as_str(), &b"<model/>"[..])).collect();
    parts.push(("3D/3dmodel.model", first.as_bytes()));
    let accessor = |a: &str| {
        gltf(&format!(
            "\"accessors\":[{a}],\"meshes\":[{{\"primitives\":[{{\"attributes\":{{\"POSITION\":0}}}}]}}],\"nodes\":[{{\"mesh\":0}}],\"bufferViews\":[{{\"buffer\":0,\"byteLength\":12}}],\"buffers\":[{{\"byteLength\":12,\"uri\":\"data:application/octet-stream;base64,AAAAAAAAAAAAAAAA\"}}]"
        ))
    };
    let table: Vec<(&str, Vec<u8>, &str)> = vec![
        ("nothing", vec![], "0 bytes"),
        ("a web page", b"<!DOCTYPE html><html>".to_vec(), "none of the formats known"),
        ("an unknown file with zero bytes", [&b"\x7fELF\x02\x01\x01"[..], &[0; 200]].concat(), "begin with \"\\x7fELF"),
        ("UTF-16 text", utf16, "UTF-16"),
        ("a gzip in a gzip", gzip(&gzip(b"0 0 0\n")), "another gzip"),
        ("a gzip cut off", gzip(&good("grid.xyz"))[..300].to_vec(), "cannot be unpacked"),
        ("a gzip bomb", gzip(&bomb), "200 times its size"),
        ("a PLY without an end of its header", b"ply\nformat ascii 1.0\n".to_vec(), "end_header"),
        (
            "a PLY without a format",
            swap(&ply("1", "0", "0 0 0\n"), "format ascii 1.0\n", ""),
            "does not say its format",
        ),
        (
            "a PLY with an absurd count",
            ply("999999999999999999", "0", "0 0 0\n"),
            "promises 999999999999999999 records",
        ),
        (
            "a PLY of a hundred thousand elements",
            [b"ply\nformat ascii 1.0\n".to_vec(), numbered("element e", " 0\n", 100_000), b"end_header\n".to_vec()]
                .concat(),
            "more than 1000 elements",
        ),
        (
            "a PLY of a hundred thousand properties",
            [
                b"ply\nformat ascii 1.0\nelement vertex 0\n".to_vec(),
                numbered("property int p", "\n", 1_000_000),
                b"end_header\n".to_vec(),
            ]
            .concat(),
            "more than 1000 properties",
        ),
        ("a PLY with a negative count", ply("-1", "0", "0 0 0\n"), "promises -1 records"),
        ("a PLY with a count of 24 digits", ply("999999999999999999999999", "0", "0 0 0\n"), "no possible number"),
        (
            "a PLY with too few points",
            ply("3", "0", "0.00 0.00 0.00\n1.00 0.00 0.00\n"),
            "ends after 2 of 3 records \"vertex\"",
        ),
        ("a PLY with a negative index", ply("3", "1", "0 0 0\n1 0 0\n0 1 0\n3 0 1 -2\n"), "only 3 points"),
        ("a PLY with an index out of range", ply("3", "1", "0 0 0\n1 0 0\n0 1 0\n3 0 1 3\n"), "[0, 1, 3]"),
        ("a PLY with a list too long", ply("3", "1", "0 0 0\n1 0 0\n0 1 0\n200 0 1 2\n"), "impossible length"),
        (
            "a PLY with letters for a number",
            ply("2", "0", "0 0 0\n1 x 0\n"),
            "record 2 \"vertex\" has a value that is no number: \"1 x 0\"",
        ),
        ("a PLY without a finite point", ply("2", "0", "nan 0 0\n0 inf 0\n"), "2 of them not finite"),
        (
            "a PLY whose header would steer a terminal",
            swap(&ply("1", "0", "0 0 0\n"), "float x", "\u{1b}[2J x"),
            "line \"property \\u{1b}[2J x\" has no known type",
        ),
        ("a PLY with a type unknown", swap(&ply("1", "0", "0 0 0\n"), "float y", "quad y"), "no known type"),
        ("a PLY cut inside its faces", binary[..binary.len() - 20].to_vec(), "ends after 5 of 7 records \"face\""),
        ("a PLY cut inside its points", binary[..600].to_vec(), "promises 40 records \"vertex\" of at least 24 bytes"),
        (
            "a PLY said to be of the other byte order",
            swap(&binary, "little", "big"),
            "names the points [0, 16777216, 33554432]",
        ),
        ("an STL cut off", good("grid.stl")[..7000].to_vec(), "of 154 facets, which takes 7784 bytes, but it has 7000"),
        ("an STL with an absurd count", put(good("grid.stl"), 80, &[0xff; 4]), "of 4294967295 facets"),
        ("a text STL cut off", good("grid-ascii.stl")[..2000].to_vec(), "without \"endsolid\""),
        (
            "a text STL with two corners",
            b"solid\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nendloop\nendfacet\nendsolid\n"
                .to_vec(),
            "line 6 ends a facet of 2 corners",
        ),
        ("an OBJ with an index out of range", b"v 0 0 0\nv 1 0 0\nf 1 2 9\n".to_vec(), "names the points [0, 1, 8]"),
        ("an OBJ with the index zero", b"v 0 0 0\nf 1 1 0\n".to_vec(), "before the first"),
        ("an OBJ with two numbers", b"v 0 0 0\nv 1 0\n".to_vec(), "has not three numbers"),
        (
            "a text with a short line",
            b"0 0 0\n1 0 0\n0 1 0\n2 0 0\n3 0 0\n4 0 0\n5 0 0\n6 0 0\n7 0 0\n8 0 0\n9 0\n".to_vec(),
            "line 11 has not three numbers",
        ),
        ("a PTS with too few lines", b"5\n0 0 0\n1 0 0\n".to_vec(), "promises 5 points, but has 2"),
        ("a grid of a scanner", b"2\n1\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n".to_vec(), "two counts"),
        ("a LAS cut in its header", las[..100].to_vec(), "within its header"),
        ("a LAS cut in its points", las[..2000].to_vec(), "promises 96 points of 34 bytes"),
        ("a LAS with an absurd count", put(las.clone(), 107, &[0xff; 4]), "limit is 4294967294"),
        ("a LAS with a format unknown", put(las.clone(), 104, &[40]), "format 40"),
        ("a LAS with short records", put(las, 105, &[20, 0]), "format 3 needs 34"),
        ("a LAZ cut off", laz[..900].to_vec(), "cannot be unpacked"),
        (
            "a LAZ with an absurd count",
            put(laz.clone(), 247, &[0xfe, 0xff, 0xff, 0xff, 0, 0, 0, 0]),
            "unpacks 1237 bytes to more than 16777216",
        ),
        ("a LAZ without its packing", swap(&laz, "laszip encoded", "laszip encodet"), "does not say how"),
        ("an E57 cut off", good("two.e57")[..3000].to_vec(), "E57"),
        ("a glTF with Draco", gltf("\"extensionsRequired\":[\"KHR_draco_mesh_compression\"]"), "is Draco-compressed"),
        (
            "a glTF with another file",
            gltf("\"buffers\":[{\"byteLength\":12,\"uri\":\"scan.bin\"}]"),
            "another file, \"scan.bin\"",
        ),
        ("a glTF of version 1", b"{\"asset\":{\"version\":\"1.0\"}}".to_vec(), "version 1.0"),
        ("another JSON file", b"{\"a\": [1, 2]}".to_vec(), "missing field `asset`"),
        (
            "a glTF with an absurd count",
            accessor("{\"bufferView\":0,\"componentType\":5126,\"count\":99999999999,\"type\":\"VEC3\"}"),
            "limit",
        ),
        (
            "a glTF with too high a count",
            accessor("{\"bufferView\":0,\"componentType\":5126,\"count\":2,\"type\":\"VEC3\"}"),
            "promises 2 items of 12 bytes",
        ),
        (
            "a glTF whose node holds itself",
            gltf("\"scenes\":[{\"nodes\":[0]}],\"nodes\":[{\"children\":[0]}]"),
            "holds itself",
        ),
        (
            "a deep JSON file",
            ["{\"a\":".repeat(100_000), "1".into(), "}".repeat(100_000)].concat().into_bytes(),
            "missing field `asset`",
        ),
        ("a GLB cut off", glb[..glb.len() - 100].to_vec(), "promises 3996 bytes"),
        ("a glTF whose parts repeat normals", gltf(&repeated), "no usable point"),
        ("a 3MF of three thousand empty parts", zip(&parts), "uses the object 1, which it does not have"),
        ("a zip file without a model", zip(&[("a.txt", b"a")]), "no 3MF file"),
        ("a zip cut off", good("grid.3mf")[..1000].to_vec(), "3MF"),
        ("a zip bomb", zip(&[("3D/3dmodel.model", &bomb)]), "200 times its size"),
        ("a deep XML file", model(&deep), "no usable point"),
        ("a 3MF of components nine to the power of 29", model(&laughs), "limit"),
        ("a 3MF that holds itself", model(itself), "more than 32 deep"),
        ("a 3MF with an index out of range", model(outside), "names the point 1 of an object with 1 points"),
        (
            "a scanner's grid (PTX)",
            b"2\n2\n0 0 0\n1 0 0\n0 1 0\n0 0 1\n1 0 0 0\n0 1 0 0\n0 0 1 0\n0 0 0 1\n1 2 3 0.5\n".to_vec(),
            "grids of a scanner's rows and columns",
        ),
        (
            "a text with columns of other names",
            [&b"id,east,north,up\n"[..], &numbered("", ",1,2,3\n", 20)].concat(),
            "none of them x, y and z",
        ),
        ("a 3MF of unknown unit", zip(&[("3D/3dmodel.model", b"<model unit=\"mile\"/>")]), "unit is \"mile\""),
    ];
    let mut told = String::new();
    let mut other = Vec::new();
    for (what, bytes, want) in &table {
        let e = read_scan(bytes).map(|r| r.value.report).expect_err(what);
        if !e.message().contains(want) {
            other.push(format!("{what}: {e}"));
        }
        assert!(e.hint_text().is_some() && !e.message().ends_with('.'), "{what}: {e}");
        assert!(e.message().len() < 400, "{what}: {e}");
        told += &row(what, &e);
    }
    assert!(other.is_empty(), "{other:#?}");
    as_documented("scans", &told);
}
/// A row of the table in `docs/malformed.md`.
fn row(what: &str, e: &faydeck::Error) -> String {
    let cell = |t: &str| t.replace('|', "\\|").replace('\n', " ");
    format!("| {what} | {} | {} |\n", cell(e.message()), cell(e.hint_text().unwrap_or_default()))
}
/// The document's table between the marks `name` has these rows. With FAYDECK_WRITE_DOCS set they are written there instead.
fn as_documented(name: &str, rows: &str) {
    static ONE_AT_A_TIME: Mutex<()> = Mutex::new(());
    let _held = ONE_AT_A_TIME.lock().unwrap();
    let path = format!("{}/docs/malformed.md", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap();
    let [begin, end] = ["begin", "end"].map(|m| format!("<!-- {m} {name} -->\n"));
    let (before, rest) = text.split_once(&begin).unwrap();
    let (_, after) = rest.split_once(&end).unwrap();
    let now = format!("{before}{begin}| file | message | next step |\n|---|---|---|\n{rows}{end}{after}");
    if std::env::var_os("FAYDECK_WRITE_DOCS").is_some() {
        std::fs::write(&path, now).unwrap();
    } else {
        assert!(text == now, "docs/malformed.md is not up to date: run the test with FAYDECK_WRITE_DOCS=1");
    }
}

/// Values at the edges of the number types are points like any other.
#[test]
fn denormals_and_huge_values_are_points() {
    let c = read_scan(b"1e-320 0 0\n1e300 -1e300 5e-324\n").unwrap().value;
    assert_eq!(c.points[1], Point3::new(1e300, -1e300, 5e-324));
    let mixed = ply("3", "1", "0 0 0\r\n1 0 0\n0 1 0\r\n3 0 1 2\r\n");
    assert_eq!(read_scan(&mixed).unwrap().value.triangles, [[0, 1, 2]]);
}

/// A PNG of the given size whose rows are all one byte: zlib packs them about 1,000 to 1.
fn png(width: u32, height: u32, rows: usize) -> Vec<u8> {
    let crc = |b: &[u8]| {
        !b.iter().fold(!0u32, |c, &x| {
            (0..8).fold(c ^ u32::from(x), |c, _| if c & 1 == 1 { 0xedb8_8320 ^ (c >> 1) } else { c >> 1 })
        })
    };
    let mut out = b"\x89PNG\r\n\x1a\n".to_vec();
    let mut chunk = |kind: &[u8], data: &[u8]| {
        let all = [kind, data].concat();
        out.extend((data.len() as u32).to_be_bytes());
        out.extend(&all);
        out.extend(crc(&all).to_be_bytes());
    };
    chunk(b"IHDR", &[&width.to_be_bytes()[..], &height.to_be_bytes(), &[8, 6, 0, 0, 0]].concat());
    let mut z = flate2::write::ZlibEncoder::new(Vec::new(), Compression::best());
    for _ in 0..rows {
        z.write_all(&vec![0; 1 + 4 * width as usize]).unwrap();
    }
    chunk(b"IDAT", &z.finish().unwrap());
    chunk(b"IEND", b"");
    out
}

#[test]
fn hostile_photos_get_a_sentence() {
    use faydeck::demo::{DEMO, ScanScene, planted_scan};
    let mut board = Board::parse(&Board::template("s.ply", Some("p.png"), DEMO.width_mm, None)).unwrap();
    board.unusable_photo = faydeck::Unusable::Refuse;
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 15_000, ..ScanScene::default() });
    let scan = write_ply(&points, None, &[]);
    let mut told = String::new();
    for (what, photo, want) in [
        ("65,535 pixels wide", png(65_535, 1, 1), "65535 x 1 pixels, the limit is 20000 on a side"),
        ("65,535 pixels square", png(65_535, 65_535, 1), "65535 x 65535 pixels, the limit is 20000 on a side"),
        ("20,000 pixels square", png(20_000, 20_000, 1), "takes 1600000000 bytes, the limit is 1073741824"),
        ("cut off", png(1000, 1000, 10), "cannot be decoded"),
        ("one pixel", png(1, 1, 1), "the photo cannot serve"),
        ("no picture", b"\xff\xd8\xff\xe0nothing".to_vec(), "cannot be decoded"),
    ] {
        let e = reconstruct(&board, &scan, Some(photo.as_slice()), &mut ()).map(|_| ()).expect_err(what);
        assert!(e.message().contains(want) && e.hint_text().is_some(), "{what}: {e}");
        told += &row(&format!("a photo, {what}"), &e);
    }
    as_documented("photos", &told);
    // a decompression bomb within the usual limits is held to the builder's own
    board.photo_limits.bytes = 1_000_000;
    let bomb = png(1000, 1000, 1000);
    assert!(bomb.len() < 8_000);
    let e = reconstruct(&board, &scan, Some(bomb.as_slice()), &mut ()).map(|_| ()).unwrap_err();
    assert!(e.message().contains("takes 4000000 bytes, the limit is 1000000"), "{e}");
}

/// Random numbers that are the same on every machine (splitmix64, S. Vigna, public domain).
struct Random(u64);
impl Random {
    fn next(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % below as u64) as usize
    }
}
/// One to four changes: a byte, a bit, a run of extreme bytes, a cut, a piece twice, a piece left out, a number replaced.
fn mutate(mut b: Vec<u8>, r: &mut Random) -> Vec<u8> {
    for _ in 0..=r.next(4) {
        if b.len() < 8 {
            return b;
        }
        // headers are where counts and offsets stand: half of the changes go there
        let most = if r.next(2) == 0 { b.len() } else { b.len().min(400) };
        let at = r.next(most);
        let end = (at + 1 + r.next(8)).min(b.len());
        match r.next(7) {
            0 => b[at] = r.next(256) as u8,
            1 => b[at] ^= 1 << r.next(8),
            2 => b[at..end].fill([0, 0x7f, 0x80, 0xff][r.next(4)]),
            3 => b.truncate(at),
            4 => {
                let piece = b[at..end].to_vec();
                b.splice(at..at, piece);
            }
            5 => {
                b.drain(at..end);
            }
            _ => {
                let word: &[u8] = [&b"-1"[..], b"4294967296", b"1e999", b"nan", b"99999999999999999999"][r.next(5)];
                b.splice(at..end, word.iter().copied());
            }
        }
    }
    b
}

/// Textures that are broken or ask for too much: the scan is read without their colours, and told why.
#[test]
fn an_unusable_texture_costs_the_colours_and_nothing_else() {
    let obj = b"mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nvt 1 0\nvt 0 1\nusemtl m\nf 1/1 2/2 3/3\n";
    let glb = good("textured/grid.glb");
    let other = gltf(
        "\"textures\":[{\"extensions\":{\"KHR_texture_basisu\":{\"source\":0}}}],\"materials\":[{\"pbrMetallicRoughness\":{\"baseColorTexture\":{\"index\":0}}}],\"accessors\":[{\"bufferView\":0,\"componentType\":5126,\"count\":3,\"type\":\"VEC3\"},{\"bufferView\":0,\"componentType\":5126,\"count\":3,\"type\":\"VEC2\"}],\"meshes\":[{\"primitives\":[{\"material\":0,\"attributes\":{\"POSITION\":0,\"TEXCOORD_0\":1}}]}],\"nodes\":[{\"mesh\":0}],\"bufferViews\":[{\"buffer\":0,\"byteLength\":36}],\"buffers\":[{\"byteLength\":36,\"uri\":\"data:application/octet-stream;base64,AAAAAAAAAAAAAAAAAACAPwAAAAAAAAAAAAAAAAAAgD8AAAAA\"}]",
    );
    let none = swap(&glb, "{\"source\":0}", "{\"extens\":0}");
    let mut jpeg = Vec::new();
    let grey = image::RgbImage::from_pixel(64, 64, image::Rgb([90; 3]));
    grey.write_to(&mut Cursor::new(&mut jpeg), image::ImageFormat::Jpeg).unwrap();
    let map = |line: &str| format!("newmtl m\nmap_Kd {line}\n").into_bytes();
    let told_of = |scan: &[u8], mtl: &[u8], picture: &[u8]| {
        let beside = |n: &str| match n {
            "a.mtl" => Some(mtl.to_vec()),
            "a.png" => Some(picture.to_vec()),
            _ => None,
        };
        read_scan_textured(scan, &ReadLimits::default(), Textures::Beside(&beside)).unwrap()
    };
    let plain = map("a.png");
    let mut told = String::new();
    for (what, scan, mtl, picture, want) in [
        (
            "20,000 pixels square",
            &obj[..],
            &plain,
            png(20_000, 20_000, 1),
            "takes 1600000000 bytes, the limit is 1073741824",
        ),
        ("65,535 pixels wide", obj, &plain, png(65_535, 1, 1), "65535 x 1 pixels, the limit is 20000 on a side"),
        ("a PNG cut off", obj, &plain, png(1000, 1000, 10), "cannot be decoded"),
        ("a JPEG cut off", obj, &plain, jpeg[..jpeg.len() - 100].to_vec(), "ends before its picture does"),
        ("no picture", obj, &plain, b"RIFF\x10\0\0\0WEBPVP8 ".to_vec(), "cannot be decoded"),
        ("missing", obj, &map("b.png"), vec![], "b.png is not beside it"),
        ("in a folder above", obj, &map("../../b.png"), vec![], "../../b.png is not beside it"),
        ("scaled by its material", obj, &map("-s 2 2 a.png"), png(4, 4, 4), "is scaled or shifted"),
        (
            "of a material file that is missing",
            b"mtllib b.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\nvt 0 0\nusemtl m\nf 1/1 2/1 3/1\n",
            &plain,
            vec![],
            "the scan's materials b.mtl are not beside it",
        ),
        ("of a glTF that has it in another form", &other, &plain, vec![], "of another form (KHR_texture_basisu)"),
        ("of a glTF that has none", &none, &plain, vec![], "number 1 has no picture"),
        (
            "of a glTF, outside its bytes",
            &swap(&glb, "\"bufferView\":2,", "\"bufferView\":9,"),
            &plain,
            vec![],
            "lies outside the glTF file's bytes",
        ),
    ] {
        let read = told_of(scan, mtl, &picture);
        assert!(read.value.colors.is_none() && read.value.texels.is_empty() && read.value.points.len() >= 3, "{what}");
        let w = &read.warnings[0];
        assert!(read.warnings.len() == 1 && w.message.contains(want), "{what}: {:?}", read.warnings);
        told += &row(&format!("a texture, {what}"), &faydeck::Error::new(w.stage, &w.message).hint(&w.hint));
    }
    as_documented("textures", &told);
    // a good one for comparison
    assert!(told_of(obj, &plain, &png(4, 4, 4)).value.colors.is_some());
    // all textures of a scan together are held to one limit: of three of 4 MB two fit into 9
    let obj: String =
        (0..3).map(|i| format!("usemtl {i}\nv {i} 0 0\nv {i} 1 0\nv {i} 0 1\nvt 0 0\nf -3/-1 -2/-1 -1/-1\n")).collect();
    let mtl: String = (0..3).map(|i| format!("newmtl {i}\nmap_Kd {i}.png\n")).collect();
    let bomb = png(1000, 1000, 1000);
    assert!(bomb.len() < 8_000);
    let beside = |n: &str| Some(if n == "a.mtl" { mtl.clone().into_bytes() } else { bomb.clone() });
    let mut limits = ReadLimits::default();
    limits.picture.bytes = 9_000_000;
    let read =
        read_scan_textured(format!("mtllib a.mtl\n{obj}").as_bytes(), &limits, Textures::Beside(&beside)).unwrap();
    assert!(read.warnings[0].message.contains("takes 4000000 bytes, the limit is 1000000"), "{:?}", read.warnings);
    assert_eq!(read.value.coloured().count(), 6);
}

/// Places of no number, materials that are missing and pictures that faces do not have: points and faces stay.
#[test]
fn odd_places_in_a_picture_cost_no_face() {
    let picture = png(4, 4, 4);
    let beside = |n: &str| match n {
        "a.mtl" => Some(b"newmtl m\nmap_Kd a.png\nnewmtl m2\nKd x\nmap_Kd\n".to_vec()),
        _ => Some(picture.clone()),
    };
    let read = |file: &[u8]| read_scan_textured(file, &ReadLimits::default(), Textures::Beside(&beside)).unwrap().value;
    let points = "mtllib a.mtl\nv 0 0 0\nv 1 0 0\nv 0 1 0\n";
    for face in [
        "vt nan inf\nusemtl m\nf 1/1 2/1 3/1",
        "vt\nusemtl m\nf 1/1 2/1 3/1",
        "vt 0 0\nusemtl m\nf 1/1 2/9 3/1",
        "vt 0 0\nusemtl m\nf 1/0 2/-9 3/99999999999999999999",
        "vt 0 0\nusemtl other\nf 1/1 2/1 3/1",
        "vt 0 0\nusemtl m2\nf 1/1 2/1 3/1",
        "vt 0 0\nusemtl\nf 1/1 2/1 3/1",
        "vt 0 0\nf 1/1 2/1 3/1\nusemtl m",
    ] {
        let c = read(format!("{points}{face}\n").as_bytes());
        assert_eq!((c.triangles.len(), c.colors), (1, None), "{face}");
    }
    for far in ["1e30 -1e30", "-0.0 1e-38", "3.4e38 0"] {
        let c = read(format!("{points}vt {far}\nusemtl m\nf 1/1 2/1 3/1\n").as_bytes());
        assert_eq!(c.colors, Some(vec![[0; 3]; 3]), "{far}");
    }
    // faces as large as numbers are
    let c = read(b"mtllib a.mtl\nv 0 0 0\nv 1e200 0 0\nv 0 1e200 0\nvt 0 0\nvt 1 0\nvt 0 1\nusemtl m\nf 1/1 2/2 3/3\n");
    assert!(c.texels.len() < 100 && c.points.len() == 3);
    let ply = |face: &str, record: &str| {
        format!(
            "ply\nformat ascii 1.0\ncomment TextureFile a.png\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nproperty list uchar float texcoord\n{face}end_header\n0 0 0\n1 0 0\n0 1 0\n{record}\n"
        )
    };
    for (face, record, coloured) in [
        ("", "3 0 1 2 6 0 0 1 0 0 1", true),
        ("", "3 0 1 2 5 0 0 1 0 0", false),
        ("", "3 0 1 2 0", false),
        ("", "3 0 1 2 6 0 0 nan 0 0 1", false),
        ("property int texnumber\n", "3 0 1 2 6 0 0 1 0 0 1 0", true),
        ("property int texnumber\n", "3 0 1 2 6 0 0 1 0 0 1 -1", false),
        ("property int texnumber\n", "3 0 1 2 6 0 0 1 0 0 1 1", false),
    ] {
        let c = read(ply(face, record).as_bytes());
        assert_eq!((c.triangles.len(), c.colors.is_some()), (1, coloured), "{record}");
    }
}

#[test]
fn no_change_of_a_texture_or_its_materials_panics() {
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/scans/textured");
    let file = |n: &str| std::fs::read(format!("{folder}/{n}")).unwrap();
    let (obj, mtl, picture) = (file("grid.obj"), file("grid.mtl"), file("grid paint.png"));
    let mut r = Random(77);
    let (mut coloured, mut without) = (0, 0);
    for i in 0..600 {
        let changed = |original: &[u8], now: bool, r: &mut Random| {
            if now { mutate(original.to_vec(), r) } else { original.to_vec() }
        };
        let (mtl, picture) = (changed(&mtl, i % 2 == 0, &mut r), changed(&picture, i % 2 == 1, &mut r));
        let beside = |n: &str| match n {
            "grid.mtl" => Some(mtl.clone()),
            "grid paint.png" => Some(picture.clone()),
            _ => None,
        };
        let read = read_scan_textured(&obj, &ReadLimits::default(), Textures::Beside(&beside)).unwrap();
        assert_eq!(read.value.points.len(), 96);
        if read.value.colors.is_some() { coloured += 1 } else { without += 1 }
    }
    assert!(coloured > 20 && without > 100, "{coloured} {without}");
}

#[test]
fn no_change_of_a_file_panics() {
    const CHANGES: usize = 400;
    let folder = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/scans/textured");
    let files = ["grid.mtl", "grid paint.png"].map(|n| (n, std::fs::read(format!("{folder}/{n}")).unwrap()));
    let beside = |name: &str| files.iter().find(|f| f.0 == name).map(|f| f.1.clone());
    let read_scan = |b: &[u8]| read_scan_textured(b, &ReadLimits::default(), Textures::Beside(&beside));
    let mut faults = Vec::new();
    for (seed, name) in SCANS.iter().enumerate() {
        let file = good(name);
        let mut r = Random(seed as u64);
        let (mut read, mut refused) = (0, 0);
        for i in 0..CHANGES {
            let changed = mutate(file.clone(), &mut r);
            match catch_unwind(AssertUnwindSafe(|| read_scan(&changed))) {
                Ok(Ok(c)) => {
                    let c = c.value;
                    assert!(c.points.iter().all(|p| p.iter().all(|v| v.is_finite())), "{name} {i}");
                    assert!(c.triangles.iter().flatten().all(|&t| (t as usize) < c.points.len()), "{name} {i}");
                    assert!(c.texels.iter().all(|t| t.at.iter().all(|v| v.is_finite())), "{name} {i}");
                    assert!(c.colors.is_none_or(|v| v.len() == c.points.len()), "{name} {i}");
                    read += 1;
                }
                Ok(Err(e)) => {
                    assert!(e.hint_text().is_some(), "{name} {i}: {e}");
                    refused += 1;
                }
                Err(_) => faults.push(format!("{name} {i}")),
            }
        }
        // a change that no reader notices, or only refusals, would mean that little was tried
        assert!(refused > CHANGES / 100 && read + refused > CHANGES / 2, "{name}: {read} read, {refused} refused");
    }
    assert!(faults.is_empty(), "{faults:?}");
}

/// Found by fuzzing: the header's line was quoted as it stood, zero bytes and a terminal's control codes with it.
#[test]
fn what_a_file_holds_reaches_no_terminal() {
    for control in (0..0x20u8).chain([0x7f]).filter(|c| !b"\t\n\r".contains(c)) {
        let line = format!("property quad{}x", char::from(control));
        let e = read_scan(&swap(&ply("1", "0", ""), "property float x", &line)).map(|r| r.value.report).unwrap_err();
        assert!(!e.to_string().contains(char::from(control)), "{control}: {e:?}");
        let e = Board::parse(&format!("[scan]\nfile = 's{}'\n", char::from(control))).unwrap_err();
        assert!(!e.to_string().contains(char::from(control)), "{control}: {e:?}");
    }
    let e = read_scan(&swap(&ply("1", "0", ""), "property float x", &"quad ".repeat(100_000)))
        .map(|r| r.value.report)
        .unwrap_err();
    assert!(e.to_string().len() < 2000, "{}", e.to_string().len());
    // Windows line ends are no such codes
    let e = Board::parse("[scan]\r\nfile = = 's'\r\n").unwrap_err();
    assert!(!e.to_string().contains("\\r"), "{e}");
}

/// Found by longer runs of `no_change_of_a_file_panics`: damaged codes made the unpacking assert.
#[test]
fn a_laz_with_codes_out_of_range_is_refused() {
    let file = good("grid-1.2.laz");
    let mut r = Random(1011);
    let changed = (0..490).map(|_| mutate(file.clone(), &mut r)).last().expect("some");
    let e = read_scan(&changed).map(|r| r.value.report).unwrap_err();
    assert!(e.message().contains("codes out of range"), "{e}");
}

/// Found by fuzzing: 1,242 bytes for which the unpacking took 1.8 GB, for it believes the sizes of a chunk's layers.
#[test]
fn a_laz_with_a_layer_larger_than_its_file_is_refused() {
    let file = good("grid-1.4.laz");
    // after header, records and the chunk table's place: the first point (36 bytes), a count, the sizes of nine layers and of colour
    let data = u32::from_le_bytes(file[96..100].try_into().unwrap()) as usize;
    let sizes = data + 8 + 36 + 4;
    for layer in 0..10 {
        let changed = put(file.clone(), sizes + 4 * layer, &0x7fff_ffff_u32.to_le_bytes());
        let e = read_scan(&changed).map(|r| r.value.report).unwrap_err();
        assert!(e.message().contains("a layer has 2147483647 bytes, more than the file"), "{layer}: {e}");
    }
}

#[test]
fn no_change_of_a_board_file_panics() {
    let file = Board::template("scan.ply", Some("photo.jpg"), 209.5, Some(812.0)).into_bytes();
    let mut r = Random(1);
    for _ in 0..2000 {
        let changed = String::from_utf8_lossy(&mutate(file.clone(), &mut r)).into_owned();
        if let Err(e) = Board::parse(&changed) {
            assert!(e.hint_text().is_some(), "{e}");
        }
    }
}

/// The files of a gzipped tar archive (POSIX.1-1988, ustar: blocks of 512 bytes, the size in octal digits at 124).
fn unpacked(archive: &str) -> Vec<Vec<u8>> {
    let path = format!("{}/fuzz/seeds/{archive}.tar.gz", env!("CARGO_MANIFEST_DIR"));
    let packed = std::fs::File::open(path).unwrap();
    let mut all = Vec::new();
    std::io::Read::read_to_end(&mut flate2::read::GzDecoder::new(packed), &mut all).unwrap();
    let mut files = Vec::new();
    let mut at = 0;
    while let Some(head) = all.get(at..at + 512).filter(|h| h[0] != 0) {
        let digits = std::str::from_utf8(&head[124..135]).unwrap().trim_matches(['\0', ' ']);
        let size = usize::from_str_radix(digits, 8).unwrap();
        if matches!(head[156], 0 | b'0') {
            files.push(all[at + 512..at + 512 + size].to_vec());
        }
        at += 512 + size.next_multiple_of(512);
    }
    files
}
/// The corpora of the fuzz targets that take milliseconds a file; `fuzz/` is no part of a published package.
#[test]
fn what_fuzzing_has_reached_ends_in_a_result_or_a_sentence() {
    if !std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("fuzz").exists() {
        return;
    }
    let told = |e: faydeck::Error| assert!(e.hint_text().is_some() && !e.message().contains('\u{1b}'), "{e}");
    let (scans, boards, paths) = (unpacked("scan"), unpacked("board"), unpacked("path"));
    assert!(scans.len() > 100 && boards.len() > 100 && paths.len() > 100);
    for bytes in &scans {
        match read_scan(bytes) {
            Ok(r) => assert!(r.value.points.iter().flat_map(|p| p.iter()).all(|v| v.is_finite())),
            Err(e) => told(e),
        }
    }
    for bytes in &boards {
        Board::parse(&String::from_utf8_lossy(bytes)).map_or_else(told, |b| assert!(b.tape.width_mm > 0.0));
    }
    let board = Board::parse("[scan]\nfile='s'\n[tape]\nwidth='21 cm'\n[enclosure]\nfootprint='f'\n").unwrap();
    for bytes in &paths {
        board.clone().with_footprint(bytes).map_or_else(told, |b| assert!(b.enclosure.unwrap().length_mm > 0.0));
    }
}
