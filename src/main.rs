//! The command line of faydeck: files, clock and terminal belong here, the work to the library.
#![allow(clippy::print_stdout, clippy::print_stderr)]
mod cli;

fn main() -> std::process::ExitCode {
    cli::run()
}
