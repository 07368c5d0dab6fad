//! Writers: finished stage outputs to bytes.
mod assembly_files;
mod build_sheet;
mod enclosure_files;
mod files;
mod fit_check_files;
mod gap_files;
mod gap_picture;
mod options;
mod paper;
mod ply;
mod room_drawing;
mod step;
mod stl;
mod svg;
mod threemf;
pub use assembly_files::assembly_file;
pub use build_sheet::BuildSheet;
pub use enclosure_files::{drill_csv, enclosure_files};
pub use room_drawing::room_svg;
mod unrolled;
mod wireframe;
mod words;
pub use files::{OutputFile, build_files};
pub use fit_check_files::fit_check_files;
pub use gap_files::{gap_csv, gap_ply};
pub use gap_picture::gap_png;
pub use options::{OutputOptions, chosen};
pub use paper::{
    Drawing, Hole, Label, Laid, Paper, Pen, Stroke, default_stations, drawings_pdf, drawings_svg, footprint_template,
    outline_template, paper_files, rib_template, rocker_template,
};
pub use ply::{write_coloured_ply, write_ply};
pub use step::{Product, write_step, write_step_assembly, write_step_curves};
pub use stl::write_stl;
pub use svg::sections_svg;
pub use threemf::write_3mf;
pub use unrolled::{unrolled_csv, unrolled_svg};
pub use wireframe::{NamedCurve, wireframe};
pub(crate) use words::xml;
