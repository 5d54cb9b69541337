//! `downbeat completions` and `downbeat man`: what shells and manuals are given comes from the same table as `--help`.

use clap::CommandFactory;

use super::arguments::Arguments;
use super::arguments::Completions;
use super::arguments::Manual;
use super::exit::Status;
use super::output;

/// Writes the completions of a shell.
pub(crate) fn completions(completions: &Completions) -> Result<Status, String> {
    let mut command = Arguments::command();
    let name = command.get_name().to_owned();
    // Into memory first: what is written there cannot fail, and a closed pipe is seen when it is delivered.
    let mut script = Vec::new();
    clap_complete::generate(completions.shell, &mut command, name, &mut script);
    output::deliver(None, |out| out.write_all(&script))?;
    Ok(Status::Clear)
}

/// Writes the manual page of the program, or of one command.
pub(crate) fn manual(manual: &Manual) -> Result<Status, String> {
    let mut program = Arguments::command();
    program.build();
    let command = match &manual.command {
        None => program,
        Some(wanted) => {
            let known: Vec<&str> = program.get_subcommands().map(clap::Command::get_name).collect();
            let Some(command) = program.find_subcommand(wanted) else {
                return Err(format!("there is no command {wanted}; there are {}", known.join(", ")));
            };
            command.clone()
        }
    };
    let mut page = Vec::new();
    let version = format!("downbeat {}", env!("CARGO_PKG_VERSION"));
    clap_mangen::Man::new(command).source(version).render(&mut page).map_err(|error| error.to_string())?;
    output::deliver(None, |out| out.write_all(&page))?;
    Ok(Status::Clear)
}
