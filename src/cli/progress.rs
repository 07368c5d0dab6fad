//! Progress on stderr and the seconds of each stage.
use super::Talk;
use faydeck::Observer;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

pub(super) struct Progress {
    bar: Option<ProgressBar>,
    lines: bool,
    timings: bool,
    begun: Vec<(&'static str, Instant)>,
}
impl Progress {
    pub(super) fn new(talk: Talk) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let bar = (!talk.quiet && !talk.verbose && terminal).then(|| {
            let bar = ProgressBar::new_spinner();
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(100));
            bar
        });
        let lines = talk.verbose || !talk.quiet && !terminal;
        Self { bar, lines, timings: talk.timings || talk.verbose, begun: Vec::new() }
    }
    /// Ends the last stage and gives the seconds of each.
    pub(super) fn finish(mut self) -> Vec<(String, f64)> {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
        let end = Instant::now();
        let next = self.begun.iter().skip(1).map(|b| b.1).chain([end]);
        let seconds: Vec<(String, f64)> =
            self.begun.iter().zip(next).map(|(b, n)| (b.0.to_owned(), (n - b.1).as_secs_f64())).collect();
        if self.timings {
            let total = ("all stages".to_owned(), seconds.iter().map(|s| s.1).sum());
            for (stage, s) in seconds.iter().chain([&total]) {
                eprintln!("{s:9.3} s  {stage}");
            }
        }
        seconds
    }
}
impl Observer for Progress {
    fn enter(&mut self, stage: &'static str) {
        self.begun.push((stage, Instant::now()));
        if let Some(bar) = &self.bar {
            bar.set_message(stage);
        }
        if self.lines {
            eprintln!("{stage} ...");
        }
    }
}
