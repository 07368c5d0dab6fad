//! faydeck fairs the underside of a board deck out of a rough phone scan, true to size, and makes a mating face that a
//! printed enclosure can sit on without a gap.
mod error;
mod frame;
pub mod geom;
pub mod num;
mod outline;
mod scan;
mod surface;
pub mod tolerance;
pub use error::{Error, Result, Stage, Warned, Warning};
pub use frame::{FrameReport, Framed, Scale, Tape};
pub use outline::{Outline, OutlineReport, OutlineSource};
pub use scan::{RawCloud, ReadReport};
pub use surface::{StationReport, SurfaceReport, Underside};
