//! Geometric tolerances in mm. Numeric tolerances stay local to `num`; measurement tolerances are estimated and reported.

/// Greatest distance in mm between an edge and each of its faces, and the uncertainty that STEP files declare.
pub const EDGE_MM: f64 = 0.01;
/// Greatest distance in mm between a refitted offset surface and the true normal offset.
pub const OFFSET_MM: f64 = 0.01;
/// The same where the surface's own knots do not let it come nearer, in mm; then it is told. A deck's thickness and a gasket's squeeze are
/// known to less.
pub const OFFSET_MOST_MM: f64 = 0.1;
/// Chord height in mm of tessellations: well below what a printer or a paper template shows.
pub const CHORD_MM: f64 = 0.02;
/// Greatest change in mm when knots are taken out of the fair surface: well below any scan's noise and a printer's layer.
pub const THIN_MM: f64 = 0.02;
