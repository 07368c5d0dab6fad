//! Which files of a folder are a job's own: what it wrote last time, as it wrote it.
use super::write::Owner;
use flate2::Crc;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

/// Where the list is kept, in the hidden folder of an output folder.
pub(super) const LIST: &str = "files.json";

/// A file as it was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Written {
    bytes: u64,
    crc32: u32,
}
impl Written {
    pub(super) fn of(content: &[u8]) -> Self {
        let mut sum = Crc::new();
        sum.update(content);
        Self { bytes: content.len() as u64, crc32: sum.sum() }
    }
    /// Whether the file at `path` is still what was written. One of another length is not read.
    fn is_still(self, path: &Path) -> bool {
        let same_length = fs::symlink_metadata(path).is_ok_and(|m| m.is_file() && m.len() == self.bytes);
        same_length && fs::read(path).is_ok_and(|content| Self::of(&content) == self)
    }
}

/// The files of each job in one folder, by name.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Owned(BTreeMap<String, BTreeMap<String, Written>>);

impl Owned {
    /// The list in `hidden`; an empty one where there is none, or none that can be read: then nothing is a job's own.
    pub(super) fn read(hidden: &Path) -> Self {
        let mut found: Self =
            fs::read(hidden.join(LIST)).ok().and_then(|b| serde_json::from_slice(&b).ok()).unwrap_or_default();
        for files in found.0.values_mut() {
            // a list that somebody else has written leads to no other folder
            files.retain(|name, _| Path::new(name).file_name().is_some_and(|n| n == name.as_str()));
        }
        found
    }
    pub(super) fn to_json(&self) -> Vec<u8> {
        serde_json::to_vec_pretty(self).unwrap_or_default()
    }
    pub(super) fn files(&self, owner: Owner) -> impl Iterator<Item = &String> {
        self.0.get(owner.name()).into_iter().flat_map(BTreeMap::keys)
    }
    /// Whether `name` in `folder` is `owner`'s own and untouched since.
    pub(super) fn untouched(&self, owner: Owner, folder: &Path, name: &str) -> bool {
        let written = self.0.get(owner.name()).and_then(|files| files.get(name));
        written.is_some_and(|w| w.is_still(&folder.join(name)))
    }
    /// `name` is `owner`'s from now on, and nobody else's.
    pub(super) fn take(&mut self, owner: Owner, name: &str, written: Written) {
        self.0.values_mut().for_each(|files| {
            files.remove(name);
        });
        self.0.entry(owner.name().to_owned()).or_default().insert(name.to_owned(), written);
    }
    pub(super) fn let_go(&mut self, owner: Owner, name: &str) {
        if let Some(files) = self.0.get_mut(owner.name()) {
            files.remove(name);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn a_list_written_by_somebody_else_removes_no_file_of_another_folder() {
        let dir = std::env::temp_dir().join(format!("faydeck-owned-{}", std::process::id()));
        fs::create_dir_all(&dir).unwrap();
        let list = r#"{"build":{"../x":{"bytes":1,"crc32":1},"/etc/passwd":{"bytes":1,"crc32":1},"..":{"bytes":1,"crc32":1},"a b.stl":{"bytes":1,"crc32":1}}}"#;
        fs::write(dir.join(LIST), list).unwrap();
        assert_eq!(Owned::read(&dir).files(Owner::Build).collect::<Vec<_>>(), ["a b.stl"]);
        fs::write(dir.join(LIST), "{").unwrap();
        assert_eq!(Owned::read(&dir), Owned::default());
        fs::remove_dir_all(&dir).unwrap();
    }
}
