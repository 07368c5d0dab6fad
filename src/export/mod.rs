//! Writers: finished stage outputs to bytes.
mod ply;
mod stl;
pub use ply::write_ply;
pub use stl::write_stl;
