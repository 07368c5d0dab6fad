//! The files of a build.
use super::{
    Hole, OutputOptions, default_stations, paper_files, sections_svg, wireframe, write_3mf, write_ply, write_step,
    write_step_curves, write_stl,
};
use crate::deck::Deck;
use crate::error::{Error, Result, Stage};
use crate::geom::{Brep, TriMesh, trim};
use crate::mating::MatingFace;
use crate::num::each;

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
    sound(brep)?;
    Ok(write_step(brep))
}
/// Refuses a shape that is not sound.
pub(super) fn sound(brep: &Brep) -> Result<()> {
    brep.faults().first().map_or(Ok(()), |f| {
        Err(Error::new(Stage::Export, format!("the shape '{}' is not sound: {f}", brep.name))
            .hint("the outline or the footprint is too ragged; check outline.svg of a build without [enclosure]"))
    })
}

/// The mating face's mesh with chords within `chord` mm.
fn flange(m: &MatingFace, chord: f64) -> Result<TriMesh> {
    let loops = [&m.footprint.outer, &m.footprint.inner].map(|l| trim::border(l, &[&m.face], chord / 2.0));
    trim::tessellate(&m.face, &loops, chord)
        .ok_or_else(|| Error::new(Stage::Export, "the footprint's borders cross").hint("make enclosure.flange smaller"))
}

/// Makes some files.
type Work<'a> = dyn Fn() -> Result<Vec<OutputFile>> + Sync + 'a;

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
    let outline = deck.outline_polygon();
    let (lo, hi) = outline.bounds();
    let sections: Vec<(f64, Vec<[f64; 2]>)> = (0..SECTIONS)
        .map(|i| lo[0] + (hi[0] - lo[0]) * (i as f64 + 0.5) / SECTIONS as f64)
        .map(|x| (x, deck.section(x, SAMPLES)))
        .collect();
    let stations = options.stations_mm.clone().unwrap_or_else(|| default_stations(deck, mating));
    let cuts: Vec<f64> = sections.iter().map(|s| s.0).chain(stations.iter().copied()).collect();
    let chord = options.chord_mm;
    let mesh = || -> Result<Vec<OutputFile>> {
        let solid = deck.mesh_within(chord)?;
        Ok(vec![
            OutputFile::new("deck.stl", write_stl(&solid)),
            OutputFile::new("deck.ply", write_ply(&solid.points, None, &solid.triangles)),
            OutputFile::new("deck.3mf", write_3mf(&solid)?),
        ])
    };
    let mating_files = |m: &MatingFace| -> Result<Vec<OutputFile>> {
        Ok(vec![
            OutputFile::new("mating-face.step", step(&m.flange_face())?),
            OutputFile::new("mating-face.stl", write_stl(&flange(m, chord)?)),
            OutputFile::new("mating-tool.step", step(&m.tool())?),
        ])
    };
    let one = |name: &str, bytes: Vec<u8>| -> Result<Vec<OutputFile>> { Ok(vec![OutputFile::new(name, bytes)]) };
    // in their order; none needs another
    let works: [&Work; 8] = [
        &|| one("underside.step", step(&deck.underside_face())?),
        &|| one("underside.stl", write_stl(&deck.underside_mesh_within(chord)?)),
        &|| one("deck.step", step(deck.solid())?),
        &mesh,
        &|| one("sections.svg", sections_svg(title, &sections)),
        &|| one("sections.step", write_step_curves("sections", &wireframe(deck, mating, &cuts))),
        &|| Ok(paper_files(title, deck, mating, holes, &stations, options.paper)),
        &|| mating.map_or_else(|| Ok(Vec::new()), mating_files),
    ];
    Ok(each(works.len(), |i| works[i]()).into_iter().collect::<Result<Vec<_>>>()?.concat())
}
