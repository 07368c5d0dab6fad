//! The colours that can be laid over the board.
use super::grid::grid;
use crate::deck::ColourMap;
use crate::geom::Polygon;
use crate::pipeline::Reconstruction;
use crate::report::curvature::bends;
use crate::report::{Bytes, LayerColours, PageLayer};

/// Nodes of a layer's grid over the board's box: some 4 mm apart on a usual board.
const NODES: f64 = 12_000.0;
/// A residual's cell over the grid's step: a cell holds several points and still shows drifts of a palm's width.
const RESIDUAL_CELL: f64 = 1.5;
/// Share of values inside a colour scale's ends; the rest takes the end's colour. Some tenth of a board is its rim, where the
/// scan leaves the surface.
pub(super) const SCALE_SHARE: f64 = 0.98;
const RESIDUAL_SHARE: f64 = 0.9;

pub(super) fn layers(rec: &Reconstruction, outline: &Polygon) -> Vec<PageLayer> {
    let z = &rec.deck.underside;
    let (lo, hi) = outline.bounds();
    let step = ((hi[0] - lo[0]) * (hi[1] - lo[1]) / NODES).sqrt().max(f64::MIN_POSITIVE);
    let covered = grid(outline, step).covering(outline);
    let smooth = |f: &dyn Fn(f64, f64) -> f64| covered.filled(f);
    let mut layers = vec![
        smooth(&|x, y| z.at(x, y))
            .named("height", "Height", "mm", "Height of the underside on the upturned board, zero in its middle.", "underside.step")
            .scaled(LayerColours::Rising, SCALE_SHARE),
        smooth(&|x, y| bends(z, x, y)[1])
            .named("across", "Bend across", "1/m", "Curvature from rail to rail. One over it is a radius in metres; positive where the underside is hollow.", "underside.step")
            .scaled(LayerColours::Signed, SCALE_SHARE),
        smooth(&|x, y| bends(z, x, y)[0])
            .named("along", "Bend along", "1/m", "Curvature from tail to nose: kicks, rocker and camber. Positive where the underside is hollow.", "underside.step")
            .scaled(LayerColours::Signed, SCALE_SHARE),
        grid(outline, RESIDUAL_CELL * step)
            .gathered(rec.sheet.iter().map(|p| ([p.x, p.y], z.beyond([p.x, p.y, p.z]))))
            .named("residual", "Residual", "mm", "How far the scan lies above (+) or below the surface, median of a small cell. Speckle is noise; a patch of one colour is a place where the surface does not follow the scan. The outermost 8 mm, where scans round the rail, are not used for the surface.", "report.json, surface")
            .scaled(LayerColours::Signed, RESIDUAL_SHARE),
        smooth(&|x, y| rec.surface_error.at(x, y))
            .named("error", "Standard error", "mm", "How well the surface is known: it lies within twice this some 95 % of the time, apart from the scale. Larger at the rail and where the scan has holes.", "report.json, surface")
            .scaled(LayerColours::Rising, SCALE_SHARE),
    ];
    layers.extend(rec.colours.as_ref().map(colours));
    layers
}

/// The scan's own colours; the values tell how light they are.
fn colours(map: &ColourMap) -> PageLayer {
    // ITU-R BT.709, item 3.2: luma of red, green and blue
    let light = |[r, g, b]: [u8; 3]| (0.2126 * f64::from(r) + 0.7152 * f64::from(g) + 0.0722 * f64::from(b)) / 2.55;
    PageLayer {
        colours: LayerColours::Own,
        least: 0.0,
        most: 100.0,
        origin_mm: map.origin_mm,
        step_mm: map.step_mm,
        nodes: map.nodes,
        values: map.colours.iter().map(|c| c.map_or(f64::NAN, light)).collect(),
        rgb: Bytes(map.colours.iter().flat_map(|c| c.unwrap_or_default()).collect()),
        ..PageLayer::default()
    }
    .named(
        "colours",
        "Colours",
        "% light",
        "The scan's own colours, mean of a small cell, to find graphics, holes and marks again on the true-size board.",
        "the scan",
    )
}
