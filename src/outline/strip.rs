//! The border beside a strip too narrow to be seen by itself.
//!
//! Between a printed face and the floor there is often a millimetre of another colour: bare wood where the rail turns over, a
//! worn or dirty edge. A few pixels of it are no face of their own, and the border found by board and floor alone lies inside
//! by a part of its width. Here the profile across neighbouring stations is fitted by one step and by two steps of one blur.
//! Two are believed where they fit clearly better and the strip's colour is no shade of the board (those are told already). Then
//! the border is the outer step, or the inner one where the strip is a shade of the floor (a shadow at the rail's foot) or what
//! sharpening adds beside an edge.
//!
//! # References
//! ISO 12233, the edge spread function sampled finer than a pixel by pooling lines across a slanted edge; ITU-T T.871 for the
//! colours of a JPEG, whose two colour differences are often stored at half the sharpness of its luma.
use super::border::{LEAST_NOISE, SHARP_PX, apart, apart_from_shades};
use super::edge::{Edge, Station};
use super::photo::Picture;
use crate::num::each;
use nalgebra::{Matrix3, Vector3};

/// Stations pooled on either side: some 20 mm, over which a rail is straight to a tenth of a pixel once its slant is taken out.
const POOL: usize = 3;
/// In edge widths: how far a profile reaches in and out, and its step. Inwards it must show board behind the widest strip,
/// outwards floor and little else.
const INSIDE: f64 = 4.0;
const OUTSIDE: f64 = 2.5;
const STEP: f64 = 0.2;
/// In edge widths from the border: where the outer step is looked for, how finely, and the strips' widths tried. Wider strips
/// are faces of their own, narrower ones move the border by less than its noise.
const OUTER: [f64; 2] = [-0.4, 2.4];
const OUTER_STEP: f64 = 0.1;
const WIDTHS: [f64; 9] = [0.3, 0.4, 0.5, 0.6, 0.8, 1.0, 1.3, 1.7, 2.2];
/// Blurs tried, in edge widths: the width of a single blurred step is 2.5 standard deviations of its blur, a strip makes the
/// edge look wider than its blur.
const BLURS: [f64; 11] = [0.1, 0.13, 0.16, 0.2, 0.25, 0.3, 0.36, 0.43, 0.52, 0.65, 0.8];
/// Every so many stations' profiles the blurs are tried on.
const BLUR_STATIONS: usize = 24;
/// A logistic step of this slope is within 1 % of a normal law's.
const LOGISTIC: f64 = 1.702;
/// Two steps fit clearly better when one step leaves this many times their squares: with 4 unknowns more and some 50 values
/// that do not go together, chance makes it 1.3.
const CLEARER: f64 = 2.0;
/// A shadow's tint: how far its colour is off a shade of the floor, of its own size.
const TINT: f64 = 0.1;
/// Sharpening overshoots by up to half a step.
const OVERSHOOT: f64 = 0.5;

/// Luma and colour differences of ITU-T T.871.
fn to_ycc() -> Matrix3<f64> {
    Matrix3::new(0.299, 0.587, 0.114, -0.1687, -0.3313, 0.5, 0.5, -0.4187, -0.0813)
}
/// The mean colours across some stations.
struct Profile {
    /// Where its offset 0 is, from its middle station.
    base: f64,
    ycc: Vec<Vector3<f64>>,
}
/// Two steps (or one, of width 0) at a place, ready to be fitted: the colours' sums over the profile give the colours.
struct Steps {
    outer: f64,
    width: f64,
    basis: Vec<Vector3<f64>>,
    inverse: Matrix3<f64>,
}
impl Steps {
    fn new(offsets: &[f64], outer: f64, width: f64, blur: f64) -> Option<Self> {
        let step = |o: f64| 1.0 / (1.0 + (-LOGISTIC * o / blur).exp());
        let at = |o: &f64| {
            let first = if width > 0.0 { step(o - outer + width) } else { 0.0 };
            Vector3::new(1.0, first, step(o - outer))
        };
        let basis: Vec<_> = offsets.iter().map(at).collect();
        let mut normal: Matrix3<f64> = basis.iter().map(|b| b * b.transpose()).sum();
        if width == 0.0 {
            normal[(1, 1)] = 1.0;
        }
        Some(Self { outer, width, inverse: normal.try_inverse()?, basis })
    }
    /// The heights of the steps in these channels and what they leave, squared.
    fn fit(&self, p: &Profile, channels: std::ops::Range<usize>) -> (Matrix3<f64>, f64) {
        let (mut heights, mut rest) = (Matrix3::zeros(), 0.0);
        for c in channels {
            let (mut sum, mut square) = (Vector3::zeros(), 0.0);
            for (b, y) in self.basis.iter().zip(&p.ycc) {
                sum += b * y[c];
                square += y[c] * y[c];
            }
            let x = self.inverse * sum;
            heights.set_row(c, &x.transpose());
            rest += square - sum.dot(&x);
        }
        (heights, rest.max(0.0))
    }
}
const LUMA: std::ops::Range<usize> = 0..1;
const CHROMA: std::ops::Range<usize> = 1..3;

/// All steps tried at one blur; `unit` pixels are an edge width.
fn all_steps(offsets: &[f64], unit: f64, blur: f64) -> Vec<Steps> {
    let outers = ((OUTER[1] - OUTER[0]) / OUTER_STEP).round() as usize;
    let widths = std::iter::once(0.0).chain(WIDTHS);
    let at = |w: f64| (0..=outers).map(move |k| (w, OUTER[0] + OUTER_STEP * k as f64));
    widths.flat_map(at).filter_map(|(w, o)| Steps::new(offsets, unit * o, unit * w, unit * blur)).collect()
}
/// The blur by which the profiles are fitted best in these channels, from `least` on, and its steps.
fn sharpest(
    profiles: &[Profile],
    offsets: &[f64],
    unit: f64,
    channels: std::ops::Range<usize>,
    least: f64,
) -> (f64, Vec<Steps>) {
    let tried = BLURS.into_iter().filter(|b| *b >= least).map(|blur| {
        let steps = all_steps(offsets, unit, blur);
        let rest = |p: &Profile| steps.iter().map(|s| s.fit(p, channels.clone()).1).fold(f64::INFINITY, f64::min);
        // a profile without any noise must not decide alone
        let cost: f64 = profiles.iter().map(|p| (rest(p) + LEAST_NOISE).ln()).sum();
        (cost, blur, steps)
    });
    let (_, blur, steps) = tried.min_by(|a, b| a.0.total_cmp(&b.0)).unwrap_or_default();
    (blur, steps)
}
/// The profile about station `i` along the border; `None` where too little of it is seen.
fn profile(
    photo: &Picture,
    stations: &[Station],
    border: &[Option<f64>],
    i: usize,
    offsets: &[f64],
) -> Option<Profile> {
    let n = stations.len();
    let near = (0..=2 * POOL).filter_map(|k| {
        let j = (i + n + k - POOL) % n;
        Some((j, k as f64 - POOL as f64, border[j]?))
    });
    let near: Vec<(usize, f64, f64)> = near.collect();
    if near.len() <= POOL {
        return None;
    }
    // the border as a straight line over these stations
    let count = near.len() as f64;
    let mean = |f: &dyn Fn(&(usize, f64, f64)) -> f64| near.iter().map(f).sum::<f64>() / count;
    let (t, o) = (mean(&|p| p.1), mean(&|p| p.2));
    let slant = mean(&|p| (p.1 - t) * (p.2 - o)) / mean(&|p| (p.1 - t).powi(2));
    let line = |at: f64| o + slant * (at - t);
    let ycc = to_ycc();
    let colour = |off: &f64| {
        let sum: Vector3<f64> = (near.iter())
            .map(|(j, at, _)| {
                let [r, g, b, _] = stations[*j].colour(photo, line(*at) + off);
                Vector3::new(r, g, b)
            })
            .sum();
        ycc * sum / count
    };
    Some(Profile { base: line(0.0), ycc: offsets.iter().map(colour).collect() })
}
/// Where the border is when a strip of the second colour lies between board and floor, by its outer and inner step: a shadow or
/// what sharpening adds is the floor's, a colour of its own the board's; `None` for a shade of the board, which is told already.
fn border_at([board, strip, floor]: [[f64; 3]; 3], noise: f64, outer: f64, inner: f64) -> Option<f64> {
    let size = strip.iter().map(|v| v * v).sum::<f64>().sqrt();
    let other = |off: f64| off > noise.max(TINT * size);
    if !other(apart_from_shades(strip, board)) {
        return None;
    }
    let step: [f64; 3] = std::array::from_fn(|k| floor[k] - board[k]);
    let along = (0..3).map(|k| (strip[k] - floor[k]) * step[k]).sum::<f64>();
    let over = (along / step.iter().map(|v| v * v).sum::<f64>().max(1.0)).clamp(0.0, OVERSHOOT);
    let overshot = std::array::from_fn(|k| floor[k] + over * step[k]);
    let own = other(apart_from_shades(strip, floor)) && other(apart(strip, overshot));
    Some(if own { outer } else { inner })
}
/// The border moved to the outer edge of a narrow strip that is the board's, or to the inner edge of one that is the floor's,
/// where there is one; `noise`: colours this far apart differ.
pub(super) fn beside(
    photo: &Picture,
    stations: &[Station],
    edge: &Edge,
    border: Vec<Option<f64>>,
    noise: f64,
) -> Vec<Option<f64>> {
    let unit = edge.width_px.max(SHARP_PX);
    let count = ((INSIDE + OUTSIDE) / STEP).round() as usize;
    let offsets: Vec<f64> = (0..=count).map(|k| unit * (STEP * k as f64 - INSIDE)).collect();
    let at = |i: usize| profile(photo, stations, &border, i, &offsets);
    let n = stations.len();
    let some: Vec<Profile> = (0..n).step_by(BLUR_STATIONS).filter_map(at).collect();
    let (blur, luma) = sharpest(&some, &offsets, unit, LUMA, 0.0);
    let (_, chroma) = sharpest(&some, &offsets, unit, CHROMA, blur);
    let Some(to_rgb) = to_ycc().try_inverse() else { return border };
    let strip = |i: usize| -> Option<f64> {
        let p = at(i)?;
        let (mut one, mut two) = (f64::INFINITY, None::<(f64, &Steps, [[f64; 3]; 3])>);
        for (l, c) in luma.iter().zip(&chroma) {
            let (a, b) = (l.fit(&p, LUMA), c.fit(&p, CHROMA));
            let rest = a.1 + b.1;
            if l.width == 0.0 {
                one = one.min(rest);
            } else if two.is_none_or(|t| rest < t.0) {
                let heights = to_rgb * (a.0 + b.0);
                let colours = [1, 2, 3].map(|n| (0..n).map(|k| heights.column(k).into_owned()).sum::<Vector3<f64>>());
                // a strip's colour is one, not what its width lacks
                if colours[1].iter().all(|v| (-LEAST_NOISE..=255.0 + LEAST_NOISE).contains(v)) {
                    two = Some((rest, l, colours.map(Into::into)));
                }
            }
        }
        let (_, steps, colours) = two.filter(|t| one > CLEARER * t.0)?;
        border_at(colours, noise, p.base + steps.outer, p.base + steps.outer - steps.width)
    };
    let found = each(n, strip);
    // a strip goes on along the rail
    let most = |i: usize| (0..=2 * POOL).filter(|k| found[(i + n + k - POOL) % n].is_some()).count() > POOL;
    // what is hidden stays so
    (0..n).map(|i| border[i].map(|b| found[i].filter(|_| most(i)).unwrap_or(b))).collect()
}
#[cfg(test)]
mod tests {
    use super::super::PhotoLimits;
    use super::super::border::settle;
    use super::super::photo::decode;
    use super::*;
    const MIDDLE: [f64; 2] = [150.3, 100.2];
    const RED: [f64; 3] = [186.0, 64.0, 50.0];
    const GREY: [f64; 3] = [160.0, 156.0, 151.0];
    /// Distance of the border found from the true one, a disc's of radius 60.4 px, the median: the disc is red, its colour
    /// from the border inwards is `colour`.
    fn off(colour: impl Fn(f64) -> [f64; 3]) -> f64 {
        let level = |x: f64, y: f64| {
            // 8 x 8 samples a pixel
            let mut c = [0.0; 3];
            for (a, b) in (0..64).map(|k| (k % 8, k / 8)) {
                let at = [x + (f64::from(a) + 0.5) / 8.0 - MIDDLE[0], y + (f64::from(b) + 0.5) / 8.0 - MIDDLE[1]];
                let here = colour(60.4 - at[0].hypot(at[1]));
                (0..3).for_each(|k| c[k] += here[k] / 64.0);
            }
            c
        };
        let image = image::RgbImage::from_fn(300, 200, |u, v| {
            image::Rgb(level(f64::from(u), f64::from(v)).map(|c| c.round() as u8))
        });
        let mut png = std::io::Cursor::new(Vec::new());
        image.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let photo = decode(png.get_ref(), &PhotoLimits::default()).unwrap();
        let stations: Vec<Station> = (0..200)
            .map(|i| f64::from(i) / 200.0 * std::f64::consts::TAU)
            .map(|a| [a.cos(), a.sin()])
            .map(|n| Station { p: [MIDDLE[0] + 60.0 * n[0], MIDDLE[1] + 60.0 * n[1]], n, hidden: false })
            .collect();
        let edge = super::super::edge::find(&photo, &stations, 8);
        let found: Vec<f64> = settle(&photo, &stations, &edge).into_iter().flatten().map(|o| o - 0.4).collect();
        assert!(found.len() > 190, "{}", found.len());
        crate::num::median(&found)
    }
    /// Bare wood, lighter and darker, one to three pixels wide, before floors unlike the board and like it.
    #[test]
    fn a_narrow_strip_of_wood_belongs_to_the_board() {
        for (wood, floor) in
            [([144.0, 116.0, 82.0], GREY), ([200.0, 162.0, 120.0], GREY), ([144.0, 116.0, 82.0], [178.0, 66.0, 53.0])]
        {
            for width in [1.0, 1.5, 2.0, 3.0] {
                let off = off(|inside| match inside {
                    i if i > width => RED,
                    i if i > 0.0 => wood,
                    _ => floor,
                });
                assert!(off.abs() < 0.3, "{wood:?} {width} px before {floor:?}: {off} px");
            }
        }
    }
    /// A floor darker at the rail's foot, a face darker at its border, and none of both.
    #[test]
    fn a_shadow_at_the_foot_is_the_floors() {
        for foot in [0.0, 1.5, 3.0] {
            let off = off(|inside| match inside {
                i if i > 0.0 => RED,
                i if i > -foot => GREY.map(|v| 0.6 * v),
                _ => GREY,
            });
            assert!(off.abs() < 0.35, "{foot} px: {off} px");
        }
        let off = off(|inside| {
            if inside > 2.0 {
                RED
            } else if inside > 0.0 {
                RED.map(|v| 0.6 * v)
            } else {
                GREY
            }
        });
        assert!(off.abs() < 0.35, "{off} px");
    }
    /// What sharpening adds: a quarter of the step on either side, over a pixel and a half.
    #[test]
    fn so_is_what_sharpening_adds() {
        let over: [f64; 3] = std::array::from_fn(|k| 0.25 * (GREY[k] - RED[k]));
        let add = |c: [f64; 3], s: f64| std::array::from_fn(|k| (c[k] + s * over[k]).clamp(0.0, 255.0));
        let off = off(|inside| match inside {
            i if i > 1.5 => RED,
            i if i > 0.0 => add(RED, -1.0),
            i if i > -1.5 => add(GREY, 1.0),
            _ => GREY,
        });
        assert!(off.abs() < 0.35, "{off} px");
    }
}
