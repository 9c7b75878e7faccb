//! Every direct dependency has its line of reason, and no line outlives its dependency.

use std::collections::BTreeSet;
use std::path::Path;

use crate::repository;

/// The names in the first column of the tables: `| name | reason |`, the name between backticks.
fn documented(page: &str) -> BTreeSet<String> {
    page.lines()
        .filter_map(|line| line.strip_prefix("| `"))
        .filter_map(|rest| rest.split_once('`'))
        .filter(|(_, rest)| rest.trim_matches([' ', '|']).split_whitespace().count() >= 3)
        .map(|(name, _)| name.to_owned())
        .collect()
}

/// The names in all dependency tables of a Cargo.toml.
fn in_cargo(manifest: &str) -> BTreeSet<String> {
    let manifest: toml::Table = manifest.parse().unwrap();
    ["dependencies", "dev-dependencies", "build-dependencies"]
        .iter()
        .filter_map(|table| manifest.get(*table)?.as_table())
        .flat_map(|table| table.keys().cloned())
        .collect()
}

/// The names of the browser tests' node packages.
fn in_node(package: &str) -> BTreeSet<String> {
    let package: serde_json::Value = serde_json::from_str(package).unwrap();
    package["dependencies"].as_object().unwrap().keys().cloned().collect()
}

fn read(file: &str) -> String {
    repository::text(Path::new(file)).unwrap()
}

#[test]
fn every_direct_dependency_has_a_reason_and_no_reason_outlives_its_dependency() {
    let mut used = in_cargo(&read("Cargo.toml"));
    used.extend(in_node(&read("tests/browser/package.json")));
    // The rest of that file is what these bring along.
    for name in ["schemathesis", "icalendar"] {
        used.insert(name.to_owned());
        assert!(read("tests/api/requirements.txt").contains(&format!("{name}==")));
    }
    let documented = documented(&read("docs/dependencies.md"));
    let without: Vec<_> = used.difference(&documented).collect();
    let left_over: Vec<_> = documented.difference(&used).collect();
    assert!(without.is_empty(), "no reason in docs/dependencies.md for {without:?}");
    assert!(left_over.is_empty(), "docs/dependencies.md still explains {left_over:?}");
}

#[test]
fn every_library_of_the_program_and_every_layer_asked_for_is_named_in_its_code() {
    let code: String = repository::files()
        .iter()
        .filter(|file| file.starts_with("src") && repository::ends(file, "rs"))
        .filter_map(|file| repository::text(file))
        .collect();
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    let dependencies = manifest["dependencies"].as_table().unwrap();
    for library in dependencies.keys() {
        let path = format!("{}::", library.replace('-', "_"));
        assert!(code.contains(&path), "{path} stands nowhere under src; tests' libraries are dev-dependencies");
    }
    for layer in dependencies["tower-http"]["features"].as_array().unwrap() {
        // "compression-gzip" is a way of the layer "compression", "catch-panic" a layer of its own.
        let layer = layer.as_str().unwrap().replace("-gzip", "").replace('-', "_");
        assert!(code.contains(&format!("tower_http::{layer}::")), "no layer of src is tower_http::{layer}");
    }
}

#[test]
fn a_name_without_a_reason_does_not_count_as_documented() {
    let page = "| `serde` | reads and writes JSON |\n| `toml` | |\n| `csv` | files |\nabout `uuid`\n";
    assert_eq!(documented(page), BTreeSet::from(["serde".to_owned()]));
}

#[test]
fn all_kinds_of_dependency_are_read() {
    let manifest = "[dependencies]\na = \"1\"\n[dev-dependencies]\nb = { version = \"1\" }\n[build-dependencies.c]\nversion = \"1\"\n";
    assert_eq!(in_cargo(manifest), ["a", "b", "c"].map(String::from).into());
}

#[test]
fn lock_files_name_no_host() {
    let lock = read("tests/browser/package-lock.json");
    assert!(lock.contains("playwright-core"));
    assert!(!lock.contains("\"resolved\""), "run npm install inside tests/browser, where .npmrc leaves addresses out");
    assert!(!read("tests/api/requirements.txt").contains("://"));
}
