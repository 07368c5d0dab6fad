//! The files that a scan names: its pictures, and an OBJ's materials.

/// What a reader does about a scan's textures, of which its points take their colours.
#[derive(Clone, Copy, Default)]
pub enum Textures<'a> {
    /// Reads those within the scan's own file; one that lies in a file of its own is told to be missing.
    #[default]
    Within,
    /// Asks for the bytes of a file beside the scan by its name: plain names with slashes between them, that lead nowhere but down.
    Beside(&'a dyn Fn(&str) -> Option<Vec<u8>>),
    /// Passes over them and says nothing, where colours are of no use.
    Unread,
}
impl std::fmt::Debug for Textures<'_> {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Within => "Within",
            Self::Beside(_) => "Beside",
            Self::Unread => "Unread",
        })
    }
}
impl Textures<'_> {
    pub(super) fn wanted(self) -> bool {
        !matches!(self, Self::Unread)
    }
    /// The file that a scan calls `name`: where that says, else beside the scan by the last part of it. Scans that were moved with
    /// their textures still name the folder they were made in.
    pub(super) fn file(self, name: &str) -> Option<Vec<u8>> {
        let Self::Beside(ask) = self else { return None };
        let name = name.replace('\\', "/");
        let parts: Vec<&str> = name.split('/').filter(|p| !p.is_empty() && *p != ".").collect();
        let plain = |part: &&str| *part != ".." && !part.contains([':', '\0']);
        let whole = (!name.starts_with('/') && parts.iter().all(plain)).then(|| parts.join("/"));
        let last = *parts.last().filter(|p| plain(p))?;
        whole.as_deref().and_then(ask).or_else(|| if whole.as_deref() == Some(last) { None } else { ask(last) })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::cell::RefCell;

    /// Names that lead out of the scan's folder are looked for beside the scan, and nowhere else.
    #[test]
    fn no_name_leads_out_of_the_scans_folder() {
        for (name, want) in [
            ("deck.jpg", &["deck.jpg"][..]),
            ("./maps/my deck.jpg", &["maps/my deck.jpg", "my deck.jpg"]),
            ("maps\\deck.jpg", &["maps/deck.jpg", "deck.jpg"]),
            ("/etc/passwd", &["passwd"]),
            ("C:\\scans\\deck.jpg", &["deck.jpg"]),
            ("../deck.jpg", &["deck.jpg"]),
            ("maps/../../deck.jpg", &["deck.jpg"]),
            ("\\\\server\\share\\deck.jpg", &["deck.jpg"]),
            ("..", &[]),
            ("maps/..", &[]),
            ("C:deck.jpg", &[]),
            ("", &[]),
            ("/", &[]),
            ("deck\0.jpg", &[]),
        ] {
            let asked = RefCell::new(Vec::new());
            let ask = |n: &str| {
                asked.borrow_mut().push(n.to_owned());
                None
            };
            assert_eq!(Textures::Beside(&ask).file(name), None);
            assert_eq!(asked.take(), want, "{name}");
        }
    }
}
