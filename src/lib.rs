//! faydeck (foundation)
mod error;
pub mod export;
mod frame;
pub mod geom;
pub mod num;
mod outline;
mod scan;
mod surface;
pub mod tolerance;
pub use error::{Error, Result, Stage, Warned, Warning};
pub use frame::{FrameReport, Framed, Scale, Tape, frame_deck};
pub use outline::{Outline, OutlineReport, OutlineSource};
pub use scan::{RawCloud, ReadReport, read_mesh, read_scan};
pub use surface::{StationReport, SurfaceOptions, SurfaceReport, Underside, fit_underside};
