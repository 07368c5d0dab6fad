//! The enclosure's body: `[enclosure]` beyond the rim, `[screws]`, `[[part]]`, `[[opening]]`, `[trucks]`.
use super::{bounded, length, optional};
use crate::enclosure::{
    Along, BodySpec, CableRoom, Depth, EdgeSpec, Fit, GrooveSpec, JointKind, OpeningShape, OpeningSpec, PartSpec,
    Position, PrinterSpec, ScrewSize, ScrewSpec, SealSpec, ShellSpec, Side, Through, TruckSpec,
};
use crate::error::{Error, Result, Stage};
use serde::Deserialize;

/// Thickness of walls, floor and flange, mm (common practice, no source: walls 3 to 4, floor 3 to 5).
const WALL_MM: f64 = 3.5;
const FLOOR_MM: f64 = 4.0;
const FLANGE_MM: f64 = 5.0;
/// Chamfer of the floor's outer edge, mm (common practice, no source: 1 to 3): scrapes less, and prints on the bed without
/// support, where a round would begin level with it.
const EDGE_MM: f64 = 2.0;
/// Distance from screw to screw, mm (common practice, no source: 100 to 120).
const PITCH_MM: f64 = 110.0;
/// Kept free round a part, mm: foam or a cable's width (common practice, no source).
const CLEARANCE_MM: f64 = 3.0;
/// Steepest draft taken, degrees: beyond it the floor is no floor.
const DRAFT_DEG: f64 = 45.0;
/// Width of a wheel, mm (common practice, no source).
const WHEEL_WIDTH_MM: f64 = 50.0;
/// Lean at which trucks stop and most that is taken, degrees (common practice, no source: 20 to 25).
const LEAN_DEG: [f64; 2] = [20.0, 45.0];
/// Gap between deck and the lands beside a groove, mm: what a print's warp takes (common practice, no source).
const LAND_MM: f64 = 0.5;
/// Depth of a seal face in the outside of floor or wall, mm: a few printed layers.
const SEAL_DEPTH_MM: f64 = 1.0;
/// Longest length taken for anything on a board, mm.
const LONGEST_MM: f64 = 4000.0;

type Value = Option<toml::Value>;

/// `[screws]`.
#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct ScrewTable {
    size: Option<String>,
    fit: Option<String>,
    pitch: Value,
    edge: Value,
    slip: Value,
    insert: Value,
    along: Option<String>,
    #[serde(default)]
    boss: bool,
}
/// `[[part]]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PartTable {
    name: String,
    length: toml::Value,
    width: toml::Value,
    height: toml::Value,
    clearance: Value,
    cable: Value,
    cable_side: Option<String>,
    at: Value,
    #[serde(default)]
    battery: bool,
}
/// `[[opening]]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct OpeningTable {
    name: String,
    at: toml::Value,
    diameter: Value,
    length: Value,
    width: Value,
    corner_radius: Value,
    through: Option<String>,
    above_floor: Value,
    seal: Value,
    seal_depth: Value,
}
/// `[trucks]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct TruckTable {
    wheelbase: toml::Value,
    offset: Value,
    wheel: toml::Value,
    wheel_width: Value,
    track: Value,
    axle_height: toml::Value,
    riser: Value,
    lean: Option<String>,
}
impl TruckTable {
    /// Between the axles, as written.
    pub(super) fn wheelbase(&self) -> &toml::Value {
        &self.wheelbase
    }
}
/// `[printer]`.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PrinterTable {
    bed: String,
    joint: Option<String>,
    layers: Option<String>,
}
/// Keys of `[enclosure]` that ask for a body.
pub(super) struct BodyTable<'a> {
    pub depth: &'a Value,
    pub wall: &'a Value,
    pub draft: &'a Option<String>,
    pub floor: &'a Value,
    pub floor_shape: &'a Option<String>,
    pub flange_thickness: &'a Value,
    pub flange_chamfer: &'a Value,
    pub edge: &'a Value,
    pub edge_shape: &'a Option<String>,
    pub seat: &'a Option<String>,
    pub land: &'a Value,
    /// Width of the gasket's strip, mm.
    pub strip_mm: f64,
}
/// The tables beside it.
pub(super) struct BodyTables<'a> {
    pub enclosure: BodyTable<'a>,
    pub screws: Option<&'a ScrewTable>,
    pub parts: &'a [PartTable],
    pub openings: &'a [OpeningTable],
    pub trucks: Option<&'a TruckTable>,
    pub printer: Option<&'a PrinterTable>,
}

fn wrong(message: String, hint: &str) -> Error {
    Error::new(Stage::Settings, message).hint(hint)
}
/// One of `names`, or the first when nothing is given.
fn choice<T: Copy>(key: &str, text: Option<&String>, names: &[(&str, T)]) -> Result<T> {
    let Some(t) = text else { return Ok(names[0].1) };
    names.iter().find(|n| n.0 == t.trim()).map(|n| n.1).ok_or_else(|| {
        let all: Vec<&str> = names.iter().map(|n| n.0).collect();
        wrong(
            format!("{key} is \"{t}\", which is none of {}", all.join(", ")),
            "write one of them between quotation marks",
        )
    })
}
/// An angle such as "3 deg", radians.
fn angle(key: &str, text: Option<&String>, default: f64, most: f64) -> Result<f64> {
    let Some(t) = text else { return Ok(default.to_radians()) };
    let number = t.trim().strip_suffix("deg").or_else(|| t.trim().strip_suffix('°')).map(str::trim);
    match number.and_then(|n| n.parse::<f64>().ok()) {
        Some(a) if (0.0..=most).contains(&a) => Ok(a.to_radians()),
        _ => Err(wrong(
            format!("{key} is \"{t}\", but must be an angle from 0 to {most} deg"),
            "write it as text, for example \"3 deg\"",
        )),
    }
}
fn place(key: &str, v: &toml::Value) -> Result<[f64; 2]> {
    match v.as_array().map(Vec::as_slice) {
        Some([x, y]) => Ok([bounded(key, x, -LONGEST_MM, LONGEST_MM)?, bounded(key, y, -LONGEST_MM, LONGEST_MM)?]),
        _ => Err(wrong(
            format!("{key} must be two lengths, along the board and across it, but is {v}"),
            "for example [\"-40 mm\", \"0 mm\"], from the middle of the board, x to the nose, y to its left seen from below",
        )),
    }
}

/// The body that the tables ask for; none without `enclosure.depth`.
pub(super) fn body(t: &BodyTables, width_mm: f64, sag_mm: f64) -> Result<Option<BodySpec>> {
    let e = &t.enclosure;
    let Some(depth) = e.depth else {
        let others = e.seat.is_some()
            || e.land.is_some()
            || e.wall.is_some()
            || e.floor.is_some()
            || e.flange_thickness.is_some()
            || e.flange_chamfer.is_some()
            || e.edge.is_some()
            || e.edge_shape.is_some()
            || e.draft.is_some();
        if others || e.floor_shape.is_some() || t.screws.is_some() || !t.parts.is_empty() || !t.openings.is_empty() {
            return Err(wrong(
                "the board file asks for walls, screws, parts or openings, but not how deep the enclosure is".into(),
                "add enclosure.depth, a length inside from deck to floor, or \"parts\" for as deep as the tallest [[part]] asks",
            ));
        }
        return Ok(None);
    };
    let depth = match depth {
        toml::Value::String(s) if s.trim() == "parts" => Depth::Parts,
        v => Depth::Clear(bounded("enclosure.depth", v, 1.0, 300.0)?),
    };
    let shell = ShellSpec {
        wall_mm: optional("enclosure.wall", e.wall.as_ref(), WALL_MM, 0.4, 30.0)?,
        draft: angle("enclosure.draft", e.draft.as_ref(), 0.0, DRAFT_DEG)?,
        floor_mm: optional("enclosure.floor", e.floor.as_ref(), FLOOR_MM, 0.4, 30.0)?,
        follow: choice("enclosure.floor_shape", e.floor_shape.as_ref(), &[("flat", false), ("following", true)])?,
        flange_mm: optional("enclosure.flange_thickness", e.flange_thickness.as_ref(), FLANGE_MM, 0.4, 30.0)?,
        groove: groove(e)?,
        floor_edge: floor_edge(e)?,
        flange_chamfer_mm: optional("enclosure.flange_chamfer", e.flange_chamfer.as_ref(), 0.0, 0.0, 50.0)?,
    };
    let none = ScrewTable::default();
    let s = t.screws.unwrap_or(&none);
    let size = s.size.as_deref().unwrap_or("M4");
    let screws = ScrewSpec {
        size: ScrewSize::named(size).ok_or_else(|| {
            wrong(format!("screws.size is \"{size}\", which is none of M3, M4, M5, M6"), "M4 is usual")
        })?,
        fit: choice(
            "screws.fit",
            s.fit.as_ref(),
            &[("medium", Fit::Medium), ("fine", Fit::Fine), ("coarse", Fit::Coarse)],
        )?,
        pitch_mm: optional("screws.pitch", s.pitch.as_ref(), PITCH_MM, 10.0, 1000.0)?,
        edge_mm: s.edge.as_ref().map(|v| bounded("screws.edge", v, 1.0, 200.0)).transpose()?,
        slip_mm: optional("screws.slip", s.slip.as_ref(), 0.0, 0.0, 30.0)?,
        insert_mm: s.insert.as_ref().map(|v| bounded("screws.insert", v, 1.0, 100.0)).transpose()?,
        along: choice("screws.along", s.along.as_ref(), &[("bench", Along::Bench), ("deck", Along::Deck)])?,
        boss: s.boss,
    };
    if screws.boss && screws.along == Along::Deck {
        return Err(wrong(
            "screws.boss is asked for holes along the deck's normal, to which the flange's back is square as it is"
                .into(),
            "take screws.boss out, or screws.along = \"bench\"",
        ));
    }
    let parts = t.parts.iter().map(part).collect::<Result<_>>()?;
    let openings = t.openings.iter().map(opening).collect::<Result<_>>()?;
    let trucks = t.trucks.map(|r| trucks(r, width_mm)).transpose()?;
    let printer = t.printer.map(printer).transpose()?;
    Ok(Some(BodySpec { depth, shell, screws, parts, openings, trucks, sag_mm, printer }))
}
fn groove(e: &BodyTable) -> Result<Option<GrooveSpec>> {
    let wanted = choice("enclosure.seat", e.seat.as_ref(), &[("plain", false), ("groove", true)])?;
    if e.land.is_some() && !wanted {
        return Err(wrong(
            "enclosure.land is given, but the rim is plain".into(),
            "add enclosure.seat = \"groove\", whose lands stand that far off the deck, or take enclosure.land out",
        ));
    }
    let land_mm = optional("enclosure.land", e.land.as_ref(), LAND_MM, 0.0, 10.0)?;
    Ok(wanted.then_some(GrooveSpec { strip_mm: e.strip_mm, land_mm }))
}
fn floor_edge(e: &BodyTable) -> Result<Option<EdgeSpec>> {
    let size_mm = optional("enclosure.edge", e.edge.as_ref(), EDGE_MM, 0.0, 30.0)?;
    let round = choice("enclosure.edge_shape", e.edge_shape.as_ref(), &[("chamfer", false), ("round", true)])?;
    Ok((size_mm > 0.0).then_some(EdgeSpec { size_mm, round }))
}
/// Three lengths with one unit at the end: "220 x 220 x 250 mm".
pub(super) fn printer(p: &PrinterTable) -> Result<PrinterSpec> {
    let unit = p.bed.trim_end().rfind(|c: char| c.is_ascii_digit()).map_or("", |i| &p.bed[i + 1..]);
    let sides: Vec<f64> = p
        .bed
        .trim()
        .strip_suffix(unit.trim())
        .unwrap_or(&p.bed)
        .split('x')
        .map(|s| bounded("printer.bed", &toml::Value::String(format!("{} {}", s.trim(), unit.trim())), 50.0, 2000.0))
        .collect::<Result<_>>()?;
    let joint = choice("printer.joint", p.joint.as_ref(), &[("tongue", JointKind::Tongue), ("butt", JointKind::Butt)])?;
    let layers_along = choice("printer.layers", p.layers.as_ref(), &[("any", false), ("along", true)])?;
    match sides.as_slice() {
        &[x, y, z] => Ok(PrinterSpec { bed_mm: [x, y, z], joint, layers_along }),
        _ => Err(wrong(
            format!("printer.bed is \"{}\", but must be width x depth x height", p.bed),
            "for example bed = \"220 x 220 x 250 mm\"",
        )),
    }
}
fn part(p: &PartTable) -> Result<PartSpec> {
    let size = |key: &str, v| bounded(&format!("part.{key} of '{}'", p.name), v, 0.1, LONGEST_MM);
    let sides = [("nose", Side::Nose), ("tail", Side::Tail), ("left", Side::Left), ("right", Side::Right)];
    let side = choice("part.cable_side", p.cable_side.as_ref(), &sides)?;
    if p.cable_side.is_some() && p.cable.is_none() {
        return Err(wrong(
            format!("part.cable_side of '{}' is given, but no room for cables", p.name),
            "add part.cable, how far plugs and bends of cables reach from the part, or take part.cable_side out",
        ));
    }
    let cable = p.cable.as_ref().map(|v| Ok(CableRoom { room_mm: size("cable", v)?, side })).transpose()?;
    Ok(PartSpec {
        name: p.name.clone(),
        cable,
        size_mm: [size("length", &p.length)?, size("width", &p.width)?, size("height", &p.height)?],
        clearance_mm: optional("part.clearance", p.clearance.as_ref(), CLEARANCE_MM, 0.0, 100.0)?,
        position: match &p.at {
            None => Position::Anywhere,
            Some(toml::Value::String(s)) if s.trim() == "anywhere" => Position::Anywhere,
            Some(v) => Position::At(place("part.at", v)?),
        },
        battery: p.battery,
    })
}
fn opening(o: &OpeningTable) -> Result<OpeningSpec> {
    let size = |key: &str, v| bounded(&format!("opening.{key} of '{}'", o.name), v, 0.5, LONGEST_MM);
    let shape = match (&o.diameter, &o.length, &o.width) {
        (Some(d), None, None) => OpeningShape::Circle(size("diameter", d)?),
        (None, Some(l), Some(w)) => {
            let radius = optional("opening.corner_radius", o.corner_radius.as_ref(), 0.0, 0.0, 200.0)?;
            OpeningShape::Rectangle([size("length", l)?, size("width", w)?], radius)
        }
        _ => {
            return Err(wrong(
                format!("the opening '{}' has neither a diameter alone nor a length and a width", o.name),
                "give opening.diameter, or opening.length and opening.width",
            ));
        }
    };
    let in_wall = choice("opening.through", o.through.as_ref(), &[("floor", false), ("wall", true)])?;
    let seal = (o.seal.as_ref())
        .map(|v| -> Result<SealSpec> {
            Ok(SealSpec {
                width_mm: size("seal", v)?,
                depth_mm: optional("opening.seal_depth", o.seal_depth.as_ref(), SEAL_DEPTH_MM, 0.2, 30.0)?,
            })
        })
        .transpose()?;
    let through = match (in_wall, &o.above_floor) {
        (true, Some(v)) => Through::Wall { above_floor_mm: size("above_floor", v)?, seal },
        (false, None) => Through::Floor { seal },
        _ => {
            return Err(wrong(
                format!("the opening '{}' mixes what a wall and a floor ask for", o.name),
                "with through = \"wall\" give above_floor, from the floor's inside to its middle; without it leave it out",
            ));
        }
    };
    Ok(OpeningSpec { name: o.name.clone(), at: place("opening.at", &o.at)?, shape, through })
}
fn trucks(t: &TruckTable, width_mm: f64) -> Result<TruckSpec> {
    let positive = |key: &str, v| bounded(&format!("trucks.{key}"), v, 1.0, LONGEST_MM);
    let wheel_width_mm = optional("trucks.wheel_width", t.wheel_width.as_ref(), WHEEL_WIDTH_MM, 1.0, 300.0)?;
    Ok(TruckSpec {
        wheelbase_mm: positive("wheelbase", &t.wheelbase)?,
        offset_mm: t.offset.as_ref().map_or(Ok(0.0), |v| length("trucks.offset", v))?,
        wheel_mm: positive("wheel", &t.wheel)?,
        wheel_width_mm,
        // wheels that end with the rail
        track_mm: t.track.as_ref().map_or(Ok((width_mm - wheel_width_mm).max(1.0)), |v| positive("track", v))?,
        axle_height_mm: positive("axle_height", &t.axle_height)?,
        riser_mm: optional("trucks.riser", t.riser.as_ref(), 0.0, 0.0, 100.0)?,
        lean: angle("trucks.lean", t.lean.as_ref(), LEAN_DEG[0], LEAN_DEG[1])?,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Board;

    const BARE: &str = "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[enclosure]\nlength='34 cm'\n";
    const FULL: &str = "depth='38 mm'\nwall='4 mm'\ndraft='3 deg'\nfloor='5 mm'\nfloor_shape='following'\nflange_thickness='6 mm'\nflange_chamfer='3 mm'\nedge='2.5 mm'\nedge_shape='round'\n\
        seat='groove'\nland='0.3 mm'\n[gasket]\nwidth='6 mm'\n\
        [screws]\nsize='M5'\nfit='coarse'\npitch='90 mm'\nedge='8 mm'\nslip='1.5 mm'\ninsert='8 mm'\nboss=true\n\
        [[part]]\nname='pack'\nlength='190 mm'\nwidth='70 mm'\nheight='3 cm'\nat=['-30 mm','0 mm']\nbattery=true\n\
        [[part]]\nname='controller'\nlength='60 mm'\nwidth='40 mm'\nheight='20 mm'\ncable='25 mm'\ncable_side='tail'\n\
        [[opening]]\nname='switch'\nat=['100 mm','-10 mm']\ndiameter='19 mm'\nseal='6 mm'\n\
        [[opening]]\nname='port'\nthrough='wall'\nat=['-170 mm','0 mm']\nlength='12 mm'\nwidth='8 mm'\nabove_floor='15 mm'\nseal='4 mm'\nseal_depth='0.5 mm'\n\
        [trucks]\nwheelbase='60 cm'\nwheel='90 mm'\naxle_height='58 mm'\nlean='22 deg'\n[printer]\nbed='220 x 220 x 250 mm'\njoint='butt'\nlayers='along'\n";

    #[test]
    fn a_full_board_file_is_read() {
        let b = Board::parse(&format!("{BARE}{FULL}")).unwrap().body.unwrap();
        assert_eq!(b.depth, Depth::Clear(38.0));
        assert_eq!((b.shell.wall_mm, b.shell.floor_mm, b.shell.flange_mm, b.shell.follow), (4.0, 5.0, 6.0, true));
        assert_eq!(b.shell.floor_edge, Some(EdgeSpec { size_mm: 2.5, round: true }));
        assert_eq!(b.shell.flange_chamfer_mm, 3.0);
        assert!((b.shell.draft.to_degrees() - 3.0).abs() < 1e-12);
        assert_eq!((b.screws.size, b.screws.fit, b.screws.insert_mm), (ScrewSize::M5, Fit::Coarse, Some(8.0)));
        assert_eq!(b.parts[0].position, Position::At([-30.0, 0.0]));
        assert!(
            b.parts[0].battery
                && b.parts[0].size_mm == [190.0, 70.0, 30.0]
                && b.parts[1].position == Position::Anywhere
        );
        assert_eq!(b.parts[1].cable, Some(CableRoom { room_mm: 25.0, side: Side::Tail }));
        assert_eq!(b.openings[0].shape, OpeningShape::Circle(19.0));
        let seal = Some(SealSpec { width_mm: 6.0, depth_mm: SEAL_DEPTH_MM });
        assert_eq!(b.openings[0].through, Through::Floor { seal });
        assert_eq!(
            b.openings[1].through,
            Through::Wall { above_floor_mm: 15.0, seal: Some(SealSpec { width_mm: 4.0, depth_mm: 0.5 }) }
        );
        assert_eq!(b.shell.groove, Some(GrooveSpec { strip_mm: 6.0, land_mm: 0.3 }));
        assert_eq!((b.screws.along, b.screws.boss), (Along::Bench, true));
        let p = b.printer.unwrap();
        assert_eq!((p.bed_mm, p.joint, p.layers_along), ([220.0, 220.0, 250.0], JointKind::Butt, true));
        let t = b.trucks.unwrap();
        assert_eq!((t.wheelbase_mm, t.track_mm, t.riser_mm), (600.0, 160.0, 0.0));
        assert!(Board::parse(BARE).unwrap().body.is_none(), "without a depth there is no body");
    }
    #[test]
    fn faults_are_named() {
        for (text, want) in [
            ("wall='3 mm'\n", "not how deep"),
            ("[screws]\nsize='M4'\n", "not how deep"),
            ("depth=40\n", "has no unit"),
            ("depth='40 mm'\ndraft='3'\n", "must be an angle"),
            ("depth='40 mm'\nfloor_shape='bent'\n", "none of flat, following"),
            ("depth='40 mm'\n[screws]\nsize='M4.5'\n", "none of M3"),
            ("depth='40 mm'\n[[opening]]\nname='x'\nat=['0 mm','0 mm']\nlength='3 mm'\n", "neither a diameter"),
            ("depth='40 mm'\n[[opening]]\nname='x'\nat='0 mm'\ndiameter='3 mm'\n", "two lengths"),
            (
                "depth='40 mm'\n[[opening]]\nname='x'\nat=['0 mm','0 mm']\ndiameter='3 mm'\nthrough='wall'\n",
                "mixes what a wall",
            ),
            ("depth='40 mm'\nland='1 mm'\n", "the rim is plain"),
            ("depth='40 mm'\nedge_shape='bevel'\n", "none of chamfer, round"),
            ("edge='2 mm'\n", "not how deep"),
            ("depth='40 mm'\nseat='hollow'\n", "none of plain, groove"),
            ("depth='40 mm'\n[screws]\nalong='deck'\nboss=true\n", "square as it is"),
            ("depth='40 mm'\n[printer]\nbed='220 x 220 mm'\n", "width x depth x height"),
            ("depth='40 mm'\n[printer]\nbed='220 x 220 x 250 mm'\njoint='dovetail'\n", "none of tongue, butt"),
            ("depth='40 mm'\n[printer]\nbed='220 x 220 x 250'\n", "has no unit"),
            ("depth='40 mm'\n[[part]]\nname='x'\nlength='3 mm'\nwidth='3 mm'\nheight='0 mm'\n", "part.height of 'x'"),
            (
                "depth='40 mm'\n[[part]]\nname='x'\nlength='3 mm'\nwidth='3 mm'\nheight='3 mm'\ncable_side='up'\n",
                "none of nose",
            ),
            (
                "depth='40 mm'\n[[part]]\nname='x'\nlength='3 mm'\nwidth='3 mm'\nheight='3 mm'\ncable_side='left'\n",
                "no room for cables",
            ),
        ] {
            let e = Board::parse(&format!("{BARE}{text}")).unwrap_err();
            assert!(e.message().contains(want), "{text}: {e}");
            assert!(e.hint_text().is_some());
        }
    }
}
