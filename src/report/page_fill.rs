//! Fills the page from finished stage outputs.
use super::curvature::bends;
use super::{
    LayerColours, Packed, PageCurve, PageData, PageFile, PageLayer, PageLine, PageMesh, PageNumber, PagePlot,
    PagePoints, PageStation, PageZone, PointRole, Report, numbers,
};
use crate::gap::{GapMap, GapOptions};
use crate::geom::{Polygon, trim};
use crate::mating::MatingFace;
use crate::num::{TensorSpline, median, quantile};
use crate::pipeline::Reconstruction;
use nalgebra::Point3;

/// Chord height of the page's triangles, mm: below what a screen shows of a board.
const CHORD_MM: f64 = 0.05;
/// Nodes of a layer's grid over the board's box: some 4 mm apart on a usual board.
const NODES: f64 = 12_000.0;
/// A residual's cell over the grid's step: a cell holds several points and still shows drifts of a palm's width.
const RESIDUAL_CELL: f64 = 1.5;
/// Cross-sections shown.
const STATIONS: usize = 11;
/// Samples along a curve: finer than a screen shows.
const SAMPLES: usize = 160;
/// Half the width of a station's slice of points, mm: narrow against any bend of a deck.
const HALF_SLICE_MM: f64 = 3.0;
/// Points shown in a slice and of each kind: a picture of more is a blot.
const SLICE_POINTS: usize = 500;
const SHOWN_POINTS: usize = 9_000;
/// Share of values inside a colour scale's ends; the rest takes the end's colour. Some tenth of a board is its rim, where the
/// scan leaves the surface.
const SCALE_SHARE: f64 = 0.98;
const RESIDUAL_SHARE: f64 = 0.9;

pub(super) fn fill(report: &Report, rec: &Reconstruction, mating: Option<&MatingFace>) -> PageData {
    let outline = rec.deck.outline_polygon();
    let coarse = outline.resampled(400);
    let z = &rec.deck.underside;
    PageData {
        title: report.name.clone(),
        kind: "deck report".into(),
        version: report.faydeck.into(),
        headline: numbers::headline(report),
        warnings: report.warnings.clone(),
        numbers: numbers::numbers(report),
        cautions: report.cautions.iter().map(|c| (*c).to_owned()).collect(),
        mesh: mesh(rec),
        layers: layers(rec, &coarse),
        lines: lines(z, mating),
        stations: stations(rec, &coarse),
        profiles: profiles(z, &outline),
        points: points(rec, report),
        ..PageData::default()
    }
}

fn mesh(rec: &Reconstruction) -> PageMesh {
    let border = trim::border(&rec.deck.outline, &[&rec.deck.underside, &rec.deck.top], CHORD_MM);
    let n = border.points.len();
    // a deck whose outline crosses itself is never made
    let Some(m) = trim::tessellate(&rec.deck.underside, &[border], CHORD_MM) else { return PageMesh::default() };
    PageMesh {
        x: m.points.iter().map(|p| p.x).collect(),
        y: m.points.iter().map(|p| p.y).collect(),
        under: m.points.iter().map(|p| p.z).collect(),
        top: m.points.iter().map(|p| rec.deck.top.at(p.x, p.y)).collect(),
        triangles: super::Indices(m.triangles),
        border: n,
    }
}

/// An empty grid over the outline's box, a node beyond it all round.
fn grid(outline: &Polygon, step_mm: f64) -> PageLayer {
    let (lo, hi) = outline.bounds();
    let nodes = [0, 1].map(|k| ((hi[k] - lo[k]) / step_mm).ceil() as usize + 3);
    let values = Packed(vec![f64::NAN; nodes[0] * nodes[1]]);
    PageLayer { origin_mm: lo.map(|v| v - step_mm), step_mm, nodes, values, ..PageLayer::default() }
}
impl PageLayer {
    fn named(mut self, key: &str, name: &str, unit: &str, about: &str, from: &str) -> Self {
        self.key = key.into();
        self.name = name.into();
        self.unit = unit.into();
        self.about = about.into();
        self.from = from.into();
        self
    }
    /// Sets the scale's ends so that they hold `share` of the values, rounded outward to two digits.
    fn scaled(mut self, colours: LayerColours, share: f64) -> Self {
        let v: Vec<f64> = self.values.0.iter().copied().filter(|v| v.is_finite()).collect();
        let tail = (1.0 - share) / 2.0;
        let (l, h) = if v.is_empty() { (0.0, 1.0) } else { (quantile(&v, tail), quantile(&v, 1.0 - tail)) };
        let digits = |v: f64| 10f64.powf(v.abs().max(f64::MIN_POSITIVE).log10().floor() - 1.0);
        let out = |v: f64, d: f64| (v / d).ceil() * d;
        (self.least, self.most) = match colours {
            LayerColours::Signed => {
                let m = l.abs().max(h.abs());
                let m = out(m, digits(m));
                (-m, m)
            }
            LayerColours::Gap => (0.0, out(h.max(1.0), digits(h.max(1.0)))),
            LayerColours::Rising => (-out(-l, digits(h - l)), out(h, digits(h - l))),
        };
        self.colours = colours;
        self
    }
    /// Fills every node over the outline and a step beyond it.
    fn filled(mut self, outline: &Polygon, f: impl Fn(f64, f64) -> f64) -> Self {
        let [_, ny] = self.nodes;
        for (k, v) in self.values.0.iter_mut().enumerate() {
            let (x, y) = (
                self.origin_mm[0] + self.step_mm * (k / ny) as f64,
                self.origin_mm[1] + self.step_mm * (k % ny) as f64,
            );
            if outline.signed_distance([x, y]) < 1.5 * self.step_mm {
                *v = f(x, y);
            }
        }
        self
    }
    /// Fills with the median of the values near each node.
    fn gathered(mut self, values: impl Iterator<Item = ([f64; 2], f64)>) -> Self {
        let mut cells: Vec<Vec<f64>> = vec![Vec::new(); self.values.0.len()];
        for (p, v) in values {
            let [i, j] = [0, 1].map(|k| ((p[k] - self.origin_mm[k]) / self.step_mm).round());
            if i >= 0.0 && j >= 0.0 && i < self.nodes[0] as f64 && j < self.nodes[1] as f64 {
                cells[i as usize * self.nodes[1] + j as usize].push(v);
            }
        }
        for (to, cell) in self.values.0.iter_mut().zip(&cells) {
            if !cell.is_empty() {
                *to = median(cell);
            }
        }
        self
    }
}
fn residual(z: &TensorSpline, p: &Point3<f64>) -> f64 {
    (p.z - z.at(p.x, p.y)) * z.normal(p.x, p.y)[2]
}

fn layers(rec: &Reconstruction, outline: &Polygon) -> Vec<PageLayer> {
    let z = &rec.deck.underside;
    let (lo, hi) = outline.bounds();
    let step = ((hi[0] - lo[0]) * (hi[1] - lo[1]) / NODES).sqrt().max(f64::MIN_POSITIVE);
    let smooth = |f: &dyn Fn(f64, f64) -> f64| grid(outline, step).filled(outline, f);
    vec![
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
            .gathered(rec.sheet.iter().map(|p| ([p.x, p.y], residual(z, p))))
            .named("residual", "Residual", "mm", "How far the scan lies above (+) or below the surface, median of a small cell. Speckle is noise; a patch of one colour is a place where the surface does not follow the scan. The outermost 8 mm, where scans round the rail, are not used for the surface.", "report.json, surface")
            .scaled(LayerColours::Signed, RESIDUAL_SHARE),
        smooth(&|x, y| rec.surface_error.at(x, y))
            .named("error", "Standard error", "mm", "How well the surface is known: it lies within twice this some 95 % of the time, apart from the scale. Larger at the rail and where the scan has holes.", "report.json, surface")
            .scaled(LayerColours::Rising, SCALE_SHARE),
    ]
}

fn lines(z: &TensorSpline, mating: Option<&MatingFace>) -> Vec<PageLine> {
    let Some(m) = mating else { return Vec::new() };
    [("outside of the flange", &m.footprint.outer_polygon), ("inside of the flange", &m.footprint.inner_polygon)]
        .map(|(name, p)| PageLine {
            name: name.into(),
            closed: true,
            x: p.points.iter().map(|q| q[0]).collect(),
            y: p.points.iter().map(|q| q[1]).collect(),
            z: p.points.iter().map(|q| z.at(q[0], q[1])).collect(),
        })
        .into()
}

fn stations(rec: &Reconstruction, outline: &Polygon) -> Vec<PageStation> {
    let z = &rec.deck.underside;
    let (lo, hi) = outline.bounds();
    let place = |i: usize| lo[0] + (hi[0] - lo[0]) * (i as f64 + 0.5) / STATIONS as f64;
    (0..STATIONS)
        .map(|i| {
            let x_mm = place(i);
            let curve = rec.deck.section(x_mm, SAMPLES);
            let near: Vec<&Point3<f64>> = rec.sheet.iter().filter(|p| (p.x - x_mm).abs() < HALF_SLICE_MM).collect();
            let r: Vec<f64> = near.iter().map(|p| residual(z, p)).collect();
            let rms = (r.iter().map(|v| v * v).sum::<f64>() / r.len().max(1) as f64).sqrt();
            let stride = near.len().div_ceil(SLICE_POINTS).max(1);
            let ends = curve.first().zip(curve.last());
            PageStation {
                x_mm,
                half_slice_mm: HALF_SLICE_MM,
                residual_rms_mm: (!r.is_empty()).then_some(rms),
                count: near.len(),
                middle_mm: ends.map_or(0.0, |(a, b)| z.at(x_mm, (a[0] + b[0]) / 2.0) - (a[1] + b[1]) / 2.0),
                bend: curve.iter().map(|p| bends(z, x_mm, p[0])[1]).collect(),
                y: curve.iter().map(|p| p[0]).collect(),
                z: curve.iter().map(|p| p[1]).collect(),
                point_y: near.iter().step_by(stride).map(|p| p.y).collect(),
                residual: r.iter().step_by(stride).copied().collect(),
            }
        })
        .collect()
}

fn profiles(z: &TensorSpline, outline: &Polygon) -> Vec<PagePlot> {
    let (lo, hi) = outline.bounds();
    let x: Vec<f64> = (1..2 * SAMPLES).map(|i| lo[0] + (hi[0] - lo[0]) * i as f64 / (2 * SAMPLES) as f64).collect();
    let plot = |title: &str, about: &str, up: &str, unit: &str, f: &dyn Fn(f64) -> f64| PagePlot {
        title: title.into(),
        about: about.into(),
        from: "underside.step".into(),
        along: "along the board, mm (nose to the right)".into(),
        up: up.into(),
        unit: unit.into(),
        curves: vec![PageCurve {
            name: up.into(),
            x: x.iter().copied().collect(),
            y: x.iter().map(|x| f(*x)).collect(),
            band: Packed::default(),
        }],
        ..PagePlot::default()
    };
    vec![
        plot("Centre line", "The underside along the middle, board upturned.", "height", "mm", &|x| z.at(x, 0.0)),
        plot(
            "Bend of the centre line",
            "Curvature along the middle. One over it is a radius in metres.",
            "curvature",
            "1/m",
            &|x| bends(z, x, 0.0)[0],
        ),
        plot(
            "Concave along the board",
            "Middle of each section against the line between its rails.",
            "middle over rails",
            "mm",
            &|x| {
                let c = outline.crossings(x);
                let (a, b) = c.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), y| (l.min(*y), h.max(*y)));
                z.at(x, (a + b) / 2.0) - (z.at(x, a) + z.at(x, b)) / 2.0
            },
        ),
    ]
}

fn points(rec: &Reconstruction, report: &Report) -> Vec<PagePoints> {
    [
        (PointRole::Kept, "underside, kept", &rec.sorted.sheet, report.frame.sheet_points),
        (PointRole::Standing, "standing on it, taken away", &rec.sorted.standing, report.frame.standing_points),
        (PointRole::Floor, "floor, taken away", &rec.sorted.floor, report.frame.floor_points),
        (PointRole::Other, "other points, taken away", &rec.sorted.other, report.frame.other_points),
    ]
    .into_iter()
    .filter(|(_, _, p, _)| !p.is_empty())
    .map(|(role, name, p, count)| {
        let shown = || p.iter().step_by(p.len().div_ceil(SHOWN_POINTS).max(1));
        PagePoints {
            role,
            name: name.into(),
            count,
            x: shown().map(|p| p.x).collect(),
            y: shown().map(|p| p.y).collect(),
            z: shown().map(|p| p.z).collect(),
        }
    })
    .collect()
}

impl PageData {
    /// Lists the files written beside the page, with a word on those that are known.
    pub fn name_files<'a>(&mut self, names: impl Iterator<Item = &'a str>) {
        self.files.extend(names.map(|name| PageFile { name: name.into(), what: describe(name).into() }));
    }
    /// Makes this the page of a gap map, which becomes the layer shown first; `gasket_mm` is the gasket's free thickness.
    pub fn add_gap(&mut self, map: &GapMap, gasket_mm: Option<f64>) {
        let Some(height) = self.layers.first() else { return };
        // samples come one per cell of the map's own grid, so that cells twice as wide have no holes
        let step = GapOptions::for_spec(None).sample_mm * 2.0;
        let nodes = [0, 1].map(|k| ((height.step_mm * height.nodes[k] as f64) / step).ceil() as usize + 1);
        let about = "Distance from the enclosure's rim to the deck along the deck's normal. Hatched places clash.";
        let mut layer = PageLayer {
            origin_mm: height.origin_mm,
            step_mm: step,
            nodes,
            values: Packed(vec![f64::NAN; nodes[0] * nodes[1]]),
            ..PageLayer::default()
        }
        .gathered(map.samples.iter().map(|s| ([s.at[0], s.at[1]], s.gap_mm)))
        .named("gap", "Gap", "mm", about, "gap-map.csv")
        .scaled(LayerColours::Gap, SCALE_SHARE);
        if let Some(g) = gasket_mm.filter(|g| *g > 0.0) {
            let zone = |name: &str, above, below| PageZone { name: name.into(), above, below };
            layer.zones = vec![
                zone("clash", None, Some(0.0)),
                zone("within the gasket", Some(0.0), Some(g)),
                zone("open", Some(g), None),
            ];
        }
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
        let gap = vec![
            number("Least gap", format!("{:.2} mm", s.least_mm), "Below 0 mm the enclosure cuts into the deck."),
            number("Greatest gap", format!("{:.2} mm", s.greatest_mm), "Wider than the free gasket leaks."),
            number("Open", format!("{:.0} %", 100.0 * s.open_ratio), "Share of the rim wider than the free gasket."),
            number("Clashing", format!("{:.0} %", 100.0 * s.clash_ratio), "Share of the rim that cuts into the deck."),
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
fn describe(name: &str) -> &'static str {
    match name {
        "underside.step" | "underside.stl" => "the open true-size underside, in mm",
        "deck.step" | "deck.stl" | "deck.3mf" => "the closed deck, in mm",
        "sections.svg" => "cross-sections, true to size on paper",
        "outline.svg" => "the outline, true to size on paper",
        "mating-face.step" | "mating-face.stl" => "the face that meets the deck through the gasket",
        "mating-tool.step" => "a solid to cut an enclosure's body with",
        "gap-map.png" => "the gap in plan, as a picture",
        "gap-map.csv" => "the gap at every sample, as a table",
        "gap-map.ply" => "the gap at every sample, as coloured points",
        _ => "",
    }
}
