//! A photo for the page: its bytes as they are, and lines to draw over it.
use super::{Bytes, Packed, PagePhoto, PhotoLine, PhotoRole};
use crate::outline::{PhotoLines, PhotoReport};

/// Not a number parts two pieces of a line.
const PART: [f64; 2] = [f64::NAN; 2];

fn line(name: &str, role: PhotoRole, closed: bool, points: &[[f64; 2]]) -> PhotoLine {
    let along = |k: usize| -> Packed { points.iter().map(|p| p[k]).collect() };
    PhotoLine { name: name.into(), role, closed, x: along(0), y: along(1) }
}
/// The sides of the closed rail whose first point is hidden or not, joined to pieces.
fn pieces(lines: &PhotoLines, hidden: bool) -> Vec<[f64; 2]> {
    let n = lines.rail.len();
    let is = |i: usize| lines.hidden.get(i).copied().unwrap_or(false) == hidden;
    let mut out = Vec::new();
    for i in (0..n).filter(|i| is(*i)) {
        if i == 0 || !is(i - 1) {
            out.extend([PART, lines.rail[i]]);
        }
        out.push(lines.rail[(i + 1) % n]);
    }
    out
}
/// Half a cross over a hole, pixels of a picture.
const CROSS_PX: f64 = 7.0;
fn crosses(holes: &[[f64; 2]]) -> Vec<[f64; 2]> {
    let r = CROSS_PX;
    let cross = |h: &[f64; 2]| [[-r, -r], [r, r], [f64::NAN; 2], [-r, r], [r, -r]].map(|d| [h[0] + d[0], h[1] + d[1]]);
    holes.iter().flat_map(|h| std::iter::once(PART).chain(cross(h))).collect()
}

impl PagePhoto {
    /// The photo of `report` with the rail found in it, the parts bridged and the scan's rim.
    pub fn new(report: &PhotoReport) -> Self {
        let picture = &report.picture;
        let lines = [
            line("the rim of the scan, drawn into the photo", PhotoRole::ScanRim, true, &picture.lines.scan_rim),
            line("the rail found", PhotoRole::Found, false, &pieces(&picture.lines, false)),
            line("the rail where it is hidden, bridged", PhotoRole::Bridged, false, &pieces(&picture.lines, true)),
            line("truck bolt holes found", PhotoRole::Holes, false, &crosses(&picture.lines.holes)),
        ];
        Self {
            media_type: "image/jpeg".into(),
            bytes: Bytes(picture.bare.clone()),
            size_px: picture.size_px,
            lines: lines.into_iter().filter(|l| !l.x.0.is_empty()).collect(),
            about: format!(
                "The rail found must lie on the board's edge all round; its edge scatters by {:.2} mm rms ({:.2} px). Where \
                 it leaves the edge, take the photo again with an even floor of another colour.",
                report.residual_mm, report.residual_px
            ),
            from: format!("report.json, outline.photos, number {}", report.number),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::PhotoPicture;
    #[test]
    fn hidden_sides_are_lines_of_their_own() {
        let rail = vec![[0.0, 0.0], [4.0, 0.0], [4.0, 3.0], [0.0, 3.0]];
        let lines = PhotoLines {
            scan_rim: rail.clone(),
            rail,
            hidden: vec![false, true, false, false],
            ..PhotoLines::default()
        };
        let picture = PhotoPicture { bare: vec![1, 2], size_px: [5, 4], lines, ..PhotoPicture::default() };
        let p = PagePhoto::new(&PhotoReport { number: 1, picture, ..PhotoReport::default() });
        assert_eq!((p.bytes.0, p.size_px), (vec![1, 2], [5, 4]));
        let bridged = p.lines.iter().find(|l| l.role == PhotoRole::Bridged).unwrap();
        assert_eq!((&bridged.x.0[1..], &bridged.y.0[1..]), (&[4.0, 4.0][..], &[0.0, 3.0][..]));
        // two pieces: one side, and the two that close the line
        let found = p.lines.iter().find(|l| l.role == PhotoRole::Found).unwrap();
        assert_eq!(found.x.0.iter().filter(|x| x.is_nan()).count(), 2);
        assert_eq!((found.x.0.last(), found.y.0.last()), (Some(&0.0), Some(&0.0)));
    }
    #[test]
    fn nothing_hidden_is_no_line() {
        let rail = vec![[0.0, 0.0], [1.0, 0.0], [0.0, 1.0]];
        for (holes, roles) in
            [(vec![], &[PhotoRole::Found][..]), (vec![[40.0, 30.0]; 8], &[PhotoRole::Found, PhotoRole::Holes])]
        {
            let lines = PhotoLines { rail: rail.clone(), holes, ..PhotoLines::default() };
            let picture = PhotoPicture { lines, ..PhotoPicture::default() };
            let p = PagePhoto::new(&PhotoReport { picture, ..PhotoReport::default() });
            assert_eq!(p.lines.iter().map(|l| l.role).collect::<Vec<_>>(), roles);
        }
    }
}
