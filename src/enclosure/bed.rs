//! How a part stands on the printer's bed: every way up with its figures, and the way to take.
use crate::geom::{TriMesh, connected};
use nalgebra::{Matrix3, Point3, Vector3};
use serde::Serialize;
use std::cmp::Ordering;
use std::collections::HashMap;

/// What of a part lies on the bed, deck frame.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum StandsOn {
    /// The floor: the mating face looks up.
    Floor,
    /// The mating face.
    Rim,
    /// The end towards the tail, or the joint there.
    Tail,
    /// The end towards the nose, or the joint there.
    Nose,
    /// The wall on the board's right.
    Right,
    /// The wall on the board's left.
    Left,
}
impl StandsOn {
    const ALL: [Self; 6] = [Self::Floor, Self::Rim, Self::Tail, Self::Nose, Self::Right, Self::Left];
    /// The name in reports.
    pub fn name(self) -> &'static str {
        match self {
            Self::Floor => "floor",
            Self::Rim => "rim",
            Self::Tail => "tail end",
            Self::Nose => "nose end",
            Self::Right => "right side",
            Self::Left => "left side",
        }
    }
    /// The direction that looks up from the bed.
    fn up(self) -> Vector3<f64> {
        match self {
            Self::Floor => -Vector3::z(),
            Self::Rim => Vector3::z(),
            Self::Tail => Vector3::x(),
            Self::Nose => -Vector3::x(),
            Self::Right => Vector3::y(),
            Self::Left => -Vector3::y(),
        }
    }
    /// Whether layers are stacked along the board: its bending then pulls them apart.
    fn stacks_along_board(self) -> bool {
        matches!(self, Self::Tail | Self::Nose)
    }
    /// The part as it stands: turned, not mirrored, in the corner of the bed.
    pub(super) fn stood(self, part: &TriMesh) -> TriMesh {
        let up = self.up();
        let side = if up.y == 0.0 { Vector3::y() } else { Vector3::x() };
        let turn = Matrix3::from_rows(&[side.cross(&up).transpose(), side.transpose(), up.transpose()]);
        let mut mesh = part.clone();
        mesh.points.iter_mut().for_each(|p| *p = turn * *p);
        let least = mesh.points.iter().fold(Point3::from([f64::INFINITY; 3]), |a, p| a.inf(p));
        mesh.points.iter_mut().for_each(|p| *p = Point3::from(*p - least));
        mesh
    }
}

/// Width and height of a support that is tall for its width, mm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct ThinSupport {
    /// Height up to the place it holds.
    pub height_mm: f64,
    /// Twice its area over its border: a strip's width.
    pub width_mm: f64,
}
/// Figures of one way to stand a part on the bed. Areas and volumes of supports are estimates from 45 degrees.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PrintWay {
    /// What lies on the bed.
    pub stands_on: StandsOn,
    /// Width, depth and height on the bed, mm.
    pub size_mm: [f64; 3],
    /// Whether that fits the printer.
    pub fits_bed: bool,
    /// Whether layers lie across the board's bending, which then pulls them apart.
    pub layers_across_bending: bool,
    /// Area that lies on the bed, mm2.
    pub bed_contact_mm2: f64,
    /// Area that faces down at less than 45 degrees off level, off the bed, without what is bridged, mm2.
    pub overhang_mm2: f64,
    /// Height of the highest such place, mm.
    pub highest_overhang_mm: f64,
    /// Support under it all, down to the bed, mm3: no more than that.
    pub support_mm3: f64,
    /// The thinnest support for its height that is called tall and thin.
    pub thin_support: Option<ThinSupport>,
}

/// The cosine of 44 degrees off level, from which on an overhang prints without support (common practice, no source: 45 degrees;
/// one less for the chords of a chamfer's mesh).
const OVERHANG_COS: f64 = 0.719_339_800_338_651;
/// Lower than this off the bed is on it, mm: a tenth of a layer.
const ON_BED_MM: f64 = 0.02;
/// An overhang smaller than this in one piece, mm2, is bridged: the roof of a screw hole or of a port through a wall.
const BRIDGED_MM2: f64 = 100.0;
/// A support higher than this many times its width sways (common practice, no source).
const SLENDER: f64 = 5.0;

/// Whether a box lies on the bed, either way round.
pub(super) fn fits(size: [f64; 3], bed: [f64; 3]) -> bool {
    let way = |a: f64, b: f64| a <= bed[0] && b <= bed[1];
    size[2] <= bed[2] && (way(size[0], size[1]) || way(size[1], size[0]))
}

/// Every way to stand `part` (mm, deck frame) on `bed`, the one to take first: one that fits; not on a side,
/// where it would stand on the flange's edge; with layers along the bending; without supports on a mating face; with the least
/// support; with the most on the bed.
pub(super) fn ways(part: &TriMesh, bed: [f64; 3], mating_face: bool) -> Vec<PrintWay> {
    let mut found: Vec<PrintWay> = StandsOn::ALL.into_iter().map(|on| figures(on, &on.stood(part), bed)).collect();
    let worse = |w: &PrintWay| {
        let on_side = matches!(w.stands_on, StandsOn::Right | StandsOn::Left);
        [!w.fits_bed, on_side, w.layers_across_bending, mating_face && w.stands_on == StandsOn::Rim]
    };
    found.sort_by(|a, b| {
        worse(a)
            .cmp(&worse(b))
            .then(a.support_mm3.total_cmp(&b.support_mm3))
            .then(b.bed_contact_mm2.partial_cmp(&a.bed_contact_mm2).unwrap_or(Ordering::Equal))
    });
    found
}

fn figures(on: StandsOn, stood: &TriMesh, bed: [f64; 3]) -> PrintWay {
    let most = stood.points.iter().fold(Point3::origin(), |a, p| a.sup(p));
    let size_mm = [most.x, most.y, most.z];
    // area, area in plan, mean and greatest height of triangles that look down
    let down: Vec<Option<[f64; 4]>> = (0..stood.triangles.len())
        .map(|t| {
            let [a, b, c] = stood.corners(t);
            let n = (b - a).cross(&(c - a));
            (-n.z > OVERHANG_COS * n.norm())
                .then(|| [n.norm() / 2.0, -n.z / 2.0, (a.z + b.z + c.z) / 3.0, a.z.max(b.z).max(c.z)])
        })
        .collect();
    let on_bed = |t: usize| down[t].is_some_and(|d| d[3] < ON_BED_MM);
    let overhangs = |t: usize| down[t].is_some() && !on_bed(t);
    let sides = |t: usize| [0, 1, 2].map(|k| (stood.triangles[t][k], stood.triangles[t][(k + 1) % 3]));
    let mut owner: HashMap<(u32, u32), usize> = HashMap::new();
    for t in (0..stood.triangles.len()).filter(|t| overhangs(*t)) {
        owner.extend(sides(t).map(|s| (s, t)));
    }
    let beside = |s: (u32, u32)| owner.get(&(s.1, s.0)).copied();
    let mut way = PrintWay {
        stands_on: on,
        size_mm,
        fits_bed: fits(size_mm, bed),
        layers_across_bending: on.stacks_along_board(),
        bed_contact_mm2: (0..down.len()).filter(|t| on_bed(*t)).filter_map(|t| down[t]).fold(0.0, |sum, d| sum + d[0]),
        overhang_mm2: 0.0,
        highest_overhang_mm: 0.0,
        support_mm3: 0.0,
        thin_support: None,
    };
    for patch in connected(down.len(), overhangs, |t| sides(t).into_iter().filter_map(beside).collect()) {
        let down: Vec<[f64; 4]> = patch.iter().filter_map(|t| down[*t]).collect();
        let [area, plan] = [0, 1].map(|k| down.iter().map(|d| d[k]).sum::<f64>());
        if area < BRIDGED_MM2 {
            continue;
        }
        let border: f64 = (patch.iter().flat_map(|t| sides(*t)))
            .filter(|s| beside(*s).is_none())
            .map(|(i, j)| (stood.points[i as usize] - stood.points[j as usize]).xy().norm())
            .sum();
        let height_mm = down.iter().map(|d| d[3]).fold(0.0, f64::max);
        let thin = ThinSupport { height_mm, width_mm: 2.0 * plan / border };
        way.overhang_mm2 += area;
        way.highest_overhang_mm = way.highest_overhang_mm.max(height_mm);
        way.support_mm3 += down.iter().map(|d| d[1] * d[2]).sum::<f64>();
        let slender = |s: &ThinSupport| s.height_mm / s.width_mm;
        if slender(&thin) > way.thin_support.as_ref().map_or(SLENDER, slender) {
            way.thin_support = Some(thin);
        }
    }
    way
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{Layer, Ring, Wall, layered, plan};
    use crate::num::{Knots, TensorSpline};

    /// A table: a plate 100 x 60 x 4 on a post 20 x 20 x 50 (deck frame: the plate lies towards the deck). On its post the plate
    /// overhangs all round by 100 x 60 - 20 x 20 mm2 at 50 mm; on its plate nothing overhangs (elementary geometry).
    #[test]
    fn a_table_stands_best_on_its_plate() {
        let k = Knots::uniform(3, 2, -60.0, 60.0);
        let flat = |z: f64| TensorSpline::new(k.clone(), k.clone(), vec![z; 25]).unwrap();
        let (top, under, foot) = (flat(0.0), flat(4.0), flat(54.0));
        let layers = [
            Layer { name: "top", z: &top, up: false },
            Layer { name: "under", z: &under, up: true },
            Layer { name: "foot", z: &foot, up: true },
        ];
        let wall = |size: [f64; 2], from, to| Wall {
            name: "side".into(),
            foot: Ring { layer: from, pieces: plan::rectangle([0.0; 2], size, 0.0) },
            head: Ring { layer: to, pieces: plan::rectangle([0.0; 2], size, 0.0) },
            inside: true,
            breaks: vec![],
        };
        let table = layered("table", &layers, &[wall([100.0, 60.0], 0, 1), wall([20.0, 20.0], 1, 2)]);
        let mesh = table.mesh(0.01).unwrap();
        let found = ways(&mesh, [220.0, 220.0, 250.0], false);
        let of = |on: StandsOn| found.iter().find(|w| w.stands_on == on).unwrap();
        assert_eq!(found[0].stands_on, StandsOn::Rim);
        let near = |a: f64, b: f64| assert!((a - b).abs() < 1e-6 * b.abs().max(1.0), "{a} {b}");
        near(found[0].bed_contact_mm2, 6000.0);
        near(found[0].overhang_mm2, 0.0);
        let post = of(StandsOn::Floor);
        near(post.bed_contact_mm2, 400.0);
        near(post.overhang_mm2, 5600.0);
        near(post.support_mm3, 5600.0 * 50.0);
        near(post.highest_overhang_mm, 50.0);
        assert!(post.thin_support.is_none(), "wide for its height: {post:?}");
        // on an end the post overhangs by a face of 20 x 50 at 40 mm, a strip of 2 x 1000 / 140 mm
        let end = of(StandsOn::Tail);
        near(end.overhang_mm2, 1000.0);
        near(end.support_mm3, 40_000.0);
        assert!(end.layers_across_bending && end.thin_support.is_none());
        assert_eq!(end.size_mm.map(f64::round), [54.0, 60.0, 100.0]);
        // a plate that looks to the deck as a mating face does is not printed on
        assert_ne!(ways(&mesh, [220.0, 220.0, 250.0], true)[0].stands_on, StandsOn::Rim);
        // a bed too short for the plate makes it stand
        let small = ways(&mesh, [70.0, 70.0, 250.0], false);
        assert!(small[0].fits_bed && small[0].layers_across_bending, "{:?}", small[0]);
        for w in &found {
            let m = w.stands_on.stood(&mesh);
            assert!((m.volume() - mesh.volume()).abs() < 1e-6, "turned, not mirrored");
        }
    }
    /// A shelf 4 mm wide and 60 mm long at 90 mm: its support is 1.9 mm wide in the mean and sways.
    #[test]
    fn a_narrow_high_shelf_asks_for_a_thin_support() {
        let k = Knots::uniform(3, 2, -60.0, 60.0);
        let flat = |z: f64| TensorSpline::new(k.clone(), k.clone(), vec![z; 25]).unwrap();
        let (bed, shelf, end) = (flat(0.0), flat(-90.0), flat(-100.0));
        let layers = [
            Layer { name: "bed", z: &bed, up: true },
            Layer { name: "shelf", z: &shelf, up: true },
            Layer { name: "end", z: &end, up: false },
        ];
        let wall = |x: f64, size: [f64; 2], from, to| Wall {
            name: "side".into(),
            foot: Ring { layer: from, pieces: plan::rectangle([x, 0.0], size, 0.0) },
            head: Ring { layer: to, pieces: plan::rectangle([x, 0.0], size, 0.0) },
            inside: true,
            breaks: vec![],
        };
        // a ring round the post, 4 mm wide at its sides
        let b = layered("post", &layers, &[wall(0.0, [28.0, 60.0], 2, 1), wall(0.0, [20.0, 52.0], 1, 0)]);
        let way = figures(StandsOn::Floor, &StandsOn::Floor.stood(&b.mesh(0.01).unwrap()), [220.0; 3]);
        let (area, border) = (28.0 * 60.0 - 20.0 * 52.0, 2.0 * (28.0 + 60.0 + 20.0 + 52.0));
        assert!((way.overhang_mm2 - area).abs() < 1e-6);
        let thin = way.thin_support.unwrap();
        assert!((thin.height_mm - 90.0).abs() < 1e-9 && (thin.width_mm - 2.0 * area / border).abs() < 1e-9, "{thin:?}");
    }
}
