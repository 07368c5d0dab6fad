//! `refused.html`: a scan of which no deck could be made, each point by what it was taken for.
use super::{PageData, PagePoints, PageRefusal, html};
use crate::error::{Error, PointRole};

/// What a builder reads of points of a kind in a refused scan.
pub fn refused_kind(role: PointRole) -> &'static str {
    match role {
        PointRole::Kept => "taken for the board",
        PointRole::Standing => "stands on the board (trucks, wheels)",
        PointRole::Floor => "taken for the floor",
        PointRole::Other => "left out",
        PointRole::Largest => "the largest smooth piece, but not like a board",
        PointRole::Unexplained => "not explained",
    }
}
/// The page for a scan that `error` refuses; `None` where the error is about something else. `name` is the board's.
pub fn refused_page(name: &str, error: &Error) -> Option<String> {
    let refusal = error.refusal()?;
    let points = refusal.points.iter().map(|k| PagePoints {
        role: k.role,
        name: refused_kind(k.role).into(),
        count: k.count,
        x: k.points.iter().map(|p| p.x).collect(),
        y: k.points.iter().map(|p| p.y).collect(),
        z: k.points.iter().map(|p| p.z).collect(),
    });
    Some(html::page(&PageData {
        title: name.into(),
        kind: "no deck could be made of this scan".into(),
        version: env!("CARGO_PKG_VERSION").into(),
        refusal: Some(PageRefusal {
            message: error.message().into(),
            meaning: refusal.meaning.into(),
            next: error.hint_text().unwrap_or("scan the board again").into(),
            unit: if refusal.scaled { "mm" } else { "scan units" }.into(),
        }),
        points: points.collect(),
        ..PageData::default()
    }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::error::{Refusal, Stage};
    use nalgebra::Point3;

    fn error(points: &[Point3<f64>]) -> Error {
        let refusal = Refusal::new("It is <b>odd</b>.", false).with(PointRole::Unexplained, points.len(), points);
        Error::new(Stage::Frame, "the scan has </script><b> points").hint("scan & export").refusing(|| refusal)
    }
    #[test]
    fn the_page_tells_message_meaning_and_next_step_and_no_name_becomes_markup() {
        let five: Vec<Point3<f64>> = (0..5).map(|i| Point3::new(f64::from(i), 1.0, 2.0)).collect();
        let page = refused_page("</title><script>alert('x')</script>", &error(&five)).unwrap();
        assert!(page.contains("The scan has &lt;/script&gt;&lt;b&gt; points") && page.contains("Scan &amp; export"));
        assert!(!page.contains("<b>odd") && !page.contains("alert('x')</script>"));
        assert_eq!((page.matches("<script").count(), page.matches("</script>").count()), (2, 2));
        let json = page.split("id=\"data\">").nth(1).and_then(|s| s.split("</script>").next()).unwrap();
        let data: serde_json::Value = serde_json::from_str(json).unwrap();
        assert_eq!(data["points"][0]["role"], "unexplained");
        assert_eq!(data["points"][0]["count"], 5);
        // parts of a report that there is nothing for are left off
        assert!(!page.contains("id=\"numbers\"") && !page.contains("id=\"cautions\"") && !page.contains("<dl"));
    }
    #[test]
    fn an_error_that_is_not_about_the_scan_has_no_page() {
        assert_eq!(refused_page("a", &Error::new(Stage::Settings, "the width has no unit")), None);
    }
}
