//! `[rim]`: what the flange is made of, for screws, gasket and growth.
use super::keys::{Form, Key};
use super::quantity::{MODULUS, quantity_or};
use super::{optional, ratio};
use crate::enclosure::BodySpec;
use crate::error::{Error, Result, Stage};
use crate::gap::{Flange, Growth};
use crate::mating::EnclosureSpec;
use serde::Deserialize;

/// What a growth is written with.
const GROWTH: Form = Form::Other("a growth with its unit: um/m/K or mm/m/K");
/// `[rim]`.
pub(super) const KEYS: &[Key] = &[
    Key::new(
        "material",
        Form::Other("\"PETG\", \"ABS\", \"ASA\", \"PLA\" or another name"),
        "what the enclosure is printed of",
    )
    .more("Another name needs rim.modulus and rim.growth with it.")
    .usual("\"PETG\""),
    Key::new("modulus", Form::Other("a modulus with its unit: MPa or GPa"), "the material's stiffness")
        .otherwise("as the material has it")
        .example("\"1.9 GPa\""),
    Key::new("lasting", Form::Percent, "the share of the stiffness that is left under a lasting load")
        .usual("\"50 %\""),
    Key::new("growth", GROWTH, "how much the material grows by warmth")
        .otherwise("as the material has it")
        .example("\"60 um/m/K\""),
    Key::new("thickness", Form::Length, "thickness of the flange")
        .otherwise("as the body has it, 5 mm without a body")
        .example("\"5 mm\""),
    Key::new("wall", Form::Length, "thickness of the wall beside the flange")
        .otherwise("as the body has it, no wall without a body")
        .example("\"3.5 mm\""),
    Key::new("wall_height", Form::Length, "height of the wall that bends with the flange")
        .otherwise("half of the body's depth, next to the flange")
        .example("\"20 mm\""),
    Key::new("pitch", Form::Length, "distance of the screws")
        .otherwise("as the body has it, 110 mm without a body")
        .example("\"90 mm\""),
    Key::new("deck_growth", GROWTH, "how much the deck grows by warmth").usual("\"6.1 um/m/K\""),
    Key::new("temperature", Form::Other("a difference in K"), "how much warmer or colder than when drilled")
        .usual("\"30 K\""),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct RimTable {
    material: Option<String>,
    modulus: Option<toml::Value>,
    lasting: Option<toml::Value>,
    thickness: Option<toml::Value>,
    wall: Option<toml::Value>,
    wall_height: Option<toml::Value>,
    pitch: Option<toml::Value>,
    growth: Option<toml::Value>,
    deck_growth: Option<toml::Value>,
    temperature: Option<toml::Value>,
}
/// Printed plastics: name, Young's modulus in MPa, growth in 1/K (common practice, no source: makers' data sheets say 1.7 to 2.2
/// GPa and 55 to 70 e-6 for PETG, 1.8 to 2.4 GPa and 80 to 100 e-6 for ABS and ASA, 3 to 4 GPa and 60 to 70 e-6 for PLA).
const MATERIALS: [(&str, f64, f64); 4] =
    [("PETG", 1900.0, 60e-6), ("ABS", 2000.0, 90e-6), ("ASA", 2000.0, 90e-6), ("PLA", 3300.0, 65e-6)];
/// Share of the modulus left after months under load (common practice, no source: about half at room temperature).
const LASTING_RATIO: f64 = 0.5;
/// Flange thickness where no body is made, mm, and distance of screws (common practice, no source: as for a body).
const THICKNESS_MM: f64 = 5.0;
const PITCH_MM: f64 = 110.0;
/// Growth of plywood along its face grain, 1/K (plywood with up to 60 % of the plies along: 3.4e-6 per degree F, American
/// Plywood Association's figure as quoted in wood handbooks; solid wood along its grain 3.1 to 4.5e-6 1/K, USDA Wood Handbook).
const DECK_GROWTH: f64 = 6.1e-6;
/// Difference of temperature to either side, K: a box drilled at 20 degrees and left in the sun at 50 (common practice, no source).
const TEMPERATURE_K: f64 = 30.0;
const PER_K: [(&str, f64); 2] = [("um/m/K", 1.0), ("mm/m/K", 1000.0)];

impl RimTable {
    pub(super) fn checked(
        &self,
        enclosure: Option<&EnclosureSpec>,
        body: Option<&BodySpec>,
    ) -> Result<(Flange, Growth)> {
        let name = self.material.as_deref().unwrap_or(MATERIALS[0].0).trim();
        let known = MATERIALS.iter().find(|m| m.0.eq_ignore_ascii_case(name));
        if known.is_none() && (self.modulus.is_none() || self.growth.is_none()) {
            let names: Vec<&str> = MATERIALS.iter().map(|m| m.0).collect();
            return Err(Error::new(
                Stage::Settings,
                format!("rim.material is \"{name}\", which is none of {}", names.join(", ")),
            )
            .hint("write one of them, or give rim.modulus = \"1.9 GPa\" and rim.growth = \"60 um/m/K\" with it"));
        }
        let (_, modulus, growth) = known.copied().unwrap_or((name, 0.0, 0.0));
        let mm = |key: &str, v: &Option<toml::Value>, default: f64, lo: f64, hi: f64| {
            optional(key, v.as_ref(), default, lo, hi)
        };
        let flange = Flange {
            material: name.to_owned(),
            modulus_mpa: quantity_or("rim.modulus", self.modulus.as_ref(), modulus, &MODULUS, 1.0, 1e6)?,
            lasting_ratio: self.lasting.as_ref().map_or(Ok(LASTING_RATIO), |v| ratio("rim.lasting", v))?,
            width_mm: enclosure.map_or(0.0, |e| e.flange_mm),
            thickness_mm: mm(
                "rim.thickness",
                &self.thickness,
                body.map_or(THICKNESS_MM, |b| b.shell.flange_mm),
                0.5,
                100.0,
            )?,
            wall_mm: mm("rim.wall", &self.wall, body.map_or(0.0, |b| b.shell.wall_mm), 0.0, 100.0)?,
            wall_height_mm: mm("rim.wall_height", &self.wall_height, wall_height(body), 0.0, 300.0)?,
            pitch_mm: mm("rim.pitch", &self.pitch, body.map_or(PITCH_MM, |b| b.screws.pitch_mm), 5.0, 1000.0)?,
        };
        let um = |key: &str, v: &Option<toml::Value>, default: f64| {
            quantity_or(key, v.as_ref(), default * 1e6, &PER_K, 0.0, 500.0).map(|u| u * 1e-6)
        };
        let growth = Growth {
            enclosure_per_k: um("rim.growth", &self.growth, growth)?,
            deck_per_k: um("rim.deck_growth", &self.deck_growth, DECK_GROWTH)?,
            change_k: quantity_or(
                "rim.temperature",
                self.temperature.as_ref(),
                TEMPERATURE_K,
                &[("K", 1.0)],
                0.0,
                150.0,
            )?,
        };
        Ok((flange, growth))
    }
}
/// Height of a body's wall, mm: half of the clear depth where that is known, the floor being a part of the same box; no more than
/// what bends with the flange.
fn wall_height(body: Option<&BodySpec>) -> f64 {
    match body.map(|b| &b.depth) {
        Some(depth) => depth.least_mm(body.map_or(&[], |b| &b.parts)) / 2.0,
        None => 0.0,
    }
}

#[cfg(test)]
mod tests {
    use crate::settings::Board;
    const OK: &str =
        "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[enclosure]\nlength='30 cm'\nflange='17 mm'\n[rim]\n";
    #[test]
    fn rim_keys() {
        let b = Board::parse(&format!("{OK}material='ABS'\nthickness='6 mm'\ntemperature='25 K'\n")).unwrap();
        assert_eq!((b.flange.width_mm, b.flange.thickness_mm, b.flange.modulus_mpa), (17.0, 6.0, 2000.0));
        assert!((b.growth.enclosure_per_k - 90e-6).abs() < 1e-12 && b.growth.change_k == 25.0);
        let own = "material='nylon'\nmodulus='1.2 GPa'\ngrowth='0.1 mm/m/K'\n";
        let b = Board::parse(&format!("{OK}{own}")).unwrap();
        assert_eq!(b.flange.modulus_mpa, 1200.0);
        assert!((b.growth.enclosure_per_k - 1e-4).abs() < 1e-12);
        for (line, want) in [
            ("material='jelly'", "none of PETG"),
            ("modulus=1900", "no unit"),
            ("temperature='400 K'", "outside 0 to 150"),
        ] {
            let e = Board::parse(&format!("{OK}{line}\n")).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{e}");
        }
    }
}
