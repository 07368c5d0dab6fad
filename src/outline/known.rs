//! Lengths known between two pixels of a photo: what goes into the solve, and how it comes out.
use super::joint::{Joint, Known, View};
use super::photo::Picture;
use super::rim::lift;
use super::{KnownLength, MARK_PX};
use crate::error::{Error, Result, Stage, Warning};
use crate::frame::{Tape, tape_sd_mm};

/// A mark may lie this far outside the scan's rim, mm: a scan loses some 5 mm of the rail, a hand's mark is a mm or two off.
const OFF_BOARD_MM: f64 = 10.0;
/// Standard deviations between a known length and the rest beyond which they contradict one another: 1 in 370 by chance.
const CONTRADICTION_SIGMAS: f64 = 3.0;

/// A known length after the solve.
#[derive(Debug, Clone, Copy, Default, PartialEq, serde::Serialize)]
pub struct KnownReport {
    /// As given, mm.
    pub given_mm: f64,
    /// As the camera and scale found measure it, mm.
    pub found_mm: f64,
    /// Standard uncertainty of the given length between two marked pixels, mm.
    pub standard_uncertainty_mm: f64,
}
/// A known length as an observation, in the pixels of `picture`.
pub(super) fn observed(k: &KnownLength, picture: &Picture, tape: &Tape) -> Result<Known> {
    let size = [picture.width, picture.height].map(|n| n as f64 * picture.file_px);
    for (name, p) in [("from", k.from_px), ("to", k.to_px)] {
        if !(0..2).all(|i| (0.0..=size[i]).contains(&p[i])) {
            let at = format!(
                "photo.known.{name} is ({}, {}), outside its photo of {} x {} pixels",
                p[0], p[1], size[0], size[1]
            );
            return Err(Error::new(Stage::Outline, at)
                .hint("give pixels of the upright photo, right and down from its upper left corner"));
        }
    }
    let px = [k.from_px, k.to_px].map(|p| p.map(|v| v / picture.file_px));
    let apart = (k.from_px[0] - k.to_px[0]).hypot(k.from_px[1] - k.to_px[1]);
    let marks = k.length_mm * MARK_PX * 2f64.sqrt() / apart.max(1.0);
    Ok(Known { px, mm: k.length_mm, sd_mm: marks.hypot(tape_sd_mm(tape)) })
}
/// Of `known` what lies on the board; each of the others is a warning.
pub(super) fn on_board(known: &[Known], view: &View, number: usize, warnings: &mut Vec<Warning>) -> Vec<Known> {
    let View { camera, edge, .. } = view;
    let border = edge.polygon();
    let off = |px: [f64; 2]| {
        lift(camera, edge.z, px, edge.point(0, 0.0)).map_or(f64::INFINITY, |p| border.signed_distance([p[0], p[1]]))
    };
    let mut kept = Vec::new();
    for k in known {
        let far = off(k.px[0]).max(off(k.px[1]));
        if far <= OFF_BOARD_MM {
            kept.push(*k);
            continue;
        }
        warnings.push(Warning::new(
            Stage::Outline,
            format!("the known length of photo {number} ends {far:.0} mm beside the board and is left out"),
            "only a length on the underside itself can be measured: floor and what stands off the deck lie nearer or farther",
        ));
    }
    kept
}
/// The known length of view `v` as it came out, with a warning where it contradicts the rest.
pub(super) fn report(joint: &Joint, v: usize, number: usize, warnings: &mut Vec<Warning>) -> Option<KnownReport> {
    let view = &joint.views[v];
    let known = view.known.first()?;
    let found_mm = joint.between(view.edge, &view.camera, known.px)? * joint.ln_scale.exp();
    if (found_mm - known.mm).abs() > CONTRADICTION_SIGMAS * known.sd_mm {
        warnings.push(Warning::new(
            Stage::Outline,
            format!(
                "the known length of photo {number} contradicts the tape and the scan: {:.1} mm was given, {found_mm:.1} mm was found, \
                 and it is good to {:.1} mm",
                known.mm, known.sd_mm
            ),
            "check its unit and both pixels, and read the tape again",
        ));
    }
    Some(KnownReport { given_mm: known.mm, found_mm, standard_uncertainty_mm: known.sd_mm })
}
