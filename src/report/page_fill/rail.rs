//! Curves along the outline: how far it lies off the scan's rim and how sure it is.
use crate::outline::RailError;
use crate::report::{Packed, PageCurve, PageMark, PagePlot};

/// Coverage factor of a band: some 95 % for a normal law (JCGM 100, annex G).
const COVERAGE: f64 = 2.0;

/// Distance from the first place to each, and back to it, mm.
fn along(rail: &[RailError]) -> Vec<f64> {
    let mut at = vec![0.0];
    for i in 0..rail.len() {
        let (a, b) = (&rail[i], &rail[(i + 1) % rail.len()]);
        at.push(at[i] + (b.x_mm - a.x_mm).hypot(b.y_mm - a.y_mm));
    }
    at
}
/// Values round the rail, the first again at the end.
fn round(rail: &[RailError], f: impl Fn(&RailError) -> f64) -> Packed {
    rail.iter().chain(rail.first()).map(f).collect()
}
/// Nose and tail: the places farthest along the board either way.
fn ends(rail: &[RailError]) -> Vec<PageMark> {
    let at = along(rail);
    let farthest = |sign: f64| {
        (0..rail.len()).max_by(|a, b| (sign * rail[*a].x_mm).total_cmp(&(sign * rail[*b].x_mm))).map(|i| at[i])
    };
    [("nose", 1.0), ("tail", -1.0)]
        .into_iter()
        .filter_map(|(name, sign)| farthest(sign).map(|at| PageMark { name: name.into(), at }))
        .collect()
}

/// Empty where no photo shows the rail.
pub(super) fn plots(rail: &[RailError]) -> Vec<PagePlot> {
    if rail.is_empty() {
        return Vec::new();
    }
    let curve = |name: &str, y: Packed, band: Packed| PageCurve { name: name.into(), x: Packed(along(rail)), y, band };
    let plot = |title: &str, about: &str, up: &str, curves: Vec<PageCurve>| PagePlot {
        title: title.into(),
        about: about.into(),
        from: "report.json, outline.rail".into(),
        along: "round the outline, counter-clockwise, mm".into(),
        up: up.into(),
        unit: "mm".into(),
        curves,
        marks: ends(rail),
        ..PagePlot::default()
    };
    let error = |r: &RailError| r.standard_error_mm;
    let mut errors = vec![curve("standard error", round(rail, error), Packed::default())];
    if rail.iter().any(|r| r.bridged) {
        let hidden = round(rail, |r| if r.bridged { error(r) } else { f64::NAN });
        errors.push(curve("where hidden", hidden, Packed::default()));
    }
    let band = round(rail, |r| COVERAGE * error(r));
    vec![
        plot(
            "Rail against the scan's rim",
            "How far the outline lies outside the rim of the scan, which loses the edge. The band is twice the standard error; a jump is a place to compare with the board.",
            "rail outside rim",
            vec![curve("rail outside rim", round(rail, |r| r.from_scan_rim_mm), band)],
        ),
        plot(
            "Standard error along the outline",
            "Across the rail; the doubt of the scale is in it. It grows where no photo shows the rail.",
            "standard error",
            errors,
        ),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn goes_once_round() {
        let at = |x_mm, y_mm, bridged| RailError { x_mm, y_mm, standard_error_mm: 0.2, from_scan_rim_mm: 1.0, bridged };
        let rail = [at(0.0, 0.0, false), at(3.0, 0.0, true), at(3.0, 4.0, false)];
        let p = plots(&rail);
        assert_eq!(p[0].curves[0].x.0, [0.0, 3.0, 7.0, 12.0]);
        assert_eq!((p[0].curves[0].band.0[3], p[0].curves[0].y.0[3]), (0.4, 1.0));
        let hidden = &p[1].curves[1].y.0;
        assert!(hidden[0].is_nan() && hidden[1] == 0.2 && hidden[2].is_nan() && hidden[3].is_nan());
        assert_eq!((p[0].marks[1].name.as_str(), p[0].marks[1].at), ("tail", 0.0));
        assert!(plots(&[]).is_empty());
    }
}
