//! What is doubtful of a body that can be made: screws on the deck's holes, openings against parts, leaning screws.
use super::openings::{OpeningSpec, Port, Through};
use super::{Along, Fit, PartSpec, PlacedPart, Screw, ScrewSpec, Shell};
use crate::deck::Deck;
use crate::error::{Stage, Warning};
use crate::geom::{Polygon, plan, trim};
use crate::num::shown;
use crate::tolerance::CHORD_MM;

/// Wood that must stay between two holes, mm: plywood splits out across less than some half of a hole (common practice, no source).
const WOOD_MM: f64 = 3.0;
/// Room that a socket or a plug takes behind a wall, mm (common practice, no source: 10 to 20).
const SOCKET_MM: f64 = 10.0;
/// Points on the border of a part.
const BORDER_POINTS: usize = 200;

fn warning(message: String, hint: impl Into<String>) -> Warning {
    Warning::new(Stage::Enclosure, message, hint)
}

/// Screws whose holes fall on holes that the deck has already.
pub(super) fn screws_on_holes(deck: &Deck, screws: &[Screw]) -> Vec<Warning> {
    let holes = deck.hole_places();
    let near = |(i, s): (usize, &Screw)| {
        let (p, d, apart) = (holes.iter())
            .map(|(p, d)| (p, d, (p[0] - s.at_mm[0]).hypot(p[1] - s.at_mm[1]) - (d + s.hole_mm) / 2.0))
            .min_by(|a, b| a.2.total_cmp(&b.2))?;
        (apart < WOOD_MM).then(|| {
            warning(
                format!(
                    "screw {} falls on the deck's hole of {d:.1} mm at x = {:.0} mm, y = {:.0} mm: {} between them, {WOOD_MM} mm must stay",
                    i + 1,
                    shown(p[0], 0),
                    shown(p[1], 0),
                    if apart < 0.0 { "no wood is left".to_owned() } else { format!("{apart:.1} mm of wood") }
                ),
                "move the screws with screws.pitch or screws.edge, or the enclosure with enclosure.offset or enclosure.length",
            )
        })
    };
    screws.iter().enumerate().filter_map(near).collect()
}

/// The border of a part's plan.
fn border(p: &PlacedPart) -> Polygon {
    trim::polygon(&plan::rectangle(p.at_mm, [p.size_mm[0], p.size_mm[1]], 0.0), CHORD_MM)
}

/// Openings that open onto a part: in a wall with too little room behind, in the floor right under it.
pub(super) fn openings_on_parts(
    ports: &[Port],
    openings: &[OpeningSpec],
    parts: &[PlacedPart],
    specs: &[PartSpec],
) -> Vec<Warning> {
    let mut out = Vec::new();
    for (p, spec) in parts.iter().zip(specs) {
        let plan = border(p);
        let dense = plan.resampled(BORDER_POINTS);
        for port in ports.iter().filter(|o| o.low_mm < p.size_mm[2] && o.high_mm > 0.0) {
            let free = dense
                .points
                .iter()
                .map(|q| port.seen(*q))
                .filter(|[along, deep]| along.abs() < port.half_mm && *deep > -port.half_mm)
                .map(|s| s[1])
                .fold(f64::INFINITY, f64::min);
            if free < SOCKET_MM {
                out.push(warning(
                    format!(
                        "behind the opening '{}' in the wall the part '{}' leaves {:.1} mm, a socket or a plug takes some {SOCKET_MM} mm",
                        port.name,
                        p.name,
                        free.max(0.0)
                    ),
                    "move the part with part.at or the opening with opening.at, or set the opening higher with opening.above_floor",
                ));
            }
        }
        let floor = openings.iter().filter(|o| matches!(o.through, Through::Floor { .. }));
        for o in floor {
            let hole = o.plan();
            let inside = |a: &Polygon, b: &Polygon| a.points.iter().any(|q| b.contains(*q));
            if inside(&hole, &plan) || inside(&plan, &hole) {
                let what = if spec.battery { "the battery" } else { "the part" };
                out.push(warning(
                    format!("the opening '{}' in the floor lies right under {what} '{}'", o.name, p.name),
                    if spec.battery {
                        "move it with opening.at, or the pack with part.at: a stone or water that comes through reaches the pack"
                    } else {
                        "move it with opening.at, or the part with part.at; where it is meant so (a heat sink), seal it"
                    },
                ));
            }
        }
    }
    out
}

/// What helps where screws square to the deck lean in holes along z; none where they do not, or where bosses say that the deck is
/// drilled along z too.
pub(super) fn leaning(shell: &Shell, screws: &[Screw], spec: &ScrewSpec) -> Option<Warning> {
    // a screw along the deck's normal leans in a hole along z by the flange's thickness times the tangent
    let lean_of = |s: &Screw| shell.spec.flange_mm * s.tilt_deg.to_radians().tan();
    let (number, lean) = screws.iter().map(lean_of).enumerate().max_by(|a, b| a.1.total_cmp(&b.1))?;
    let play = |fit: Fit| spec.size.hole_mm(fit) - spec.size.thread_mm();
    if lean <= play(spec.fit) || spec.boss || spec.along == Along::Deck {
        return None;
    }
    let coarse =
        if play(Fit::Coarse) >= lean && spec.fit != Fit::Coarse { "take screws.fit = \"coarse\"; or " } else { "" };
    Some(warning(
        format!(
            "a screw square to the deck leans {lean:.2} mm in a hole that has {:.2} mm of play, most at screw {}",
            play(spec.fit),
            number + 1
        ),
        format!(
            "{coarse}write screws.along = \"deck\" to make the holes square to the deck, or screws.boss = true and drill the deck square to \
             the bench (drill.csv)"
        ),
    ))
}
