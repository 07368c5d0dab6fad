//! The room inside an enclosure as a drawing, true to size: plan, sections, dimensions, a list of the parts.
use super::svg::{LINE, ROOM, Sheet, THIN};
use crate::deck::Deck;
use crate::enclosure::{BrokenEdge, Enclosure};
use crate::geom::{Polygon, bounds, plan, trim};
use crate::num::shown;
use crate::tolerance::CHORD_MM;

/// Samples along a drawn section: finer than a pen line.
const SAMPLES: usize = 240;
/// Height of a line of words, mm.
const WORDS_MM: f64 = 6.0;
/// Width of the sheet beside the drawing for dimensions, mm, and the least for the list.
const BESIDE_MM: f64 = 22.0;
const LIST_MM: f64 = 150.0;
const PEN: &str = "fill=\"none\" stroke=\"#555\" stroke-width=\"0.15\"";

/// A dimension line from `a` to `b` with its value in mm beside its middle.
fn dimension(s: &mut Sheet, a: [f64; 2], b: [f64; 2], mm: f64) {
    s.path(&[a, b], false, PEN);
    let upright = (b[1] - a[1]).abs() > (b[0] - a[0]).abs();
    for p in [a, b] {
        let (dx, dy) = if upright { (1.5, 0.0) } else { (0.0, 1.5) };
        s.path(&[[p[0] - dx, p[1] - dy], [p[0] + dx, p[1] + dy]], false, PEN);
    }
    let text = format!("{mm:.1}");
    let middle = [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0];
    if upright {
        s.text(middle[0] + 1.5, middle[1] + 1.4, &text);
    } else {
        s.text(middle[0] - 1.1 * text.len() as f64, middle[1] - 1.0, &text);
    }
}
/// Words about a place.
fn words_at(s: &mut Sheet, x: f64, y: f64, words: &str) {
    s.text(x - LETTER_MM / 2.0 * words.chars().count() as f64, y + 1.4, words);
}
/// Width of a letter, mm: the mean of a sans serif of the sheet's size.
const LETTER_MM: f64 = 2.2;
/// A part's number in its middle, with its name where there is room.
fn name_at(s: &mut Sheet, [x, y]: [f64; 2], wide: f64, number: usize, name: &str) {
    let whole = format!("{number} {name}");
    let fits = LETTER_MM * (whole.chars().count() + 2) as f64 <= wide;
    words_at(s, x, y, if fits { &whole } else { whole.split(' ').next().unwrap_or_default() });
}
/// How far beyond the border a screw's number stands, mm: clear of the line, short of the dimensions.
const BEYOND_MM: f64 = 3.5;

/// The room inside: plan, section along the middle and sections across the parts, with dimensions; true to size.
pub fn room_svg(title: &str, deck: &Deck, e: &Enclosure) -> Vec<u8> {
    let shell = &e.shell;
    let rim = shell.rim_polygon();
    let (lo, hi) = rim.bounds();
    let (low, high) = e.bounds();
    let [wide, tall] = [hi[0] - lo[0], hi[1] - lo[1]];
    let mut s = Sheet { body: String::new(), width: (wide + 2.0 * ROOM + BESIDE_MM).max(LIST_MM), height: 0.0 };
    s.text(ROOM, 6.0, &format!("{title}: room inside the enclosure, in mm"));
    s.text(ROOM, 6.0 + WORDS_MM, "plan, seen from the underside; tail left, nose right; dotted: the gasket's strip");
    let top = ROOM + 2.0 * WORDS_MM;
    let map = |p: [f64; 2]| [p[0] - lo[0] + ROOM, hi[1] - p[1] + top];
    let mapped = |p: &Polygon| p.points.iter().map(|q| map(*q)).collect::<Vec<_>>();
    for (p, style) in [(&rim, LINE), (&shell.wall_polygon(), LINE), (&shell.floor_polygon(), LINE)] {
        s.path(&mapped(p), true, style);
    }
    for border in e.strip_borders() {
        s.path(&mapped(&border), true, STRIP);
    }
    for (i, screw) in e.screws.iter().enumerate() {
        s.path(&mapped(&trim::polygon(&screw.bore(), CHORD_MM)), true, LINE);
        // beyond the border, where nothing is drawn
        let middle = [0, 1].map(|k| (lo[k] + hi[k]) / 2.0);
        let d = [(screw.at_mm[0] - middle[0]) / wide, (screw.at_mm[1] - middle[1]) / tall];
        let way = if d[0].abs() > d[1].abs() { [d[0].signum(), 0.0] } else { [0.0, d[1].signum()] };
        let along = |t: i32| [0, 1].map(|k| screw.at_mm[k] + f64::from(t) * way[k]);
        // a step of a mm; no screw is farther from the border than the box is long
        let out = (0..wide as i32).map(along).find(|p| rim.signed_distance(*p) > BEYOND_MM).unwrap_or(screw.at_mm);
        let ([x, y], number) = (map(out), (i + 1).to_string());
        // more digits reach farther to either side
        let more = LETTER_MM / 2.0 * (number.len() - 1) as f64;
        words_at(&mut s, x + way[0] * more, y, &number);
    }
    for pieces in &e.openings {
        s.path(&mapped(&trim::polygon(pieces, CHORD_MM)), true, LINE);
    }
    for (i, p) in e.parts.iter().enumerate() {
        let border = |at, size: [f64; 3]| trim::polygon(&plan::rectangle(at, [size[0], size[1]], 0.0), CHORD_MM);
        if let Some(cable) = p.cable {
            let (at, size) = cable.kept(p.at_mm, p.size_mm, 0.0);
            s.path(&mapped(&border(at, size)), true, THIN);
        }
        s.path(&mapped(&border(p.at_mm, p.size_mm)), true, PART);
        name_at(&mut s, map(p.at_mm), p.size_mm[0], i + 1, &p.name);
    }
    let (inner_lo, inner_hi) = shell.floor_polygon().bounds();
    let below = top + tall + 14.0;
    dimension(&mut s, [map(inner_lo)[0], below], [map(inner_hi)[0], below], inner_hi[0] - inner_lo[0]);
    dimension(&mut s, [ROOM, below + 7.0], [ROOM + wide, below + 7.0], wide);
    let beside = ROOM + wide + 6.0;
    dimension(&mut s, [beside, map(inner_hi)[1]], [beside, map(inner_lo)[1]], inner_hi[1] - inner_lo[1]);
    dimension(&mut s, [beside + 14.0, top], [beside + 14.0, top + tall], tall);
    s.height = below + 12.0;
    let words = |s: &mut Sheet, text: &str| {
        s.height += WORDS_MM;
        let y = s.height;
        s.text(ROOM, y, text);
    };
    words(&mut s, &format!("least clear height inside {:.1} mm, over all {:.1} mm high", e.depth_mm, high[2] - low[2]));
    for (i, p) in e.parts.iter().enumerate() {
        let [l, w, h] = p.size_mm;
        words(
            &mut s,
            &format!(
                "{} {}: {l:.0} x {w:.0} x {h:.0} mm, {}",
                i + 1,
                p.name,
                if p.fits { "fits" } else { "DOES NOT FIT" }
            ),
        );
        let text = format!(
            "   left beyond its clearance of {:.1} mm: {:.1} mm above, {:.1} mm beside",
            p.clearance_mm, p.height_left_mm, p.side_left_mm
        );
        words(&mut s, &text);
    }
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
const STRIP: &str = "fill=\"none\" stroke=\"#0a5\" stroke-width=\"0.2\" stroke-dasharray=\"0.6 1.2\"";
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
    let y0 = s.height + ROOM + 6.0;
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
    for (number, p) in e.parts.iter().enumerate() {
        let (across, along) = (1 - axis, axis);
        if (p.at_mm[across] - at).abs() <= p.size_mm[across] / 2.0 {
            let at = map(&[p.at_mm[along], floor_in(p.at_mm[0], p.at_mm[1]) - p.size_mm[2] / 2.0]);
            name_at(s, at, p.size_mm[along], number + 1, &p.name);
        }
    }
    // over all in height beside the section, the room inside at its middle below it
    let right = rim[1] - rim[0] + ROOM;
    let [high, low] = [a[1].max(bounds(&body).0[1]), b[1]].map(|z| z - a[1] + y0);
    dimension(s, [right + 5.0, high], [right + 5.0, low], low - high);
    let [from, to] = [inner_low[0], inner_low[1]].map(|t| t - rim[0] + ROOM);
    dimension(s, [from, low + 7.0], [to, low + 7.0], to - from);
    let name = if axis == 0 { "section along the board, at y" } else { "section across the board, at x" };
    let at = shown(at, 1);
    s.text(ROOM, y0 - 4.0, &format!("{name} = {at:.1} mm (mm; dashed: the deck, on top as it rides)"));
    s.height = low + 12.0;
}
