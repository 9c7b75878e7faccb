//! What can be typed: the commands with their help, and the options of the service from their table.

use std::collections::BTreeMap;
use std::path::PathBuf;

use clap::parser::ValueSource;
use clap::{Arg, ArgMatches, Args, CommandFactory, Parser, Subcommand};

use super::config::DEMO_DATA_DIR;
use crate::config::{CONFIG_FILE, ConfigOption, FILE_IN_DATA_DIR, Kind, OPTIONS};

/// Options given on the command line, by name.
pub(super) type Flags = BTreeMap<String, String>;

/// The commands that work on their own input: the options of the service mean nothing to them.
const WITHOUT_OPTIONS: [&str; 3] = ["advise", "air", "completions"];

const AFTER_HELP: &str = "\
Every option of the service can be given as a flag (--data-dir), as an environment variable (STILLROOM_DATA_DIR) or in \
a TOML file (data_dir = \"…\"); a flag counts before the environment, the environment before the file. \
`stillroom serve --help` explains each of them, `stillroom config show` prints what counts and where it came from.

Exit codes: 0 done, 1 failed, 2 for input that cannot be read.";

/// Rooms, hands and adhesives of an eyelash-extension studio, put together into advice.
#[derive(Debug, Parser)]
#[command(name = "stillroom", version, about, after_long_help = AFTER_HELP, disable_help_subcommand = true)]
pub(super) struct Cli {
    #[command(subcommand)]
    pub(super) command: Command,
}

#[derive(Debug, Subcommand)]
pub(super) enum Command {
    /// Run the studio's service until it is stopped.
    ///
    /// Creates the data folder on the first run and prints a link with which the owner claims the studio, once. The
    /// database is brought up to this version first; a backup is made before that. Ctrl-C or a termination signal
    /// finishes the requests under way and ends.
    Serve,
    /// Run an invented studio with months of data, to look around.
    ///
    /// Listens at loopback unless told otherwise and prints a sign-in for each invented person. Every page carries a
    /// banner that this is demo data. So that it never touches a real studio, the environment does not count here, only
    /// flags and a TOML file, and the data folder is ./stillroom-demo unless --data-dir names another.
    Demo(DemoArgs),
    /// Tell which cure-speed class fits, from a plain file.
    ///
    /// Reads one JSON object with the room, the timings of one artist and the classes or bottles to judge, and prints
    /// the class that fits with its reasons. Needs no database. This is advice about timing; it says nothing about
    /// how a skin or an eye reacts.
    Advise(AdviseArgs),
    /// Work out dew point, vapour density, vapour pressure and wet bulb of air.
    ///
    /// Example: `stillroom air 21.0 38` for air of 21 °C at 38 % relative humidity.
    Air(AirArgs),
    /// Look after the people who sign in, on this machine.
    #[command(subcommand)]
    Person(PersonCommand),
    /// Check the record of who changed what.
    #[command(subcommand)]
    Audit(AuditCommand),
    /// Look at the configuration.
    #[command(subcommand)]
    Config(ConfigCommand),
    /// Ask the running service whether it is ready; exit code 0 when it is, 1 when not.
    ///
    /// Requests /readyz at the configured listen address, below base_path, and waits at most three seconds. Meant for
    /// containers and supervisors: give it the same configuration as the service.
    Healthcheck,
    /// Print a script that lets a shell complete commands and options.
    ///
    /// For bash: `stillroom completions bash > /etc/bash_completion.d/stillroom`.
    Completions {
        /// The shell that will read it.
        shell: clap_complete::Shell,
    },
}

/// What `demo` can be told.
#[derive(Debug, Clone, Args)]
pub(super) struct DemoArgs {
    /// Also print a sensor token and a read token, for trying the interface for programs.
    #[arg(long)]
    pub(super) print_tokens: bool,
}

/// What `advise` can be told.
#[derive(Debug, Clone, Args)]
pub(super) struct AdviseArgs {
    /// The file with the question, or - to read it from standard input. Several are answered one after the other.
    #[arg(required = true, value_name = "FILE")]
    pub(super) files: Vec<PathBuf>,
    /// Print each answer as one JSON object.
    #[arg(long)]
    pub(super) json: bool,
}

/// What `air` can be told.
#[derive(Debug, Clone, Args)]
pub(super) struct AirArgs {
    /// The temperature in °C; negative ones are fine, and so is a decimal comma.
    #[arg(value_name = "TEMPERATURE", allow_hyphen_values = true)]
    pub(super) temperature: String,
    /// The relative humidity in per cent.
    #[arg(value_name = "HUMIDITY", allow_hyphen_values = true)]
    pub(super) humidity: String,
    /// The air pressure in pascals; the wet bulb depends on it a little.
    #[arg(long, value_name = "PASCALS", default_value = "101325")]
    pub(super) pressure_pa: String,
    /// Print the answer as one JSON object.
    #[arg(long)]
    pub(super) json: bool,
}

#[derive(Debug, Subcommand)]
pub(super) enum PersonCommand {
    /// Print a one-time link with which a person chooses a new passphrase.
    ///
    /// For a forgotten passphrase: no mail is needed, only access to this machine. Works beside a running service.
    Reset {
        /// The name the person signs in with.
        name: String,
    },
    /// List everyone who can sign in, with their role.
    List,
}

#[derive(Debug, Subcommand)]
pub(super) enum AuditCommand {
    /// Recompute the chain of entries and name the first one that was changed or is missing.
    Verify,
}

#[derive(Debug, Subcommand)]
pub(super) enum ConfigCommand {
    /// Print every option with its value and where it came from; secrets are masked.
    Show,
}

/// The whole command line, with the options of the service.
#[must_use]
pub fn command() -> clap::Command {
    let options = Wording::Service.options();
    let of_demo = Wording::Demo.options().into_iter().map(|option| option.global(false));
    let mut command = Cli::command().mut_subcommand("demo", |inner| inner.args(of_demo));
    for name in WITHOUT_OPTIONS {
        let hidden = options.iter().map(|option| option.clone().hide(true).global(false));
        command = command.mut_subcommand(name, |inner| inner.args(hidden));
    }
    command.args(options)
}

/// The options that were typed, wherever among the commands they stood.
pub(super) fn flags(matches: &ArgMatches) -> Flags {
    let mut innermost = matches;
    while let Some((_, inner)) = innermost.subcommand() {
        innermost = inner;
    }
    let twins = OPTIONS.iter().filter_map(ConfigOption::file_name);
    let names = OPTIONS.iter().map(|option| option.name.to_owned()).chain(twins).chain([CONFIG_FILE.to_owned()]);
    let typed = |name: String| {
        let typed = innermost.value_source(&name) == Some(ValueSource::CommandLine);
        let text = typed.then(|| innermost.get_one::<String>(&name).cloned()).flatten()?;
        Some((name, text))
    };
    names.filter_map(typed).collect()
}

/// Whose options a help text tells of: the demo reads no environment and has a data folder of its own.
#[derive(Clone, Copy)]
enum Wording {
    Service,
    Demo,
}

impl Wording {
    fn options(self) -> Vec<Arg> {
        std::iter::once(file_flag(self)).chain(OPTIONS.iter().flat_map(|option| flags_of(option, self))).collect()
    }

    /// What an option does, and where its value comes from when the flag is not given.
    fn help(self, does: &str, variable: &str, default: Option<&str>) -> String {
        let variable = match self {
            Self::Service => Some(format!("[environment: {variable}]")),
            Self::Demo => None,
        };
        let default = default.map(|default| format!("[default: {default}]"));
        let origin: Vec<String> = variable.into_iter().chain(default).collect();
        format!("{does}\n{}", origin.join(" ")).trim_end().to_owned()
    }

    fn default_of(self, option: &ConfigOption) -> &'static str {
        match (self, option.name) {
            (Self::Demo, "data_dir") => DEMO_DATA_DIR,
            _ => option.default.words(),
        }
    }
}

fn file_flag(wording: Wording) -> Arg {
    let default = format!("{FILE_IN_DATA_DIR} in the data folder, when it is there");
    let help = wording.help("The TOML file with options.", "STILLROOM_CONFIG", Some(&default));
    service_flag(CONFIG_FILE, "FILE").help(help)
}

/// The flag of an option, and for a secret the flag of its file.
fn flags_of(option: &'static ConfigOption, wording: Wording) -> Vec<Arg> {
    let range = match option.kind {
        Kind::Whole(lowest, highest) => format!(" From {lowest} to {highest}."),
        _ => String::new(),
    };
    let does = format!("{}{range}", option.help);
    let help = wording.help(&does, &option.variable(), Some(wording.default_of(option)));
    let mut flag = service_flag(option.name, option.placeholder).help(help);
    if option.kind == Kind::Switch {
        flag = flag.num_args(0..=1).require_equals(true).default_missing_value("true");
    }
    let twin = option.file_name().map(|name| {
        let does = format!("A file whose content is {}; a newline at its end is left out.", option.name);
        service_flag(&name, "FILE").help(wording.help(&does, &format!("{}_FILE", option.variable()), None))
    });
    std::iter::once(flag).chain(twin).collect()
}

fn service_flag(name: &str, placeholder: &'static str) -> Arg {
    Arg::new(kept(name.to_owned()))
        .long(kept(name.replace('_', "-")))
        .value_name(placeholder)
        .global(true)
        .hide_short_help(true)
        .help_heading("Options of the service")
}

/// A name for the rest of the program's life: the parser takes no others, and the table is read once or twice a run.
fn kept(name: String) -> &'static str {
    name.leak()
}

#[cfg(test)]
mod tests {
    #[test]
    fn no_command_or_option_contradicts_another() {
        super::command().debug_assert();
    }

    #[test]
    fn an_option_counts_before_and_after_the_demo() {
        for typed in [["--data-dir", "x", "demo"], ["demo", "--data-dir", "x"]] {
            let matches = super::command().try_get_matches_from(std::iter::once("stillroom").chain(typed)).unwrap();
            assert_eq!(super::flags(&matches), [("data_dir".to_owned(), "x".to_owned())].into(), "{typed:?}");
        }
    }
}
