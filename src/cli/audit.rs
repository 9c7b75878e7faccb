//! `audit`: the record of who changed what. Works beside a running service.

use super::serve::in_runtime;
use crate::base::time::Clock;
use crate::config::Config;
use crate::store::audit::{self, Verdict};
use crate::store::{OpenOptions, Store};

/// Walks the chain and names the first line that does not fit.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn verify(config: &Config) -> Result<(), String> {
    in_runtime(async {
        let store =
            Store::open_beside(&OpenOptions::of(config, Clock::System)).await.map_err(|cause| cause.to_string())?;
        let mut db = store.read().await.map_err(|cause| cause.to_string())?;
        match audit::verify(&mut db).await.map_err(|cause| cause.to_string())? {
            Verdict::Whole { lines, head } => {
                println!("{lines} lines, each bound to the one before it.");
                println!("head {head}");
                println!("A cut-off end shows only by comparing this head with one kept elsewhere.");
                Ok(())
            }
            Verdict::BrokenAt(line) => Err(format!("line {line} of the audit chain is missing or was changed")),
        }
    })
}
