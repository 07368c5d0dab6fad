//! What a gap's verdicts ask the builder to do next.
use super::RimReport;
use super::gaps_text::{seal_words, strip_words};
use crate::error::{Stage, Warning};
use crate::gap::{Gasket, Seat};

/// A warning for each thing that keeps the rims from closing, with the next step.
pub(super) fn next_steps(rims: &[RimReport], gasket: &Gasket) -> Vec<Warning> {
    let mut w = Vec::new();
    let mut add = |message: String, hint: String| w.push(Warning::new(Stage::Gap, message, hint));
    for r in rims {
        let g = &r.gasket;
        if !g.sealed_all_round {
            let hint = match g.thinnest_usual_mm {
                Some(_) => format!("change the strip: {}", strip_words(r, gasket)),
                None => "draw the rim on mating-face.step, which follows the deck, and map the gap again before the long print: no usual strip spans gaps that differ this much".into(),
            };
            add(format!("the {} mm gasket is {}", gasket.thickness_mm, seal_words(r)), hint);
        }
        if r.clamp.seat == Seat::Opens {
            add(
                format!(
                    "the flange bends up between screws: estimated {:.1} mm wider there with screws {:.0} mm apart",
                    r.clamp.opening_mm, r.clamp.pitch_mm
                ),
                format!(
                    "set screws at most {:.0} mm apart along the rim, or make the flange thicker",
                    r.clamp.longest_pitch_mm
                ),
            );
        }
        // the jump's gaps are the standing ones and more
        let worst = [("jumping", &r.jumping), ("standing still", &r.standing)]
            .into_iter()
            .find_map(|(how, ride)| Some((how, ride.as_ref().filter(|x| x.least_mm < 0.0)?)));
        if let Some((how, ride)) = worst {
            add(
                format!("with the rider {how} the deck would press {:.1} mm past the rim, by the estimate", -ride.least_mm),
                "take a thicker gasket, or a shorter enclosure; a rim that touches takes the deck's bending on its screws".into(),
            );
        }
    }
    w
}
