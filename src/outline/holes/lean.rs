//! Whether what was found in the holes stands over the deck: a bolt's side shows towards the place below the camera, and
//! a blackened bolt's end and side run together to a disc drawn out that way. A hole does neither.
use super::spots::Flat;
use crate::num::rms;

/// Where a bolt's side is looked for, mm from the middle of its end: beyond a hole of 5.5 mm and a pixel's blur, up to what a
/// bolt of 15 mm seen 25 degrees off square shows.
const TAIL_MM: [f64; 2] = [3.5, 7.0];
/// Half the breadth looked at, mm: well within a bolt of 4.8 mm.
const BREADTH_MM: f64 = 1.5;
/// Deck beside it, across the direction in which it would lean, mm.
const BESIDE_MM: [f64; 2] = [4.0, 5.5];
/// Standard errors of the eight's mean beyond which it is no chance (1 in 740 by a normal law, one-sided).
const SIGMAS: f64 = 3.0;
/// Least mean that counts: grey levels of a tail, below which is the JPEG's ringing about a disc ...
const TAIL_LEVELS: f64 = 4.0;
/// ... and the difference of a disc's second moments, mm2: drawn out by 1.5 mm (L^2 / 12). A bolt that leans less stands
/// 4 mm over a deck a metre off: it looks larger by .4 %, as little as is stated at best.
const STRETCH_MM2: f64 = 0.19;

/// The mean is above `least`, and not by chance.
fn clear(v: &[f64], least: f64) -> bool {
    let n = v.len() as f64;
    let mean = v.iter().sum::<f64>() / n;
    let scatter = rms(&v.iter().map(|x| x - mean).collect::<Vec<_>>());
    mean > least && mean > SIGMAS * scatter / (n - 1.0).sqrt()
}
/// Whether the spots `at` (mm) of a strip lean away from the place `below` the camera.
pub(super) fn leans(flat: &Flat, at: &[[f64; 2]], below: [f64; 2]) -> bool {
    let (mut tails, mut stretches) = (Vec::new(), Vec::new());
    for p in at {
        let d = [below[0] - p[0], below[1] - p[1]];
        let far = d[0].hypot(d[1]);
        if !(far > 0.0) {
            continue;
        }
        let u = d.map(|v| v / far);
        // cells by their place towards the camera and across
        let cells: Vec<[f64; 3]> = flat
            .about(*p, TAIL_MM[1])
            .map(|(q, grey)| [q[0] * u[0] + q[1] * u[1], q[1] * u[0] - q[0] * u[1], grey])
            .collect();
        let mean = |keep: &dyn Fn(f64, f64) -> bool, value: &dyn Fn(f64) -> f64| {
            let (sum, n) =
                (cells.iter().filter(|c| keep(c[0], c[1]))).fold((0.0, 0.0), |(s, n), c| (s + value(c[2]), n + 1.0));
            sum / f64::max(n, 1.0)
        };
        let within = |v: f64, [lo, hi]: [f64; 2]| (lo..=hi).contains(&v);
        let ground = mean(&|a, b| a.abs() < BREADTH_MM && within(b.abs(), BESIDE_MM), &|g| g);
        let off = |sign: f64| mean(&|a, b| within(sign * a, TAIL_MM) && b.abs() < BREADTH_MM, &|g| (g - ground).abs());
        tails.push(off(1.0) - off(-1.0));
        let contrast = mean(&|a, b| a.hypot(b) < BREADTH_MM, &|g| g) - ground;
        let weight = |g: f64| ((g - ground) / contrast - 0.4).clamp(0.0, 0.6);
        let (mut w, mut first, mut second) = (0.0, [0.0; 2], [0.0; 2]);
        for [a, b, g] in cells {
            let k = weight(g);
            w += k;
            first = [first[0] + k * a, first[1] + k * b];
            second = [second[0] + k * a * a, second[1] + k * b * b];
        }
        let moment = |k: usize| second[k] / w - (first[k] / w).powi(2);
        stretches.push(if w > 0.0 { moment(0) - moment(1) } else { 0.0 });
    }
    tails.len() > 1 && (clear(&tails, TAIL_LEVELS) || clear(&stretches, STRETCH_MM2))
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::holes::spots::CELL_MM;
    const BELOW: [f64; 2] = [60.0, 22.0];
    const AT: [[f64; 2]; 4] = [[15.0, 12.0], [15.3, 33.0], [100.4, 12.2], [100.0, 33.0]];
    /// Discs of 2.4 mm radius whose `grey` goes on over `tail` mm towards the camera as `side`.
    fn flat(tail: f64, grey: f64, side: f64) -> Flat {
        let n = [240, 90];
        let level = |i: usize| {
            let p = [(i / n[1]) as f64, (i % n[1]) as f64].map(|k| (k + 0.5) * CELL_MM);
            for c in AT {
                let d = [BELOW[0] - c[0], BELOW[1] - c[1]];
                let far = d[0].hypot(d[1]);
                let q = [p[0] - c[0], p[1] - c[1]];
                let (a, b) = ((q[0] * d[0] + q[1] * d[1]) / far, (q[1] * d[0] - q[0] * d[1]) / far);
                if a.hypot(b) < 2.4 {
                    return grey;
                }
                if (a - a.clamp(0.0, tail)).hypot(b) < 2.4 {
                    return side;
                }
            }
            110.0 + ((i * 7919) % 11) as f64
        };
        Flat { lo: [0.0; 2], n, grey: (0..n[0] * n[1]).map(|i| level(i) as f32).collect() }
    }
    #[test]
    fn bolts_lean_and_holes_do_not() {
        assert!(!leans(&flat(0.0, 30.0, 30.0), &AT, BELOW));
        assert!(!leans(&flat(0.0, 220.0, 220.0), &AT, BELOW));
        assert!(leans(&flat(4.0, 200.0, 80.0), &AT, BELOW), "a steel bolt with its side in shade");
        // what was found is then the middle of end and side
        let middle = AT.map(|c| {
            let d = [BELOW[0] - c[0], BELOW[1] - c[1]];
            let far = d[0].hypot(d[1]);
            [c[0] + 1.25 * d[0] / far, c[1] + 1.25 * d[1] / far]
        });
        assert!(leans(&flat(2.5, 30.0, 30.0), &middle, BELOW), "a blackened one");
    }
}
