//! glTF: the tree of nodes, and its primitives put in their places.
use super::Textures;
use super::gltf::{File, Primitive, packed, wrong};
use super::gltf_skins::Wardrobe;
use super::raw::{More, Raw, kept};
use super::skin::{SkinnedFace, WHITE, srgb};
use crate::error::Result;
use nalgebra::{Matrix4, Point3, Quaternion, Translation3, UnitQuaternion, Vector3};
use serde::Deserialize;

/// Bytes that a placed point takes here, for the limit on what a small file may claim by repetition.
const PLACED: u64 = 24;

#[derive(Deserialize)]
pub(super) struct Scene {
    #[serde(default)]
    nodes: Vec<usize>,
}
#[derive(Deserialize)]
pub(super) struct Node {
    mesh: Option<usize>,
    #[serde(default)]
    children: Vec<usize>,
    matrix: Option<[f64; 16]>,
    translation: Option<[f64; 3]>,
    rotation: Option<[f64; 4]>,
    scale: Option<[f64; 3]>,
}
impl Node {
    fn local(&self) -> Matrix4<f64> {
        if let Some(m) = &self.matrix {
            return Matrix4::from_column_slice(m);
        }
        let t = self.translation.unwrap_or_default();
        let r = self.rotation.unwrap_or([0., 0., 0., 1.]);
        let s = self.scale.unwrap_or([1.0; 3]);
        let r = UnitQuaternion::from_quaternion(Quaternion::new(r[3], r[0], r[1], r[2]));
        Translation3::from(t).to_homogeneous() * r.to_homogeneous() * Matrix4::new_nonuniform_scaling(&Vector3::from(s))
    }
}

/// Puts every mesh of the file's scene, or of all nodes where it has none, into `raw`.
pub(super) fn place(file: &File, allow: &dyn Fn(u64) -> Result<()>, textures: Textures, raw: &mut Raw) -> Result<()> {
    let d = &file.document;
    let roots: Vec<usize> = match d.scenes.get(d.scene.unwrap_or(0)) {
        Some(scene) => scene.nodes.clone(),
        None => {
            let mut child = vec![false; d.nodes.len()];
            for &c in d.nodes.iter().flat_map(|n| &n.children) {
                if let Some(flag) = child.get_mut(c) {
                    *flag = true;
                }
            }
            (0..d.nodes.len()).filter(|&i| !child[i]).collect()
        }
    };
    let mut seen = vec![false; d.nodes.len()];
    let mut stack: Vec<(usize, Matrix4<f64>)> = roots.iter().rev().map(|&n| (n, Matrix4::identity())).collect();
    let mut skipped = 0;
    let mut wardrobe = Wardrobe::new(file, textures);
    while let Some((n, outer)) = stack.pop() {
        let node = d.nodes.get(n).ok_or_else(|| wrong(format!("it has no node {n}")))?;
        if std::mem::replace(&mut seen[n], true) {
            return Err(wrong(format!("its node {n} has two parents or holds itself")));
        }
        let m = outer * node.local();
        if let Some(mesh) = node.mesh {
            let mesh = d.meshes.get(mesh).ok_or_else(|| wrong(format!("it has no mesh {mesh}")))?;
            for p in &mesh.primitives {
                skipped += usize::from(!primitive(file, p, &m, allow, &mut wardrobe, raw)?);
            }
        }
        stack.extend(node.children.iter().rev().map(|&c| (c, m)));
    }
    if skipped > 0 {
        raw.warn(
            format!("{skipped} parts of the glTF file are lines or have no points and were left out"),
            "export the scan as a mesh or as points if parts of the board are missing",
        );
    }
    Ok(())
}

/// Adds a primitive; false when it is of a kind that is no scan.
fn primitive(
    file: &File,
    p: &Primitive,
    m: &Matrix4<f64>,
    allow: &dyn Fn(u64) -> Result<()>,
    wardrobe: &mut Wardrobe,
    raw: &mut Raw,
) -> Result<bool> {
    if let Some(e) = p.extensions.keys().find(|e| e.ends_with("_compression")) {
        return Err(packed(e));
    }
    let mode = p.mode.unwrap_or(4);
    let (Some(&positions), true) = (p.attributes.get("POSITION"), mode == 0 || mode >= 4) else { return Ok(false) };
    let count = |a: usize| file.document.accessors.get(a).map_or(0, |a| a.count as u64);
    // one per point, or of no use: repeated by many parts, lists longer than their points would grow without bound
    let paired = |name: &str| p.attributes.get(name).copied().filter(|&a| count(a) == count(positions));
    let total = raw.points.len() as u64 + raw.triangles.len() as u64 + count(positions) + p.indices.map_or(0, count);
    allow(total.saturating_mul(PLACED))?;
    // a strip of triangles has nearly as many as it has corners
    let (points, corners) = (count(positions), p.indices.map_or(count(positions), count));
    let coat = wardrobe.coat(p.material, raw);
    let in_picture = coat.texture.as_ref().and_then(|t| paired(&t.places));
    let triangles = if mode == 0 { 0 } else { corners };
    let skinned = in_picture.map_or(0, |_| triangles);
    raw.allow(More { points, normals: points, colors: points, triangles, skinned })?;
    let base = raw.points.len() as u64;
    let places = file.values(positions, 3)?;
    let (places, _) = places.as_chunks::<3>();
    raw.points.extend(places.iter().map(|p| <[f64; 3]>::from(m.transform_point(&Point3::from(*p)).coords)));
    let linear = m.fixed_view::<3, 3>(0, 0).into_owned();
    // what is missing for some parts is left out for all, for then it is not one per point
    if let (Some(normals), Some(inverse)) = (paired("NORMAL"), linear.try_inverse()) {
        let turn = inverse.transpose();
        let unit = |n: &[f64; 3]| (turn * Vector3::from(*n)).try_normalize(0.0).unwrap_or_default();
        raw.normals.extend(file.values(normals, 3)?.as_chunks::<3>().0.iter().map(|n| <[f64; 3]>::from(unit(n))));
    }
    let mut tints: Vec<[u8; 3]> = Vec::new();
    if let Some(colors) = paired("COLOR_0") {
        let colors = file.values(colors, 3)?;
        let (colors, _) = colors.as_chunks::<3>();
        raw.colors.extend(colors.iter().map(|c| [0, 1, 2].map(|k| srgb(c[k] * coat.factor[k]))));
        tints.extend(colors.iter().filter(|_| in_picture.is_some()).map(|c| c.map(srgb)));
    }
    let in_picture: Vec<[f32; 2]> = match (in_picture, &coat.texture) {
        (Some(places), Some(t)) => file.values(places, 2)?.as_chunks::<2>().0.iter().map(|p| t.placed(*p)).collect(),
        _ => Vec::new(),
    };
    if mode == 0 {
        return Ok(true);
    }
    let n = places.len() as u64;
    let corners: Vec<u64> = match p.indices {
        None => (0..n).collect(),
        Some(i) => file.values(i, 1)?.iter().map(|&v| v as u64).collect(),
    };
    if let Some(i) = corners.iter().find(|&&i| i >= n) {
        return Err(wrong(format!("a face names the point {i} of a part with {n} points, numbered from 0")));
    }
    let mirrored = linear.determinant() < 0.0;
    let mut add = |a: u64, b: u64, c: u64| {
        let (b, c) = if mirrored { (c, b) } else { (b, c) };
        raw.triangle([base + a, base + b, base + c]);
        let Some(texture) = &coat.texture else { return };
        let corners = [a, b, c];
        if let [Some(a), Some(b), Some(c)] = corners.map(|i| in_picture.get(i as usize)) {
            raw.skinned.push(SkinnedFace {
                corners: corners.map(|i| kept(base + i)),
                at: [*a, *b, *c],
                tint: corners.map(|i| tints.get(i as usize).copied().unwrap_or(WHITE)),
                skin: texture.skin,
            });
        }
    };
    match mode {
        4 => corners.as_chunks::<3>().0.iter().for_each(|t| add(t[0], t[1], t[2])),
        5 => corners
            .windows(3)
            .enumerate()
            .for_each(|(i, w)| if i % 2 == 0 { add(w[0], w[1], w[2]) } else { add(w[1], w[0], w[2]) }),
        6 => corners.windows(2).skip(1).for_each(|w| add(corners[0], w[0], w[1])),
        other => return Err(wrong(format!("a part is of the unknown kind {other}"))),
    }
    Ok(true)
}
