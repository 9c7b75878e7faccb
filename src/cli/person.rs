//! `person`: what whoever runs the machine can do for the people who sign in.

use crate::config::Config;

/// Prints a one-time link with which the person chooses a new passphrase.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn reset(_config: Config, _name: &str) -> Result<(), String> {
    Err("person reset is not available in this build.".into())
}

/// Lists everyone who can sign in.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn list(_config: Config) -> Result<(), String> {
    Err("person list is not available in this build.".into())
}
