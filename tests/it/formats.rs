//! The same grid in every format, written by general-purpose libraries (`fixtures/scans/make.py`: trimesh, laspy, pye57,
//! numpy), read here and compared with the formula.
use e57::{E57Writer, Record, RecordDataType, RecordName, RecordValue};
use faydeck::{RawCloud, ReadLimits, read_mesh, read_scan, read_scan_within};
use flate2::{Compression, write::GzEncoder};
use nalgebra::Point3;
use std::io::{Cursor, Write};

const NX: usize = 12;
const NY: usize = 8;
fn grid() -> impl Iterator<Item = (f64, f64)> {
    (0..NX).flat_map(|i| (0..NY).map(move |j| (i as f64, j as f64)))
}
fn points() -> Vec<Point3<f64>> {
    grid().map(|(i, j)| Point3::new(i / 16.0, j / 32.0, (i * i - j * j) / 64.0)).collect()
}
fn colors() -> Vec<[u8; 3]> {
    grid().map(|(i, j)| [i * 20.0, j * 30.0, i * j].map(|v| v as u8)).collect()
}
fn bytes(name: &str) -> Vec<u8> {
    std::fs::read(format!("{}/fixtures/scans/{name}", env!("CARGO_MANIFEST_DIR"))).unwrap()
}
fn scan(name: &str) -> RawCloud {
    let read = read_scan(&bytes(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
    assert!(read.warnings.is_empty(), "{name}: {:?}", read.warnings);
    read.value
}
fn near(a: &[Point3<f64>], b: &[Point3<f64>], within: f64) -> bool {
    a.len() == b.len() && a.iter().zip(b).all(|(a, b)| (a - b).norm() <= within)
}
fn gzip(plain: &[u8]) -> Vec<u8> {
    let mut e = GzEncoder::new(Vec::new(), Compression::best());
    e.write_all(plain).unwrap();
    e.finish().unwrap()
}

#[test]
fn every_format_gives_the_grid() {
    let triangles = 2 * (NX - 1) * (NY - 1);
    // name, format in the report, triangles, colours, unit
    for (name, format, faces, colored, unit) in [
        ("grid-binary.ply", "ply binary little endian", triangles, true, None),
        ("grid-ascii.ply", "ply ascii", triangles, true, None),
        ("grid.obj", "obj", triangles, true, None),
        ("grid.3mf", "3mf", triangles, false, Some(1.0)),
        ("grid.gltf", "gltf text", triangles, true, Some(1000.0)),
        ("grid-1.2.las", "las 1.2, point format 3", 0, true, None),
        ("grid-1.4.las", "las 1.4, point format 6", 0, false, None),
        ("grid-1.2.laz", "laz 1.2, point format 2", 0, true, None),
        ("grid-1.4.laz", "laz 1.4, point format 7", 0, true, None),
        ("grid.xyz", "text points", 0, false, None),
        ("grid.csv", "text points", 0, true, None),
        ("grid.pts", "text points, counted", 0, true, None),
    ] {
        let c = scan(name);
        assert_eq!(c.report.format, format);
        assert_eq!((c.triangles.len(), c.report.stated_unit_mm), (faces, unit), "{name}");
        assert!(near(&c.points, &points(), 1e-6), "{name}: {:?}", &c.points[..3]);
        assert_eq!(c.colors.is_some(), colored, "{name}");
        if let Some(read) = &c.colors {
            // the writer puts its values down unchanged, and the standard calls them linear light (IEC 61966-2-1)
            let seen = |v: u8| {
                let c = f64::from(v) / 255.0;
                let s = if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
                if format.starts_with("gltf") { (255.0 * s).round() as u8 } else { v }
            };
            assert!(
                read.iter().flatten().zip(colors().iter().flatten()).all(|(a, b)| a.abs_diff(seen(*b)) <= 1),
                "{name}: {read:?}"
            );
        }
        let packed = read_scan(&gzip(&bytes(name))).unwrap().value;
        assert_eq!((packed.report.format, packed.points), (format!("{format}, gzip"), c.points));
    }
    // an STL's points come in the order of its facets
    for name in ["grid.stl", "grid-ascii.stl"] {
        let c = scan(name);
        assert_eq!((c.points.len(), c.triangles.len()), (NX * NY, triangles), "{name}");
        let corner = |t: usize, k: usize| c.points[c.triangles[t][k] as usize];
        let p = points();
        assert_eq!([corner(0, 0), corner(0, 1), corner(0, 2)], [p[0], p[NY], p[NY + 1]], "{name}");
    }
}

#[test]
fn gltf_nodes_turn_and_shift_their_meshes() {
    let c = scan("two.glb");
    let both: Vec<_> =
        [0.0, 10.0].iter().flat_map(|s| points().into_iter().map(move |p| Point3::new(p.x + s, p.y, p.z))).collect();
    assert!(near(&c.points, &both, 1e-5), "{:?}", &c.points[..4]);
    assert_eq!(c.triangles.len(), 4 * (NX - 1) * (NY - 1));
    assert_eq!(c.triangles.iter().flatten().max(), Some(&(2 * (NX * NY) as u32 - 1)));
}

#[test]
fn e57_clouds_stand_at_their_poses() {
    let c = scan("two.e57");
    // the second cloud is turned by a quarter about z and shifted by 10 m
    let both: Vec<_> =
        points().into_iter().chain(points().into_iter().map(|p| Point3::new(10.0 - p.y, p.x, p.z))).collect();
    assert!(near(&c.points, &both, 1e-9), "{:?}", c.points);
    assert_eq!(c.report.format, "e57, 2 clouds");
    assert_eq!(c.colors, Some([colors(), colors()].concat()));
}

/// Spherical points (E2807: x = r cos(elevation) cos(azimuth)), scaled integers, and points marked as invalid.
#[test]
fn e57_of_a_scanner() {
    let mut file = Cursor::new(Vec::new());
    {
        let mut w = E57Writer::new(&mut file, "file").unwrap();
        let real = RecordDataType::Double { min: None, max: None };
        let record = |name, data_type: &RecordDataType| Record { name, data_type: data_type.clone() };
        let state = RecordDataType::Integer { min: 0, max: 2 };
        let mut cloud = w
            .add_pointcloud(
                "a",
                vec![
                    record(RecordName::SphericalRange, &real),
                    record(RecordName::SphericalAzimuth, &real),
                    record(RecordName::SphericalElevation, &real),
                    record(RecordName::SphericalInvalidState, &state),
                ],
            )
            .unwrap();
        for (r, a, e, bad) in [(2.0, 0.5, 0.25, 0), (3.0, 1.0, -0.5, 2), (1.0, -2.0, 1.0, 0)] {
            cloud
                .add_point(vec![
                    RecordValue::Double(r),
                    RecordValue::Double(a),
                    RecordValue::Double(e),
                    RecordValue::Integer(bad),
                ])
                .unwrap();
        }
        cloud.finalize().unwrap();
        let scaled = RecordDataType::ScaledInteger { min: -5000, max: 5000, scale: 0.001, offset: 2.0 };
        let mut cloud = w
            .add_pointcloud(
                "b",
                [RecordName::CartesianX, RecordName::CartesianY, RecordName::CartesianZ]
                    .map(|n| record(n, &scaled))
                    .to_vec(),
            )
            .unwrap();
        cloud.add_point([1, -5000, 5000].map(RecordValue::ScaledInteger).to_vec()).unwrap();
        cloud.finalize().unwrap();
        w.finalize().unwrap();
    }
    let read = read_scan(file.get_ref()).unwrap();
    assert!(
        read.warnings.iter().any(|w| w.message.contains("1 of 4 points are marked as invalid")),
        "{:?}",
        read.warnings
    );
    let polar = |r: f64, a: f64, e: f64| Point3::new(r * e.cos() * a.cos(), r * e.cos() * a.sin(), r * e.sin());
    let want = [polar(2.0, 0.5, 0.25), polar(1.0, -2.0, 1.0), Point3::new(2.001, -3.0, 7.0)];
    assert!(near(&read.value.points, &want, 1e-12), "{:?}", read.value.points);
}

/// Units of the 3MF core specification and of glTF (metres, y up), for an enclosure, whose size counts.
#[test]
fn an_enclosure_is_in_mm_whatever_its_unit() {
    assert!(near(&read_mesh(&bytes("grid.3mf")).unwrap().value.points, &points(), 1e-6));
    let gltf = read_mesh(&bytes("grid.gltf")).unwrap();
    let turned: Vec<_> = points().iter().map(|p| Point3::new(p.x, -p.z, p.y) * 1000.0).collect();
    assert!(near(&gltf.value.points, &turned, 1e-3), "{:?}", gltf.value.points);
    assert!(gltf.warnings[0].message.contains("metres"));
}

/// Numbers from the last backwards, textures and normals behind slashes, colours, lines that go on (B1 of the manual).
#[test]
fn obj_as_its_manual_allows() {
    let text = "v 0 0 0 1 0 0.5\nv 1 0 0 0 0 0\nv 1 1 0 0 0 0\nvt 0 0\nvn 0 0 1\nf -3/1/1 -2/1/1 \\\r\n -1/1/1 # end\nl 1 2\nf 1//1 2//1 3//1\n";
    let c = read_scan(text.as_bytes()).unwrap().value;
    assert_eq!(c.triangles, [[0, 1, 2], [0, 1, 2]]);
    assert_eq!(c.colors.unwrap()[0], [255, 0, 128]);
}

#[test]
fn text_in_many_dresses() {
    let want = vec![Point3::new(1.5, -2.0, 3.25), Point3::new(0.0, 4.0, 1e-3)];
    for text in [
        "1.5 -2 3.25\n0 4 1e-3\n",
        "  1.5\t-2\t3.25 \r\n0\t4\t1e-3",
        "1.5,-2,3.25\n0,4,0.001\n",
        "1.5, -2, 3.25\n0, 4, 0.001,\n",
        "1,5;-2;3,25\n0;4;0,001\n",
        "1,5 -2 3,25\n0 4 0,001\n",
        "# a comment\n// X Y Z\n\n1.5 -2 3.25\n# more\n0 4 0.001\n",
        "\u{feff}x;y;z\n1.5;-2;3.25\n0;4;0.001\n",
        "\"id\",\"z\",\"y\",\"x\"\n7,3.25,-2,1.5\n8,0.001,4,0\n",
        "2\n1.5 -2 3.25 100\n0 4 0.001 90\n",
        "1\n1.5 -2 3.25\n1\n0 4 0.001\n",
        "1.5 -2 3.25\r0 4 0.001\r",
    ] {
        let c = read_scan(text.as_bytes()).unwrap_or_else(|e| panic!("{text}: {e}")).value;
        assert_eq!(c.points, want, "{text}");
    }
    let c = read_scan(b"0 0 0 0 0 1\n1 0 0 0.6 0 0.8\n").unwrap().value;
    assert_eq!(c.normals.unwrap()[1].x, 0.6);
    let c = read_scan(b"0 0 0 17 255 0 1\n1 0 0 18 1 2 3\n").unwrap().value;
    assert_eq!(c.colors, Some(vec![[255, 0, 1], [1, 2, 3]]));
}

#[test]
fn bad_points_are_left_out_and_counted() {
    let ply = "ply\nformat ascii 1.0\nelement vertex 4\nproperty float x\nproperty float y\nproperty float z\nelement face 2\nproperty list uchar int vertex_index\nend_header\n0 0 0\nnan 0 0\n\n1 0 0\n0 1 0\n3 0 2 3\n3 0 1 2\n";
    let stl = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nfacet normal nan nan nan\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex NaN 1 0\nendloop\nendfacet\nendsolid a\n";
    for text in [ply, stl, "0 0 0\n1 0 0\n0 inf 0\n0 1 0\n"] {
        let read = read_scan(text.as_bytes()).unwrap_or_else(|e| panic!("{text}: {e}"));
        let r = &read.value.report;
        assert_eq!((r.points, r.dropped_non_finite, r.triangles), (3, 1, usize::from(r.format.len() < 10)), "{text}");
        assert!(read.warnings[0].message.starts_with("1 of 4 points"), "{:?}", read.warnings);
    }
    // comments need not be UTF-8
    let mut odd = ply.replace("nan 0 0", "5 5 0").into_bytes();
    odd.splice(21..21, b"comment caf\xe9\n".iter().copied());
    assert_eq!(read_scan(&odd).unwrap().value.triangles.len(), 2);
}

#[test]
fn limits_are_kept_and_can_be_set() {
    // ASCII zeros pack about 1,000 to 1
    let zeros = gzip(format!("0 0 0\n{}", " ".repeat(40 << 20)).as_bytes());
    let e = read_scan(&zeros).unwrap_err();
    assert!(e.message().contains("200 times its size"), "{e}");
    let loose = ReadLimits { unpacked_ratio: 2000, ..ReadLimits::default() };
    assert_eq!(read_scan_within(&zeros, &loose).unwrap().value.points.len(), 1);
    let few = ReadLimits { points: 95, ..ReadLimits::default() };
    for name in ["grid-binary.ply", "grid.xyz", "grid-1.4.laz", "two.e57", "grid.3mf"] {
        let e = read_scan_within(&bytes(name), &few).unwrap_err();
        assert!(e.message().contains("the limit is 95"), "{name}: {e}");
    }
}
