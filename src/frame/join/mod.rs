//! Several scans of one board, each of its own size and pose, laid on each other where they overlap.
mod lay;
mod piece;
mod search;
#[cfg(test)]
mod tests;

use super::{FrameOptions, Tape, fail};
use crate::error::{Result, Stage, Warned, Warning};
use crate::geom::Similarity;
use crate::scan::{RawCloud, Texel};
use lay::{Laid, Pair};
use nalgebra::Point3;
use piece::Piece;
use serde::Serialize;

/// Least length of an overlap, in widths: a shorter one of smooth faces fits nearly anywhere.
const LEAST_SHARED: f64 = 0.8;
/// Least share of the points in the overlap that must have the other scan's face at hand; trucks taken off between two scans
/// and holes leave some without.
const LEAST_MATCHED: f64 = 0.6;
/// Poses that lie closer than this, in widths, are one valley, along which the standard error tells how well the place is held:
/// two slides tried, some 60 mm.
const OTHER: f64 = 0.3;
/// Two whole scans of a board with two like ends may lie either way round: the same board comes out when both cover each other
/// to this share, and are as long together within [`SAME_LENGTH`].
const COVERED: f64 = 0.9;
const SAME_LENGTH: f64 = 0.03;
/// A place farther in doubt than this, in widths, is refused: some 6 mm; a third of it is told.
const MOST_DOUBT: f64 = 0.03;
/// The board may be longer or shorter against its width than the tape says by this much: both rims lie inside the rail.
const LENGTH_TOLERANCE: f64 = 0.08;

/// How one scan was laid on those before it.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct JoinReport {
    /// Number of the scan, from 1 in the order of the board file.
    pub scan: usize,
    /// Units of the first scan to one unit of this one.
    pub scale_ratio: f64,
    /// Length of the overlap along the board over the length of the shorter one.
    pub overlap_ratio: f64,
    /// Share of the points in the overlap that have the other scan's face at hand.
    pub matched_ratio: f64,
    /// Root mean square distance of those from it, mm by the tape's width.
    pub residual_rms_mm: f64,
    /// Standard error of the place it leaves most in doubt, mm by the tape's width.
    pub standard_error_mm: f64,
    /// 4 x 4, row-major: this scan's units to the first one's.
    pub to_first: [[f64; 4]; 4],
}

/// How long the board may come out, in its own widths.
struct Wanted {
    least: f64,
    most: f64,
}
impl Wanted {
    /// Of a board whose length over its width is `ratio`.
    fn new(ratio: f64, last: bool) -> Self {
        // parts need not be the whole before the last one
        Self {
            least: if last { ratio * (1.0 - LENGTH_TOLERANCE) } else { 0.0 },
            most: ratio * (1.0 + LENGTH_TOLERANCE),
        }
    }
    /// Whether both together are a board.
    fn allows(&self, pair: &Pair, pose: &Similarity) -> bool {
        let aspect = together(pair, pose) / pose.scale.max(1.0);
        aspect > self.least && aspect < self.most
    }
}
/// Length of both together, in widths of the fixed piece.
fn together(pair: &Pair, pose: &Similarity) -> f64 {
    let ends = pair.ends(pose);
    ends[1].max(pair.fixed.ends[1]) - ends[0].min(pair.fixed.ends[0])
}
/// Share of the shorter piece that lies in the overlap.
fn covered(pair: &Pair, laid: &Laid) -> f64 {
    laid.shared() / pair.fixed.length().min(laid.pose.scale * pair.moving.length())
}

/// Lays every scan on those before it and puts all points into the first one's frame and unit. One scan comes back as it is.
///
/// # Errors
/// Several scans without the tape's length, a scan that shows no board, an overlap that is too short, that does not fit, that fits in two ways, or that leaves a scan's
/// place or size in doubt.
pub fn join_scans(
    scans: Vec<RawCloud>,
    tape: &Tape,
    options: &FrameOptions,
) -> Result<Warned<(RawCloud, Vec<JoinReport>)>> {
    let count = scans.len();
    let mut rest: Vec<(usize, RawCloud)> = scans.into_iter().enumerate().collect();
    if rest.is_empty() {
        return Err(fail("there is no scan".into(), "name a scan in the board file"));
    }
    let (_, mut all) = rest.remove(0);
    if rest.is_empty() {
        return Ok(Warned::with((all, Vec::new()), Vec::new()));
    }
    let Some(length_mm) = tape.length_mm else {
        // along a smooth middle scans slide with next to nothing lost: two of them 15 mm off have been seen to fit
        return Err(fail(
            format!("{count} scans are to be joined, and no length over all is given that shows whether they slid"),
            "read the board's length over all and give it as tape.length",
        ));
    };
    let ratio = length_mm / tape.width_mm;
    let (mut reports, mut warnings) = (Vec::new(), Vec::new());
    while !rest.is_empty() {
        let fixed = piece(&all, 1, options)?;
        let mut refused = None;
        let mut laid = None;
        for (k, (number, scan)) in rest.iter().enumerate() {
            let last = reports.len() + 2 == count;
            match lay_on(&fixed, scan, number + 1, &Wanted::new(ratio, last), tape.width_mm, options) {
                Ok(l) => {
                    laid = Some((k, l));
                    break;
                }
                // it may lie on one that comes later
                Err(e) => refused = refused.or(Some(e)),
            }
        }
        let Some((k, Warned { value: (pose, report), warnings: told })) = laid else {
            return Err(refused.unwrap_or_else(|| fail("no scan overlaps".into(), "scan the whole board in one go")));
        };
        let (_, scan) = rest.remove(k);
        append(&mut all, scan, &pose);
        reports.push(report);
        warnings.extend(told);
    }
    warnings.push(Warning::new(
        Stage::Frame,
        format!("{count} scans are joined; along a smooth middle they may have slid by more than stated"),
        "look at the tape's residuals in the report; one scan of the whole board is better",
    ));
    Ok(Warned::with((all, reports), warnings))
}
fn piece(cloud: &RawCloud, number: usize, options: &FrameOptions) -> Result<Piece> {
    super::own_axes::enough(&cloud.points)?;
    // which side looks out does not matter here, nor does a box in the first scan's units hold for the others
    let options = FrameOptions { keep: None, flip: false, ..options.clone() };
    Piece::new(&cloud.points, &options).map_err(|e| {
        fail(
            format!("scan {number} cannot be joined: {}", e.message()),
            "let each scan show the whole width of the board over at least half a width more than its length overlaps",
        )
    })
}

/// Lays scan `number` on `fixed`; `mm` is the tape's width, the width of a piece in mm.
fn lay_on(
    fixed: &Piece,
    scan: &RawCloud,
    number: usize,
    wanted: &Wanted,
    mm: f64,
    options: &FrameOptions,
) -> Result<Warned<(Similarity, JoinReport)>> {
    let moving = piece(scan, number, options)?;
    let pair = Pair { fixed, moving: &moving };
    let found = search::search(&pair, wanted);
    let hint =
        "let the scans overlap by half the board, with an end or the trucks in both; or scan the whole board in one go";
    let Some(best) = found.first() else {
        return Err(fail(
            format!(
                "scan {number} does not overlap the others by {:.0} mm anywhere so that a board comes out",
                LEAST_SHARED * mm
            ),
            hint,
        ));
    };
    if best.matched_ratio < LEAST_MATCHED {
        return Err(fail(
            format!(
                "scan {number} does not fit the others: at best {:.0} % of the overlap agrees, the least is {:.0} %",
                100.0 * best.matched_ratio,
                100.0 * LEAST_MATCHED
            ),
            hint,
        ));
    }
    let same_board = |other: &Laid| {
        let lengths = together(&pair, &best.pose) / together(&pair, &other.pose);
        covered(&pair, best) > COVERED && covered(&pair, other) > COVERED && (lengths - 1.0).abs() < SAME_LENGTH
    };
    let other = found
        .iter()
        .skip(1)
        .find(|o| o.as_good_as(best) && search::apart(&pair, &best.pose, &o.pose) > OTHER && !same_board(o));
    if let Some(other) = other {
        return Err(fail(
            format!(
                "scan {number} fits the others in two ways: with {:.0} mm of overlap, and with {:.0} mm, {:.0} mm from there",
                mm * best.shared(),
                mm * other.shared(),
                mm * search::apart(&pair, &best.pose, &other.pose)
            ),
            hint,
        ));
    }
    let doubt = search::doubt(&pair, best).unwrap_or(f64::INFINITY);
    if !(doubt < MOST_DOUBT) {
        let by = if doubt.is_finite() { format!("{:.0} mm", mm * doubt) } else { "more than can be told".into() };
        let most = mm * MOST_DOUBT;
        return Err(fail(
            format!("the overlap of scan {number} leaves its place in doubt by {by}, the most is {most:.0} mm"),
            hint,
        ));
    }
    let mut warnings = Vec::new();
    if doubt > MOST_DOUBT / 3.0 {
        warnings.push(Warning::new(
            Stage::Frame,
            format!("scan {number} joins the others only to within {:.1} mm at its far end", mm * doubt),
            hint,
        ));
    }
    let pose = fixed.from_scan.inverse().after(&best.pose).after(&moving.from_scan);
    let report = JoinReport {
        scan: number,
        scale_ratio: pose.scale,
        overlap_ratio: covered(&pair, best).min(1.0),
        matched_ratio: best.matched_ratio,
        residual_rms_mm: mm * best.residual,
        standard_error_mm: mm * doubt,
        to_first: pose.to_rows(),
    };
    Ok(Warned::with((pose, report), warnings))
}

/// Adds a scan's points and triangles; colours and normals stay where both have them.
fn append(all: &mut RawCloud, scan: RawCloud, pose: &Similarity) {
    let first = all.points.len() as u32;
    append_colours(all, &scan, pose);
    all.points.extend(scan.points.iter().map(|p| pose.apply(p)));
    all.triangles.extend(scan.triangles.iter().map(|t| t.map(|i| i + first)));
    let turned = scan.normals.map(|n| n.into_iter().map(|n| pose.rotation * n).collect());
    all.normals = both(all.normals.take(), turned);
    let (r, s) = (&mut all.report, scan.report);
    if r.format != s.format {
        r.format = format!("{}, {}", r.format, s.format);
    }
    r.points += s.points;
    r.dropped_non_finite += s.dropped_non_finite;
    r.triangles += s.triangles;
    r.colors = all.colors.is_some() || !all.texels.is_empty();
    if r.stated_unit_mm != s.stated_unit_mm {
        r.stated_unit_mm = None;
    }
}
fn append_colours(all: &mut RawCloud, scan: &RawCloud, pose: &Similarity) {
    let moved = |(at, color): (Point3<f64>, [u8; 3])| Texel { at: pose.apply(&at), color };
    if let (Some(colors), Some(more)) = (&mut all.colors, &scan.colors) {
        colors.extend(more);
        all.texels.extend(scan.texels.iter().map(|t| moved((t.at, t.color))));
    } else if all.is_coloured() && scan.is_coloured() {
        // of one of them only some points have a colour
        let so_far = all.coloured().map(|(at, color)| Texel { at, color });
        all.texels = so_far.chain(scan.coloured().map(moved)).collect();
        all.colors = None;
    } else {
        (all.colors, all.texels) = (None, Vec::new());
    }
}
fn both<T>(a: Option<Vec<T>>, b: Option<Vec<T>>) -> Option<Vec<T>> {
    let mut a = a?;
    a.extend(b?);
    Some(a)
}
