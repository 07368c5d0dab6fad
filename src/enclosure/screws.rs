//! Screws round the flange: sizes, places, holes.
use super::shell::{STRIP_PLAY_MM, flat, inner_points};
use super::{LEAST_LAND_MM, Shell, fail};
use crate::deck::Deck;
use crate::error::{Result, Warned};
use crate::geom::{Polygon, Sight, plan, trim};
use crate::mating::EnclosureSpec;
use crate::num::{Curve, TensorSpline, shown};
use crate::tolerance::CHORD_MM;

/// A metric screw.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
pub enum ScrewSize {
    /// 3 mm.
    M3,
    /// 4 mm.
    M4,
    /// 5 mm.
    M5,
    /// 6 mm.
    M6,
}
/// Class of a clearance hole.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fit {
    /// Fine.
    Fine,
    /// Medium.
    Medium,
    /// Coarse.
    Coarse,
}
impl ScrewSize {
    /// The size named by `text`, such as "M4".
    pub fn named(text: &str) -> Option<Self> {
        [(Self::M3, "M3"), (Self::M4, "M4"), (Self::M5, "M5"), (Self::M6, "M6")]
            .into_iter()
            .find(|s| s.1 == text.trim())
            .map(|s| s.0)
    }
    /// Diameter of the thread, mm.
    pub fn thread_mm(self) -> f64 {
        match self {
            Self::M3 => 3.0,
            Self::M4 => 4.0,
            Self::M5 => 5.0,
            Self::M6 => 6.0,
        }
    }
    /// Diameter of the clearance hole, mm.
    ///
    /// # References
    /// ISO 273:1979.
    pub fn hole_mm(self, fit: Fit) -> f64 {
        let row = match self {
            Self::M3 => [3.2, 3.4, 3.6],
            Self::M4 => [4.3, 4.5, 4.8],
            Self::M5 => [5.3, 5.5, 5.8],
            Self::M6 => [6.4, 6.6, 7.0],
        };
        row[match fit {
            Fit::Fine => 0,
            Fit::Medium => 1,
            Fit::Coarse => 2,
        }]
    }
    /// Outer diameter of a plain washer, mm.
    ///
    /// # References
    /// ISO 7089 (normal series; values from memory).
    pub fn washer_mm(self) -> f64 {
        match self {
            Self::M3 => 7.0,
            Self::M4 => 9.0,
            Self::M5 => 10.0,
            Self::M6 => 12.0,
        }
    }
}
/// What is asked of the screws.
#[derive(Debug, Clone, PartialEq)]
pub struct ScrewSpec {
    /// Size.
    pub size: ScrewSize,
    /// Class of the hole.
    pub fit: Fit,
    /// Greatest distance from screw to screw round the flange, mm.
    pub pitch_mm: f64,
    /// From the flange's border to the screw's middle, mm; `None` takes the flange's middle.
    pub edge_mm: Option<f64>,
    /// How far the deck slips along the flange's ends while it sags, mm: holes become slots, longer towards the ends.
    pub slip_mm: f64,
    /// Length of a threaded insert in the deck, mm; `None` for bolts through it.
    pub insert_mm: Option<f64>,
    /// Direction of the holes.
    pub along: Along,
    /// Whether holes along z get a boss with a face square to them.
    pub boss: bool,
}
/// Direction of the holes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Along {
    /// Along z: all holes are drilled square to the bench.
    Bench,
    /// Along the deck's normal at each hole.
    Deck,
}
/// A boss round a screw's hole on the flange's back.
#[derive(Debug, Clone, PartialEq)]
pub struct Boss {
    /// Its border in plan, mm.
    pub border: Vec<Curve<2>>,
    /// Its face, square to the hole.
    pub face: TensorSpline,
}
/// One screw.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Screw {
    /// Where its axis meets the deck's underside, mm, deck frame.
    pub at_mm: [f64; 2],
    /// Height of the deck's underside there, mm.
    pub deck_mm: f64,
    /// Angle of the deck's normal to the hole, degrees.
    pub tilt_deg: f64,
    /// Diameter of the hole in the flange, mm.
    pub hole_mm: f64,
    /// How much longer than wide the hole is, along the board, mm.
    pub slot_mm: f64,
    /// Whether it holds a corner.
    pub corner: bool,
    /// Unit vector along its axis, away from the deck (pure numbers).
    pub axis: [f64; 3],
    /// Its boss.
    #[serde(skip)]
    pub boss: Option<Boss>,
}
impl Screw {
    /// How far it is through the deck along its axis, mm.
    pub(super) fn through_mm(&self, deck: &Deck) -> f64 {
        deck.thickness_mm / self.tilt_deg.to_radians().cos()
    }
    /// Whether it stands along z.
    pub(super) fn is_upright(&self) -> bool {
        self.axis == [0.0, 0.0, 1.0]
    }
    /// The plane on the deck square to its axis; x along the slot.
    pub(super) fn sight(&self) -> Sight {
        let [nx, ny, nz] = self.axis;
        let l = (1.0 - nx * nx).sqrt();
        Sight {
            origin: [self.at_mm[0], self.at_mm[1], self.deck_mm],
            right: [l, -nx * ny / l, -nx * nz / l],
            up: [0.0, nz / l, -ny / l],
        }
    }
    /// The hole's loop on the deck in plan, counter-clockwise.
    pub fn bore(&self) -> Vec<Curve<2>> {
        self.ring(0.0, 0.0)
    }
    /// The plan of the hole's loop `far_mm` from the deck along its axis, `grow` mm larger on all sides; square to the axis in
    /// space, counter-clockwise.
    pub fn ring(&self, far_mm: f64, grow: f64) -> Vec<Curve<2>> {
        // the slot's direction: x, brought square to the axis; then the one square to both
        let Sight { right: e, up: f, .. } = self.sight();
        let middle = [0, 1].map(|k| self.at_mm[k] + far_mm * self.axis[k]);
        let mut pieces = plan::slot([0.0, 0.0], self.hole_mm / 2.0 + grow, self.slot_mm);
        for p in pieces.iter_mut().flat_map(|c| &mut c.points) {
            *p = [0, 1].map(|k| middle[k] + p[0] * e[k] + p[1] * f[k]);
        }
        pieces
    }
}

/// A boss is this much wider than the washer on each side, and this much higher than the flange's back round it, mm: M4 washers
/// of 9 mm then stand on the usual 12 mm (common practice, no source).
const BOSS_MM: [f64; 2] = [1.5, 0.6];
/// Flange that must stay round a boss, mm: one line of a common 0.4 mm nozzle, so that a boss meets neither wall nor border.
const BOSS_ROOM_MM: f64 = 0.4;
/// Deck that must stay under an insert, mm (common practice, no source: 2 to 3 mm).
const LEAST_UNDER_INSERT_MM: f64 = 2.0;
/// A corner turns at least this much, radians, within [`CORNER_MM`] of line: half a right angle, so that rounded ends without
/// corners have none.
const CORNER_TURN: f64 = std::f64::consts::FRAC_PI_4;
/// Length of line over which a corner turns, mm: longer than the arc of common corner radii, shorter than a side.
const CORNER_MM: f64 = 50.0;
/// Spacing of the points on which places are chosen, mm.
const STEP_MM: f64 = 1.0;
/// Slots shorter than this are drilled as holes, mm: less than a hole's own play.
const LEAST_SLOT_MM: f64 = 0.1;

/// Plastic that must stay between a slot and the flange's border, or a hole and the chamfer under the flange: one line of a common
/// 0.4 mm nozzle would tear, so that it is no less than for any other hole's border.
///
/// # Errors
/// A slot that comes too near to the border, a hole that runs into the chamfer.
fn borders(shell: &Shell, screws: &[Screw], spec: &ScrewSpec) -> Result<()> {
    let (rim, wall) = (shell.rim_polygon(), shell.wall_polygon());
    let hole_mm = spec.size.hole_mm(spec.fit);
    let least = LEAST_LAND_MM.min(hole_mm / 2.0);
    for (i, s) in screws.iter().enumerate() {
        let [seat, back] =
            [shell.seat_mm(), shell.back_mm()].map(|far| trim::polygon(&s.ring(far, 0.0), CHORD_MM).points);
        let room = seat.iter().chain(&back).map(|p| -rim.signed_distance(*p)).fold(f64::INFINITY, f64::min);
        if room < least - CHORD_MM {
            let short = least - room;
            let slot = if s.slot_mm > 0.0 {
                format!("make screws.slip {:.1} mm smaller, or ", 2.0 * short)
            } else {
                String::new()
            };
            return Err(fail(
                format!(
                    "the hole of screw {} (x = {:.0} mm, y = {:.0} mm), {hole_mm:.1} mm wide and {:.1} mm longer than wide, {} the flange's border, {least:.2} mm must stay",
                    i + 1,
                    shown(s.at_mm[0], 0),
                    shown(s.at_mm[1], 0),
                    s.slot_mm,
                    if room < 0.0 {
                        format!("runs {:.2} mm over", -room)
                    } else {
                        format!("leaves {room:.2} mm of plastic to")
                    }
                ),
                format!("{slot}make screws.edge {short:.1} mm larger, with enclosure.flange as much wider"),
            ));
        }
        let chamfer = back.iter().map(|p| wall.signed_distance(*p)).fold(f64::INFINITY, f64::min);
        if shell.spec.flange_chamfer_mm > 0.0 && chamfer < BOSS_ROOM_MM {
            let most = (shell.spec.flange_chamfer_mm - (BOSS_ROOM_MM - chamfer)).max(0.0);
            return Err(fail(
                format!(
                    "the chamfer of {:.1} mm under the flange {} the hole of screw {}, {BOSS_ROOM_MM} mm must stay",
                    shell.spec.flange_chamfer_mm,
                    if chamfer < 0.0 {
                        format!("runs {:.2} mm into", -chamfer)
                    } else {
                        format!("leaves {chamfer:.2} mm to")
                    },
                    i + 1
                ),
                format!(
                    "make enclosure.flange_chamfer at most {:.1} mm (at most {:.1} mm leaves the washers their face)",
                    (10.0 * most).floor() / 10.0,
                    (10.0 * (most - (spec.size.washer_mm() - hole_mm) / 2.0).max(0.0)).floor() / 10.0
                ),
            ));
        }
    }
    Ok(())
}

/// Indices of a closed line's corners, in its order: where it turns most.
fn corners(line: &Polygon) -> Vec<usize> {
    let n = line.points.len();
    let step = line.perimeter() / n as f64;
    let half = ((CORNER_MM / 2.0 / step).ceil() as usize).clamp(1, n / 4);
    let at = |i: usize| line.points[i % n];
    let heading = |i: usize| {
        let (a, b) = (at(i + n - 1), at(i + 1));
        (b[1] - a[1]).atan2(b[0] - a[0])
    };
    let turn: Vec<f64> = (0..n)
        .map(|i| {
            let d = heading(i + half) - heading(i + n - half);
            (d + std::f64::consts::PI).rem_euclid(std::f64::consts::TAU) - std::f64::consts::PI
        })
        .collect();
    // summed once more, an arc shorter than the line peaks in its own middle
    let sum: Vec<f64> = (0..n).map(|i| (0..=2 * half).map(|k| turn[(i + n + k - half) % n]).sum()).collect();
    let peak = |i: usize| (1..=half).all(|k| sum[i] >= sum[(i + k) % n] && sum[i] >= sum[(i + n - k) % n]);
    let mut found: Vec<usize> = Vec::new();
    for i in (0..n).filter(|&i| turn[i] > CORNER_TURN && peak(i)) {
        if found.last().is_none_or(|l| i - l > half) {
            found.push(i);
        }
    }
    if found.len() > 1 && found[0] + n - found[found.len() - 1] <= half {
        found.pop();
    }
    found
}

/// Places along a closed line, in its order from the nose's side: corners, and between them at equal distances of at most `pitch`.
fn places(line: &Polygon, pitch: f64) -> Vec<([f64; 2], bool)> {
    let n = line.points.len();
    let step = line.perimeter() / n as f64;
    let c = corners(line);
    let mut out: Vec<(usize, bool)> = c.iter().map(|&i| (i, true)).collect();
    let starts = if c.is_empty() { vec![0] } else { c.clone() };
    for (k, &a) in starts.iter().enumerate() {
        let b = starts[(k + 1) % starts.len()];
        let span = if b > a { b - a } else { b + n - a };
        let parts = ((span as f64 * step / pitch).ceil() as usize).max(1);
        let first = usize::from(!c.is_empty());
        out.extend((first..parts).map(|j| ((a + (span * j + parts / 2) / parts) % n, false)));
    }
    // numbered round the rim from the nose's middle, counter-clockwise
    let (lo, hi) = line.bounds();
    let middle = (lo[1] + hi[1]) / 2.0;
    let ahead = |i: &usize| (line.points[*i][0] - hi[0]).hypot(line.points[*i][1] - middle);
    let start = (0..n).min_by(|a, b| ahead(a).total_cmp(&ahead(b))).unwrap_or(0);
    out.sort_by_key(|(i, _)| (i + n - start) % n);
    out.into_iter().map(|(i, corner)| (line.points[i], corner)).collect()
}

/// From the flange's border to the screws where nobody says: the flange's middle, or as much nearer to the border as a strip on a plain
/// seat needs to lie whole inside the holes, a hole's width from the border at least.
fn usual_edge(shell: &Shell, rim: &EnclosureSpec, (hole_mm, slip_mm): (f64, f64), strip_mm: f64) -> f64 {
    let middle = rim.flange_mm / 2.0;
    if shell.groove.is_some() {
        return middle;
    }
    let for_strip = rim.flange_mm + shell.spec.wall_mm - strip_mm - STRIP_PLAY_MM - (hole_mm + slip_mm) / 2.0;
    middle.min(for_strip.max(hole_mm))
}

pub(super) fn place(
    deck: &Deck,
    shell: &Shell,
    rim: &EnclosureSpec,
    spec: &ScrewSpec,
    strip_mm: f64,
) -> Result<Warned<Vec<Screw>>> {
    if let Some(insert) = spec.insert_mm {
        let left = deck.thickness_mm - insert;
        if left < LEAST_UNDER_INSERT_MM {
            return Err(fail(
                format!(
                    "an insert of {insert:.1} mm leaves {left:.1} mm of a deck of {:.1} mm, {LEAST_UNDER_INSERT_MM} mm must stay",
                    deck.thickness_mm
                ),
                format!(
                    "take inserts of at most {:.1} mm (screws.insert), or bolts through the deck with washers (no screws.insert)",
                    deck.thickness_mm - LEAST_UNDER_INSERT_MM
                ),
            ));
        }
    }
    let hole_mm = spec.size.hole_mm(spec.fit);
    let edge = spec.edge_mm.unwrap_or_else(|| usual_edge(shell, rim, (hole_mm, spec.slip_mm), strip_mm));
    if edge < hole_mm || rim.flange_mm - edge < hole_mm {
        return Err(fail(
            format!(
                "a flange of {:.1} mm has no room for a {hole_mm:.1} mm hole {edge:.1} mm from its border: {hole_mm:.1} mm must stay on both sides of its middle",
                rim.flange_mm
            ),
            "make enclosure.flange wider, screws.size smaller, or change screws.edge",
        ));
    }
    let line = plan::parallel(&shell.rim, -edge).ok_or_else(|| {
        fail(
            format!(
                "the line of screws, {edge:.1} mm inside the border, folds at a corner whose radius is {:.1} mm",
                plan::least_radius(&shell.rim)
            ),
            format!("make enclosure.corner_radius at least {:.0} mm", plan::radius_for(edge).ceil()),
        )
    })?;
    let line = trim::polygon(&line, CHORD_MM);
    let line = line.resampled((line.perimeter() / STEP_MM).ceil() as usize);
    let half = rim.length_mm / 2.0;
    let mut screws: Vec<Screw> = places(&line, spec.pitch_mm)
        .into_iter()
        .map(|(at_mm, corner)| {
            let slot = spec.slip_mm * ((at_mm[0] - rim.offset_mm) / half).abs();
            Screw {
                at_mm,
                deck_mm: deck.underside.at(at_mm[0], at_mm[1]),
                tilt_deg: match spec.along {
                    Along::Bench => deck.underside.normal(at_mm[0], at_mm[1])[2].clamp(-1.0, 1.0).acos().to_degrees(),
                    Along::Deck => 0.0,
                },
                axis: match spec.along {
                    Along::Bench => [0.0, 0.0, 1.0],
                    Along::Deck => deck.underside.normal(at_mm[0], at_mm[1]),
                },
                boss: None,
                hole_mm,
                slot_mm: if slot < LEAST_SLOT_MM { 0.0 } else { slot },
                corner,
            }
        })
        .collect();
    if let Some(g) = &shell.groove {
        let border = trim::polygon(&g.borders[0], CHORD_MM);
        let land = screws
            .iter()
            .flat_map(|s| trim::polygon(&s.ring(shell.seat_mm(), 0.0), CHORD_MM).points)
            .map(|p| border.signed_distance(p))
            .fold(f64::INFINITY, f64::min);
        if land < LEAST_LAND_MM {
            // rounded up as it is printed, so that the advice suffices
            let short = (10.0 * (LEAST_LAND_MM - land)).ceil() / 10.0;
            // screws in the flange's middle follow half of what it grows by
            let wider = if spec.edge_mm.is_none() { 2.0 * short } else { short };
            return Err(fail(
                format!("the strip's groove comes {land:.1} mm near a screw's hole, {LEAST_LAND_MM} mm must stay"),
                format!(
                    "make enclosure.flange {wider:.1} mm wider, gasket.width {short:.1} mm narrower, or screws.edge {short:.1} mm smaller"
                ),
            ));
        }
    }
    if spec.boss {
        let wall = shell.wall_polygon();
        let rim = shell.rim_polygon();
        for s in &mut screws {
            let border = s.ring(0.0, (spec.size.washer_mm() - hole_mm) / 2.0 + BOSS_MM[0]);
            let plan = trim::polygon(&border, CHORD_MM);
            let room = plan.points.iter().map(|p| wall.signed_distance(*p).min(-rim.signed_distance(*p)));
            let room = room.fold(f64::INFINITY, f64::min);
            if room < BOSS_ROOM_MM {
                return Err(fail(
                    format!(
                        "a boss comes {room:.1} mm near the wall or the flange's border, {BOSS_ROOM_MM} mm must stay"
                    ),
                    format!(
                        "make enclosure.flange {:.1} mm wider, screws.size smaller, or take screws.boss out",
                        2.0 * (BOSS_ROOM_MM - room)
                    ),
                ));
            }
            let high = inner_points(&plan).map(|p| shell.back.at(p[0], p[1])).fold(f64::NEG_INFINITY, f64::max);
            s.boss = Some(Boss { border, face: flat(&shell.back, high + BOSS_MM[1]) });
        }
    }
    borders(shell, &screws, spec)?;
    Ok(Warned::clean(screws))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// ISO 273:1979, series fine, medium, coarse.
    #[test]
    fn clearance_holes_are_those_of_iso_273() {
        let table = [
            (ScrewSize::M3, 3.2, 3.4, 3.6),
            (ScrewSize::M4, 4.3, 4.5, 4.8),
            (ScrewSize::M5, 5.3, 5.5, 5.8),
            (ScrewSize::M6, 6.4, 6.6, 7.0),
        ];
        for (size, fine, medium, coarse) in table {
            let got = [Fit::Fine, Fit::Medium, Fit::Coarse].map(|f| size.hole_mm(f));
            assert_eq!(got, [fine, medium, coarse]);
        }
        assert_eq!(ScrewSize::named("M5"), Some(ScrewSize::M5));
        assert_eq!(ScrewSize::named("5"), None);
    }
    #[test]
    fn screws_are_numbered_round_the_rim_and_no_gap_is_wider_than_the_pitch() {
        let line = trim::polygon(&plan::rectangle([3.0, 0.0], [320.0, 170.0], 14.0), CHORD_MM);
        let line = line.resampled(line.perimeter() as usize);
        let found = places(&line, 110.0);
        let corners: Vec<_> = found.iter().filter(|p| p.1).collect();
        assert_eq!(corners.len(), 4);
        // from the nose's middle towards the left, once round
        let turn = |p: &[f64; 2]| p[1].atan2(p[0] - 3.0).rem_euclid(std::f64::consts::TAU);
        assert!(found.windows(2).all(|w| turn(&w[0].0) < turn(&w[1].0)), "{found:?}");
        // on the arcs, near their middles
        let inset = 14.0 * (1.0 - 0.5_f64.sqrt());
        for (p, _) in corners {
            let (dx, dy) = (160.0 - (p[0] - 3.0).abs() - inset, 85.0 - p[1].abs() - inset);
            assert!(dx.hypot(dy) < 6.0, "{p:?}");
        }
        // sides of about 308 and 158 mm need two and one between
        assert_eq!(found.len(), 4 + 2 * 2 + 2);
        let round = trim::polygon(&plan::circle([0.0, 0.0], 100.0), CHORD_MM).resampled(628);
        let even = places(&round, 110.0);
        assert!(even.len() == 6 && even.iter().all(|p| !p.1), "{even:?}");
    }
}
