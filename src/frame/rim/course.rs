//! The fair course through what single rays show.
use super::edge::Edge;
use crate::num::{BIWEIGHT_TUNING, biweight, each, median};
use nalgebra::{DMatrix, DVector, Matrix3, Vector3};

/// The fair course through the rays' edges: each ray's place, and whether its own edge agrees with it.
/// `pointed` rays may lead to the tip of a pointed end.
pub(super) fn course(edges: &[Option<Edge>], side: i64, pointed: &[bool]) -> Option<Vec<(f64, bool)>> {
    let outer: Vec<Option<(f64, f64)>> = edges.iter().map(|e| e.as_ref().map(|e| (e.place, e.support))).collect();
    if outer.iter().flatten().count() < outer.len() / 2 {
        return None;
    }
    // neighbouring rays agree within a share of the range in which each one's rail may lie
    let scale = median(&edges.iter().flatten().map(|e| e.range).collect::<Vec<_>>()) / 2.0;
    let supports: Vec<f64> = outer.iter().flatten().map(|o| o.1).collect();
    let few = FEW * median(&supports);
    let fit = |outer: &[Option<(f64, f64)>]| {
        each(outer.len(), |i| local_fit(outer, i, side, scale, few, pointed[i]))
            .into_iter()
            .collect::<Option<Vec<(f64, bool)>>>()
    };
    let mut fitted = fit(&outer)?;
    // once more through the course itself where few points show it: there strays can rule a whole window
    let support = |i: usize| outer[i].map_or(0.0, |o| o.1);
    let again: Vec<_> =
        fitted.iter().enumerate().map(|(i, f)| Some((f.0, if f.1 { support(i) } else { BRIDGED_SUPPORT }))).collect();
    for (i, second) in fit(&again)?.into_iter().enumerate() {
        if support(i) < few || !fitted[i].1 {
            fitted[i] = (second.0, second.1 && fitted[i].1);
        }
    }
    bridge(&mut fitted, side);
    Some(fitted)
}
/// Bridges pieces longer than `side` on which no ray agrees with the course by the fair curve that carries on what lies on both sides: of
/// least second differences (Whittaker's graduation, 1923), which passes waves longer than twice `side`.
fn bridge(course: &mut [(f64, bool)], side: i64) {
    let n = course.len();
    let mut open: Vec<bool> = course.iter().map(|c| !c.1).collect();
    let Some(first) = open.iter().position(|o| !o) else { return };
    let mut k = 0;
    while k < n {
        let run = (k..n).take_while(|j| open[(first + j) % n]).count();
        if run as i64 <= side {
            (k..k + run).for_each(|j| open[(first + j) % n] = false);
        }
        k += run.max(1);
    }
    if !open.contains(&true) {
        return;
    }
    // the last rays before it see what hides the rest
    let near = |i: usize| (0..=side as usize).any(|k| open[(i + n + k - side as usize / 2) % n]);
    let open: Vec<bool> = (0..n).map(near).collect();
    let stiff = (side as f64 / std::f64::consts::PI).powi(4);
    let mut a = DMatrix::zeros(n, n);
    let mut b = DVector::zeros(n);
    for i in 0..n {
        if course[i].1 && !open[i] {
            a[(i, i)] += 1.0;
            b[i] += course[i].0;
        }
        let row = [((i + n - 1) % n, 1.0), (i, -2.0), ((i + 1) % n, 1.0)];
        for (p, u) in row {
            row.iter().for_each(|(q, v)| a[(p, *q)] += stiff * u * v);
        }
    }
    let Some(fair) = a.cholesky().map(|c| c.solve(&b)) else { return };
    (0..n).filter(|i| open[*i]).for_each(|i| course[i].0 = fair[i]);
}

/// The edges without those beside the board that lie outside of what a long stretch to either side of them agrees on: a thing that
/// touches the rail makes a bump; a board has wheel wells, which go inwards, and none. What a wheel or another thing hides has no say in
/// that, and needs to be less far out: such a bump is a part of the thing. Nor does a board go in by more than `deepest`: there a hole in the
/// scan touches the rail.
pub(super) fn without_bumps(
    mut edges: Vec<Option<Edge>>,
    side: i64,
    beside: &[bool],
    hidden: &[bool],
    deepest: f64,
) -> Vec<Option<Edge>> {
    let ranges: Vec<f64> = edges.iter().flatten().map(|e| e.range).collect();
    if ranges.is_empty() {
        return edges;
    }
    let scale = median(&ranges) / 2.0;
    // the middle of a bump is told first, and its flanks without it
    loop {
        let outer: Vec<Option<(f64, f64)>> = edges.iter().map(|e| e.as_ref().map(|e| (e.place, e.support))).collect();
        let open: Vec<Option<(f64, f64)>> = outer.iter().zip(hidden).map(|(o, h)| o.filter(|_| !h)).collect();
        let bumps = each(edges.len(), |i| {
            let (Some((place, _)), true) = (outer[i], beside[i]) else { return false };
            let (seen, most) = if hidden[i] { (&open, 2.0 * scale) } else { (&outer, BIWEIGHT_TUNING * scale) };
            local_fit(seen, i, side, scale, 0.0, false)
                .is_some_and(|(fair, _)| place - fair > most || fair - place > deepest)
        });
        if !bumps.contains(&true) {
            return edges;
        }
        edges.iter_mut().zip(bumps).filter(|(_, b)| *b).for_each(|(e, _)| *e = None);
    }
}

/// Rays of a window from which parabolas are tried: 220 triples.
const CONSENSUS_ROWS: usize = 12;
/// A place is shown by few points when they are fewer than this share of the usual number.
pub(super) const FEW: f64 = 0.5;
/// What a bridged place counts beside a seen one.
const BRIDGED_SUPPORT: f64 = 0.2;
/// Weight from which a ray agrees with a parabola.
const AGREES: f64 = 0.3;
/// Weight left to a ray thrown out: nothing beside the others, but a window of such rays still has a parabola.
const REJECTED: f64 = 1e-6;

/// A robust local parabola through the rays round ray `i`, and whether that ray agrees with it. Rays disagree by `scale`;
/// of the parabolas through any three of them the one that most points agree with is taken, for strays pull every other ray outwards
/// where a scan is sparse.
fn local_fit(
    outer: &[Option<(f64, f64)>],
    i: usize,
    first: i64,
    scale: f64,
    few: f64,
    pointed: bool,
) -> Option<(f64, bool)> {
    let mut side = first;
    let n = outer.len() as i64;
    loop {
        let (rows, support): (Vec<(f64, f64)>, Vec<f64>) = (-side..=side)
            .filter_map(|k| {
                let (r, support) = outer[(i as i64 + k).rem_euclid(n) as usize]?;
                Some(((k as f64 / side as f64, r), support))
            })
            .unzip();
        let farthest = side + first > n / 4;
        if (rows.len() as i64) < side + 2 {
            // too much is hidden here: look farther, up to a quarter of the way round
            if farthest {
                return None;
            }
            side += first;
            continue;
        }
        let weight = |c: &Vector3<f64>, (t, r): &(f64, f64)| {
            biweight((r - c[0] - c[1] * t - c[2] * t * t) / (BIWEIGHT_TUNING * scale))
        };
        let parabola = |weighted: &mut dyn Iterator<Item = (usize, f64)>| {
            let (mut a, mut b) = (Matrix3::zeros(), Vector3::zeros());
            for (k, w) in weighted {
                let (t, r) = &rows[k];
                let v = Vector3::new(1.0, *t, t * t);
                a += v * v.transpose() * w;
                b += v * (*r * w);
            }
            a.lu().solve(&b)
        };
        let step = rows.len().div_ceil(CONSENSUS_ROWS);
        let mut best: Option<(f64, Vector3<f64>)> = None;
        for a in (0..rows.len()).step_by(step) {
            for b in (a + step..rows.len()).step_by(step) {
                for c in (b + step..rows.len()).step_by(step) {
                    let Some(p) = parabola(&mut [a, b, c].map(|k| (k, 1.0)).into_iter()) else { continue };
                    let agree = rows.iter().zip(&support).map(|(r, s)| s * weight(&p, r)).sum::<f64>();
                    if best.is_none_or(|b| agree > b.0) {
                        best = Some((agree, p));
                    }
                }
            }
        }
        let mut c = best?.1;
        // a parabola carried past the rays that agree with it is a guess: some must agree on either side
        let agree =
            |ahead: bool| rows.iter().filter(|r| r.0 != 0.0 && (r.0 > 0.0) == ahead && weight(&c, r) > AGREES).count();
        let own = outer[i].filter(|o| o.1 >= few);
        if let Some((place, _)) = own
            && pointed
            && place > c[0]
            && weight(&c, &(0.0, place)) == 0.0
        {
            // many points show it: a pointed end bends faster than any parabola. Inwards a board does not jump, but points
            // below the guide, which cuts through a crease or a step, crowd anywhere
            return Some((place, true));
        }
        if own.is_none() && !farthest && agree(true).min(agree(false)) < 2 {
            side += first;
            continue;
        }
        for _ in 0..5 {
            let weights: Vec<f64> = rows.iter().zip(&support).map(|(r, s)| (s * weight(&c, r)).max(REJECTED)).collect();
            c = parabola(&mut weights.into_iter().enumerate())?;
        }
        if own.is_none()
            && let Some(place) = between(outer, i, first, few, BIWEIGHT_TUNING * scale, c[0])
        {
            return Some((place, false));
        }
        let own = rows.iter().find(|r| r.0 == 0.0);
        return Some((c[0], own.is_some_and(|r| weight(&c, r) > 0.0)));
    }
}

/// The place of a ray shown by few points, where the parabola's place `fitted` leaves what its well-shown neighbours on either
/// side span, widened by their difference and `slack`: at a pointed end the parabola of one flank is carried past the tip.
/// The ray's own place serves if it lies there, else the line between the neighbours. `None` where the parabola may stay: within the
/// span, or where no neighbours are close (`reach` rays between them), for there a round end may bend farther.
fn between(outer: &[Option<(f64, f64)>], i: usize, reach: i64, few: f64, slack: f64, fitted: f64) -> Option<f64> {
    let n = outer.len() as i64;
    let near = |sign: i64| {
        (1..reach).find_map(|k| {
            let (place, _) = outer[(i as i64 + sign * k).rem_euclid(n) as usize].filter(|o| o.1 >= few)?;
            Some((k, place))
        })
    };
    let ((ka, a), (kb, b)) = (near(-1)?, near(1)?);
    let wide = (a - b).abs() + slack;
    let inside = |r: f64| r >= a.min(b) - wide && r <= a.max(b) + wide;
    if ka + kb > reach || inside(fitted) {
        return None;
    }
    let line = a + (b - a) * ka as f64 / (ka + kb) as f64;
    Some(outer[i].map(|o| o.0).filter(|r| inside(*r)).unwrap_or(line))
}
#[cfg(test)]
mod tests {
    use super::*;
    /// The pointed end of two straight flanks, 12 mm from ray to ray, its last ray shown by few points: the parabola of one
    /// flank, carried past the tip, must not cut a notch. The planted tip is 160 mm out.
    #[test]
    fn few_points_at_a_pointed_end_leave_no_notch() {
        let planted = |i: usize| 160.0 - 12.0 * (i as f64 - 50.0).abs().min(4.0);
        for tip in [None, Some((153.0, 3.0)), Some((60.0, 2.0))] {
            let mut outer: Vec<_> = (0..100).map(|i| Some((planted(i), 20.0))).collect();
            outer[50] = tip;
            let (place, _) = local_fit(&outer, 50, 5, 0.4, 8.0, true).unwrap();
            assert!((140.0..=162.0).contains(&place), "{tip:?}: {place}");
        }
    }
    #[test]
    fn neighbours_far_apart_leave_the_parabola() {
        let mut outer = vec![Some((110.0, 20.0)); 40];
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 57.0), Some(110.0));
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 110.5), None);
        outer[18..23].fill(None);
        assert_eq!(between(&outer, 20, 5, 8.0, 1.0, 57.0), None);
    }
}
