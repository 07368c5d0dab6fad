//! 3MF core (ISO/IEC 25422): mm stated, one object, names that common readers find.
use crate::error::{Error, Result, Stage};
use crate::geom::TriMesh;
use std::fmt::Write as _;
use std::io::{Cursor, Write as _};
use zip::write::SimpleFileOptions;

const TYPES: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Types xmlns=\"http://schemas.openxmlformats.org/package/2006/content-types\"><Default Extension=\"rels\" ContentType=\"application/vnd.openxmlformats-package.relationships+xml\"/><Default Extension=\"model\" ContentType=\"application/vnd.ms-package.3dmanufacturing-3dmodel+xml\"/></Types>";
const RELATIONS: &str = "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\"><Relationship Target=\"/3D/3dmodel.model\" Id=\"rel0\" Type=\"http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel\"/></Relationships>";

/// Deflate's level: a deck's triangles take half the time of the usual 6, and a twelfth more bytes; 9 takes five times as long for
/// 3 % fewer.
const LEVEL: i64 = 4;

/// A 3MF file of one closed mesh in mm.
///
/// # Errors
/// A mesh that is not closed and consistently oriented (the standard's edge rule), or a failure to pack.
pub fn write_3mf(mesh: &TriMesh) -> Result<Vec<u8>> {
    let open = mesh.open_edges().len();
    if open > 0 {
        return Err(Error::new(
            Stage::Export,
            format!("the mesh has {open} edges not shared by two triangles in opposite order, 3MF allows 0"),
        )
        .hint("this is a fault of faydeck; report it with the board file"));
    }
    let mut model = String::from(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<model unit=\"millimeter\" xml:lang=\"en\" xmlns=\"http://schemas.microsoft.com/3dmanufacturing/core/2015/02\"><resources><object id=\"1\" type=\"model\"><mesh><vertices>",
    );
    for p in &mesh.points {
        let _ = write!(model, "<vertex x=\"{:.6}\" y=\"{:.6}\" z=\"{:.6}\"/>", p.x, p.y, p.z);
    }
    model.push_str("</vertices><triangles>");
    for t in &mesh.triangles {
        let _ = write!(model, "<triangle v1=\"{}\" v2=\"{}\" v3=\"{}\"/>", t[0], t[1], t[2]);
    }
    model.push_str("</triangles></mesh></object></resources><build><item objectid=\"1\"/></build></model>");
    let wrong = |e: &dyn std::fmt::Display| Error::new(Stage::Export, format!("the 3MF file cannot be packed: {e}"));
    let mut zip = zip::ZipWriter::new(Cursor::new(Vec::new()));
    // the crate's default time is fixed, so the bytes repeat
    let options =
        SimpleFileOptions::default().last_modified_time(zip::DateTime::default()).compression_level(Some(LEVEL));
    for (name, content) in [("[Content_Types].xml", TYPES), ("_rels/.rels", RELATIONS), ("3D/3dmodel.model", &model)] {
        zip.start_file(name, options).map_err(|e| wrong(&e))?;
        zip.write_all(content.as_bytes()).map_err(|e| wrong(&e))?;
    }
    Ok(zip.finish().map_err(|e| wrong(&e))?.into_inner())
}
#[cfg(test)]
mod tests {
    use super::*;
    use nalgebra::Point3;
    /// 3MF core (ISO/IEC 25422:2025): every edge shared by two triangles in opposite order; read back by the zip crate.
    #[test]
    fn closed_only_and_named_as_readers_look() {
        let p = [[0., 0., 0.], [1., 0., 0.], [0., 1., 0.], [0., 0., 1.]].map(Point3::from).to_vec();
        let mut m = TriMesh { points: p, triangles: vec![[0, 2, 1], [0, 1, 3], [1, 2, 3], [0, 3, 2]] };
        assert!((m.volume() - 1.0 / 6.0).abs() < 1e-15);
        let bytes = write_3mf(&m).unwrap();
        assert_eq!(bytes, write_3mf(&m).unwrap());
        let mut z = zip::ZipArchive::new(Cursor::new(bytes)).unwrap();
        let text = std::io::read_to_string(z.by_name("3D/3dmodel.model").unwrap()).unwrap();
        assert!(text.contains("unit=\"millimeter\"") && text.matches("<triangle ").count() == 4);
        m.triangles.pop();
        assert!(write_3mf(&m).is_err());
    }
}
