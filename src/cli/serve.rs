//! `serve`: runs the service.

use crate::config::Config;

/// Runs the service until it is stopped. The configuration has passed [`Config::may_serve`].
///
/// # Errors
/// A sentence for the person at the terminal when it cannot start or had to end.
pub(super) fn serve(_config: Config) -> Result<(), String> {
    Err("serve is not available in this build.".into())
}
