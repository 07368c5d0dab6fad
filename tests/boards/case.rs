//! A planted board with its scene, its scan and its photo, made and run.
use super::cloud::{CloudScan, Damage, scan_cloud};
use super::depth::{DepthScan, scan_depth};
use super::files::Mesh;
use super::photo::{PhotoSpec, take_photo};
use super::rng::Rng;
use super::scene::{Scene, World};
use super::score::{Score, score};
use super::shape::Shape;
use faydeck::geom::Similarity;
use faydeck::{Board, reconstruct};
use nalgebra::Vector3;

/// Kind of scan.
#[derive(Clone, Copy, Debug)]
pub enum Kind {
    Cloud(CloudScan),
    Depth(DepthScan),
}
/// A board, its scene and its scan.
#[derive(Clone, Copy, Debug)]
pub struct Case {
    pub name: &'static str,
    /// What is special about it.
    pub about: &'static str,
    pub shape: Shape,
    pub scene: Scene,
    pub kind: Kind,
    pub damage: Damage,
    /// STL in place of PLY.
    pub stl: bool,
    pub photo: PhotoSpec,
    /// What is mounted or lies on the board for the photo, where that is not as in the scan.
    pub photo_scene: Option<Scene>,
    pub seed: u64,
}
/// A case made: files and truth.
pub struct Made {
    pub world: World,
    /// The scan in mm in the board's frame, before it is turned and scaled.
    pub mesh: Mesh,
    pub scan: Vec<u8>,
    /// Scan units to mm in the board's frame.
    pub to_truth: Similarity,
    /// The photo, once it is taken.
    pub photo: Option<Vec<u8>>,
    /// Width and length as a builder reads them, to half a mm.
    pub tape_mm: [f64; 2],
}
/// What the builder gives beside the scan.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Given {
    pub length: bool,
    pub photo: bool,
}
impl Given {
    pub const WIDTH: Self = Self { length: false, photo: false };
    pub const BOTH: Self = Self { length: true, photo: false };
    pub const PHOTO: Self = Self { length: false, photo: true };
    pub const ALL: Self = Self { length: true, photo: true };
    pub fn label(self) -> &'static str {
        match (self.length, self.photo) {
            (false, false) => "W",
            (true, false) => "W+L",
            (false, true) => "W+P",
            (true, true) => "W+L+P",
        }
    }
}
impl Case {
    pub fn make(&self) -> Made {
        let rng = Rng::new(self.seed);
        let world = World::new(&self.shape, &self.scene, &mut rng.fork(10));
        let mesh = match &self.kind {
            Kind::Cloud(c) => scan_cloud(&world, c, &self.damage, &rng.fork(11)),
            Kind::Depth(d) => scan_depth(&world, d, &self.damage, &rng.fork(12)),
        };
        let mut r = rng.fork(13);
        // any unit: from metres to tenths of a mm; any pose within some board lengths of the origin
        let scale = 10f64.powf(r.between(-3.0, 1.0));
        let shift = Vector3::from_fn(|_, _| r.between(-2000.0, 2000.0)) * scale;
        let to_scan = Similarity { rotation: *r.rotation().matrix(), scale, translation: shift };
        let mut placed = mesh.clone();
        placed.points.iter_mut().for_each(|p| *p = to_scan.apply(p));
        placed.normals.iter_mut().flatten().for_each(|n| *n = to_scan.rotation * *n);
        let scan = if self.stl { placed.to_stl() } else { placed.to_ply() };
        let read = |mm: f64| (2.0 * mm).round() / 2.0;
        let tape_mm = [read(self.shape.width_mm), read(self.shape.length_mm)];
        Made { world, mesh, scan, to_truth: to_scan.inverse(), photo: None, tape_mm }
    }
    /// Takes the photo.
    pub fn shoot(&self, made: &mut Made) {
        let scene = self.photo_scene.unwrap_or(self.scene);
        // the same stream as for the scan: the same floor and things lie there
        let world = World::new(&self.shape, &scene, &mut Rng::new(self.seed).fork(10));
        made.photo = Some(take_photo(&world, &self.photo).0);
    }
    pub fn scan_name(&self) -> &'static str {
        if self.stl { "scan.stl" } else { "scan.ply" }
    }
    /// The text of the board file.
    pub fn board_toml(&self, made: &Made, given: Given) -> String {
        let [w, l] = made.tape_mm;
        let length = if given.length { format!("length = \"{l} mm\"\n") } else { String::new() };
        let photo = if given.photo { "[photo]\nfile = \"photo.jpg\"\n" } else { "" };
        format!(
            "[scan]\nfile = \"{}\"\n[tape]\nwidth = \"{w} mm\"\n{length}{photo}[deck]\nname = \"{}\"\nthickness = \"{} mm\"\n",
            self.scan_name(),
            self.name,
            self.shape.thickness_mm
        )
    }
    /// Reconstructs and scores.
    pub fn run(&self, made: &Made, given: Given) -> Result<Score, String> {
        let board = Board::parse(&self.board_toml(made, given)).map_err(|e| e.message().to_owned())?;
        let photo = made.photo.as_deref().filter(|_| given.photo);
        let rec = reconstruct(&board, &made.scan, photo, &mut ()).map_err(|e| e.message().to_owned())?;
        Ok(score(&made.world, &made.to_truth, &rec.value, &rec.warnings))
    }
}
