//! The gap against the distance round the rim, as table and drawing.
use crate::report::GapsReport;
use std::fmt::Write;

/// One line a station; the columns under the rider are empty without one.
pub fn unrolled_csv(report: &GapsReport) -> Vec<u8> {
    let mut o = String::from(
        "rim,along_mm,x_mm,y_mm,gap_mm,least_mm,greatest_mm,standard_uncertainty_mm,verdict,standing_gap_mm,jumping_gap_mm\n",
    );
    for (k, r) in report.rims.iter().enumerate() {
        for (i, s) in r.rim.stations.iter().enumerate() {
            let _ = write!(
                o,
                "{k},{:.2},{:.2},{:.2},{:.4},{:.4},{:.4},{:.4},{}",
                s.along_mm,
                s.x_mm,
                s.y_mm,
                s.gap_mm,
                s.least_mm,
                s.greatest_mm,
                s.standard_uncertainty_mm,
                format!("{:?}", r.gasket.verdicts[i]).to_lowercase()
            );
            for ride in [&r.standing, &r.jumping] {
                let _ =
                    write!(o, ",{}", ride.as_ref().map_or(String::new(), |x| format!("{:.4}", x.stations[i].gap_mm)));
            }
            o.push('\n');
        }
    }
    o.into_bytes()
}

/// Size of one plot and the room round it, mm.
const PLOT: [f64; 2] = [240.0, 60.0];
const ROOM: f64 = 18.0;

/// The next of 1, 2, 5, 10, 20, 50 ... that is no less than `v`.
fn round_step(v: f64) -> f64 {
    let power = 10.0_f64.powf(v.max(1.0).log10().floor());
    [1.0, 2.0, 5.0].into_iter().map(|m| m * power).find(|s| *s >= v).unwrap_or(10.0 * power)
}
/// A plot for each rim: the gap with its band of twice the standard uncertainty, standing and jumping dashed, the gaps at which
/// the gasket seals shaded.
pub fn unrolled_svg(report: &GapsReport) -> Vec<u8> {
    let (w, step) = (PLOT[0] + 2.0 * ROOM, PLOT[1] + 2.0 * ROOM);
    let h = step * report.rims.len() as f64;
    let mut o = format!(
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"{w}mm\" height=\"{h}mm\" viewBox=\"0 0 {w} {h}\" font-family=\"sans-serif\" font-size=\"4\"><rect width=\"{w}\" height=\"{h}\" fill=\"white\"/>\n"
    );
    for (k, r) in report.rims.iter().enumerate() {
        let g = &report.gasket;
        let rides = [("5 2", &r.standing), ("1.5 1.5", &r.jumping)];
        let extremes = rides.iter().filter_map(|x| x.1.as_ref()).flat_map(|x| [x.least_mm, x.greatest_mm]);
        let own = r
            .rim
            .stations
            .iter()
            .flat_map(|s| [s.gap_mm - 2.0 * s.standard_uncertainty_mm, s.gap_mm + 2.0 * s.standard_uncertainty_mm]);
        let (lo, hi) = own.chain(extremes).fold((0.0_f64, g.thickness_mm.max(1.0)), |(l, h), v| (l.min(v), h.max(v)));
        let (lo, hi) = (lo.floor(), hi.ceil());
        let x = |s: f64| ROOM + PLOT[0] * s / r.rim.length_mm;
        let y = |v: f64| step * k as f64 + ROOM + PLOT[1] * (hi - v) / (hi - lo);
        let seals = [g.most_ratio, g.least_ratio].map(|s| g.thickness_mm * (1.0 - s));
        let _ = writeln!(
            o,
            "<rect x=\"{ROOM}\" y=\"{:.2}\" width=\"{}\" height=\"{:.2}\" fill=\"#cfe6f3\"/>",
            y(seals[1]),
            PLOT[0],
            y(seals[0]) - y(seals[1])
        );
        let at = |i: usize, k: f64| r.rim.stations[i].gap_mm + k * r.rim.stations[i].standard_uncertainty_mm;
        for run in r.rim.runs() {
            let line = |f: &dyn Fn(usize) -> f64| -> String {
                run.clone().map(|i| format!("{:.2},{:.2} ", x(r.rim.stations[i].along_mm), y(f(i)))).collect()
            };
            let upper = line(&|i| at(i, 2.0));
            let lower = line(&|i| at(i, -2.0));
            let back: Vec<&str> = lower.split_whitespace().rev().collect();
            let _ = writeln!(o, "<polygon points=\"{upper}{}\" fill=\"#888\" fill-opacity=\"0.35\"/>", back.join(" "));
            let _ = writeln!(
                o,
                "<polyline points=\"{}\" fill=\"none\" stroke=\"black\" stroke-width=\"0.5\"/>",
                line(&|i| at(i, 0.0))
            );
            for (dash, ride) in rides {
                if let Some(ride) = ride {
                    let _ = writeln!(
                        o,
                        "<polyline points=\"{}\" fill=\"none\" stroke=\"#b35806\" stroke-width=\"0.5\" stroke-dasharray=\"{dash}\"/>",
                        line(&|i| ride.stations[i].gap_mm)
                    );
                }
            }
        }
        for screw in &r.screws {
            let _ = writeln!(
                o,
                "<path d=\"M{0:.2} {1:.2} v{2:.2}\" stroke=\"#555\" stroke-width=\"0.2\" stroke-dasharray=\"0.6 0.8\"/><text x=\"{0:.2}\" y=\"{3:.2}\" text-anchor=\"middle\" font-size=\"3\">{4}</text>",
                x(screw.along_mm),
                y(hi),
                y(lo) - y(hi),
                y(hi) - 0.6,
                screw.number
            );
        }
        let ticks = ((hi - lo) / 8.0).ceil().max(1.0);
        let mut v = lo;
        while v <= hi {
            let _ = writeln!(
                o,
                "<text x=\"{}\" y=\"{:.2}\" text-anchor=\"end\">{v:.0}</text><path d=\"M{ROOM} {:.2} h{}\" stroke=\"#aaa\" stroke-width=\"0.1\"/>",
                ROOM - 2.0,
                y(v) + 1.4,
                y(v),
                PLOT[0]
            );
            v += ticks;
        }
        let every = round_step(r.rim.length_mm / 8.0);
        for i in 0..=(r.rim.length_mm / every) as usize {
            let s = every * i as f64;
            let _ =
                writeln!(o, "<text x=\"{:.2}\" y=\"{:.2}\" text-anchor=\"middle\">{s:.0}</text>", x(s), y(lo) + 6.0);
        }
        let _ = writeln!(
            o,
            "<text x=\"{ROOM}\" y=\"{:.2}\">gap in mm against the distance round the rim in mm, from the nose's side, counter-clockwise; grey: twice the standard uncertainty</text>",
            y(hi) - 10.0
        );
        let _ = writeln!(
            o,
            "<text x=\"{ROOM}\" y=\"{:.2}\">blue: the gasket of {} mm seals; dashed: standing, dotted: jumping, both estimated for a rigid box; numbers: screws</text>",
            y(hi) - 5.0,
            g.thickness_mm
        );
    }
    o.push_str("</svg>\n");
    o.into_bytes()
}

#[cfg(test)]
mod tests {
    use super::round_step;
    #[test]
    fn steps_are_round() {
        for (v, want) in
            [(0.0, 1.0), (1.0, 1.0), (1.1, 2.0), (17.0, 20.0), (50.0, 50.0), (123.5, 200.0), (501.0, 1000.0)]
        {
            assert!((round_step(v) - want).abs() < 1e-9, "{v}");
        }
    }
}
