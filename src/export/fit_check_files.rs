//! The fit check's files, as they lie on the printer's bed.
use super::{OutputFile, write_3mf, write_stl};
use crate::error::Result;
use crate::fit_check::FitPiece;

/// Each piece as 3MF and STL.
///
/// # Errors
/// A mesh that is not closed.
pub fn fit_check_files(pieces: &[FitPiece]) -> Result<Vec<OutputFile>> {
    let mut files = Vec::new();
    for p in pieces {
        let name = &p.figures.name;
        files.push(OutputFile::new(&format!("{name}.3mf"), write_3mf(&p.mesh)?));
        files.push(OutputFile::new(&format!("{name}.stl"), write_stl(&p.mesh)));
    }
    Ok(files)
}
