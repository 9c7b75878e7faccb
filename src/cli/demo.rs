//! `demo`: runs the invented studio.

use super::args::DemoArgs;
use crate::config::Config;

/// Seeds and runs the invented studio.
///
/// # Errors
/// A sentence for the person at the terminal when it cannot start or had to end.
pub(super) fn demo(_config: Config, _wanted: DemoArgs) -> Result<(), String> {
    Err("demo is not available in this build.".into())
}
