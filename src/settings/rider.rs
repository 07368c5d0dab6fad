//! `[rider]`.
use super::keys::{Form, Key};
use super::quantity::{MODULUS, quantity, quantity_or};
use super::{LONGEST_MM, bounded, optional, ratio};
use crate::error::{Error, Result, Stage};
use crate::load::{Load, RiderSpec, Sag, Weight, layup_ratio};
use serde::Deserialize;

/// `[rider]`: one of `sag` and `mass` is needed.
pub(super) const KEYS: &[Key] = &[
    Key::new("sag", Form::Length, "how far the deck sags at mid wheelbase under the rider, standing still")
        .more("Measured, it counts before rider.mass.")
        .otherwise("computed from rider.mass, an estimate")
        .example("\"8 mm\""),
    Key::new(
        "mass",
        Form::Other("a mass with its unit: kg or lb"),
        "the rider's mass, from which the sag is estimated",
    )
    .otherwise("rider.sag is needed; without a rider gaps are known at rest only")
    .example("\"80 kg\""),
    Key::new("wood", Form::Word(&["maple", "birch"]), "the deck's wood, for the estimate").usual("\"maple\""),
    Key::new("modulus", Form::Other("a modulus with its unit: MPa or GPa"), "the wood's stiffness along its grain")
        .otherwise("as the wood has it: 12.6 GPa for maple, 13.9 GPa for birch")
        .example("\"12.6 GPa\""),
    Key::new("layup", Form::Other("plies or a percentage"), "the deck's plies: L along the board, X across")
        .more("Or the share of the stiffness that is left: \"73 %\".")
        .usual("\"LXLLLXL\""),
    Key::new("wheelbase", Form::Length, "the span of the deck between the trucks")
        .otherwise("trucks.wheelbase, else tape.wheelbase, else 2.9 widths")
        .example("\"640 mm\""),
    Key::new("load", Form::Word(&["feet", "centre", "uniform"]), "where the rider stands").usual("\"feet\""),
    Key::new("feet", Form::Length, "how far the feet are apart")
        .otherwise("0.65 of the wheelbase")
        .example("\"420 mm\""),
    Key::new("jump", Form::Number, "sag when jumping over sag when standing still, usually 1.4 to 2").usual("2.0"),
];

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RiderTable {
    sag: Option<toml::Value>,
    mass: Option<toml::Value>,
    wood: Option<String>,
    modulus: Option<toml::Value>,
    layup: Option<toml::Value>,
    wheelbase: Option<toml::Value>,
    load: Option<String>,
    feet: Option<toml::Value>,
    jump: Option<f64>,
}
/// Wheelbase over width of usual boards (common practice, no source: 699 mm on 241 mm).
const WHEELBASE_RATIO: f64 = 2.9;
/// Distance of a rider's feet over the wheelbase (common practice, no source: some 450 mm on 700 mm).
const FEET_RATIO: f64 = 0.65;
/// Sag jumping over sag standing (common practice, no source: 1.4 to 2); the larger errs to the safe side.
const JUMP_RATIO: f64 = 2.0;
/// Woods with Young's modulus along the grain, MPa (USDA Wood Handbook, 12 % moisture).
const WOODS: [(&str, f64); 2] = [("maple", 12_600.0), ("birch", 13_900.0)];
/// Plies of a usual pressed deck (common practice, no source).
const PLIES: &str = "LXLLLXL";
const MASS: [(&str, f64); 2] = [("kg", 1.0), ("lb", 0.453_592_37)];

impl RiderTable {
    fn weight(&self) -> Result<Sag> {
        let Some(mass) = &self.mass else {
            return Err(Error::new(Stage::Settings, "[rider] has neither sag nor mass")
                .hint("measure rider.sag, or give rider.mass = \"80 kg\" to have it estimated"));
        };
        let wood = self.wood.as_deref().unwrap_or(WOODS[0].0);
        let Some((_, modulus)) = WOODS.iter().find(|w| w.0 == wood) else {
            return Err(Error::new(
                Stage::Settings,
                format!("rider.wood is \"{wood}\", which is neither maple nor birch"),
            )
            .hint("leave it out and give the modulus along the grain: rider.modulus = \"12.6 GPa\""));
        };
        let layup_ratio = match &self.layup {
            None => layup_ratio(PLIES),
            Some(v) if v.as_str().is_some_and(|t| t.contains('%')) => Some(ratio("rider.layup", v)?),
            Some(v) => v.as_str().and_then(layup_ratio),
        };
        let Some(layup_ratio) = layup_ratio.filter(|r| *r > 0.0) else {
            return Err(Error::new(Stage::Settings, "rider.layup is no list of plies")
                .hint("write L for a ply along the board and X for one across, such as \"LXLLLXL\", or a share such as \"73 %\""));
        };
        Ok(Sag::Weight(Weight {
            mass_kg: quantity("rider.mass", mass, &MASS, 1.0, 300.0)?,
            modulus_mpa: quantity_or("rider.modulus", self.modulus.as_ref(), *modulus, &MODULUS, 100.0, 300_000.0)?,
            layup_ratio,
        }))
    }
    /// `trucks` is `trucks.wheelbase`, or else `tape.wheelbase`, taken where the rider's own is left out.
    pub(super) fn checked(&self, width: f64, trucks: Option<&toml::Value>) -> Result<RiderSpec> {
        let sag = match &self.sag {
            Some(v) => Sag::Measured(bounded("rider.sag", v, 0.0, 200.0)?),
            None => self.weight()?,
        };
        let wheelbase = self.wheelbase.as_ref().or(trucks);
        let wheelbase_mm = optional("rider.wheelbase", wheelbase, WHEELBASE_RATIO * width, width, LONGEST_MM)?;
        let feet = optional("rider.feet", self.feet.as_ref(), FEET_RATIO * wheelbase_mm, 0.0, wheelbase_mm)?;
        let load = match self.load.as_deref() {
            None | Some("feet") => Load::Feet { apart_mm: feet },
            Some("centre") => Load::Centre,
            Some("uniform") => Load::Uniform,
            Some(other) => {
                return Err(Error::new(Stage::Settings, format!("rider.load is \"{other}\""))
                    .hint("write \"centre\", \"feet\" or \"uniform\""));
            }
        };
        let jump_ratio = self.jump.unwrap_or(JUMP_RATIO);
        if !(1.0..=5.0).contains(&jump_ratio) {
            return Err(Error::new(Stage::Settings, format!("rider.jump is {jump_ratio}, outside 1 to 5"))
                .hint("it is the sag when jumping over the sag when standing still, usually 1.4 to 2"));
        }
        Ok(RiderSpec { sag, wheelbase_mm, load, jump_ratio })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::settings::Board;
    const OK: &str = "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[rider]\n";
    #[test]
    fn rider_keys() {
        let sag = |text: &str| Board::parse(&format!("{OK}{text}")).unwrap().rider.unwrap().sag;
        assert_eq!(sag("sag='8 mm'\nmass='80 kg'\n"), Sag::Measured(8.0));
        let Sag::Weight(w) = sag("mass='176 lb'\nwood='birch'\nlayup='LLLL'\n") else { panic!("no weight") };
        assert!((w.mass_kg - 79.83).abs() < 0.01 && w.modulus_mpa == 13_900.0 && (w.layup_ratio - 1.0).abs() < 1e-12);
        let Sag::Weight(w) = sag("mass='80 kg'\nlayup='73 %'\nmodulus='11 GPa'\n") else { panic!("no weight") };
        assert_eq!((w.layup_ratio, w.modulus_mpa), (0.73, 11_000.0));
        let trucks = "sag='8 mm'\n[trucks]\nwheelbase='64 cm'\nwheel='90 mm'\naxle_height='60 mm'\n";
        assert_eq!(Board::parse(&format!("{OK}{trucks}")).unwrap().rider.unwrap().wheelbase_mm, 640.0);
        for (text, want) in [
            ("jump=1.5\n", "neither sag nor mass"),
            ("mass=80\n", "no unit"),
            ("mass='80 kg'\nwood='balsa'\n", "neither maple nor birch"),
            ("mass='80 kg'\nlayup='seven'\n", "no list of plies"),
        ] {
            let e = Board::parse(&format!("{OK}{text}")).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{e}");
        }
    }
}
