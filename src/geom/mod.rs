//! Poses, planes, polygons, triangle meshes and boundary representations; knows no boards and no files.
mod brep;
mod fair;
mod mesh;
mod offset;
mod polygon;
mod similarity;
mod triangulate;
pub mod trim;
pub use brep::{Brep, Edge, EdgeUse, Face, Surface3};
pub use fair::{closed_curve, closed_fit, periodic_cubic};
pub use mesh::TriMesh;
pub use offset::{OffsetFault, offset_height};
pub use polygon::{Polygon, bounds, outward_normals};
pub use similarity::{Similarity, umeyama};
