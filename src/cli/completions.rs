//! `completions`: the script for a shell.

use super::args;
use super::exit::{Exit, answer};

/// Prints the completion script.
pub(super) fn completions(shell: clap_complete::Shell) -> Result<(), Exit> {
    let mut script = Vec::new();
    clap_complete::generate(shell, &mut args::command(), "stillroom", &mut script);
    answer(&String::from_utf8_lossy(&script))
}
