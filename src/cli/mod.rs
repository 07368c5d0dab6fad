//! Arguments to one checked job, messages and exit codes.
mod files;
mod jobs;
mod progress;

use clap::{Parser, Subcommand};
use faydeck::{Error, Stage};
use std::path::PathBuf;
use std::process::ExitCode;

/// From a rough phone scan and a tape measurement to a true-size deck and a mating face for an enclosure.
///
/// Exit codes: 0 done; 2 wrong arguments; 3 board file or measurement; 4 scan, photo or enclosure cannot be read;
/// 5 no deck, outline, mating face or gap could be made of it; 6 output cannot be written.
#[derive(Parser)]
#[command(version, about, long_about)]
struct Arguments {
    /// Say nothing on stderr but errors.
    #[arg(long, short, global = true)]
    quiet: bool,
    #[command(subcommand)]
    job: Job,
}
#[derive(Subcommand)]
enum Job {
    /// Write a demo board (scan, board file, first-draft enclosure), build it and map the draft's gaps.
    Demo {
        /// Folder to write to.
        #[arg(long, default_value = "faydeck-demo")]
        out: PathBuf,
    },
    /// Build the deck and the mating face of a board file.
    Build {
        /// The board file.
        board: PathBuf,
        /// Folder to write to.
        #[arg(long)]
        out: PathBuf,
        /// Write only these files, by name (deck.step), first part (deck) or ending (pdf); instead of output.only.
        #[arg(long, value_name = "FILE", value_delimiter = ',')]
        only: Vec<String>,
    },
    /// Write the same points true to size, as PLY in mm.
    Rescale {
        /// The scan.
        scan: PathBuf,
        /// Width rail to rail at the widest place, with its unit: "209.5 mm".
        #[arg(long, value_name = "LEN")]
        width: String,
        /// Length nose to tail, with its unit.
        #[arg(long, value_name = "LEN")]
        length: Option<String>,
        /// The file to write.
        #[arg(short, long)]
        out: PathBuf,
        /// Keep the scan's own axes and origin; change the size only.
        #[arg(long)]
        keep_frame: bool,
    },
    /// Map the gap between an enclosure's rim and the deck.
    Gaps {
        /// The board file.
        board: PathBuf,
        /// The enclosure's mesh in the deck frame, mm.
        enclosure: PathBuf,
        /// Folder to write to.
        #[arg(long)]
        out: PathBuf,
    },
    /// Write a commented board file beside a scan.
    New {
        /// The scan.
        scan: PathBuf,
        /// Width rail to rail at the widest place, with its unit.
        #[arg(long, value_name = "LEN")]
        width: String,
        /// Length nose to tail, with its unit.
        #[arg(long, value_name = "LEN")]
        length: Option<String>,
        /// A photo of the underside.
        #[arg(long)]
        photo: Option<PathBuf>,
        /// The board file to write; by default board.toml beside the scan.
        #[arg(short, long)]
        out: Option<PathBuf>,
    },
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
    let arguments = Arguments::parse();
    match jobs::run(arguments.job, arguments.quiet) {
        Ok(()) => ExitCode::SUCCESS,
        Err(e) => fail(&e),
    }
}
fn fail(e: &Error) -> ExitCode {
    eprintln!("error: {e}");
    ExitCode::from(exit_code(e.stage()))
}
