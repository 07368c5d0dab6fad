//! Judges the reconstruction of situations drawn at random: `cargo run --release --example score_scenes -- FROM [TO] [--length]`.
//!
//! A row for each seed, by the width and a photo, with `--length` by a length too: verdict, error of the scale in per cent, stated
//! standard uncertainty and their ratio, rms of the underside and of the outline in mm, and what the situation is; then how many of each
//! verdict, the rms of the ratio, and medians. How verdicts are given: `tests/boards/verdict.rs`.
#![allow(clippy::print_stdout)]
#[path = "../tests/boards/mod.rs"]
mod boards;

use boards::{Given, Kind, Verdict, drawn};

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let (mut seeds, mut length) = (Vec::new(), false);
    for a in std::env::args().skip(1) {
        match a.as_str() {
            "--length" => length = true,
            _ => seeds.push(a.parse::<u64>()?),
        }
    }
    let from = *seeds.first().ok_or("give a seed, or the first and the last of some")?;
    let to = seeds.last().copied().unwrap_or(from);
    let given = Given { length, photo: true };
    let (mut verdicts, mut z, mut scale, mut under, mut edge) =
        (Vec::new(), Vec::new(), Vec::new(), Vec::new(), Vec::new());
    for seed in from..=to {
        let case = drawn(seed);
        let mut made = case.make();
        case.shoot(&mut made);
        let result = case.run(&made, given);
        let verdict = Verdict::of(&case, &result);
        verdicts.push(verdict);
        let kind = match case.kind {
            Kind::Cloud(_) => "cloud",
            Kind::Depth(_) => "depth",
        };
        let about = format!("{kind} {:?} {:?}", case.scene.mounted, case.scene.support);
        match result {
            Ok(s) => {
                println!(
                    "{seed:>6} {verdict:<8?} {:>+7.3} {:>6.3} {:>+5.1} {:>6.2} {:>6.2}  {about}, {:?}",
                    s.scale_pct,
                    s.scale_stated_pct,
                    s.scale_z(),
                    s.under_rms,
                    s.edge_rms,
                    s.outline
                );
                z.push(s.scale_z());
                scale.push(s.scale_pct.abs());
                under.push(s.under_rms);
                edge.push(s.edge_rms);
            }
            Err(e) => println!("{seed:>6} {verdict:<8?} {e}; {about}"),
        }
    }
    let count = |v: Verdict| verdicts.iter().filter(|w| **w == v).count();
    let rms = (z.iter().map(|z| z * z).sum::<f64>() / z.len().max(1) as f64).sqrt();
    println!(
        "{} right, {} told, {} refused, {} SILENT of {}; z rms {rms:.2}, beyond 3: {}; scale {}, underside {}, outline {} (median, 90 %)",
        count(Verdict::Right),
        count(Verdict::Told),
        count(Verdict::Refused),
        count(Verdict::Silent),
        verdicts.len(),
        z.iter().filter(|z| z.abs() > 3.0).count(),
        quantiles(&mut scale),
        quantiles(&mut under),
        quantiles(&mut edge),
    );
    Ok(())
}
fn quantiles(v: &mut [f64]) -> String {
    v.sort_by(f64::total_cmp);
    let at =
        |p: f64| v.get(((v.len() as f64 * p) as usize).min(v.len().saturating_sub(1))).copied().unwrap_or(f64::NAN);
    format!("{:.2}, {:.2}", at(0.5), at(0.9))
}
