//! Whether a border is seen where a rail was found: how much clearer it is than what lies beside.
use super::edge::{self, Station};
use super::photo::Picture;

/// A border is clearer than what is found beside it by this much: noise and texture alone come out alike within a tenth or two.
const CLEARER: f64 = 1.5;
/// The same of both sides or both ends, beside which a floor's own lines may lie: a tenth.
const ALIKE: f64 = 1.1;

/// How many times clearer the border is where the rail is than beside it, inside and outside; without limit where nothing shows either.
pub(super) struct Clearness {
    whole: [f64; 2],
    /// Along x and across it: the ends and the sides.
    pairs: [[f64; 2]; 2],
    /// Towards x, against it, towards y, against it.
    parts: [[f64; 2]; 4],
}
/// How clear the clearest line is where the rail is, or beside it: -1 inside, 1 outside.
fn contrast(photo: &Picture, places: &[Station], band: usize, sign: f64) -> Vec<Option<f64>> {
    let by = sign * 3.0 * band as f64;
    let moved = |s: &Station| Station { p: [0, 1].map(|k| s.p[k] + by * s.n[k]), ..*s };
    edge::find(photo, &places.iter().map(moved).collect::<Vec<_>>(), band).contrast
}
/// The places about which, `half` either way, the border is no clearer than what lies beside it inside and outside: nothing of a board's
/// border is seen there. `rail` says how clear it is, found within `band` pixels.
pub(super) fn unseen_places(
    photo: &Picture,
    places: &[Station],
    rail: &[Option<f64>],
    band: usize,
    half: usize,
) -> Vec<bool> {
    let [inside, outside] = [-1.0, 1.0].map(|sign| contrast(photo, places, band, sign));
    let n = places.len();
    let mean = |of: &[Option<f64>], i: usize| {
        let near = (0..=2 * half).filter_map(|k| of[(i + n + k - half) % n]);
        let (sum, count) = near.fold((0.0, 0.0), |(sum, count), c| (sum + c, count + 1.0));
        sum / count
    };
    (0..n).map(|i| mean(rail, i) <= CLEARER * mean(&inside, i).min(mean(&outside, i))).collect()
}
impl Clearness {
    /// At `places` whose normals in plan are `normals`, found within `band` pixels.
    pub fn of(photo: &Picture, places: &[Station], normals: &[[f64; 2]], band: usize) -> Self {
        let [rail, inside, outside] = [0.0, -1.0, 1.0].map(|sign| contrast(photo, places, band, sign));
        let clearer = |here: &dyn Fn(&[f64; 2]) -> bool| {
            let mean = |of: &[Option<f64>]| {
                let of = of.iter().zip(normals).filter(|(_, n)| here(n)).filter_map(|(c, _)| *c);
                let (sum, count) = of.fold((0.0, 0.0), |(sum, count), c| (sum + c, count + 1.0));
                (count > 0.0).then_some(sum / count)
            };
            // what stands over the board may hide all of a part, which is told
            let times = |beside: &[Option<f64>]| mean(&rail).zip(mean(beside)).map_or(f64::INFINITY, |(r, b)| r / b);
            [times(&inside), times(&outside)]
        };
        let towards = |n: &[f64; 2]| [n[0], -n[0], n[1], -n[1]];
        let looks = |n: &[f64; 2], part: usize| towards(n).iter().all(|v| *v <= towards(n)[part]);
        Self {
            whole: clearer(&|_| true),
            pairs: [0, 2].map(|part| clearer(&|n| looks(n, part) || looks(n, part + 1))),
            parts: [0, 1, 2, 3].map(|part| clearer(&|n| looks(n, part))),
        }
    }
    /// Whether the border alone speaks of a board: ends that are not seen leave the length to what floor and noise show.
    pub fn stands_out(&self) -> bool {
        let more = |times: &[f64; 2], than: f64| times.iter().all(|t| *t > than);
        more(&self.whole, CLEARER) && self.pairs.iter().all(|p| more(p, ALIKE)) && self.unseen().is_ok()
    }
    /// Half a sentence where a side or an end is no clearer than what lies beside it inside and outside: nothing of a board's border is
    /// seen there. Lines of a floor are on one side of it.
    pub fn unseen(&self) -> Result<(), String> {
        match self.parts.iter().position(|p| p[0].max(p[1]) <= CLEARER) {
            Some(part) => Err(format!(
                "its border is not seen {}, where it is no clearer than what lies beside it: another floor shows it, or a path \
                 traced by hand",
                if part < 2 { "at an end" } else { "along a side" }
            )),
            None => Ok(()),
        }
    }
}
#[cfg(test)]
mod tests {
    use super::*;
    use crate::outline::photo::pictured;
    use std::f64::consts::TAU;
    const MIDDLE: [f64; 2] = [200.0, 120.0];
    const HALF: [f64; 2] = [140.0, 60.0];
    /// A dark ellipse on a noisy floor, of the floor's tone from `seen_to` on along x, with a dark line of the floor at a distance below
    /// its middle.
    fn clearness(seen_to: f64, line_at: Option<f64>) -> Clearness {
        let mut seed = 7u32;
        let image = image::RgbImage::from_fn(400, 240, |u, v| {
            seed = seed.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            let noise = f64::from(seed >> 28);
            let [x, y] = [f64::from(u) + 0.5 - MIDDLE[0], f64::from(v) + 0.5 - MIDDLE[1]];
            let on_board = (x / HALF[0]).hypot(y / HALF[1]) < 1.0 && x < seen_to;
            let line = line_at.is_some_and(|l| (y - l).abs() < 1.5);
            let tone = if on_board { 60.0 } else { 150.0 } - if line { 55.0 } else { 0.0 };
            image::Rgb([(tone + noise) as u8; 3])
        });
        let (mut places, mut normals) = (Vec::new(), Vec::new());
        for a in (0..400).map(|i| f64::from(i) / 400.0 * TAU) {
            let n = [a.cos() / HALF[0], a.sin() / HALF[1]];
            let n = n.map(|v| v / n[0].hypot(n[1]));
            places.push(Station {
                p: [MIDDLE[0] + HALF[0] * a.cos(), MIDDLE[1] + HALF[1] * a.sin()],
                n,
                hidden: false,
            });
            normals.push(n);
        }
        Clearness::of(&pictured(&image), &places, &normals, 5)
    }
    #[test]
    fn a_seen_border_stands_out() {
        let c = clearness(1e9, None);
        assert!(c.stands_out() && c.unseen().is_ok(), "{:?}", c.parts);
    }
    /// Three sides of a board do not make up for an end that is not there.
    #[test]
    fn an_end_that_nothing_shows_is_not_seen() {
        let c = clearness(80.0, None);
        assert!(!c.stands_out() && c.unseen().unwrap_err().contains("at an end"), "{:?}", c.parts);
    }
    /// A line of the floor beside the board is as clear as its border, which is seen none the less.
    #[test]
    fn a_line_beside_the_board_hides_nothing() {
        let c = clearness(1e9, Some(HALF[1] + 15.0));
        assert!(c.stands_out(), "{:?}", c.parts);
    }
}
