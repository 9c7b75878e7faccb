//! `person`: what whoever runs the machine can do for the people who sign in. Works beside a running service.

use super::serve::in_runtime;
use crate::base::problem::Problem;
use crate::base::time::Clock;
use crate::config::Config;
use crate::people;
use crate::store::{FormKey, Kept, OpenOptions, Store};

/// Prints a one-time link with which the person chooses a new passphrase.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn reset(config: &Config, name: &str) -> Result<(), String> {
    in_runtime(async {
        let store = beside(config).await?;
        let (inner, wanted) = (store.clone(), name.to_owned());
        let made = store
            .write(&FormKey::house(), move |tx| {
                let (store, name) = (inner.clone(), wanted.clone());
                Box::pin(async move { people::reset_link(tx, store.keys(), &name).await.map(Kept::see) })
            })
            .await;
        match made {
            Ok(kept) => {
                println!("{} chooses a new passphrase within 15 minutes at", name.trim());
                println!("  {}", config.external(&kept.location));
                println!("She was signed out everywhere. The old passphrase counts until she has chosen.");
                Ok(())
            }
            Err(Problem::NotHere(_)) => {
                Err(format!("nobody who works here is called {name}; see: stillroom person list"))
            }
            Err(problem) => Err(problem.to_string()),
        }
    })
}

/// Lists everyone who can sign in.
///
/// # Errors
/// A sentence for the person at the terminal.
pub(super) fn list(config: &Config) -> Result<(), String> {
    in_runtime(async {
        let store = beside(config).await?;
        let mut db = store.read().await.map_err(|cause| cause.to_string())?;
        for person in people::everyone(&mut db).await.map_err(|cause| cause.to_string())? {
            let state = if person.left.is_some() {
                "left"
            } else if person.can_sign_in() {
                "signs in"
            } else {
                "invited"
            };
            println!("{:<12} {:<10} {}", person.role.word(), state, person.name);
        }
        Ok(())
    })
}

async fn beside(config: &Config) -> Result<Store, String> {
    Store::open_beside(&OpenOptions::of(config, Clock::System)).await.map_err(|cause| cause.to_string())
}
