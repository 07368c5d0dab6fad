//! What every reader hands over, and the one check that all of it passes.
use super::{RawCloud, ReadLimits, ReadReport, fail};
use crate::error::{Result, Stage, Warned, Warning};
use nalgebra::{Point3, Vector3};

/// What a format's reader found, not yet checked.
#[derive(Default)]
pub(super) struct Raw {
    pub format: String,
    pub points: Vec<[f64; 3]>,
    pub normals: Vec<[f64; 3]>,
    pub colors: Vec<[u8; 3]>,
    pub triangles: Vec<[u64; 3]>,
    pub unit_mm: Option<f64>,
    /// Doubts of the reader.
    pub warnings: Vec<Warning>,
}

/// Reads the three numbers that a text gives a point; what is no number is `None`. "nan" and "inf" are numbers here: the
/// point is left out later, and counted.
pub(super) fn three<'a>(mut words: impl Iterator<Item = &'a str>) -> Option<[f64; 3]> {
    let mut next = || words.next()?.parse().ok();
    Some([next()?, next()?, next()?])
}

impl Raw {
    pub fn named(format: impl Into<String>) -> Self {
        Self { format: format.into(), ..Self::default() }
    }
    /// Adds a polygon as a fan of triangles.
    pub fn fan(&mut self, polygon: &[u64]) {
        for w in polygon.windows(2).skip(1) {
            self.triangles.push([polygon[0], w[0], w[1]]);
        }
    }
    pub fn warn(&mut self, message: impl Into<String>, hint: &str) {
        self.warnings.push(Warning::new(Stage::Scan, message, hint));
    }
    /// Leaves out what is not finite and what leans on it; refuses indices out of range and files without a point.
    pub fn checked(self, limits: &ReadLimits) -> Result<Warned<RawCloud>> {
        let n = self.points.len();
        limits.allow_points(n as u64)?;
        if let Some(t) = self.triangles.iter().find(|t| t.iter().any(|&i| i >= n as u64)) {
            return Err(fail(format!(
                "a face names the points {t:?}, but the file has only {n} points (numbered from 0)"
            ))
            .hint("export the scan again"));
        }
        let good: Vec<bool> = self.points.iter().map(|p| p.iter().all(|c| c.is_finite())).collect();
        let kept = good.iter().filter(|&&g| g).count();
        let dropped = n - kept;
        if kept == 0 {
            return Err(fail(format!("no usable point: {n} points in the file, {dropped} of them not finite"))
                .hint("open the scan in a viewer to see whether it holds anything, and export it again"));
        }
        // one per point, or of no use
        let paired = |m: usize| m == n;
        let normals = paired(self.normals.len()).then(|| keep(self.normals, &good, Vector3::from));
        let cloud = RawCloud {
            triangles: renumbered(self.triangles, &good),
            normals: normals.filter(|v| v.iter().all(|v| v.iter().all(|c| c.is_finite()))),
            colors: paired(self.colors.len()).then(|| keep(self.colors, &good, |c| c)),
            points: keep(self.points, &good, Point3::from),
            report: ReadReport::default(),
        };
        let report = ReadReport {
            format: self.format,
            points: kept,
            dropped_non_finite: dropped,
            triangles: cloud.triangles.len(),
            colors: cloud.colors.is_some(),
            stated_unit_mm: self.unit_mm,
        };
        let mut warnings = self.warnings;
        if dropped > 0 {
            warnings.push(Warning::new(
                Stage::Scan,
                format!("{dropped} of {n} points were not finite numbers and were left out"),
                "export the scan again if parts of the board are missing",
            ));
        }
        Ok(Warned::with(RawCloud { report, ..cloud }, warnings))
    }
}

/// The items whose flag is set; where all are, the memory is used again.
fn keep<A, B>(all: Vec<A>, good: &[bool], to: impl Fn(A) -> B) -> Vec<B> {
    if good.iter().all(|&g| g) {
        all.into_iter().map(to).collect()
    } else {
        all.into_iter().zip(good).filter(|(_, g)| **g).map(|(a, _)| to(a)).collect()
    }
}
/// Triangles of kept points only, by their new numbers. Indices are in range and fit 32 bits: both were checked.
fn renumbered(triangles: Vec<[u64; 3]>, good: &[bool]) -> Vec<[u32; 3]> {
    if triangles.is_empty() {
        return Vec::new();
    }
    let mut next = 0;
    let number: Vec<u32> = good
        .iter()
        .map(|&g| {
            next += u32::from(g);
            next.wrapping_sub(1)
        })
        .collect();
    triangles
        .into_iter()
        .filter(|t| t.iter().all(|&i| good[i as usize]))
        .map(|t| t.map(|i| number[i as usize]))
        .collect()
}
