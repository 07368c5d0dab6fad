//! Reading and writing files; outputs appear only when complete.
mod owned;
mod write;
pub(super) use write::{Left, Owner, write_all, write_beside, write_one};

use faydeck::{Error, Result, Stage};
use std::fs;
use std::io::Read;
use std::path::Path;

/// Largest input read, bytes: a scan of some 100 million points. More would not fit beside its points on a machine of 8 GB.
const MOST: u64 = 2 << 30;

/// What a path leads to that is no regular file: reading it may never end, and writing to it may hurt.
fn kind(of: &fs::Metadata) -> &'static str {
    if of.is_dir() { "a folder" } else { "no regular file but a pipe, a device or the like" }
}

/// The bytes of an input: of regular files only, and never more than the limit.
pub(super) fn read(path: &Path, stage: Stage, what: &str) -> Result<Vec<u8>> {
    let fail = |why: &dyn std::fmt::Display, hint: &str| {
        Error::new(stage, format!("{what} {} cannot be read: {why}", path.display())).hint(hint)
    };
    let lost = |e: std::io::Error| fail(&e, "check the path; in a board file paths are relative to the file");
    let large = |n: u64| {
        fail(&format!("it has {n} bytes, the limit is {MOST}"), "thin the scan, or export it in a binary format")
    };
    // asked before it is opened, which waits for a writer where the path is a pipe
    let told = fs::metadata(path).map_err(lost)?;
    if !told.is_file() {
        return Err(fail(
            &format!("it is {}", kind(&told)),
            "give the path of a file; save what comes out of a pipe first",
        ));
    }
    if told.len() > MOST {
        return Err(large(told.len()));
    }
    let mut bytes = Vec::new();
    let room = usize::try_from(told.len()).unwrap_or(usize::MAX);
    bytes.try_reserve_exact(room).map_err(|_| {
        fail(&format!("there is no memory for its {room} bytes"), "close other programs, or thin the scan")
    })?;
    // a file may grow while it is read
    fs::File::open(path).map_err(lost)?.take(MOST + 1).read_to_end(&mut bytes).map_err(lost)?;
    if bytes.len() as u64 > MOST {
        return Err(large(bytes.len() as u64));
    }
    Ok(bytes)
}

/// Reads files by their names beside `scan`, within its folder and below: `None` for what is not there or no file to read.
pub(super) fn beside(scan: &Path) -> impl Fn(&str) -> Option<Vec<u8>> + 'static {
    let folder = scan.parent().unwrap_or(Path::new("")).to_owned();
    move |name| {
        let name = Path::new(name);
        let below = name.components().all(|c| matches!(c, std::path::Component::Normal(_)));
        below.then(|| read(&folder.join(name), Stage::Scan, "the texture").ok()).flatten()
    }
}
