//! `[fit_check]`: the pieces that are printed first.
use super::keys::{Form, Key};
use super::{body, optional};
use crate::error::Result;
use crate::fit_check::FitCheckSpec;
use serde::Deserialize;

/// `[fit_check]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("rim", Form::Flag, "false leaves out the strip of the rim").usual("true"),
    Key::new("ribs", Form::Flag, "false leaves out the ribs").usual("true"),
    Key::new("strip", Form::Length, "width of the strip").usual("\"1.2 mm\""),
    Key::new("base", Form::Length, "least thickness of the strip").usual("\"2 mm\""),
    Key::new("rib", Form::Length, "thickness of a rib").usual("\"2 mm\""),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct FitCheckTable {
    rim: Option<bool>,
    ribs: Option<bool>,
    strip: Option<toml::Value>,
    base: Option<toml::Value>,
    rib: Option<toml::Value>,
}
/// Widths and thicknesses taken, mm: one line of a common nozzle at the least, a whole flange at the most.
const RANGE_MM: (f64, f64) = (0.4, 50.0);

impl FitCheckTable {
    pub(super) fn checked(&self, printer: Option<&body::PrinterTable>) -> Result<FitCheckSpec> {
        let d = FitCheckSpec::default();
        let (lo, hi) = RANGE_MM;
        let bed = printer.map(body::printer).transpose()?;
        Ok(FitCheckSpec {
            rim: self.rim.unwrap_or(d.rim),
            ribs: self.ribs.unwrap_or(d.ribs),
            strip_mm: optional("fit_check.strip", self.strip.as_ref(), d.strip_mm, lo, hi)?,
            base_mm: optional("fit_check.base", self.base.as_ref(), d.base_mm, lo, hi)?,
            rib_mm: optional("fit_check.rib", self.rib.as_ref(), d.rib_mm, lo, hi)?,
            bed_mm: bed.map(|p| [p.bed_mm[0], p.bed_mm[1]]),
        })
    }
}
#[cfg(test)]
mod tests {
    use crate::Board;
    #[test]
    fn fit_check_keys() {
        let text = |t: &str| format!("[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n{t}\n");
        let b = Board::parse(&text("[printer]\nbed='22 x 20 x 25 cm'\n[fit_check]\nribs=false\nstrip='6 mm'")).unwrap();
        assert_eq!((b.fit_check.rim, b.fit_check.ribs, b.fit_check.strip_mm), (true, false, 6.0));
        assert_eq!(b.fit_check.bed_mm, Some([220.0, 200.0]));
        assert_eq!(Board::parse(&text("")).unwrap().fit_check.bed_mm, None);
        for (t, want) in [("strip='0 mm'", "0.4 mm"), ("base=2", "no unit"), ("slices=3", "slices")] {
            let e = Board::parse(&text(&format!("[fit_check]\n{t}"))).unwrap_err();
            assert!(e.message().contains(want), "{e}");
        }
    }
}
