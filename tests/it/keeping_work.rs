//! Nothing half-written: a build killed at any moment, two builds into one folder, folders and paths of all kinds.
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Output, Stdio};
use std::time::Duration;

fn folder(name: &str) -> PathBuf {
    let dir = PathBuf::from(env!("CARGO_TARGET_TMPDIR")).join(name);
    // a folder left by an earlier run; that it is absent is no fault
    let _ = std::fs::remove_dir_all(&dir);
    std::fs::create_dir_all(&dir).unwrap();
    dir
}
fn command(arguments: &[&str]) -> Command {
    let mut c = Command::new(env!("CARGO_BIN_EXE_faydeck"));
    c.args(arguments).stdout(Stdio::piped()).stderr(Stdio::piped());
    c
}
fn run(arguments: &[&str]) -> Output {
    command(arguments).output().unwrap()
}
/// A folder with a scan and two board files that give different decks.
fn boards(name: &str) -> PathBuf {
    use faydeck::demo::{DEMO, ScanScene, planted_scan};
    let dir = folder(name);
    let (points, _) = planted_scan(&DEMO, &ScanScene { points: 15_000, ..ScanScene::default() });
    std::fs::write(dir.join("my scan ß.ply"), faydeck::export::write_ply(&points, None, &[])).unwrap();
    for (file, width) in [("a.toml", 226.0), ("b.toml", 230.0)] {
        std::fs::write(dir.join(file), faydeck::Board::template("my scan ß.ply", None, width, None)).unwrap();
    }
    dir
}
fn build(dir: &Path, board: &str, out: &Path) -> Child {
    command(&["build", "-q", dir.join(board).to_str().unwrap(), "--out", out.to_str().unwrap()]).spawn().unwrap()
}
/// All files of a folder but the report, which holds seconds, and the hidden folder of the program's own.
fn content(out: &Path) -> BTreeMap<String, Vec<u8>> {
    std::fs::read_dir(out)
        .unwrap()
        .map(|e| e.unwrap())
        .filter(|e| e.file_name() != ".faydeck")
        .map(|e| (e.file_name().to_string_lossy().into_owned(), std::fs::read(e.path()).unwrap()))
        .filter(|(name, _)| !name.starts_with("report."))
        .collect()
}

#[test]
fn killed_at_any_moment_every_file_is_whole() {
    let dir = boards("killed ü");
    let [old, new, out] = ["old", "new", "out"].map(|n| dir.join(n));
    let begun = std::time::Instant::now();
    assert!(build(&dir, "a.toml", &old).wait().unwrap().success());
    let whole = begun.elapsed();
    assert!(build(&dir, "b.toml", &new).wait().unwrap().success());
    assert!(build(&dir, "a.toml", &out).wait().unwrap().success());
    let (a, b) = (content(&old), content(&new));
    assert_ne!(a["deck.stl"], b["deck.stl"]);
    // the last tenths are where files are written
    for tenth in [1, 5, 8, 9, 10, 11] {
        let mut child = build(&dir, "b.toml", &out);
        std::thread::sleep(whole.mul_f64(f64::from(tenth) / 10.0).max(Duration::from_millis(1)));
        // that it has ended already is no fault
        let _ = child.kill();
        child.wait().unwrap();
        for (name, bytes) in content(&out).iter().filter(|(n, _)| !n.starts_with('.')) {
            assert!(*bytes == a[name] || *bytes == b[name], "{name} is of neither build");
        }
    }
    // what a killed build leaves goes with the next one; what is not its own stays
    let unfinished = out.join(".faydeck/unfinished");
    std::fs::create_dir_all(unfinished.join("123")).unwrap();
    std::fs::write(unfinished.join("123/deck.stl"), b"half").unwrap();
    std::fs::write(out.join(".deck.stl.mine.part"), b"mine").unwrap();
    assert!(build(&dir, "b.toml", &out).wait().unwrap().success());
    let mut now = content(&out);
    assert_eq!(now.remove(".deck.stl.mine.part"), Some(b"mine".to_vec()));
    assert_eq!(now, b);
    assert!(!unfinished.exists());
}

#[test]
fn two_builds_at_once_leave_one_builds_files() {
    let dir = boards("at once");
    let out = dir.join("out");
    let children = ["a.toml", "b.toml", "a.toml", "b.toml"].map(|b| build(&dir, b, &out));
    for mut c in children {
        assert!(c.wait().unwrap().success());
    }
    let both = content(&out);
    let [a, b] = ["a", "b"].map(|n| {
        let alone = dir.join(n);
        assert!(build(&dir, &format!("{n}.toml"), &alone).wait().unwrap().success());
        content(&alone)
    });
    assert!(both == a || both == b);
}

#[test]
fn a_folder_that_cannot_be_written_is_an_error_and_stays() {
    let dir = boards("blocked");
    let out = dir.join("out");
    // a file where the folder should be; a read-only folder stops nobody who is root
    std::fs::write(&out, b"precious").unwrap();
    let o = build(&dir, "a.toml", &out).wait_with_output().unwrap();
    assert_eq!(o.status.code(), Some(6));
    assert!(String::from_utf8_lossy(&o.stderr).contains("hint: "));
    assert_eq!(std::fs::read(&out).unwrap(), b"precious");
    // a folder where a file should be: nothing else is put beside it by half
    std::fs::remove_file(&out).unwrap();
    std::fs::create_dir_all(out.join("underside.step/x")).unwrap();
    let o = build(&dir, "a.toml", &out).wait_with_output().unwrap();
    assert_eq!(o.status.code(), Some(6));
    assert_eq!(content_names(&out), ["underside.step"]);
}
/// A limit on the size of one file stands for a full disk: the write fails half-way, as it does without room.
#[cfg(unix)]
#[test]
fn a_write_that_fails_half_way_leaves_the_old_files() {
    let dir = boards("full");
    let out = dir.join("out");
    assert!(build(&dir, "a.toml", &out).wait().unwrap().success());
    let old = content(&out);
    // 64 blocks of 512 bytes (POSIX, ulimit): the meshes are larger
    let script = "trap '' XFSZ; ulimit -f 64; exec \"$0\" build -q \"$1\" --out \"$2\"";
    let o = Command::new("sh")
        .args(["-c", script, env!("CARGO_BIN_EXE_faydeck")])
        .args([dir.join("b.toml"), out.clone()])
        .output()
        .unwrap();
    let told = String::from_utf8_lossy(&o.stderr);
    assert_eq!(o.status.code(), Some(6), "{told}");
    assert!(told.contains("cannot be written") && told.contains("hint: "), "{told}");
    assert_eq!(content(&out), old);
}
fn content_names(out: &Path) -> Vec<String> {
    std::fs::read_dir(out).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect()
}

#[test]
fn windows_line_ends_and_any_number_of_threads_change_nothing() {
    let dir = boards("threads");
    let text = std::fs::read_to_string(dir.join("a.toml")).unwrap();
    std::fs::write(dir.join("crlf.toml"), format!("\u{feff}{}", text.replace('\n', "\r\n"))).unwrap();
    let mut all = Vec::new();
    for (board, threads) in [("a.toml", "1"), ("a.toml", "3"), ("crlf.toml", "2")] {
        let out = dir.join(format!("{board}{threads}"));
        let o = run(&[
            "build",
            "--threads",
            threads,
            "--timings",
            dir.join(board).to_str().unwrap(),
            "--out",
            out.to_str().unwrap(),
        ]);
        let words = String::from_utf8_lossy(&o.stderr).into_owned();
        assert!(o.status.success(), "{words}");
        assert!(words.contains(" s  surface") && words.contains(" s  all stages"), "{words}");
        all.push(content(&out));
    }
    assert!(all[0] == all[1] && all[0] == all[2]);
    assert_eq!(run(&["man", "--threads", "0"]).status.code(), Some(2));
}

#[test]
fn manual_and_completions_know_every_job() {
    let manual = String::from_utf8(run(&["man"]).stdout).unwrap();
    for job in ["DEMO", "BUILD", "RESCALE", "GAPS", "NEW"] {
        assert!(manual.contains(&format!(".SH \"FAYDECK {job}\"")), "{job}");
    }
    assert!(manual.starts_with(".ie") || manual.contains(".TH faydeck 1"), "{}", &manual[..200]);
    for shell in ["bash", "zsh", "fish", "powershell", "elvish"] {
        let script = String::from_utf8(run(&["completions", shell]).stdout).unwrap();
        assert!(script.contains("rescale") && script.contains("keep-frame"), "{shell}");
    }
    let talk = String::from_utf8(run(&["--verbose", "--quiet", "man"]).stderr).unwrap();
    assert!(talk.contains("cannot be used with"), "{talk}");
}
