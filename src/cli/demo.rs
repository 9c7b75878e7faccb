//! `demo`: runs the invented studio.

use super::args::DemoArgs;
use super::serve::{in_runtime, run, start_log};
use crate::base::time::Clock;
use crate::config::Config;
use crate::demo;
use crate::store::{OpenOptions, Store};
use crate::web::House;

/// Seeds and runs the invented studio.
///
/// # Errors
/// A sentence for the person at the terminal when it cannot start or had to end.
pub(super) fn demo(config: Config, wanted: &DemoArgs) -> Result<(), String> {
    start_log(&config)?;
    in_runtime(async {
        let store = Store::open(&OpenOptions::of(&config, Clock::System)).await.map_err(|cause| cause.to_string())?;
        println!("filling the invented studio; a moment ...");
        let house = House::new(store.clone(), config.clone(), true);
        demo::fill(&house).await.map_err(|cause| cause.to_string())?;
        let tokens = if wanted.print_tokens {
            Some(demo::tokens(&house).await.map_err(|cause| cause.to_string())?)
        } else {
            None
        };
        run(store, config, true, |house| {
            println!("Marram House is invented, and so is everyone in it. Sign in with one of these names:");
            for (name, role) in demo::PEOPLE {
                println!("  {name:<14} {:<10} passphrase: {}", role.word(), demo::PASSPHRASE);
            }
            if let Some((room, sensor, read)) = tokens {
                println!("room {room}");
                println!("sensor-token {sensor}");
                println!("read-token {read}");
            }
            tokio::spawn(go_on(house.clone()));
        })
        .await
    })
}

/// The invented sensors go on sending while the demonstration runs.
async fn go_on(house: House) {
    let mut minute = tokio::time::interval(std::time::Duration::from_mins(1));
    loop {
        minute.tick().await;
        if let Err(cause) = demo::top_up(&house).await {
            tracing::warn!(%cause, "the invented sensors could not send");
        }
    }
}
