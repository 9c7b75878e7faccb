//! `serve`: runs the service.

use std::io::IsTerminal;
use std::time::Duration;

use tracing_subscriber::EnvFilter;

use crate::base::time::Clock;
use crate::config::{Config, LogFormat};
use crate::store::{OpenOptions, Store};
use crate::web::{House, serve as service};
use crate::{jobs, people, places};

/// How long what pages left to be done may take once the house was told to stop.
const FINISH_WITHIN: Duration = Duration::from_secs(5);

/// Runs the service until it is stopped. The configuration has passed [`Config::may_serve`].
///
/// # Errors
/// A sentence for the person at the terminal when it cannot start or had to end.
pub(super) fn serve(config: Config) -> Result<(), String> {
    start_log(&config)?;
    in_runtime(async {
        let store = Store::open(&OpenOptions::of(&config, Clock::System)).await.map_err(|cause| cause.to_string())?;
        run(store, config, false, |_| {}).await
    })
}

/// Listens, tells the terminal where, prints the claim link while the house has no owner, and serves.
pub(super) async fn run(store: Store, config: Config, demo: bool, tell: impl FnOnce(&House)) -> Result<(), String> {
    let listener = tokio::net::TcpListener::bind(config.listen)
        .await
        .map_err(|cause| format!("cannot listen at {}: {cause}", config.listen))?;
    let address = listener.local_addr().map_err(|cause| cause.to_string())?;
    let config = config.listening_at(address);
    println!("listening on http://{address}");
    let home = config.external("/");
    if home.trim_end_matches('/') != format!("http://{address}") {
        println!("people open {home}");
    }
    let house = House::new(store, config, demo);
    tell(&house);
    claim_line(&house).await?;
    tokio::spawn(jobs::run(house.clone()));
    tokio::spawn(jobs::work_off(house.clone()));
    let app = service::app(&house, places::routes());
    let served = service::listen(app, listener, &house.live).await.map_err(|cause| cause.to_string());
    if tokio::time::timeout(FINISH_WITHIN, jobs::finish(&house)).await.is_err() {
        tracing::warn!(left = house.later.waiting(), "some of what pages had left to be done was not done in time");
    }
    house.store.close().await;
    served
}

async fn claim_line(house: &House) -> Result<(), String> {
    let mut db = house.store.read().await.map_err(|cause| cause.to_string())?;
    if people::is_claimed(&mut db).await.map_err(|cause| cause.to_string())? {
        return Ok(());
    }
    let keys = house.store.keys();
    println!("claim this studio: {}", house.config.external(&format!("/claim/{}", people::claim_token(keys))));
    println!();
    println!("Recovery sheet. Write this down and keep it away from this machine:");
    println!("  data    {}", house.config.data_dir.display());
    println!("  keys    {} (key {}, sealing key {})", keys.folder().display(), keys.id(), keys.sealing_id());
    println!(
        "  Keep a copy of the keys folder with, but apart from, your backups: without it what clients said of their"
    );
    println!("  health stays closed for good, and links, tokens and remembered forms cannot be made out again.");
    println!("  Somebody lost her passphrase: stillroom person reset NAME, on this machine.");
    Ok(())
}

/// Runs asynchronous work to its end.
pub(super) fn in_runtime<T>(work: impl Future<Output = Result<T, String>>) -> Result<T, String> {
    tokio::runtime::Builder::new_multi_thread()
        .enable_all()
        .build()
        .map_err(|cause| format!("cannot start: {cause}"))?
        .block_on(work)
}

pub(super) fn start_log(config: &Config) -> Result<(), String> {
    let filter = EnvFilter::try_new(&config.log).map_err(|cause| format!("log: {cause}"))?;
    // Colours are for a terminal; in a file or a journal they are signs nobody can read.
    let lines = tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(std::io::stderr)
        .with_ansi(std::io::stderr().is_terminal());
    match config.log_format {
        LogFormat::Text => lines.init(),
        LogFormat::Json => lines.json().init(),
    }
    Ok(())
}
