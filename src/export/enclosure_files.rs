//! The enclosure's files: solid and mesh, drill list, the room inside.
use super::files::step;
use super::svg::{LINE, ROOM, Sheet, THIN};
use super::{OutputFile, write_3mf, write_stl};
use crate::deck::Deck;
use crate::enclosure::{BrokenEdge, Enclosure, Screw};
use crate::error::Result;
use crate::geom::{Polygon, bounds, plan, trim};
use crate::num::each;
use crate::tolerance::CHORD_MM;
use std::fmt::Write;

/// Samples along a drawn section: finer than a pen line.
const SAMPLES: usize = 240;

/// The files of an enclosure.
///
/// # Errors
/// A shape that is not sound.
pub fn enclosure_files(title: &str, deck: &Deck, e: &Enclosure) -> Result<Vec<OutputFile>> {
    let mesh = e.mesh();
    let mut files = vec![
        OutputFile::new("enclosure.step", step(e.solid())?),
        OutputFile::new("enclosure.stl", write_stl(mesh)),
        OutputFile::new("enclosure.3mf", write_3mf(mesh)?),
        OutputFile::new("drill.csv", drill_csv(&e.screws)),
        OutputFile::new("room.svg", room_svg(title, deck, e)),
    ];
    let parts = each(e.print_parts.len(), |i| -> Result<[OutputFile; 3]> {
        let p = &e.print_parts[i];
        Ok([
            OutputFile::new(&format!("{}.step", p.name), step(&p.solid)?),
            OutputFile::new(&format!("{}.stl", p.name), write_stl(&p.mesh)),
            OutputFile::new(&format!("{}.3mf", p.name), write_3mf(&p.mesh)?),
        ])
    });
    for part in parts {
        files.extend(part?);
    }
    Ok(files)
}

/// The drill list: one row per screw, mm and degrees, deck frame.
pub fn drill_csv(screws: &[Screw]) -> Vec<u8> {
    let mut o = String::from("screw,x_mm,y_mm,deck_z_mm,tilt_deg,flange_hole_mm,slot_mm,corner,axis_x,axis_y,axis_z\n");
    for (i, s) in screws.iter().enumerate() {
        let _ = writeln!(
            o,
            "{},{:.3},{:.3},{:.3},{:.2},{:.2},{:.2},{},{:.6},{:.6},{:.6}",
            i + 1,
            s.at_mm[0],
            s.at_mm[1],
            s.deck_mm,
            s.tilt_deg,
            s.hole_mm,
            s.slot_mm,
            if s.corner { "yes" } else { "no" },
            s.axis[0],
            s.axis[1],
            s.axis[2]
        );
    }
    o.into_bytes()
}

/// The room inside: plan, section along the middle and section across, with the parts; true to size.
pub fn room_svg(title: &str, deck: &Deck, e: &Enclosure) -> Vec<u8> {
    let shell = &e.shell;
    let rim = shell.rim_polygon();
    let (lo, hi) = rim.bounds();
    let (low, high) = e.bounds();
    let wide = hi[0] - lo[0];
    let mut s = Sheet { body: String::new(), width: wide + 2.0 * ROOM, height: 0.0 };
    s.text(ROOM, 6.0, &format!("{title}: room inside, nose to the right, seen from the underside"));
    let map = |p: [f64; 2]| [p[0] - lo[0] + ROOM, hi[1] - p[1] + ROOM];
    let mapped = |p: &Polygon| p.points.iter().map(|q| map(*q)).collect::<Vec<_>>();
    for (p, style) in [(&rim, LINE), (&shell.wall_polygon(), LINE), (&shell.floor_polygon(), LINE)] {
        s.path(&mapped(p), true, style);
    }
    for pieces in e.screws.iter().map(Screw::bore).chain(e.openings.iter().cloned()) {
        s.path(&mapped(&trim::polygon(&pieces, CHORD_MM)), true, LINE);
    }
    for p in &e.parts {
        if let Some(cable) = p.cable {
            let (at, size) = cable.kept(p.at_mm, p.size_mm, 0.0);
            s.path(&mapped(&trim::polygon(&plan::rectangle(at, [size[0], size[1]], 0.0), CHORD_MM)), true, THIN);
        }
        s.path(
            &mapped(&trim::polygon(&plan::rectangle(p.at_mm, [p.size_mm[0], p.size_mm[1]], 0.0), CHORD_MM)),
            true,
            PART,
        );
        let [x, y] = map(p.at_mm);
        s.text(x - p.size_mm[0] / 2.0 + 2.0, y, &p.name);
        let words = if p.fits { "fits" } else { "does not fit" };
        s.text(
            x - p.size_mm[0] / 2.0 + 2.0,
            y + 5.0,
            &format!("{words}: {:.1} mm above, {:.1} mm beside", p.height_left_mm, p.side_left_mm),
        );
    }
    s.height = hi[1] - lo[1] + 3.0 * ROOM;
    let middle = (low[1] + high[1]) / 2.0;
    let mut cuts = vec![(0, e.parts.first().map_or(middle, |p| p.at_mm[1]))];
    cuts.extend(e.parts.iter().map(|p| (1, p.at_mm[0])));
    if e.parts.is_empty() {
        cuts.push((1, (lo[0] + hi[0]) / 2.0));
    }
    for (axis, at) in cuts {
        section(&mut s, deck, e, axis, at);
    }
    s.height += ROOM;
    s.finish()
}
const PART: &str = "fill=\"#dfe8ef\" stroke=\"black\" stroke-width=\"0.25\"";

/// A section along the board (axis 0, at that y) or across it (axis 1, at that x), drawn below what is on the sheet; the deck
/// lies on top as it rides.
fn section(s: &mut Sheet, deck: &Deck, e: &Enclosure, axis: usize, at: f64) {
    let shell = &e.shell;
    let point = |t: f64| if axis == 0 { [t, at] } else { [at, t] };
    // crossings of a border with the section's line, along the section
    let cut = |p: &Polygon| -> Option<[f64; 2]> {
        let p = if axis == 0 { Polygon { points: p.points.iter().map(|q| [q[1], q[0]]).collect() } } else { p.clone() };
        let c = p.crossings(at);
        let (a, b) = c.iter().fold((f64::INFINITY, f64::NEG_INFINITY), |(a, b), v| (a.min(*v), b.max(*v)));
        (a < b).then_some([a, b])
    };
    let loops = [&shell.rim, &shell.wall_out[0], &shell.wall_out[1], &shell.wall_in[0], &shell.wall_in[1]];
    let found: Option<Vec<[f64; 2]>> = loops.iter().map(|l| cut(&trim::polygon(l, CHORD_MM))).collect();
    let Some([rim, wall, wall_low, inner, inner_low]) = found.and_then(|f| <[[f64; 2]; 5]>::try_from(f).ok()) else {
        return;
    };
    let line = |z: &dyn Fn(f64, f64) -> f64, from: f64, to: f64| -> Vec<[f64; 2]> {
        (0..=SAMPLES)
            .map(|i| from + (to - from) * i as f64 / SAMPLES as f64)
            .map(|t| [t, z(point(t)[0], point(t)[1])])
            .collect()
    };
    let seat = |x: f64, y: f64| shell.seat.at(x, y);
    let back = |x: f64, y: f64| shell.back.at(x, y);
    let floor_in = |x: f64, y: f64| shell.floor_in.at(x, y);
    let floor_out = |x: f64, y: f64| shell.floor_out.at(x, y);
    let mut body = line(&seat, rim[0], inner[0]);
    body.extend(line(&back, inner[0], inner[0]).first());
    body.extend(line(&floor_in, inner_low[0], inner_low[1]));
    body.extend(line(&back, inner[1], inner[1]).first());
    body.extend(line(&seat, inner[1], rim[1]));
    // the outside from the flange round the floor to the other flange, with the edges that are broken
    let broken = |edge: &Option<BrokenEdge>| {
        let e = edge.as_ref()?;
        let [on_face, on_wall] = [&e.on_face, &e.on_wall].map(|p| cut(&trim::polygon(p, CHORD_MM)));
        Some((on_face?, on_wall?.map(|t| [t, e.wall_z.at(point(t)[0], point(t)[1])])))
    };
    let (high, low) = (broken(&shell.flange_chamfer), broken(&shell.floor_edge));
    let (wall, wall_low) = (high.map_or(wall, |h| h.0), low.map_or(wall_low, |l| l.0));
    let turn = |k: usize| [high, low].into_iter().flatten().map(move |e| e.1[k]);
    body.extend(line(&back, rim[1], wall[1]));
    body.extend(turn(1));
    body.extend(line(&floor_out, wall_low[1], wall_low[0]));
    body.extend(turn(0).collect::<Vec<_>>().into_iter().rev());
    body.extend(line(&back, wall[0], rim[0]));
    let under = |x: f64, y: f64| deck.underside.at(x, y);
    let top = |x: f64, y: f64| deck.top.at(x, y);
    let mut board = line(&under, rim[0], rim[1]);
    board.extend(line(&top, rim[1], rim[0]));
    let (a, _) = bounds(&board);
    let (_, b) = bounds(&body);
    let y0 = s.height + ROOM;
    let map = |p: &[f64; 2]| [p[0] - rim[0] + ROOM, p[1] - a[1] + y0];
    s.path(&board.iter().map(map).collect::<Vec<_>>(), true, THIN);
    s.path(&body.iter().map(map).collect::<Vec<_>>(), true, LINE);
    for p in &e.parts {
        let (across, along) = (1 - axis, axis);
        if (p.at_mm[across] - at).abs() <= p.size_mm[across] / 2.0 {
            // a part stands on the floor where that is highest under it
            let (from, to) = (p.at_mm[along] - p.size_mm[along] / 2.0, p.at_mm[along] + p.size_mm[along] / 2.0);
            let floor = line(&floor_in, from, to).iter().map(|q| q[1]).fold(f64::INFINITY, f64::min);
            let r = [[from, floor], [to, floor], [to, floor - p.size_mm[2]], [from, floor - p.size_mm[2]]];
            s.path(&r.iter().map(map).collect::<Vec<_>>(), true, PART);
        }
    }
    let name = if axis == 0 { "section along, y" } else { "section across, x" };
    s.text(ROOM, y0 - 2.0, &format!("{name} = {at:.1} mm; dashed: the deck, on top as it rides"));
    s.height = y0 + b[1] - a[1];
}

#[cfg(test)]
mod tests {
    use super::*;
    #[test]
    fn the_drill_list_is_exact_text() {
        let s = Screw {
            at_mm: [150.25, -70.0],
            deck_mm: -3.5,
            tilt_deg: 8.125,
            hole_mm: 4.5,
            slot_mm: 1.5,
            corner: true,
            axis: [0.0, 0.6, 0.8],
            boss: None,
        };
        assert_eq!(
            String::from_utf8(drill_csv(&[s])).unwrap(),
            "screw,x_mm,y_mm,deck_z_mm,tilt_deg,flange_hole_mm,slot_mm,corner,axis_x,axis_y,axis_z\n1,150.250,-70.000,-3.500,8.12,4.50,1.50,yes,0.000000,0.600000,0.800000\n"
        );
    }
}
