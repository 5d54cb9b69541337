//! What is typed, what is opened, what is printed, and the exit status. Nothing is decoded or computed here.
#![allow(clippy::print_stderr, reason = "warnings and errors go to standard error, here only")]

mod arguments;
mod check;
mod compare;
mod document;
mod exit;
mod explain;
mod export;
mod fit;
mod help;
mod inputs;
mod output;
mod patterns;
mod pipe;
mod progress;
mod site_file;
mod stop;
mod streams;
mod terminal;
mod threads;
mod timeline;
mod values;

use std::process::ExitCode;

use clap::Parser;

use self::arguments::Arguments;
use self::arguments::Command;
use self::exit::Status;

pub(crate) fn run() -> ExitCode {
    let arguments = match Arguments::try_parse() {
        Ok(arguments) => arguments,
        Err(error) => {
            // Help and version go to standard output and are a success; a closed pipe is none of our business.
            let status = if error.use_stderr() { Status::NoReport } else { Status::Clear };
            drop(error.print());
            return status.into();
        }
    };
    let outcome = match arguments.command {
        Command::Check(check) => check::run(&check),
        Command::Compare(compare) => compare::run(&compare),
        Command::Completions(shell) => help::completions(&shell),
        Command::Man(manual) => help::manual(&manual),
        Command::Explain(explain) => explain::run(&explain),
        Command::Export(export) => export::run(&export),
        Command::Site(site) => site_file::run(&site),
        Command::Timeline(timeline) => timeline::run(&timeline),
        Command::Fit(fit) => fit::run(&fit),
        Command::Streams(streams) => streams::run(&streams),
    };
    match outcome {
        Ok(status) => status.into(),
        Err(text) => {
            eprintln!("downbeat: {}", downbeat::report::plain(&text));
            Status::NoReport.into()
        }
    }
}
