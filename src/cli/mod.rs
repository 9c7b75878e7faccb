//! The command line: reads what was typed, calls one function a command, prints, and answers with an exit code:
//! 0 done, 1 failed, 2 for input that cannot be read (then standard output stays empty). No rule and no SQL enters here.

#![expect(clippy::print_stdout, reason = "standard output belongs to the command line")]

mod advise;
mod air;
mod args;
mod audit;
mod completions;
mod config;
mod demo;
mod exit;
mod healthcheck;
mod person;
mod serve;

use std::ffi::OsString;
use std::process::ExitCode;

use clap::FromArgMatches;

use args::{AuditCommand, Cli, Command, ConfigCommand, PersonCommand};
use exit::Exit;

pub use args::command;

/// Runs the program with its arguments, the program's name first.
pub fn run(arguments: impl IntoIterator<Item = OsString>) -> ExitCode {
    let matches = match command().try_get_matches_from(arguments) {
        Ok(matches) => matches,
        Err(told) => return exit::of_clap(&told),
    };
    let flags = args::flags(&matches);
    let done = Cli::from_arg_matches(&matches)
        .map_err(|error| Exit::Input(error.to_string()))
        .and_then(|cli| dispatch(cli.command, &flags));
    exit::told(done)
}

fn dispatch(command: Command, flags: &args::Flags) -> Result<(), Exit> {
    // The commands that work on their own input read no configuration, so that a fault in it does not stop them.
    let settled = || config::settle(flags);
    match command {
        Command::Serve => serve::serve(config::may_serve(settled()?.0)?).map_err(Exit::Failed),
        Command::Demo(wanted) => demo::demo(config::settle_demo(flags)?, &wanted).map_err(Exit::Failed),
        Command::Advise(wanted) => advise::advise(&wanted),
        Command::Air(wanted) => air::air(&wanted),
        Command::Person(PersonCommand::Reset { name }) => person::reset(&settled()?.0, &name).map_err(Exit::Failed),
        Command::Person(PersonCommand::List) => person::list(&settled()?.0).map_err(Exit::Failed),
        Command::Audit(AuditCommand::Verify) => audit::verify(&settled()?.0).map_err(Exit::Failed),
        Command::Config(ConfigCommand::Show) => settled().and_then(|(config, shown)| config::show(&config, &shown)),
        Command::Healthcheck => healthcheck::healthcheck(&settled()?.0),
        Command::Completions { shell } => completions::completions(shell),
    }
}
