//! 3MF: the meshes of all build items at their places, in mm.
//!
//! # References
//! 3MF Consortium, "3D Manufacturing Format, Core Specification" 1.3 and the production extension's paths to other parts.
use super::raw::{More, Raw};
use super::{ReadLimits, fail};
use crate::error::{Error, Result};
use quick_xml::events::{BytesStart, Event};
use quick_xml::{Reader, XmlVersion};
use std::collections::{BTreeMap, BTreeSet};
use std::io::Cursor;
use zip::ZipArchive;

const DAMAGED: &str = "the file is damaged or no 3MF file; export it again";
/// Where most writers put the model, if the package does not say.
const MODEL: &str = "3D/3dmodel.model";
/// The relation by which a package names its model.
const RELATION: &str = "http://schemas.microsoft.com/3dmanufacturing/2013/01/3dmodel";
/// Components may hold components; a file deeper than this refers to itself. Real ones have two or three levels.
const DEPTH: usize = 32;
/// Bytes that a placed point or triangle takes here, for the limit on what a small file may claim by repetition.
const PLACED: u64 = 24;

/// A row vector times this 4 x 3 matrix, row by row, is a placed point (core specification 3.3).
type Place = [f64; 12];
const STAY: Place = [1., 0., 0., 0., 1., 0., 0., 0., 1., 0., 0., 0.];

fn placed(m: &Place, p: [f64; 3]) -> [f64; 3] {
    std::array::from_fn(|k| p[0] * m[k] + p[1] * m[3 + k] + p[2] * m[6 + k] + m[9 + k])
}
/// `inner` first, then `outer`.
fn after(outer: &Place, inner: &Place) -> Place {
    let mut m = STAY;
    let origin = placed(outer, [0.0; 3]);
    for row in 0..4 {
        let v = placed(outer, [inner[3 * row], inner[3 * row + 1], inner[3 * row + 2]]);
        for k in 0..3 {
            m[3 * row + k] = if row < 3 { v[k] - origin[k] } else { v[k] };
        }
    }
    m
}

/// A reference to an object: the part's name and the object's number, and where it is put.
#[derive(Clone)]
struct Use {
    object: (String, u64),
    place: Place,
}
#[derive(Default)]
struct Object {
    points: Vec<[f64; 3]>,
    triangles: Vec<[u64; 3]>,
    components: Vec<Use>,
}
#[derive(Default)]
struct Model {
    unit_mm: Option<f64>,
    objects: BTreeMap<(String, u64), Object>,
    items: Vec<Use>,
    /// Parts named, and those of them that are still to be read.
    named: BTreeSet<String>,
    unread: Vec<String>,
}

fn wrong(why: impl std::fmt::Display) -> Error {
    fail(format!("the 3MF file cannot be read: {why}")).hint(DAMAGED)
}

struct Package<'a> {
    zip: ZipArchive<Cursor<&'a [u8]>>,
    limits: &'a ReadLimits,
    packed: usize,
    /// Bytes unpacked of all parts.
    unpacked: u64,
}
impl Package<'_> {
    fn part(&mut self, name: &str) -> Result<Option<String>> {
        let name = name.trim_start_matches('/');
        let Ok(file) = self.zip.by_name(name) else { return Ok(None) };
        let bytes = self.limits.unpack("the 3MF file", self.packed, file)?;
        self.unpacked += bytes.len() as u64;
        self.limits.allow("the 3MF file", self.packed, self.unpacked)?;
        String::from_utf8(bytes).map(Some).map_err(|_| wrong(format!("its part {name} is not UTF-8 text")))
    }
    /// The name of the model's part.
    fn model_name(&mut self) -> Result<String> {
        let Some(text) = self.part("_rels/.rels")? else { return Ok(MODEL.into()) };
        let mut found = None;
        each(&text, |name, tag| {
            if name == "Relationship" && attribute(tag, "Type")?.as_deref() == Some(RELATION) {
                found = attribute(tag, "Target")?;
            }
            Ok(())
        })?;
        Ok(found.unwrap_or_else(|| MODEL.into()))
    }
}

/// Calls `f` with the name and the tag of every element, in order.
fn each(text: &str, mut f: impl FnMut(&str, &BytesStart) -> Result<()>) -> Result<()> {
    let mut reader = Reader::from_str(text);
    loop {
        match reader.read_event() {
            Ok(Event::Start(tag) | Event::Empty(tag)) => f(tag.local_name().as_ref(), &tag)?,
            Ok(Event::Eof) => return Ok(()),
            Ok(_) => {}
            Err(e) => return Err(wrong(format!("{e} at byte {}", reader.error_position()))),
        }
    }
}
/// The attribute with this name, whatever its prefix.
fn attribute(tag: &BytesStart, name: &str) -> Result<Option<String>> {
    // looking for one name twice would compare each with all before it
    for a in tag.attributes().with_checks(false) {
        let a = a.map_err(wrong)?;
        if a.key.local_name().as_ref() == name {
            return a.normalized_value(XmlVersion::Implicit1_0).map(|v| Some(v.into_owned())).map_err(wrong);
        }
    }
    Ok(None)
}
fn needed<T: std::str::FromStr>(tag: &BytesStart, name: &str) -> Result<T> {
    let text = attribute(tag, name)?.unwrap_or_default();
    text.trim().parse().map_err(|_| wrong(format!("an element has {name} = \"{text}\"")))
}
fn reference(part: &str, tag: &BytesStart) -> Result<Use> {
    let part = attribute(tag, "path")?.map_or_else(|| part.to_owned(), |p| p.trim_start_matches('/').to_owned());
    let place = match attribute(tag, "transform")? {
        None => STAY,
        Some(text) => text
            .split_ascii_whitespace()
            .map(|w| w.parse().ok())
            .collect::<Option<Vec<f64>>>()
            .and_then(|v| v.try_into().ok())
            .ok_or_else(|| wrong(format!("a transform is not twelve numbers: \"{text}\"")))?,
    };
    Ok(Use { object: (part, needed(tag, "objectid")?), place })
}

impl Model {
    fn read_part(&mut self, part: &str, text: &str) -> Result<()> {
        let mut now = (part.to_owned(), 0);
        each(text, |name, tag| {
            match name {
                "model" => {
                    let unit = attribute(tag, "unit")?;
                    self.unit_mm = self.unit_mm.or(Some(match unit.as_deref() {
                        None | Some("millimeter") => 1.0,
                        Some("micron") => 0.001,
                        Some("centimeter") => 10.0,
                        Some("inch") => 25.4,
                        Some("foot") => 304.8,
                        Some("meter") => 1000.0,
                        Some(other) => return Err(wrong(format!("its unit is \"{other}\""))),
                    }));
                }
                "object" => {
                    now.1 = needed(tag, "id")?;
                    if self.objects.insert(now.clone(), Object::default()).is_some() {
                        return Err(wrong(format!("it has the object {} twice", now.1)));
                    }
                }
                "item" => {
                    let used = self.reference(part, tag)?;
                    self.items.push(used);
                }
                "vertex" | "triangle" | "component" => {
                    let used = if name == "component" { Some(self.reference(part, tag)?) } else { None };
                    let object = self
                        .objects
                        .get_mut(&now)
                        .ok_or_else(|| wrong(format!("a {name} stands outside an object")))?;
                    match name {
                        "vertex" => object.points.push([needed(tag, "x")?, needed(tag, "y")?, needed(tag, "z")?]),
                        "triangle" => {
                            object.triangles.push([needed(tag, "v1")?, needed(tag, "v2")?, needed(tag, "v3")?]);
                        }
                        _ => object.components.extend(used),
                    }
                }
                _ => {}
            }
            Ok(())
        })
    }
    /// An item or component; its part is read in its turn.
    fn reference(&mut self, part: &str, tag: &BytesStart) -> Result<Use> {
        let used = reference(part, tag)?;
        self.name(&used.object.0);
        Ok(used)
    }
    fn name(&mut self, part: &str) {
        if self.named.insert(part.to_owned()) {
            self.unread.push(part.to_owned());
        }
    }
}

/// The meshes as they are put in their places.
struct Placing<'a> {
    model: &'a Model,
    limits: &'a ReadLimits,
    packed: usize,
    /// Uses, points and triangles so far: components multiply, so that a small file can ask for any number.
    made: u64,
    raw: Raw,
}
impl Placing<'_> {
    fn put(&mut self, u: &Use, depth: usize) -> Result<()> {
        let object = self
            .model
            .objects
            .get(&u.object)
            .ok_or_else(|| wrong(format!("it uses the object {}, which it does not have", u.object.1)))?;
        if depth == DEPTH {
            return Err(wrong(format!("its objects hold each other more than {DEPTH} deep")));
        }
        self.made += 1 + (object.points.len() + object.triangles.len()) as u64;
        self.limits.allow("the 3MF file", self.packed, self.made.saturating_mul(PLACED))?;
        let (points, triangles) = (object.points.len() as u64, object.triangles.len() as u64);
        self.raw.allow(More { points, triangles, ..More::default() })?;
        let base = self.raw.points.len() as u64;
        self.raw.points.extend(object.points.iter().map(|p| placed(&u.place, *p)));
        let n = object.points.len() as u64;
        for t in &object.triangles {
            if let Some(i) = t.iter().find(|&&i| i >= n) {
                return Err(wrong(format!("a triangle names the point {i} of an object with {n} points, from 0")));
            }
            self.raw.triangle(t.map(|i| base + i));
        }
        for c in &object.components {
            self.put(&Use { object: c.object.clone(), place: after(&u.place, &c.place) }, depth + 1)?;
        }
        Ok(())
    }
}

pub(super) fn read(bytes: &[u8], limits: &ReadLimits) -> Result<Raw> {
    let zip = ZipArchive::new(Cursor::new(bytes)).map_err(wrong)?;
    let mut package = Package { zip, limits, packed: bytes.len(), unpacked: 0 };
    let mut model = Model::default();
    let root = package.model_name()?.trim_start_matches('/').to_owned();
    model.name(&root);
    while let Some(name) = model.unread.pop() {
        let text = package.part(&name)?.ok_or_else(|| {
            fail(format!("the zip file has no part {name}, so it is no 3MF file"))
                .hint("unzip it and give the scan in it")
        })?;
        model.read_part(&name, &text)?;
    }
    let mut raw = Raw::named("3mf", limits);
    raw.unit_mm = model.unit_mm;
    let mut placing = Placing { model: &model, limits, packed: bytes.len(), made: 0, raw };
    for item in &model.items {
        placing.put(item, 0)?;
    }
    Ok(placing.raw)
}
