//! The browser's side of the house: who comes in, forms that survive a double click, headers, page frame, assets.
//! Knows sessions and tokens as rows; knows no part of the job.

pub mod assets;
pub mod cautions;
pub mod checks;
pub mod form;
pub mod frame;
pub mod guard;
pub mod headers;
pub mod incoming;
pub mod keypad;
pub mod later;
pub mod live;
pub mod of_file;
pub mod offline;
pub mod pieces;
pub mod problems;
pub mod routes;
pub mod secret;
pub mod serve;
pub mod session;
pub mod stood;
pub mod studio;
pub mod token;
pub mod turns;
pub mod upload;
pub mod visitor;

use std::sync::Arc;

use crate::config::Config;
use crate::store::Store;

/// So much may wait to be done after pages; each holds what it rests on, some hundred kilobytes.
const LEFT_AT_MOST: usize = 32;

/// What every handler is given: the database, the options, and what one process may do at once.
#[derive(Clone)]
pub struct House {
    /// The database.
    pub store: Store,
    /// The options this process was started with.
    pub config: Arc<Config>,
    /// Turns for hashing passphrases.
    pub hashing: turns::Hashing,
    /// Turns for reading files and for long calculations.
    pub thinking: turns::Turns,
    /// What pages leave to be done once they are answered.
    pub later: later::Later,
    /// Pages that stay open and wait for news.
    pub live: live::Live,
    /// True when the data is the invented studio; a banner says so on every page.
    pub demo: bool,
}

impl House {
    /// A house around an open database.
    #[must_use]
    pub fn new(store: Store, config: Config, demo: bool) -> Self {
        Self {
            store,
            config: Arc::new(config),
            hashing: turns::Hashing::default(),
            thinking: turns::Turns::new(2, 32),
            later: later::Later::new(LEFT_AT_MOST),
            live: live::Live::default(),
            demo,
        }
    }

    /// A path of ours with the base path before it.
    #[must_use]
    pub fn url(&self, path: &str) -> String {
        self.config.url(path)
    }
}
