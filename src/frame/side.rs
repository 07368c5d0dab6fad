//! Which side of a board's face looks out of the underside, where no floor tells.
use super::explain::Seen;
use super::patch::Patch;
use nalgebra::Point3;

/// Sectors round the board that each have their say.
const SECTORS: usize = 72;
/// The band of a sector next to the rim, as shares of its greatest distance from the middle.
const BAND: [f64; 2] = [0.88, 1.1];
/// Walls hang down, and other things rise, within this share of the width.
const DEPTH: f64 = 0.1;
/// Fewest points on a side of a sector that speak.
const FEWEST: usize = 2;
/// Balance from which the side is sure: chance alone gives 72 sectors of even odds a balance of 1 / sqrt 72 = 0.12; this is three of that.
const SURE: f64 = 0.35;

/// What the rim tells of the sides: shares of the sectors, those for the normal's side less those for the other.
#[derive(Debug, Clone, Copy)]
pub(super) struct Side {
    /// Walls hang on the far side of the face.
    walls: f64,
    /// The face falls away towards its rim: rails are rounded, decks are concave and kicks bend up as seen from the top.
    falls: f64,
}
impl Side {
    /// 1 where the face's normal looks out of the underside, else -1.
    pub fn sign(&self) -> f64 {
        if self.walls + self.falls < 0.0 { -1.0 } else { 1.0 }
    }
    pub fn is_sure(&self) -> bool {
        (self.walls + self.falls).abs() > SURE
    }
    pub fn told(&self) -> String {
        format!(
            "its rim hangs down on one side in {:.0} % more of its length than on the other, and its face falls towards the rim in {:.0} % more",
            100.0 * self.walls.abs(),
            100.0 * self.falls.abs()
        )
    }
}

/// Which side of `board` is out; `heights` are those of all points over it.
pub(super) fn side(board: &Patch, heights: &[Option<f64>], seen: &Seen) -> Side {
    let across = board.normal.cross(&board.long_axis);
    let half = [board.size[0] / 2.0, board.size[1] / 2.0];
    let polar = |p: &Point3<f64>| {
        let d = p.coords - board.centre;
        let (x, y) = (d.dot(&board.long_axis) / half[0], d.dot(&across) / half[1]);
        let k = ((y.atan2(x) / std::f64::consts::TAU).rem_euclid(1.0) * SECTORS as f64) as usize % SECTORS;
        (k, x.hypot(y))
    };
    let mut rim = [0.0f64; SECTORS];
    for &i in &board.members {
        let (k, r) = polar(&seen.points[i as usize]);
        rim[k] = rim[k].max(r);
    }
    let mut is_board = vec![false; seen.points.len()];
    board.members.iter().for_each(|&i| is_board[i as usize] = true);
    let mut off = [[0usize; 2]; SECTORS];
    // mean height of the face near the rim and halfway to it
    let mut face = [[(0.0, 0usize); 2]; SECTORS];
    for (i, p) in seen.points.iter().enumerate() {
        let (k, r) = polar(p);
        let r = r / rim[k].max(f64::MIN_POSITIVE);
        if is_board[i] {
            let z = (p.coords - board.centre).dot(&board.normal);
            let at = if r > BAND[0] {
                1
            } else if r > 0.5 {
                0
            } else {
                continue;
            };
            face[k][at] = (face[k][at].0 + z, face[k][at].1 + 1);
        } else if let Some(h) = heights[i]
            && (BAND[0]..BAND[1]).contains(&r)
            && h.abs() > seen.voxel
            && h.abs() < DEPTH * board.size[1] * 2.0
        {
            off[k][usize::from(h > 0.0)] += 1;
        }
    }
    let vote = |v: f64| {
        if v > 0.0 {
            1.0
        } else if v < 0.0 {
            -1.0
        } else {
            0.0
        }
    };
    let walls =
        off.iter().map(|[below, above]| vote((*below >= FEWEST) as i8 as f64 - (*above >= FEWEST) as i8 as f64));
    let falls = face.iter().filter(|f| f[0].1 > 0 && f[1].1 > 0).map(|f| {
        let (inner, outer) = (f[0].0 / f[0].1 as f64, f[1].0 / f[1].1 as f64);
        vote(inner - outer)
    });
    Side { walls: walls.sum::<f64>() / SECTORS as f64, falls: falls.sum::<f64>() / SECTORS as f64 }
}
