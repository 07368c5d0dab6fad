//! `report.json` against its schema, and the page of a whole build.
use crate::plain;
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use faydeck::{
    Board, GAPS_SCHEMA, GapMap, GapSample, GapSummary, LayerColours, OtherParts, REPORT_SCHEMA, Report, build,
};
use serde_json::Value;

/// What is wrong with `value` by the part of JSON Schema (draft 2020-12) that the schema uses; another keyword is a fault
/// of the schema itself.
fn faults(value: &Value, schema: &Value, at: &str, out: &mut Vec<String>) {
    const ANNOTATIONS: [&str; 3] = ["$schema", "title", "description"];
    let kind = match value {
        Value::Null => "null",
        Value::Bool(_) => "boolean",
        Value::Number(n) if n.is_u64() || n.is_i64() => "integer",
        Value::Number(_) => "number",
        Value::String(_) => "string",
        Value::Array(_) => "array",
        Value::Object(_) => "object",
    };
    let is = |t: &Value| t == kind || t == "number" && kind == "integer";
    for (key, rule) in schema.as_object().unwrap() {
        let number = || (value.as_f64().unwrap_or(f64::NAN), rule.as_f64().unwrap());
        let bound = |ok: &dyn Fn(f64, f64) -> bool| !value.is_number() || ok(number().0, number().1);
        let size =
            |ok: &dyn Fn(u64, u64) -> bool| value.as_array().is_none_or(|a| ok(a.len() as u64, rule.as_u64().unwrap()));
        let fits = match key.as_str() {
            "type" => rule.as_array().map_or_else(|| is(rule), |any| any.iter().any(is)),
            "minimum" => bound(&|v, r| v >= r),
            "maximum" => bound(&|v, r| v <= r),
            "exclusiveMinimum" => bound(&|v, r| v > r),
            "minItems" => size(&|n, r| n >= r),
            "maxItems" => size(&|n, r| n <= r),
            "enum" => rule.as_array().unwrap().contains(value),
            "required" => value
                .as_object()
                .is_none_or(|o| rule.as_array().unwrap().iter().all(|k| o.contains_key(k.as_str().unwrap()))),
            "items" => {
                for (i, v) in value.as_array().into_iter().flatten().enumerate() {
                    faults(v, rule, &format!("{at}/{i}"), out);
                }
                true
            }
            "properties" => {
                for (k, v) in value.as_object().into_iter().flatten() {
                    match (rule.get(k), schema.get("additionalProperties")) {
                        (Some(s), _) => faults(v, s, &format!("{at}/{k}"), out),
                        (None, Some(Value::Bool(false))) => out.push(format!("{at}/{k} is not described")),
                        _ => {}
                    }
                }
                true
            }
            "additionalProperties" => {
                if rule.is_object() {
                    value
                        .as_object()
                        .into_iter()
                        .flatten()
                        .for_each(|(k, v)| faults(v, rule, &format!("{at}/{k}"), out));
                }
                true
            }
            other => ANNOTATIONS.contains(&other),
        };
        if !fits {
            out.push(format!("{at}: {key} {rule}"));
        }
    }
}
fn found(value: &Value, schema: &Value) -> Vec<String> {
    let mut out = Vec::new();
    faults(value, schema, "", &mut out);
    out
}
/// Keys whose schema does not say what they mean, or whose number has no unit.
fn undescribed(schema: &Value, at: &str, out: &mut Vec<String>) {
    const WORDS: [&str; 16] = [
        "mm",
        "pixels",
        "seconds",
        "minutes",
        "count",
        "share",
        "pure number",
        "1 less",
        "squared",
        "newton",
        "kpa",
        "1/k",
        "kelvin",
        "kg",
        "1/m",
        "degrees",
    ];
    for (k, s) in schema.get("properties").and_then(Value::as_object).into_iter().flatten() {
        let here = format!("{at}/{k}");
        let words = s["description"].as_str().unwrap_or_default().to_lowercase();
        let counted = s["type"].to_string().contains("number") || s["type"].to_string().contains("integer");
        if words.len() < 9 || counted && !WORDS.iter().any(|w| words.contains(w)) {
            out.push(here.clone());
        }
        undescribed(s, &here, out);
        undescribed(&s["items"], &here, out);
    }
}

fn built(name: &str, photo: bool) -> Report {
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 20_000, ..ScanScene::default() });
    let text = Board::template("scan.ply", None, 226.0, Some(884.0))
        .replace("[deck]", &format!("[deck]\nname = {}", Value::from(name)));
    let board = Board::parse(&text).unwrap();
    build(&board, &write_ply(&points, None, &[]), photo.then(plain::photo), &mut ()).unwrap().report
}

#[test]
fn report_json_is_as_its_schema_says() {
    let schema: Value = serde_json::from_str(REPORT_SCHEMA).unwrap();
    for text in [REPORT_SCHEMA, GAPS_SCHEMA] {
        let mut silent = Vec::new();
        undescribed(&serde_json::from_str(text).unwrap(), "", &mut silent);
        assert_eq!(silent, Vec::<String>::new());
    }
    for photo in [false, true] {
        let mut report = built("plank", photo);
        report.seconds = vec![("scan".into(), 0.5)];
        let json: Value = serde_json::from_str(&report.to_json()).unwrap();
        assert_eq!(found(&json, &schema), Vec::<String>::new());
        // what the schema must not let pass
        for (pointer, wrong) in [
            ("/scale/mm_per_unit", Value::from(0)),
            ("/outline/source", Value::from("guess")),
            ("/surface/points", Value::from(1.5)),
            ("/scan_to_deck", Value::Array(vec![])),
            ("/seconds/scan", Value::from("fast")),
            ("/deck", Value::Null),
        ] {
            let mut broken = json.clone();
            *broken.pointer_mut(pointer).unwrap() = wrong;
            assert!(!found(&broken, &schema).is_empty(), "{pointer}");
        }
        let mut more = json.clone();
        more["surface"]["mystery_mm"] = Value::from(1);
        assert_eq!(found(&more, &schema), ["/surface/mystery_mm is not described"]);
    }
}

#[test]
fn the_page_holds_the_planted_board() {
    let report = built("<script>alert(1)</script> & \"co\"", true);
    let page = &report.page;
    let html = report.to_html();
    assert!(!html.contains("<script>alert"));
    assert!(html.len() < 1_500_000, "{} bytes", html.len());
    // heights of the planted board at the nodes inside it
    let height = page.layers.iter().find(|l| l.key == "height").unwrap();
    let (mut worst, mut n) = (0.0_f64, 0);
    let zero = DEMO.height(0.0, 0.0);
    for (k, v) in height.values.0.iter().enumerate().filter(|(_, v)| v.is_finite()) {
        let at = [k / height.nodes[1], k % height.nodes[1]];
        let [x, y] = [0, 1].map(|d| height.origin_mm[d] + height.step_mm * at[d] as f64);
        if DEMO.half_width(x.abs()) - y.abs() > 15.0 && x.abs() < 0.45 * DEMO.length_mm {
            // nose and tail of the demo are alike, so that either may be +x
            let want = DEMO.height(x, y) - zero;
            worst = worst.max((v - want).abs());
            n += 1;
        }
    }
    assert!(n > 5000 && worst < 1.5, "{n} nodes, worst {worst} mm");
    assert!(page.photos.iter().any(|p| p.lines.len() >= 2 && p.bytes.0.starts_with(&[0xff, 0xd8])));
    assert!(page.stations.iter().all(|s| s.count > 20 && s.residual_rms_mm.is_some_and(|r| r < 1.0)));
    assert!(page.files.iter().any(|f| f.name == "deck.step" && !f.what.is_empty()));
}

#[test]
fn a_gap_map_becomes_the_first_layer() {
    let mut page = built("plank", false).page;
    let at = |x: f64, y: f64, gap_mm: f64| GapSample { at: [x, y, 0.0], gap_mm, standard_uncertainty_mm: 0.1 };
    let samples = vec![at(-100.0, 50.0, 4.0), at(100.0, -50.0, -0.5)];
    page.add_gap(&GapMap {
        samples,
        rims: vec![],
        other: OtherParts::default(),
        summary: GapSummary { greatest_mm: 4.0, least_mm: -0.5, ..GapSummary::default() },
    });
    let layer = &page.layers[0];
    assert_eq!((layer.key.as_str(), layer.colours, layer.least), ("gap", LayerColours::Gap, 0.0));
    let seen: Vec<(f64, f64, f64)> = layer
        .values
        .0
        .iter()
        .enumerate()
        .filter(|(_, v)| v.is_finite())
        .map(|(k, v)| {
            let at = [k / layer.nodes[1], k % layer.nodes[1]];
            let [x, y] = [0, 1].map(|d| layer.origin_mm[d] + layer.step_mm * at[d] as f64);
            (x, y, *v)
        })
        .collect();
    assert_eq!(seen.len(), 2);
    assert!((seen[0].0 + 100.0).abs() < 2.0 && (seen[0].1 - 50.0).abs() < 2.0 && seen[0].2 == 4.0, "{seen:?}");
    assert!(seen[1].2 == -0.5);
    assert!(page.headline.iter().any(|n| n.value == "4.00 mm"));
}

/// The enclosure of the board file itself is proved in a build: its rim unrolled, with a band, its screws and the verdicts.
#[test]
fn a_build_unrolls_the_rim_of_its_own_enclosure() {
    let text = "[scan]\nfile='s.ply'\n[tape]\nwidth='226 mm'\nlength='884 mm'\n[enclosure]\nlength='300 mm'\ndepth='30 mm'\n[rider]\nmass='80 kg'\n";
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 15_000, ..ScanScene::default() });
    let made = build(&Board::parse(text).unwrap(), &write_ply(&points, None, &[]), None, &mut ()).unwrap();
    let rim = made.report.page.rim.as_ref().unwrap();
    let names: Vec<&str> = rim.curves.iter().map(|c| c.name.as_str()).collect();
    assert_eq!(names, ["at rest", "standing, estimated", "jumping, estimated"]);
    let rest = &rim.curves[0];
    assert!(
        rest.x.0.len() > 300 && rest.band.0.len() == rest.x.0.len() && rest.band.0.iter().all(|b| *b > 0.0),
        "{:?}",
        rest.band.0
    );
    // the first screen answers in words what a builder asks first: there were figures of length and scatter only
    let answers: Vec<(&str, &str)> = (made.report.page.headline.iter().filter(|n| n.group == "Answers"))
        .map(|n| (n.name.as_str(), n.value.as_str()))
        .collect();
    assert_eq!(answers.iter().map(|a| a.0).collect::<Vec<_>>(), ["Does it fit?", "Sealed", "What to measure next?"]);
    let wrong = made.report.warnings.iter().any(|w| w.message.contains("NOT SEALED"));
    assert_eq!(answers[1].1.contains("not"), wrong, "{answers:?}");
    assert_eq!((answers[0].1, answers[2].1), ("yes", "the deck's thickness"));
    // the mating face keeps the squeezed gasket everywhere
    assert!(rest.y.0.iter().all(|g| (g - 2.1).abs() < 0.1), "{:?}", rest.y.0);
    assert!(
        rim.marks.len() >= 8 && rim.marks.iter().all(|m| m.at >= 0.0 && m.at <= rest.x.0[rest.x.0.len() - 1] + 3.0)
    );
    let zones: Vec<(&str, Option<f64>)> = rim.zones.iter().map(|z| (z.name.as_str(), z.below)).collect();
    assert_eq!(zones[1], ("hard", Some(1.5)));
    assert_eq!((zones[0], zones[4]), (("clash", Some(0.0)), ("open", None)));
    let own = made.files.iter().find(|f| f.name == "enclosure-gaps.json").unwrap();
    let own: Value = serde_json::from_slice(&own.bytes).unwrap();
    let schema: Value = serde_json::from_str(GAPS_SCHEMA).unwrap();
    assert_eq!(found(&own, &schema), Vec::<String>::new());
    // what the schema must not let pass
    for (pointer, wrong) in [
        ("/rims/0/gasket/verdicts/0", Value::from("fine")),
        ("/rims/0/stations/0/standard_uncertainty_mm", Value::from(-0.1)),
        ("/gap/samples", Value::from(1.5)),
        ("/rider/load", Value::Null),
    ] {
        let mut broken = own.clone();
        *broken.pointer_mut(pointer).unwrap() = wrong;
        assert!(!found(&broken, &schema).is_empty(), "{pointer}");
    }
    // some 80 kg on a maple deck of 226 x 11 mm and 655 mm of wheelbase, feet 426 mm apart: a flat one would sag by 9 mm
    let sag = own["sag"]["sag_mm"].as_f64().unwrap();
    assert!((3.0..9.0).contains(&sag) && own["rider"]["sag_mm"].as_f64() == Some(sag), "{sag}");
    assert!(own["sag"]["concave_ratio"].as_f64().unwrap() > 1.2);
    assert!(
        own["warnings"].as_array().unwrap().iter().any(|w| w["message"].as_str().unwrap().contains("not measured"))
    );
    // what is doubtful of the own enclosure's fit is told with the build, on its page too
    for told in [&made.report.warnings, &made.report.page.warnings] {
        assert!(told.iter().any(|w| w.message.contains("not measured")), "{told:?}");
    }
    assert!(
        made.report.page.numbers.iter().any(|n| n.name == "Longest pitch" && n.from.starts_with("enclosure-gaps.json"))
    );
}
