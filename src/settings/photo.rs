//! `[photo]`, or several `[[photo]]`.
use super::{LONGEST_MM, bounded};
use crate::error::{Error, Result, Stage};
use crate::outline::{KnownLength, Unusable};
use serde::Deserialize;

/// One table or several.
#[derive(Deserialize)]
#[serde(untagged, expecting = "[photo] has file, and if wanted mask, path, unusable, known = { length, from, to }")]
pub(super) enum PhotoTables {
    One(Box<PhotoTable>),
    Several(Vec<PhotoTable>),
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PhotoTable {
    file: String,
    mask: Option<String>,
    path: Option<String>,
    unusable: Option<String>,
    known: Option<KnownTable>,
}
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KnownTable {
    length: toml::Value,
    from: [f64; 2],
    to: [f64; 2],
}
/// A photo and the files that go with it, paths as written.
#[derive(Debug, Clone, PartialEq)]
pub struct PhotoFile {
    /// The photo.
    pub file: String,
    /// An image that is light where the board is.
    pub mask: Option<String>,
    /// An SVG traced over the photo.
    pub path: Option<String>,
    /// A length known between two of its pixels.
    pub known: Option<KnownLength>,
}
/// Most photos solved together: the solve's work grows with their number, and ten see a board from every side.
const MOST: usize = 10;

pub(super) fn photos(tables: Option<PhotoTables>) -> Result<(Vec<PhotoFile>, Unusable)> {
    let tables = match tables {
        None => Vec::new(),
        Some(PhotoTables::One(t)) => vec![*t],
        Some(PhotoTables::Several(v)) => v,
    };
    if tables.len() > MOST {
        return Err(Error::new(Stage::Settings, format!("there are {} photos, the limit is {MOST}", tables.len()))
            .hint("keep those that show the whole rail sharply, from different sides"));
    }
    let mut unusable = Unusable::default();
    let mut files = Vec::new();
    for t in tables {
        match t.unusable.as_deref() {
            None | Some("scan rim") => {}
            Some("refuse") => unusable = Unusable::Refuse,
            Some(other) => {
                return Err(Error::new(Stage::Settings, format!("photo.unusable is \"{other}\""))
                    .hint("write \"scan rim\" (go on with the scan's own rim) or \"refuse\" (stop)"));
            }
        }
        if t.mask.is_some() && t.path.is_some() {
            return Err(Error::new(Stage::Settings, format!("photo {} has both a mask and a path", t.file))
                .hint("keep the one that follows the rail better"));
        }
        let known = t.known.map(|k| known(&k)).transpose()?;
        files.push(PhotoFile { file: t.file, mask: t.mask, path: t.path, known });
    }
    Ok((files, unusable))
}
fn known(k: &KnownTable) -> Result<KnownLength> {
    let length_mm = bounded("photo.known.length", &k.length, 1.0, LONGEST_MM)?;
    let apart = (k.from[0] - k.to[0]).hypot(k.from[1] - k.to[1]);
    // nearer marks say less than the tape's own reading does, and may lie on one another
    if !(apart >= 10.0) {
        return Err(Error::new(
            Stage::Settings,
            format!("photo.known.from and .to are {apart:.1} pixels apart, but must be at least 10"),
        )
        .hint("give the two ends of the length in pixels from the photo's upper left corner"));
    }
    Ok(KnownLength { from_px: k.from, to_px: k.to, length_mm })
}
#[cfg(test)]
mod tests {
    use crate::outline::Unusable;
    use crate::settings::Board;
    fn board(rest: &str) -> crate::Result<Board> {
        Board::parse(&format!("[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n{rest}"))
    }
    #[test]
    fn one_and_several() {
        assert!(board("").unwrap().photos.is_empty());
        let b = board("[photo]\nfile='a.jpg'\nunusable='refuse'\nknown={length='10 cm',from=[1,2],to=[301.5,2]}\n")
            .unwrap();
        assert_eq!((b.photos.len(), b.unusable_photo), (1, Unusable::Refuse));
        assert_eq!(b.photos[0].known.unwrap().length_mm, 100.0);
        let b = board("[[photo]]\nfile='a.jpg'\nmask='m.png'\n[[photo]]\nfile='b.jpg'\npath='p.svg'\n").unwrap();
        assert_eq!((b.photos[0].mask.as_deref(), b.photos[1].path.as_deref()), (Some("m.png"), Some("p.svg")));
        assert_eq!(b.unusable_photo, Unusable::ScanRim);
    }
    #[test]
    fn faults_are_named() {
        for (text, want) in [
            ("[photo]\nfile='a'\nunusable='maybe'\n".to_string(), "maybe"),
            ("[photo]\nfile='a'\nmask='m'\npath='p'\n".into(), "both"),
            ("[photo]\nfile='a'\nknown={length=3,from=[0,0],to=[50,0]}\n".into(), "no unit"),
            ("[photo]\nfile='a'\nknown={length='3 cm',from=[0,0],to=[5,0]}\n".into(), "5.0 pixels"),
            ("[photo]\nfiel='a'\n".into(), "[photo] has file"),
            ("[[photo]]\nfile='a'\n".repeat(11), "limit is 10"),
        ] {
            let e = board(&text).unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{text}: {e}");
        }
    }
}
