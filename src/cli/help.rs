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
    clap_mangen::Man::new(command.clone())
        .source(version)
        .render(&mut page)
        .map_err(|error| error.to_string())?;
    let page = completed(String::from_utf8(page).map_err(|error| error.to_string())?, &command);
    output::deliver(None, |out| out.write_all(page.as_bytes()))?;
    Ok(Status::Clear)
}

/// The page with what the generator leaves out: that an argument may be given several times, and a heading that manuals
/// have for what begins with the exit status (man-pages(7), from memory).
fn completed(page: String, command: &clap::Command) -> String {
    let several = command
        .get_positionals()
        .filter(|argument| argument.get_num_args().is_some_and(|range| range.max_values() > 1));
    let names = several.flat_map(|argument| argument.get_value_names().unwrap_or_default());
    let page = names.fold(page, |page, name| {
        let once = format!("<\\fI{name}\\fR>");
        page.replace(&once, &format!("{once}..."))
    });
    page.replace(".SH EXTRA\nExit status: ", ".SH EXIT STATUS\n")
}
