//! `docs/configuration.md` against the table of options. `STILLROOM_TEST_WRITE_MANUAL=1 cargo test --test config manual`
//! writes the sections of the page anew from the table.

use std::fmt::Write;
use std::path::{Path, PathBuf};

use stillroom::config::{CONFIG_FILE, ConfigOption, Fallback, Kind, OPTIONS, PREFIX};

const BEGIN: &str = "<!-- options: begin -->\n";
const END: &str = "<!-- options: end -->";

fn page() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/configuration.md")
}

fn manual() -> String {
    std::fs::read_to_string(page()).unwrap()
}

fn between<'a>(text: &'a str, begin: &str, end: &str) -> &'a str {
    let (_, rest) = text.split_once(begin).unwrap_or_else(|| panic!("{begin} is missing"));
    rest.split_once(end).unwrap_or_else(|| panic!("{end} is missing")).0
}

/// The section of one option, as the page must hold it.
fn section(option: &ConfigOption) -> String {
    let mut text = format!("### `{}`\n\n{}\n\n", option.name, option.help);
    let mut row = |what: &str, value: &str| writeln!(text, "- {what}: {value}").unwrap();
    row("flag", &format!("`--{}`", option.flag()));
    row("environment", &format!("`{}`", option.variable()));
    row("file", &format!("`{}`", option.name));
    if let Some(twin) = option.file_name() {
        let (flag, variable) = (twin.replace('_', "-"), format!("{PREFIX}{}", twin.to_uppercase()));
        row("from a file of its own", &format!("`--{flag}`, `{variable}`, `{twin}`"));
    }
    if let Kind::Whole(lowest, highest) = option.kind {
        row("from", &format!("{lowest} to {highest}"));
    }
    match option.default {
        Fallback::Value(text) if !text.is_empty() => row("default", &format!("`{text}`")),
        other => row("default", other.words()),
    }
    text.push('\n');
    text
}

#[test]
fn the_manual_explains_every_option_and_no_other() {
    let wanted: String = OPTIONS.iter().map(section).collect();
    if std::env::var_os("STILLROOM_TEST_WRITE_MANUAL").is_some() {
        let old = manual();
        let (before, after) = (old.split(BEGIN).next().unwrap(), old.split(END).nth(1).unwrap());
        let written = format!("{before}{BEGIN}\n{wanted}{END}{after}");
        std::fs::write(page(), written).unwrap();
    }
    let manual = manual();
    let found = between(&manual, BEGIN, END).trim_start();
    for option in OPTIONS {
        assert!(found.contains(&section(option)), "docs/configuration.md should hold:\n\n{}", section(option));
    }
    assert_eq!(found, wanted, "the order, or a section of an option that does not exist");
}

#[test]
fn every_variable_and_flag_named_anywhere_in_the_manual_exists() {
    let manual = manual();
    let twins: Vec<String> = OPTIONS.iter().filter_map(ConfigOption::file_name).collect();
    let names = OPTIONS.iter().map(|option| option.name).chain([CONFIG_FILE]).chain(twins.iter().map(String::as_str));
    let names: Vec<&str> = names.collect();
    let is_word = |c: char| c.is_ascii_alphanumeric() || c == '_' || c == '-';
    for word in manual.split(|c| !is_word(c)) {
        let name = match (word.strip_prefix(PREFIX), word.strip_prefix("--")) {
            (Some(name), _) if !name.is_empty() => name.to_lowercase(),
            (_, Some(flag)) if !flag.is_empty() && !flag.starts_with('-') => flag.replace('-', "_"),
            _ => continue,
        };
        assert!(name == "test_" || names.contains(&name.as_str()), "the manual names {word}, which does not exist");
    }
}

#[test]
fn the_example_file_of_the_manual_is_accepted() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("example.toml");
    std::fs::write(&file, between(&manual(), "```toml\n", "```")).unwrap();
    let flags = [("config".to_owned(), file.display().to_string())].into();
    let (config, shown) = stillroom::config::Config::resolve(&flags, []).unwrap();
    assert!(config.may_serve().is_ok());
    assert!(shown.iter().filter(|row| row.origin.to_string().starts_with("file ")).count() >= 5);
}
