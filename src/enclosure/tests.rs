//! Boards by formula and bodies on them.
mod details;
mod hardware;
mod judged;
mod manifold;
mod openings;
mod room;
mod shell;

use super::*;
use crate::geom::{closed_fit, plan};
use crate::mating::make_mating;
use crate::num::{Knots, TensorSpline, interpolate};
use nalgebra::DMatrix;

const LENGTH: f64 = 500.0;
const WIDTH: f64 = 220.0;
const FLOOR: Through = Through::Floor { seal: None };

/// A rectangular board of wide corners with its underside a cylinder about a line along x (concave, centre highest in z), or
/// flat for an infinite radius.
fn deck(radius: f64) -> Deck {
    let (x, y) = (Knots::uniform(3, 6, -270.0, 270.0), Knots::uniform(3, 30, -125.0, 125.0));
    let g = y.greville();
    let v = DMatrix::from_fn(g.len(), 1, |j, _| {
        if radius.is_finite() { (radius * radius - g[j] * g[j]).sqrt() - radius } else { 0.0 }
    });
    let c = interpolate(&y, &v).unwrap();
    let c = (0..x.len()).flat_map(|_| c.iter().copied()).collect();
    let z = TensorSpline::new(x, y, c).unwrap();
    let plan = trim::polygon(&plan::rectangle([0.0, 0.0], [LENGTH, WIDTH], 60.0), 0.01);
    crate::deck::make_deck(&z, &closed_fit(&plan, 240).unwrap(), 12.0).unwrap().value
}
fn rim() -> EnclosureSpec {
    EnclosureSpec {
        length_mm: 320.0,
        offset_mm: 10.0,
        inset_mm: 14.0,
        flange_mm: 18.0,
        corner_radius_mm: None,
        gasket_mm: 3.0,
        squeeze_ratio: 0.3,
        plan: crate::mating::PlanSpec::Rail,
    }
}
pub(super) fn body() -> BodySpec {
    BodySpec {
        depth: Depth::Clear(40.0),
        shell: ShellSpec {
            wall_mm: 3.5,
            draft: 0.0,
            floor_mm: 4.0,
            follow: false,
            flange_mm: 5.0,
            groove: None,
            floor_edge: None,
            flange_chamfer_mm: 0.0,
        },
        screws: ScrewSpec {
            size: ScrewSize::M4,
            fit: Fit::Medium,
            pitch_mm: 110.0,
            edge_mm: None,
            slip_mm: 0.0,
            insert_mm: Some(8.0),
            along: Along::Bench,
            boss: false,
        },
        strip_mm: 6.0,
        parts: Vec::new(),
        openings: Vec::new(),
        trucks: None,
        sag_mm: 0.0,
        printer: None,
    }
}
pub(super) fn made(radius: f64, spec: &BodySpec) -> Result<Warned<Enclosure>> {
    let d = deck(radius);
    let m = make_mating(&d, &rim()).unwrap().value;
    make_enclosure(&d, &m, &rim(), spec)
}
/// A deck and a body on it.
pub(super) fn made_on(radius: f64, spec: &BodySpec) -> (Deck, Enclosure) {
    (deck(radius), made(radius, spec).unwrap().value)
}
fn area(pieces: &[Curve<2>]) -> f64 {
    trim::polygon(pieces, 1e-3).signed_area()
}

/// A sound body and its volume, mm3.
fn sound(e: &Enclosure) -> f64 {
    assert_eq!(e.solid().faults(), Vec::<String>::new());
    assert!(e.mesh().open_edges().is_empty());
    e.volume_mm3()
}
fn opening(at: [f64; 2], shape: OpeningShape, through: Through) -> OpeningSpec {
    OpeningSpec { name: "port".into(), at, shape, through }
}
