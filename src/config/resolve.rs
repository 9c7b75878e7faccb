//! Which of the given values counts: flag before environment before file before default. All faults are collected,
//! so that one look mends them all.

use std::collections::BTreeMap;
use std::fmt;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;

use super::options::{find, names_in_file, names_outside, nearest, variable};
use super::parse::{self, ExternalUrl};
use super::show::{Shown, shown};
use super::{CONFIG_FILE, Config, ConfigError, ConfigOption, FILE_IN_DATA_DIR, Kind, OPTIONS, PREFIX, TEST_PREFIX};

/// The most a file of options or of a secret may hold, in bytes; far more than either needs.
const FILE_LIMIT: u64 = 65_536;

/// Where a value came from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Origin {
    /// The command line, by this flag.
    Flag(String),
    /// The environment, by this variable.
    Environment(String),
    /// The file at this path.
    File(PathBuf),
    /// Nobody gave it.
    Default,
}

impl fmt::Display for Origin {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Flag(flag) => write!(f, "flag --{flag}"),
            Self::Environment(variable) => write!(f, "environment {variable}"),
            Self::File(path) => write!(f, "file {}", path.display()),
            Self::Default => f.write_str("default"),
        }
    }
}

/// A value and where it came from.
#[derive(Debug, Clone)]
pub(super) struct Given {
    pub(super) text: String,
    pub(super) origin: Origin,
}

impl Config {
    /// Picks and checks every option from the flags (by option name), the environment and the file they name, or
    /// `stillroom.toml` in the data folder. Relative paths are taken from the working folder. Also answers what was
    /// picked and from where, in the order of the table.
    ///
    /// # Errors
    /// [`ConfigError`] with a sentence for each fault: an unknown name, a value that cannot be read, a secret given
    /// twice, keys inside the data folder.
    pub fn resolve(
        flags: &BTreeMap<String, String>,
        environment: impl IntoIterator<Item = (String, String)>,
    ) -> Result<(Self, Vec<Shown>), ConfigError> {
        let mut sources = Sources { flags: flags.clone(), ..Sources::default() };
        sources.refuse_unknown_flags();
        sources.take_environment(environment);
        let file = sources.find_file();
        if let Some(file) = &file {
            sources.take_file(&PathBuf::from(&file.text), file);
        }
        let mut values = Values::default();
        for option in OPTIONS {
            let given = sources.pick(option);
            values.picked.insert(option.name, given);
        }
        values.faults = sources.faults;
        let config = values.typed();
        match config {
            Some(config) if values.faults.is_empty() => {
                let shown = shown(&config, &values.picked, file.as_ref());
                Ok((config, shown))
            }
            _ => Err(ConfigError { sentences: values.faults }),
        }
    }
}

/// Everything given, by option name, before anything is picked.
#[derive(Default)]
struct Sources {
    flags: BTreeMap<String, String>,
    environment: BTreeMap<String, String>,
    file: BTreeMap<String, String>,
    path: PathBuf,
    faults: Vec<String>,
}

impl Sources {
    fn refuse_unknown_flags(&mut self) {
        let names = names_outside();
        for name in self.flags.keys().filter(|name| !names.contains(name)) {
            let hint = nearest(name, &names).unwrap_or_default().replace('_', "-");
            self.faults.push(format!("--{} is no option; did you mean --{hint}?", name.replace('_', "-")));
        }
    }

    fn take_environment(&mut self, environment: impl IntoIterator<Item = (String, String)>) {
        let names = names_outside();
        for (key, text) in environment {
            let Some(rest) = key.strip_prefix(PREFIX).filter(|_| !key.starts_with(TEST_PREFIX)) else { continue };
            if let Some(name) = names.iter().find(|name| variable(name) == key) {
                self.environment.insert(name.clone(), text);
            } else {
                let hint = variable(nearest(rest, &names).unwrap_or_default());
                self.faults.push(format!("{key} in the environment is no option of Stillroom; did you mean {hint}?"));
            }
        }
    }

    /// The file that was named, or the one in the data folder when it is there.
    fn find_file(&self) -> Option<Given> {
        if let Some(named) = self.outside(CONFIG_FILE) {
            return Some(named);
        }
        let data_dir = self.outside("data_dir").map(|given| given.text);
        let data_dir = data_dir.or_else(|| find("data_dir").map(|option| option.default.text().to_owned()))?;
        let path = Path::new(&data_dir).join(FILE_IN_DATA_DIR);
        // A folder that may not be looked into counts as one with a file: skipping it would start with other options.
        path.try_exists().unwrap_or(true).then(|| Given { text: path.display().to_string(), origin: Origin::Default })
    }

    fn take_file(&mut self, path: &Path, named: &Given) {
        self.path = path.to_owned();
        let text = match read_small(path) {
            Ok(text) => text,
            Err(why) => {
                self.faults.push(format!("{CONFIG_FILE} ({}): the file {} {why}.", named.origin, path.display()));
                return;
            }
        };
        let table: toml::Table = match text.parse() {
            Ok(table) => table,
            Err(error) => {
                self.faults.push(not_toml(path, &text, &error));
                return;
            }
        };
        let names = names_in_file();
        for (key, value) in table {
            if !names.contains(&key) {
                let hint = nearest(&key, &names).unwrap_or_default();
                self.faults.push(format!("{key} in {} is no option; did you mean {hint}?", path.display()));
            } else if key == "data_dir" && named.origin == Origin::Default {
                self.faults.push(format!(
                    "data_dir stands in {}, a file found because it lies in the data folder; give it by flag, in the \
                     environment, or in a file named by --{CONFIG_FILE}.",
                    path.display()
                ));
            } else {
                match plain(&value, &key) {
                    Ok(text) => drop(self.file.insert(key, text)),
                    Err(why) => self.faults.push(format!("{key} in {} {why}.", path.display())),
                }
            }
        }
    }

    /// The value that counts for an option.
    fn pick(&mut self, option: &'static ConfigOption) -> Given {
        let direct = self.given(option.name);
        let twin = option.file_name().and_then(|name| Some((self.given(&name)?, name)));
        match (direct, twin) {
            (Some(direct), Some((twin, name))) => {
                self.faults.push(format!(
                    "{} ({}) and {name} ({}) are both given; give one of them.",
                    option.name, direct.origin, twin.origin
                ));
                direct
            }
            (Some(direct), None) => direct,
            (None, Some((twin, name))) => {
                let text = secret_in(&twin.text).unwrap_or_else(|why| {
                    self.faults.push(format!("{name} ({}): {why}.", twin.origin));
                    String::new()
                });
                Given { text, origin: twin.origin }
            }
            (None, None) => Given { text: option.default.text().to_owned(), origin: Origin::Default },
        }
    }

    fn given(&self, name: &str) -> Option<Given> {
        let in_file = || Some(Given { text: self.file.get(name)?.clone(), origin: Origin::File(self.path.clone()) });
        self.outside(name).or_else(in_file)
    }

    fn outside(&self, name: &str) -> Option<Given> {
        let flag = |text: &String| Given { text: text.clone(), origin: Origin::Flag(name.replace('_', "-")) };
        let environment = |text: &String| Given { text: text.clone(), origin: Origin::Environment(variable(name)) };
        self.flags.get(name).map(flag).or_else(|| self.environment.get(name).map(environment))
    }
}

/// A fault of the file's form by its line. The text of the line stays out of the sentence: it may hold a secret.
fn not_toml(path: &Path, text: &str, error: &toml::de::Error) -> String {
    let before = error.span().and_then(|span| text.get(..span.start)).unwrap_or_default();
    let line = before.matches('\n').count() + 1;
    format!("The file {} is not TOML, line {line}: {}.", path.display(), error.message().trim_end_matches('.'))
}

/// A value of the file as the text it would be as a flag.
fn plain(value: &toml::Value, name: &str) -> Result<String, String> {
    let is_list = find(name).is_some_and(|option| option.kind == Kind::List);
    match value {
        toml::Value::String(text) => Ok(text.clone()),
        toml::Value::Integer(number) => Ok(number.to_string()),
        toml::Value::Float(number) => Ok(number.to_string()),
        toml::Value::Boolean(yes) => Ok(yes.to_string()),
        toml::Value::Array(entries) if is_list => {
            let texts: Option<Vec<&str>> = entries.iter().map(toml::Value::as_str).collect();
            texts
                .map(|texts| texts.join(","))
                .ok_or_else(|| "is an array with something else than texts in it".to_owned())
        }
        toml::Value::Array(_) => Err("takes one value, not an array".into()),
        toml::Value::Table(_) => Err("takes one value, not a table".into()),
        toml::Value::Datetime(_) => Err("takes no date; put the text in quotes".into()),
    }
}

/// The text of a file of options or of a secret; a pipe is read like a file.
fn read_small(path: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    let read = File::open(path).and_then(|file| file.take(FILE_LIMIT + 1).read_to_end(&mut bytes));
    let n = read.map_err(|error| format!("cannot be read: {error}"))?;
    if n as u64 > FILE_LIMIT {
        return Err(format!("is larger than {FILE_LIMIT} bytes"));
    }
    String::from_utf8(bytes).map_err(|_| "is not UTF-8 text".into())
}

/// What the file of a secret holds, without the newline at its end. An empty one is refused: it would silently mean
/// the default, for a database another one.
fn secret_in(path: &str) -> Result<String, String> {
    // Somebody gave the secret itself; repeating it would put it into a log.
    if path.contains("://") {
        return Err("takes the path of a file, not the value itself".into());
    }
    let mut text = read_small(Path::new(path)).map_err(|why| format!("the file {path} {why}"))?;
    if text.ends_with('\n') {
        text.pop();
        if text.ends_with('\r') {
            text.pop();
        }
    }
    if text.trim().is_empty() { Err(format!("the file {path} is empty")) } else { Ok(text) }
}

/// The picked values on their way to typed ones.
#[derive(Default)]
struct Values {
    picked: BTreeMap<&'static str, Given>,
    faults: Vec<String>,
}

impl Values {
    /// The whole configuration; `None` when a value could not be read, which then stands in `faults`.
    fn typed(&mut self) -> Option<Config> {
        let listen = self.read("listen", parse::listen);
        let data_dir = self.read("data_dir", parse::folder);
        let beside = data_dir.as_deref().map(parse::keys_beside);
        let keys_dir = self.read_or("keys_dir", beside, parse::folder);
        let sqlite = data_dir.as_deref().map(|folder| folder.join("stillroom.db")).unwrap_or_default();
        let database = self.read("database_url", |text| parse::database(text, sqlite.clone()));
        let base_path = self.read("base_path", parse::base_path);
        let external_url_derived = self.picked.get("external_url").is_none_or(|given| given.text.trim().is_empty());
        let base = base_path.clone().unwrap_or_default();
        let of_listen = listen.map(ExternalUrl::of_address);
        let external_url = self.read_or("external_url", of_listen, |text| parse::external_url(text, &base));
        let insecure_http = self.read("insecure_http", parse::switch);
        let trusted_proxies = self.read("trusted_proxies", parse::networks);
        let session_idle =
            self.whole("session_idle_minutes").map(|minutes| Duration::from_secs(u64::from(minutes) * 60));
        let session_length = self.whole("session_hours").map(|hours| Duration::from_secs(u64::from(hours) * 3600));
        let max_upload_mb = self.whole("max_upload_mb");
        let read_connections = self.whole("read_connections");
        let request_timeout = self.whole("request_timeout_seconds").map(|seconds| Duration::from_secs(seconds.into()));
        let log = self.read("log", parse::log);
        let log_format = self.read("log_format", parse::log_format);
        let backups_keep = self.whole("backups_keep");
        let config = Config {
            listen: listen?,
            data_dir: data_dir?,
            keys_dir: keys_dir?,
            database: database?,
            base_path: base_path?,
            external_url: external_url?,
            insecure_http: insecure_http?,
            trusted_proxies: trusted_proxies?,
            session_idle: session_idle?,
            session_length: session_length?,
            max_upload_mb: max_upload_mb?,
            read_connections: read_connections?,
            request_timeout: request_timeout?,
            log: log?,
            log_format: log_format?,
            backups_keep: backups_keep?,
            external_url_derived,
        };
        self.check_together(&config);
        Some(config)
    }

    /// What only two options together can tell.
    fn check_together(&mut self, config: &Config) {
        if parse::lies_inside(&config.keys_dir, &config.data_dir) {
            self.complain(
                "keys_dir",
                &format!(
                    "{} lies inside data_dir {}; give a folder outside of it, so that a copy of the data does \
                     not carry the keys",
                    config.keys_dir.display(),
                    config.data_dir.display()
                ),
            );
        }
        if config.session_idle > config.session_length {
            self.complain("session_idle_minutes", "is longer than session_hours allows a sign-in to live");
        }
    }

    fn read<T>(&mut self, name: &'static str, parse: impl Fn(&str) -> Result<T, String>) -> Option<T> {
        let text = self.picked.get(name).map(|given| given.text.clone()).unwrap_or_default();
        parse(&text).map_err(|why| self.complain(name, &why)).ok()
    }

    /// The value, or what follows from other options when nothing is given.
    fn read_or<T>(
        &mut self,
        name: &'static str,
        follows: Option<T>,
        parse: impl Fn(&str) -> Result<T, String>,
    ) -> Option<T> {
        let is_given = self.picked.get(name).is_some_and(|given| !given.text.trim().is_empty());
        if is_given { self.read(name, parse) } else { follows }
    }

    fn whole(&mut self, name: &'static str) -> Option<u32> {
        let (lowest, highest) = match find(name).map(|option| option.kind) {
            Some(Kind::Whole(lowest, highest)) => (lowest, highest),
            _ => (0, u32::MAX),
        };
        self.read(name, |text| parse::whole(text, lowest, highest))
    }

    fn complain(&mut self, name: &str, why: &str) {
        let origin = self.picked.get(name).map_or(&Origin::Default, |given| &given.origin);
        self.faults.push(format!("{name} ({origin}): {why}."));
    }
}
