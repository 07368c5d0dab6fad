//! The tests through the library and the binary, one program for all, so that their files run side by side and are linked once.
#[path = "../boards/mod.rs"]
mod boards;

mod bolt_holes;
mod colours;
mod command;
mod drawn_scenes;
mod enclosure;
mod formats;
mod hard_photos;
mod keeping_work;
mod malformed;
mod photo_inputs;
mod photos;
mod plain;
mod planted;
mod planted_boards;
mod proof;
mod properties;
mod reference;
mod refused;
mod report;
mod several_scans;
mod structure;
mod surface;
mod tape;
mod textures;
