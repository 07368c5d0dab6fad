//! The files of a build.
use super::{
    Hole, OutputOptions, default_stations, paper_files, sections_svg, wireframe, write_3mf, write_ply, write_step,
    write_step_curves, write_stl,
};
use crate::deck::Deck;
use crate::error::{Error, Result, Stage};
use crate::geom::{Brep, TriMesh, trim};
use crate::mating::MatingFace;

/// A file to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputFile {
    /// Its name, without folder.
    pub name: String,
    /// Its content.
    pub bytes: Vec<u8>,
}
impl OutputFile {
    /// A file.
    pub fn new(name: &str, bytes: Vec<u8>) -> Self {
        Self { name: name.into(), bytes }
    }
}

/// Sections drawn, and samples along each: finer than a pen line.
const SECTIONS: usize = 9;
const SAMPLES: usize = 200;

pub(super) fn step(brep: &Brep) -> Result<Vec<u8>> {
    match brep.faults().first() {
        Some(f) => Err(Error::new(Stage::Export, format!("the shape '{}' is not sound: {f}", brep.name))
            .hint("the outline or the footprint is too ragged; check outline.svg of a build without [enclosure]")),
        None => Ok(write_step(brep)),
    }
}

/// The mating face's mesh with chords within `chord` mm.
fn flange(m: &MatingFace, chord: f64) -> Result<TriMesh> {
    let loops = [&m.footprint.outer, &m.footprint.inner].map(|l| trim::border(l, &[&m.face], chord / 2.0));
    trim::tessellate(&m.face, &loops, chord)
        .ok_or_else(|| Error::new(Stage::Export, "the footprint's borders cross").hint("make enclosure.flange smaller"))
}

/// Every file of a build but the report's.
///
/// # Errors
/// A shape that is not sound.
pub fn build_files(
    title: &str,
    deck: &Deck,
    mating: Option<&MatingFace>,
    holes: &[Hole],
    options: &OutputOptions,
) -> Result<Vec<OutputFile>> {
    let solid = deck.mesh_within(options.chord_mm)?;
    let outline = deck.outline_polygon();
    let (lo, hi) = outline.bounds();
    let sections: Vec<(f64, Vec<[f64; 2]>)> = (0..SECTIONS)
        .map(|i| lo[0] + (hi[0] - lo[0]) * (i as f64 + 0.5) / SECTIONS as f64)
        .map(|x| (x, deck.section(x, SAMPLES)))
        .collect();
    let mut files = vec![
        OutputFile::new("underside.step", step(&deck.underside_face())?),
        OutputFile::new("underside.stl", write_stl(&deck.underside_mesh_within(options.chord_mm)?)),
        OutputFile::new("deck.step", step(deck.solid())?),
        OutputFile::new("deck.stl", write_stl(&solid)),
        OutputFile::new("deck.ply", write_ply(&solid.points, None, &solid.triangles)),
        OutputFile::new("deck.3mf", write_3mf(&solid)?),
        OutputFile::new("sections.svg", sections_svg(title, &sections)),
    ];
    let stations = options.stations_mm.clone().unwrap_or_else(|| default_stations(deck, mating));
    let curves =
        wireframe(deck, mating, &sections.iter().map(|s| s.0).chain(stations.iter().copied()).collect::<Vec<_>>());
    files.push(OutputFile::new("sections.step", write_step_curves("sections", &curves)));
    files.extend(paper_files(title, deck, mating, holes, &stations, options.paper));
    if let Some(m) = mating {
        files.push(OutputFile::new("mating-face.step", step(&m.flange_face())?));
        files.push(OutputFile::new("mating-face.stl", write_stl(&flange(m, options.chord_mm)?)));
        files.push(OutputFile::new("mating-tool.step", step(&m.tool())?));
    }
    Ok(files)
}
