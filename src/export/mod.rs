//! Writers: finished stage outputs to bytes.
mod files;
mod gap_files;
mod ply;
mod step;
mod stl;
mod svg;
mod threemf;
mod unrolled;
pub use files::{OutputFile, build_files};
pub use gap_files::{gap_csv, gap_ply, gap_png};
pub use ply::write_ply;
pub use step::write_step;
pub use stl::write_stl;
pub use svg::{outline_svg, sections_svg};
pub use threemf::write_3mf;
pub use unrolled::{unrolled_csv, unrolled_svg};
