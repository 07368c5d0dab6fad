//! Reads any scan file into a [`RawCloud`] in scan units; the format is told by content, never by the file's name.
mod e57;
mod gltf;
mod gltf_nodes;
mod gltf_skins;
mod las;
mod limits;
mod mtl;
mod obj;
mod ply;
mod ply_body;
mod raw;
mod skin;
mod sniff;
mod stl;
mod text;
mod text_names;
mod textures;
mod threemf;

pub use las::panic_is_caught;
pub use limits::ReadLimits;
pub use textures::Textures;

use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::TriMesh;
use nalgebra::{Point3, Vector3};

/// A scan as read: scan units, any pose. Points are finite.
#[derive(Debug, Clone, Default)]
pub struct RawCloud {
    /// Points, one per vertex, in scan units.
    pub points: Vec<Point3<f64>>,
    /// Normals from the file (signs are not to be trusted), one per point, or none.
    pub normals: Option<Vec<Vector3<f64>>>,
    /// Red, green and blue from the file or its textures, 0 to 255, one per point, or none.
    pub colors: Option<Vec<[u8; 3]>>,
    /// Colours of the scan's textures on its faces, between the points; and at points, where only some have a colour.
    pub texels: Vec<Texel>,
    /// Triangles as indices into `points`; empty for a cloud.
    pub triangles: Vec<[u32; 3]>,
    /// What the reader did.
    pub report: ReadReport,
}

impl RawCloud {
    /// Every place with its colour: points, and what lies between them.
    pub fn coloured(&self) -> impl Iterator<Item = (Point3<f64>, [u8; 3])> + '_ {
        let points = self.colors.iter().flat_map(|c| self.points.iter().copied().zip(c.iter().copied()));
        points.chain(self.texels.iter().map(|t| (t.at, t.color)))
    }
    /// Whether there is any.
    pub fn is_coloured(&self) -> bool {
        self.colors.is_some() || !self.texels.is_empty()
    }
}
/// A place on a face with the colour of its texture.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Texel {
    /// The place, scan units.
    pub at: Point3<f64>,
    /// Red, green and blue, 0 to 255.
    pub color: [u8; 3],
}

/// What a reader found in a scan file.
#[derive(Debug, Clone, Default, serde::Serialize)]
pub struct ReadReport {
    /// The format with its encoding, for example "ply binary little endian".
    pub format: String,
    /// Points kept.
    pub points: usize,
    /// Points left out because a coordinate was not finite.
    pub dropped_non_finite: usize,
    /// Triangles kept.
    pub triangles: usize,
    /// Whether the scan has colours: one for every point, or textures that are there.
    pub colors: bool,
    /// Millimetres per unit where the format states its unit (glTF and E57: metres; 3MF: its own word). A scan's true
    /// size comes from the tape all the same.
    pub stated_unit_mm: Option<f64>,
}

/// What to do about a file that breaks off or contradicts itself.
const DAMAGED: &str = "the file is damaged or cut off; export it again";

fn fail(message: impl Into<String>) -> Error {
    Error::new(Stage::Scan, message)
}

/// Reads a PLY, STL, OBJ, glTF, E57, LAS, LAZ, 3MF or point text file, also gzipped, told apart by content.
///
/// # Errors
/// Empty, unknown, truncated or malformed files, indices out of range, files without a finite point, and files beyond
/// the default [`ReadLimits`].
pub fn read_scan(bytes: &[u8]) -> Result<Warned<RawCloud>> {
    read_scan_within(bytes, &ReadLimits::default())
}

/// As [`read_scan`], within other limits.
///
/// # Errors
/// As [`read_scan`].
pub fn read_scan_within(bytes: &[u8], limits: &ReadLimits) -> Result<Warned<RawCloud>> {
    read_scan_textured(bytes, limits, Textures::Within)
}

/// As [`read_scan_within`], with textures that lie in files of their own, or without any.
///
/// # Errors
/// As [`read_scan`]. A texture that cannot be used is a warning.
pub fn read_scan_textured(bytes: &[u8], limits: &ReadLimits, textures: Textures) -> Result<Warned<RawCloud>> {
    sniff::read(bytes, limits, textures)?.checked(limits, textures)
}

/// Reads an enclosure's mesh; unlike a scan it must have triangles. Its unit is mm, or what the format states.
///
/// # Errors
/// As [`read_scan`], and a file without triangles.
pub fn read_mesh(bytes: &[u8]) -> Result<Warned<TriMesh>> {
    read_mesh_within(bytes, &ReadLimits::default())
}

/// As [`read_mesh`], within other limits.
///
/// # Errors
/// As [`read_mesh`].
pub fn read_mesh_within(bytes: &[u8], limits: &ReadLimits) -> Result<Warned<TriMesh>> {
    // ISO 10303-21: an exchange file begins with this keyword
    if bytes.trim_ascii_start().starts_with(b"ISO-10303-21;") {
        return Err(fail("the enclosure is a STEP file, whose curved faces are not read")
            .hint("export the enclosure from CAD as STL or 3MF in mm, with a chord height of 0.05 mm or less"));
    }
    let Warned { value: mut cloud, mut warnings } = read_scan_textured(bytes, limits, Textures::Unread)?;
    if cloud.triangles.is_empty() {
        return Err(fail(format!("the enclosure file has {} points but no triangle", cloud.points.len()))
            .hint("export the enclosure as a mesh (STL) in mm"));
    }
    if let Some(mm) = cloud.report.stated_unit_mm {
        for p in &mut cloud.points {
            *p *= mm;
        }
        if gltf::is_gltf(&cloud.report.format) {
            // its standard has y up and z towards the viewer (glTF 2.0, 3.4); the deck frame has z up
            for p in &mut cloud.points {
                *p = Point3::new(p.x, -p.z, p.y);
            }
            warnings.push(Warning::new(
                Stage::Scan,
                "the enclosure is a glTF file, which states metres and y up: it was turned to mm and z up",
                "export it as STL or 3MF in mm if it does not lie on the deck",
            ));
        }
    }
    Ok(Warned::with(TriMesh { points: cloud.points, triangles: cloud.triangles }, warnings))
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::export::{write_ply, write_stl};

    const ASCII_PLY: &str = "ply\nformat ascii 1.0\ncomment x\nelement vertex 4\nproperty float x\nproperty uchar red\nproperty float y\nproperty double z\nproperty list uchar int tags\nelement face 1\nproperty list uchar uint vertex_indices\nend_header\n0 9 0 0 0\n1 9 0 0 2 7 7\n1 9 1 0 0\n0 9 1 0.5 0\n4 0 1 2 3\n";

    #[test]
    fn ascii_ply_with_extra_and_list_properties() {
        let c = read_scan(ASCII_PLY.as_bytes()).unwrap().value;
        assert_eq!((c.points.len(), c.triangles.len()), (4, 2));
        assert_eq!(c.points[3], Point3::new(0.0, 1.0, 0.5));
        let crlf = ASCII_PLY.replace('\n', "\r\n");
        assert_eq!(read_scan(crlf.as_bytes()).unwrap().value.points, c.points);
    }
    #[test]
    fn faces_before_vertices() {
        let t = "ply\nformat ascii 1.0\nelement face 1\nproperty list uchar int vertex_index\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nend_header\n3 0 1 2\n0 0 0\n1 0 0\n0 1 0\n";
        let c = read_scan(t.as_bytes()).unwrap().value;
        assert_eq!(c.triangles, vec![[0, 1, 2]]);
    }
    #[test]
    fn a_step_enclosure_is_refused_with_the_way_out() {
        let e = read_mesh(b"\r\nISO-10303-21;\nHEADER;\n").unwrap_err();
        assert!(e.message().contains("STEP") && e.hint_text().is_some_and(|h| h.contains("STL")), "{e}");
    }
    #[test]
    fn both_binary_orders_and_round_trip() {
        let p = vec![Point3::new(1.5, -2.25, 1e-3), Point3::new(0.0, 1.0, 2.0), Point3::new(3.0, 1.0, 2.0)];
        let bytes = write_ply(&p, None, &[[0, 1, 2]]);
        let c = read_scan(&bytes).unwrap().value;
        assert_eq!((&c.points, &c.triangles), (&p, &vec![[0, 1, 2]]));
        let mut big = b"ply\nformat binary_big_endian 1.0\nelement vertex 3\nproperty double x\nproperty double y\nproperty double z\nend_header\n".to_vec();
        for q in &p {
            for k in 0..3 {
                big.extend(q[k].to_be_bytes());
            }
        }
        assert_eq!(read_scan(&big).unwrap().value.points, p);
        let cut = read_scan(&bytes[..bytes.len() - 20]).unwrap_err();
        assert!(cut.hint_text().is_some(), "{cut}");
    }
    /// Binary STL: 84 + 50 n bytes, no unit (format's own rule).
    #[test]
    fn stl_both_kinds() {
        let m = TriMesh {
            points: vec![
                Point3::new(0., 0., 0.),
                Point3::new(1., 0., 0.),
                Point3::new(0., 1., 0.),
                Point3::new(1., 1., 0.),
            ],
            triangles: vec![[0, 1, 2], [1, 3, 2]],
        };
        let b = write_stl(&m);
        assert_eq!(b.len(), 84 + 50 * 2);
        let c = read_scan(&b).unwrap().value;
        assert_eq!((c.points.len(), c.triangles.len()), (4, 2));
        let mut tricky = b.clone();
        tricky[..5].copy_from_slice(b"solid");
        assert_eq!(read_scan(&tricky).unwrap().value.triangles.len(), 2);
        let e = read_scan(&b[..b.len() - 10]).unwrap_err();
        assert!(e.message().contains("184") && e.message().contains("174"), "{e}");
        let a = "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 1 0 0\nvertex 0 1 0\nendloop\nendfacet\nendsolid a\n";
        assert_eq!(read_scan(a.as_bytes()).unwrap().value.triangles.len(), 1);
        tricky[..12].copy_from_slice(b"solid part\n\n");
        assert_eq!(read_scan(&tricky).unwrap().value.triangles.len(), 2);
        let two = format!("{a}{}", a.replace("1 0 0", "5 0 0"));
        let loose = format!("  {}", two.to_uppercase().replace("SOLID A", "SOLID").replace('\n', "\r\n"));
        for t in [two.as_str(), loose.as_str()] {
            let c = read_scan(t.as_bytes()).unwrap().value;
            assert_eq!((c.points.len(), c.triangles.len()), (4, 2), "{t}");
        }
        let e = read_scan(&a.as_bytes()[..a.len() - 12]).unwrap_err();
        assert!(e.message().contains("endsolid"), "{e}");
    }
    #[test]
    fn ply_header_words_in_comments_and_other_elements() {
        let want = read_scan(ASCII_PLY.as_bytes()).unwrap().value;
        for line in ["comment element vertex list", "comment end_header comes later"] {
            let t = ASCII_PLY.replace("comment x", line);
            assert_eq!(read_scan(t.as_bytes()).unwrap().value.points, want.points, "{line}");
        }
        let t = ASCII_PLY
            .replace("comment x", "element vertex_group 1\nproperty int id")
            .replace("end_header\n", "end_header\n7\n");
        assert_eq!(read_scan(t.as_bytes()).unwrap().value.triangles, want.triangles);
    }
    #[test]
    fn normals_come_back_and_ill_matched_ones_are_left_out() {
        let p = vec![Point3::new(0.0, 0.0, 1.0), Point3::new(1.0, 2.0, 3.0)];
        let n = vec![Vector3::z(), -Vector3::x()];
        assert_eq!(read_scan(&write_ply(&p, Some(&n), &[])).unwrap().value.normals, Some(n.clone()));
        let c = read_scan(&write_ply(&p, Some(&n[..1]), &[])).unwrap().value;
        assert_eq!((c.points, c.normals), (p, None));
    }
    #[test]
    fn obj_keeps_every_point_once_and_exactly() {
        let square = "v 4500000.123 0 0\nv 4500001.5 0 0\nv 4500001.5 1 0\nv 4500000.123 1 0\nv 9 9 9\n";
        let groups = format!("{square}l 1 5\ng a\nf 1 2 3\ng b\nf 1 3 4\n");
        let c = read_scan(groups.as_bytes()).unwrap().value;
        assert_eq!(c.triangles, vec![[0, 1, 2], [0, 2, 3]]);
        assert_eq!((c.points.len(), c.points[0].x, c.points[4].x), (5, 4500000.123, 9.0));
        let before = format!("\u{feff}{}", "# a long comment\n".repeat(300));
        let loose = format!("{before}{}", groups.replace("\nv", "\n  v").replace('\n', "\r\n"));
        let d = read_scan(loose.as_bytes()).unwrap().value;
        assert_eq!((d.points, d.triangles), (c.points, c.triangles));
    }
    #[test]
    fn obj() {
        let c = read_scan(b"# c\nv 0 0 0\nv 1 0 0\nv 1 1 0\nv 0 1 0\nf 1 2 3 4\n").unwrap().value;
        assert_eq!((c.points.len(), c.triangles.len()), (4, 2));
        let c = read_scan(b"v 0 0 0\nv 1 0 0\nv 1 1 0\n").unwrap().value;
        assert_eq!(c.points.len(), 3);
        assert!(read_scan(b"v 0 0 0\nv 1 0 0\nf 1 2 9\n").is_err());
    }
    #[test]
    fn malformed_files_get_a_sentence() {
        let many = ASCII_PLY.replace("vertex 4", "vertex 999999999999");
        let huge = ASCII_PLY.replace("vertex 4", "vertex 999999999999999999999999");
        let twice = ASCII_PLY.replace("property uchar red", "property float x");
        let none = "ply\nformat ascii 1.0\nelement vertex 0\nproperty float x\nproperty float y\nproperty float z\nend_header\n";
        let range = ASCII_PLY.replace("4 0 1 2 3", "4 0 1 2 9");
        let nan = "v nan 0 0\nv inf 0 0\n";
        for (bytes, want) in [
            (&b""[..], "0 bytes"),
            (b"hello there, this is no scan", "28 bytes begin with \"hello there, thi\""),
            (many.as_bytes(), "999999999999"),
            (huge.as_bytes(), "999999999999999999999999"),
            (twice.as_bytes(), "twice"),
            (none.as_bytes(), "no usable point"),
            (range.as_bytes(), "only 4 points"),
            (nan.as_bytes(), "not finite"),
            (b"ply\n", "header"),
        ] {
            let e = read_scan(bytes).unwrap_err();
            assert!(e.message().contains(want), "{want}: {e}");
        }
    }
    /// Faces of 255 corners of one byte each become twelve times their size as triangles: 6 MB packed to 30 kB would be 76 MB.
    #[test]
    fn a_packed_list_of_faces_takes_no_more_memory_than_it_may() {
        use std::io::Write;
        let faces = 25_000;
        let mut file = format!("ply\nformat binary_little_endian 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face {faces}\nproperty list uchar uchar vertex_indices\nend_header\n").into_bytes();
        [0f32, 0., 0., 1., 0., 0., 0., 1., 0.].iter().for_each(|v| file.extend(v.to_le_bytes()));
        let polygon: Vec<u8> = std::iter::once(255).chain((0..255).map(|i| i % 3)).collect();
        (0..faces).for_each(|_| file.extend(&polygon));
        let mut gz = flate2::write::GzEncoder::new(Vec::new(), flate2::Compression::best());
        gz.write_all(&file).unwrap();
        let e = read_scan(&gz.finish().unwrap()).unwrap_err();
        assert!(e.message().contains("memory, the limit"), "{e}");
        // of the 253 triangles of each only 85 have three corners
        assert_eq!(read_scan(&file).unwrap().value.triangles.len(), faces * 85);
    }
    /// One face of 190 million corners, packed to a megabyte, once took 1.7 GB before it was refused. Here one corner more than is held.
    #[test]
    fn a_face_of_endless_corners_is_refused_before_it_is_held() {
        let limits = ReadLimits { memory_bytes: 1200, ..ReadLimits::default() };
        for (corners, good) in [(60u32, true), (200, false)] {
            let list = |word: &str| format!("{} ", word).repeat(corners as usize);
            let head = |format: &str| {
                format!(
                    "ply\nformat {format} 1.0\nelement vertex 3\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uint uchar vertex_indices\nend_header\n"
                )
            };
            let mut binary = head("binary_little_endian").into_bytes();
            [0f32, 0., 0., 1., 0., 0., 0., 1., 0.].iter().for_each(|v| binary.extend(v.to_le_bytes()));
            binary.extend(corners.to_le_bytes());
            binary.extend(vec![1; corners as usize]);
            let text = format!("{}0 0 0\n1 0 0\n0 1 0\n{corners} {}\n", head("ascii"), list("1"));
            let obj = format!("v 0 0 0\nv 1 0 0\nv 0 1 0\nf {}\n", list("1"));
            for file in [binary, text.into_bytes(), obj.into_bytes()] {
                let read = read_scan_within(&file, &limits);
                assert_eq!(read.is_ok(), good, "{corners}");
                let Err(e) = read else { continue };
                assert!(e.message().contains("memory, the limit"), "{e}");
            }
        }
    }
    /// A flat mesh of 9 by 9 points, with each face once more as a line and as a point.
    #[test]
    fn faces_without_area_and_far_strays_are_left_out_and_told() {
        let mut obj = String::new();
        for i in 0..81 {
            obj.push_str(&format!("v {} {} 0\n", i % 9, i / 9));
        }
        obj.push_str("v 900 2 0\nv 900 3 4\n");
        let mut good = 0;
        for i in (0..72).filter(|i| i % 9 < 8) {
            let [a, b, c, d] = [i + 1, i + 2, i + 11, i + 10];
            obj.push_str(&format!("f {a} {b} {c}\nf {a} {c} {d}\nf {a} {a} {c}\nf {a} {b} {b}\n"));
            good += 2;
        }
        obj.push_str("f 1 2 3\nf 1 82 83\n");
        let read = read_scan(obj.as_bytes()).unwrap();
        assert_eq!(read.value.triangles.len(), good);
        let told: Vec<&str> = read.warnings.iter().map(|w| w.message.as_str()).collect();
        assert!(
            told[0].starts_with("129 of 258 faces have no area") && told[1].starts_with("1 of 258 faces"),
            "{told:?}"
        );
        // the points of a part may be anywhere: nothing else of it is touched
        assert_eq!(read.value.points.len(), 83);
    }
    /// Khronos, glTF 2.0, 3.6.2.3: the values told replace those of the accessor, or noughts.
    #[test]
    fn a_gltf_that_tells_only_what_differs_is_read() {
        // the places 1 and 2 as bytes and two padding bytes, then (1, 0, 0) and (0, 1, 2) as floats
        let mut data = vec![1u8, 2, 0, 0];
        [1f32, 0., 0., 0., 1., 2.].iter().for_each(|v| data.extend(v.to_le_bytes()));
        let base64 = base64(&data);
        let file = |count: usize, told: usize| {
            format!(
                "{{\"asset\":{{\"version\":\"2.0\"}},\"accessors\":[{{\"componentType\":5126,\"count\":{count},\"type\":\"VEC3\",\"sparse\":{{\"count\":{told},\"indices\":{{\"bufferView\":0,\"componentType\":5121}},\"values\":{{\"bufferView\":1}}}}}}],\"meshes\":[{{\"primitives\":[{{\"attributes\":{{\"POSITION\":0}}}}]}}],\"nodes\":[{{\"mesh\":0}}],\"bufferViews\":[{{\"buffer\":0,\"byteLength\":2}},{{\"buffer\":0,\"byteOffset\":4,\"byteLength\":24}}],\"buffers\":[{{\"byteLength\":28,\"uri\":\"data:application/octet-stream;base64,{base64}\"}}]}}"
            )
        };
        let c = read_scan(file(3, 2).as_bytes()).unwrap().value;
        assert_eq!(c.points, [[0., 0., 0.], [1., 0., 0.], [0., 1., 2.]].map(Point3::from));
        for (bad, want) in [
            (file(2, 2), "names the item 2 of 2"),
            (file(3, 3), "promises 3 items"),
            (file(500, 2), "promises 500 items"),
        ] {
            let e = read_scan(bad.as_bytes()).unwrap_err();
            assert!(e.message().contains(want), "{e}");
        }
    }
    fn base64(bytes: &[u8]) -> String {
        const LETTERS: &[u8] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
        let three = |c: &[u8]| c.iter().chain(&[0, 0]).take(3).fold(0u32, |n, &b| n << 8 | u32::from(b));
        bytes
            .chunks(3)
            .flat_map(|c| (0..4).map(move |k| LETTERS[(three(c) >> (18 - 6 * k) & 63) as usize] as char))
            .collect()
    }
}
