//! The gap map as a layer and as figures.
use super::layers::SCALE_SHARE;
use crate::gap::{GapMap, GapOptions};
use crate::report::gaps_text::share_words;
use crate::report::{LayerColours, Packed, PageData, PageLayer, PageNumber};

impl PageData {
    /// Makes this the page of a gap map, which becomes the layer shown first.
    pub fn add_gap(&mut self, map: &GapMap) {
        let Some(height) = self.layers.first() else { return };
        // samples come one per cell of the map's own grid, so that cells twice as wide have no holes
        let step = GapOptions::for_spec(None).sample_mm * 2.0;
        let nodes = [0, 1].map(|k| ((height.step_mm * height.nodes[k] as f64) / step).ceil() as usize + 1);
        let about = "Distance from the enclosure's rim to the deck along the deck's normal. Words and patterns on the scale tell what it means for the gasket.";
        let layer = PageLayer {
            origin_mm: height.origin_mm,
            step_mm: step,
            nodes,
            values: Packed(vec![f64::NAN; nodes[0] * nodes[1]]),
            ..PageLayer::default()
        }
        .gathered(map.samples.iter().map(|s| ([s.at[0], s.at[1]], s.gap_mm)))
        .named("gap", "Gap", "mm", about, "gap-map.csv")
        .scaled(LayerColours::Gap, SCALE_SHARE);
        self.layers.insert(0, layer);
        self.kind = "gap report".into();
        let s = &map.summary;
        let number = |name: &str, value: String, meaning: &str| PageNumber {
            group: "Gap".into(),
            name: name.into(),
            value,
            meaning: meaning.into(),
            from: "gap-map.csv".into(),
            ..PageNumber::default()
        };
        let doubt = format!("± {:.2} mm at most", s.standard_uncertainty_mm);
        let sure = |n: PageNumber| PageNumber { uncertainty: doubt.clone(), ..n };
        let gap = vec![
            sure(number("Least gap", format!("{:.2} mm", s.least_mm), "Below 0 mm the enclosure cuts into the deck.")),
            sure(number("Greatest gap", format!("{:.2} mm", s.greatest_mm), "Wider than the free gasket leaks.")),
            number(
                "Open",
                share_words(s.open_ratio),
                "Share of all that faces the deck, in area, where the gap is wider than the free gasket.",
            ),
            number(
                "Clashing",
                share_words(s.clash_ratio),
                "Share of all that faces the deck, in area, that cuts into it.",
            ),
            number(
                "Middle nine tenths",
                format!("{:.2} to {:.2} mm", s.p5_mm, s.p95_mm),
                "Five per cent lie below, five above.",
            ),
        ];
        self.headline = gap[..4].to_vec();
        self.numbers.splice(0..0, gap);
    }
}
