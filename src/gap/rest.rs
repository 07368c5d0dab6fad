//! Where a registered enclosure comes to rest.
use super::{GapMap, RimLoop, RimStation};
use crate::geom::Similarity;
use crate::num::{TensorSpline, median};
use nalgebra::{DMatrix, DVector, Matrix3, Rotation3, Vector3};

/// A gap this far below 0, mm, is none: far below any print's unevenness.
const TOUCH_MM: f64 = 1e-4;
/// Places added one after the other until none cuts in; three hold a rigid rim, and each round takes the worst of all.
const ROUNDS: usize = 60;

/// Rim to either side whose gaps are taken together where it is noisy, mm: twice as much is longer than a screw's hole with the edges
/// round it, where a scan shows what is behind, and far shorter than the warp of a print.
const TOGETHER_MM: f64 = 10.0;

/// The stations of a rim, each with the median of the gaps near it, mm.
fn calm(rim: &RimLoop) -> Vec<(&RimStation, f64)> {
    let near = |s: &RimStation, o: &RimStation| {
        let d = (o.along_mm - s.along_mm).abs();
        d.min(rim.length_mm - d) <= TOGETHER_MM
    };
    let together =
        |s: &RimStation| -> Vec<f64> { rim.stations.iter().filter(|o| near(s, o)).map(|o| o.gap_mm).collect() };
    rim.stations.iter().map(|s| (s, median(&together(s)))).collect()
}

/// A place of the rim: its gap and how that changes with a lift along z and turns about x and y.
struct Place {
    j: Vector3<f64>,
    gap: f64,
}

/// Least of |step' H step| / 2 where every one of `held` keeps gap >= 0: of the sets of up to three places that could carry the rim
/// the one whose forces all press and that leaves no other cutting in (the conditions of Karush, Kuhn and Tucker; the programme is
/// convex, so that they suffice).
fn carried(inverse: &Matrix3<f64>, held: &[&Place]) -> Option<Vector3<f64>> {
    let n = held.len();
    let one = (0..n).map(|a| vec![a]);
    let two = (0..n).flat_map(|a| (a + 1..n).map(move |b| vec![a, b]));
    let three = (0..n).flat_map(|a| (a + 1..n).flat_map(move |b| (b + 1..n).map(move |c| vec![a, b, c])));
    one.chain(two).chain(three).find_map(|set| {
        let a = DMatrix::from_fn(set.len(), 3, |r, c| held[set[r]].j[c]);
        let h = DMatrix::from_fn(3, 3, |r, c| inverse[(r, c)]);
        let wanted = DVector::from_fn(set.len(), |r, _| -held[set[r]].gap);
        let forces = (&a * &h * a.transpose()).cholesky()?.solve(&wanted);
        let step = &h * a.transpose() * &forces;
        let step = Vector3::new(step[0], step[1], step[2]);
        let clear = |p: &&Place| p.gap + p.j.dot(&step) >= -TOUCH_MM;
        (forces.iter().all(|f| *f >= 0.0) && held.iter().all(clear)).then_some(step)
    })
}

/// The move that takes a registered enclosure from the gasket's mean distance to where it touches the deck; `None` where it does
/// not cut in.
///
/// Laid by least squares, foam and screws balance: a foam of even stiffness k on the rim's area pushes with k times the squeeze, so
/// that its energy and the screws' work add up to k / 2 times the sum of the squares of (gap - mean gap wanted), plus a constant. The
/// same sum is made least here under the condition that no place of a hard rim goes into a hard deck; the enclosure may rise and
/// tilt, its screws keep it from sliding. The noise of a scanned part reaches deeper than the part: of a `noisy` one the gaps are
/// taken in the mean under the gasket's strip, and of those the median along a piece of rim.
pub fn rest(map: &GapMap, underside: &TensorSpline, noisy: bool) -> Option<Similarity> {
    let place = |x: f64, y: f64, z: f64, gap: f64| {
        let n = Vector3::from(underside.normal(x, y));
        let turn = Vector3::new(x, y, z).cross(&n);
        Place { j: Vector3::new(n.z, turn.x, turn.y), gap }
    };
    let places: Vec<Place> = if noisy {
        let stations = map.rims.iter().flat_map(calm);
        stations.map(|(s, gap)| place(s.x_mm, s.y_mm, underside.at(s.x_mm, s.y_mm), gap)).collect()
    } else {
        map.samples.iter().map(|s| place(s.at[0], s.at[1], s.at[2], s.gap_mm)).collect()
    };
    let normal = places.iter().fold(Matrix3::zeros(), |m, p| m + p.j * p.j.transpose());
    let inverse = normal.try_inverse()?;
    let mut held: Vec<&Place> = Vec::new();
    let mut step = Vector3::zeros();
    for _ in 0..ROUNDS {
        let clear = |p: &Place| p.gap + p.j.dot(&step);
        let worst = places.iter().min_by(|a, b| clear(a).total_cmp(&clear(b)))?;
        if clear(worst) >= -TOUCH_MM {
            break;
        }
        held.push(worst);
        step = carried(&inverse, &held)?;
        // what is clear of the deck by now carries nothing; the worst places come back if they must
        held.retain(|p| p.gap + p.j.dot(&step) < 2.0 * TOUCH_MM);
    }
    let rotation = *Rotation3::from_scaled_axis(Vector3::new(step[1], step[2], 0.0)).matrix();
    (step != Vector3::zeros()).then(|| Similarity {
        rotation,
        scale: 1.0,
        translation: Vector3::new(0.0, 0.0, step[0]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    fn level(at: &[(f64, f64, f64)]) -> (Matrix3<f64>, Vec<Place>) {
        let places: Vec<Place> =
            at.iter().map(|(x, y, gap)| Place { j: Vector3::new(1.0, *y, -x), gap: *gap }).collect();
        let normal = places.iter().fold(Matrix3::zeros(), |m, p| m + p.j * p.j.transpose());
        (normal.try_inverse().unwrap(), places)
    }
    /// A beam of four feet at x = +-1, y = +-1, the one at (1, 1) 0.4 mm too deep: by hand, with H = 4 I the least step that lifts
    /// it by 0.4 mm is along (1, 1, -1) with 0.4 / 3 each, and the foot across it goes down by a third of that.
    #[test]
    fn one_deep_foot_tilts_the_rim() {
        let (inverse, places) = level(&[(1.0, 1.0, -0.4), (1.0, -1.0, 2.0), (-1.0, 1.0, 2.0), (-1.0, -1.0, 2.0)]);
        let step = carried(&inverse, &[&places[0]]).unwrap();
        assert!((step - Vector3::new(1.0, 1.0, -1.0) * (0.4 / 3.0)).norm() < 1e-12, "{step}");
        assert!((places[3].j.dot(&step) + 0.4 / 3.0).abs() < 1e-12);
    }
    /// Strays in a screw's hole of 8 mm carry no rim, at the line's seam neither; 60 mm of rim 0.4 mm too high do.
    #[test]
    fn a_hole_carries_nothing() {
        let station = |i: i32, gap_mm: f64| RimStation {
            along_mm: 2.0 * f64::from(i),
            x_mm: 0.0,
            y_mm: 0.0,
            gap_mm,
            least_mm: gap_mm,
            greatest_mm: gap_mm,
            standard_uncertainty_mm: 0.0,
        };
        let gap = |i: i32| match i {
            0 | 1 | 198 | 199 => -1.5,
            90..=119 => 1.6,
            _ => 2.0,
        };
        let stations = (0..200).map(|i| station(i, gap(i))).collect();
        let rim = RimLoop { length_mm: 400.0, width_mm: 16.0, closed: true, missing_ratio: 0.0, stations };
        for (i, (_, got)) in calm(&rim).into_iter().enumerate() {
            let want = if (90..120).contains(&i) { 1.6 } else { 2.0 };
            assert!((got - want).abs() < 1e-12, "{i} {got}");
        }
    }
    /// With a deep foot at either end a straight lift is least, and one end's force does not pull.
    #[test]
    fn feet_at_both_ends_lift_it_straight() {
        let (inverse, places) = level(&[(3.0, 0.0, -0.4), (-3.0, 0.0, -0.4), (0.0, 2.0, 1.0), (0.0, -2.0, 1.0)]);
        let step = carried(&inverse, &[&places[0], &places[1]]).unwrap();
        assert!((step - Vector3::new(0.4, 0.0, 0.0)).norm() < 1e-12, "{step}");
        // a foot that stays clear though it sinks carries nothing
        let (inverse, places) = level(&[(3.0, 0.0, -0.4), (-3.0, 0.0, 0.3), (0.0, 2.0, 1.0), (0.0, -2.0, 1.0)]);
        let step = carried(&inverse, &[&places[0], &places[1]]).unwrap();
        assert!((places[0].j.dot(&step) - 0.4).abs() < 1e-12 && places[1].gap + places[1].j.dot(&step) > 0.0);
    }
}
