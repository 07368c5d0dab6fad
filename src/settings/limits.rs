//! `[limits]`: what a scan file and a photo may ask for.
use super::keys::{Form, Key};
use crate::error::{Error, Result, Stage};
use crate::picture::PhotoLimits;
use crate::scan::ReadLimits;
use serde::Deserialize;

/// `[limits]`.
pub(super) const KEYS: &[Key] = &[
    Key::new("unpacked", Form::Memory, "the most that a packed scan may unpack to")
        .otherwise("2 GiB")
        .example("\"4 GB\""),
    Key::new("unpacked_ratio", Form::Number, "the most that it may unpack to, in times its own size").usual("200"),
    Key::new("points", Form::Number, "the most points of a scan").usual("4294967294"),
    Key::new("memory", Form::Memory, "the most memory for the points and faces of a scan or an enclosure's mesh")
        .more("\"4 GB\" is right on a computer with more than 8 GB.")
        .otherwise("2 GiB")
        .example("\"4 GB\""),
    Key::new("photo_side_px", Form::Number, "the longest side of a photo, a mask or a scan's texture, in pixels")
        .usual("20000"),
    Key::new(
        "photo_memory",
        Form::Memory,
        "the most that a photo's decoded pixels may take, or all textures of a scan together",
    )
    .otherwise("1 GiB")
    .example("\"2 GB\""),
];

#[derive(Deserialize, Default)]
#[serde(deny_unknown_fields)]
pub(super) struct LimitsTable {
    unpacked: Option<String>,
    unpacked_ratio: Option<u64>,
    points: Option<u64>,
    memory: Option<String>,
    photo_side_px: Option<u32>,
    photo_memory: Option<String>,
}
impl LimitsTable {
    pub(super) fn limits(&self) -> Result<ReadLimits> {
        let usual = ReadLimits::default();
        let limits = ReadLimits {
            unpacked_bytes: bytes("unpacked", self.unpacked.as_deref(), usual.unpacked_bytes)?,
            unpacked_ratio: self.unpacked_ratio.unwrap_or(usual.unpacked_ratio),
            points: self.points.unwrap_or(usual.points),
            memory_bytes: bytes("memory", self.memory.as_deref(), usual.memory_bytes)?,
            picture: self.photo_limits()?,
        };
        for (key, value, most) in
            [("limits.unpacked_ratio", limits.unpacked_ratio, u64::MAX), ("limits.points", limits.points, usual.points)]
        {
            within(key, value, most)?;
        }
        Ok(limits)
    }
    pub(super) fn photo_limits(&self) -> Result<PhotoLimits> {
        let usual = PhotoLimits::default();
        let side_px = self.photo_side_px.unwrap_or(usual.side_px);
        // more no JPEG can have
        within("limits.photo_side_px", side_px.into(), u16::MAX.into())?;
        Ok(PhotoLimits { side_px, bytes: bytes("photo_memory", self.photo_memory.as_deref(), usual.bytes)? })
    }
}
fn within(key: &str, value: u64, most: u64) -> Result<()> {
    if value == 0 || value > most {
        return Err(Error::new(Stage::Settings, format!("{key} is {value}, but must be 1 to {most}"))
            .hint("leave it out for the usual value"));
    }
    Ok(())
}
fn bytes(key: &str, text: Option<&str>, usual: u64) -> Result<u64> {
    text.map_or(Ok(usual), |t| size(key, t))
}

/// A size of a file with its unit, in bytes; MB and GB are powers of ten (SI).
fn size(key: &str, text: &str) -> Result<u64> {
    let split = text.find(char::is_alphabetic).unwrap_or(text.len());
    let unit = match text[split..].trim() {
        "MB" => Some(1e6),
        "GB" => Some(1e9),
        _ => None,
    };
    let number = text[..split].trim().parse::<f64>().ok().filter(|n| *n > 0.0 && n.is_finite());
    match (number, unit) {
        (Some(n), Some(u)) => Ok((n * u) as u64),
        _ => Err(Error::new(Stage::Settings, format!("limits.{key} = \"{text}\" is no size of a file"))
            .hint("write a number and MB or GB, for example \"500 MB\"")),
    }
}

#[cfg(test)]
mod tests {
    use crate::settings::Board;
    const BOARD: &str = "[scan]\nfile='s.ply'\n[tape]\nwidth='21 cm'\n[limits]\n";
    #[test]
    fn limits_are_read_and_checked() {
        let b = Board::parse(&format!("{BOARD}unpacked='1.5 GB'\npoints=1000\n")).unwrap();
        assert_eq!((b.read_limits.unpacked_bytes, b.read_limits.points), (1_500_000_000, 1000));
        let b = Board::parse(&format!("{BOARD}photo_side_px=30000\nphoto_memory='2 GB'\n")).unwrap();
        assert_eq!((b.photo_limits.side_px, b.photo_limits.bytes), (30_000, 2_000_000_000));
        for (line, want) in [
            ("photo_side_px=65536", "must be 1 to 65535"),
            ("photo_memory='much'", "limits.photo_memory = \"much\" is no size of a file"),
            ("unpacked='5'", "no size of a file"),
            ("unpacked='-5 MB'", "no size of a file"),
            ("points=0", "must be 1 to"),
            ("points=5000000000", "must be 1 to 4294967294"),
            ("unpacked_ratio=-1", "line 6"),
        ] {
            let e = Board::parse(&format!("{BOARD}{line}\n")).unwrap_err();
            assert!(e.message().contains(want), "{e}");
        }
    }
}
