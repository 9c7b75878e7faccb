//! `audit`: the record of who changed what, and whether what it tells of is still as it was kept. Works beside a running service.

use super::serve::in_runtime;
use crate::adhesives;
use crate::base::text::count;
use crate::base::time::Clock;
use crate::clearance;
use crate::clients::consents;
use crate::config::Config;
use crate::store::audit::{self, Broken, Verdict};
use crate::store::{OpenOptions, Store};

/// Walks the chain and names the first line that does not fit; then holds consents, what is recorded of clearance and lots that were put right against it.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn verify(config: &Config) -> Result<(), String> {
    in_runtime(async {
        let store =
            Store::open_beside(&OpenOptions::of(config, Clock::System)).await.map_err(|cause| cause.to_string())?;
        let mut db = store.read().await.map_err(|cause| cause.to_string())?;
        match audit::verify(&mut db, store.keys(), &store.heads()).await.map_err(|cause| cause.to_string())? {
            Verdict::Whole { lines, head } => {
                let keys = store.keys();
                let consents = consents::verify(&mut db, keys).await.map_err(|cause| cause.to_string())?;
                let papers = clearance::verify(&mut db, keys).await.map_err(|cause| cause.to_string())?;
                let lots = adhesives::verify(&mut db, keys).await.map_err(|cause| cause.to_string())?;
                let told =
                    [of("consent", &consents), of("record of clearance", &papers), of("lot put right", &lots)].concat();
                if !told.is_empty() {
                    return Err(told.join("\n"));
                }
                println!("{lines} lines, each bound to the one before it.");
                println!(
                    "Every consent, decision, doctor’s paper, patch test, reaction, complaint, stop and incident of staff, who met what, who was told and which lot was put right are as the chain has them."
                );
                println!("head {head}");
                println!("compared with {} in {}", count(store.heads().len(), "head"), store.heads_file().display());
                println!(
                    "A cut-off end shows by a head kept elsewhere: copy that file to another machine now and then."
                );
                Ok(())
            }
            Verdict::BrokenAt(line) => {
                Err(format!("line {line} of the audit chain, or one before it, is missing or was changed"))
            }
        }
    })
}

fn of(what: &str, broken: &[Broken]) -> Vec<String> {
    broken.iter().map(|one| format!("{what} {one}")).collect()
}
