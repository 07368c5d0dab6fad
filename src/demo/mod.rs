//! A demo board by formula: an unscaled scan, a photo, a board file and a first-draft enclosure, invented for the demo.
//!
//! The scenario: a courier's longboard, upside down on a garage floor, scanned without its trucks.
mod board;
mod photo;
mod scan;

pub use board::PlantedBoard;
pub use photo::{PhotoScene, planted_photo};
pub use scan::{ScanScene, planted_scan};

use crate::error::Result;
use crate::export::{OutputFile, write_ply, write_stl};
use crate::geom::TriMesh;
use nalgebra::Point3;

/// The courier's board.
pub const DEMO: PlantedBoard = PlantedBoard {
    length_mm: 884.0,
    width_mm: 226.0,
    waist_mm: 5.0,
    concave_mm: 9.0,
    camber_mm: 6.0,
    kick_deg: 12.0,
    kick_length_mm: 110.0,
};
/// Readings of a tape on it, rounded to half a mm.
const TAPE_MM: [f64; 2] = [226.0, 884.0];

/// The demo's input files: `scan.ply`, `photo.jpg`, `board.toml`, `draft-enclosure.stl`.
///
/// # Errors
/// A failure to encode the photo.
pub fn demo_files() -> Result<Vec<OutputFile>> {
    let (points, _) = planted_scan(&DEMO, &ScanScene::default());
    let board = format!(
        "# A courier's longboard, upside down on a garage floor. Lengths are text with a unit: mm, cm, m or in.\n\n\
         [scan]\nfile = \"scan.ply\"              # no true scale, floor and stray points in it\n\n\
         [tape]\nwidth = \"{} mm\"              # rail to rail at the widest place\nlength = \"{} mm\"             # nose to tail, straight\n\n\
         [photo]\nfile = \"photo.jpg\"\n\n\
         [deck]\nname = \"courier's longboard\"\nthickness = \"12 mm\"\n\n\
         [enclosure]\nlength = \"250 mm\"             # along the board, centred unless offset is given: a longer box opens more as the deck bends\ninset = \"13 mm\"               # from the rail\nflange = \"18 mm\"              # width of the rim that seats\ngasket = \"8 mm\"               # free thickness of the foam strip: as thick as the bending deck asks\nsqueeze = \"31 %\"              # how much of it the screws press away\n\
         depth = \"34 mm\"              # inside, least clear height from deck to floor; without it no body is made\n\
         draft = \"3 deg\"              # how far the walls lean in\n\
         flange_chamfer = \"4 mm\"      # between flange and wall: less to support in print, and stiffer\n\n\
         [screws]\nsize = \"M4\"\nfit = \"coarse\"              # class of the clearance hole: fine, medium, coarse\npitch = \"110 mm\"             # at most, from screw to screw\ninsert = \"8 mm\"              # threaded inserts in the deck, from below\nslip = \"1 mm\"                # slots at the ends, for a deck that sags\n\n\
         [[part]]\nname = \"pack\"\nlength = \"180 mm\"\nwidth = \"80 mm\"\nheight = \"28 mm\"\nat = [\"0 mm\", \"-26 mm\"]      # along the board, across it; without it the part goes where there is room\nbattery = true\n\n\
         [[part]]\nname = \"controller\"\nlength = \"64 mm\"\nwidth = \"44 mm\"\nheight = \"20 mm\"\ncable = \"20 mm\"             # for plugs and bends of cables at one end\n\n\
         [[opening]]\nname = \"charge port\"\nthrough = \"wall\"            # floor or wall\nat = [\"-110 mm\", \"0 mm\"]   # along the board, across it; in a wall the nearest place is taken\nabove_floor = \"10 mm\"       # from the floor's inside to the middle\ndiameter = \"12 mm\"\n\n\
         [trucks]\nwheelbase = \"660 mm\"\nwheel = \"90 mm\"               # diameter\naxle_height = \"62 mm\"         # from the baseplate to the axle's middle\nriser = \"6 mm\"\n\n\
         [printer]\nbed = \"220 x 220 x 250 mm\"   # width, depth, height: a longer body is cut, joined by a tongue, pins and a strap\nlayers = \"along\"             # no layers across the bending, which pulls them apart\n\n\
         [rider]\nsag = \"9 mm\"                  # standing still, at mid wheelbase\n",
        TAPE_MM[0], TAPE_MM[1]
    );
    Ok(vec![
        OutputFile::new("scan.ply", write_ply(&points, None, &[])),
        OutputFile::new("photo.jpg", planted_photo(&DEMO, &PhotoScene::default())?),
        OutputFile::new("board.toml", board.into_bytes()),
        OutputFile::new("draft-enclosure.stl", write_stl(&draft_enclosure(&DEMO))),
    ])
}

/// Length, width, flange, height and floor of the first draft, mm.
const DRAFT_MM: [f64; 5] = [250.0, 190.0, 18.0, 32.0, 4.0];
/// How far its rim is to stay off the deck where it is nearest, mm: the squeezed gasket.
const DRAFT_GAP_MM: f64 = 5.5;

/// What a beginner draws first: a tray with a flat rim, laid on the deck where it touches.
pub fn draft_enclosure(board: &PlantedBoard) -> TriMesh {
    let [length, width, flange, height, floor] = DRAFT_MM;
    let (a, b) = (length / 2.0, width / 2.0);
    let (c, d) = (a - flange, b - flange);
    // the highest place of the deck under the rim carries it, with the squeezed gasket between
    let mut z: f64 = f64::NEG_INFINITY;
    for i in 0..=200 {
        let t = f64::from(i) / 100.0 - 1.0;
        for (x, y) in [(a * t, b), (a * t, d), (c, d * t), (a, b * t)] {
            z = z.max(board.height(x, y)).max(board.height(-x, y));
        }
    }
    z += DRAFT_GAP_MM;
    let ring = |a: f64, b: f64, z: f64| [[a, b, z], [-a, b, z], [-a, -b, z], [a, -b, z]].map(Point3::from);
    let mut m = TriMesh::default();
    // rim outside and inside, inner floor, outer floor
    for r in [ring(a, b, z), ring(c, d, z), ring(c, d, z + height - floor), ring(a, b, z + height)] {
        m.points.extend(r);
    }
    let mut band = |lo: u32, hi: u32| {
        for i in 0..4 {
            let j = (i + 1) % 4;
            m.triangles.push([lo + i, hi + i, hi + j]);
            m.triangles.push([lo + i, hi + j, lo + j]);
        }
    };
    band(0, 4);
    band(4, 8);
    band(12, 0);
    m.triangles.extend([[8, 10, 9], [8, 11, 10], [12, 13, 14], [12, 14, 15]]);
    m
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn draft_is_watertight() {
        let m = draft_enclosure(&DEMO);
        assert!(m.open_edges().is_empty());
        assert!(m.volume() > 0.0, "{}", m.volume());
    }
}
