//! Every option of the service: flag = environment = file, and where each value came from.
//!
//! One table (`options.rs`) names them; `resolve.rs` picks the value that counts; `parse.rs` makes it typed;
//! `show.rs` prints it with secrets masked. The studio's own settings (name, zone, limits) do not belong here:
//! they are rows, changed on a page. Knows no database, no page and no part.

mod options;
mod parse;
mod resolve;
mod show;

use std::fmt;
use std::net::{IpAddr, SocketAddr};
use std::path::PathBuf;
use std::time::Duration;

use ipnet::IpNet;

pub use options::{CONFIG_FILE, ConfigOption, FILE_IN_DATA_DIR, Fallback, Kind, OPTIONS, PREFIX, TEST_PREFIX};
pub use parse::ExternalUrl;
pub use resolve::Origin;
pub use show::{Shown, masked_url, table};

/// Everything the service was told at its start, typed and checked.
#[derive(Debug, Clone)]
pub struct Config {
    /// The address and port the service listens at. Port 0 lets the machine choose one.
    pub listen: SocketAddr,
    /// The folder of the database, the backups and the uploads.
    pub data_dir: PathBuf,
    /// The folder of the keys; never inside `data_dir`.
    pub keys_dir: PathBuf,
    /// Which database, and where.
    pub database: Database,
    /// `""` at the root of the host, or for instance `/studio`: one leading slash, none at the end.
    pub base_path: String,
    /// The address people type: scheme, host and port without a path.
    pub external_url: ExternalUrl,
    /// Whether plain HTTP on an address other than loopback was explicitly allowed.
    pub insecure_http: bool,
    /// The networks whose `X-Forwarded-For` is believed; none unless told.
    pub trusted_proxies: Vec<IpNet>,
    /// How long a sign-in lives without a request.
    pub session_idle: Duration,
    /// How long a sign-in lives at most.
    pub session_length: Duration,
    /// The largest upload, in megabytes of 1 000 000 bytes.
    pub max_upload_mb: u32,
    /// How many connections read the database side by side.
    pub read_connections: u32,
    /// How long one request may take.
    pub request_timeout: Duration,
    /// Which log lines are written, in the filter form `info,stillroom::web=debug`.
    pub log: String,
    /// How a log line looks.
    pub log_format: LogFormat,
    /// How many of the backups made before migrations are kept.
    pub backups_keep: u32,
    /// Whether `external_url` follows from `listen` because nobody gave it.
    external_url_derived: bool,
}

/// Which database the studio lives in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Database {
    /// One SQLite file at this path.
    Sqlite(PathBuf),
    /// PostgreSQL, at a URL that may carry a password.
    Postgres(Secret),
}

/// A text that never appears in a log or a debug print.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret(String);

impl Secret {
    /// Hides a text.
    #[must_use]
    pub const fn new(text: String) -> Self {
        Self(text)
    }

    /// The text itself, for the one place that needs it.
    #[must_use]
    pub fn reveal(&self) -> &str {
        &self.0
    }
}

impl fmt::Debug for Secret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Secret(***)")
    }
}

/// How a log line looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LogFormat {
    /// For people.
    Text,
    /// One JSON object a line, for collectors.
    Json,
}

/// What is wrong with the configuration: one sentence a fault, each naming the option and where it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ConfigError {
    /// The sentences, in the order found.
    pub sentences: Vec<String>,
}

impl fmt::Display for ConfigError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.sentences.join("\n"))
    }
}

impl std::error::Error for ConfigError {}

impl Config {
    /// Whether people reach the service by HTTPS (its own or a proxy's).
    #[must_use]
    pub fn is_https(&self) -> bool {
        self.external_url.is_https()
    }

    /// Whether the external address is this machine alone.
    #[must_use]
    pub fn is_loopback(&self) -> bool {
        self.external_url.is_loopback()
    }

    /// Whether browsers grant a page of ours what they keep for secure pages: service worker, wake lock, WebCrypto,
    /// `__Host-` cookies. True for HTTPS and for loopback.
    #[must_use]
    pub fn secure_context(&self) -> bool {
        self.is_https() || self.is_loopback()
    }

    /// The name of the session cookie. On plain HTTP elsewhere than loopback a browser drops a `__Host-` cookie.
    #[must_use]
    pub fn cookie_name(&self) -> &'static str {
        if self.secure_context() { "__Host-stillroom" } else { "stillroom" }
    }

    /// A path of ours as a page links to it: `url("/rooms")` is `/studio/rooms` under the base path `/studio`.
    #[must_use]
    pub fn url(&self, path: &str) -> String {
        format!("{}{path}", self.base_path)
    }

    /// A path of ours as an absolute address, for instance for an invitation.
    #[must_use]
    pub fn external(&self, path: &str) -> String {
        format!("{}{}{path}", self.external_url.origin(), self.base_path)
    }

    /// Whether a request that comes from this address has its `X-Forwarded-For` believed. An IPv4 address that arrives
    /// in IPv6 clothes, as it does when listening at `[::]`, counts as what it is.
    #[must_use]
    pub fn trusts(&self, peer: IpAddr) -> bool {
        let peer = peer.to_canonical();
        self.trusted_proxies.iter().any(|network| network.contains(&peer))
    }

    /// The largest upload in bytes.
    #[must_use]
    pub fn max_upload_bytes(&self) -> usize {
        self.max_upload_mb as usize * 1_000_000
    }

    /// The same configuration once the real address is known: with port 0 the machine chose the port, and an
    /// external URL that followed from `listen` follows it again.
    #[must_use]
    pub fn listening_at(mut self, address: SocketAddr) -> Self {
        self.listen = address;
        if self.external_url_derived {
            self.external_url = ExternalUrl::of_address(address);
        }
        self
    }

    /// Whether pages may be served like this; asked by `serve` before anything is opened.
    ///
    /// # Errors
    /// A sentence when nobody told which address people type, or when pages would cross a network readable for
    /// everyone on it without that being chosen.
    pub fn may_serve(&self) -> Result<(), ConfigError> {
        let refuse = |sentence: String| Err(ConfigError { sentences: vec![sentence] });
        if self.external_url_derived && self.listen.ip().is_unspecified() {
            return refuse(format!(
                "external_url is missing: listen is {}, every address of this machine, so external_url must say which \
                 address people type, for instance https://studio.example or http://localhost:{}.",
                self.listen,
                self.listen.port()
            ));
        }
        if !self.secure_context() && !self.insecure_http {
            return refuse(format!(
                "external_url is {}, plain HTTP on an address that is not loopback: everyone on the network could read \
                 passphrases and client records. Put HTTPS in front and give an https external_url, or set \
                 insecure_http to true and accept that.",
                self.external_url.origin()
            ));
        }
        Ok(())
    }
}
