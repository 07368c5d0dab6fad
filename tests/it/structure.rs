//! The import direction: `num` uses nothing, `geom` uses `num`, a stage uses only what comes before it.
use std::fs;
use std::path::Path;

/// What each module may use of the crate.
const ALLOWED: [(&str, &[&str]); 14] = [
    ("num", &[]),
    ("geom", &["num", "tolerance"]),
    ("scan", &["num", "geom", "error", "tolerance", "picture"]),
    ("frame", &["num", "geom", "error", "tolerance", "scan"]),
    ("surface", &["num", "geom", "error", "tolerance", "scan", "frame"]),
    ("outline", &["num", "geom", "error", "tolerance", "picture", "scan", "frame", "surface"]),
    ("deck", &["num", "geom", "error", "tolerance", "scan", "frame", "surface", "outline"]),
    ("mating", &["num", "geom", "error", "tolerance", "scan", "frame", "surface", "outline", "deck"]),
    ("enclosure", &["num", "geom", "error", "tolerance", "scan", "frame", "surface", "outline", "deck", "mating"]),
    ("fit_check", &["num", "geom", "error", "tolerance", "deck", "mating"]),
    (
        "gap",
        &[
            "num",
            "geom",
            "error",
            "tolerance",
            "scan",
            "frame",
            "surface",
            "outline",
            "deck",
            "mating",
            "enclosure",
            "load",
        ],
    ),
    ("load", &["num"]),
    (
        "export",
        &["num", "geom", "error", "tolerance", "scan", "deck", "mating", "enclosure", "fit_check", "gap", "report"],
    ),
    (
        "settings",
        &[
            "geom",
            "error",
            "tolerance",
            "picture",
            "scan",
            "frame",
            "gap",
            "load",
            "outline",
            "deck",
            "mating",
            "enclosure",
            "fit_check",
            "export",
        ],
    ),
];

fn sources(folder: &Path, out: &mut Vec<(String, String)>) {
    let mut entries: Vec<_> = fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()).collect();
    entries.sort();
    for path in entries {
        if path.is_dir() {
            sources(&path, out);
        } else {
            out.push((path.display().to_string(), fs::read_to_string(&path).unwrap()));
        }
    }
}

#[test]
fn imports_run_one_way() {
    let src = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    for (module, allowed) in ALLOWED {
        let mut files = Vec::new();
        sources(&src.join(module), &mut files);
        assert!(!files.is_empty(), "{module} has no source");
        for (name, text) in files {
            // tests may use any part, to check one against another
            let test = name.ends_with("/tests.rs") || name.contains("/tests/");
            let code = if test { "" } else { text.split("#[cfg(test)]").next().unwrap_or("") };
            for used in code.split("crate::").skip(1) {
                let used: String = used.chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
                assert!(
                    used == module || allowed.contains(&used.as_str()),
                    "{name} uses crate::{used}, which {module} may not"
                );
            }
            assert!(!code.contains("clap"), "{name}: only the binary sees clap");
        }
    }
}
