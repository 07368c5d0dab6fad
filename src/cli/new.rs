//! `new`: a board file for a scan, once scan and photo are known to be what they are given as.
use super::files::{beside, read, write_one};
use super::jobs::{say, warn};
use super::{Done, Talk};
use faydeck::{Board, Error, ReadLimits, Result, Stage, Tape, Textures};
use std::io::Write;
use std::path::{Path, PathBuf};

/// How pictures begin: JPEG (ISO/IEC 10918-1, B.1.1.3) and PNG (ISO/IEC 15948, 5.2).
const PICTURES: [&[u8]; 2] = [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"];

fn is_picture(bytes: &[u8]) -> bool {
    PICTURES.iter().any(|p| bytes.starts_with(p))
}

/// The scan's bytes; refuses a scan that cannot be read and a photo that is no picture, and tells the scan's warnings.
fn checked(scan: &Path, photo: Option<&Path>, talk: Talk) -> Result<(Vec<u8>, Done)> {
    let bytes = read(scan, Stage::Scan, "the scan")?;
    if is_picture(&bytes) {
        return Err(Error::new(Stage::Scan, format!("the scan {} is a picture (JPEG or PNG)", scan.display()))
            .hint("give the scan first, and the picture with --photo"));
    }
    let textures = beside(scan);
    let found = faydeck::read_scan_textured(&bytes, &ReadLimits::default(), Textures::Beside(&textures))?;
    let done = warn(&found.warnings, talk);
    if let Some(photo) = photo {
        let bytes = read(photo, Stage::Scan, "the photo")?;
        if !is_picture(&bytes) {
            let start = bytes[..bytes.len().min(12)].escape_ascii();
            return Err(Error::new(
                Stage::Scan,
                format!("the photo {} is neither JPEG nor PNG: it begins with \"{start}\"", photo.display()),
            )
            .hint("set the phone's camera to JPEG, or export the picture as JPEG or PNG"));
        }
    }
    Ok((bytes, done))
}

/// A path as a board file holds it: text.
fn as_text(path: &Path) -> Result<String> {
    path.to_str().map(str::to_owned).ok_or_else(|| {
        Error::new(Stage::Export, format!("the name {} is not UTF-8, and a board file is", path.display()))
            .hint("give the file a plain name")
    })
}

pub(super) fn write(scan: &Path, tape: &Tape, photo: Option<&Path>, out: Option<PathBuf>, talk: Talk) -> Result<Done> {
    let folder = scan.parent().unwrap_or(Path::new(""));
    let out = out.unwrap_or_else(|| folder.join("board.toml"));
    // a link that leads nowhere is there as well
    if std::fs::symlink_metadata(&out).is_ok() {
        return Err(Error::new(Stage::Export, format!("{} exists already", out.display()))
            .hint("move it away, or name another file with --out"));
    }
    let (bytes, done) = checked(scan, photo, talk)?;
    let relative = |p: &Path| {
        let base = out.parent().unwrap_or(Path::new(""));
        match p.strip_prefix(base) {
            Ok(p) => as_text(p),
            Err(_) => as_text(&std::path::absolute(p).unwrap_or_else(|_| p.to_owned())),
        }
    };
    let photo = photo.map(relative).transpose()?;
    // a scan that cannot be followed is told by the build: the file is wanted all the same
    let free = faydeck::free_room(&bytes, tape, faydeck::INSET_MM).ok();
    let text = Board::template_with_room(&relative(scan)?, photo.as_deref(), tape.width_mm, tape.length_mm, free);
    write_one(&out, text.as_bytes())?;
    say!("{}", out.display());
    Ok(done)
}
