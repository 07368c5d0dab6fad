//! Footprint and mating face at the squeezed gasket's distance, and where no enclosure can go.
mod keep_outs;
use crate::deck::{Deck, offset_error, offset_warning};
use crate::error::{Error, Result, Stage, Warned, Warning};
use crate::geom::{Brep, Polygon, closed_fit, offset_within, trim};
use crate::num::{Curve, Knots, TensorSpline};
use crate::tolerance::CHORD_MM;
use geo::{BooleanOps, Buffer};
pub use keep_outs::{KeepOut, KeepOutKind, Room, keep_outs, longest_free, room_warnings, rooms};

/// What is asked of the enclosure's rim, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct EnclosureSpec {
    /// Along the board.
    pub length_mm: f64,
    /// Of its middle along the board, towards the nose.
    pub offset_mm: f64,
    /// From the rail.
    pub inset_mm: f64,
    /// Width of the rim that seats.
    pub flange_mm: f64,
    /// Radius of the footprint's corners; `None` takes the flange's width.
    pub corner_radius_mm: Option<f64>,
    /// Free thickness of the gasket.
    pub gasket_mm: f64,
    /// 1 - gap / free thickness.
    pub squeeze_ratio: f64,
    /// The footprint's shape.
    pub plan: PlanSpec,
}
/// The shape of a footprint.
#[derive(Debug, Clone, PartialEq)]
pub enum PlanSpec {
    /// The outline moved in by the inset and cut to length.
    Rail,
    /// A rectangle of this width, mm, along the board.
    Rectangle(f64),
    /// A closed line, mm, deck frame.
    Path(Polygon),
}
/// The plan of the enclosure's rim.
#[derive(Debug, Clone)]
pub struct Footprint {
    /// Outer border, counter-clockwise pieces.
    pub outer: Vec<Curve<2>>,
    /// Inner border, clockwise pieces.
    pub inner: Vec<Curve<2>>,
    /// The outer border as a polygon.
    pub outer_polygon: Polygon,
    /// The inner border as a polygon.
    pub inner_polygon: Polygon,
}
/// The face that meets the deck through the gasket.
#[derive(Debug, Clone)]
pub struct MatingFace {
    /// The face z(x, y).
    pub face: TensorSpline,
    /// Its plan.
    pub footprint: Footprint,
    /// Distance from the deck along the normal, mm.
    pub standoff_mm: f64,
    /// Height of the mating tool's flat side, mm.
    pub tool_floor_mm: f64,
}

/// Spans of a footprint's border: about 5 mm each, so that corner radii are followed within a few hundredths of a mm.
const SPANS: usize = 240;
/// Places on a drawn footprint at which it must lie within the outline.
const OVER_SAMPLES: usize = 400;
/// Corner radii below this would need shorter spans than [`SPANS`] gives, mm.
const LEAST_RADIUS_MM: f64 = 10.0;
/// How far the mating tool's flat side lies below the deck's lowest place over the footprint, mm: enough to hold on to.
const TOOL_MARGIN_MM: f64 = 10.0;

/// How far a drawn footprint's line may be off, mm: a tenth of what its border is then fitted within.
const DRAWN_MM: f64 = 0.005;
/// Most points of a drawn footprint: moving the border in and out compares pieces with each other, and more than a point each
/// millimetre of it is no drawing but noise.
const MOST_POINTS: usize = 2000;

fn fail(message: String, hint: &str) -> Error {
    Error::new(Stage::Mating, message).hint(hint)
}
fn to_geo(p: &Polygon) -> geo::Polygon<f64> {
    geo::Polygon::new(p.points.iter().map(|q| (q[0], q[1])).collect(), vec![])
}
/// The single ring of a shape, counter-clockwise; `None` when there is none or more than one.
fn ring(m: &geo::MultiPolygon<f64>) -> Option<Polygon> {
    let [one] = m.0.as_slice() else { return None };
    let mut points: Vec<[f64; 2]> = one.exterior().coords().map(|c| [c.x, c.y]).collect();
    points.pop();
    let mut p = Polygon { points };
    if p.signed_area() < 0.0 {
        p.points.reverse();
    }
    (p.points.len() > 3).then_some(p)
}

/// The border begun an eighth of its length from its rearmost place: its quarters, where its pieces meet, then lie between the
/// middles of the sides and of the ends, where openings go.
fn away_from_middles(p: &Polygon) -> Polygon {
    let mut far = 0.0;
    let mut rearmost: Option<(f64, f64)> = None;
    for (a, b) in p.edges() {
        let l = (a[0] - b[0]).hypot(a[1] - b[1]);
        if (a[1] > 0.0) != (b[1] > 0.0) {
            let t = a[1] / (a[1] - b[1]);
            let x = a[0] + t * (b[0] - a[0]);
            if rearmost.is_none_or(|r| x < r.0) {
                rearmost = Some((x, far + t * l));
            }
        }
        far += l;
    }
    p.begun_at(rearmost.map_or(0.0, |r| r.1) + far / 8.0)
}

/// The plan of the rim: the outline moved in by the inset, cut to length, corners rounded; the flange inside it.
///
/// # Errors
/// A length, inset or flange that leaves no room.
pub fn footprint(outline: &Polygon, spec: &EnclosureSpec) -> Result<Footprint> {
    let (lo, hi) = outline.bounds();
    let (x0, x1) = (spec.offset_mm - spec.length_mm / 2.0, spec.offset_mm + spec.length_mm / 2.0);
    let shape = match &spec.plan {
        PlanSpec::Rail => None,
        PlanSpec::Rectangle(width) => {
            let h = width / 2.0;
            Some(Polygon { points: vec![[x0, -h], [x1, -h], [x1, h], [x0, h]] })
        }
        PlanSpec::Path(p) => Some(p.clone()),
    };
    let room = hi[0] - lo[0] - 2.0 * spec.inset_mm;
    let too_long = spec.length_mm > room || spec.offset_mm.abs() + spec.length_mm / 2.0 > room / 2.0;
    if shape.is_none() && too_long {
        return Err(fail(
            format!(
                "an enclosure of {:.1} mm, {:.1} mm off the middle, does not fit within the {room:.1} mm that the inset leaves",
                spec.length_mm, spec.offset_mm
            ),
            "shorten enclosure.length or bring enclosure.offset nearer to 0 mm",
        ));
    }
    let band = geo::Rect::new((x0, lo[1] - 1.0), (x1, hi[1] + 1.0)).to_polygon();
    let no_room = |what: &str| {
        fail(
            format!(
                "{what} leaves no room: inset {:.1} mm, flange {:.1} mm, board {:.1} mm wide",
                spec.inset_mm,
                spec.flange_mm,
                hi[1] - lo[1]
            ),
            "make enclosure.inset or enclosure.flange smaller",
        )
    };
    let radius = spec.corner_radius_mm.unwrap_or(spec.flange_mm).max(LEAST_RADIUS_MM);
    let cut = match &shape {
        None => to_geo(outline).buffer(-spec.inset_mm).intersection(&band),
        Some(p) => {
            let dense = p.resampled(OVER_SAMPLES);
            let over = dense.points.iter().map(|q| outline.signed_distance(*q)).fold(f64::NEG_INFINITY, f64::max);
            if over > 0.0 || p.points.len() < 3 {
                return Err(fail(
                    format!("the footprint of {} points hangs {over:.1} mm over the rail", p.points.len()),
                    "draw it smaller or move it: mm, x to the nose, from the middle of the board; a drawing's file must be read",
                ));
            }
            let p = p.thinned(DRAWN_MM);
            if p.points.len() > MOST_POINTS {
                return Err(fail(
                    format!(
                        "the footprint's drawing needs {} points to be followed within {DRAWN_MM} mm, the limit is {MOST_POINTS}",
                        p.points.len()
                    ),
                    "draw it with smooth curves: a traced line that trembles has a point at every tremble",
                ));
            }
            to_geo(&p).buffer(0.0)
        }
    };
    // in by the radius and out again rounds every outer corner
    let outer = ring(&cut.buffer(-radius).buffer(radius)).ok_or_else(|| no_room("the inset"))?;
    let inner = ring(&cut.buffer(-spec.flange_mm - radius).buffer(radius)).ok_or_else(|| no_room("the flange"))?;
    let pieces = |p: &Polygon| closed_fit(&away_from_middles(p), SPANS).map(|c| trim::pieces(&c));
    let outer = pieces(&outer).ok_or_else(|| no_room("the inset"))?;
    let clockwise = Polygon { points: inner.points.iter().rev().copied().collect() };
    let inner = pieces(&clockwise).ok_or_else(|| no_room("the flange"))?;
    Ok(Footprint {
        outer_polygon: trim::polygon(&outer, CHORD_MM),
        inner_polygon: trim::polygon(&inner, CHORD_MM),
        outer,
        inner,
    })
}

impl Footprint {
    /// The inner border, counter-clockwise, in pieces that meet this share of a piece further on than those of `inner`.
    pub fn inner_from(&self, share: f64) -> Option<Vec<Curve<2>>> {
        if share == 0.0 {
            return Some(self.inner.iter().rev().map(Curve::reversed).collect());
        }
        let p = Polygon { points: self.inner_polygon.points.iter().rev().copied().collect() };
        let far = share * p.perimeter() / self.inner.len() as f64;
        closed_fit(&p.begun_at(far), SPANS).map(|c| trim::pieces(&c))
    }
}

/// Makes the mating face of `spec` on `deck`.
///
/// # Errors
/// As [`footprint`], and an offset that folds.
pub fn make_mating(deck: &Deck, spec: &EnclosureSpec) -> Result<Warned<MatingFace>> {
    let footprint = footprint(&deck.outline_polygon(), spec)?;
    let standoff_mm = spec.gasket_mm * (1.0 - spec.squeeze_ratio);
    let coarse = footprint.outer_polygon.resampled(300);
    let (face, off) = offset_within(&deck.underside, standoff_mm, |x, y| coarse.contains([x, y]))
        .map_err(|f| offset_error(Stage::Mating, "the mating face", standoff_mm, &f))?;
    let lowest = footprint
        .outer_polygon
        .points
        .iter()
        .map(|p| deck.underside.at(p[0], p[1]))
        .fold(deck.underside.at(spec.offset_mm, 0.0), f64::min);
    let tool_floor_mm = lowest - deck.thickness_mm - TOOL_MARGIN_MM;
    let mut warnings = deck_holes(deck, &footprint);
    warnings.extend(offset_warning(Stage::Mating, "the mating face", off));
    if let Some(r) = spec.corner_radius_mm.filter(|r| *r < LEAST_RADIUS_MM) {
        warnings.push(Warning::new(
            Stage::Mating,
            format!("enclosure.corner_radius of {r:.1} mm is not made: corners are rounded to {LEAST_RADIUS_MM:.0} mm, the least that the border follows"),
            format!("write enclosure.corner_radius = \"{LEAST_RADIUS_MM:.0} mm\" or more"),
        ));
    }
    Ok(Warned::with(MatingFace { face, footprint, standoff_mm, tool_floor_mm }, warnings))
}

/// Holes through the deck that the rim lies on, or that open into the box: water comes through either.
fn deck_holes(deck: &Deck, footprint: &Footprint) -> Vec<Warning> {
    let told = |(p, d): ([f64; 2], f64)| {
        let r = d / 2.0;
        if footprint.outer_polygon.signed_distance(p) >= r {
            return None;
        }
        let [x, y] = p.map(|v| v.round() + 0.0);
        let (what, hint) = if footprint.inner_polygon.signed_distance(p) < -r {
            (
                "opens into the enclosure",
                "close it with a sealed plug or cable gland, or move the enclosure with enclosure.offset or .length",
            )
        } else {
            (
                "lies under the rim, where the strip cannot seal",
                "move the enclosure with enclosure.offset, .length or .inset, or fill the hole and glue it shut",
            )
        };
        Some(Warning::new(
            Stage::Mating,
            format!("the deck's hole of {d:.1} mm at x = {x} mm, y = {y} mm {what}: water comes through it from above"),
            hint,
        ))
    };
    deck.hole_places().into_iter().filter_map(told).collect()
}

impl MatingFace {
    /// The flange's open face.
    pub fn flange_face(&self) -> Brep {
        trim::face("mating face", &self.face, &[self.footprint.outer.clone(), self.footprint.inner.clone()])
    }
    /// A solid on the deck's side of the mating face: cut it from an enclosure's body and the rest meets the face.
    pub fn tool(&self) -> Brep {
        let (x, y) = (self.face.x.range(), self.face.y.range());
        let flat = TensorSpline {
            x: Knots::uniform(3, 1, x.0, x.1),
            y: Knots::uniform(3, 1, y.0, y.1),
            c: vec![self.tool_floor_mm; 16],
        };
        trim::slab("mating tool", &self.face, &flat, &self.footprint.outer, ["mating face", "flat side", "side"])
    }
}
