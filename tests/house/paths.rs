//! A file that a document names must be there: a map that describes what is gone is worse than none.

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use crate::repository;

/// Folders at the top of the repository. A word between backticks that begins with one of them is a path.
const TOP: [&str; 8] = ["src/", "tests/", "docs/", "docker/", "templates/", "static/", "migrations/", ".ci/"];

/// Paths named in a text: between backticks, or as the target of a link.
fn named_paths(text: &str) -> Vec<String> {
    let in_backticks = text.split('`').skip(1).step_by(2).flat_map(str::split_whitespace);
    let linked = text.split("](").skip(1).filter_map(|rest| rest.split(')').next());
    let mut paths: Vec<String> = in_backticks
        .filter(|word| TOP.iter().any(|top| word.starts_with(top) && word.len() > top.len()))
        .chain(linked.clone().filter(|target| TOP.iter().any(|top| target.starts_with(top))))
        .filter_map(clean)
        .collect();
    paths.sort();
    paths.dedup();
    paths
}

/// Links of a document to its neighbours: everything that is no address and no place in the same page.
fn linked_neighbours(text: &str) -> Vec<String> {
    text.split("](")
        .skip(1)
        .filter_map(|rest| rest.split(')').next())
        .filter(|target| !target.contains("://") && !target.starts_with('#') && !target.starts_with("mailto:"))
        .filter_map(clean)
        .collect()
}

/// The path without a place in the page, a line number or the full stop of its sentence. `None` for a pattern with
/// a gap to fill in, such as `src/PART/mod.rs`.
fn clean(word: &str) -> Option<String> {
    let path = word.split('#').next().unwrap_or(word).split("::").next().unwrap_or(word);
    let path = path.split(':').next().unwrap_or(path).trim_end_matches(['.', ',', ';', '/']);
    let has_gap = path.contains(['…', '{', '<', '$']) || path.split('/').any(|step| step.len() > 1 && is_gap(step));
    (!path.is_empty() && !has_gap).then(|| path.to_owned())
}

/// A step in capitals stands for something else, save for the files that are written so.
fn is_gap(step: &str) -> bool {
    step.chars().any(char::is_uppercase) && !step.chars().any(char::is_lowercase) && step != "LICENSE"
}

/// True when a file or folder of this name is kept; `*` stands for anything within one step.
fn is_there(kept: &BTreeSet<PathBuf>, path: &str) -> bool {
    kept.iter().any(|file| {
        let steps: Vec<_> = file.iter().map(|step| step.to_string_lossy()).collect();
        let asked: Vec<_> = path.split('/').collect();
        asked.len() <= steps.len() && asked.iter().zip(&steps).all(|(asked, step)| fits(asked, step))
    })
}

fn fits(asked: &str, step: &str) -> bool {
    match asked.split_once('*') {
        None => asked == step,
        Some((before, after)) => {
            step.len() >= before.len() + after.len() && step.starts_with(before) && step.ends_with(after)
        }
    }
}

/// The comments of a Rust file.
fn comments(source: &str) -> String {
    source.lines().filter_map(|line| line.trim_start().strip_prefix("//")).collect::<Vec<_>>().join("\n")
}

fn missing_in(file: &Path, kept: &BTreeSet<PathBuf>) -> Vec<String> {
    let Some(text) = repository::text(file) else { return Vec::new() };
    if repository::ends(file, "md") {
        let folder = file.parent().unwrap_or(Path::new("")).to_path_buf();
        let from_here = |path: &String| is_there(kept, &normal(&folder.join(path)));
        let named = named_paths(&text).into_iter().filter(|path| !is_there(kept, path) && !from_here(path));
        let linked = linked_neighbours(&text).into_iter().filter(|path| !from_here(path));
        return named.chain(linked).collect();
    }
    if repository::ends(file, "rs") && !file.starts_with("tests/house") {
        return named_paths(&comments(&text)).into_iter().filter(|path| !is_there(kept, path)).collect();
    }
    Vec::new()
}

/// The path with `..` worked out.
fn normal(path: &Path) -> String {
    let mut steps: Vec<&str> = Vec::new();
    for step in path.iter().filter_map(|step| step.to_str()) {
        match step {
            "." => {}
            ".." => drop(steps.pop()),
            step => steps.push(step),
        }
    }
    steps.join("/")
}

#[test]
fn every_file_that_a_document_or_a_comment_names_exists() {
    let kept: BTreeSet<PathBuf> = repository::files().into_iter().collect();
    let missing: Vec<String> = kept
        .iter()
        .flat_map(|file| missing_in(file, &kept).into_iter().map(|path| format!("{} names {path}", file.display())))
        .collect();
    assert!(missing.is_empty(), "\n{}", missing.join("\n"));
}

#[test]
fn paths_are_found_in_backticks_and_links() {
    let text = "See `src/rooms/mod.rs`, `cargo test --test kill`, `tests/run browser` and [why](docs/why.md#here). `src/PART/mod.rs`";
    assert_eq!(named_paths(text), ["docs/why.md", "src/rooms/mod.rs", "tests/run"]);
    assert_eq!(linked_neighbours("[a](../README.md) [b](#c) [d](https://example.org/x)"), ["../README.md"]);
}

#[test]
fn a_file_that_is_gone_is_noticed() {
    let kept = BTreeSet::from([PathBuf::from("src/rooms/air.rs"), PathBuf::from("docs/running.md")]);
    for there in ["src/rooms/air.rs", "src/rooms", "docs/*.md", "src/*/air.rs"] {
        assert!(is_there(&kept, there), "{there}");
    }
    for gone in ["src/rooms/plan.rs", "src/room", "docs/*.txt", "src/rooms/air.rs/x"] {
        assert!(!is_there(&kept, gone), "{gone}");
    }
    assert_eq!(normal(Path::new("docs/../src/./lib.rs")), "src/lib.rs");
}
