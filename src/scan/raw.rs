//! What every reader hands over, and the one check that all of it passes.
use super::skin::{Picture, Skin, SkinnedFace, paint};
use super::{RawCloud, ReadLimits, ReadReport, Textures, fail};
use crate::error::{Result, Stage, Warned, Warning};
use nalgebra::{Point3, Vector3};

/// What a format's reader found, not yet checked.
#[derive(Default)]
pub(super) struct Raw {
    pub format: String,
    pub points: Vec<[f64; 3]>,
    pub normals: Vec<[f64; 3]>,
    pub colors: Vec<[u8; 3]>,
    pub triangles: Vec<[u32; 3]>,
    /// Those of the triangles that are textured; their skins, and the pictures of these.
    pub skinned: Vec<SkinnedFace>,
    pub skins: Vec<Skin>,
    pub pictures: Vec<Picture>,
    /// Places of the points in the one picture of a PLY, as [`SkinnedFace::at`].
    pub in_picture: Vec<[f32; 2]>,
    pub unit_mm: Option<f64>,
    /// Doubts of the reader.
    pub warnings: Vec<Warning>,
    /// Bytes of memory that the reader takes beside these lists.
    pub beside_bytes: u64,
    limits: ReadLimits,
}

/// Numbers of items that a reader is about to add.
#[derive(Clone, Copy, Default)]
pub(super) struct More {
    pub points: u64,
    pub normals: u64,
    pub colors: u64,
    pub triangles: u64,
    pub skinned: u64,
}
impl More {
    /// What they take in memory, bytes.
    fn bytes(self) -> u64 {
        let of = |n: u64, size: usize| n.saturating_mul(size as u64);
        let three = size_of::<[f64; 3]>();
        of(self.points, three)
            .saturating_add(of(self.normals, three))
            .saturating_add(of(self.colors, size_of::<[u8; 3]>()))
            .saturating_add(of(self.triangles, size_of::<[u32; 3]>()))
            .saturating_add(of(self.skinned, size_of::<SkinnedFace>()))
    }
}
/// An index as it is kept; one that is too large becomes one that no file has, and is refused with those out of range.
pub(super) fn kept(i: u64) -> u32 {
    u32::try_from(i).unwrap_or(u32::MAX)
}

/// Reads the three numbers that a text gives a point; what is no number is `None`. "nan" and "inf" are numbers here: the
/// point is left out later, and counted.
pub(super) fn three<'a>(mut words: impl Iterator<Item = &'a str>) -> Option<[f64; 3]> {
    let mut next = || words.next()?.parse().ok();
    Some([next()?, next()?, next()?])
}

impl Raw {
    pub fn named(format: impl Into<String>, limits: &ReadLimits) -> Self {
        Self { format: format.into(), limits: *limits, ..Self::default() }
    }
    /// Adds a triangle.
    pub fn triangle(&mut self, corners: [u64; 3]) {
        self.triangles.push(corners.map(kept));
    }
    /// Adds a polygon as a fan of triangles.
    pub fn fan(&mut self, polygon: &[u64]) {
        for w in polygon.windows(2).skip(1) {
            self.triangle([polygon[0], w[0], w[1]]);
        }
    }
    /// Refuses what would take more memory than allowed, before it is taken.
    pub fn allow(&self, more: More) -> Result<()> {
        let now = More {
            points: self.points.len() as u64,
            normals: self.normals.len() as u64,
            colors: self.colors.len() as u64,
            triangles: self.triangles.len() as u64,
            skinned: self.skinned.len() as u64,
        };
        let bytes = now.bytes().saturating_add(more.bytes()).saturating_add(self.beside_bytes);
        if bytes <= self.limits.memory_bytes {
            return Ok(());
        }
        let (points, faces) = (now.points.saturating_add(more.points), now.triangles.saturating_add(more.triangles));
        Err(fail(format!(
            "the scan takes more than {} MB of memory, the limit: its first {points} points and {faces} faces would need {} MB",
            self.limits.memory_bytes / 1_000_000,
            bytes / 1_000_000
        ))
        .hint("thin the scan; on a computer with more than 8 GB raise limits.memory in the board file"))
    }
    /// Makes room for what a reader knows beforehand, where that is allowed and there is memory.
    pub fn make_room(&mut self, more: More) -> Result<()> {
        self.allow(more)?;
        let size = |n: u64| usize::try_from(n).unwrap_or(usize::MAX);
        let made = (self.points.try_reserve_exact(size(more.points)))
            .and_then(|()| self.normals.try_reserve_exact(size(more.normals)))
            .and_then(|()| self.colors.try_reserve_exact(size(more.colors)))
            .and_then(|()| self.triangles.try_reserve_exact(size(more.triangles)));
        made.map_err(|_| {
            fail(format!("there is no memory for the scan's {} points and {} faces", more.points, more.triangles))
                .hint("close other programs, or thin the scan")
        })
    }
    pub fn warn(&mut self, message: impl Into<String>, hint: &str) {
        self.warnings.push(Warning::new(Stage::Scan, message, hint));
    }
    /// Leaves out what is not finite and what leans on it; refuses indices out of range and files without a point. What is left takes
    /// the colours of its textures.
    pub fn checked(self, limits: &ReadLimits, textures: Textures) -> Result<Warned<RawCloud>> {
        let n = self.points.len();
        limits.allow_points(n as u64)?;
        if let Some(t) = self.triangles.iter().find(|t| t.iter().any(|&i| i as usize >= n)) {
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
            triangles: Vec::new(),
            normals: normals.filter(|v| v.iter().all(|v| v.iter().all(|c| c.is_finite()))),
            colors: paired(self.colors.len()).then(|| keep(self.colors, &good, |c| c)),
            points: keep(self.points, &good, Point3::from),
            texels: Vec::new(),
            report: ReadReport::default(),
        };
        let mut warnings = self.warnings;
        let far = if self.triangles.is_empty() { 0.0 } else { STRAY * width(&cloud.points) };
        let triangles = renumbered(self.triangles, |t| t, &good);
        let triangles = sound(triangles, &cloud.points, far, &mut warnings);
        let mut skinned = renumbered(self.skinned, |f| &mut f.corners, &good);
        skinned.retain(|f| Facet::of(&f.corners, &cloud.points, far) == Facet::Sound);
        let mut cloud = RawCloud { triangles, ..cloud };
        paint(&mut cloud, skinned, &self.skins, &self.pictures, textures, limits, &mut warnings);
        let report = ReadReport {
            format: self.format,
            points: kept,
            dropped_non_finite: dropped,
            triangles: cloud.triangles.len(),
            colors: cloud.is_coloured(),
            stated_unit_mm: self.unit_mm,
        };
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
/// Triangles of kept points only, by their new numbers. Indices are in range: that was checked.
fn renumbered<T>(mut faces: Vec<T>, corners: impl Fn(&mut T) -> &mut [u32; 3], good: &[bool]) -> Vec<T> {
    if faces.is_empty() || good.iter().all(|&g| g) {
        return faces;
    }
    let mut next = 0;
    let number: Vec<u32> = good
        .iter()
        .map(|&g| {
            next += u32::from(g);
            next.wrapping_sub(1)
        })
        .collect();
    faces.retain_mut(|f| corners(f).iter().all(|&i| good[i as usize]));
    faces.iter_mut().flat_map(corners).for_each(|i| *i = number[*i as usize]);
    faces
}

/// A triangle is flat to a line when its height is less than this share of its longest side: far below what is left of a thin one
/// by single-precision coordinates, and above the rounding of this test.
const NO_HEIGHT: f64 = 1e-12;
/// Share of triangles without an area from which it is told: a few are in most meshes, one in a hundred is a fault of the export.
const TOLD: f64 = 0.01;
/// A side longer than so many times the middle nine tenths of the points are wide is no part of what was scanned: a board is some
/// four times as long as wide, and the floor and things about it were scanned with it.
const STRAY: f64 = 10.0;
/// Points looked at for that width: enough for a twentieth at each end.
const LOOKED_AT: usize = 10_000;

/// What a triangle is.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Facet {
    Sound,
    /// Without an area.
    Flat,
    /// It reaches far beyond all others.
    Stray,
}
impl Facet {
    /// Of the corners `t`; `far` is how far none reaches, where that is known.
    fn of(t: &[u32; 3], points: &[Point3<f64>], far: f64) -> Self {
        let [a, b, c] = t.map(|i| points[i as usize]);
        let sides = [b - a, c - b, a - c];
        let longest = sides.iter().map(Vector3::norm_squared).fold(0.0, f64::max);
        if !(sides[0].cross(&sides[1]).norm() > NO_HEIGHT * longest) {
            Self::Flat
        } else if far > 0.0 && !(longest <= far * far) {
            Self::Stray
        } else {
            Self::Sound
        }
    }
}
/// The triangles that are part of a surface: without those that have no area, and those that reach far beyond all others.
fn sound(mut triangles: Vec<[u32; 3]>, points: &[Point3<f64>], far: f64, warnings: &mut Vec<Warning>) -> Vec<[u32; 3]> {
    let all = triangles.len();
    let (mut flat, mut stray) = (0usize, 0usize);
    triangles.retain(|t| {
        let facet = Facet::of(t, points, far);
        flat += usize::from(facet == Facet::Flat);
        stray += usize::from(facet == Facet::Stray);
        facet == Facet::Sound
    });
    if flat as f64 > TOLD * all as f64 {
        warnings.push(Warning::new(
            Stage::Scan,
            format!("{flat} of {all} faces have no area and were left out"),
            "export the scan again if parts of the board are missing",
        ));
    }
    if stray > 0 {
        warnings.push(Warning::new(
            Stage::Scan,
            format!(
                "{stray} of {all} faces reach more than {STRAY} times as far as the scan is wide and were left out"
            ),
            "look at the scan in a viewer, and take far strays out of it",
        ));
    }
    triangles
}
/// The longest side of the box round the points but for a twentieth at either end, of each axis.
fn width(points: &[Point3<f64>]) -> f64 {
    let step = points.len().div_ceil(LOOKED_AT).max(1);
    (0..3)
        .map(|k| {
            let mut on: Vec<f64> = points.iter().step_by(step).map(|p| p[k]).collect();
            on.sort_unstable_by(f64::total_cmp);
            let at = |share: usize| on.get(on.len() * share / 20).or(on.last()).copied().unwrap_or(0.0);
            at(19) - at(1)
        })
        .fold(0.0, f64::max)
}
