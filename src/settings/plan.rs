//! The enclosure's footprint: along the rail, a rectangle, or drawn.
use super::{Board, EnclosureTable, bounded, prefix};
use crate::error::{Error, Result, Stage};
use crate::geom::Polygon;
use crate::mating::PlanSpec;

/// Length (mm) and shape of the footprint; a drawn one is empty until its file is read.
pub(super) fn checked(e: &EnclosureTable, longest_mm: f64) -> Result<(f64, PlanSpec)> {
    if e.footprint.is_some() {
        let others = [("length", &e.length), ("width", &e.width), ("offset", &e.offset), ("inset", &e.inset)];
        if let Some((key, _)) = others.iter().find(|o| o.1.is_some()) {
            return Err(Error::new(
                Stage::Settings,
                format!("enclosure.footprint is drawn, but enclosure.{key} is given as well"),
            )
            .hint("the drawing says where and how large the footprint is: take the other key out"));
        }
        return Ok((0.0, PlanSpec::Path(Polygon { points: Vec::new() })));
    }
    let Some(length) = &e.length else {
        return Err(Error::new(Stage::Settings, "enclosure.length is missing")
            .hint("give the length along the board, or enclosure.footprint = \"FILE.svg\""));
    };
    if let (Some(_), Some(_)) = (&e.width, &e.inset) {
        return Err(Error::new(Stage::Settings, "enclosure.width and enclosure.inset are both given")
            .hint("width makes a rectangle, inset follows the rail: take one of them out"));
    }
    let plan = match &e.width {
        None => PlanSpec::Rail,
        Some(v) => PlanSpec::Rectangle(bounded("enclosure.width", v, 20.0, longest_mm)?),
    };
    Ok((bounded("enclosure.length", length, 20.0, longest_mm)?, plan))
}

impl Board {
    /// Takes the bytes of the footprint's SVG: one closed path in mm, x to the nose from the middle of the board, y as on the
    /// sheet, down to the board's right seen from the underside.
    ///
    /// # Errors
    /// No enclosure, or a file without a closed path.
    pub fn with_footprint(mut self, svg: &[u8]) -> Result<Self> {
        let Some(e) = &mut self.enclosure else {
            return Err(Error::new(Stage::Settings, "a footprint is given, but the board file has no [enclosure]")
                .hint("add [enclosure] with footprint = \"FILE.svg\""));
        };
        let drawn = crate::outline::traced(svg).map_err(|e| {
            Error::new(Stage::Settings, prefix("enclosure.footprint", &e).message().to_owned())
                .hint("draw one closed path whose numbers are mm, all transforms applied, and export it as plain SVG")
        })?;
        let mut p = Polygon { points: drawn.iter().map(|q| [q[0], -q[1]]).collect() };
        if p.signed_area() < 0.0 {
            p.points.reverse();
        }
        let (lo, hi) = p.bounds();
        (e.length_mm, e.offset_mm) = (hi[0] - lo[0], (lo[0] + hi[0]) / 2.0);
        e.plan = PlanSpec::Path(p);
        Ok(self)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{closed_fit, trim};
    use crate::num::{Knots, TensorSpline};

    const START: &str = "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[enclosure]\n";

    /// An L drawn with its long arm on the sheet's upper side: mm for mm, the upper side is the board's left.
    #[test]
    fn a_drawn_footprint_is_taken_mm_for_mm() {
        let b = Board::parse(&format!("{START}footprint='l.svg'\nflange='12 mm'\n")).unwrap();
        assert_eq!(b.footprint_file.as_deref(), Some("l.svg"));
        let svg = b"<svg><path d='M-120 -70 H150 V-10 H20 V70 H-120 Z'/></svg>";
        let b = b.with_footprint(svg).unwrap();
        let e = b.enclosure.unwrap();
        assert_eq!((e.length_mm, e.offset_mm), (270.0, 15.0));
        let k = Knots::uniform(3, 4, -300.0, 300.0);
        let z = TensorSpline::new(k.clone(), k, vec![0.0; 49]).unwrap();
        let plan = trim::polygon(&crate::geom::plan::rectangle([0.0, 0.0], [500.0, 220.0], 60.0), 0.01);
        let deck = crate::deck::make_deck(&z, &closed_fit(&plan, 240).unwrap(), 12.0).unwrap().value;
        let m = crate::mating::make_mating(&deck, &e).unwrap().value;
        let f = &m.footprint.outer_polygon;
        assert!(f.contains([140.0, 40.0]) && !f.contains([140.0, -40.0]) && f.contains([-100.0, -60.0]));
        // 270 x 60 + 140 x 80, five outer corners of 12 mm rounded (the inner one stays nearly sharp)
        let want = 16200.0 + 11200.0 - 5.0 * (1.0 - std::f64::consts::FRAC_PI_4) * 144.0;
        assert!((f.signed_area() / want - 1.0).abs() < 2e-3, "{} {want}", f.signed_area());
        let mut over = e.clone();
        over.plan = PlanSpec::Rectangle(300.0);
        assert!(crate::mating::make_mating(&deck, &over).unwrap_err().message().contains("40.0 mm over the rail"));
        over.plan = PlanSpec::Rectangle(100.0);
        let r = crate::mating::make_mating(&deck, &over).unwrap().value.footprint.outer_polygon;
        let want = 27000.0 - 4.0 * (1.0 - std::f64::consts::FRAC_PI_4) * 144.0;
        assert!((r.signed_area() / want - 1.0).abs() < 1e-3);
    }
    #[test]
    fn what_does_not_go_together_is_refused() {
        for (keys, want) in [
            ("flange='12 mm'\n", "enclosure.length is missing"),
            ("footprint='l.svg'\nlength='30 cm'\n", "enclosure.length is given as well"),
            ("length='30 cm'\nwidth='10 cm'\ninset='14 mm'\n", "both given"),
        ] {
            let e = Board::parse(&format!("{START}{keys}")).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{e}");
        }
        let b = Board::parse(&format!("{START}footprint='l.svg'\n")).unwrap();
        // a hole drawn inside it was left out without a word
        let two = b"<svg><path d='M-100 -70 H100 V70 H-100 Z'/><path d='M-20 -20 H20 V20 H-20 Z'/></svg>";
        let e = b.clone().with_footprint(two).unwrap_err();
        assert!(e.message().contains("2 closed paths") && e.hint_text().is_some(), "{e}");
        let e = b.with_footprint(b"<svg/>").unwrap_err();
        assert!(e.message().starts_with("enclosure.footprint:"), "{e}");
    }
}
