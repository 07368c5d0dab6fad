//! `[photo]`, or several `[[photo]]`.
use super::keys::{Form, Key};
use super::{LONGEST_MM, bounded};
use crate::error::{Error, Result, Stage};
use crate::outline::{KnownLength, Unusable};
use serde::Deserialize;

/// `[photo]` and `[[photo]]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("file", Form::File, "a photo of the underside, from above, with the whole board in it")
        .more(
            "JPEG or PNG, whole and with square pixels: a file cut short is refused, a squeezed photo is told and not used. One of \
             the top serves too: that is found out and told. A PNG's transparency is taken as the cut-out. The colours of a coloured \
             scan place the photo, so that the size no longer hangs on the scan's rim. Without any [photo] the outline is the scan's \
             rim, with a warning.",
        )
        .needed()
        .example("\"photo.jpg\""),
    Key::new("mask", Form::File, "an image of the photo's shape, light or opaque where the board is")
        .otherwise("the board's edge is found in the photo")
        .example("\"mask.png\""),
    Key::new("path", Form::File, "an SVG path of the rail traced over the photo")
        .more(
            "Bare path data serves too. Its transforms are applied: a picture placed in the drawing is taken as the photo, else its \
             view box, else its numbers are pixels. Of several closed paths the largest counts. One that lies more than 4 mm rms \
             beside the rail that the photo itself shows is a warning.",
        )
        .instead(&["mask"])
        .otherwise("the board's edge is found in the photo")
        .example("\"rail.svg\""),
    Key::new("known", Form::Table, "a length that is known between two pixels of the photo"),
    Key::new("unusable", Form::Word(&["scan rim", "refuse"]), "what to do where no photo can serve")
        .more("\"scan rim\" goes on with the scan's own rim and a loud warning, \"refuse\" stops.")
        .usual("\"scan rim\""),
];
/// `photo.known`.
pub(super) const KNOWN_KEYS: &[Key] = &[
    Key::new("length", Form::Length, "the length between the two pixels, on the underside")
        .more("One beside the board is left out, one that contradicts the rest is a warning.")
        .needed()
        .example("\"100 mm\""),
    Key::new("from", Form::Other("two numbers, pixels of the upright photo"), "the first of the two pixels")
        .needed()
        .example("[1210, 640]"),
    Key::new("to", Form::Other("two numbers, pixels of the upright photo"), "the second of the two pixels")
        .needed()
        .example("[1530, 640]"),
];

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
pub(super) struct KnownTable {
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
