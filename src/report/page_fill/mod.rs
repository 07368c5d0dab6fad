//! Fills the page from finished stage outputs.
mod files;
mod gap;
mod grid;
mod layers;
mod rail;
mod sections;

use super::{PageData, PageLine, PageMesh, PagePhoto, PagePoints, PointRole, Report, numbers};
use crate::geom::trim;
use crate::mating::{KeepOut, KeepOutKind, MatingFace};
use crate::num::TensorSpline;
use crate::pipeline::Reconstruction;

/// Chord height of the page's triangles, mm: below what a screen shows of a board.
const CHORD_MM: f64 = 0.05;
/// Points shown of each kind: a picture of more is a blot.
const SHOWN_POINTS: usize = 9_000;

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
        layers: layers::layers(rec, &coarse),
        lines: lines(z, mating).into_iter().chain(rec.keep_outs.iter().map(|k| keep_out(z, k))).collect(),
        stations: sections::stations(rec, &coarse),
        profiles: sections::profiles(z, &outline),
        rail: rail::plots(&report.outline.found.rail),
        photos: rec.outline.photos.iter().map(PagePhoto::new).collect(),
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

/// The border of a place that no enclosure may take: of what stands at its height, of a kick where it begins.
fn keep_out(z: &TensorSpline, k: &KeepOut) -> PageLine {
    let [x, y] = [k.x_mm, k.y_mm];
    let high = k.height_mm.unwrap_or(0.0);
    let corners = match k.kind {
        KeepOutKind::Kick => {
            let begin = if x[0] > 0.0 { x[0] } else { x[1] };
            (0..=KICK_POINTS).map(|i| [begin, y[0] + (y[1] - y[0]) * i as f64 / KICK_POINTS as f64]).collect()
        }
        _ => vec![[x[0], y[0]], [x[1], y[0]], [x[1], y[1]], [x[0], y[1]]],
    };
    PageLine {
        name: k.name.clone(),
        closed: k.kind != KeepOutKind::Kick,
        x: corners.iter().map(|p| p[0]).collect(),
        y: corners.iter().map(|p| p[1]).collect(),
        z: corners.iter().map(|p| z.at(p[0], p[1]) + high).collect(),
    }
}
/// Points of the line where a kick begins.
const KICK_POINTS: usize = 20;

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
