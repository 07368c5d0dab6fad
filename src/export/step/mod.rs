//! STEP: ISO 10303-21 text. Single shapes follow AP214 (automotive_design), which every CAD package reads; the assembly AP242.
mod assembly;
pub use assembly::{Product, write_step_assembly};

use super::NamedCurve;
use crate::geom::{Analytic, AnalyticEdge, Brep, CurveForm, Placement, Surface3, SurfaceForm, Trace};
use crate::num::{Curve, Knots};
use crate::tolerance::EDGE_MM;

/// Entities in the order they are numbered.
struct Writer {
    lines: Vec<String>,
}
impl Writer {
    fn add(&mut self, text: impl Into<String>) -> usize {
        self.lines.push(text.into());
        self.lines.len()
    }
    fn point(&mut self, p: &[f64]) -> usize {
        let c: Vec<String> = p.iter().map(|v| real(*v)).collect();
        self.add(format!("CARTESIAN_POINT('',({}))", c.join(",")))
    }
    fn direction(&mut self, d: &[f64]) -> usize {
        let c: Vec<String> = d.iter().map(|v| real(*v)).collect();
        self.add(format!("DIRECTION('',({}))", c.join(",")))
    }
    fn placement(&mut self, at: &Placement) -> usize {
        let (o, z, x) = (self.point(&at.origin), self.direction(&at.axis), self.direction(&at.x));
        self.add(format!("AXIS2_PLACEMENT_3D('',#{o},#{z},#{x})"))
    }
    /// A line through `from`, which goes `way` while its parameter goes 1.
    fn line(&mut self, name: &str, from: &[f64], way: &[f64]) -> usize {
        let length = way.iter().map(|c| c * c).sum::<f64>().sqrt();
        let unit: Vec<f64> = way.iter().map(|c| c / length).collect();
        let (p, d) = (self.point(from), self.direction(&unit));
        let v = self.add(format!("VECTOR('',#{d},{})", real(length)));
        self.add(format!("LINE({},#{p},#{v})", text(name)))
    }
    fn edge(&mut self, name: &str, shape: &Analytic, edge: &AnalyticEdge) -> usize {
        match &edge.form {
            CurveForm::Line => {
                let (a, b, length) = (shape.vertices[edge.start], shape.vertices[edge.end], shape.length(edge));
                self.line(name, &a, &[0, 1, 2].map(|k| (b[k] - a[k]) / length))
            }
            CurveForm::Circle { at, radius, .. } => {
                let at = self.placement(at);
                self.add(format!("CIRCLE({},#{at},{})", text(name), real(*radius)))
            }
            CurveForm::Spline(c) => self.curve(name, c),
        }
    }
    fn face(&mut self, name: &str, form: &SurfaceForm) -> usize {
        match form {
            SurfaceForm::Plane(at) => {
                let at = self.placement(at);
                self.add(format!("PLANE({},#{at})", text(name)))
            }
            SurfaceForm::Cylinder(at, radius) => {
                let at = self.placement(at);
                self.add(format!("CYLINDRICAL_SURFACE({},#{at},{})", text(name), real(*radius)))
            }
            SurfaceForm::Spline(s) => self.surface(name, s),
        }
    }
    fn curve<const D: usize>(&mut self, name: &str, c: &Curve<D>) -> usize {
        let points: Vec<usize> = c.points.iter().map(|p| self.point(p)).collect();
        let (m, k) = multiplicities(&c.knots);
        self.add(format!(
            "B_SPLINE_CURVE_WITH_KNOTS({},{},({}),.UNSPECIFIED.,.F.,.F.,({m}),({k}),.UNSPECIFIED.)",
            text(name),
            c.knots.degree(),
            refs(&points)
        ))
    }
    fn surface(&mut self, name: &str, s: &Surface3) -> usize {
        let rows: Vec<String> = s
            .points
            .chunks(s.v.len())
            .map(|row| {
                let ids: Vec<usize> = row.iter().map(|p| self.point(p)).collect();
                format!("({})", refs(&ids))
            })
            .collect();
        let ((mu, ku), (mv, kv)) = (multiplicities(&s.u), multiplicities(&s.v));
        self.add(format!(
            "B_SPLINE_SURFACE_WITH_KNOTS({},{},{},({}),.UNSPECIFIED.,.F.,.F.,.F.,({mu}),({mv}),({ku}),({kv}),.UNSPECIFIED.)",
            text(name),
            s.u.degree(),
            s.v.degree(),
            rows.join(",")
        ))
    }
}
fn refs(ids: &[usize]) -> String {
    ids.iter().map(|i| format!("#{i}")).collect::<Vec<_>>().join(",")
}
/// A real with a decimal point and every digit it needs to come back the same.
fn real(v: f64) -> String {
    let s = format!("{v:?}");
    match s.split_once('e') {
        Some((m, e)) => format!("{}E{e}", if m.contains('.') { m.to_owned() } else { format!("{m}.") }),
        None => s,
    }
}
/// A string of the exchange structure: printable ASCII, quotes doubled, other characters by code.
fn text(s: &str) -> String {
    let mut o = String::from("'");
    for c in s.chars() {
        match c {
            '\'' => o.push_str("''"),
            '\\' => o.push_str("\\\\"),
            ' '..='~' => o.push(c),
            _ => o.push_str(&format!("\\X4\\{:08X}\\X0\\", c as u32)),
        }
    }
    o.push('\'');
    o
}
fn multiplicities(k: &Knots) -> (String, String) {
    let (mut m, mut v) = (Vec::new(), Vec::new());
    for run in k.as_slice().chunk_by(|a, b| a == b) {
        m.push(run.len().to_string());
        v.push(real(run[0]));
    }
    (m.join(","), v.join(","))
}
fn flag(b: bool) -> &'static str {
    if b { ".T." } else { ".F." }
}

/// The application protocol that a file follows, as its own text names it.
struct Protocol {
    context: &'static str,
    definition: &'static str,
    year: u16,
    schema: &'static str,
}
/// ISO 10303-214: automotive design.
const AP214: Protocol = Protocol {
    context: "core data for automotive mechanical design processes",
    definition: "automotive_design",
    year: 2000,
    schema: "AUTOMOTIVE_DESIGN { 1 0 10303 214 1 1 1 1 }",
};

/// What all products of a file share: contexts of products and their definitions, of space and of the surfaces' parameters.
struct Shared {
    products: usize,
    definitions: usize,
    space: usize,
    flat: usize,
}
/// The entities that every file begins with: the protocol, units in mm, the uncertainty in mm.
fn begin(w: &mut Writer, protocol: &Protocol, uncertainty_mm: f64) -> Shared {
    let app = w.add(format!("APPLICATION_CONTEXT('{}')", protocol.context));
    w.add(format!(
        "APPLICATION_PROTOCOL_DEFINITION('international standard','{}',{},#{app})",
        protocol.definition, protocol.year
    ));
    let products = w.add(format!("PRODUCT_CONTEXT('',#{app},'mechanical')"));
    let definitions = w.add(format!("PRODUCT_DEFINITION_CONTEXT('part definition',#{app},'design')"));
    let mm = w.add("(LENGTH_UNIT()NAMED_UNIT(*)SI_UNIT(.MILLI.,.METRE.))");
    let rad = w.add("(NAMED_UNIT(*)PLANE_ANGLE_UNIT()SI_UNIT($,.RADIAN.))");
    let sr = w.add("(NAMED_UNIT(*)SI_UNIT($,.STERADIAN.)SOLID_ANGLE_UNIT())");
    let uncertainty = w.add(format!(
        "UNCERTAINTY_MEASURE_WITH_UNIT(LENGTH_MEASURE({}),#{mm},'distance_accuracy_value','edge to face')",
        real(uncertainty_mm)
    ));
    let space = w.add(format!("(GEOMETRIC_REPRESENTATION_CONTEXT(3)GLOBAL_UNCERTAINTY_ASSIGNED_CONTEXT((#{uncertainty}))GLOBAL_UNIT_ASSIGNED_CONTEXT((#{mm},#{rad},#{sr}))REPRESENTATION_CONTEXT('',''))"));
    let flat =
        w.add("(GEOMETRIC_REPRESENTATION_CONTEXT(2)PARAMETRIC_REPRESENTATION_CONTEXT()REPRESENTATION_CONTEXT('',''))");
    Shared { products, definitions, space, flat }
}
/// A product called `name` (as text): its definition and its shape.
fn product(w: &mut Writer, shared: &Shared, name: &str) -> [usize; 2] {
    let product = w.add(format!("PRODUCT({name},{name},'',(#{}))", shared.products));
    w.add(format!("PRODUCT_RELATED_PRODUCT_CATEGORY('part','',(#{product}))"));
    let formation = w.add(format!("PRODUCT_DEFINITION_FORMATION('','',#{product})"));
    let definition = w.add(format!("PRODUCT_DEFINITION('design','',#{formation},#{})", shared.definitions));
    [definition, w.add(format!("PRODUCT_DEFINITION_SHAPE('','',#{definition})"))]
}
/// The whole file round the entities. The same input gives the same bytes: the time stamp is fixed.
fn finish(w: &Writer, name: &str, protocol: &Protocol) -> Vec<u8> {
    let mut out = format!(
        "ISO-10303-21;\nHEADER;\nFILE_DESCRIPTION(('lengths in mm'),'2;1');\nFILE_NAME({name},'1970-01-01T00:00:00',(''),(''),'faydeck','faydeck','');\nFILE_SCHEMA(('{}'));\nENDSEC;\nDATA;\n",
        protocol.schema
    );
    for (i, l) in w.lines.iter().enumerate() {
        out.push_str(&format!("#{}={l};\n", i + 1));
    }
    out.push_str("ENDSEC;\nEND-ISO-10303-21;\n");
    out.into_bytes()
}

/// The file of one shell or solid.
pub fn write_step(brep: &Brep) -> Vec<u8> {
    let mut w = Writer { lines: Vec::new() };
    let name = &text(&brep.name);
    let shared = begin(&mut w, &AP214, EDGE_MM);
    let [_, shape] = product(&mut w, &shared, name);
    let (kind, item) = body(&mut w, &brep.analytic(), shared.flat);
    let representation = w.add(format!("{kind}({name},(#{item}),#{})", shared.space));
    w.add(format!("SHAPE_DEFINITION_REPRESENTATION(#{shape},#{representation})"));
    finish(&w, name, &AP214)
}

/// The entities of one shell or solid: the kind of representation it asks for, and its item. `flat` is the context of parameters.
fn body(w: &mut Writer, shape: &Analytic, flat: usize) -> (&'static str, usize) {
    let name = &text(&shape.name);
    let vertices: Vec<usize> = shape
        .vertices
        .iter()
        .map(|v| {
            let p = w.point(v);
            w.add(format!("VERTEX_POINT('',#{p})"))
        })
        .collect();
    let surfaces: Vec<usize> = shape.faces.iter().map(|f| w.face(&f.name, &f.form)).collect();
    let mut uses = vec![Vec::new(); shape.edges.len()];
    for (f, face) in shape.faces.iter().enumerate() {
        for u in face.loops.iter().flatten() {
            uses[u.edge].push((f, &u.trace));
        }
    }
    let mut edges = Vec::with_capacity(shape.edges.len());
    for (edge, uses) in shape.edges.iter().zip(uses) {
        // an edge is named after the faces that meet there
        let meets: Vec<&str> = uses.iter().map(|u| shape.faces[u.0].name.as_str()).collect();
        let edge_name = meets.join(" / ");
        let mut curve = w.edge(&edge_name, shape, edge);
        let mut pcurves = Vec::new();
        for (f, trace) in &uses {
            let c = match trace {
                // the edge's own curve says all on a plane
                None => continue,
                Some(Trace::Line(from, way)) => w.line(&edge_name, from, way),
                Some(Trace::Spline(c)) => w.curve(&edge_name, c),
            };
            let d = w.add(format!("DEFINITIONAL_REPRESENTATION('',(#{c}),#{flat})"));
            pcurves.push(w.add(format!("PCURVE('',#{},#{d})", surfaces[*f])));
        }
        if !pcurves.is_empty() {
            curve = w.add(format!("SURFACE_CURVE('',#{curve},({}),.CURVE_3D.)", refs(&pcurves)));
        }
        edges.push(w.add(format!(
            "EDGE_CURVE({},#{},#{},#{curve},.T.)",
            text(&edge_name),
            vertices[edge.start],
            vertices[edge.end]
        )));
    }
    let mut faces = Vec::new();
    for (f, face) in shape.faces.iter().enumerate() {
        let bounds: Vec<usize> = face
            .loops
            .iter()
            .enumerate()
            .map(|(i, l)| {
                let uses: Vec<usize> = l
                    .iter()
                    .map(|u| w.add(format!("ORIENTED_EDGE('',*,*,#{},{})", edges[u.edge], flag(u.forward))))
                    .collect();
                let l = w.add(format!("EDGE_LOOP('',({}))", refs(&uses)));
                w.add(format!("{}('',#{l},.T.)", if i == 0 { "FACE_OUTER_BOUND" } else { "FACE_BOUND" }))
            })
            .collect();
        faces.push(w.add(format!(
            "ADVANCED_FACE({},({}),#{},{})",
            text(&face.name),
            refs(&bounds),
            surfaces[f],
            flag(face.same_sense)
        )));
    }
    if shape.closed {
        let shell = w.add(format!("CLOSED_SHELL({name},({}))", refs(&faces)));
        ("ADVANCED_BREP_SHAPE_REPRESENTATION", w.add(format!("MANIFOLD_SOLID_BREP({name},#{shell})")))
    } else {
        let shell = w.add(format!("OPEN_SHELL({name},({}))", refs(&faces)));
        ("MANIFOLD_SURFACE_SHAPE_REPRESENTATION", w.add(format!("SHELL_BASED_SURFACE_MODEL({name},(#{shell}))")))
    }
}

/// The file of curves alone: a geometrically bounded wireframe (ISO 10303-214), each curve under its name.
pub fn write_step_curves(name: &str, curves: &[NamedCurve]) -> Vec<u8> {
    let mut w = Writer { lines: Vec::new() };
    let name = &text(name);
    let shared = begin(&mut w, &AP214, EDGE_MM);
    let [_, shape] = product(&mut w, &shared, name);
    let ids: Vec<usize> = curves.iter().map(|c| w.curve(&c.name, &c.curve)).collect();
    let set = w.add(format!("GEOMETRIC_CURVE_SET({name},({}))", refs(&ids)));
    let kind = "GEOMETRICALLY_BOUNDED_WIREFRAME_SHAPE_REPRESENTATION";
    let representation = w.add(format!("{kind}({name},(#{set}),#{})", shared.space));
    w.add(format!("SHAPE_DEFINITION_REPRESENTATION(#{shape},#{representation})"));
    finish(&w, name, &AP214)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::geom::{plan, trim};
    use crate::num::TensorSpline;

    fn flat() -> (TensorSpline, TensorSpline, Vec<Curve<2>>) {
        let k = Knots::uniform(3, 1, -20.0, 20.0);
        let top = TensorSpline::new(k.clone(), k.clone(), vec![0.0; 16]).unwrap();
        let low = TensorSpline::new(k.clone(), k, vec![-5.0; 16]).unwrap();
        let corners = [[-10.0, -10.0], [10.0, -10.0], [10.0, 10.0], [-10.0, 10.0]];
        let square = (0..4).map(|i| Curve::line(corners[i], corners[(i + 1) % 4])).collect();
        (top, low, square)
    }
    #[test]
    fn exact_text_of_entities() {
        let mut w = Writer { lines: Vec::new() };
        w.curve("", &Curve::line([0.0, 0.5], [1.0, -2.0]));
        assert_eq!(
            w.lines,
            [
                "CARTESIAN_POINT('',(0.0,0.5))",
                "CARTESIAN_POINT('',(1.0,-2.0))",
                "B_SPLINE_CURVE_WITH_KNOTS('',1,(#1,#2),.UNSPECIFIED.,.F.,.F.,(2,2),(0.0,1.0),.UNSPECIFIED.)"
            ]
        );
        let mut w = Writer { lines: Vec::new() };
        let corner = |x, y| Curve::line([x, y, 0.0], [x, y + 1.0, 2.0]);
        w.surface("underside", &Surface3::ruled(&corner(0.0, 0.0), &corner(3.0, 0.0)));
        assert_eq!(
            w.lines[4],
            "B_SPLINE_SURFACE_WITH_KNOTS('underside',1,1,((#1,#2),(#3,#4)),.UNSPECIFIED.,.F.,.F.,.F.,(2,2),(2,2),(0.0,1.0),(0.0,1.0),.UNSPECIFIED.)"
        );
        assert_eq!(w.lines[3], "CARTESIAN_POINT('',(3.0,1.0,2.0))");
        let at = Placement { origin: [1.0, 2.0, 3.0], axis: [0.0, 0.0, 1.0], x: [1.0, 0.0, 0.0] };
        let mut w = Writer { lines: Vec::new() };
        w.face("floor", &SurfaceForm::Plane(at));
        w.face("hole 1 1", &SurfaceForm::Cylinder(at, 2.25));
        w.line("", &[0.0, 0.5], &[0.0, -1.0]);
        assert_eq!(
            w.lines,
            [
                "CARTESIAN_POINT('',(1.0,2.0,3.0))",
                "DIRECTION('',(0.0,0.0,1.0))",
                "DIRECTION('',(1.0,0.0,0.0))",
                "AXIS2_PLACEMENT_3D('',#1,#2,#3)",
                "PLANE('floor',#4)",
                "CARTESIAN_POINT('',(1.0,2.0,3.0))",
                "DIRECTION('',(0.0,0.0,1.0))",
                "DIRECTION('',(1.0,0.0,0.0))",
                "AXIS2_PLACEMENT_3D('',#6,#7,#8)",
                "CYLINDRICAL_SURFACE('hole 1 1',#9,2.25)",
                "CARTESIAN_POINT('',(0.0,0.5))",
                "DIRECTION('',(0.0,-1.0))",
                "VECTOR('',#12,1.0)",
                "LINE('',#11,#13)"
            ]
        );
        assert_eq!(real(1e-20), "1.E-20");
        assert_eq!(text("it's ü"), "'it''s \\X4\\000000FC\\X0\\'");
    }
    /// ISO 10303-42, b_spline_surface_with_knots: sum of multiplicities = degree + upper index + 2.
    #[test]
    fn multiplicity_rule() {
        let k = Knots::uniform(3, 9, 0.0, 1.0);
        let (m, _) = multiplicities(&k);
        let sum: usize = m.split(',').map(|v| v.parse::<usize>().unwrap()).sum();
        assert_eq!(sum, 3 + (k.len() - 1) + 2);
    }
    #[test]
    fn a_box_is_sound_and_repeats_byte_for_byte() {
        let (top, low, square) = flat();
        let b = trim::slab("box", &top, &low, &square, ["underside", "top", "rail"]);
        assert_eq!(b.faults(), Vec::<String>::new());
        let s = String::from_utf8(write_step(&b)).unwrap();
        assert_eq!(s.matches("ADVANCED_FACE(").count(), 6);
        assert_eq!(s.matches("=EDGE_CURVE(").count(), 12);
        // a box is six planes and twelve lines, which need no curves in the faces' parameters
        for (what, count) in [("=PLANE(", 6), ("=LINE(", 12), ("=PCURVE(", 0), ("B_SPLINE", 0)] {
            assert_eq!(s.matches(what).count(), count, "{what}");
        }
        assert!(s.contains("ADVANCED_FACE('underside',"));
        assert_eq!(write_step(&b), s.into_bytes());
    }
    #[test]
    fn faults_are_found() {
        let (top, low, square) = flat();
        let good = trim::slab("box", &top, &low, &square, ["underside", "top", "rail"]);
        let mut flipped = good.clone();
        flipped.faces[0].loops[0][1].forward = false;
        let mut dropped = good.clone();
        dropped.faces.pop();
        let mut shifted = good.clone();
        for p in &mut shifted.edges[0].curve.points {
            p[2] += 1.0;
        }
        let mut unknown = good.clone();
        unknown.edges[0].curve.points[0][1] = f64::NAN;
        let mut sense = good;
        sense.faces[1].same_sense = true;
        for (b, word) in [
            (flipped, "not connected"),
            (dropped, "is used 1 times"),
            (shifted, "off face"),
            (unknown, "NaN mm"),
            (sense, "wrong way round"),
        ] {
            let faults = b.faults();
            assert!(faults.iter().any(|f| f.contains(word)), "{word}: {faults:?}");
        }
    }
    /// A rod: two planes, two halves of a cylinder, four arcs and two lines, with the arcs on the cylinder as straight lines.
    #[test]
    fn a_rod_is_a_cylinder_between_planes() {
        let (top, low, _) = flat();
        let b = trim::slab("rod", &top, &low, &plan::circle([0.0, 0.0], 6.0), ["top", "end", "side"]);
        let s = String::from_utf8(write_step(&b)).unwrap();
        let counts =
            [("=PLANE(", 2), ("=CYLINDRICAL_SURFACE(", 2), ("=CIRCLE(", 4), ("=PCURVE(", 4 + 4), ("B_SPLINE", 0)];
        for (what, count) in counts {
            assert_eq!(s.matches(what).count(), count, "{what}");
        }
        assert_eq!(s.matches(",6.0);").count(), 2 + 4, "every radius is the rod's");
    }
    /// One control point among hundreds, 0.03 mm off: it shows in four short spans only.
    #[test]
    fn a_small_bump_on_a_long_edge_is_found() {
        let (top, low, square) = flat();
        let fine = |c: &Curve<2>| {
            let k = Knots::uniform(3, 300, 0.0, 1.0);
            let points = k.greville().iter().map(|u| c.at(*u)).collect();
            Curve::new(k, points).unwrap()
        };
        let square: Vec<_> = square.iter().map(fine).collect();
        let mut b = trim::slab("box", &top, &low, &square, ["underside", "top", "rail"]);
        assert_eq!(b.faults(), Vec::<String>::new());
        b.edges[0].curve.points[151][2] += 0.03;
        assert!(!b.faults().is_empty());
    }
}
