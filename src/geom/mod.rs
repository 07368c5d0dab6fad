//! Poses, planes, polygons, triangle meshes and boundary representations; knows no boards and no files.
mod brep;
mod mesh;
mod polygon;
mod similarity;
pub use brep::{Brep, Edge, EdgeUse, Face, Surface3};
pub use mesh::TriMesh;
pub use polygon::Polygon;
pub use similarity::{Similarity, umeyama};
