//! The assembly: named, coloured products at their places, in AP242 (ISO 10303-242).
use super::{Protocol, begin, body, finish, product, real, refs, text};
use super::{Shared, Writer};
use crate::geom::{Brep, Placement};
use crate::tolerance::EDGE_MM;

/// ISO 10303-242:2014, managed model-based 3D engineering, its first edition.
const AP242: Protocol = Protocol {
    context: "managed model based 3d engineering",
    definition: "ap242_managed_model_based_3d_engineering",
    year: 2014,
    schema: "AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }",
};

/// A shape of an assembly, once or several times. Its name is the shape's.
#[derive(Debug, Clone)]
pub struct Product {
    /// Its shape, mm, in its own frame.
    pub shape: Brep,
    /// Its colour: red, green and blue from 0 to 1.
    pub colour: [f64; 3],
    /// Where its frame lies in the assembly's, mm; the name of each place, such as 'screw 3'.
    pub places: Vec<(String, Placement)>,
}
impl Product {
    /// A shape that is drawn in the assembly's own frame.
    pub fn in_place(shape: Brep, colour: [f64; 3]) -> Self {
        Self { places: vec![(shape.name.clone(), HERE)], shape, colour }
    }
}
/// The assembly's own frame.
const HERE: Placement = Placement { origin: [0.0; 3], axis: [0.0, 0.0, 1.0], x: [1.0, 0.0, 0.0] };

/// The file of an assembly.
pub fn write_step_assembly(name: &str, products: &[Product]) -> Vec<u8> {
    let mut w = Writer { lines: Vec::new() };
    let name = &text(name);
    let shared = begin(&mut w, &AP242, EDGE_MM);
    let [whole, shape] = product(&mut w, &shared, name);
    let own = w.placement(&HERE);
    let places: Vec<usize> = products.iter().flat_map(|p| &p.places).map(|(_, at)| w.placement(at)).collect();
    let representation = w.add(format!("SHAPE_REPRESENTATION({name},(#{own},{}),#{})", refs(&places), shared.space));
    w.add(format!("SHAPE_DEFINITION_REPRESENTATION(#{shape},#{representation})"));
    let mut styled = Vec::new();
    let mut places = places.into_iter();
    let mut number = 0;
    for p in products {
        let part = part(&mut w, &shared, p, &mut styled);
        for ((called, _), to) in p.places.iter().zip(&mut places) {
            number += 1;
            let use_ = w.add(format!(
                "NEXT_ASSEMBLY_USAGE_OCCURRENCE('{number}',{},'',#{whole},#{},$)",
                text(called),
                part.definition
            ));
            let placed = w.add(format!("PRODUCT_DEFINITION_SHAPE('','',#{use_})"));
            let moved = w.add(format!("ITEM_DEFINED_TRANSFORMATION('','',#{},#{to})", part.frame));
            let relation = w.add(format!(
                "(REPRESENTATION_RELATIONSHIP('','',#{},#{representation})REPRESENTATION_RELATIONSHIP_WITH_TRANSFORMATION(#{moved})SHAPE_REPRESENTATION_RELATIONSHIP())",
                part.representation
            ));
            w.add(format!("CONTEXT_DEPENDENT_SHAPE_REPRESENTATION(#{relation},#{placed})"));
        }
    }
    w.add(format!("MECHANICAL_DESIGN_GEOMETRIC_PRESENTATION_REPRESENTATION('',({}),#{})", refs(&styled), shared.space));
    finish(&w, name, &AP242)
}

/// What an assembly names of a product: its definition, its representation, and the frame in it that is laid on its places.
struct Written {
    definition: usize,
    representation: usize,
    frame: usize,
}
/// The product itself, with its colour.
fn part(w: &mut Writer, shared: &Shared, p: &Product, styled: &mut Vec<usize>) -> Written {
    let name = &text(&p.shape.name);
    let [definition, shape] = product(w, shared, name);
    let frame = w.placement(&HERE);
    let (kind, item) = body(w, &p.shape.analytic(), shared.flat);
    let representation = w.add(format!("{kind}({name},(#{frame},#{item}),#{})", shared.space));
    w.add(format!("SHAPE_DEFINITION_REPRESENTATION(#{shape},#{representation})"));
    let [r, g, b] = p.colour.map(real);
    let colour = w.add(format!("COLOUR_RGB('',{r},{g},{b})"));
    let fill = w.add(format!("FILL_AREA_STYLE_COLOUR('',#{colour})"));
    let area = w.add(format!("FILL_AREA_STYLE('',(#{fill}))"));
    let filled = w.add(format!("SURFACE_STYLE_FILL_AREA(#{area})"));
    let side = w.add(format!("SURFACE_SIDE_STYLE('',(#{filled}))"));
    let used = w.add(format!("SURFACE_STYLE_USAGE(.BOTH.,#{side})"));
    let style = w.add(format!("PRESENTATION_STYLE_ASSIGNMENT((#{used}))"));
    styled.push(w.add(format!("STYLED_ITEM('colour',(#{style}),#{item})")));
    Written { definition, representation, frame }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{plan, trim};
    use crate::num::{Knots, TensorSpline};

    fn block(name: &str) -> Brep {
        let k = Knots::uniform(3, 1, -20.0, 20.0);
        let [top, low] = [0.0, -5.0].map(|z| TensorSpline::new(k.clone(), k.clone(), vec![z; 16]).unwrap());
        trim::slab(name, &top, &low, &plan::rectangle([0.0; 2], [20.0, 10.0], 0.0), ["top", "bottom", "side"])
    }
    /// Two products, one of them twice: each shape once, an occurrence and a place for each use, every reference resolved.
    #[test]
    fn products_are_written_once_and_used_at_their_places() {
        let at = |x: f64| Placement { origin: [x, 0.0, 0.0], ..HERE };
        let twice = Product {
            shape: block("pin"),
            colour: [1.0, 0.5, 0.0],
            places: vec![("pin 1".into(), at(3.0)), ("pin 2".into(), at(7.0))],
        };
        let products = [Product::in_place(block("deck"), [0.25; 3]), twice];
        let bytes = write_step_assembly("a board", &products);
        let s = String::from_utf8(bytes.clone()).unwrap();
        for (what, count) in [
            ("=PRODUCT(", 3),
            ("=MANIFOLD_SOLID_BREP(", 2),
            ("=NEXT_ASSEMBLY_USAGE_OCCURRENCE(", 3),
            ("=CONTEXT_DEPENDENT_SHAPE_REPRESENTATION(", 3),
            ("=STYLED_ITEM(", 2),
            ("COLOUR_RGB('',1.0,0.5,0.0)", 1),
            ("'pin 2'", 1),
            ("FILE_SCHEMA(('AP242_MANAGED_MODEL_BASED_3D_ENGINEERING_MIM_LF { 1 0 10303 442 1 1 4 }'))", 1),
            ("'ap242_managed_model_based_3d_engineering',2014,", 1),
            ("AUTOMOTIVE", 0),
        ] {
            assert_eq!(s.matches(what).count(), count, "{what}");
        }
        let entities = s.lines().filter(|l| l.starts_with('#')).count();
        for n in s.split('#').skip(1).map(|r| r.split(|c: char| !c.is_ascii_digit()).next().unwrap()) {
            assert!((1..=entities).contains(&n.parse::<usize>().unwrap()), "{n}");
        }
        assert_eq!(bytes, write_step_assembly("a board", &products));
    }
}
