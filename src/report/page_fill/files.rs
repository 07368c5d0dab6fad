//! The files beside the page.
use crate::report::{PageData, PageFile};

impl PageData {
    /// Lists the files written beside the page, with a word on those that are known.
    pub fn name_files<'a>(&mut self, names: impl Iterator<Item = &'a str>) {
        self.files.extend(names.map(|name| PageFile { name: name.into(), what: describe(name).into() }));
    }
}
fn describe(name: &str) -> &'static str {
    match name {
        "underside.step" | "underside.stl" => "the open true-size underside, in mm",
        "deck.step" | "deck.stl" | "deck.3mf" | "deck.ply" => "the closed deck, in mm",
        "sections.svg" => "cross-sections, true to size on paper",
        "sections.step" => "the same sections as curves",
        "outline.svg" | "outline.pdf" => "the outline, true to size on paper",
        "mating-face.step" | "mating-face.stl" => "the face that meets the deck through the gasket",
        "mating-tool.step" => "a solid to cut an enclosure's body with",
        "enclosure.step" | "enclosure.stl" | "enclosure.3mf" => "the enclosure's body in one piece",
        "build-sheet.pdf" => "what to buy and to print, the order of work, drilling and tightening",
        "deck-drilled.step" => "the closed deck with the holes for the bolts",
        "assembly.step" => "everything in its place, each part with its name and colour",
        "drill.csv" => "where the screws go through the deck",
        "footprint.svg" | "footprint.pdf" => "the enclosure's plan and holes, true to size, to press onto the deck",
        "ribs.svg" | "ribs.pdf" | "rocker.svg" | "rocker.pdf" => "curves to cut out and hold against the deck",
        "room.svg" => "the room inside the enclosure",
        "gap-map.png" => "the gap in plan, as a picture",
        "gap-map.csv" => "the gap at every sample, as a table",
        "gap-map.ply" => "the gap at every sample, as coloured points",
        "gap-unrolled.csv" | "gap-unrolled.svg" => "the gap round the rim, unrolled",
        "enclosure-gaps.json" => "gap, gasket, screws and rider of the enclosure made here, for programs",
        "gaps.json" => "every figure of the gap, for programs",
        _ if name.starts_with("photo-outline") => "the photo with the rail found in it",
        _ if name.starts_with("enclosure-part") => "a part of the enclosure that fits the printer",
        _ if name.starts_with("fit-rim") => "a strip of the rim to print first and lay on the deck",
        _ if name.starts_with("fit-rib") => "a cross-section to print first and stand on the deck",
        _ if name.starts_with("enclosure-strap") => "the strap that joins two parts",
        _ => "",
    }
}
