//! `config show`, and the way from the process's environment to a configuration.

use std::env::vars_os;

use super::args::Flags;
use super::exit::{Exit, answer, note};
use crate::config::{Config, PREFIX, Shown, table};

/// Where the demo keeps its invented studio unless a flag names another folder.
pub(super) const DEMO_DATA_DIR: &str = "./stillroom-demo";

/// The configuration from flags, environment and file.
pub(super) fn settle(flags: &Flags) -> Result<(Config, Vec<Shown>), Exit> {
    Config::resolve(flags, environment()?).map_err(|error| Exit::Input(error.to_string()))
}

/// The configuration of the demo: no environment, and a data folder of its own, so that variables set up for a real
/// studio cannot lead the invented one into its database.
pub(super) fn settle_demo(flags: &Flags) -> Result<Config, Exit> {
    let mut flags = flags.clone();
    flags.entry("data_dir".into()).or_insert_with(|| DEMO_DATA_DIR.into());
    let (config, _) = Config::resolve(&flags, []).map_err(|error| Exit::Input(error.to_string()))?;
    may_serve(config)
}

/// The configuration when pages may be served with it.
pub(super) fn may_serve(config: Config) -> Result<Config, Exit> {
    config.may_serve().map_err(|error| Exit::Input(error.to_string()))?;
    Ok(config)
}

/// Prints every option. What would keep `serve` from starting is noted beside it, not instead of it.
pub(super) fn show(config: &Config, rows: &[Shown]) -> Result<(), Exit> {
    answer(&table(rows))?;
    if let Err(error) = config.may_serve() {
        note(&format!("serve would refuse to start: {error}"));
    }
    Ok(())
}

/// The variables that begin with our prefix; the rest is not looked at.
fn environment() -> Result<Vec<(String, String)>, Exit> {
    let ours = vars_os().filter(|(name, _)| name.as_encoded_bytes().starts_with(PREFIX.as_bytes()));
    let text = |(name, value): (std::ffi::OsString, std::ffi::OsString)| {
        let shown = name.to_string_lossy().into_owned();
        let fault = |_| Exit::Input(format!("{shown} in the environment is not UTF-8 text."));
        Ok((name.into_string().map_err(fault)?, value.into_string().map_err(fault)?))
    };
    ours.map(text).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    #[test]
    fn the_demo_keeps_away_from_the_folder_of_a_real_studio() {
        let config = settle_demo(&Flags::new()).unwrap();
        assert_eq!(config.data_dir, Path::new(DEMO_DATA_DIR));
        assert_eq!(config.keys_dir, Path::new("./stillroom-demo-keys"));
        let named = settle_demo(&[("data_dir".into(), "elsewhere".into())].into()).unwrap();
        assert_eq!(named.data_dir, Path::new("elsewhere"));
        assert!(settle_demo(&[("listen".into(), "0.0.0.0:1".into())].into()).is_err());
    }
}
