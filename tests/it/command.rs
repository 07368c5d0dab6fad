//! The binary: exit codes, messages, nothing half-written.
use std::path::PathBuf;
use std::process::{Command, Output};

fn folder(name: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    // a folder left by an earlier run; that it is absent is no fault
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    dir
}
fn run(arguments: &[&str]) -> Output {
    Command::new(env!("CARGO_BIN_EXE_faydeck")).args(arguments).output().unwrap()
}

#[test]
fn demo_builds_everything() {
    let dir = folder("demo folder ü");
    let out = run(&["demo", "--out", dir.to_str().unwrap()]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    for name in [
        "underside.step",
        "underside.stl",
        "deck.step",
        "deck.stl",
        "deck.ply",
        "deck.3mf",
        "sections.svg",
        "sections.step",
        "outline.svg",
        "outline.pdf",
        "footprint.pdf",
        "footprint.svg",
        "ribs.pdf",
        "ribs.svg",
        "rocker.pdf",
        "rocker.svg",
        "build-sheet.pdf",
        "mating-face.step",
        "mating-face.stl",
        "mating-tool.step",
        "assembly.step",
        "report.json",
        "report.html",
        "gap-map.png",
        "gap-map.csv",
        "gap-map.ply",
        "gap-report.html",
    ] {
        assert!(std::fs::metadata(dir.join("out").join(name)).unwrap().len() > 100, "{name}");
    }
    let hidden: Vec<_> = std::fs::read_dir(dir.join("out"))
        .unwrap()
        .map(|e| e.unwrap().file_name().to_string_lossy().into_owned())
        .filter(|n| n.starts_with('.'))
        .collect();
    assert_eq!(hidden, [".faydeck"]);
    assert_eq!(std::fs::read_dir(dir.join("out/.faydeck")).unwrap().count(), 1, "the list of files alone");
    let text = std::fs::read_to_string(dir.join("out/report.json")).unwrap();
    let json: serde_json::Value = serde_json::from_str(&text).unwrap();
    for key in [
        "/scale/mm_per_unit",
        "/scale/standard_uncertainty",
        "/surface/residual_rms_mm",
        "/outline/source",
        "/seconds/frame",
    ] {
        assert!(json.pointer(key).is_some(), "{key}");
    }
    assert_eq!(json["scan_to_deck"].as_array().unwrap().len(), 4);
    // the box that the demo shows works: sealed at rest, under its rider and on a jump
    let gaps = std::fs::read_to_string(dir.join("out/enclosure-gaps.json")).unwrap();
    let gaps: serde_json::Value = serde_json::from_str(&gaps).unwrap();
    assert_eq!(gaps["rims"][0]["gasket"]["sealed_for_sure"], true);
    for how in ["standing", "jumping"] {
        assert_eq!(gaps["rims"][0][how]["shares"]["sealed_ratio"], 1.0, "{how}");
    }
    // a disk that is full after 64 blocks, by the shell's limit on a file's size: nothing is left, not even a part
    #[cfg(unix)]
    {
        let full = dir.join("full");
        let script = "trap '' XFSZ; ulimit -f 64; exec \"$0\" build -q \"$1\" --out \"$2\" --only step,deck.stl";
        let board = dir.join("board.toml");
        let out = Command::new("sh")
            .args(["-c", script, env!("CARGO_BIN_EXE_faydeck")])
            .args([&board, &full])
            .output()
            .unwrap();
        assert_eq!(out.status.code(), Some(6), "{}", String::from_utf8_lossy(&out.stderr));
        assert_eq!(std::fs::read_dir(&full).unwrap().count(), 0);
    }
    proofs(&dir);
    // rescale writes the same number of points
    let ply = dir.join("true size.ply");
    let scan = dir.join("scan.ply");
    let out = run(&["rescale", scan.to_str().unwrap(), "--width", "226 mm", "-o", ply.to_str().unwrap()]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    assert!(ply.exists());
    // the picture of a photo that cannot serve is asked for: why there is none is told before that there is none
    image::RgbImage::from_pixel(64, 48, image::Rgb([120; 3])).save(dir.join("blank.png")).unwrap();
    let blank = dir.join("blank.toml");
    let text = "[scan]\nfile = 'scan.ply'\n[tape]\nwidth = '226 mm'\n[photo]\nfile = 'blank.png'\n";
    std::fs::write(&blank, text).unwrap();
    let to = dir.join("blank");
    let out = run(&["build", blank.to_str().unwrap(), "--out", to.to_str().unwrap(), "--only", "photo-outline.jpg"]);
    let told = String::from_utf8_lossy(&out.stderr).into_owned();
    let at = |what: &str| told.find(what).unwrap_or_else(|| panic!("no \"{what}\" in {told}"));
    assert_eq!(out.status.code(), Some(3), "{told}");
    assert!(at("COULD NOT BE USED") < at("no file of this build"), "{told}");
    // a new board file beside the scan is never written over an old one
    let out = run(&["new", scan.to_str().unwrap(), "--width", "226 mm"]);
    assert_eq!(out.status.code(), Some(6));
}

/// The demo's own enclosure, thrown anywhere as text, is found again; a STEP file and a part without a footprint are refused.
fn proofs(dir: &std::path::Path) {
    let board = dir.join("board.toml");
    let stl = faydeck::read_mesh(&std::fs::read(dir.join("out/enclosure.stl")).unwrap()).unwrap().value;
    // a turn that permutes the axes, and a shift
    let mut obj = String::new();
    for p in &stl.points {
        obj.push_str(&format!("v {} {} {}\n", p.z + 300.0, p.x - 40.0, p.y + 9.0));
    }
    for t in &stl.triangles {
        obj.push_str(&format!("f {} {} {}\n", t[0] + 1, t[1] + 1, t[2] + 1));
    }
    let there = dir.join("somewhere.obj");
    std::fs::write(&there, obj).unwrap();
    let gaps = |part: &std::path::Path, more: &[&str]| {
        let to = dir.join("found");
        let files = [board.to_str().unwrap(), part.to_str().unwrap(), "--out", to.to_str().unwrap()];
        run(&[&["gaps", "-q"], &files[..], more].concat())
    };
    let out = gaps(&there, &["--register"]);
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    let json: serde_json::Value =
        serde_json::from_str(&std::fs::read_to_string(dir.join("found/gaps.json")).unwrap()).unwrap();
    let found = json["registration"]["enclosure_to_deck"].as_array().unwrap();
    // the alternative end for end is as good on this board: either way x comes from the second coordinate
    assert!(found[0][1].as_f64().unwrap().abs() > 0.999, "{found:?}");
    assert!(json["registration"]["residual_rms_mm"].as_f64().unwrap() < 0.1);
    assert_eq!(json["registration"]["freedoms"].as_array().unwrap().len(), 6);
    assert!(json["rims"][0]["clamp"]["force_per_screw_n"][2].as_f64().unwrap() > 10.0);
    assert_eq!(json["rims"][0]["screws"].as_array().unwrap().len(), 10);
    assert!(json["rims"][0]["growth"]["length_mm"].as_f64().unwrap() > 0.1);
    assert_eq!(gaps(&dir.join("out/deck.step"), &[]).status.code(), Some(4));
    let none = dir.join("bare.toml");
    let text = std::fs::read_to_string(&board).unwrap();
    std::fs::write(&none, &text[..text.find("[enclosure]").unwrap()]).unwrap();
    let out =
        run(&["gaps", none.to_str().unwrap(), there.to_str().unwrap(), "--register", "--out", dir.to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(5));
    assert!(String::from_utf8_lossy(&out.stderr).contains("has no [enclosure]"));
}

#[test]
fn faults_have_codes_and_hints() {
    let dir = folder("faults");
    let missing = run(&["build", dir.join("none.toml").to_str().unwrap(), "--out", dir.to_str().unwrap()]);
    assert_eq!(missing.status.code(), Some(3));
    std::fs::write(dir.join("empty.ply"), b"").unwrap();
    std::fs::write(dir.join("board.toml"), "[scan]\nfile = 'empty.ply'\n[tape]\nwidth = '21 cm'\n").unwrap();
    let out = dir.join("out");
    let empty = run(&["build", dir.join("board.toml").to_str().unwrap(), "--out", out.to_str().unwrap()]);
    assert_eq!(empty.status.code(), Some(4));
    let words = String::from_utf8_lossy(&empty.stderr).into_owned();
    assert!(words.contains("0 bytes") && words.contains("hint: "), "{words}");
    assert!(!out.exists());
    let unit = run(&["rescale", "x.ply", "--width", "209.5", "-o", "y.ply"]);
    assert_eq!(unit.status.code(), Some(3));
    assert!(String::from_utf8_lossy(&unit.stderr).contains("has no unit"));
    let zero = run(&["rescale", "x.ply", "--width", "0 mm", "-o", "y.ply"]);
    assert_eq!(zero.status.code(), Some(3));
    assert_eq!(run(&["polish"]).status.code(), Some(2));
}

/// Found by fuzzing: the unpacking's assertion told of itself, with a trace, before the sentence came.
#[test]
fn a_damaged_laz_gets_nothing_but_its_sentence() {
    // bytes set to ones: single ones change nothing that the unpacking asserts on
    const RUN: usize = 16;
    let good = std::fs::read(format!("{}/fixtures/scans/grid-1.4.laz", env!("CARGO_MANIFEST_DIR"))).unwrap();
    let asserts = |b: &Vec<u8>| faydeck::read_scan(b).is_err_and(|e| e.message().contains("codes out of range"));
    let mut changed = (0..good.len() - RUN).map(|at| [&good[..at], &[0xff; RUN], &good[at + RUN..]].concat());
    let damaged = changed.find(asserts).expect("some run of bytes makes the unpacking assert");
    let dir = folder("damaged laz");
    let file = dir.join("scan.laz");
    std::fs::write(&file, damaged).unwrap();
    let to = dir.join("out.ply");
    let out = run(&["rescale", file.to_str().unwrap(), "--width", "200 mm", "--out", to.to_str().unwrap()]);
    let told = String::from_utf8_lossy(&out.stderr);
    assert_eq!(out.status.code(), Some(4), "{told}");
    assert!(told.starts_with("error: the LAZ file cannot be unpacked") && !told.contains("panicked"), "{told}");
}

/// A scan of a few points, with one that is no number: a warning.
fn few_points(dir: &std::path::Path) -> String {
    let path = dir.join("few.xyz");
    let lines: String = (0..20).map(|i| format!("{i} {} 0\n", i * i)).collect();
    std::fs::write(&path, format!("{lines}nan 0 0\n")).unwrap();
    path.to_str().unwrap().to_owned()
}
fn told(out: &Output) -> String {
    String::from_utf8_lossy(&out.stderr).into_owned()
}

#[test]
fn a_board_file_is_made_only_for_a_scan_and_a_photo() {
    let dir = folder("new");
    let scan = few_points(&dir);
    let photo = dir.join("p.jpg").to_str().unwrap().to_owned();
    image::RgbImage::new(8, 8).save(&photo).unwrap();
    let toml = dir.join("b.toml").to_str().unwrap().to_owned();
    let new = |scan: &str, more: &[&str]| run(&[&["new", scan, "--width", "21 cm", "-o", &toml], more].concat());
    for (scan, photo, want) in [
        (photo.as_str(), None, "is a picture"),
        (scan.as_str(), Some(scan.as_str()), "neither JPEG nor PNG"),
        (toml.as_str(), None, "cannot be read"),
    ] {
        let out = new(scan, &photo.map_or(vec![], |p| vec!["--photo", p]));
        assert!(out.status.code() == Some(4) && told(&out).contains(want), "{}", told(&out));
        assert!(!std::path::Path::new(&toml).exists());
    }
    // the scan's warning ends in an exit code where that is asked for, and the file is written all the same
    let out = new(&scan, &["--photo", &photo, "--strict"]);
    assert_eq!(out.status.code(), Some(7), "{}", told(&out));
    assert!(std::fs::read_to_string(&toml).unwrap().contains("p.jpg"));
    #[cfg(unix)]
    {
        use std::os::unix::ffi::OsStrExt;
        let odd = dir.join(std::ffi::OsStr::from_bytes(b"scan\xff.xyz"));
        std::fs::copy(&scan, &odd).unwrap();
        let mut c = Command::new(env!("CARGO_BIN_EXE_faydeck"));
        let out = c.arg("new").arg(&odd).args(["--width", "21 cm", "-o"]).arg(dir.join("odd.toml")).output().unwrap();
        assert!(out.status.code() == Some(6) && told(&out).contains("is not UTF-8"), "{}", told(&out));
    }
}
/// In a pipe nothing is asked: what was given is written, and what is needed is said.
#[test]
fn a_board_file_for_a_printable_box_is_one_command() {
    let dir = folder("new box");
    let scan = few_points(&dir);
    let toml = dir.join("b.toml").to_str().unwrap().to_owned();
    let out = run(&["new", &scan, "-o", &toml]);
    assert!(out.status.code() == Some(3) && told(&out).contains("--width"), "{}", told(&out));
    let box_of = [
        "--width",
        "21 cm",
        "--thickness",
        "12 mm",
        "--wheelbase",
        "444 mm",
        "--rider",
        "80 kg",
        "--depth",
        "parts",
        "--bed",
        "220 x 220 x 250 mm",
        "--screw",
        "M5",
        "--offset",
        "-10 mm",
        "--part",
        "pack 180x84x28 mm battery",
        "--part",
        "control 64x44x20 mm",
    ];
    let new = |more: &[&str]| run(&[&["new", &scan, "-o", &toml], &box_of[..], more].concat());
    for (more, want) in [
        (["--part", "pack 180x84 mm"], "no three sizes"),
        (["--enclosure-length", "40"], "enclosure.length: the length \"40\" has no unit"),
    ] {
        let out = new(&more);
        assert!(out.status.code() == Some(3) && told(&out).contains(want), "{}", told(&out));
        assert!(!std::path::Path::new(&toml).exists());
    }
    let out = new(&["--enclosure-length", "260 mm"]);
    assert!(out.status.success() && told(&out).contains("next: "), "{}", told(&out));
    let board = faydeck::Board::parse(&std::fs::read_to_string(&toml).unwrap()).unwrap();
    let (body, e) = (board.body.unwrap(), board.enclosure.unwrap());
    assert_eq!((body.screws.size, body.depth, body.parts.len()), (faydeck::ScrewSize::M5, faydeck::Depth::Parts, 2));
    assert_eq!((e.length_mm, e.offset_mm, board.tape.wheelbase_mm), (260.0, -10.0, Some(444.0)));
    assert!(body.printer.is_some() && board.rider.is_some() && body.parts[0].battery && !body.parts[1].battery);
}
#[test]
fn a_key_is_explained_on_the_command_line() {
    let words = |out: &Output| String::from_utf8_lossy(&out.stdout).into_owned();
    let out = run(&["explain", "tape.width"]);
    assert!(out.status.success() && words(&out).contains("widest place"), "{}", words(&out));
    assert!(words(&run(&["explain"])).contains("[[part]]") && words(&run(&["explain", "tape"])).contains("wheelbase"));
    let out = run(&["explain", "tape.widht"]);
    assert!(out.status.code() == Some(3) && told(&out).contains("did you mean tape.width"), "{}", told(&out));
}
#[test]
fn the_readmes_board_file_is_read() {
    let text = std::fs::read_to_string(concat!(env!("CARGO_MANIFEST_DIR"), "/README.md")).unwrap();
    let shown: Vec<&str> = text.split("```toml\n").skip(1).filter_map(|t| t.split("```").next()).collect();
    assert_eq!(shown.len(), 1);
    assert!(faydeck::Board::parse(shown[0]).unwrap().body.is_some());
}
#[test]
fn a_slip_on_the_command_line_is_told_by_what_was_meant() {
    let dir = folder("slips");
    let scan = few_points(&dir);
    for (arguments, code, want) in [
        (vec!["new", &scan, "--width", "2145 mm"], 3, "did you mean \"214.5 mm\""),
        (vec!["new", &scan, "--width", "-21 cm"], 3, "-210 mm"),
        (vec!["new", &scan, "--width", "8.25 mm"], 3, "did you mean \"8.25 in\""),
        (vec!["new", &scan, "--widht", "21 cm"], 2, "--width"),
        (vec!["rescale", &scan, "--width", "21 cm", "-o", "x.obj"], 3, "ends with neither"),
    ] {
        let out = run(&arguments);
        assert!(out.status.code() == Some(code) && told(&out).contains(want), "{arguments:?}: {}", told(&out));
    }
}
/// A pipe that nobody writes to, and a device that never ends.
#[cfg(unix)]
#[test]
fn a_pipe_or_a_device_as_input_is_refused_at_once() {
    let dir = folder("special");
    let pipe = dir.join("pipe").to_str().unwrap().to_owned();
    assert!(Command::new("mkfifo").arg(&pipe).status().unwrap().success());
    let out = dir.join("o.ply").to_str().unwrap().to_owned();
    for input in [pipe.as_str(), "/dev/zero", dir.to_str().unwrap()] {
        for job in [
            vec!["new", input, "--width", "21 cm"],
            vec!["rescale", input, "--width", "21 cm", "-o", &out],
            vec!["build", input, "--out", &out],
        ] {
            let o = run(&job);
            assert!(matches!(o.status.code(), Some(3 | 4)) && told(&o).contains("it is "), "{job:?}: {}", told(&o));
        }
    }
}
/// The files that an OBJ names lie beside it; what is there but is no file is as good as missing, and waited for by nobody.
#[cfg(unix)]
#[test]
fn a_scans_textures_are_read_from_its_folder() {
    let from = concat!(env!("CARGO_MANIFEST_DIR"), "/fixtures/scans/textured");
    let new = |dir: &PathBuf| {
        let scan = dir.join("grid.obj").to_str().unwrap().to_owned();
        let out = run(&["new", &scan, "--width", "21 cm"]);
        assert!(out.status.success(), "{}", told(&out));
        std::fs::remove_file(dir.join("board.toml")).unwrap();
        told(&out)
    };
    let dir = folder("textured");
    let copy = |name: &str| std::fs::copy(format!("{from}/{name}"), dir.join(name)).unwrap();
    copy("grid.obj");
    assert!(new(&dir).contains("the scan's materials grid.mtl are not beside it"));
    copy("grid.mtl");
    let lost = "grid paint.png is not beside it: its colours are not used";
    assert!(new(&dir).contains(lost));
    let picture = dir.join("grid paint.png");
    assert!(Command::new("mkfifo").arg(&picture).status().unwrap().success());
    assert!(new(&dir).contains(lost));
    std::fs::remove_file(&picture).unwrap();
    std::fs::create_dir(&picture).unwrap();
    assert!(new(&dir).contains(lost));
    std::fs::remove_dir(&picture).unwrap();
    copy("grid paint.png");
    assert!(!new(&dir).contains("warning"));
}
#[test]
fn thousands_of_threads_are_not_started() {
    let out = run(&["man", "--threads", "65535"]);
    assert!(out.status.success() && told(&out).contains("one for each core"), "{}", told(&out));
}
