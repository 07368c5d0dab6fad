//! Progress on stderr and the seconds of each stage.
use faydeck::Observer;
use indicatif::{ProgressBar, ProgressStyle};
use std::io::IsTerminal;
use std::time::{Duration, Instant};

pub(super) struct Progress {
    bar: Option<ProgressBar>,
    lines: bool,
    begun: Vec<(&'static str, Instant)>,
}
impl Progress {
    pub(super) fn new(quiet: bool) -> Self {
        let terminal = std::io::stderr().is_terminal();
        let bar = (!quiet && terminal).then(|| {
            let bar = ProgressBar::new_spinner();
            if let Ok(style) = ProgressStyle::with_template("{spinner} {msg} ({elapsed})") {
                bar.set_style(style);
            }
            bar.enable_steady_tick(Duration::from_millis(100));
            bar
        });
        Self { bar, lines: !quiet && !terminal, begun: Vec::new() }
    }
    /// Ends the last stage and gives the seconds of each.
    pub(super) fn finish(mut self) -> Vec<(String, f64)> {
        if let Some(bar) = self.bar.take() {
            bar.finish_and_clear();
        }
        let end = Instant::now();
        let next = self.begun.iter().skip(1).map(|b| b.1).chain([end]);
        self.begun.iter().zip(next).map(|(b, n)| (b.0.to_owned(), (n - b.1).as_secs_f64())).collect()
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
