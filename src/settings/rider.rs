//! `[rider]`.
use super::{bounded, optional};
use crate::error::{Error, Result, Stage};
use crate::load::{Load, Rider};
use serde::Deserialize;

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct RiderTable {
    sag: toml::Value,
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

impl RiderTable {
    pub(super) fn checked(&self, width: f64) -> Result<Rider> {
        let sag_mm = bounded("rider.sag", &self.sag, 0.0, 200.0)?;
        let wheelbase_mm =
            optional("rider.wheelbase", self.wheelbase.as_ref(), WHEELBASE_RATIO * width, width, 4000.0)?;
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
        Ok(Rider { sag_mm, wheelbase_mm, load, jump_ratio })
    }
}
