//! Writing: all files or none, and nothing of an earlier run left beside them.
use super::kind;
use super::owned::{LIST, Owned, Written};
use faydeck::export::OutputFile;
use faydeck::{Error, Result, Stage};
use std::ffi::OsStr;
use std::fs;
use std::io::Write;
use std::path::{Path, PathBuf};

/// The job that files belong to: it replaces or removes what it wrote last time, and touches nothing else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::cli) enum Owner {
    Demo,
    Build,
    Gaps,
}
impl Owner {
    pub(super) fn name(self) -> &'static str {
        match self {
            Self::Demo => "demo",
            Self::Build => "build",
            Self::Gaps => "gaps",
        }
    }
}
/// What became of the files of an earlier run that this one does not write.
#[derive(Debug, Default, PartialEq, Eq)]
pub(in crate::cli) struct Left {
    /// Removed.
    pub removed: Vec<String>,
    /// Kept, because somebody has changed them since.
    pub changed: Vec<String>,
}

/// The hidden folder in an output folder: the list of files written, and those that are not yet whole.
const HIDDEN: &str = ".faydeck";
const UNFINISHED: &str = "unfinished";
/// Files brought to the disk at once: it groups them, and each takes a thread that only waits.
const AT_ONCE: usize = 32;

fn fail(path: &Path, why: &dyn std::fmt::Display) -> Error {
    Error::new(Stage::Export, format!("{} cannot be written: {why}", path.display()))
        .hint("choose a folder you may write to, with room on its disk")
}

/// Holds a folder for one writer at a time: two builds into one folder follow each other, and the later one's files stay.
/// The lock goes with the process, however it ends; a file system without locks is written to without one.
#[cfg(unix)]
fn hold(folder: &Path) -> Option<fs::File> {
    let file = fs::File::open(folder).ok()?;
    match file.try_lock() {
        Ok(()) => return Some(file),
        Err(fs::TryLockError::WouldBlock) => {
            eprintln!("waiting for another program that is writing to {}", folder.display());
        }
        Err(fs::TryLockError::Error(_)) => return None,
    }
    file.lock().is_ok().then_some(file)
}
/// Where a folder cannot be opened as a file, files are still whole, but two builds at once may mix theirs.
#[cfg(not(unix))]
fn hold(_: &Path) -> Option<fs::File> {
    None
}

/// Refuses a target that is no regular file: a folder cannot be replaced, and a device must not be.
fn replaceable(target: &Path) -> Result<()> {
    match fs::metadata(target) {
        Ok(m) if !m.is_file() => {
            Err(Error::new(Stage::Export, format!("{} cannot be written: it is {}", target.display(), kind(&m)))
                .hint("move it away, or write to another place; nothing has been written"))
        }
        _ => Ok(()),
    }
}

/// A folder that is being written to.
struct Place<'a> {
    folder: &'a Path,
    hidden: PathBuf,
    /// Where files are until they are whole; of this process alone.
    unfinished: PathBuf,
    _lock: Option<fs::File>,
}
impl<'a> Place<'a> {
    fn open(folder: &'a Path) -> Result<Self> {
        fs::create_dir_all(folder).map_err(|e| fail(folder, &e))?;
        let hidden = folder.join(HIDDEN);
        let lock = hold(folder);
        // a link would lead what is cleared below to another folder
        if let Ok(m) = fs::symlink_metadata(&hidden)
            && !m.is_dir()
        {
            return Err(fail(&hidden, &"it is no folder, but this name is kept for unfinished files"));
        }
        let all = hidden.join(UNFINISHED);
        if lock.is_some() {
            // nobody else writes now: what is there is of killed writers. One that stays does no harm
            let _ = fs::remove_dir_all(&all);
        }
        let unfinished = all.join(std::process::id().to_string());
        fs::create_dir_all(&unfinished).map_err(|e| fail(&unfinished, &e))?;
        Ok(Self { folder, hidden, unfinished, _lock: lock })
    }
    /// Writes all files or none: each is written beside its place, then all are renamed.
    fn put(&self, files: &[(&OsStr, &[u8])]) -> Result<()> {
        let mut open: Vec<(PathBuf, fs::File)> = Vec::new();
        for (name, bytes) in files {
            let part = self.unfinished.join(name);
            let mut file = fs::File::create(&part).map_err(|e| fail(&part, &e))?;
            file.write_all(bytes).map_err(|e| fail(&self.folder.join(name), &e))?;
            open.push((part, file));
        }
        // a disk takes several files at once in little more time than one
        for some in open.chunks(AT_ONCE) {
            std::thread::scope(|scope| {
                let waiting: Vec<_> = some.iter().map(|(_, file)| scope.spawn(|| file.sync_all())).collect();
                waiting.into_iter().zip(some).try_for_each(|(done, (part, _))| {
                    let done = done.join().unwrap_or_else(|_| Err(std::io::ErrorKind::Other.into()));
                    done.map_err(|e| fail(part, &e))
                })
            })?;
        }
        let targets: Vec<PathBuf> = files.iter().map(|(name, _)| self.folder.join(name)).collect();
        targets.iter().try_for_each(|t| replaceable(t))?;
        open.iter().zip(&targets).try_for_each(|((part, _), to)| fs::rename(part, to).map_err(|e| fail(to, &e)))
    }
    fn keep_list(&self, list: &Owned) -> Result<()> {
        let part = self.unfinished.join(LIST);
        let to = self.hidden.join(LIST);
        fs::write(&part, list.to_json()).map_err(|e| fail(&to, &e))?;
        fs::rename(&part, &to).map_err(|e| fail(&to, &e))
    }
}
impl Drop for Place<'_> {
    fn drop(&mut self) {
        // what is left of a failed write goes; the folders stay where they hold something else
        let _ = fs::remove_dir_all(&self.unfinished);
        let _ = fs::remove_dir(self.hidden.join(UNFINISHED));
        let _ = fs::remove_dir(&self.hidden);
    }
}

/// Writes the files of a job, all or none, and removes those that it wrote last time and `stays` does not name.
pub(in crate::cli) fn write_all(
    folder: &Path,
    owner: Owner,
    files: &[OutputFile],
    stays: impl Fn(&str, &[u8]) -> bool,
) -> Result<Left> {
    let place = Place::open(folder)?;
    let list = Owned::read(&place.hidden);
    let mut left = Left::default();
    for name in list.files(owner).filter(|n| !files.iter().any(|f| f.name == **n)) {
        if list.untouched(owner, folder, name) {
            if !fs::read(folder.join(name)).is_ok_and(|now| stays(name, &now)) {
                left.removed.push(name.clone());
            }
        } else if folder.join(name).exists() {
            left.changed.push(name.clone());
        }
    }
    write_into(&place, list, owner, files, &left)?;
    Ok(left)
}
/// Writes a file of a job beside those that it wrote last time, which stay its own.
pub(in crate::cli) fn write_beside(folder: &Path, owner: Owner, file: OutputFile) -> Result<()> {
    let place = Place::open(folder)?;
    let list = Owned::read(&place.hidden);
    write_into(&place, list, owner, &[file], &Left::default())
}
/// Writes the files, all or none, and then removes and lets go what is left of an earlier run.
fn write_into(place: &Place, mut list: Owned, owner: Owner, files: &[OutputFile], left: &Left) -> Result<()> {
    let before = list.clone();
    for f in files {
        list.take(owner, &f.name, Written::of(&f.bytes));
    }
    left.changed.iter().for_each(|name| list.let_go(owner, name));
    // old and new files are listed before the first is renamed: a job killed from here on leaves none that nobody owns
    files.iter().try_for_each(|f| replaceable(&place.folder.join(&f.name)))?;
    place.keep_list(&list)?;
    let content: Vec<(&OsStr, &[u8])> = files.iter().map(|f| (OsStr::new(&f.name), f.bytes.as_slice())).collect();
    if let Err(e) = place.put(&content) {
        // as it was; that it cannot be is no worse than the error told
        let _ = if before == Owned::default() {
            fs::remove_file(place.hidden.join(LIST)).is_ok()
        } else {
            place.keep_list(&before).is_ok()
        };
        return Err(e);
    }
    for name in &left.removed {
        let path = place.folder.join(name);
        fs::remove_file(&path).map_err(|e| {
            Error::new(Stage::Export, format!("{} of an earlier run cannot be removed: {e}", path.display()))
                .hint("remove it yourself: it does not belong to the files written now")
        })?;
        list.let_go(owner, name);
    }
    place.keep_list(&list)
}

/// Writes one file of any name.
pub(in crate::cli) fn write_one(path: &Path, bytes: &[u8]) -> Result<()> {
    replaceable(path)?;
    // what a link leads to is replaced, not the link
    let linked = fs::symlink_metadata(path).is_ok_and(|m| m.is_symlink());
    let to = if linked { fs::canonicalize(path).unwrap_or_else(|_| path.to_owned()) } else { path.to_owned() };
    let name = to.file_name().ok_or_else(|| {
        Error::new(Stage::Export, format!("{} names no file", path.display())).hint("give a file name to write to")
    })?;
    let folder = to.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    Place::open(folder)?.put(&[(name, bytes)])
}

#[cfg(test)]
mod tests {
    use super::*;

    fn folder(name: &str) -> PathBuf {
        let dir = std::env::temp_dir().join(format!("faydeck-write-{name}-{}", std::process::id()));
        // one of an earlier run
        let _ = fs::remove_dir_all(&dir);
        fs::create_dir_all(&dir).unwrap();
        dir
    }
    fn files(names: &[&str]) -> Vec<OutputFile> {
        names.iter().map(|n| OutputFile::new(n, n.as_bytes().to_vec())).collect()
    }
    fn seen(dir: &Path) -> Vec<String> {
        let mut all: Vec<String> =
            fs::read_dir(dir).unwrap().map(|e| e.unwrap().file_name().to_string_lossy().into_owned()).collect();
        all.sort();
        all
    }
    fn none(_: &str, _: &[u8]) -> bool {
        false
    }

    #[test]
    fn a_rebuild_leaves_no_part_of_a_box_that_is_gone_and_nothing_else_is_touched() {
        let dir = folder("stale");
        fs::write(dir.join("notes.txt"), b"mine").unwrap();
        fs::write(dir.join("part-9.stl"), b"mine as well").unwrap();
        write_all(&dir, Owner::Build, &files(&["deck.stl", "part-1.stl", "part-2.stl", "strap.stl"]), none).unwrap();
        write_all(&dir, Owner::Gaps, &files(&["gaps.json"]), none).unwrap();
        fs::write(dir.join("part-2.stl"), b"filed down").unwrap();
        let left = write_all(&dir, Owner::Build, &files(&["deck.stl"]), |name, _| name == "strap.stl").unwrap();
        assert_eq!((left.removed, left.changed), (vec!["part-1.stl".into()], vec!["part-2.stl".into()]));
        let want = [".faydeck", "deck.stl", "gaps.json", "notes.txt", "part-2.stl", "part-9.stl", "strap.stl"];
        assert_eq!(seen(&dir), want);
        // what was changed is the builder's own from then on; what stayed is still the build's
        let left = write_all(&dir, Owner::Build, &files(&["deck.stl"]), none).unwrap();
        assert_eq!((left.removed, left.changed), (vec!["strap.stl".into()], vec![]));
        fs::remove_dir_all(&dir).unwrap();
    }
    #[test]
    fn one_folder_among_the_targets_and_no_file_is_written() {
        let dir = folder("target");
        write_all(&dir, Owner::Build, &files(&["a", "b", "c"]), none).unwrap();
        fs::remove_file(dir.join("c")).unwrap();
        fs::create_dir(dir.join("c")).unwrap();
        let new: Vec<OutputFile> = ["a", "b", "c"].map(|n| OutputFile::new(n, b"new".to_vec())).to_vec();
        let e = write_all(&dir, Owner::Build, &new, none).unwrap_err();
        assert!(e.message().contains("it is a folder") && e.hint_text().is_some(), "{e}");
        assert_eq!(
            (fs::read(dir.join("a")).unwrap(), fs::read(dir.join("b")).unwrap()),
            (b"a".to_vec(), b"b".to_vec())
        );
        fs::remove_dir_all(&dir).unwrap();
    }
    #[test]
    fn what_a_killed_command_left_goes_with_the_next_one_whatever_it_writes() {
        let dir = folder("killed");
        let left = dir.join(HIDDEN).join(UNFINISHED).join("123");
        fs::create_dir_all(&left).unwrap();
        fs::write(left.join("deck.stl"), b"half").unwrap();
        // a name as long as file systems take
        let long = dir.join(format!("{}.ply", "x".repeat(250)));
        write_one(&long, b"all").unwrap();
        assert_eq!(seen(&dir), [long.file_name().unwrap().to_str().unwrap()]);
        fs::remove_dir_all(&dir).unwrap();
    }
    #[cfg(unix)]
    #[test]
    fn a_device_is_not_replaced_by_a_file_and_a_link_to_a_file_stays_one() {
        use std::os::unix::fs::{FileTypeExt, symlink};
        let dir = folder("device");
        symlink("/dev/null", dir.join("out.ply")).unwrap();
        let e = write_one(&dir.join("out.ply"), b"bytes").unwrap_err();
        assert!(e.message().contains("device"), "{e}");
        assert!(fs::metadata(dir.join("out.ply")).unwrap().file_type().is_char_device());
        fs::write(dir.join("real.ply"), b"old").unwrap();
        symlink("real.ply", dir.join("link.ply")).unwrap();
        write_one(&dir.join("link.ply"), b"new").unwrap();
        assert!(fs::symlink_metadata(dir.join("link.ply")).unwrap().is_symlink());
        assert_eq!(fs::read(dir.join("real.ply")).unwrap(), b"new");
        // a name that is no text
        use std::os::unix::ffi::OsStrExt;
        let odd = dir.join(OsStr::from_bytes(b"b\xff.ply"));
        write_one(&odd, b"new").unwrap();
        assert_eq!(fs::read(odd).unwrap(), b"new");
        // a hidden folder that leads elsewhere is not cleared
        let other = folder("device-other");
        fs::create_dir_all(other.join(UNFINISHED)).unwrap();
        fs::write(other.join(UNFINISHED).join("precious"), b"x").unwrap();
        symlink(&other, dir.join(HIDDEN)).unwrap();
        assert!(write_one(&dir.join("real.ply"), b"newer").is_err());
        assert!(other.join(UNFINISHED).join("precious").exists());
        for d in [dir, other] {
            fs::remove_dir_all(d).unwrap();
        }
    }
}
