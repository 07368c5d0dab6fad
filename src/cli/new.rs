//! `new`: a board file for a scan, once scan and photo are known to be what they are given as.
use super::ask::Talker;
use super::files::{beside, read, write_one};
use super::jobs::{say, warn};
use super::{Done, Talk};
use faydeck::{Error, Given, NewBoard, ReadLimits, Result, Stage, Textures};
use std::io::{IsTerminal, Write};
use std::path::{Path, PathBuf};

/// How pictures begin: JPEG (ISO/IEC 10918-1, B.1.1.3) and PNG (ISO/IEC 15948, 5.2).
const PICTURES: [&[u8]; 2] = [b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n"];

fn is_picture(bytes: &[u8]) -> bool {
    PICTURES.iter().any(|p| bytes.starts_with(p))
}

/// The scan's bytes; refuses one that cannot be read, and tells its warnings.
fn checked_scan(scan: &Path, talk: Talk) -> Result<(Vec<u8>, Done)> {
    let bytes = read(scan, Stage::Scan, "the scan")?;
    if is_picture(&bytes) {
        return Err(Error::new(Stage::Scan, format!("the scan {} is a picture (JPEG or PNG)", scan.display()))
            .hint("give the scan first, and the picture with --photo"));
    }
    let textures = beside(scan);
    let found = faydeck::read_scan_textured(&bytes, &ReadLimits::default(), Textures::Beside(&textures))?;
    Ok((bytes, warn(&found.warnings, talk)))
}
/// Refuses a photo that is no picture.
fn checked_photo(photo: &Path) -> Result<()> {
    let bytes = read(photo, Stage::Scan, "the photo")?;
    if is_picture(&bytes) {
        return Ok(());
    }
    let start = bytes[..bytes.len().min(12)].escape_ascii();
    Err(Error::new(
        Stage::Scan,
        format!("the photo {} is neither JPEG nor PNG: it begins with \"{start}\"", photo.display()),
    )
    .hint("set the phone's camera to JPEG, or export the picture as JPEG or PNG"))
}

/// A path as a board file holds it: text.
fn as_text(path: &Path) -> Result<String> {
    path.to_str().map(str::to_owned).ok_or_else(|| {
        Error::new(Stage::Export, format!("the name {} is not UTF-8, and a board file is", path.display()))
            .hint("give the file a plain name")
    })
}

/// What the command line says of the new board.
#[derive(clap::Args)]
pub(super) struct NewArguments {
    /// Width rail to rail at the widest place, with its unit: "209.5 mm".
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    width: Option<String>,
    /// Length nose to tail, with its unit; the size is far surer with it.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    length: Option<String>,
    /// A photo of the underside, JPEG or PNG, from above with the whole board in it.
    #[arg(long, value_name = "FILE")]
    photo: Option<PathBuf>,
    /// Thickness of the deck: "12 mm".
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    thickness: Option<String>,
    /// From the middle of one truck's four holes to the other's: "640 mm".
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    wheelbase: Option<String>,
    /// Weight of the rider: "80 kg".
    #[arg(long, value_name = "MASS", allow_hyphen_values = true)]
    rider: Option<String>,
    /// A part for the box: name, length x width x height, and the word battery for one: "pack 180x84x28 mm battery". May be
    /// given several times.
    #[arg(long, value_name = "PART", allow_hyphen_values = true)]
    part: Vec<String>,
    /// Clear depth inside the box: "45 mm", or "parts" for as deep as the tallest part asks. Without it and without parts only the
    /// mating face is made.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    depth: Option<String>,
    /// Thickness of the gasket's foam strip, before it is pressed: "6 mm".
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    gasket: Option<String>,
    /// Length of the box along the board; by default it fits between the trucks.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    enclosure_length: Option<String>,
    /// Middle of the box, from the board's middle towards the nose: "-20 mm" is towards the tail.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    offset: Option<String>,
    /// Size of the screws: M3, M4, M5 or M6.
    #[arg(long, value_name = "SIZE")]
    screw: Option<String>,
    /// The printer's room, width x depth x height: "220 x 220 x 250 mm". A longer box is cut into parts.
    #[arg(long, value_name = "SIZE", allow_hyphen_values = true)]
    bed: Option<String>,
    /// Ask nothing, also in a terminal.
    #[arg(long)]
    no_questions: bool,
    /// The board file to write; by default board.toml beside the scan. One that exists is kept.
    #[arg(short, long, value_name = "FILE")]
    out: Option<PathBuf>,
}
impl NewArguments {
    /// Puts what was given into `board`; parts come before the depth that may ask for them.
    fn put_into(&self, board: &mut NewBoard) -> Result<()> {
        for part in &self.part {
            board.add_part(part)?;
        }
        for (what, text) in [
            (Given::Width, &self.width),
            (Given::Length, &self.length),
            (Given::Thickness, &self.thickness),
            (Given::Wheelbase, &self.wheelbase),
            (Given::Rider, &self.rider),
            (Given::Depth, &self.depth),
            (Given::Gasket, &self.gasket),
            (Given::EnclosureLength, &self.enclosure_length),
            (Given::Offset, &self.offset),
            (Given::Screw, &self.screw),
            (Given::Bed, &self.bed),
        ] {
            if let Some(text) = text {
                board.set(what, text)?;
            }
        }
        Ok(())
    }
}

/// `path` as the board file `out` names it: relative where it lies beside it.
fn relative(path: &Path, out: &Path) -> Result<String> {
    let base = out.parent().unwrap_or(Path::new(""));
    match path.strip_prefix(base) {
        Ok(p) => as_text(p),
        Err(_) => as_text(&std::path::absolute(path).unwrap_or_else(|_| path.to_owned())),
    }
}
/// The file that was typed: from here, or else in the scan's `folder`; a file dropped on a terminal stands in quotation marks.
fn named(typed: &str, folder: &Path) -> PathBuf {
    let name = Path::new(typed.trim_matches(['"', '\'']));
    let beside = folder.join(name);
    if !name.exists() && beside.exists() { beside } else { name.to_owned() }
}
fn unasked(e: &std::io::Error) -> Error {
    Error::new(Stage::Settings, format!("the questions cannot be asked: {e}"))
        .hint("give the measurements as options, with --no-questions")
}

pub(super) fn write(scan: &Path, given: &NewArguments, talk: Talk) -> Result<Done> {
    let folder = scan.parent().unwrap_or(Path::new(""));
    let out = given.out.clone().unwrap_or_else(|| folder.join("board.toml"));
    // a link that leads nowhere is there as well
    if std::fs::symlink_metadata(&out).is_ok() {
        return Err(Error::new(Stage::Export, format!("{} exists already", out.display()))
            .hint("move it away, or name another file with --out"));
    }
    let asks = !given.no_questions && !talk.quiet && std::io::stdin().is_terminal() && std::io::stderr().is_terminal();
    let mut board = NewBoard::new("scan");
    given.put_into(&mut board)?;
    // without a width nothing can be made: said before the scan is read
    if !asks {
        board.text()?;
    }
    let (bytes, done) = checked_scan(scan, talk)?;
    board.scan_file = relative(scan, &out)?;
    let photo = |path: &Path| {
        checked_photo(path)?;
        relative(path, &out)
    };
    board.photo_file = given.photo.as_deref().map(photo).transpose()?;
    let mut talker = Talker { from: std::io::stdin().lock(), to: std::io::stderr() };
    if asks {
        talker.readings(&mut board, |name| photo(&named(name, folder))).map_err(|e| unasked(&e))?;
    }
    if !talk.quiet {
        eprintln!("looking for the room that is free along the board ...");
    }
    // a scan that cannot be followed is told by the build: the file is wanted all the same
    board.free_mm = faydeck::free_room(&bytes, &board.tape()?, faydeck::INSET_MM).ok();
    if asks {
        talker.enclosure(&mut board).map_err(|e| unasked(&e))?;
    }
    write_one(&out, board.text()?.as_bytes())?;
    say!("{}", out.display());
    if !talk.quiet {
        let built = out.parent().unwrap_or(Path::new("")).join("out");
        eprintln!("next: look it over, then faydeck build {} --out {}", shell_word(&out), shell_word(&built));
    }
    Ok(done)
}
/// A path as it is typed in a shell.
fn shell_word(path: &Path) -> String {
    let text = faydeck::printable(&path.display().to_string()).into_owned();
    let plain = |c: char| c.is_alphanumeric() || "/._-\\:".contains(c);
    if text.chars().all(plain) { text } else { format!("\"{text}\"") }
}
