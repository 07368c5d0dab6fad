//! The width at the widest place, as a row of the joint solve.
//!
//! Where a board's sides are parallel many places are the widest within what a tape tells apart, and a solve that narrows one has
//! another at once: steps then creep from one to the other. The widest of all is softened to the logarithm of a sum of
//! exponentials, which is smooth, over the tape's standard uncertainty; by how much that is more than the widest changes little
//! and is held during a solve.
//!
//! # References
//! S. Boyd and L. Vandenberghe, *Convex optimization*, 2004, 3.1.5 and 4.5 (from memory): the function, its derivatives and that it
//! is convex.
use super::joint::SCALE;
use super::readings::Rail;
use super::rim::CONTROLS;
use crate::frame::{Row, tape_sd_mm};
use crate::geom::{Across, lines_across};
use nalgebra::DMatrix;

/// The rail's softened width.
pub(super) struct Widest {
    /// At the widest place, true mm.
    mm: f64,
    /// By how much the softened width is more, mm.
    pub over_mm: f64,
    /// Lines across the rail, and what each counts: 1 in all.
    lines: Vec<(Across, f64)>,
}
impl Widest {
    pub fn of(rail: &Rail) -> Self {
        let lines = lines_across(&rail.polygon);
        let told = tape_sd_mm(rail.joint.tape);
        let mm = rail.s * lines.iter().map(Across::length).fold(0.0, f64::max);
        let share = |l: &Across| ((rail.s * l.length() - mm) / told).exp();
        let sum: f64 = lines.iter().map(share).sum();
        // what is nothing beside 1 costs time only
        let lines = lines.into_iter().map(|l| (l, share(&l) / sum)).filter(|l| l.1 > f64::EPSILON).collect();
        Self { mm, over_mm: told * sum.ln(), lines }
    }
    /// The true width at the widest place as a row of the solve, read to `told_mm`.
    pub fn row(&self, rail: &Rail, name: &str, reading_mm: f64, told_mm: f64) -> Row {
        let mut j = [0.0; CONTROLS];
        let mut grows = 0.0;
        for (line, share) in &self.lines {
            grows += share * rail.s * line.length();
            rail.grows(line).for_each(|(k, g)| j[k] += share * g);
        }
        let j = [(SCALE, grows)].into_iter().chain(j.into_iter().enumerate().filter(|g| g.1 != 0.0)).collect();
        let row = rail.row(name, reading_mm, self.mm + self.over_mm - rail.joint.over_mm, j);
        Row { sd_mm: told_mm.hypot(rail.joint.asymmetry_mm), ..row }
    }
    /// How the softened width's derivatives with the offsets change with them (lower half): the scatter of the lines' own
    /// derivatives over what is told apart.
    pub fn bends(&self, rail: &Rail) -> DMatrix<f64> {
        let told = tape_sd_mm(rail.joint.tape);
        let mut out = DMatrix::zeros(CONTROLS, CONTROLS);
        let mut mean = [0.0; CONTROLS];
        for (line, share) in &self.lines {
            let own: Vec<(usize, f64)> = rail.grows(line).collect();
            for &(p, u) in &own {
                mean[p] += share * u;
                own.iter().filter(|(q, _)| *q <= p).for_each(|(q, v)| out[(p, *q)] += share * u * v / told);
            }
        }
        for (p, u) in mean.iter().enumerate() {
            (0..=p).for_each(|q| out[(p, q)] -= u * mean[q] / told);
        }
        out
    }
}
