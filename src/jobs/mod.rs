//! What runs by the clock while the house serves. Every job may run any number of times, also in several processes at once,
//! and changes nothing the second time. And what pages leave to be done once they are answered.

use std::time::Duration;

use crate::advice;
use crate::base::problem::Problem;
use crate::book;
use crate::clients;
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
            ("let clients be found by newer words", clients::refill(&house).await),
            ("finish erasures", privacy::go_on(&house).await),
            ("forget advice that was shown long ago", advice::forget_shown(&house).await),
        ] {
            if let Err(cause) = done {
                tracing::warn!(job = name, %cause, "a job did not finish; it is tried again in a minute");
            }
        }
    }
}

/// Does what pages leave to be done, one after the other, until the house is dropped.
pub async fn work_off(house: House) {
    loop {
        house.later.came().await;
        let _hand = house.later.hand().await;
        while let Some(todo) = house.later.first() {
            todo.attempt(&house, false).await;
        }
    }
}

/// Does what waits now, also what was to be tried again, for the last time: for a house that stops. Whatever somebody else has in hand is
/// done, too, when it returns.
pub async fn finish(house: &House) {
    let _hand = house.later.hand().await;
    while let Some(todo) = house.later.any() {
        todo.attempt(house, true).await;
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
