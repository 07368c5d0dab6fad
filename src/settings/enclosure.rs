//! `[enclosure]`: place and rim; what its body asks for goes to `body`.
use super::keys::{Form, Key};
use super::{File, LONGEST_MM, body, bounded, optional, plan, ratio};
use crate::error::Result;
use crate::mating::EnclosureSpec;
use serde::Deserialize;

/// Squeeze that gasket makers call usual: 30 % of the free thickness (guides say 20 least, 35 to 40 ideal, 50 most).
const SQUEEZE_RATIO: f64 = 0.30;
/// Thickness of a common foam strip (common practice, no source).
const GASKET_MM: f64 = 3.0;
/// Thickest strip taken, mm: those sold go up to 10 (common practice, no source); more is a slip of the hand.
const MOST_GASKET_MM: f64 = 12.0;
/// Flange width without the wall, 15 to 20 mm (common practice, no source).
const FLANGE_MM: f64 = 16.0;
/// Distance of the footprint from the rail, 12 to 25 mm (common practice, no source).
pub const INSET_MM: f64 = 14.0;

/// `[enclosure]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("length", Form::Length, "its length along the board")
        .otherwise("needed, or enclosure.footprint; without [enclosure] no mating face is made")
        .example("\"340 mm\""),
    Key::new("offset", Form::Length, "its middle, from the board's middle towards the nose").usual("\"0 mm\""),
    Key::new("inset", Form::Length, "its distance from the rail").usual("\"14 mm\""),
    Key::new("width", Form::Length, "makes it a rectangle of this width")
        .instead(&["inset"])
        .otherwise("the plan follows the rail")
        .example("\"170 mm\""),
    Key::new("footprint", Form::File, "an SVG with one closed path: the plan as it is drawn")
        .more("Its numbers are mm, x to the nose from the middle of the board, y down to the board's right seen from the underside.")
        .instead(&["length", "width", "offset", "inset"])
        .otherwise("the plan follows the rail")
        .example("\"plan.svg\""),
    Key::new("flange", Form::Length, "width of the rim that seats, without the wall").usual("\"16 mm\""),
    Key::new("corner_radius", Form::Length, "radius of the plan's corners, 10 mm at least")
        .otherwise("the flange's width")
        .example("\"20 mm\""),
    Key::new("seat", Form::Word(&["plain", "groove"]), "how the gasket lies on the rim")
        .more("\"groove\": the strip lies in a groove inside the screws.")
        .usual("\"plain\""),
    Key::new("land", Form::Length, "gap of the lands beside a groove")
        .beside("seat = \"groove\"")
        .usual("\"0.5 mm\""),
    Key::new("gasket", Form::Length, "free thickness of the foam strip, up to 12 mm").usual("\"3 mm\""),
    Key::new("squeeze", Form::Percent, "how much of the gasket the screws press away").usual("\"30 %\""),
    Key::new("depth", Form::Other("a length, or \"parts\""), "least clear height inside, from deck to floor")
        .more("\"parts\": as the tallest [[part]] asks.")
        .otherwise("no body, only the mating face")
        .example("\"38 mm\""),
    Key::new("wall", Form::Length, "thickness of the walls").usual("\"3.5 mm\""),
    Key::new("floor", Form::Length, "thickness of the floor").usual("\"4 mm\""),
    Key::new("flange_thickness", Form::Length, "thickness of the flange").usual("\"5 mm\""),
    Key::new("draft", Form::Angle, "how far the walls lean in, from the flange's back on").usual("\"0 deg\"").example("\"3 deg\""),
    Key::new("floor_shape", Form::Word(&["flat", "following"]), "whether the floor is flat or follows the deck").usual("\"flat\""),
    Key::new("edge", Form::Length, "how much is taken off the floor's outer edge, as height off the wall")
        .more("\"0 mm\" leaves it sharp.")
        .usual("\"2 mm\""),
    Key::new("edge_shape", Form::Word(&["chamfer", "round"]), "the shape of that edge")
        .more("\"chamfer\" has 45 degrees and prints on the bed without support; \"round\" is for parts printed standing.")
        .usual("\"chamfer\""),
    Key::new("flange_chamfer", Form::Length, "45 degrees between the flange's back and the wall: less to support, and stiffer")
        .usual("\"0 mm\"")
        .example("\"4 mm\""),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct EnclosureTable {
    pub(super) length: Option<toml::Value>,
    pub(super) width: Option<toml::Value>,
    pub(super) footprint: Option<String>,
    pub(super) offset: Option<toml::Value>,
    pub(super) inset: Option<toml::Value>,
    pub(super) flange: Option<toml::Value>,
    pub(super) corner_radius: Option<toml::Value>,
    pub(super) gasket: Option<toml::Value>,
    pub(super) squeeze: Option<toml::Value>,
    pub(super) depth: Option<toml::Value>,
    pub(super) wall: Option<toml::Value>,
    pub(super) draft: Option<String>,
    pub(super) floor: Option<toml::Value>,
    pub(super) floor_shape: Option<String>,
    pub(super) flange_thickness: Option<toml::Value>,
    pub(super) flange_chamfer: Option<toml::Value>,
    pub(super) edge: Option<toml::Value>,
    pub(super) edge_shape: Option<String>,
    pub(super) seat: Option<String>,
    pub(super) land: Option<toml::Value>,
}
impl EnclosureTable {
    /// Its place and rim, on a board `width` mm wide.
    pub(super) fn spec(&self, width: f64) -> Result<EnclosureSpec> {
        let (length_mm, plan) = plan::checked(self, LONGEST_MM)?;
        let radius = |v| bounded("enclosure.corner_radius", v, 0.0, width / 2.0);
        Ok(EnclosureSpec {
            length_mm,
            plan,
            offset_mm: optional("enclosure.offset", self.offset.as_ref(), 0.0, -LONGEST_MM, LONGEST_MM)?,
            inset_mm: optional("enclosure.inset", self.inset.as_ref(), INSET_MM, 0.0, width / 2.0)?,
            flange_mm: optional("enclosure.flange", self.flange.as_ref(), FLANGE_MM, 1.0, width / 2.0)?,
            corner_radius_mm: self.corner_radius.as_ref().map(radius).transpose()?,
            gasket_mm: optional("enclosure.gasket", self.gasket.as_ref(), GASKET_MM, 0.0, MOST_GASKET_MM)?,
            squeeze_ratio: self.squeeze.as_ref().map_or(Ok(SQUEEZE_RATIO), |v| ratio("enclosure.squeeze", v))?,
        })
    }
    pub(super) fn body_tables<'a>(&'a self, f: &'a File, strip_mm: f64) -> body::BodyTables<'a> {
        body::BodyTables {
            enclosure: body::BodyTable {
                depth: &self.depth,
                wall: &self.wall,
                draft: &self.draft,
                floor: &self.floor,
                floor_shape: &self.floor_shape,
                flange_thickness: &self.flange_thickness,
                flange_chamfer: &self.flange_chamfer,
                edge: &self.edge,
                edge_shape: &self.edge_shape,
                seat: &self.seat,
                land: &self.land,
                strip_mm,
            },
            screws: f.screws.as_ref(),
            parts: &f.part,
            openings: &f.opening,
            trucks: f.trucks.as_ref(),
            printer: f.printer.as_ref(),
        }
    }
}
