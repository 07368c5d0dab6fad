//! Boards by formula, disturbed as scans and photos are, and the reconstruction scored against the formula.
//!
//! Nothing here is shared with the library: shapes, camera, random numbers and scoring are its own; the library is only run.
//! Frame: mm; x along the board towards the nose, y to its left seen from the underside, z out of the underside.
#![allow(dead_code, unused_imports, reason = "each target that includes this folder uses a part of it")]
mod camera;
mod case;
mod cloud;
mod depth;
mod drawn;
mod files;
mod limits;
mod list;
mod noise;
mod photo;
mod photo_file;
mod plan;
mod rng;
mod scene;
mod score;
mod shape;
mod solid;
mod verdict;

pub use case::{Case, Given, Kind, Made};
pub use drawn::drawn;
pub use limits::{limits, misses};
pub use list::{cases, find};
pub use photo::{Ground, Holes, PHOTO, Paint, PhotoSpec, Tags, silhouette, take_photo};
pub use plan::Plan;
pub use rng::Rng;
pub use scene::{Mounted, Scene, Support, World};
pub use score::{Score, score};
pub use verdict::Verdict;
