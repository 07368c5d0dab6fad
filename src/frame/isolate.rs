//! From a raw cloud to a clean sheet in a true-size frame.
use super::body;
use super::explain::{self, Choice, Seen};
use super::fill;
use super::guide::{SLAB, core, guide_surface, inner};
use super::kinds::{Occupancy, PICTURE_POINTS, dense, sort_points};
use super::local::locals;
use super::order::Ordered;
use super::own_axes::{enough, own_axes};
use super::patch::Patch;
use super::rim::{Near, middle_line, rim};
use super::trucks::truck_span;
use super::{
    FrameOptions, FrameReport, Framed, MOST_DISPLACEMENT_MM, RimSize, SCAN_ALONE, Scale, SortedPoints, Tape, TruckSpan,
    fail, solve_scale,
};
use crate::error::{PointRole, Refusal, Result, Stage, Warned, Warning};
use crate::geom::{Polygon, Similarity, outward_normals};
use crate::scan::RawCloud;
use nalgebra::{Matrix3, Point3, Vector3};

/// How far below the surface the rail wall is looked for, as a share of the deck's thickness: below hang other things, and the fillet of
/// a fused mesh runs out into the floor.
const WALL: f64 = 0.55;
/// Where a wall is read that leans, as a share of the thickness: below a rail's rounding, above half of a fillet.
const READ_AT: f64 = 0.33;
/// How far a mesh fused from depth has its rim inside the rail in the mean, in cells: the field of distances is smeared over the edge by
/// the sensor, and its zero lies inside. Fourteen boards fused by a general library lost 0 to 0.6, an outside practice board 0.2 to 0.4.
const FUSED_LOSS: f64 = 0.3;
/// By how much dense stereo makes a board wider to either side, mm as a standard deviation: half a millimetre to three in about half of the
/// clouds (photogrammetry of boards on a floor; common practice, no source).
const FATTENED_MM: f64 = 1.3;
/// Points kept for the surface fit; more add nothing to cells of a few mm.
const MOST_POINTS: usize = 400_000;
/// Points of what stands over the board, or beside it as high, that are kept.
const MOST_STANDING: usize = 20_000;
/// How far wheels hang over a rail at most, as a share of the width: half of a wide wheel.
const OVERHANG: f64 = 0.15;

/// What refusals mean.
const NO_SURFACE: &str =
    "A piece like a board was found, but with too few points, or with too large holes, for its shape to be known.";
const NO_RIM: &str = "The board was found, but not its edge. The rail has to be in the scan all round, or nearly so.";
const THICK: &str = "A flat piece like a board was found, but it is one side of a thick closed body, as of a box.";
const OTHER_SHAPE: &str = "The board in the scan is longer or shorter against its width than the tape says. One reading is wrong, or a part of the \
                           board is missing, or something beside it was taken for board.";

/// Isolates the underside, finds the deck frame and scales it by the tape.
///
/// # Errors
/// Too few points, points on a line or in a plane, no board, two boards, and a tape that no such board has.
pub fn frame_deck(cloud: &RawCloud, tape: &Tape, options: &FrameOptions) -> Result<Warned<Framed>> {
    check(tape)?;
    let filled = fill::filled(cloud);
    let all: &[Point3<f64>] = filled.as_deref().unwrap_or(&cloud.points);
    let inside: Vec<Point3<f64>>;
    let all = match &options.keep {
        None => all,
        Some([a, b]) => {
            let within = |p: &&Point3<f64>| (0..3).all(|k| p[k] >= a[k].min(b[k]) && p[k] <= a[k].max(b[k]));
            inside = all.iter().filter(within).copied().collect();
            &inside
        }
    };
    enough(all)?;
    let first = Ordered::new(all);
    enough(&first.points)?;
    let axes = own_axes(&first.points)?;
    let strays = first.strays;
    let own: Vec<Point3<f64>> = first.points.iter().map(|p| axes.apply(p)).collect();
    drop(first);
    let ordered = Ordered::new(&own);
    drop(own);
    let points = &ordered.points;
    enough(points)?;
    let (voxel, thinned) = ordered.thinned();
    let around = locals(&thinned)?;
    let seen = Seen {
        points: &thinned,
        locals: &around,
        voxel,
        options,
        aspect: explain::ASPECT,
        thickness: options.thickness_mm / tape.width_mm,
    };
    let Choice { board, floor, up, mut warnings } = explain::choose(&seen)?;
    let to_mm = provisional(&board, &up, tape);
    let core: Vec<Point3<f64>> =
        core(&board, &thinned, SLAB * board.size[1]).into_iter().map(|i| to_mm.apply(&thinned[i as usize])).collect();
    let guide = guide_surface(&inner(&core, voxel * to_mm.scale, tape.width_mm), tape.width_mm).ok_or_else(|| {
        fail(format!("{} points of the board do not determine a surface", core.len()), "scan the whole underside")
            .refusing(|| {
                let floor = floor.as_ref().map_or(&[][..], |f| &f.members);
                seen.refusal(NO_SURFACE, &[(PointRole::Floor, floor), (PointRole::Kept, &board.members)])
            })
    })?;
    let slab = SLAB * tape.width_mm;
    let floor = floor.map(|f| {
        let n = to_mm.rotation * f.normal;
        (to_mm.apply(&Point3::from(f.centre)), if n.z < 0.0 { -n } else { n })
    });
    let wall = (WALL * options.thickness_mm).max(slab);
    let read_at = READ_AT * options.thickness_mm;
    let near = Occupancy::new(&core, 2.5 * voxel * to_mm.scale);
    let beside = Occupancy::new(&core, OVERHANG * tape.width_mm / 2.0);
    let mut kinds = sort_points(points, &to_mm, &guide, [&near, &beside], floor, tape.width_mm, wall);
    let spacing = to_mm.scale * (board.size[0] * board.size[1] * board.fill / kinds.sheet.len().max(1) as f64).sqrt();
    let standing = dense(std::mem::take(&mut kinds.standing), near.size);
    let overhanging = dense(std::mem::take(&mut kinds.overhanging), near.size);
    let sorted = kinds.sheet.len() + kinds.floor + standing.len();
    let refusal = |meaning| {
        Refusal::new(meaning, true)
            .with(PointRole::Kept, kinds.sheet.len(), &kinds.sheet)
            .with(PointRole::Standing, standing.len(), &standing)
            .with(PointRole::Floor, kinds.floor, &kinds.floor_sample)
            .with(PointRole::Other, points.len() - sorted, &kinds.other_sample)
    };
    // what stands higher than a rail is thick hides it, or melts into it
    let tall: Vec<Point3<f64>> = (standing.iter().chain(&overhanging))
        .filter(|p| p.z - guide.at(p.x, p.y) > options.thickness_mm)
        .copied()
        .collect();
    let shadow = Occupancy::new(&tall, near.size);
    let first = rim(&kinds.near_rail, spacing, slab, read_at, &|[x, y]| shadow.has(x, y)).ok_or_else(|| {
        fail(
            format!("the scan's rim cannot be followed: {} points lie near it", kinds.near_rail.len()),
            if options.flip {
                "scan.flip turned the board inside out: take it out; else scan the rails too"
            } else {
                "scan the rails too"
            },
        )
        .refusing(|| refusal(NO_RIM))
    })?;
    // turn the long axis into the middle line between the rails
    let slope = middle_line(&first.polygon);
    let turn = Matrix3::new(slope.cos(), slope.sin(), 0.0, -slope.sin(), slope.cos(), 0.0, 0.0, 0.0, 1.0);
    let turn = Similarity { rotation: turn, ..Similarity::identity() };
    let turned: Vec<Near> = kinds
        .near_rail
        .iter()
        .map(|n| {
            let [at, foot] = [n.at, n.foot].map(|v| turn.apply(&Point3::new(v[0], v[1], 0.0))).map(|q| [q.x, q.y]);
            Near { at, foot, ..*n }
        })
        .collect();
    let shadow = Occupancy::new(&tall.iter().map(|p| turn.apply(p)).collect::<Vec<_>>(), near.size);
    let rim = rim(&turned, spacing, slab, read_at, &|[x, y]| shadow.has(x, y)).unwrap_or(first);
    let mut rim = rim;
    let loose: Vec<Point3<f64>> = match floor {
        None => thinned,
        Some((c, n)) => thinned.into_iter().filter(|p| (to_mm.apply(p) - c).dot(&n) >= slab).collect(),
    };
    if let Some(depth) = body::closed_at(&loose, &to_mm, &turn, &guide, &rim.polygon, tape.width_mm) {
        return Err(fail(
            format!(
                "the scan shows no board: what is most like one has another face {depth:.0} mm below it, but boards are {:.0} mm \
                 thick at most",
                body::thickest(tape.width_mm)
            ),
            SCAN_ALONE,
        )
        .refusing(|| refusal(THICK)));
    }
    if !cloud.triangles.is_empty() {
        let normals = outward_normals(&rim.polygon.points);
        for (p, n) in rim.polygon.points.iter_mut().zip(normals) {
            *p = [0, 1].map(|k| p[k] + FUSED_LOSS * spacing * n[k]);
        }
    }
    let (lo, hi) = rim.polygon.bounds();
    // a mesh resolves nothing finer than its edges, and fused from depth a thin rail shrinks by up to one of them; a point of a cloud
    // stands for a patch no smaller than its spacing, of which up to half may hang over an edge: rectangular laws. What cameras saw before
    // a farther floor is fattened by their windows of comparison besides
    let cell = if cloud.triangles.is_empty() {
        (spacing / 2.0 / 3f64.sqrt()).hypot(FATTENED_MM)
    } else {
        spacing / 3f64.sqrt()
    };
    let doubt = rim.doubt.map(|d| d.hypot(cell));
    let over = |p: &Point3<f64>| (turn.apply(p), p.z - guide.at(p.x, p.y));
    let trucks = truck_span(&standing.iter().map(over).collect::<Vec<_>>(), tape.width_mm, spacing);
    let size = RimSize::of(&rim.polygon, doubt, trucks, tape);
    let solved = solve_scale(&size, tape).ok_or_else(|| {
        fail(format!("the scan's rim is {} by {} mm in a first scale", size.length, size.width), "scan the rails too")
            .refusing(|| refusal(NO_RIM))
    })?;
    if let (Some(d), Some(l)) = (tape.rim_displacement(size.length, size.width), tape.length_mm)
        && (d * solved.factor).abs() > MOST_DISPLACEMENT_MM
    {
        return Err(fail(
            format!(
                "tape length {l} mm and width {} mm do not agree with the scan, which is {:.3} times as long as wide: its rim \
                 would lie {d:.0} mm inside the rail, the limit is {MOST_DISPLACEMENT_MM} mm",
                tape.width_mm,
                size.length / size.width
            ),
            "read both again and check their units, or leave tape.length out",
        )
        .refusing(|| refusal(OTHER_SHAPE)));
    }
    let s = solved.factor;
    let centre = [(lo[0] + hi[0]) / 2.0, (lo[1] + hi[1]) / 2.0];
    let back = turn.inverse().apply(&Point3::new(centre[0], centre[1], 0.0));
    let z0 = guide.at(back.x, back.y);
    let settle = Similarity {
        rotation: Matrix3::identity(),
        scale: s,
        translation: -s * Vector3::new(centre[0], centre[1], z0),
    }
    .after(&turn);
    let report = FrameReport {
        points: cloud.points.len(),
        looked_at: points.len(),
        far_points: strays + ordered.strays + (filled.as_ref().map_or(cloud.points.len(), Vec::len) - all.len()),
        sheet_points: kinds.sheet.len(),
        floor_points: kinds.floor,
        standing_points: standing.len(),
        other_points: points.len() - sorted,
        spacing_mm: s * spacing,
        rim_bridged_ratio: rim.bridged,
        rim_displacement_mm: solved.displacement,
        rim_doubt_mm: doubt.map(|d| s * d),
    };
    if rim.bridged > 0.1 {
        warnings.push(Warning::new(
            Stage::Frame,
            format!("{:.0} % of the rail is not in the scan", 100.0 * rim.bridged),
            "a photo of the underside brings the outline, and a second tape measurement the scale",
        ));
    }
    let map = |v: &[Point3<f64>], most: usize| -> Vec<Point3<f64>> {
        v.iter().step_by(v.len().div_ceil(most).max(1)).map(|p| settle.apply(p)).collect()
    };
    let scan_to_deck = settle.after(&to_mm).after(&axes);
    let mm_per_unit = scan_to_deck.scale;
    Ok(Warned::with(
        Framed {
            scale: Scale { mm_per_unit, standard_uncertainty: mm_per_unit * solved.relative },
            scan_to_deck,
            sheet: map(&kinds.sheet, MOST_POINTS),
            rim: Polygon {
                points: rim.polygon.points.iter().map(|p| [s * (p[0] - centre[0]), s * (p[1] - centre[1])]).collect(),
            },
            rim_lean: rim.lean,
            sorted: SortedPoints {
                sheet: map(&kinds.sheet, PICTURE_POINTS),
                floor: map(&kinds.floor_sample, PICTURE_POINTS),
                standing: map(&standing, PICTURE_POINTS),
                other: map(&kinds.other_sample, PICTURE_POINTS),
            },
            standing: map(&standing, MOST_STANDING),
            overhanging: map(&overhanging, MOST_STANDING),
            trucks: trucks.map(|t| TruckSpan { apart: s * t.apart, ..t }),
            tape: solved.report,
            report,
        },
        warnings,
    ))
}

/// The frame before the rim is known: plane normal and long axis, the patch's width taken as the tape's.
fn provisional(board: &Patch, up: &Vector3<f64>, tape: &Tape) -> Similarity {
    let x = (board.long_axis - up * board.long_axis.dot(up)).normalize();
    // of the two directions along the board the one that agrees with the points' own axes
    let x = if x[x.iamax()] < 0.0 { -x } else { x };
    let y = up.cross(&x);
    let rotation = Matrix3::from_rows(&[x.transpose(), y.transpose(), up.transpose()]);
    let scale = tape.width_mm / board.size[1];
    Similarity { rotation, scale, translation: -scale * (rotation * board.centre) }
}

/// Refuses measurements that no board can have, however the tape was made.
fn check(tape: &Tape) -> Result<()> {
    let hint = "measure the board again: width rail to rail at its widest place, length nose to tail";
    if !(tape.width_mm > 0.0 && tape.width_mm.is_finite()) {
        return Err(fail(
            format!("the tape width is {} mm, but must be finite and more than 0 mm", tape.width_mm),
            hint,
        ));
    }
    if !(tape.tolerance_mm >= 0.0 && tape.tolerance_mm.is_finite()) {
        return Err(fail(format!("the tape tolerance is {} mm, but must be 0 mm or more", tape.tolerance_mm), hint));
    }
    match tape.length_mm {
        Some(l) if !(l > tape.width_mm && l.is_finite()) => Err(fail(
            format!("the tape length is {l} mm, but must be finite and more than the width, {} mm", tape.width_mm),
            hint,
        )),
        _ => Ok(()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{DEMO, ScanScene, planted_scan};

    /// A library caller can fill a [`Tape`] with anything; none of it may panic or turn the scale round.
    #[test]
    fn impossible_tapes_are_refused() {
        let (points, _) = planted_scan(&DEMO, &ScanScene { points: 8_000, ..ScanScene::default() });
        let cloud = RawCloud { points, ..RawCloud::default() };
        for (width_mm, length_mm, tolerance_mm, want) in [
            (f64::INFINITY, None, 0.7, "width"),
            (f64::NAN, None, 0.7, "width"),
            (-226.0, None, 0.7, "width"),
            (226.0, Some(200.0), 0.7, "length"),
            (226.0, Some(226.0), 0.7, "length"),
            (226.0, Some(f64::NAN), 0.7, "length"),
            (226.0, None, f64::NAN, "tolerance"),
            (226.0, Some(8840.0), 0.7, "do not agree"),
        ] {
            let e = frame_deck(
                &cloud,
                &Tape { width_mm, length_mm, tolerance_mm, ..Tape::default() },
                &FrameOptions::default(),
            )
            .unwrap_err();
            assert!(e.message().contains(want) && e.hint_text().is_some(), "{e}");
            // only the last one is about the scan
            let of_scan = e.refusal().map(|r| (r.scaled, r.points[0].role, r.points[0].points.len() > 1000));
            assert_eq!(of_scan, (want == "do not agree").then_some((true, PointRole::Kept, true)), "{e}");
        }
    }
    fn refused(points: Vec<Point3<f64>>) -> (String, Vec<(PointRole, usize)>) {
        let tape = Tape { width_mm: 226.0, tolerance_mm: 0.7, ..Tape::default() };
        let cloud = RawCloud { points, ..RawCloud::default() };
        let e = frame_deck(&cloud, &tape, &FrameOptions::default()).unwrap_err();
        let kinds = e.refusal().unwrap().points.iter();
        (e.message().to_owned(), kinds.map(|k| (k.role, k.count)).collect())
    }
    #[test]
    fn points_that_have_no_shape_are_shown_as_not_explained() {
        let at = |i: usize| [i % 100, i / 100].map(|v| v as f64);
        let plane: Vec<Point3<f64>> = (0..4000).map(|i| Point3::new(at(i)[0], at(i)[1], 2.0)).collect();
        for (points, want) in [
            (plane[..5].to_vec(), "has 5 points"),
            (plane[..100].repeat(20), "on one line"),
            (vec![plane[0]; 2000], "in one place"),
            (plane, "in one plane"),
        ] {
            let count = points.len();
            let (message, kinds) = refused(points);
            assert!(message.contains(want), "{message}");
            assert_eq!(kinds, [(PointRole::Unexplained, count)]);
        }
    }
    /// Half a ball on a table: a floor, and one piece that is as long as wide.
    #[test]
    fn what_is_no_board_shows_its_largest_piece() {
        let golden = std::f64::consts::PI * (3.0 - 5f64.sqrt());
        let ball = (0..20_000).map(|i| {
            let (z, turn) = ((f64::from(i) + 0.5) / 20_000.0, f64::from(i) * golden);
            let r = (1.0 - z * z).sqrt();
            Point3::new(100.0 * r * turn.cos(), 100.0 * r * turn.sin(), 100.0 * z)
        });
        let (message, kinds) = refused(ball.collect());
        assert!(message.contains("shows no board"), "{message}");
        assert_eq!(kinds.iter().map(|k| k.0).collect::<Vec<_>>(), [PointRole::Largest, PointRole::Unexplained]);
        assert!(kinds.iter().all(|k| k.1 > 500), "{kinds:?}");
    }
    #[test]
    fn two_boards_are_both_shown() {
        let scene = ScanScene { points: 12_000, floor_mm: None, floaters: 0, ..ScanScene::default() };
        let (points, to_mm) = planted_scan(&DEMO, &scene);
        let one = points.iter().map(|p| to_mm.apply(p));
        let beside = one.clone().map(|p| p + Vector3::new(60.0, 1.3 * DEMO.width_mm, 0.0));
        let both: Vec<Point3<f64>> = one.chain(beside).collect();
        let (message, kinds) = refused(both);
        assert!(message.contains("two boards"), "{message}");
        assert_eq!(kinds[0].0, PointRole::Kept);
        let all: usize = kinds.iter().map(|k| k.1).sum();
        assert!(10 * kinds[0].1 > 6 * all, "{kinds:?}");
    }
}
