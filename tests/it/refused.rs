//! A scan of which no deck can be made leaves a page that shows what it was taken for.
use faydeck::demo::{DEMO, ScanScene, planted_scan};
use faydeck::export::write_ply;
use nalgebra::Point3;
use serde_json::Value;
use std::path::PathBuf;
use std::process::{Command, Output};

fn folder(name: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    // a folder left by an earlier run; that it is absent is no fault
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    dir
}
/// What a page shows.
fn data(page: &str) -> Value {
    let json = page.split("id=\"data\">").nth(1).and_then(|s| s.split("</script>").next()).unwrap();
    serde_json::from_str(json).unwrap()
}
fn counts(page: &Value) -> Vec<(String, u64)> {
    let one = |p: &Value| (p["role"].as_str().unwrap().to_owned(), p["count"].as_u64().unwrap());
    page["points"].as_array().unwrap().iter().map(one).collect()
}

#[test]
fn a_refused_scan_leaves_its_page_until_a_good_build_and_touches_nothing_else() {
    let dir = folder("refused ü");
    let board = dir.join("board.toml");
    let name = "</script><img src=x>";
    let text = format!("[scan]\nfile='scan.ply'\n[tape]\nwidth='226 mm'\nlength='884 mm'\n[deck]\nname='{name}'\n");
    std::fs::write(&board, text).unwrap();
    let out = dir.join("out");
    let build = |points: &[Point3<f64>]| -> Output {
        std::fs::write(dir.join("scan.ply"), write_ply(points, None, &[])).unwrap();
        let files = [board.to_str().unwrap(), "--out", out.to_str().unwrap(), "--only", "outline.svg"];
        Command::new(env!("CARGO_BIN_EXE_faydeck")).arg("build").args(files).output().unwrap()
    };
    let told = |o: &Output| String::from_utf8_lossy(&o.stderr).into_owned();
    let (good, _) = planted_scan(&DEMO, &ScanScene { points: 15_000, ..ScanScene::default() });
    // a third of the board: too short for its width
    let reach = good.iter().map(|p| p.x).fold(f64::NEG_INFINITY, f64::max);
    let least = good.iter().map(|p| p.x).fold(f64::INFINITY, f64::min);
    let part: Vec<Point3<f64>> = good.iter().filter(|p| p.x < least + (reach - least) / 3.0).copied().collect();

    let o = build(&part);
    assert_eq!(o.status.code(), Some(5), "{}", told(&o));
    assert!(told(&o).contains("refused.html shows what each point was taken for"), "{}", told(&o));
    let html = std::fs::read_to_string(out.join("refused.html")).unwrap();
    assert!(!html.contains("<img"), "a name became markup");
    let page = data(&html);
    assert_eq!(page["title"], name);
    let message = page["refusal"]["message"].as_str().unwrap();
    assert!(told(&o).contains(message) && page["refusal"]["meaning"].as_str().unwrap().len() > 20);
    let kinds = counts(&page);
    assert!(!kinds.is_empty() && kinds.iter().all(|k| k.1 > 0), "{kinds:?}");
    let looked_at: u64 = kinds.iter().map(|k| k.1).sum();
    assert!(looked_at <= part.len() as u64 && 3 * looked_at > part.len() as u64, "{kinds:?} of {}", part.len());
    assert_eq!(std::fs::read_dir(&out).unwrap().count(), 2, "the page and the list of files alone");

    let o = build(&good);
    assert!(o.status.success() && told(&o).contains("removed"), "{}", told(&o));
    assert!(!out.join("refused.html").exists() && out.join("outline.svg").exists());

    // five points: the good build's file stays, and is still the build's own
    let o = build(&good[..5]);
    assert_eq!(o.status.code(), Some(5), "{}", told(&o));
    assert!(out.join("refused.html").exists() && out.join("outline.svg").exists());
    let page = data(&std::fs::read_to_string(out.join("refused.html")).unwrap());
    assert_eq!(counts(&page), [("unexplained".to_owned(), 5)]);
    let list = std::fs::read_to_string(out.join(".faydeck/files.json")).unwrap();
    let list: Value = serde_json::from_str(&list).unwrap();
    let own: Vec<&String> = list["build"].as_object().unwrap().keys().collect();
    assert_eq!(own, ["outline.svg", "refused.html"]);
    // what is wrong with the board file is not the scan's fault
    std::fs::write(&board, "[scan]\nfile='scan.ply'\n[tape]\nwidth='226'\n").unwrap();
    std::fs::remove_file(out.join("refused.html")).unwrap();
    assert_eq!(build(&good).status.code(), Some(3));
    assert!(!out.join("refused.html").exists());
}

/// A wrong length: the board is found, and so is what lies about it and stands on it.
#[test]
fn where_the_tape_contradicts_the_scan_every_kind_of_point_is_shown() {
    let scene = ScanScene { points: 15_000, trucks: true, ..ScanScene::default() };
    let (points, _) = planted_scan(&DEMO, &scene);
    let text = "[scan]\nfile='s'\n[tape]\nwidth='226 mm'\nlength='1100 mm'\n";
    let board = faydeck::Board::parse(text).unwrap();
    let e = faydeck::survey(&board, &write_ply(&points, None, &[]), &mut ()).unwrap_err();
    assert!(e.message().contains("do not agree"), "{e}");
    let page = data(&faydeck::refused_page("a", &e).unwrap());
    assert_eq!(page["refusal"]["unit"], "mm");
    let kinds = counts(&page);
    let roles: Vec<&str> = kinds.iter().map(|k| k.0.as_str()).collect();
    assert_eq!(roles, ["kept", "standing", "floor", "other"]);
    // as planted, 15,000 points of the underside and two thin clouds where trucks stand, of which lone points count as strays
    assert!(kinds[0].1.abs_diff(15_000) < 1500 && (100..1500).contains(&kinds[1].1), "{kinds:?}");
    assert!(kinds[2].1 > 10_000 && kinds[3].1 > 1500, "{kinds:?}");
}
