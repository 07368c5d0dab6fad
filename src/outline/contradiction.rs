//! What of a photo contradicts the scan, or what is known of its camera.
use super::STATIONS;
use super::camera::Lens;
use super::joint::Joint;
use super::prior::LensPrior;
use super::rim::offset;
use crate::error::{Stage, Warning};
use crate::frame::{TapeReading, TapeReport};
use crate::num::rms;

/// Rims of fused scans differ by 1 to 2 mm between ends and sides in trials; beyond this rms, mm, photo and scan contradict.
pub(super) const UNEVEN_MM: f64 = 2.0;
/// Scans lose up to some 5 mm of the rail; a rail farther off the scan's rim, mm rms, is another one.
pub(super) const LOST_MM: f64 = 5.0;
/// Standard deviations of the focal length beyond which the lens found is no usual one: 1 in 16,000 by a normal law.
const LENS_SIGMAS: f64 = 4.0;

fn off(number: usize, mm: f64, limit: f64) -> Warning {
    Warning::new(
        Stage::Outline,
        format!(
            "photo {number} contradicts the scan: its rail is {mm:.1} mm rms off the scan's rim, {limit} mm is usual at most"
        ),
        "look at photo-outline.jpg: is it this board, unsqueezed, and is the yellow line on its rail?",
    )
}
/// A rail that one camera does not bring to the scan's rim (`rms_mm`, one displacement allowed), or only by moving it far.
pub(super) fn rail(number: usize, rms_mm: f64, joint: &Joint) -> Option<Warning> {
    let lost = rms(&(0..STATIONS).map(|i| offset(&joint.d, i)).collect::<Vec<_>>()) * joint.ln_scale.exp();
    if lost > LOST_MM {
        return Some(off(number, lost, LOST_MM));
    }
    (rms_mm > UNEVEN_MM).then(|| off(number, rms_mm, UNEVEN_MM))
}
/// Pieces of the border that leave the scan's rim, by so many mm before the scale `s`.
pub(super) fn over_the_rail(number: usize, strays_mm: &[Option<f64>], s: f64) -> Option<Warning> {
    let n = strays_mm.len();
    let pieces = (0..n).filter(|&i| strays_mm[i].is_some() && strays_mm[(i + n - 1) % n].is_none()).count();
    let most = strays_mm.iter().flatten().fold(0.0, |m: f64, o| m.max(o.abs())) * s;
    (pieces > 0).then(|| {
        Warning::new(
            Stage::Outline,
            format!(
                "the border in photo {number} leaves the scan's rim by up to {most:.0} mm in {pieces} {}, as where something lies \
                 over the rail that the scan does not show; it is not followed there",
                if pieces == 1 { "place" } else { "places" }
            ),
            "take off what is in front of the rail (trucks, straps), or trace the rail by hand and give that as photo.path",
        )
    })
}
/// A photo that was found to be cut, which its file does not tell; `px` is how many of the file's pixels go to one of the solve's.
pub(super) fn cut(number: usize, found: &Lens, prior: &LensPrior, px: f64) -> Warning {
    let [x, y] = [0, 1].map(|k| (found.centre[k] - prior.centre[k]) * px);
    Warning::new(
        Stage::Outline,
        format!(
            "photo {number} seems to have been cut: its lens looked at a place {:.0} pixels off its middle",
            x.hypot(y)
        ),
        "give the photo as the camera wrote it: what its lens is like is then known better",
    )
}
/// A lens far from what is believed of it; `px` is how many of the file's pixels go to one of the solve's.
pub(super) fn lens(number: usize, found: &Lens, prior: &LensPrior, px: f64) -> Option<Warning> {
    let (by, sd) = (prior.deviation(found)[0], prior.sd()[0]);
    (by.abs() > LENS_SIGMAS * sd).then(|| {
        Warning::new(
            Stage::Outline,
            format!(
                "the camera of photo {number} comes out with a focal length of {:.0} pixels, {:.0} give or take {:.0} % are \
                 expected",
                found.focal * px,
                prior.focal * px,
                100.0 * sd
            ),
            "give the photo as the camera wrote it, with its EXIF data, not squeezed or cut, taken without zoom",
        )
    })
}
/// Half a sentence where only a lens that no phone has would show the scanned board so, and where the tape contradicts that too:
/// another board's photo fits any scan with enough of a lens.
pub(super) fn another_board(number: usize, found: &Lens, prior: &LensPrior, tape: &TapeReport) -> Option<String> {
    let sigmas = prior.deviation(found).into_iter().zip(prior.sd()).map(|(by, sd)| by.abs() / sd);
    let odd = sigmas.fold(0.0, f64::max);
    let worst = tape.readings.iter().filter(|r| !r.agrees).max_by(|a, b| {
        let off = |r: &TapeReading| (r.against_rest_mm / r.reading_mm).abs();
        off(a).total_cmp(&off(b))
    })?;
    (odd > LENS_SIGMAS).then(|| {
        format!(
            "photo {number} shows another board, or is squeezed: the scan's rim fits it only through a lens {odd:.1} standard \
             deviations from a usual one, {LENS_SIGMAS} is the limit, and then the tape's {} is {:+.0} mm off",
            worst.name, worst.against_rest_mm
        )
    })
}
#[cfg(test)]
mod tests {
    use super::*;
    /// A lens of five standard deviations with a tape that disagrees; neither alone.
    #[test]
    fn another_board_takes_both() {
        let prior = LensPrior { focal: 1000.0, focal_sd: 0.15, centre: [0.0; 2], centre_sd: 0.005 };
        let lens = |k: f64| Lens { focal: 1000.0, k: [k, 0.0], centre: [0.0; 2] };
        let reading = |agrees| TapeReading {
            name: "width".into(),
            reading_mm: 226.0,
            residual_mm: 1.0,
            against_rest_mm: -9.8,
            agrees,
            checked: true,
            slip_seen_mm: Some(5.0),
        };
        let tape = |agrees| TapeReport { readings: vec![reading(agrees)], ..TapeReport::default() };
        let told = another_board(2, &lens(-0.27), &prior, &tape(false)).unwrap();
        assert!(told.contains("photo 2 shows another board") && told.contains("width is -10 mm off"), "{told}");
        assert!(another_board(1, &lens(-0.27), &prior, &tape(true)).is_none());
        assert!(another_board(1, &lens(-0.1), &prior, &tape(false)).is_none());
    }
    #[test]
    fn a_cut_is_told_in_pixels_of_the_file() {
        let prior = LensPrior { focal: 1000.0, focal_sd: 0.15, centre: [800.0, 600.0], centre_sd: 0.1 };
        let w = cut(3, &Lens { focal: 1000.0, k: [0.0; 2], centre: [830.0, 560.0] }, &prior, 2.0);
        assert!(w.message.contains("photo 3 seems to have been cut") && w.message.contains("100 pixels off"), "{w:?}");
    }
    #[test]
    fn pieces_over_the_rail_are_counted_round_it() {
        let mut strays = vec![None; 20];
        [(0, 4.0), (1, 4.0), (8, -11.0), (19, 4.0)].into_iter().for_each(|(i, mm)| strays[i] = Some(mm));
        let w = over_the_rail(1, &strays, 1.1).unwrap();
        assert!(w.message.contains("by up to 12 mm in 2 places"), "{w:?}");
        assert!(over_the_rail(1, &[None; 20], 1.0).is_none());
    }
    #[test]
    fn a_squeezed_photos_lens_is_told_and_a_usual_one_is_not() {
        let prior = LensPrior { focal: 1000.0, focal_sd: 0.15, centre: [0.0; 2], centre_sd: 0.005 };
        let found = |focal: f64| Lens { focal, k: [0.0; 2], centre: [0.0; 2] };
        for focal in [700.0, 1000.0, 1500.0] {
            assert!(lens(1, &found(focal), &prior, 1.0).is_none());
        }
        // e^(4 x 0.15) = 1.82
        let w = lens(2, &found(2000.0), &prior, 2.0).unwrap();
        assert!(w.message.contains("photo 2") && w.message.contains("4000 pixels, 2000 give or take 15 %"), "{w:?}");
    }
}
