//! `[gasket]`: the strip beside its thickness, which is `enclosure.gasket`.
use super::keys::{Form, Key};
use super::{bounded, ratio};
use crate::error::{Error, Result, Stage};
use crate::gap::{Gasket, Grade};
use serde::Deserialize;

/// `[gasket]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("width", Form::Length, "width of the strip").usual("\"10 mm\""),
    Key::new("least", Form::Percent, "the least squeeze that seals").usual("\"20 %\""),
    Key::new("ideal", Form::Percent, "the squeeze that is best").usual("\"35 %\""),
    Key::new("most", Form::Percent, "the squeeze beyond which foam is pressed too hard").usual("\"50 %\""),
    Key::new("grade", Form::Other("0 to 5, or a call-out as text"), "how firm the foam is: 0 to 5, by ASTM D1056")
        .more("A call-out such as \"2C1\" serves too; closed cells only. 1 is soft, 3 is firm.")
        .usual("2"),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct GasketTable {
    width: Option<toml::Value>,
    least: Option<toml::Value>,
    ideal: Option<toml::Value>,
    most: Option<toml::Value>,
    grade: Option<toml::Value>,
}
/// Grade of common strips (common practice, no source).
const USUAL_GRADE: &str = "2";

impl GasketTable {
    pub(super) fn checked(&self, thickness_mm: f64) -> Result<Gasket> {
        let mut g = Gasket::usual(thickness_mm);
        if let Some(v) = &self.width {
            g.width_mm = bounded("gasket.width", v, 1.0, 100.0)?;
        }
        for (key, v, to) in [
            ("gasket.least", &self.least, &mut g.least_ratio),
            ("gasket.ideal", &self.ideal, &mut g.ideal_ratio),
            ("gasket.most", &self.most, &mut g.most_ratio),
        ] {
            if let Some(v) = v {
                *to = ratio(key, v)?;
            }
        }
        if !(g.least_ratio < g.ideal_ratio && g.ideal_ratio < g.most_ratio) {
            return Err(Error::new(
                Stage::Settings,
                format!(
                    "gasket.least {:.0} %, .ideal {:.0} % and .most {:.0} % do not rise",
                    100.0 * g.least_ratio,
                    100.0 * g.ideal_ratio,
                    100.0 * g.most_ratio
                ),
            )
            .hint("usual are 20 %, 35 % and 50 %"));
        }
        let text = match &self.grade {
            Some(v) => v.as_str().map_or_else(|| v.to_string(), str::to_owned),
            None => USUAL_GRADE.into(),
        };
        let grade = Grade::named(&text).ok_or_else(|| {
            Error::new(
                Stage::Settings,
                format!("gasket.grade is {text}, but must be 0 to 5 or a call-out such as \"2C1\""),
            )
            .hint("closed-cell foam's grade by ASTM D1056, the last figure of the call-out: 1 is soft, 3 is firm")
        })?;
        (g.pressure_at_25_kpa, g.pressure_range_kpa) = (grade.middle_kpa(), grade.pressure_at_25_kpa);
        Ok(g)
    }
}
#[cfg(test)]
mod tests {
    use crate::settings::Board;
    const OK: &str =
        "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[enclosure]\nlength='30 cm'\ngasket='4 mm'\n[gasket]\n";
    #[test]
    fn gasket_keys() {
        let b = Board::parse(&format!("{OK}width='12 mm'\nmost='55 %'\ngrade=3\n")).unwrap().gasket;
        assert_eq!((b.thickness_mm, b.width_mm, b.most_ratio), (4.0, 12.0, 0.55));
        assert!((b.pressure_at_25_kpa - 76.0).abs() < 0.5, "{}", b.pressure_at_25_kpa);
        let soft = Board::parse(&format!("{OK}grade='2C1'\n")).unwrap().gasket;
        assert!(soft.pressure_range_kpa[0] < 14.0 && soft.pressure_range_kpa[1] < 35.0);
        for (line, want) in [
            ("least='60 %'", "do not rise"),
            ("grade=7", "0 to 5"),
            ("grade='1A2'", "call-out"),
            ("width=9", "no unit"),
        ] {
            let e = Board::parse(&format!("{OK}{line}\n")).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{e}");
        }
    }
}
