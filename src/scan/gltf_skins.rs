//! glTF: the materials' base colours and the pictures these are in.
//!
//! # References
//! Khronos, "glTF 2.0 Specification" (ISO/IEC 12113): 3.8 texture data, 3.9.2 base colour; extension KHR_texture_transform.
use super::Textures;
use super::gltf::{File, embedded};
use super::raw::Raw;
use super::skin::{Skin, Source, Wrap};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Longest name of a picture that is told, characters.
const NAME: usize = 60;

#[derive(Deserialize, Default)]
#[serde(rename_all = "camelCase", default)]
struct Material {
    pbr_metallic_roughness: BaseColor,
}
#[derive(Deserialize, Default)]
#[serde(rename_all = "camelCase", default)]
struct BaseColor {
    base_color_factor: Option<[f64; 4]>,
    base_color_texture: Option<TextureInfo>,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct TextureInfo {
    index: usize,
    #[serde(default)]
    tex_coord: usize,
    #[serde(default)]
    extensions: TextureExtensions,
}
#[derive(Deserialize, Default)]
struct TextureExtensions {
    #[serde(rename = "KHR_texture_transform")]
    transform: Option<Transform>,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Transform {
    #[serde(default)]
    offset: [f64; 2],
    #[serde(default)]
    rotation: f64,
    #[serde(default = "unscaled")]
    scale: [f64; 2],
    tex_coord: Option<usize>,
}
fn unscaled() -> [f64; 2] {
    [1.0; 2]
}
impl Transform {
    /// Scaled, turned against the clock as seen on the picture, whose second axis points down, and shifted.
    fn placed(&self, [u, v]: [f64; 2]) -> [f64; 2] {
        let ([u, v], (sin, cos)) = ([u * self.scale[0], v * self.scale[1]], self.rotation.sin_cos());
        [cos * u + sin * v + self.offset[0], cos * v - sin * u + self.offset[1]]
    }
}
#[derive(Deserialize)]
struct TextureSource {
    sampler: Option<usize>,
    source: Option<usize>,
    #[serde(default)]
    extensions: BTreeMap<String, Value>,
}
#[derive(Deserialize, Default)]
#[serde(rename_all = "camelCase", default)]
struct Sampler {
    wrap_s: Option<u32>,
    wrap_t: Option<u32>,
}
#[derive(Deserialize)]
#[serde(rename_all = "camelCase")]
struct Image {
    uri: Option<String>,
    buffer_view: Option<usize>,
    name: Option<String>,
}

/// Item `i` of a list, where it is what it should be.
fn item<T: DeserializeOwned>(list: &Value, i: usize) -> Option<T> {
    T::deserialize(list.get(i)?).ok()
}

/// The base colour of a part.
pub(super) struct Coat {
    /// Linear light.
    pub factor: [f64; 3],
    pub texture: Option<Dressed>,
}
/// A part's texture.
pub(super) struct Dressed {
    /// The attribute that holds the points' places in it.
    pub places: String,
    pub skin: u32,
    transform: Option<Transform>,
}
impl Dressed {
    /// Where in the picture an attribute's value lies.
    pub fn placed(&self, p: [f64; 2]) -> [f32; 2] {
        self.transform.as_ref().map_or(p, |t| t.placed(p)).map(|v| v as f32)
    }
}

/// The pictures of a file by their numbers in `raw`: each is kept once, however many parts wear it.
pub(super) struct Wardrobe<'a> {
    file: &'a File<'a>,
    textures: Textures<'a>,
    pictures: BTreeMap<usize, u32>,
    coats: BTreeMap<usize, Rc<Coat>>,
}
impl<'a> Wardrobe<'a> {
    pub fn new(file: &'a File, textures: Textures<'a>) -> Self {
        Self { file, textures, pictures: BTreeMap::new(), coats: BTreeMap::new() }
    }
    /// What the material with this number gives; white for none.
    pub fn coat(&mut self, material: Option<usize>, raw: &mut Raw) -> Rc<Coat> {
        let Some(number) = material else { return Rc::new(Coat { factor: [1.0; 3], texture: None }) };
        if let Some(known) = self.coats.get(&number) {
            return Rc::clone(known);
        }
        let material: Material = item(&self.file.document.materials, number).unwrap_or_default();
        let base = material.pbr_metallic_roughness;
        let factor = base.base_color_factor.map_or([1.0; 3], |[r, g, b, _]| [r, g, b]);
        let worn = base.base_color_texture.filter(|_| self.textures.wanted());
        let coat = Rc::new(Coat { factor, texture: worn.and_then(|t| self.dressed(t, factor, raw)) });
        self.coats.insert(number, Rc::clone(&coat));
        coat
    }
    fn dressed(&mut self, info: TextureInfo, factor: [f64; 3], raw: &mut Raw) -> Option<Dressed> {
        let d = &self.file.document;
        let texture: TextureSource = item(&d.textures, info.index)?;
        let sampler: Sampler = texture.sampler.and_then(|s| item(&d.samplers, s)).unwrap_or_default();
        let wrap = [sampler.wrap_s, sampler.wrap_t].map(|w| match w {
            Some(33071) => Wrap::Clamp,
            Some(33648) => Wrap::Mirror,
            _ => Wrap::Repeat,
        });
        // a texture without a picture of its own has one of a kind that an extension names
        let key = texture.source.unwrap_or(usize::MAX - info.index);
        let picture = match self.pictures.get(&key) {
            Some(&known) => known,
            None => {
                let (name, source) = match texture.source {
                    Some(number) => self.source(number),
                    None => {
                        let form = texture.extensions.keys().next();
                        let why = form.map_or_else(
                            || "has no picture".into(),
                            |f| format!("is no JPEG or PNG but of another form ({f}), which is not read here"),
                        );
                        (format!("number {}", info.index + 1), Source::Unread(why))
                    }
                };
                let new = raw.picture(name, source);
                self.pictures.insert(key, new);
                new
            }
        };
        let skin = raw.skin(Skin { picture, wrap, factor });
        let transform = info.extensions.transform;
        let set = transform.as_ref().and_then(|t| t.tex_coord).unwrap_or(info.tex_coord);
        Some(Dressed { places: format!("TEXCOORD_{set}"), skin, transform })
    }
    /// A picture's name and where its bytes are.
    fn source(&self, number: usize) -> (String, Source) {
        let image: Option<Image> = item(&self.file.document.images, number);
        let by_number = || format!("number {}", number + 1);
        let Some(Image { uri, buffer_view, name }) = image else {
            return (by_number(), Source::Unread("is named by the glTF file, which does not have it".into()));
        };
        let name = name.filter(|n| !n.is_empty()).map_or_else(by_number, |n| n.chars().take(NAME).collect());
        match (uri, buffer_view) {
            (Some(uri), _) if uri.starts_with("data:") => match embedded(&uri) {
                Ok(bytes) => (name, Source::Held(bytes)),
                Err(_) => (name, Source::Unread("is not base 64".into())),
            },
            (Some(uri), _) => (unescaped(&uri), Source::Beside),
            (None, Some(view)) => match self.file.view(view) {
                Some(bytes) => (name, Source::Held(bytes.to_vec())),
                None => (name, Source::Unread("lies outside the glTF file's bytes".into())),
            },
            (None, None) => (name, Source::Unread("has no bytes".into())),
        }
    }
}
/// A relative address with its percent codes as the bytes they stand for (RFC 3986, 2.1).
fn unescaped(uri: &str) -> String {
    let (mut out, mut rest) = (Vec::new(), uri.as_bytes());
    while let Some((&first, after)) = rest.split_first() {
        let digits = after.get(..2).filter(|d| first == b'%' && d.iter().all(u8::is_ascii_hexdigit));
        match digits.and_then(|d| u8::from_str_radix(std::str::from_utf8(d).ok()?, 16).ok()) {
            Some(byte) => {
                out.push(byte);
                rest = &after[2..];
            }
            None => {
                out.push(first);
                rest = after;
            }
        }
    }
    String::from_utf8_lossy(&out).into_owned()
}
