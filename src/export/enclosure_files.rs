//! The enclosure's files: solid and mesh, drill list.
use super::files::step;
use super::room_drawing::room_svg;
use super::{OutputFile, write_3mf, write_stl};
use crate::deck::Deck;
use crate::enclosure::{Enclosure, Screw};
use crate::error::Result;
use crate::geom::Brep;
use crate::num::each;
use std::fmt::Write;

/// The files of an enclosure, meshes with chords within `chord_mm`; `drilled` is the deck with the screws' holes, where bolts go through it.
///
/// # Errors
/// A shape that is not sound.
pub fn enclosure_files(
    title: &str,
    deck: &Deck,
    drilled: Option<&Brep>,
    e: &Enclosure,
    chord_mm: f64,
) -> Result<Vec<OutputFile>> {
    let mesh = &e.mesh_within(chord_mm)?;
    let mut files = vec![
        OutputFile::new("enclosure.step", step(e.solid())?),
        OutputFile::new("enclosure.stl", write_stl(mesh)),
        OutputFile::new("enclosure.3mf", write_3mf(mesh)?),
        OutputFile::new("drill.csv", drill_csv(&e.screws, e.insert_mm)),
        OutputFile::new("room.svg", room_svg(title, deck, e)),
    ];
    if let Some(drilled) = drilled {
        files.push(OutputFile::new("deck-drilled.step", step(drilled)?));
    }
    let parts = each(e.print_parts.len(), |i| -> Result<[OutputFile; 3]> {
        let p = &e.print_parts[i];
        let mesh = p.mesh_within(chord_mm)?;
        Ok([
            OutputFile::new(&format!("{}.step", p.name), step(&p.solid)?),
            OutputFile::new(&format!("{}.stl", p.name), write_stl(&mesh)),
            OutputFile::new(&format!("{}.3mf", p.name), write_3mf(&mesh)?),
        ])
    });
    for part in parts {
        files.extend(part?);
    }
    Ok(files)
}

/// The drill list: one row per screw, mm and degrees, deck frame; the length of the insert in the deck is empty for bolts through it.
pub fn drill_csv(screws: &[Screw], insert_mm: Option<f64>) -> Vec<u8> {
    let insert = insert_mm.map_or(String::new(), |mm| format!("{mm:.2}"));
    let mut o = String::from(
        "screw,x_mm,y_mm,deck_z_mm,tilt_deg,flange_hole_mm,slot_mm,corner,axis_x,axis_y,axis_z,deck_insert_mm\n",
    );
    for (i, s) in screws.iter().enumerate() {
        let _ = writeln!(
            o,
            "{},{:.3},{:.3},{:.3},{:.2},{:.2},{:.2},{},{:.6},{:.6},{:.6},{insert}",
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
            String::from_utf8(drill_csv(&[s], Some(8.0))).unwrap(),
            "screw,x_mm,y_mm,deck_z_mm,tilt_deg,flange_hole_mm,slot_mm,corner,axis_x,axis_y,axis_z,deck_insert_mm\n1,150.250,-70.000,-3.500,8.12,4.50,1.50,yes,0.000000,0.600000,0.800000,8.00\n"
        );
    }
}
