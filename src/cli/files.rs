//! Reading and writing files; outputs appear only when complete.
use faydeck::export::OutputFile;
use faydeck::{Error, Result, Stage};
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Largest input read, bytes: a scan of some 100 million points.
const MOST: u64 = 4 << 30;

pub(super) fn read(path: &Path, stage: Stage, what: &str) -> Result<Vec<u8>> {
    let fail = |e: &dyn std::fmt::Display| {
        Error::new(stage, format!("{what} {} cannot be read: {e}", path.display()))
            .hint("check the path; in a board file paths are relative to the file")
    };
    let size = fs::metadata(path).map_err(|e| fail(&e))?.len();
    if size > MOST {
        return Err(fail(&format!("it has {size} bytes, the limit is {MOST}")));
    }
    fs::read(path).map_err(|e| fail(&e))
}

/// Holds a folder for one writer at a time: two builds into one folder follow each other, and the later one's files stay.
/// The lock goes with the process, however it ends; a file system without locks is written to without one.
#[cfg(unix)]
fn hold(folder: &Path) -> Option<fs::File> {
    fs::File::open(folder).ok().filter(|f| f.lock().is_ok())
}
/// Where a folder cannot be opened as a file, files are still whole, but two builds at once may mix theirs.
#[cfg(not(unix))]
fn hold(_: &Path) -> Option<fs::File> {
    None
}
/// Files brought to the disk at once: it groups them, and each takes a thread that only waits.
const AT_ONCE: usize = 32;
const PART: &str = ".part";
fn part_name(name: &str, id: u32) -> String {
    format!(".{name}.{id}{PART}")
}
/// Whether `found` is what a killed writer of `name` left.
fn is_left_over(found: &str, name: &str) -> bool {
    let id = found.strip_suffix(PART).and_then(|f| f.strip_prefix('.')?.strip_prefix(name)?.strip_prefix('.'));
    id.is_some_and(|id| id.parse::<u32>().is_ok())
}

/// Writes all files or none: each is written beside its place, then all are renamed.
pub(super) fn write_all(folder: &Path, files: &[OutputFile]) -> Result<()> {
    let fail = |path: &Path, e: &std::io::Error| {
        Error::new(Stage::Export, format!("{} cannot be written: {e}", path.display()))
            .hint("choose a folder you may write to, with room on its disk")
    };
    fs::create_dir_all(folder).map_err(|e| fail(folder, &e))?;
    let lock = hold(folder);
    if lock.is_some() {
        // nobody else writes now: parts of these files are of killed writers
        for entry in fs::read_dir(folder).into_iter().flatten().flatten() {
            let found = entry.file_name();
            if files.iter().any(|f| found.to_str().is_some_and(|n| is_left_over(n, &f.name))) {
                // one that stays does no harm
                let _ = fs::remove_file(entry.path());
            }
        }
    }
    let (mut parts, mut open): (Vec<(PathBuf, PathBuf)>, Vec<fs::File>) = Default::default();
    let written = files.iter().try_for_each(|f| {
        let part = folder.join(part_name(&f.name, std::process::id()));
        parts.push((part.clone(), folder.join(&f.name)));
        let mut file = fs::File::create(&part).map_err(|e| fail(&part, &e))?;
        file.write_all(&f.bytes).map_err(|e| fail(&part, &e))?;
        open.push(file);
        Ok(())
    });
    // a disk takes several files at once in little more time than one
    let synced = written.and_then(|()| {
        open.chunks(AT_ONCE).zip(parts.chunks(AT_ONCE)).try_for_each(|(open, parts)| {
            std::thread::scope(|scope| {
                let waiting: Vec<_> = open.iter().map(|file| scope.spawn(|| file.sync_all())).collect();
                waiting.into_iter().zip(parts).try_for_each(|(done, (part, _))| {
                    let done = done.join().unwrap_or_else(|_| Err(std::io::ErrorKind::Other.into()));
                    done.map_err(|e| fail(part, &e))
                })
            })
        })
    });
    let renamed = synced.and_then(|()| parts.iter().try_for_each(|(a, b)| fs::rename(a, b).map_err(|e| fail(b, &e))));
    if renamed.is_err() {
        for (part, _) in &parts {
            // what is left of a failed write; there is nothing to do when even that fails
            let _ = fs::remove_file(part);
        }
    }
    renamed
}

pub(super) fn write_one(path: &Path, bytes: Vec<u8>) -> Result<()> {
    let name = path.file_name().and_then(|n| n.to_str()).ok_or_else(|| {
        Error::new(Stage::Export, format!("{} names no file", path.display())).hint("give a file name to write to")
    })?;
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    write_all(folder, &[OutputFile::new(name, bytes)])
}
