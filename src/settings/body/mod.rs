//! The enclosure's body: `[enclosure]` beyond the rim, `[screws]`, `[[part]]`, `[[opening]]`, `[trucks]`.
mod openings;
mod parts;
mod printer;
mod screws;
mod trucks;

pub(super) use openings::{KEYS as OPENING_KEYS, OpeningTable};
pub(super) use parts::{KEYS as PART_KEYS, PartTable};
pub(super) use printer::{KEYS as PRINTER_KEYS, PrinterTable, printer};
pub(super) use screws::{KEYS as SCREW_KEYS, ScrewTable};
pub(super) use trucks::{KEYS as TRUCK_KEYS, TruckTable};

use super::{LONGEST_MM, bounded, few, length, optional, within};
use crate::enclosure::{BodySpec, Depth, EdgeSpec, GrooveSpec, ShellSpec};
use crate::error::{Error, Result, Stage, meant};
use openings::opening;
use parts::part;
use screws::screws;
use trucks::trucks;

/// Thickness of walls, floor and flange, mm (common practice, no source: walls 3 to 4, floor 3 to 5).
const WALL_MM: f64 = 3.5;
const FLOOR_MM: f64 = 4.0;
const FLANGE_MM: f64 = 5.0;
/// Chamfer of the floor's outer edge, mm (common practice, no source: 1 to 3): scrapes less, and prints on the bed without
/// support, where a round would begin level with it.
const EDGE_MM: f64 = 2.0;
/// Steepest draft taken, degrees: beyond it the floor is no floor.
const DRAFT_DEG: f64 = 45.0;
/// Gap between deck and the lands beside a groove, mm: what a print's warp takes (common practice, no source).
const LAND_MM: f64 = 0.5;
/// Most parts, and most openings: an enclosure has some ten.
const MOST: usize = 50;
/// Thinnest wall, floor and flange taken, mm: three lines of a common 0.4 mm nozzle. Thinner ones hold neither a screw nor water.
const LEAST_PRINT_MM: f64 = 1.2;

type Value = Option<toml::Value>;

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
            &meant(t, all.iter().copied()).map_or_else(
                || "write one of them between quotation marks".into(),
                |m| format!("did you mean \"{m}\"?"),
            ),
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
        v => {
            let mm = length("enclosure.depth", v).map_err(|e| {
                let hint = "write a length with its unit, for example \"45 mm\", or \"parts\" for as deep as the tallest [[part]] asks";
                wrong(e.message().to_owned(), hint)
            })?;
            Depth::Clear(within("enclosure.depth", mm, 1.0, 300.0)?)
        }
    };
    let shell = ShellSpec {
        wall_mm: optional("enclosure.wall", e.wall.as_ref(), WALL_MM, LEAST_PRINT_MM, 30.0)?,
        draft: angle("enclosure.draft", e.draft.as_ref(), 0.0, DRAFT_DEG)?,
        floor_mm: optional("enclosure.floor", e.floor.as_ref(), FLOOR_MM, LEAST_PRINT_MM, 30.0)?,
        follow: choice("enclosure.floor_shape", e.floor_shape.as_ref(), &[("flat", false), ("following", true)])?,
        flange_mm: optional(
            "enclosure.flange_thickness",
            e.flange_thickness.as_ref(),
            FLANGE_MM,
            LEAST_PRINT_MM,
            30.0,
        )?,
        groove: groove(e)?,
        floor_edge: floor_edge(e)?,
        flange_chamfer_mm: optional("enclosure.flange_chamfer", e.flange_chamfer.as_ref(), 0.0, 0.0, 50.0)?,
    };
    let screws = screws(t.screws)?;
    few("[[part]]", t.parts.len(), MOST)?;
    few("[[opening]]", t.openings.len(), MOST)?;
    let parts = t.parts.iter().map(part).collect::<Result<_>>()?;
    let openings = t.openings.iter().map(opening).collect::<Result<_>>()?;
    let trucks = t.trucks.map(|r| trucks(r, width_mm)).transpose()?;
    let printer = t.printer.map(printer).transpose()?;
    Ok(Some(BodySpec { depth, shell, screws, strip_mm: e.strip_mm, parts, openings, trucks, sag_mm, printer }))
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

#[cfg(test)]
mod tests {
    use super::openings::SEAL_DEPTH_MM;
    use super::*;
    use crate::Board;
    use crate::enclosure::{
        Along, CableRoom, Fit, JointKind, OpeningShape, Position, ScrewSize, SealSpec, Side, Through,
    };

    const BARE: &str =
        "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[deck]\nthickness='11 mm'\n[enclosure]\nlength='34 cm'\n";
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
