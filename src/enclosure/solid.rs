//! The body as a closed solid: flange, groove, walls, floor, holes, bosses, openings.
use super::openings::{FloorHole, WallHole};
use super::screws::Screw;
use super::{Shell, fail};
use crate::error::Result;
use crate::geom::{Break, Brep, Layer, Ring, Wall, layered, plan};
use crate::num::Curve;

/// The closed solid.
///
/// # Errors
/// A hole through a wall that leaves one piece of it.
pub(super) fn make(shell: &Shell, screws: &[Screw], floor: &[FloorHole], walls: &[WallHole]) -> Result<Brep> {
    let mut layers = vec![
        Layer { name: "mating face", z: &shell.seat, up: false },
        Layer { name: "flange back", z: &shell.back, up: true },
        Layer { name: "floor inside", z: &shell.floor_in, up: false },
        Layer { name: "floor outside", z: &shell.floor_out, up: true },
    ];
    let mut sides = vec![side("rim".into(), (0, &shell.rim), (1, &shell.rim), true), wall_outside(shell, 1, 3)];
    // a groove parts the lands: the inner one is a face of its own
    let mut inner_land = 0;
    if let Some(g) = &shell.groove {
        inner_land = layers.len();
        layers.push(Layer { name: "inner land", z: &shell.seat, up: false });
        layers.push(Layer { name: "groove", z: &g.floor, up: false });
        let [outer, inner] = &g.borders;
        sides.push(side("groove outside".into(), (0, outer), (inner_land + 1, outer), false));
        sides.push(side("groove inside".into(), (inner_land, inner), (inner_land + 1, inner), true));
    }
    let z = shell.back.clone();
    let leaning = Break { name: "wall inside".into(), z, pieces: shell.wall_in[0].clone(), rounded: None };
    let inside = side("flange inside".into(), (inner_land, &shell.wall_in[0]), (2, &shell.wall_in[1]), false);
    sides.push(Wall { breaks: vec![leaning], ..inside });
    let upright = |s: &Screw| s.is_upright() || s.boss.is_some();
    for (i, s) in screws.iter().enumerate().filter(|(_, s)| upright(s)) {
        let foot = s.ring(shell.seat_mm(), 0.0);
        let mut back = 1;
        let mut to_mm = shell.back_mm();
        if let Some(b) = &s.boss {
            back = layers.len();
            to_mm = 0.0; // a boss stands on holes along z, which lie over each other
            layers.push(Layer { name: "boss", z: &b.face, up: true });
            sides.push(side(format!("boss {}", i + 1), (1, &b.border), (back, &b.border), true));
        }
        sides.push(side(format!("hole {}", i + 1), (0, &foot), (back, &s.ring(to_mm, 0.0)), false));
    }
    for (i, o) in floor.iter().enumerate() {
        let mut outside = 3;
        if let Some((border, face)) = &o.seal {
            outside = layers.len();
            layers.push(Layer { name: "seal face", z: face, up: true });
            sides.push(side(format!("seal {}", i + 1), (outside, border), (3, border), false));
        }
        sides.push(side(format!("opening {}", i + 1), (2, &o.hole), (outside, &o.hole), false));
    }
    let mut solid = layered("enclosure", &layers, &sides);
    // a leaning hole is bored along its axis: between loops of the two bent faces its walls would be no cylinder
    for (i, s) in screws.iter().enumerate().filter(|(_, s)| !upright(s)) {
        let drawing = plan::slot([0.0; 2], s.hole_mm / 2.0, s.slot_mm);
        solid.pierce(&format!("hole {}", i + 1), [1, 0], &s.sight(), &drawing, s.at_mm).ok_or_else(|| {
            fail(
                format!("the hole of screw {} does not go straight through the flange", i + 1),
                "take screws.along = \"bench\", or move the screws with screws.edge",
            )
        })?;
    }
    for w in walls {
        let face = |name: &str| {
            let name = format!("{name} {}", w.piece + 1);
            solid.faces.iter().position(|f| f.name == name)
        };
        let faces = face("wall outside").zip(face("wall inside"));
        let pierced = faces.and_then(|(a, b)| match &w.seal {
            None => solid.pierce("opening", [a, b], &w.sight, &w.drawing, w.from),
            Some(border) => solid.pierce_sunk([a, b], &w.sight, [border, &w.drawing], w.from),
        });
        if pierced.is_none() {
            return Err(fail(
                format!("the opening '{}' does not go straight through the wall, which bends there", w.name),
                "move it along the wall with opening.at, away from where the sides turn into the ends, make it or its opening.seal smaller, or make enclosure.corner_radius larger",
            ));
        }
    }
    Ok(solid)
}
fn side(name: String, foot: (usize, &[Curve<2>]), head: (usize, &[Curve<2>]), inside: bool) -> Wall {
    let [foot, head] = [foot, head].map(|(layer, p)| Ring { layer, pieces: p.to_vec() });
    Wall { name, foot, head, inside, breaks: Vec::new() }
}
/// The wall's outside between the layers of the flange's back and of the floor's outside, with its broken edges.
fn wall_outside(shell: &Shell, back: usize, floor: usize) -> Wall {
    let [mut foot, mut head] = [0, 1].map(|k| shell.wall_out[k].as_slice());
    let mut breaks = Vec::new();
    let mut name = "wall outside";
    if let Some(c) = &shell.flange_chamfer {
        (foot, name) = (&c.on_face, "flange chamfer");
        let (z, pieces) = (c.wall_z.clone(), c.on_wall.clone());
        breaks.push(Break { name: "wall outside".into(), z, pieces, rounded: None });
    }
    if let Some(e) = &shell.floor_edge {
        head = &e.on_face;
        let (z, pieces) = (e.wall_z.clone(), e.on_wall.clone());
        let rounded = e.spec.round.then(|| (shell.floor_out.clone(), shell.wall_out[1].clone()));
        breaks.push(Break { name: "floor edge".into(), z, pieces, rounded });
    }
    Wall { breaks, ..side(name.into(), (back, foot), (floor, head), true) }
}
