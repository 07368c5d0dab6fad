//! Textured faces, and the colours that points and faces take from their pictures.
use super::raw::{Raw, kept};
use super::{RawCloud, ReadLimits, Texel, Textures};
use crate::error::{Stage, Warning};
use crate::geom::strewn;
use crate::picture::{PhotoLimits, stored};
use image::RgbImage;
use nalgebra::Point3;

/// Most places on faces that take a colour of their own: over a board with two square metres of floor one for each square millimetre,
/// four in the finest cell in which colours are laid over a photo. They take some 64 MB.
const MOST_TEXELS: f64 = 2_000_000.0;
/// How far from a face's corner towards its middle its colour is read, in shares: far less than a texel but on faces of a thousand. A
/// corner on the picture's border, or on that of its part of the picture, has the colour of the face's own side.
const INSIDE: f64 = 1e-3;

/// How a place beyond the picture is taken back into it (glTF 2.0, 3.8.4.5: clamp to edge, mirrored repeat, repeat).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Wrap {
    #[default]
    Repeat,
    Mirror,
    Clamp,
}
impl Wrap {
    /// The number of the pixel, of `n` along this axis, at `place`: 0 to 1 is the picture.
    fn pixel(self, place: f64, n: u32) -> u32 {
        let at = match self {
            Self::Repeat => place.rem_euclid(1.0),
            Self::Clamp => place.clamp(0.0, 1.0),
            Self::Mirror => 1.0 - (place.rem_euclid(2.0) - 1.0).abs(),
        };
        ((at * f64::from(n)) as u32).min(n.saturating_sub(1))
    }
}
/// Where a picture's bytes are.
pub(super) enum Source {
    Held(Vec<u8>),
    /// In a file of the picture's name.
    Beside,
    /// Why it cannot be read, as "is ...".
    Unread(String),
}
pub(super) struct Picture {
    pub name: String,
    pub source: Source,
}
/// A picture as faces wear it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Skin {
    /// Which picture.
    pub picture: u32,
    /// To the right and down.
    pub wrap: [Wrap; 2],
    /// What its colours are multiplied by, as linear light.
    pub factor: [f64; 3],
}
/// A triangle that wears a skin.
#[derive(Debug, Clone, Copy)]
pub(super) struct SkinnedFace {
    pub corners: [u32; 3],
    /// Its corners in the picture, from the left upper corner to the right and down: 0 to 1.
    pub at: [[f32; 2]; 3],
    /// What the picture's colours are multiplied by at the corners, once it is taken for linear light; sRGB.
    pub tint: [[u8; 3]; 3],
    pub skin: u32,
}
/// A tint that changes nothing.
pub(super) const WHITE: [u8; 3] = [255; 3];

/// A linear colour value 0 to 1 as sRGB (IEC 61966-2-1), 0 to 255.
pub(super) fn srgb(linear: f64) -> u8 {
    let c = linear.clamp(0.0, 1.0);
    let v = if c <= 0.003_130_8 { 12.92 * c } else { 1.055 * c.powf(1.0 / 2.4) - 0.055 };
    (255.0 * v).round() as u8
}
/// An sRGB value 0 to 1 as linear light.
pub(super) fn linear(srgb: f64) -> f64 {
    if srgb <= 0.040_45 { srgb / 12.92 } else { ((srgb + 0.055) / 1.055).powf(2.4) }
}

impl Raw {
    /// Keeps a picture; its number.
    pub fn picture(&mut self, name: impl Into<String>, source: Source) -> u32 {
        if let Source::Held(bytes) = &source {
            self.beside_bytes += bytes.len() as u64;
        }
        self.pictures.push(Picture { name: name.into(), source });
        self.pictures.len() as u32 - 1
    }
    /// Keeps a skin; its number.
    pub fn skin(&mut self, skin: Skin) -> u32 {
        self.skins.push(skin);
        self.skins.len() as u32 - 1
    }
    /// Says what the triangles of a polygon's fan wear.
    pub fn skin_fan(&mut self, polygon: &[u64], at: &[[f32; 2]], skin: u32) {
        for i in 2..polygon.len().min(at.len()) {
            let [a, b, c] = [0, i - 1, i];
            self.skinned.push(SkinnedFace {
                corners: [polygon[a], polygon[b], polygon[c]].map(kept),
                at: [at[a], at[b], at[c]],
                tint: [WHITE; 3],
                skin,
            });
        }
    }
}

impl SkinnedFace {
    /// The colour at a place of this face, by its share of each corner.
    fn colour(&self, share: [f64; 3], skin: &Skin, picture: &RgbImage) -> [u8; 3] {
        let mix = |of: [f64; 3]| (0..3).map(|k| share[k] * of[k]).sum::<f64>();
        let sides = [picture.width(), picture.height()];
        let [x, y] = [0, 1].map(|k| skin.wrap[k].pixel(mix(self.at.map(|p| f64::from(p[k]))), sides[k]));
        let texel = picture.get_pixel(x, y).0;
        if self.tint == [WHITE; 3] && skin.factor == [1.0; 3] {
            return texel;
        }
        let light = |v: u8| linear(f64::from(v) / 255.0);
        [0, 1, 2].map(|k| srgb(light(texel[k]) * skin.factor[k] * mix(self.tint.map(|t| light(t[k])))))
    }
    /// Pixels of a picture that this face covers.
    fn texels(&self, picture: &RgbImage) -> f64 {
        let [a, b, c] = self.at.map(|p| [f64::from(p[0]), f64::from(p[1])]);
        let twice = (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0]);
        twice.abs() / 2.0 * f64::from(picture.width()) * f64::from(picture.height())
    }
    fn placed(&self) -> bool {
        self.at.iter().flatten().all(|v| v.is_finite())
    }
}

/// What helps where a texture is missing, and where it cannot be used.
const MISSING: &str = "keep a scan's textures in its folder, or export it as one file (GLB)";
const UNUSABLE: &str = "export the scan again with its textures as JPEG or PNG, smaller if they are large";

/// A picture decoded within the limits, or why it is not, and what helps.
fn opened(picture: &Picture, textures: Textures, limits: &PhotoLimits) -> Result<RgbImage, (String, &'static str)> {
    let Picture { name, source } = picture;
    let what = format!("the scan's texture {name}");
    let held;
    let bytes = match source {
        Source::Held(bytes) => bytes,
        Source::Unread(why) => return Err((format!("{what} {why}"), UNUSABLE)),
        Source::Beside => {
            held = textures.file(name).ok_or_else(|| (format!("{what} is not beside it"), MISSING))?;
            &held
        }
    };
    let refused = |e: crate::error::Error| (e.message().trim_end_matches('.').to_owned(), UNUSABLE);
    let picture = stored(&what, bytes, limits).map_err(refused)?.0.into_rgb8();
    if picture.is_empty() { Err((format!("{what} has no pixels"), UNUSABLE)) } else { Ok(picture) }
}
/// The colours that are told so far.
struct Painting<'a> {
    points: &'a [Point3<f64>],
    /// Sums of red, green and blue of the faces about each point, and their number.
    sums: Vec<[u32; 4]>,
    texels: Vec<Texel>,
    /// Area for each texel, scan units.
    share: f64,
}
impl Painting<'_> {
    fn area(&self, f: &SkinnedFace) -> f64 {
        let [a, b, c] = f.corners.map(|i| self.points[i as usize]);
        (b - a).cross(&(c - a)).norm() / 2.0
    }
    fn paint(&mut self, f: &SkinnedFace, skin: &Skin, picture: &RgbImage) {
        for (k, &corner) in f.corners.iter().enumerate() {
            let mut share = [INSIDE / 3.0; 3];
            share[k] += 1.0 - INSIDE;
            let colour = f.colour(share, skin, picture);
            let sum = &mut self.sums[corner as usize];
            (0..3).for_each(|k| sum[k] = sum[k].saturating_add(colour[k].into()));
            sum[3] = sum[3].saturating_add(1);
        }
        // a picture tells nothing between its pixels
        let wanted = self.area(f) / self.share;
        let more = if wanted.is_finite() { wanted.min(f.texels(picture)) as u32 } else { 0 };
        let [a, b, c] = f.corners.map(|i| self.points[i as usize]);
        for k in 1..=more {
            let [u, v] = strewn(k);
            let at = a + (b - a) * u + (c - a) * v;
            self.texels.push(Texel { at, color: f.colour([1.0 - u - v, u, v], skin, picture) });
        }
    }
}

/// What `faces` wear, as colours of the cloud's points and of places between them. A point that several faces share takes their
/// mean; one without a textured face keeps its own colour. Each picture is decoded by itself, and all of them within the limits.
pub(super) fn paint(
    cloud: &mut RawCloud,
    mut faces: Vec<SkinnedFace>,
    skins: &[Skin],
    pictures: &[Picture],
    textures: Textures,
    limits: &ReadLimits,
    warnings: &mut Vec<Warning>,
) {
    faces.retain(SkinnedFace::placed);
    faces.sort_by_key(|f| skins[f.skin as usize].picture);
    let mut painting = Painting {
        points: &cloud.points,
        sums: vec![[0; 4]; if faces.is_empty() { 0 } else { cloud.points.len() }],
        texels: Vec::new(),
        share: 0.0,
    };
    painting.share = faces.iter().map(|f| painting.area(f)).sum::<f64>() / MOST_TEXELS;
    let mut left = limits.picture;
    let mut failed = Vec::new();
    for same in faces.chunk_by(|a, b| skins[a.skin as usize].picture == skins[b.skin as usize].picture) {
        let number = skins[same[0].skin as usize].picture as usize;
        let picture = match opened(&pictures[number], textures, &left) {
            Ok(picture) => picture,
            Err(why) => {
                failed.push(why);
                continue;
            }
        };
        left.bytes = left.bytes.saturating_sub(4 * u64::from(picture.width()) * u64::from(picture.height()));
        for f in same {
            painting.paint(f, &skins[f.skin as usize], &picture);
        }
    }
    if let Some((first, hint)) = failed.first() {
        let others = match failed.len() - 1 {
            0 => String::new(),
            1 => ", nor are those of another texture".into(),
            n => format!(", nor are those of {n} other textures"),
        };
        warnings.push(Warning::new(Stage::Scan, format!("{first}: its colours are not used{others}"), *hint));
    }
    let Painting { sums, texels, .. } = painting;
    if sums.iter().all(|s| s[3] == 0) {
        return;
    }
    let mean = |[r, g, b, n]: [u32; 4]| (n > 0).then(|| [r, g, b].map(|sum| (sum.saturating_add(n / 2) / n) as u8));
    let own = cloud.colors.take();
    let told: Vec<Option<[u8; 3]>> =
        sums.into_iter().enumerate().map(|(i, s)| mean(s).or_else(|| Some(own.as_ref()?[i]))).collect();
    cloud.texels = texels;
    if told.iter().all(Option::is_some) {
        cloud.colors = Some(told.into_iter().flatten().collect());
    } else {
        let some = cloud.points.iter().zip(told).filter_map(|(p, color)| Some(Texel { at: *p, color: color? }));
        cloud.texels.extend(some);
    }
}
