//! Whole explanations of a scan (this patch is the board, that plane is its floor, this side looks out), and the one that leaves
//! the least unexplained.
use super::FrameOptions;
use super::local::Local;
use super::patch::{Patch, Plane, basis, common_normal, connect, patch, smooth, strongest_plane};
use super::side::{Side, side};
use super::smooth::Smooth;
use crate::error::{Error, PointRole, Refusal, Result, Stage, Warning};
use crate::num::quantile;
use kiddo::{ImmutableKdTree, SquaredEuclidean};
use nalgebra::{Point3, Vector3};
use std::f64::consts::FRAC_1_SQRT_2;

/// Length over width of boards (common practice, no source: 2.5 to 5), with room for holes in a scan.
pub(super) const ASPECT: (f64, f64) = (2.2, 7.0);
/// The same of what a scan of a part of a board shows.
pub(super) const PART_ASPECT: (f64, f64) = (1.0, 7.0);
/// Least share of its plan box that a board fills.
const FILL: f64 = 0.62;
/// Planes tried as a floor: a deck's flat middle, the tops of what lies about and a floor are all planes.
const PLANES: usize = 4;
/// A floor, its plane's points that no board covers, lies beyond the board on so many of its four sides at least: a box of the
/// scan may cut it off on one.
const FLOOR_SIDES: usize = 3;
/// Fewest voxels beyond one side.
const FEWEST_BEYOND: usize = 30;
/// A patch this much of the board's length and width is another layer of it, or another board.
const ALIKE: f64 = 0.6;
/// Two explanations may differ by a voxel in a thousand for no reason.
const TIE: f64 = 1e-3;
/// What a point costs that an explanation allows though it does not ask for it: a truck over the board, a wall or a stand under it, the
/// false back of a floor in a mesh fused from depth.
const ALLOWED: f64 = 0.25;
/// What a point costs that is not spoken of: a thing beside the board.
const UNSPOKEN: f64 = 0.5;
/// An underside is at least so much over its floor, in the deck's thickness as it is believed (11 mm where nobody has measured; decks
/// have 7 and more: common practice, no source). A point that is nearer contradicts that it is board.
const LEAST_OVER: f64 = 0.6;
/// What each point costs, in a scan e times as long as the board in it, for a builder scans the board and not a part of it or the room: as
/// much as a few in a hundred of the points that are not spoken of.
const SMALL: f64 = 0.02;

/// What a point of the board costs that lies on a smooth surface: a free surface explains more than a plane does, and so says less.
const FREE: f64 = 0.05;
/// Parts of a board tried, largest first, to begin with and to go on with.
const MOST_PARTS: usize = 6;
/// A part makes the board no wider than this share.
const WIDER: f64 = 0.1;

/// The explanation chosen.
pub(super) struct Choice {
    pub board: Patch,
    pub floor: Option<Patch>,
    /// Unit vector out of the underside.
    pub up: Vector3<f64>,
    pub warnings: Vec<Warning>,
}
/// One explanation.
struct Told {
    board: Patch,
    floor: Option<Patch>,
    up: Vector3<f64>,
    /// How sure the side is, where no floor tells it.
    side: Option<Side>,
    /// Mean cost of a point, 0 for a scan that it explains wholly.
    cost: f64,
}

/// What an explanation is looked for in.
pub(super) struct Seen<'a> {
    pub points: &'a [Point3<f64>],
    pub locals: &'a [Local],
    pub voxel: f64,
    pub options: &'a FrameOptions,
    /// Length over width, from and to.
    pub aspect: (f64, f64),
    /// The deck's thickness over its width.
    pub thickness: f64,
}

impl Seen<'_> {
    /// What the points are taken for that these patches hold, the last one counting where several do; nothing is known of the rest.
    pub fn refusal(&self, meaning: &'static str, kinds: &[(PointRole, &[u32])]) -> Refusal {
        let mut roles = vec![PointRole::Unexplained; self.points.len()];
        for (role, members) in kinds {
            members.iter().for_each(|&i| roles[i as usize] = *role);
        }
        let of = |role: PointRole| -> Vec<Point3<f64>> {
            (self.points.iter().zip(&roles)).filter(|(_, r)| **r == role).map(|(p, _)| *p).collect()
        };
        [PointRole::Kept, PointRole::Largest, PointRole::Floor, PointRole::Unexplained].into_iter().fold(
            Refusal::new(meaning, false),
            |refusal, role| {
                let points = of(role);
                refusal.with(role, points.len(), &points)
            },
        )
    }
    /// How far the scan reaches along an axis, without one point in a hundred at either end.
    fn extent(&self, axis: &Vector3<f64>) -> f64 {
        let along: Vec<f64> = self.points.iter().map(|p| p.coords.dot(axis)).collect();
        quantile(&along, 0.99) - quantile(&along, 0.01)
    }
}

/// Finds the board, its floor and the side that looks out of the underside.
///
/// # Errors
/// No patch like a board; two boards; a floor asked for where none is.
pub(super) fn choose(seen: &Seen) -> Result<Choice> {
    let n0 = common_normal(seen.locals);
    let good = smooth(seen.locals, &n0);
    let mut floors: Vec<Option<Plane>> = vec![None];
    if seen.options.floor != Some(false) {
        let mut left = good.clone();
        for _ in 0..PLANES {
            let Some(plane) = strongest_plane(seen.points, &left, &n0, seen.voxel) else { break };
            left.iter_mut().zip(&plane.inside).for_each(|(l, i)| *l &= !i);
            floors.push(Some(plane));
        }
    }
    let mut best: Option<Told> = None;
    let mut largest: Option<(Patch, Vec<u32>)> = None;
    let mut two: Option<Error> = None;
    for floor in floors {
        let rest: Vec<bool> = match &floor {
            None => good.clone(),
            Some(f) => good.iter().zip(&f.inside).map(|(g, i)| *g && !i).collect(),
        };
        let patches = connect(seen.points, seen.locals, &rest, &n0, seen.voxel);
        if let Some(p) = patches.iter().max_by_key(|p| p.members.len())
            && largest.as_ref().is_none_or(|(l, _)| l.members.len() < p.members.len())
        {
            let inside = floor.iter().flat_map(|f| (0..).zip(&f.inside)).filter(|(_, i)| **i).map(|(i, _)| i);
            largest = Some((p.clone(), inside.collect()));
        }
        let mut boards: Vec<Patch> = Vec::new();
        for (k, part) in patches.iter().enumerate() {
            // a board of which trucks leave no part that is like one is found from its largest
            if k < MOST_PARTS || is_like(part, seen.aspect) {
                let whole = carried_on(part, &patches, &n0, seen);
                if is_like(&whole, seen.aspect) && boards.iter().all(|b| b.members != whole.members) {
                    boards.push(whole);
                }
            }
        }
        for board in &boards {
            match told(board, &patches, floor.as_ref(), &n0, seen) {
                Ok(Some(t)) => {
                    let better = best.as_ref().is_none_or(|b| {
                        t.cost < b.cost - TIE || t.cost < b.cost + TIE && t.board.members.len() > b.board.members.len()
                    });
                    if better {
                        best = Some(t);
                    }
                }
                Ok(None) => {}
                Err(e) => two = Some(e),
            }
        }
    }
    let Some(best) = best else { return Err(two.unwrap_or_else(|| no_board(largest.as_ref(), seen))) };
    if seen.options.floor == Some(true) && best.floor.is_none() {
        return Err(Error::new(
            Stage::Frame,
            "scan.floor is true, but no flat floor larger than the board lies under it",
        )
        .hint("leave scan.floor out, or scan some floor all round the board")
        .refusing(|| seen.refusal(NO_FLOOR, &[(PointRole::Kept, &best.board.members)])));
    }
    let mut warnings = Vec::new();
    if let Some(side) = best.side.filter(|s| !s.is_sure()) {
        warnings.push(Warning::new(
            Stage::Frame,
            format!("WHICH SIDE OF THE BOARD WAS SCANNED IS NOT CERTAIN: {}", side.told()),
            "check the sections in the report; if the board is inside out set scan.flip = true; a little floor in the scan decides it",
        ));
    }
    let up = best.up * if seen.options.flip { -1.0 } else { 1.0 };
    Ok(Choice { board: best.board, floor: best.floor, up, warnings })
}

fn is_like(p: &Patch, (least, most): (f64, f64)) -> bool {
    let aspect = p.size[0] / p.size[1].max(f64::MIN_POSITIVE);
    (least..=most).contains(&aspect) && p.fill > FILL
}

/// What refusals mean.
const NO_FLOOR: &str = "A board was found. The board file says that there is a floor under it, but no flat piece of the scan reaches beyond \
                        the board on three of its sides.";
const NO_BOARD: &str = "The underside of a board is one large smooth piece, longer than wide. No piece of this scan is like that. Often a \
                        part of the board is missing, or something lies on it. Or the board and what lies beside it have become one piece.";
const TWO_LAYERS: &str = "A piece of this scan has a board's size, but another one as large lies over or under it. A box is like that. It cannot be \
                          told which of them is a board's underside.";
const TWO_BOARDS: &str = "Two pieces of this scan are like a board. It cannot be told which one you mean.";

fn no_board(largest: Option<&(Patch, Vec<u32>)>, seen: &Seen) -> Error {
    let (least, most) = seen.aspect;
    // of two layers without a floor the smoother is the board; where it is neither nobody knows
    if let Some((p, floor)) = largest.filter(|l| is_like(&l.0, seen.aspect)) {
        let text = "the scan shows a piece of a board's size, but another one as large lies over or under it, as with a box: it does not tell \
                    which of them would be a board's underside";
        return Error::new(Stage::Frame, text)
            .hint("scan the underside of the board alone, with some floor round it")
            .refusing(|| {
                seen.refusal(TWO_LAYERS, &[(PointRole::Floor, floor.as_slice()), (PointRole::Largest, &p.members)])
            });
    }
    let text = largest.map_or_else(
        || "no smooth surface at all".to_owned(),
        |(p, _)| {
            format!(
                "the largest smooth surface is {:.2} times as long as wide and fills {:.0} % of its rectangle",
                p.size[0] / p.size[1].max(f64::MIN_POSITIVE),
                100.0 * p.fill
            )
        },
    );
    Error::new(
        Stage::Frame,
        format!(
            "the scan shows no board: {text}, but a board is {least} to {most} times as long as wide and fills over {:.0} %",
            100.0 * FILL
        ),
    )
    .hint("scan the whole underside in one go, and cut away other large things before exporting")
    .refusing(|| {
        let known = largest.map(|(p, floor)| [(PointRole::Floor, floor.as_slice()), (PointRole::Largest, &p.members)]);
        seen.refusal(NO_BOARD, known.as_ref().map_or(&[], |k| k))
    })
}

/// The explanation of the scan by a board among patches, over a floor or none; `None` where the floor is none.
fn told(
    board: &Patch,
    patches: &[Patch],
    floor: Option<&Plane>,
    n0: &Vector3<f64>,
    seen: &Seen,
) -> Result<Option<Told>> {
    let over = Over::new(board, seen);
    let Some(over) = over else { return Ok(None) };
    // another layer of the same board: a depth scan has a false, rougher one behind
    let mut layer: Option<&Patch> = None;
    for other in patches.iter().filter(|p| board.members.binary_search(&p.members[0]).is_err()) {
        let d = other.centre - board.centre;
        let across = (d - n0 * d.dot(n0)).norm();
        if !(other.size[0] > ALIKE * board.size[0] && other.size[1] > ALIKE * board.size[1]) {
            continue;
        }
        if across < board.size[1] / 2.0 {
            layer = layer.or(Some(other));
        } else if is_like(other, seen.aspect) && other.size[0] < board.size[0] / ALIKE {
            let text = format!("the scan shows two boards, {:.2} board lengths apart", across / board.size[0]);
            return Err(Error::new(Stage::Frame, text)
                .hint("scan one board at a time, or cut the other one away before exporting")
                .refusing(|| {
                    let both = [&board.members, &other.members].map(|m| (PointRole::Kept, m.as_slice()));
                    seen.refusal(TWO_BOARDS, &both)
                }));
        }
    }
    let (up, told_side) = match floor {
        Some(f) => (
            board.normal * (board.centre - f.centre).dot(&f.normal).signum() * board.normal.dot(&f.normal).signum(),
            None,
        ),
        None => match layer {
            Some(l) if l.roughness > board.roughness => {
                (board.normal * (board.centre - l.centre).dot(&board.normal).signum(), None)
            }
            Some(_) => return Ok(None),
            None => {
                let s = side(board, &over.heights, seen);
                (board.normal * s.sign(), Some(s))
            }
        },
    };
    let sign = board.normal.dot(&up).signum();
    // heights over the floor, positive on the board's side
    let off_floor = |p: &Point3<f64>| floor.map(|f| (p.coords - f.centre).dot(&f.normal) * f.normal.dot(&up).signum());
    let mut cost = own_cost(board, seen);
    // the deck itself lies between its underside and a floor
    let least = LEAST_OVER * seen.thickness * board.size[1];
    let too_low = |i: &&u32| off_floor(&seen.points[**i as usize]).is_some_and(|d| d < least);
    cost += UNSPOKEN * board.members.iter().filter(too_low).count() as f64;
    cost += SMALL * (seen.extent(&board.long_axis) / board.size[0]).ln().max(0.0) * seen.points.len() as f64;
    // a floor's points, and its back's, lie along it; a wall that goes down through it says that it is none
    let lies_along = |i: usize| floor.is_some_and(|f| seen.locals[i].normal.dot(&f.normal).abs() > FRAC_1_SQRT_2);
    let mut beyond = [0usize; 4];
    let mut on_floor: Vec<u32> = Vec::new();
    let mut is_board = vec![false; seen.points.len()];
    board.members.iter().for_each(|&i| is_board[i as usize] = true);
    for (i, p) in seen.points.iter().enumerate() {
        if is_board[i] {
            continue;
        }
        let h = over.heights[i].map(|h| h * sign);
        cost += match (off_floor(p), h) {
            (Some(d), _) if d.abs() <= seen.voxel => {
                // where a wall goes through the plane there is no floor
                if h.is_none() && lies_along(i) {
                    on_floor.push(i as u32);
                    if let Some(k) = over.beyond(p) {
                        beyond[k] += 1;
                    }
                }
                0.0
            }
            (Some(d), _) if d < 0.0 && lies_along(i) => ALLOWED,
            (Some(d), _) if d < 0.0 => UNSPOKEN,
            (_, Some(h)) if h.abs() <= seen.voxel => FREE,
            (_, Some(_)) => ALLOWED,
            (_, None) => UNSPOKEN,
        };
    }
    let floor = match floor {
        None => None,
        Some(_) if beyond.iter().filter(|n| **n >= FEWEST_BEYOND).count() < FLOOR_SIDES => return Ok(None),
        Some(f) => Some(floor_patch(f, on_floor, &up)),
    };
    let cost = cost / seen.points.len() as f64;
    Ok(Some(Told { board: board.clone(), floor, up, side: told_side, cost }))
}

/// Mean cost of the board's own points by how far they lie off one smooth surface, up to what a point costs that is not spoken of.
fn mean_cost(members: &[[f64; 3]], voxel: f64) -> f64 {
    let Some(smooth) = Smooth::fit(members) else { return UNSPOKEN };
    let cost = |p: &[f64; 3]| {
        let off = (p[2] - smooth.at(p[0], p[1])) / voxel;
        FREE + (UNSPOKEN - FREE) * (off * off).min(1.0)
    };
    members.iter().map(cost).sum::<f64>() / members.len().max(1) as f64
}
/// What a board's own points cost together.
fn own_cost(board: &Patch, seen: &Seen) -> f64 {
    mean_cost(&in_box(board, seen.points), seen.voxel) * board.members.len() as f64
}
/// A board's points in its plan box, -1 to 1 along both axes, and their heights over its plane.
pub(super) fn in_box(board: &Patch, points: &[Point3<f64>]) -> Vec<[f64; 3]> {
    let across = board.normal.cross(&board.long_axis);
    let rows: Vec<[f64; 3]> = (board.members.iter())
        .map(|&i| points[i as usize].coords - board.centre)
        .map(|d| [d.dot(&board.long_axis), d.dot(&across), d.dot(&board.normal)])
        .collect();
    let middle = [0, 1].map(|k| ends(rows.iter().map(|p| p[k])).iter().sum::<f64>() / 2.0);
    let scaled = |p: &[f64; 3], k: usize| 2.0 * (p[k] - middle[k]) / board.size[k];
    rows.iter().map(|p| [scaled(p, 0), scaled(p, 1), p[2]]).collect()
}
/// The board with those patches that carry on its smooth surface beyond what cuts it apart: a truck whose wheels melt into the rails.
fn carried_on(board: &Patch, patches: &[Patch], n0: &Vector3<f64>, seen: &Seen) -> Patch {
    let mut board = board.clone();
    // a whole is found from its largest part
    let mut others: Vec<&Patch> = (patches.iter())
        .filter(|p| p.members[0] != board.members[0] && p.members.len() <= board.members.len())
        .collect();
    let mut cost = own_cost(&board, seen);
    others.sort_by(|a, b| b.members.len().cmp(&a.members.len()).then(a.members[0].cmp(&b.members[0])));
    for other in others.into_iter().take(MOST_PARTS) {
        let mut members = [board.members.as_slice(), other.members.as_slice()].concat();
        members.sort_unstable();
        let both = patch(members, seen.points, seen.locals, n0, seen.voxel);
        // a part lies beyond the board, not over it: the box grows along the board only, and by as much as the part is long
        let [had, has] = [&board, other].map(|p| reach(p, &both, seen.points));
        let grows = both.size[0] - had[0] > 0.5 * has[0].min(has[1]);
        let narrow = both.size[1] < had[1].max(has[1]) * (1.0 + WIDER);
        let longest = both.size[0] < both.size[1] * seen.aspect.1;
        if !(grows && narrow && longest) {
            continue;
        }
        // one surface for both says more than a board and a thing beside it
        let one = own_cost(&both, seen);
        if one < cost + UNSPOKEN * other.members.len() as f64 {
            (board, cost) = (both, one);
        }
    }
    board
}

/// The least and the greatest of some numbers.
fn ends(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |r, v| [r[0].min(v), r[1].max(v)])
}
/// How far a patch reaches along and across a board.
fn reach(patch: &Patch, board: &Patch, points: &[Point3<f64>]) -> [f64; 2] {
    [board.long_axis, board.normal.cross(&board.long_axis)].map(|axis| {
        let [lo, hi] = ends(patch.members.iter().map(|&i| points[i as usize].coords.dot(&axis)));
        hi - lo
    })
}

/// The floor's points as a patch.
fn floor_patch(plane: &Plane, members: Vec<u32>, up: &Vector3<f64>) -> Patch {
    let normal = plane.normal * plane.normal.dot(up).signum();
    let (a, _) = basis(&normal);
    Patch { centre: plane.centre, size: [0.0; 2], long_axis: a, fill: 1.0, normal, roughness: 0.0, members }
}

/// Where points lie against a board.
struct Over<'a> {
    board: &'a Patch,
    across: Vector3<f64>,
    /// Middle of the board's plan box along both axes, from its centre.
    middle: [f64; 2],
    /// Height of each point over the board below or above it, along its normal; `None` beside it.
    heights: Vec<Option<f64>>,
}
impl<'a> Over<'a> {
    fn new(board: &'a Patch, seen: &Seen) -> Option<Self> {
        let across = board.normal.cross(&board.long_axis);
        let plan = |p: &Point3<f64>| {
            let d = p.coords - board.centre;
            [d.dot(&board.long_axis), d.dot(&across)]
        };
        let rows: Vec<[f64; 2]> = board.members.iter().map(|&i| plan(&seen.points[i as usize])).collect();
        let tree: ImmutableKdTree<f64, 2> = ImmutableKdTree::new_from_slice(&rows).ok()?;
        let reach = (2.5 * seen.voxel).powi(2);
        let height = |p: &Point3<f64>| {
            let near = tree.query(&plan(p)).nearest_one::<SquaredEuclidean<f64>>().execute();
            let member = *board.members.get(near.item as usize)?;
            (near.distance <= reach).then(|| (p - seen.points[member as usize]).dot(&board.normal))
        };
        let heights = crate::num::each(seen.points.len(), |i| height(&seen.points[i]));
        let middle = [0, 1].map(|k| ends(rows.iter().map(|p| p[k])).iter().sum::<f64>() / 2.0);
        Some(Self { board, across, middle, heights })
    }
    /// Which side of the board's box a point lies beyond: an end or a side.
    fn beyond(&self, p: &Point3<f64>) -> Option<usize> {
        let d = p.coords - self.board.centre;
        let x = (d.dot(&self.board.long_axis) - self.middle[0]) / self.board.size[0];
        let y = (d.dot(&self.across) - self.middle[1]) / self.board.size[1];
        match (x, y) {
            _ if x > 0.5 => Some(0),
            _ if x < -0.5 => Some(1),
            _ if y > 0.5 => Some(2),
            _ if y < -0.5 => Some(3),
            _ => None,
        }
    }
}
