//! The command line: flow only; everything else is in the library and in `cli`.

mod cli;

use std::process::ExitCode;

fn main() -> ExitCode {
    cli::run()
}
