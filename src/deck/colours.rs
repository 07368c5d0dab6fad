//! The scan's colours over the underside.
use super::Deck;
use crate::geom::Similarity;
use crate::scan::RawCloud;

/// Points this near the underside are its own, mm: above scan noise and drift, below the least thickness of a truck's base
/// plate (3 mm: common practice, no source).
const NEAR_MM: f64 = 3.0;
/// Cells over the outline's box: some 2.5 mm each, as fine as a page shows a board.
const CELLS: f64 = 30_000.0;
/// A cell is at least this many point spacings wide: of points strewn by chance one cell in e^(2.5^2), that is one in five hundred,
/// stays empty.
const SPACINGS: f64 = 2.5;

/// Most places on faces that are looked at to find how far apart they are.
const LOOKED_AT: usize = 50_000;

/// Mean colours on a square grid over the plan, deck frame, mm.
#[derive(Debug, Clone, PartialEq)]
pub struct ColourMap {
    /// Middle of the cell with the least x and y.
    pub origin_mm: [f64; 2],
    /// Distance of the cells' middles.
    pub step_mm: f64,
    /// Cells along x and y.
    pub nodes: [usize; 2],
    /// Red, green and blue, 0 to 255, x index outside; `None` where no coloured point of the scan lies on the underside.
    pub colours: Vec<Option<[u8; 3]>>,
}
impl ColourMap {
    /// The colours of `cloud`, brought to the deck frame by `to_deck`, that lie on the underside; points are `spacing_mm` apart.
    /// `None` for a scan without colours, or with none on the underside.
    ///
    /// Sums are of whole numbers, so that the order of the points changes nothing.
    pub fn new(cloud: &RawCloud, to_deck: &Similarity, deck: &Deck, spacing_mm: f64) -> Option<Self> {
        if !cloud.is_coloured() {
            return None;
        }
        let outline = deck.outline_polygon();
        let (lo, hi) = outline.bounds();
        // a texture may be far finer than the scan's points
        let each = cloud.texels.len().div_ceil(LOOKED_AT).max(1);
        let on_it = cloud.texels.iter().step_by(each).map(|t| to_deck.apply(&t.at)).filter(|p| {
            (0..2).all(|k| p[k] >= lo[k] && p[k] <= hi[k]) && (p.z - deck.underside.at(p.x, p.y)).abs() < NEAR_MM
        });
        let texels = (each * on_it.count()) as f64;
        let spacing_mm = spacing_mm.min((outline.signed_area().abs() / texels).sqrt());
        let step = ((hi[0] - lo[0]) * (hi[1] - lo[1]) / CELLS).sqrt().max(SPACINGS * spacing_mm);
        let nodes = [0, 1].map(|k| ((hi[k] - lo[k]) / step).ceil() as usize + 1);
        let middle = |cell: usize| [(0, cell / nodes[1]), (1, cell % nodes[1])].map(|(k, i)| lo[k] + step * i as f64);
        // a plane in each cell is far nearer to the underside than `NEAR_MM`
        let planes: Vec<[f64; 3]> = (0..nodes[0] * nodes[1])
            .map(|cell| {
                let [x, y] = middle(cell);
                deck.underside.slopes(x, y)
            })
            .collect();
        let mut sums = vec![[0u64; 4]; planes.len()];
        for (p, colour) in cloud.coloured() {
            let p = to_deck.apply(&p);
            let [i, j] = [0, 1].map(|k| ((p[k] - lo[k]) / step).round());
            if !(i >= 0.0 && j >= 0.0 && i < nodes[0] as f64 && j < nodes[1] as f64) {
                continue;
            }
            let cell = i as usize * nodes[1] + j as usize;
            let ([x, y], [z, along, across]) = (middle(cell), planes[cell]);
            if (p.z - z - along * (p.x - x) - across * (p.y - y)).abs() < NEAR_MM {
                (0..3).for_each(|k| sums[cell][k] += u64::from(colour[k]));
                sums[cell][3] += 1;
            }
        }
        let mean = |[r, g, b, n]: [u64; 4]| (n > 0).then(|| [r, g, b].map(|sum| ((sum + n / 2) / n) as u8));
        let colours: Vec<_> = sums.into_iter().map(mean).collect();
        colours.iter().any(Option::is_some).then_some(Self { origin_mm: lo, step_mm: step, nodes, colours })
    }
}
