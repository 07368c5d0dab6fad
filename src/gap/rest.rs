//! Where a registered enclosure comes to rest.
use super::GapMap;
use crate::num::TensorSpline;

/// How far off the deck (mm, along z) an enclosure has to be lifted so that the deepest place of its rims touches the deck and
/// no place cuts into it; 0 where none does. The noise of a scanned part reaches deeper than the part: of a `noisy` one the gaps
/// are taken in the mean under the gasket's strip.
pub fn lift_to_rest(map: &GapMap, underside: &TensorSpline, noisy: bool) -> f64 {
    // a lift along z changes the gap by the share of it along the normal
    let needed = |x: f64, y: f64, gap: f64| -gap / underside.normal(x, y)[2];
    let most = if noisy {
        map.rims.iter().flat_map(|r| &r.stations).map(|s| needed(s.x_mm, s.y_mm, s.gap_mm)).fold(0.0, f64::max)
    } else {
        map.samples.iter().map(|s| needed(s.at[0], s.at[1], s.gap_mm)).fold(0.0, f64::max)
    };
    most.max(0.0)
}
