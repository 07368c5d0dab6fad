//! MTL: the picture and the colour of each material of an OBJ.
//!
//! # References
//! Wavefront, "Material Template Library (.mtl)", appendix B of the Advanced Visualizer manual.
use super::raw::Raw;
use super::skin::{Skin, Source, Wrap, linear};
use std::collections::BTreeMap;

/// What a material says of its colour.
#[derive(Debug, Clone, Default, PartialEq)]
pub(super) struct Material {
    /// Diffuse colour, 0 to 1 as a screen shows it.
    colour: Option<[f64; 3]>,
    map: Option<Map>,
}
/// A picture that a material is made of.
#[derive(Debug, Clone, Default, PartialEq)]
struct Map {
    name: String,
    clamped: bool,
    /// Whether the picture is scaled, shifted or stirred on the face.
    moved: bool,
}
pub(super) type Materials = BTreeMap<String, Material>;

/// The next word of `rest`, which is taken off.
fn word<'a>(rest: &mut &'a str) -> Option<&'a str> {
    let text = rest.trim_start();
    let end = text.find(char::is_whitespace).unwrap_or(text.len());
    let (word, after) = text.split_at(end);
    *rest = after;
    (!word.is_empty()).then_some(word)
}
/// A map's options, and its name, which may hold blanks.
fn map(mut rest: &str) -> Map {
    let mut map = Map::default();
    while rest.trim_start().starts_with('-') {
        let option = word(&mut rest).unwrap_or_default();
        let first = word(&mut rest).unwrap_or_default();
        match option {
            "-clamp" => map.clamped = first == "on",
            "-mm" => drop(word(&mut rest)),
            "-o" | "-s" | "-t" => {
                // one to three numbers; those of none are left where they are
                let still = if option == "-s" { 1.0 } else { 0.0 };
                let mut value = first.parse::<f64>().ok();
                for _ in 0..3 {
                    map.moved |= value.is_some_and(|v| v != still);
                    let mut ahead = rest;
                    value = word(&mut ahead).and_then(|w| w.parse().ok());
                    if value.is_some() {
                        rest = ahead;
                    }
                }
            }
            // -blendu, -blendv, -boost, -bm, -cc, -imfchan, -texres, -type: one word, of no concern here
            _ => {}
        }
    }
    Map { name: rest.trim().to_owned(), ..map }
}

/// Adds the materials of a file to `all`; what is no material is passed over.
pub(super) fn read(bytes: &[u8], all: &mut Materials) {
    let mut name = String::new();
    for line in bytes.split(|&b| b == b'\n' || b == b'\r') {
        let line = String::from_utf8_lossy(line);
        let mut rest = line.trim_start_matches('\u{feff}');
        let keyword = word(&mut rest).unwrap_or_default();
        match keyword {
            "newmtl" => {
                rest.trim().clone_into(&mut name);
                all.insert(name.clone(), Material::default());
            }
            "Kd" => {
                let values: Vec<f64> = rest.split_whitespace().map_while(|w| w.parse().ok()).take(3).collect();
                if let (Some(m), Ok(colour)) = (all.get_mut(&name), values.try_into()) {
                    m.colour = Some(colour);
                }
            }
            "map_Kd" => {
                if let Some(m) = all.get_mut(&name) {
                    m.map = Some(map(rest));
                }
            }
            _ => {}
        }
    }
}

/// Turns the faces of `raw`, which name materials by their place in `names`, to the skins of these; faces whose material has no picture
/// are left out.
pub(super) fn dress(raw: &mut Raw, names: &[String], materials: &Materials) {
    let mut pictures: BTreeMap<(&str, bool), u32> = BTreeMap::new();
    let mut skins: Vec<Option<u32>> = Vec::with_capacity(names.len());
    for name in names {
        let material = materials.get(name).and_then(|m| Some((m.colour, m.map.as_ref()?)));
        let Some((colour, map)) = material.filter(|(_, map)| !map.name.is_empty()) else {
            skins.push(None);
            continue;
        };
        let picture = *pictures.entry((&map.name, map.moved)).or_insert_with(|| {
            let moved =
                || Source::Unread("is scaled or shifted by its material (-s, -o or -t), which is not read".into());
            raw.picture(&map.name, if map.moved { moved() } else { Source::Beside })
        });
        // some programs write black beside a picture, and mean the picture
        let colour = colour.filter(|c| c.iter().any(|v| *v > 0.0)).unwrap_or([1.0; 3]);
        let factor = colour.map(|v| linear(v.clamp(0.0, 1.0)));
        let wrap = [if map.clamped { Wrap::Clamp } else { Wrap::Repeat }; 2];
        skins.push(Some(raw.skin(Skin { picture, wrap, factor })));
    }
    raw.skinned.retain_mut(|f| {
        let skin = skins.get(f.skin as usize).copied().flatten();
        f.skin = skin.unwrap_or_default();
        skin.is_some()
    });
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_materials_picture_is_found_behind_its_options() {
        for (line, name, clamped, moved) in [
            ("deck.jpg", "deck.jpg", false, false),
            ("  my deck 1.jpg \r", "my deck 1.jpg", false, false),
            ("-clamp on deck.jpg", "deck.jpg", true, false),
            ("-s 1 1 1 -o 0 0 0 -mm 0 1 deck.jpg", "deck.jpg", false, false),
            ("-o 0.5 deck.jpg", "deck.jpg", false, true),
            ("-s 2 2 -blendu off -texres 512 maps/deck.jpg", "maps/deck.jpg", false, true),
            ("-clamp", "", false, false),
        ] {
            let mut all = Materials::new();
            read(format!("newmtl a b\nKd 0.5 0.25 1\nmap_Kd {line}\n").as_bytes(), &mut all);
            let m = &all["a b"];
            assert_eq!(m.colour, Some([0.5, 0.25, 1.0]));
            assert_eq!(m.map, Some(Map { name: name.into(), clamped, moved }), "{line}");
        }
    }
}
