//! What runs by the clock while the house serves. Every job may run any number of times, also in several processes at once,
//! and changes nothing the second time.

use std::time::Duration;

use crate::base::problem::Problem;
use crate::book;
use crate::people;
use crate::privacy;
use crate::rooms;
use crate::store::{FormKey, Kept};
use crate::web::{House, session, token};

/// Runs the jobs every minute until the house is dropped; a failure is logged and tried again the next minute.
pub async fn run(house: House) {
    let mut minute = tokio::time::interval(Duration::from_mins(1));
    loop {
        minute.tick().await;
        for (name, done) in [
            ("forget old forms", house.store.forget_old_forms().await),
            ("tidy the door", tidy_the_door(&house).await),
            ("keep the head of the audit chain", house.store.keep_head().await),
            ("forget files nobody took", rooms::forget_old_previews(&house).await),
            ("go on with imports", rooms::go_on_with_imports(&house).await),
            ("finish erasures", privacy::go_on(&house).await),
        ] {
            if let Err(cause) = done {
                tracing::warn!(job = name, %cause, "a job did not finish; it is tried again in a minute");
            }
        }
    }
}

/// Secrets past their time are shown no more; tries nobody waits for and sessions long over are forgotten.
async fn tidy_the_door(house: &House) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), |tx| {
            Box::pin(async move {
                token::hide(tx, None).await?;
                book::hide_old_addresses(tx).await?;
                people::forget_old_tries(tx).await?;
                session::forget_old(tx).await?;
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}
