//! Where no enclosure can go: what stands on the deck in the scan, trucks whose holes are known, kicks.
use crate::deck::{Deck, DeckHole};
use crate::error::{Stage, Warning};
use crate::geom::{Polygon, connected};
use nalgebra::Point3;
use serde::Serialize;

/// Why no enclosure can go there.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum KeepOutKind {
    /// Something stands there in the scan.
    Standing,
    /// A truck's bolt holes are there.
    Truck,
    /// The deck bends up to its end there.
    Kick,
}
/// A part of the deck that an enclosure must leave free.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct KeepOut {
    /// What it is and where, in words.
    pub name: String,
    /// Why it is to be left free.
    pub kind: KeepOutKind,
    /// From and to along the board, mm, deck frame.
    pub x_mm: [f64; 2],
    /// From and to across it, mm.
    pub y_mm: [f64; 2],
    /// How high it stands over the underside, mm; none where nothing tells.
    pub height_mm: Option<f64>,
    /// What an enclosure must keep off it, mm.
    pub wanted_mm: f64,
    /// Its places in plan.
    #[serde(skip)]
    places: Vec<[f64; 2]>,
}
/// How far a rim lies off a keep-out.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Room {
    /// The keep-out.
    #[serde(flatten)]
    pub keep_out: KeepOut,
    /// From the flange's border to it in plan, mm; negative by how deep it reaches in.
    pub distance_mm: f64,
    /// Whether that is enough.
    pub free: bool,
}

/// Cells in which what stands is gathered, mm: wider than the points of any usable scan lie apart, narrower than a truck's arm.
const CELL_MM: f64 = 5.0;
/// Lower than this over the surface, mm, a point is the deck's own: scatter, stickers, a doubled layer; a truck's plate is higher.
const LOW_MM: f64 = 4.0;
/// What stands is at least this long, mm: half a truck's plate. Strays and edges of a scan are smaller.
const LEAST_MM: f64 = 30.0;
/// Fewest points of it in all, and in a cell: strays come by ones and twos.
const FEWEST_POINTS: usize = 40;
const FEWEST_IN_CELL: usize = 2;
/// Room to what stands, mm: trucks and wheels give way by a few mm (common practice, no source).
const MOVING_MM: f64 = 5.0;
/// Half a truck's plate, mm, about the middle of its holes: the larger pattern with 10 mm round it (common practice, no source).
const PLATE_MM: [f64; 2] = [63.5 / 2.0 + 10.0, 41.28 / 2.0 + 10.0];
/// A kick turns by this much over [`KICK_RUN_MM`], radians: its radius is below some 0.9 m, where rockers have several metres.
const KICK_TURN: f64 = 0.07;
const KICK_RUN_MM: f64 = 60.0;
/// And by this much in all: 6 degrees, less is rocker and the rounding of an end (kicks have 10 to 25, common practice, no source).
const KICK_DEG: f64 = 6.0;
/// The last share of the length at either end is the rail's own rounding.
const END_RATIO: f64 = 0.04;
/// Step along the centre line, mm.
const STEP_MM: f64 = 5.0;

/// Where along the board, for a sentence.
fn towards(x: f64, half: f64) -> &'static str {
    // the middle third
    match x / half {
        t if t > 1.0 / 3.0 => "towards the nose",
        t if t < -1.0 / 3.0 => "towards the tail",
        _ => "in the middle",
    }
}
fn span(values: impl Iterator<Item = f64>) -> [f64; 2] {
    values.fold([f64::INFINITY, f64::NEG_INFINITY], |[a, b], v| [a.min(v), b.max(v)])
}

/// What stands on the deck: connected heaps of points over it.
fn standing(points: &[Point3<f64>], deck: &Deck, half: f64) -> Vec<KeepOut> {
    let over: Vec<([f64; 2], f64)> = (points.iter())
        .map(|p| ([p.x, p.y], deck.underside.beyond([p.x, p.y, p.z])))
        .filter(|(_, h)| *h > LOW_MM)
        .collect();
    let [x, y] = [0, 1].map(|k| span(over.iter().map(|p| p.0[k])));
    if over.len() < FEWEST_POINTS {
        return Vec::new();
    }
    let n = [x, y].map(|s| ((s[1] - s[0]) / CELL_MM) as usize + 1);
    let mut cells: Vec<Vec<usize>> = vec![Vec::new(); n[0] * n[1]];
    for (i, (p, _)) in over.iter().enumerate() {
        let [a, b] = [(p[0] - x[0]) / CELL_MM, (p[1] - y[0]) / CELL_MM].map(|v| v as usize);
        cells[a * n[1] + b].push(i);
    }
    let near = |i: usize| {
        let (a, b) = (i / n[1], i % n[1]);
        let rows = a.saturating_sub(1)..(a + 2).min(n[0]);
        rows.flat_map(|r| (b.saturating_sub(1)..(b + 2).min(n[1])).map(move |c| r * n[1] + c)).collect()
    };
    let mut found: Vec<KeepOut> = connected(cells.len(), |i| cells[i].len() >= FEWEST_IN_CELL, near)
        .into_iter()
        .filter_map(|part| {
            let all: Vec<usize> = part.iter().flat_map(|c| cells[*c].iter().copied()).collect();
            let places: Vec<[f64; 2]> = all.iter().map(|i| over[*i].0).collect();
            let [x_mm, y_mm] = [0, 1].map(|k| span(places.iter().map(|p| p[k])));
            let long = (x_mm[1] - x_mm[0]).max(y_mm[1] - y_mm[0]);
            if all.len() < FEWEST_POINTS || long < LEAST_MM {
                return None;
            }
            let height = all.iter().map(|i| over[*i].1).fold(0.0, f64::max);
            let where_ = towards((x_mm[0] + x_mm[1]) / 2.0, half);
            Some(KeepOut {
                name: format!(
                    "what stands on the deck {where_} (x {:.0} to {:.0} mm, y {:.0} to {:.0} mm, {height:.0} mm high)",
                    x_mm[0], x_mm[1], y_mm[0], y_mm[1]
                ),
                kind: KeepOutKind::Standing,
                x_mm,
                y_mm,
                height_mm: Some(height),
                wanted_mm: MOVING_MM,
                places,
            })
        })
        .collect();
    found.sort_by(|a, b| a.x_mm[0].total_cmp(&b.x_mm[0]).then(a.y_mm[0].total_cmp(&b.y_mm[0])));
    found
}

/// A truck's plate over holes about `at`.
fn plate(at: [f64; 2], half: f64, from: &str) -> KeepOut {
    let [x_mm, y_mm] = [0, 1].map(|k| [at[k] - PLATE_MM[k], at[k] + PLATE_MM[k]]);
    let border =
        Polygon { points: vec![[x_mm[0], y_mm[0]], [x_mm[1], y_mm[0]], [x_mm[1], y_mm[1]], [x_mm[0], y_mm[1]]] };
    let where_ = towards(at[0], half);
    KeepOut {
        name: format!("the truck {where_}, by its holes in {from} (x {:.0} to {:.0} mm)", x_mm[0], x_mm[1]),
        kind: KeepOutKind::Truck,
        x_mm,
        y_mm,
        height_mm: None,
        wanted_mm: MOVING_MM,
        places: border.resampled((border.perimeter() / CELL_MM) as usize).points,
    }
}

/// The kicks: where the centre line begins to turn up to an end.
fn kicks(deck: &Deck, outline: &Polygon) -> Vec<KeepOut> {
    let (lo, hi) = outline.bounds();
    let (middle, length) = ((lo[0] + hi[0]) / 2.0, hi[0] - lo[0]);
    let reach = length * (0.5 - END_RATIO);
    let slope = |x: f64| {
        let z = |x: f64| deck.underside.at(x, 0.0);
        ((z(x + STEP_MM) - z(x - STEP_MM)) / (2.0 * STEP_MM)).atan()
    };
    let one = |(name, out): (&str, f64)| {
        // towards the end, upwards as the board rides
        let turn = |a: f64, b: f64| -out * (slope(middle + out * b) - slope(middle + out * a));
        let steps = ((reach - KICK_RUN_MM) / STEP_MM).max(0.0) as usize;
        let from = (0..steps).map(|i| i as f64 * STEP_MM).find(|t| turn(*t, t + KICK_RUN_MM) > KICK_TURN)?;
        // the bend begins where the run that shows it has turned by a tenth
        let begin = (0..).map(|i| from + f64::from(i) * STEP_MM).find(|t| turn(from, *t) > 0.1 * KICK_TURN)?;
        let deg = turn(from, reach).to_degrees();
        if deg < KICK_DEG {
            return None;
        }
        let x = middle + out * begin;
        let end = if out > 0.0 { hi[0] } else { lo[0] };
        let (a, b) = outline.span(x)?;
        let across = (0..=20).map(|i| [x, a + (b - a) * f64::from(i) / 20.0]);
        Some(KeepOut {
            name: format!("the kick at the {name}, which bends up by {deg:.0} degrees from x = {x:.0} mm on"),
            kind: KeepOutKind::Kick,
            x_mm: [x.min(end), x.max(end)],
            y_mm: [lo[1], hi[1]],
            height_mm: None,
            wanted_mm: 0.0,
            places: across.collect(),
        })
    };
    [("tail", -1.0), ("nose", 1.0)].into_iter().filter_map(one).collect()
}

/// Where no enclosure can go on `deck`: `points` stand over it in the scan (mm, deck frame), `photo_holes` are truck bolt holes seen
/// in a photo, four and four.
pub fn keep_outs(deck: &Deck, points: &[Point3<f64>], photo_holes: &[[f64; 2]]) -> Vec<KeepOut> {
    let outline = deck.outline_polygon();
    let (lo, hi) = outline.bounds();
    let half = (hi[0] - lo[0]) / 2.0;
    let mut out = standing(points, deck, half);
    let photo = photo_holes.chunks_exact(4).map(|four| {
        let [x, y] = [0, 1].map(|k| four.iter().map(|p| p[k]).sum::<f64>() / 4.0);
        plate([x, y], half, "the photo")
    });
    let given = deck.details().holes.iter().filter(|h: &&DeckHole| h.pattern_mm != [0.0; 2]);
    let plates: Vec<KeepOut> = photo.chain(given.map(|h| plate(h.at_mm, half, "the board file"))).collect();
    for p in plates {
        // one that stands there in the scan is told once
        let seen = |o: &KeepOut| {
            o.kind != KeepOutKind::Kick
                && o.x_mm[0] < p.x_mm[1]
                && p.x_mm[0] < o.x_mm[1]
                && o.y_mm[0] < p.y_mm[1]
                && p.y_mm[0] < o.y_mm[1]
        };
        if !out.iter().any(seen) {
            out.push(p);
        }
    }
    out.extend(kicks(deck, &outline));
    out
}

/// How far `rim` lies off each keep-out.
pub fn rooms(keep_outs: &[KeepOut], rim: &Polygon) -> Vec<Room> {
    let (lo, hi) = rim.bounds();
    keep_outs
        .iter()
        .map(|k| {
            let distance_mm = match k.kind {
                // all beyond it is kick
                KeepOutKind::Kick if k.x_mm[0] > 0.0 => k.x_mm[0] - hi[0],
                KeepOutKind::Kick => lo[0] - k.x_mm[1],
                _ => k.places.iter().map(|p| rim.signed_distance(*p)).fold(f64::INFINITY, f64::min),
            };
            Room { keep_out: k.clone(), distance_mm, free: distance_mm >= k.wanted_mm }
        })
        .collect()
}

/// The longest stretch along the board, from and to, mm, that a footprint across the board has free between the keep-outs and the
/// ends, with the room that each wants.
pub fn longest_free(deck: &Deck, keep_outs: &[KeepOut], inset_mm: f64) -> [f64; 2] {
    let (lo, hi) = deck.outline_polygon().bounds();
    let (from, to) = (lo[0] + inset_mm, hi[0] - inset_mm);
    let mut taken: Vec<[f64; 2]> = (keep_outs.iter())
        .map(|k| [k.x_mm[0] - k.wanted_mm, k.x_mm[1] + k.wanted_mm])
        .chain([[f64::NEG_INFINITY, from], [to, f64::INFINITY]])
        .collect();
    taken.sort_by(|a, b| a[0].total_cmp(&b[0]));
    let mut best = [0.0; 2];
    let mut reached = f64::NEG_INFINITY;
    for [a, b] in taken {
        if reached.is_finite() && a - reached > best[1] - best[0] {
            best = [reached, a];
        }
        reached = reached.max(b);
    }
    best
}

/// A warning where a rim does not leave every keep-out free.
pub fn room_warnings(rooms: &[Room], free: [f64; 2]) -> Vec<Warning> {
    let [length, offset] = [free[1] - free[0], (free[0] + free[1]) / 2.0];
    let hint = format!(
        "the longest room along the board is {:.0} mm: enclosure.length = \"{:.0} mm\" with enclosure.offset = \"{:.0} mm\" is free of \
         everything; if the thing is not there when you ride, scan the board without it",
        length.floor(),
        length.floor(),
        offset.round() + 0.0
    );
    let told: Vec<String> = (rooms.iter().filter(|r| !r.free))
        .map(|r| {
            let what = match (r.distance_mm < 0.0, r.keep_out.kind) {
                (true, KeepOutKind::Kick) => format!("reaches {:.0} mm onto", -r.distance_mm),
                (true, _) => format!("runs {:.0} mm into", -r.distance_mm),
                (false, _) => format!("comes {:.1} mm near ({} mm are wanted) to", r.distance_mm, r.keep_out.wanted_mm),
            };
            format!("{what} {}", r.keep_out.name)
        })
        .collect();
    (!told.is_empty())
        .then(|| Warning::new(Stage::Mating, format!("the enclosure {}", told.join("; ")), hint))
        .into_iter()
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{closed_fit, plan, trim};
    use crate::num::{Knots, TensorSpline, interpolate};
    use nalgebra::DMatrix;

    /// A flat board 700 x 200 mm whose last 100 mm towards the nose bend up by `deg` over 50 mm.
    fn deck(deg: f64) -> Deck {
        let (x, y) = (Knots::uniform(3, 60, -380.0, 380.0), Knots::uniform(3, 4, -120.0, 120.0));
        let g = x.greville();
        let z = |x: f64| {
            let s = (x - 250.0).max(0.0);
            let slope = deg.to_radians().tan();
            -slope * if s < 50.0 { s * s / 100.0 } else { s - 25.0 }
        };
        let v = DMatrix::from_fn(g.len(), 1, |i, _| z(g[i]));
        let c = interpolate(&x, &v).unwrap();
        let c = c.iter().flat_map(|c| std::iter::repeat_n(*c, y.len())).collect();
        let z = TensorSpline::new(x, y, c).unwrap();
        let plan = trim::polygon(&plan::rectangle([0.0, 0.0], [700.0, 200.0], 60.0), 0.01);
        crate::deck::make_deck(&z, &closed_fit(&plan, 240).unwrap(), 12.0).unwrap().value
    }
    /// A truck: a plate from `x` on, 80 mm long, and wheels 190 mm apart, by points 3 mm apart.
    fn truck(x: f64) -> Vec<Point3<f64>> {
        let box_ = |lo: [f64; 2], hi: [f64; 2], z: f64| {
            let n = [0, 1].map(|k| ((hi[k] - lo[k]) / 3.0) as usize);
            (0..=n[0]).flat_map(move |i| {
                (0..=n[1]).map(move |j| Point3::new(lo[0] + 3.0 * i as f64, lo[1] + 3.0 * j as f64, z))
            })
        };
        box_([x, -28.0], [x + 80.0, 28.0], 9.0).chain(box_([x + 30.0, -95.0], [x + 45.0, 95.0], 50.0)).collect()
    }
    fn rim(x0: f64, x1: f64) -> Polygon {
        Polygon { points: vec![[x0, -86.0], [x1, -86.0], [x1, 86.0], [x0, 86.0]] }
    }
    /// A street board's box of 314 mm ran into trucks 250 mm apart without a word.
    #[test]
    fn an_enclosure_that_runs_into_scanned_trucks_is_told_and_the_room_between_is_given() {
        let d = deck(0.0);
        let points: Vec<_> = [truck(125.0), truck(-205.0), vec![Point3::new(0.0, 0.0, 30.0); 3]].concat();
        let k = keep_outs(&d, &points, &[]);
        assert_eq!(k.len(), 2, "{k:?}");
        assert!(k.iter().all(|k| k.kind == KeepOutKind::Standing && (k.height_mm.unwrap() - 50.0).abs() < 0.1));
        let free = longest_free(&d, &k, 14.0);
        assert!((free[0] + 120.0).abs() < 4.0 && (free[1] - 120.0).abs() < 4.0, "{free:?}");
        let w = room_warnings(&rooms(&k, &rim(-157.0, 157.0)), free);
        let all = &w[0].message;
        assert!(w.len() == 1 && all.contains("runs 30 mm into what stands on the deck towards the tail"), "{w:?}");
        assert!(all.contains("what stands on the deck towards the nose"), "{w:?}");
        assert!(w[0].hint.contains("enclosure.length = \"2"), "{w:?}");
        // right across both
        assert_eq!(room_warnings(&rooms(&k, &rim(-300.0, 300.0)), free)[0].message.matches("what stands").count(), 2);
        assert!(room_warnings(&rooms(&k, &rim(-115.0, 115.0)), free).is_empty());
        // holes in a photo where a truck stands already are told once
        let holes = [[165.0, 20.0], [165.0, -20.0], [111.0, 20.0], [111.0, -20.0]];
        assert_eq!(keep_outs(&d, &points, &holes).len(), 2);
        assert_eq!(keep_outs(&d, &[], &holes)[0].kind, KeepOutKind::Truck);
    }
    #[test]
    fn an_enclosure_moved_onto_the_kick_is_told() {
        let d = deck(15.0);
        let k = keep_outs(&d, &[], &[]);
        assert!(k.len() == 1 && k[0].kind == KeepOutKind::Kick && (k[0].x_mm[0] - 258.0).abs() < 12.0, "{k:?}");
        let free = longest_free(&d, &k, 14.0);
        let w = room_warnings(&rooms(&k, &rim(40.0, 290.0)), free);
        assert!(w.len() == 1 && w[0].message.contains("onto the kick at the nose"), "{w:?}");
        assert!(room_warnings(&rooms(&k, &rim(-100.0, 240.0)), free).is_empty());
        assert!(keep_outs(&deck(4.0), &[], &[]).is_empty());
    }
}
