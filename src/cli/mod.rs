//! Arguments to one checked job, messages and exit codes.
mod ask;
mod files;
mod jobs;
mod new;
mod progress;

use clap::{CommandFactory, Parser, Subcommand};
use faydeck::{Error, Stage, Warning};
use std::path::PathBuf;
use std::process::ExitCode;

/// Heading of the options that go with all jobs.
const EVERY_JOB: &str = "With every job";

/// From a rough phone scan and a tape measurement to a true-size deck and a mating face for an enclosure.
///
/// Begin with `faydeck new` on your scan, or look at `faydeck demo`. `faydeck explain` tells what may stand in a board file. Lengths carry their unit: "209.5 mm", "8 1/4 in".
///
/// Exit codes: 0 done; 2 wrong arguments; 3 board file or measurement; 4 scan, photo or enclosure cannot be read;
/// 5 no deck, outline, mating face or gap could be made of it; 6 output cannot be written; 7 done, but with warnings (--strict).
#[derive(Parser)]
#[command(version, about, long_about)]
struct Arguments {
    /// Say nothing on stderr but errors.
    #[arg(long, short, global = true, help_heading = EVERY_JOB)]
    quiet: bool,
    /// Say on stderr what was read and what each stage took.
    #[arg(long, short, global = true, help_heading = EVERY_JOB, conflicts_with = "quiet")]
    verbose: bool,
    /// Print the seconds of each stage on stderr at the end.
    #[arg(long, global = true, help_heading = EVERY_JOB)]
    timings: bool,
    /// End with exit code 7 when there were warnings. All files are written all the same.
    #[arg(long, global = true, help_heading = EVERY_JOB)]
    strict: bool,
    /// Threads to work with, at most one for each core; the results are the same for any number [default: one for each core].
    #[arg(long, global = true, help_heading = EVERY_JOB, value_name = "N", value_parser = clap::value_parser!(u16).range(1..))]
    threads: Option<u16>,
    #[command(subcommand)]
    job: Job,
}
#[derive(Subcommand)]
enum Job {
    /// Write a demo board (scan, board file, first-draft enclosure), build it and map the draft's gaps.
    Demo {
        /// Folder to write to.
        #[arg(short, long, value_name = "FOLDER", default_value = "faydeck-demo")]
        out: PathBuf,
    },
    /// Build every file a board file asks for: deck, outline, mating face, enclosure, templates, report.
    Build {
        /// The board file (TOML); `faydeck new` writes one.
        board: PathBuf,
        /// Folder to write to; it is made where there is none, and files of an earlier build are replaced or removed.
        #[arg(short, long, value_name = "FOLDER")]
        out: PathBuf,
        /// Write only these files, by name (deck.step), first part (deck) or ending (pdf); instead of output.only.
        #[arg(long, value_name = "FILE", value_delimiter = ',')]
        only: Vec<String>,
    },
    /// Write a scan's own points true to size, as PLY or STL in mm.
    Rescale {
        /// The scan: PLY, STL, OBJ, glTF, E57, LAS, LAZ, 3MF or points as text, gzipped or not.
        scan: PathBuf,
        /// Width rail to rail at the widest place, with its unit: "209.5 mm".
        #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
        width: String,
        /// Length nose to tail, with its unit; the size is far surer with it.
        #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
        length: Option<String>,
        /// The file to write: .ply, or .stl of a scan with faces.
        #[arg(short, long, value_name = "FILE")]
        out: PathBuf,
        /// Keep the scan's own axes and origin; change the size only.
        #[arg(long)]
        keep_frame: bool,
    },
    /// Map the gap between an enclosure's rim and the deck, at rest and under the rider, and judge the gasket.
    Gaps {
        /// The board file (TOML) of the deck.
        board: PathBuf,
        /// The enclosure's mesh (STL, 3MF, PLY, OBJ, glTF), mm: in the deck frame, as one drawn on mating-face.step is, or anywhere
        /// with --register. Or a scan of the printed part, with --part-length or --part-width.
        enclosure: PathBuf,
        #[command(flatten)]
        how: GapArguments,
        /// Folder to write to; it is made where there is none, and files of an earlier run are replaced.
        #[arg(short, long, value_name = "FOLDER")]
        out: PathBuf,
    },
    /// Write a commented board file beside a scan; in a terminal, ask for what is not given.
    New {
        /// The scan: PLY, STL, OBJ, glTF, E57, LAS, LAZ, 3MF or points as text, gzipped or not.
        scan: PathBuf,
        #[command(flatten)]
        given: Box<new::NewArguments>,
    },
    /// Tell what a key of the board file means: `faydeck explain tape.width`.
    Explain {
        /// The key, or a group such as `tape`; without it the groups are listed.
        key: Option<String>,
    },
    /// Write the whole tool as one page that works in a browser, without network and without this program.
    #[cfg(feature = "page")]
    Page {
        /// The page to write.
        #[arg(short, long, value_name = "FILE", default_value = "faydeck.html")]
        out: PathBuf,
    },
    /// Print a completion script for a shell on stdout.
    Completions {
        /// The shell.
        shell: clap_complete::Shell,
    },
    /// Print the manual on stdout: `faydeck man | man -l -`.
    Man,
}

/// How an enclosure is given to `gaps`.
#[derive(clap::Args)]
struct GapArguments {
    /// Find the enclosure's place by its rim against the mating face; the mesh may lie anywhere, any way up.
    #[arg(long)]
    register: bool,
    /// The enclosure is a scan of the printed part of unknown scale, and this is the outer length of its rim along the board,
    /// read with a tape where it is longest: "340 mm". It is found by its rim.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    part_length: Option<String>,
    /// As --part-length, for the outer width of its rim across the board.
    #[arg(long, value_name = "LEN", allow_hyphen_values = true)]
    part_width: Option<String>,
    /// The scanned part lay on its rim: the rim's face is taken from the flange's back by its thickness. A table in the scan tells
    /// it by itself.
    #[arg(long)]
    rim_down: bool,
    /// Look for the rim only within the board file's footprint: posts and floors beside it are left out.
    #[arg(long)]
    within_footprint: bool,
}

/// How much a job says beside its results.
#[derive(Clone, Copy)]
struct Talk {
    quiet: bool,
    verbose: bool,
    timings: bool,
}

/// What a job that could be done has come to.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Done {
    Well,
    Warned,
}
impl Done {
    fn with(warnings: &[Warning]) -> Self {
        if warnings.is_empty() { Self::Well } else { Self::Warned }
    }
    /// Of two jobs, one after the other.
    fn and(self, next: Self) -> Self {
        if self == Self::Well { next } else { self }
    }
}
/// The exit code of a job with warnings where `--strict` asks for one.
const WARNED: u8 = 7;

/// Threads beyond the cores only wait for each other: thousands take minutes to start.
fn at_most_the_cores(n: usize, quiet: bool) -> usize {
    // where the cores cannot be counted, one is there
    let cores = std::thread::available_parallelism().map_or(1, std::num::NonZero::get);
    if n > cores && !quiet {
        eprintln!("working with {cores} threads, one for each core, not {n}");
    }
    n.min(cores)
}

fn exit_code(stage: Stage) -> u8 {
    match stage {
        Stage::Settings => 3,
        Stage::Scan => 4,
        Stage::Export => 6,
        _ => 5,
    }
}

pub(crate) fn run() -> ExitCode {
    let usual = std::panic::take_hook();
    std::panic::set_hook(Box::new(move |told| {
        if !faydeck::panic_is_caught() {
            usual(told);
        }
    }));
    let arguments = Arguments::parse();
    let Arguments { quiet, verbose, timings, strict, threads, job } = arguments;
    if let Some(n) = threads
        && let Err(e) = set_threads(at_most_the_cores(n.into(), quiet))
    {
        return fail(&e);
    }
    match jobs::run(job, Talk { quiet, verbose, timings }) {
        Ok(Done::Warned) if strict => ExitCode::from(WARNED),
        Ok(_) => ExitCode::SUCCESS,
        Err(e) => fail(&e),
    }
}
#[cfg(feature = "threads")]
fn set_threads(n: usize) -> faydeck::Result<()> {
    rayon::ThreadPoolBuilder::new().num_threads(n).build_global().map_err(|e| {
        Error::new(Stage::Settings, format!("{n} threads cannot be started: {e}")).hint("give a smaller number")
    })
}
#[cfg(not(feature = "threads"))]
fn set_threads(n: usize) -> faydeck::Result<()> {
    if n == 1 {
        return Ok(());
    }
    Err(Error::new(Stage::Settings, format!("this faydeck works with 1 thread, not {n}"))
        .hint("build it with the feature \"threads\""))
}

/// The manual of the command and of its jobs, one after the other, as `roff`.
fn manual() -> std::io::Result<Vec<u8>> {
    let mut command = Arguments::command();
    command.build();
    let mut out = Vec::new();
    clap_mangen::Man::new(command.clone()).render(&mut out)?;
    for job in command.get_subcommands().filter(|j| j.get_name() != "help") {
        let man = clap_mangen::Man::new(job.clone());
        out.extend(format!(".SH \"FAYDECK {}\"\n", job.get_name().to_uppercase()).into_bytes());
        man.render_description_section(&mut out)?;
        man.render_synopsis_section(&mut out)?;
        man.render_options_section(&mut out)?;
    }
    Ok(out)
}
fn completions(shell: clap_complete::Shell) -> Vec<u8> {
    let mut out = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "faydeck", &mut out);
    out
}
fn fail(e: &Error) -> ExitCode {
    eprintln!("error: {e}");
    ExitCode::from(exit_code(e.stage()))
}
