//! The assembly's file: what there is of deck, mating face, enclosure, gasket and screws, each in its place.
use super::files::sound;
use super::{OutputFile, Product, write_step_assembly};
use crate::deck::Deck;
use crate::enclosure::Enclosure;
use crate::error::Result;
use crate::geom::{Brep, Placement};
use crate::mating::MatingFace;

/// Colours of the products, red, green and blue from 0 to 1: wood, a pale blue to look through to, plastic, foam, steel.
const WOOD: [f64; 3] = [0.8, 0.62, 0.4];
const FACE: [f64; 3] = [0.55, 0.7, 0.9];
const PLASTIC: [f64; 3] = [0.35, 0.4, 0.45];
const STRAP: [f64; 3] = [0.6, 0.45, 0.25];
const FOAM: [f64; 3] = [0.12, 0.12, 0.12];
const STEEL: [f64; 3] = [0.75, 0.76, 0.78];

/// `assembly.step`: everything in the deck frame, each shape a product with its name and colour; screws by their lengths.
/// The deck is drilled where bolts go through it (`drilled`).
///
/// # Errors
/// A shape that is not sound.
pub fn assembly_file(
    title: &str,
    deck: &Deck,
    drilled: Option<&Brep>,
    mating: &MatingFace,
    enclosure: Option<&Enclosure>,
) -> Result<OutputFile> {
    let wood = Brep { name: "deck".into(), ..drilled.unwrap_or(deck.solid()).clone() };
    let mut products = vec![Product::in_place(wood, WOOD), Product::in_place(mating.flange_face(), FACE)];
    if let Some(e) = enclosure {
        products.extend(e.gasket(deck).map(|g| Product::in_place(g, FOAM)));
        if e.print_parts.len() > 1 {
            products.extend(e.print_parts.iter().map(|p| {
                let colour = if p.name.starts_with("enclosure-strap") { STRAP } else { PLASTIC };
                Product::in_place(p.solid.clone(), colour)
            }));
        } else {
            products.push(Product::in_place(e.solid().clone(), PLASTIC));
        }
        products.extend(screws(deck, e));
    }
    products.iter().try_for_each(|p| sound(&p.shape))?;
    Ok(OutputFile::new("assembly.step", write_step_assembly(title, &products)))
}
/// A product for each length of screw, at its places.
fn screws(deck: &Deck, e: &Enclosure) -> Vec<Product> {
    let mut out: Vec<(f64, Product)> = Vec::new();
    for (i, s) in e.seated_screws(deck).into_iter().enumerate() {
        let place = (format!("screw {}", i + 1), Placement::along(s.seat_mm, s.axis));
        match out.iter_mut().find(|(length, _)| *length == s.length_mm) {
            Some((_, p)) => p.places.push(place),
            None => {
                let shape = e.screw_size.solid(s.length_mm);
                out.push((s.length_mm, Product { shape, colour: STEEL, places: vec![place] }));
            }
        }
    }
    out.into_iter().map(|o| o.1).collect()
}
