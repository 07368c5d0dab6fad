//! What the page draws, from finished results: numbers packed as in the report's own page.
use crate::ask::{Answer, error_told};
use faydeck::geom::{Polygon, trim};
use faydeck::{
    Board, Enclosure, FrameReport, Housing, Packed, PageBody, PageData, PagePlot, RawCloud, Reconstruction, Refusal,
    RefusedPoints, Report, Result, Surveyed, Textures, Warned, house, housing_gaps, read_scan_textured, refused_kind,
};
use nalgebra::Point3;
use serde_json::{Value, json};

/// Points of a scan's first look: what a phone turns smoothly.
const LOOK_POINTS: usize = 60_000;
/// Points shown of each kind once they are sorted.
const SORTED_POINTS: usize = 20_000;
/// Chord height of the lines in plan, mm: below what a screen shows.
const CHORD_MM: f64 = 0.1;

fn along(points: &[Point3<f64>], k: usize) -> Packed {
    let step = points.len().div_ceil(SORTED_POINTS).max(1);
    points.iter().step_by(step).map(|p| p[k]).collect()
}
fn points(role: &str, p: &[Point3<f64>]) -> Value {
    json!({ "role": role, "shown": p.len(), "x": along(p, 0), "y": along(p, 1), "z": along(p, 2) })
}
fn line(p: &Polygon) -> Value {
    let along = |k: usize| -> Packed { p.points.iter().map(|q| q[k]).collect() };
    json!({ "x": along(0), "y": along(1) })
}

/// A scan as it lies: 32-bit places about its middle, one point after the other, then red, green and blue where it has them.
pub(crate) fn look(scan: &[u8], textures: Textures) -> Result<Answer> {
    let limits = faydeck::ReadLimits {
        unpacked_bytes: super::bench::MOST_UNPACKED,
        points: super::bench::MOST_POINTS,
        ..Default::default()
    };
    let read = read_scan_textured(scan, &limits, textures)?;
    let RawCloud { points, colors, report, .. } = read.value;
    let step = points.len().div_ceil(LOOK_POINTS).max(1);
    let (mut lo, mut hi) = ([f64::INFINITY; 3], [f64::NEG_INFINITY; 3]);
    for p in &points {
        for k in 0..3 {
            (lo[k], hi[k]) = (lo[k].min(p[k]), hi[k].max(p[k]));
        }
    }
    let middle = [0, 1, 2].map(|k| (lo[k] + hi[k]) / 2.0);
    let shown = || points.iter().step_by(step);
    let mut bytes: Vec<u8> =
        shown().flat_map(|p| [0, 1, 2].map(|k| ((p[k] - middle[k]) as f32).to_le_bytes())).flatten().collect();
    let count = shown().count();
    let coloured = colors.is_some();
    bytes.extend(colors.iter().flat_map(|c| c.iter().step_by(step)).flatten());
    let told = json!({ "report": report, "points": count, "coloured": coloured, "middle": middle, "lo": lo, "hi": hi, "warnings": read.warnings });
    Ok(Answer { told, bytes })
}

fn counts(f: &FrameReport) -> Value {
    json!({ "kept": f.sheet_points, "standing": f.standing_points, "floor": f.floor_points, "other": f.other_points })
}
/// The points of a refused scan by what they were taken for.
pub(crate) fn refused(r: &Refusal) -> Value {
    let one = |k: &RefusedPoints| {
        let mut told = points("", &k.points);
        told["role"] = json!(k.role);
        told["name"] = json!(refused_kind(k.role));
        told
    };
    let role = |k: &RefusedPoints| json!(k.role).as_str().unwrap_or_default().to_owned();
    let counts: serde_json::Map<String, Value> = r.points.iter().map(|k| (role(k), json!(k.count))).collect();
    json!({ "points": r.points.iter().map(one).collect::<Vec<_>>(), "counts": counts })
}
pub(crate) fn surveyed(s: &Warned<Surveyed>) -> Answer {
    let f = s.value.framed();
    let all = [
        ("kept", &f.sorted.sheet),
        ("standing", &f.sorted.standing),
        ("floor", &f.sorted.floor),
        ("other", &f.sorted.other),
    ];
    Answer::told(json!({
        "points": all.iter().filter(|(_, p)| !p.is_empty()).map(|(r, p)| points(r, p)).collect::<Vec<_>>(),
        "counts": counts(&f.report),
        "scale": f.scale,
        "tape": f.tape,
        "scan_to_deck": f.scan_to_deck.to_rows(),
        "rim": line(&f.rim),
        "warnings": s.warnings,
    }))
}
pub(crate) fn deck(board: &Board, made: &Warned<Reconstruction>) -> Answer {
    let rec = &made.value;
    let report = Report::new(board, rec, None, made.warnings.clone());
    // the rail of each photo whole, to be dragged
    let rails: Vec<Value> = (rec.outline.photos.iter())
        .map(|p| {
            let l = &p.picture.lines;
            let along = |k: usize| l.rail.iter().map(|q| q[k]).collect::<Packed>();
            json!({ "number": p.number, "x": along(0), "y": along(1), "hidden": l.hidden, "size_px": p.picture.size_px })
        })
        .collect();
    Answer::told(json!({
        "tape": rec.tape,
        "scale": rec.scale,
        "scale_over_length_mm": report.scale_uncertainty_over_length_mm,
        "scan_to_deck": rec.scan_to_deck.to_rows(),
        "outline": { "source": rec.outline_source, "length_mm": report.outline.length_mm, "width_mm": report.outline.width_mm },
        "surface_rms_mm": report.surface.residual_rms_mm,
        "counts": counts(&rec.frame),
        "rails": rails,
        "warnings": made.warnings,
        "page": report.page,
    }))
}

fn body(e: &Enclosure, rec: &Reconstruction) -> Value {
    let (lo, hi) = e.bounds();
    let size_mm = [0, 1, 2].map(|k| hi[k] - lo[k]);
    let outline = rec.deck.outline_polygon();
    // the flange's reach: its least distance to the rail, and where
    let rim = trim::polygon(&e.shell.rim, CHORD_MM);
    let nearest = (rim.points.iter().map(|p| (-outline.signed_distance(*p), *p))).min_by(|a, b| a.0.total_cmp(&b.0));
    json!({
        "mesh": PageBody::of(e),
        "depth_mm": e.depth_mm,
        "size_mm": size_mm,
        "volume_mm3": e.volume_mm3(),
        "screws": e.screws,
        "parts": e.parts,
        "checks": e.checks,
        "prints": e.print_parts.iter().map(|p| &p.figures).collect::<Vec<_>>(),
        "wall": line(&trim::polygon(&e.shell.wall_in[1], CHORD_MM)),
        "openings": e.openings.iter().map(|o| line(&trim::polygon(o, CHORD_MM))).collect::<Vec<_>>(),
        "to_rail": nearest.map(|(mm, at)| json!({ "mm": mm, "at_mm": at })),
    })
}
/// The enclosure on the deck. What cannot be made is told as `fault` beside what can.
pub(crate) fn housing(board: &Board, rec: &Reconstruction) -> Result<Answer> {
    let (mut warnings, mut fault) = (Vec::new(), None);
    let made = match house(board, rec, &mut ()) {
        Ok(h) => h.drain_into(&mut warnings),
        Err(e) => {
            fault = Some(error_told(&e));
            // the rim alone, where that can be made
            let rim_only = Board { body: None, ..board.clone() };
            house(&rim_only, rec, &mut ()).map_or_else(|_| Housing::default(), |h| h.value)
        }
    };
    let (mut gap_rim, mut seal) = (None::<PagePlot>, Value::Null);
    match housing_gaps(board, rec, &made) {
        Ok(Some(g)) => {
            let mut page = PageData::default();
            page.add_rim(&g, "enclosure-gaps.json");
            gap_rim = page.rim;
            warnings.extend(g.warnings.iter().cloned());
            seal = g.rims.first().map_or(Value::Null, |r| {
                json!({
                    "gasket": r.gasket,
                    "x": r.rim.stations.iter().map(|s| s.x_mm).collect::<Packed>(),
                    "y": r.rim.stations.iter().map(|s| s.y_mm).collect::<Packed>(),
                    "gap": r.rim.stations.iter().map(|s| s.gap_mm).collect::<Packed>(),
                })
            });
        }
        Ok(None) => {}
        Err(e) => fault = fault.or(Some(error_told(&e))),
    }
    let rim = made.mating.as_ref().map(|m| {
        json!({ "outer": line(&m.footprint.outer_polygon), "inner": line(&m.footprint.inner_polygon), "standoff_mm": m.standoff_mm })
    });
    Ok(Answer::told(json!({
        "rim": rim,
        "body": made.enclosure.as_ref().map(|e| body(e, rec)),
        "gap": gap_rim,
        "seal": seal,
        "fault": fault,
        "warnings": warnings,
    })))
}
