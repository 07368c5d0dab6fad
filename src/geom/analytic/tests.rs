use super::*;
use crate::geom::{Layer, Ring, Sight, Wall, layered, plan, trim};
use crate::num::{Knots, TensorSpline};
use std::f64::consts::PI;

fn flat(z: f64) -> TensorSpline {
    let k = Knots::uniform(3, 3, -60.0, 60.0);
    TensorSpline::new(k.clone(), k, vec![z; 36]).unwrap()
}
/// How many faces are planes, cylinders, splines.
fn faces(a: &Analytic) -> [usize; 3] {
    let count = |is: fn(&SurfaceForm) -> bool| a.faces.iter().filter(|f| is(&f.form)).count();
    [
        count(|f| matches!(f, SurfaceForm::Plane(_))),
        count(|f| matches!(f, SurfaceForm::Cylinder(..))),
        count(SurfaceForm::is_spline),
    ]
}
/// How many edges are lines, circles, splines.
fn edges(a: &Analytic) -> [usize; 3] {
    let count = |is: fn(&CurveForm) -> bool| a.edges.iter().filter(|e| is(&e.form)).count();
    [
        count(|f| matches!(f, CurveForm::Line)),
        count(|f| matches!(f, CurveForm::Circle { .. })),
        count(|f| matches!(f, CurveForm::Spline(_))),
    ]
}
fn block(hole: [Vec<Curve<2>>; 2], top: &TensorSpline) -> Brep {
    let low = flat(0.0);
    let layers = [Layer { name: "low", z: &low, up: false }, Layer { name: "high", z: top, up: true }];
    let wall = |name: &str, [a, b]: [Vec<Curve<2>>; 2], inside| Wall {
        name: name.into(),
        foot: Ring { layer: 0, pieces: a },
        head: Ring { layer: 1, pieces: b },
        inside,
        breaks: vec![],
    };
    let side = plan::rectangle([0.0, 0.0], [80.0, 60.0], 10.0);
    layered("block", &layers, &[wall("side", [side.clone(), side], true), wall("hole", hole, false)])
}
/// A block with rounded corners and a round hole: two faces and four sides are planes, four corners and both halves of the hole
/// cylinders with the radius, place and side of the material that were made.
#[test]
fn a_block_with_a_hole_is_planes_and_cylinders() {
    let ring = plan::circle([5.0, 3.0], 12.0);
    let made = block([ring.clone(), ring], &flat(9.0));
    let a = made.analytic();
    assert_eq!(a.faults(), Vec::<String>::new());
    assert_eq!((faces(&a), edges(&a)), ([6, 6, 0], [4 * 2 + 8 + 2, 4 * 2 + 4, 0]));
    for f in &a.faces {
        match &f.form {
            SurfaceForm::Cylinder(at, radius) => {
                let hole = f.name.starts_with("hole");
                assert_eq!((*radius, f.same_sense, at.axis), (if hole { 12.0 } else { 10.0 }, !hole, [0.0, 0.0, 1.0]));
                let off = if hole {
                    (at.origin[0] - 5.0).hypot(at.origin[1] - 3.0)
                } else {
                    (at.origin[0].abs() - 30.0).hypot(at.origin[1].abs() - 20.0)
                };
                // an arc's spline is up to 0.00012 mm off its 10 mm, inwards
                assert!(off < 5e-4, "{off}");
            }
            SurfaceForm::Plane(at) => {
                // out of the material: from the block's middle
                let out: f64 = (0..3).map(|k| (at.origin[k] - [0.0, 0.0, 4.5][k]) * at.axis[k]).sum();
                assert!(f.same_sense && out > 0.0, "{}", f.name);
            }
            SurfaceForm::Spline(_) => unreachable!(),
        }
    }
    let arcs = a.edges.iter().filter_map(|e| match &e.form {
        CurveForm::Circle { radius, sweep, .. } => Some((*radius, *sweep)),
        _ => None,
    });
    for (radius, sweep) in arcs {
        let want = if radius == 12.0 { PI } else { PI / 2.0 };
        assert!((sweep - want).abs() < 1e-4, "{radius} {sweep}");
    }
    // both halves of the hole are one cylinder
    let halves: Vec<_> = (a.faces.iter().filter(|f| f.name.starts_with("hole")))
        .map(|f| match &f.form {
            SurfaceForm::Cylinder(at, _) => at.origin,
            _ => unreachable!(),
        })
        .collect();
    assert_eq!(halves[0], halves[1]);
}
/// Under a bent top the walls stay planes and cylinders, and only what is bent stays a spline: the top and its border.
#[test]
fn under_a_bent_top_walls_stay_what_they_are() {
    let k = Knots::uniform(3, 2, -60.0, 60.0);
    let top = TensorSpline::new(k.clone(), k, (0..25).map(|i| 9.0 + f64::from(i * i % 7)).collect()).unwrap();
    let ring = plan::circle([5.0, 3.0], 12.0);
    let a = block([ring.clone(), ring], &top).analytic();
    assert_eq!(a.faults(), Vec::<String>::new());
    assert_eq!((faces(&a), edges(&a)), ([5, 6, 1], [4 + 8 + 2, 4 + 2, 8 + 2]));
}
/// A conical hole is no cylinder, nor is one a few hundredths of a mm wider at one end; an oval is none either.
#[test]
fn what_is_no_cylinder_stays_a_spline() {
    let oval = || {
        let mut c = plan::circle([5.0, 3.0], 12.0);
        c.iter_mut().flat_map(|c| &mut c.points).for_each(|p| p[0] *= 1.005);
        c
    };
    for hole in [[12.0, 8.0], [12.0, 12.03]]
        .map(|r| r.map(|r| plan::circle([5.0, 3.0], r)))
        .into_iter()
        .chain([[oval(), oval()]])
    {
        let a = block(hole, &flat(9.0)).analytic();
        assert_eq!(a.faults(), Vec::<String>::new());
        assert_eq!(faces(&a), [6, 4, 2]);
    }
}
/// A hole bored along a line of sight that leans by 20 degrees: a cylinder along that line, its borders ovals on flat faces.
#[test]
fn a_leaning_hole_has_its_axis() {
    let (top, low) = (flat(4.0), flat(-6.0));
    let plan = plan::rectangle([0.0, 0.0], [60.0, 60.0], 0.0);
    let mut b = trim::slab("plate", &top, &low, &plan, ["top", "bottom", "side"]);
    let (s, c) = 20.0_f64.to_radians().sin_cos();
    let sight = Sight { origin: [2.0, 1.0, 4.0], right: [c, 0.0, -s], up: [0.0, 1.0, 0.0] };
    b.pierce("hole", [0, 1], &sight, &plan::circle([0.0, 0.0], 2.75), [2.0, 1.0]).unwrap();
    let a = b.analytic();
    assert_eq!(a.faults(), Vec::<String>::new());
    assert_eq!((faces(&a), edges(&a)), ([6, 2, 0], [12 + 2, 0, 4]));
    for f in a.faces.iter().filter(|f| f.name == "hole") {
        let SurfaceForm::Cylinder(at, radius) = &f.form else { panic!("{f:?}") };
        assert!(*radius == 2.75 && !f.same_sense, "{radius}");
        assert!(apart(&at.axis, &[s, 0.0, c]) < 1e-5, "{:?}", at.axis);
        let [_, _, off] = at.polar([2.0, 1.0, 4.0]);
        assert!(off < 1e-4, "{off}");
    }
}
/// An edge that is moved off its circle is told.
#[test]
fn faults_are_found() {
    let ring = plan::circle([5.0, 3.0], 12.0);
    let good = block([ring.clone(), ring], &flat(9.0)).analytic();
    let mut moved = good.clone();
    for e in &mut moved.edges {
        if let CurveForm::Circle { radius, .. } = &mut e.form {
            *radius += 0.02;
        }
    }
    assert!(moved.faults().iter().any(|f| f.contains("off face 'hole")), "{:?}", moved.faults());
    let mut lifted = good;
    lifted.vertices[0][2] += 0.02;
    assert!(!lifted.faults().is_empty());
}
