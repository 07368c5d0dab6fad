//! Clearances of the body: each a number, what is wanted, and the setting that would cure it.
use super::shell::inner_points;
use super::{BodySpec, Screw, Shell};
use crate::deck::Deck;
use crate::geom::{Polygon, bounds, trim};
use crate::num::shown;
use crate::tolerance::CHORD_MM;

/// Trucks and wheels as measured, mm.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TruckSpec {
    /// From the middle of one truck to the middle of the other.
    pub wheelbase_mm: f64,
    /// Of the middle between the trucks, towards the nose.
    pub offset_mm: f64,
    /// Diameter of a wheel.
    pub wheel_mm: f64,
    /// Width of a wheel.
    pub wheel_width_mm: f64,
    /// From the middle of one wheel to the middle of the other across the board.
    pub track_mm: f64,
    /// From the underside of the baseplate to the middle of the axle.
    pub axle_height_mm: f64,
    /// Thickness of a riser.
    pub riser_mm: f64,
    /// Lean of the deck when the trucks are at their stop, radians.
    pub lean: f64,
}
/// One clearance.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Check {
    /// What to what.
    pub name: String,
    /// As made, mm; negative where they overlap.
    pub have_mm: f64,
    /// Least wanted, mm.
    pub want_mm: f64,
    /// Whether it is met.
    pub met: bool,
    /// The setting that would cure it; "nothing to change" where it is met.
    pub cure: String,
}
/// The cure of what is met.
const NO_CURE: &str = "nothing to change";

impl Check {
    fn new(name: &str, have_mm: f64, want_mm: f64, cure: String) -> Self {
        // "12.0 mm, 12.0 mm are wanted" helps nobody: as it is told, so it is judged
        let met = shown(have_mm, 1) >= want_mm;
        Self { name: name.into(), have_mm, want_mm, met, cure: if met { NO_CURE.into() } else { cure } }
    }
}

/// Room to a smooth road, mm (common practice, no source).
const ROAD_MM: f64 = 25.0;
/// Room to the ground at full lean, and to wheels and trucks, mm: bushings and wheels give way by a few mm (common practice,
/// no source).
const MOVING_MM: f64 = 5.0;
/// Least distance of the flange from the rail, mm (common practice, no source: 12 to 25 mm).
const RAIL_MM: f64 = 12.0;
/// Half the length and width of a truck's baseplate, mm: the pattern of bolts, 63.5 x 41.28, with 10 mm round it (common
/// practice, no source).
const PLATE_MM: [f64; 2] = [63.5 / 2.0 + 10.0, 41.28 / 2.0 + 10.0];
/// Steps of steering looked at on each side.
const STEER_STEPS: i32 = 6;
/// Points on the border of a wheel's plan.
const WHEEL_POINTS: usize = 80;

/// Least signed distance of `points` to the border of `p`, positive outside.
fn apart(points: &[[f64; 2]], p: &Polygon) -> f64 {
    points.iter().map(|q| p.signed_distance(*q)).fold(f64::INFINITY, f64::min)
}
fn rectangle(half: [f64; 2], turn: f64, centre: [f64; 2], about: [f64; 2]) -> Vec<[f64; 2]> {
    let (s, c) = turn.sin_cos();
    let corners = [[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]];
    let points = corners.map(|k| {
        let d = [centre[0] + k[0] * half[0] - about[0], centre[1] + k[1] * half[1] - about[1]];
        [about[0] + c * d[0] - s * d[1], about[1] + s * d[0] + c * d[1]]
    });
    Polygon { points: points.to_vec() }.resampled(WHEEL_POINTS).points
}

pub(super) fn checks(deck: &Deck, shell: &Shell, screws: &[Screw], spec: &BodySpec) -> Vec<Check> {
    let rim = shell.rim_polygon();
    let mut out = Vec::new();
    let dense = rim.resampled(400);
    let rail = dense.points.iter().map(|p| -deck.outline_polygon().signed_distance(*p)).fold(f64::INFINITY, f64::min);
    let cure = format!("make enclosure.inset {:.1} mm larger", RAIL_MM - rail);
    out.push(Check::new("flange to rail", rail, RAIL_MM, cure));
    let wall = shell.wall_polygon();
    let washer = spec.screws.size.washer_mm() / 2.0;
    let to_wall = screws
        .iter()
        .map(|s| {
            let hole = trim::polygon(&s.ring(shell.back_mm(), 0.0), CHORD_MM);
            apart(&hole.points, &wall) + s.hole_mm / 2.0 - washer
        })
        .fold(f64::INFINITY, f64::min);
    let cure = format!(
        "make enclosure.flange {0:.1} mm wider, or screws.edge or enclosure.flange_chamfer {0:.1} mm smaller",
        -to_wall
    );
    out.push(Check::new("washer to wall", to_wall, 0.0, cure));
    if shell.groove.is_none() {
        // on a plain seat the strip lies inside the holes
        let inside = trim::polygon(&shell.wall_in[0], CHORD_MM);
        let room = screws
            .iter()
            .flat_map(|s| trim::polygon(&s.ring(shell.seat_mm(), 0.0), CHORD_MM).points)
            .map(|p| inside.signed_distance(p))
            .fold(f64::INFINITY, f64::min);
        let short = spec.strip_mm - room;
        let cure = format!(
            "make enclosure.flange {:.1} mm wider, screws.edge {short:.1} mm smaller or gasket.width {:.0} mm: the holes pierce a strip of {:.0} mm",
            if spec.screws.edge_mm.is_some() { short } else { 2.0 * short },
            room.floor(),
            spec.strip_mm
        );
        out.push(Check::new("room for the strip inside the screws", room, spec.strip_mm, cure));
    }
    if let Some(t) = &spec.trucks {
        out.extend(trucks(deck, shell, &rim, t, spec.sag_mm));
    }
    out
}

/// Height of the axles' line over `x`, mm, deck frame: from axle to axle, carried on beyond.
fn axles(deck: &Deck, t: &TruckSpec) -> impl Fn(f64) -> f64 {
    let half = t.wheelbase_mm / 2.0;
    let [rear, front] = [-half, half].map(|d| deck.underside.at(t.offset_mm + d, 0.0) + t.riser_mm + t.axle_height_mm);
    let (offset, wheelbase) = (t.offset_mm, t.wheelbase_mm);
    move |x| rear + (front - rear) * ((x - offset) / wheelbase + 0.5)
}

fn trucks(deck: &Deck, shell: &Shell, rim: &Polygon, t: &TruckSpec, sag_mm: f64) -> Vec<Check> {
    let axle = axles(deck, t);
    let half = t.wheelbase_mm / 2.0;
    let radius = t.wheel_mm / 2.0;
    // a parabola between the trucks: an estimate of the shape of the sag
    let sag = |x: f64| sag_mm * (1.0 - ((x - t.offset_mm) / half).powi(2)).max(0.0);
    let low = |p: [f64; 2], z: f64| z + sag(p[0]);
    let floor = shell.floor_outside_polygon();
    let mut places: Vec<([f64; 2], f64)> =
        inner_points(&floor).map(|p| (p, low(p, shell.floor_out.at(p[0], p[1])))).collect();
    places.extend(shell.floor_edge.iter().flat_map(|e| {
        let wall = trim::polygon(&e.on_wall, CHORD_MM).points;
        wall.into_iter().map(|p| (p, low(p, e.wall_z.at(p[0], p[1]))))
    }));
    places.extend(rim.points.iter().map(|p| (*p, low(*p, shell.back.at(p[0], p[1])))));
    let ground = |lean: f64, (p, z): &([f64; 2], f64)| radius - (z - axle(p[0])) * lean.cos() - p[1].abs() * lean.sin();
    let least = |lean: f64| places.iter().map(|p| ground(lean, p)).fold(f64::INFINITY, f64::min);
    let standing = least(0.0);
    let short = (ROAD_MM - standing).max(0.0);
    let mut out = vec![Check::new(
        "floor to ground, rider standing",
        standing,
        ROAD_MM,
        format!(
            "make enclosure.depth {short:.1} mm smaller, trucks.riser {short:.1} mm thicker or trucks.wheel {:.1} mm larger",
            2.0 * short
        ),
    )];
    let leaning = least(t.lean);
    let short = (MOVING_MM - leaning).max(0.0) / t.lean.cos();
    out.push(Check::new(
        "to ground at full lean",
        leaning,
        MOVING_MM,
        format!("make enclosure.depth {short:.1} mm smaller, enclosure.draft or enclosure.inset larger, or trucks.riser {short:.1} mm thicker"),
    ));
    let mut bite = f64::INFINITY;
    let mut plate = f64::INFINITY;
    for end in [-half, half] {
        let pivot = [t.offset_mm + end, 0.0];
        plate = plate.min(apart(&rectangle(PLATE_MM, 0.0, pivot, pivot), rim));
        for side in [-1.0, 1.0] {
            let wheel = [pivot[0], side * t.track_mm / 2.0];
            for k in -STEER_STEPS..=STEER_STEPS {
                // a truck whose pivot axis stands at 45 degrees steers by about the angle it leans
                let turn = t.lean * f64::from(k) / f64::from(STEER_STEPS);
                bite = bite.min(apart(&rectangle([radius, t.wheel_width_mm / 2.0], turn, wheel, pivot), rim));
            }
        }
    }
    let (lo, hi) = bounds(&rim.points);
    let shorter = |have: f64| {
        format!(
            "make enclosure.length ({:.0} mm) {:.0} mm shorter, or move it with enclosure.offset",
            hi[0] - lo[0],
            (2.0 * (MOVING_MM - have)).max(0.0).ceil()
        )
    };
    out.push(Check::new("flange to the wheels as they steer", bite, MOVING_MM, shorter(bite)));
    out.push(Check::new("flange to the trucks' baseplates", plate, MOVING_MM, shorter(plate)));
    out
}
