//! faydeck (foundation)
mod deck;
mod error;
pub mod export;
mod frame;
pub mod geom;
pub mod num;
mod outline;
mod scan;
mod surface;
pub mod tolerance;
pub use deck::{Deck, make_deck};
pub use error::{Error, Result, Stage, Warned, Warning};
pub use frame::{FrameReport, Framed, Scale, Tape, frame_deck};
pub use outline::{Outline, OutlineReport, OutlineSource, find_outline};
pub use scan::{RawCloud, ReadReport, read_mesh, read_scan};
pub use surface::{StationReport, SurfaceOptions, SurfaceReport, Underside, fit_underside};
