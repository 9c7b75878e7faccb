//! The container files name paths, versions and options that exist. (Building the image needs a container engine,
//! which these tests don't ask for.)

use std::path::Path;

use crate::repository;

fn read(file: &str) -> String {
    repository::text(Path::new(file)).unwrap()
}

/// Sources of the `COPY` lines that come from the repository and not from an earlier stage.
fn copied(dockerfile: &str) -> Vec<String> {
    dockerfile
        .lines()
        .filter_map(|line| line.strip_prefix("COPY "))
        .filter(|rest| !rest.contains("--from="))
        .flat_map(|rest| {
            let words: Vec<&str> = rest.split_whitespace().filter(|word| !word.starts_with("--")).collect();
            words[..words.len() - 1].iter().map(|word| word.trim_end_matches('/').to_owned()).collect::<Vec<_>>()
        })
        .collect()
}

/// Names of our options as environment variables, wherever they stand in a text.
fn options_named(text: &str) -> Vec<String> {
    let mut names: Vec<String> = text
        .match_indices("STILLROOM_")
        .map(|(at, _)| text[at..].chars().take_while(|c| c.is_ascii_uppercase() || *c == '_').collect())
        .collect();
    names.sort();
    names.dedup();
    names
}

#[test]
fn the_image_is_built_from_files_that_exist() {
    let copied = copied(&read("docker/Dockerfile"));
    assert!(copied.contains(&"src".to_owned()), "{copied:?}");
    for path in copied {
        assert!(repository::root().join(&path).exists(), "docker/Dockerfile copies {path}, which is not there");
    }
}

#[test]
fn the_image_brings_everything_that_is_compiled_in() {
    let copied = copied(&read("docker/Dockerfile"));
    for needed in ["Cargo.toml", "Cargo.lock", "src", "templates", "static", "migrations"] {
        let exists = repository::root().join(needed).exists();
        assert!(!exists || copied.iter().any(|path| path == needed), "docker/Dockerfile does not copy {needed}");
    }
}

#[test]
fn the_compiler_of_the_image_is_new_enough() {
    let manifest: toml::Table = read("Cargo.toml").parse().unwrap();
    let needed = manifest["package"]["rust-version"].as_str().unwrap().to_owned();
    let dockerfile = read("docker/Dockerfile");
    let tag = dockerfile.lines().find_map(|line| line.strip_prefix("FROM rust:")).unwrap();
    let version: String = tag.chars().take_while(|c| c.is_ascii_digit() || *c == '.').collect();
    let number = |text: &str| text.split('.').map(|part| part.parse::<u32>().unwrap()).collect::<Vec<_>>();
    assert!(number(&version) >= number(&needed), "the image has Rust {version}, Cargo.toml asks for {needed}");
}

#[test]
fn the_compose_file_builds_this_image() {
    let compose = read("docker/compose.yaml");
    assert!(compose.contains("dockerfile: docker/Dockerfile"));
    assert!(compose.contains("context: .."));
}

/// Options that a text names and that are no row of what `config show` prints.
fn unknown_options(text: &str, shown: &str) -> Vec<String> {
    let rows: Vec<&str> = shown.lines().filter_map(|line| line.split_whitespace().next()).collect();
    let option = |name: &str| name.trim_start_matches("STILLROOM_").trim_end_matches("_FILE").to_lowercase();
    options_named(text).into_iter().filter(|name| !rows.contains(&option(name).as_str())).collect()
}

#[test]
fn the_container_files_set_only_options_that_the_program_has() {
    let shown = std::process::Command::new(env!("CARGO_BIN_EXE_stillroom")).args(["config", "show"]).output().unwrap();
    let shown = String::from_utf8(shown.stdout).unwrap();
    for file in ["docker/Dockerfile", "docker/compose.yaml"] {
        let text = read(file);
        assert!(!options_named(&text).is_empty(), "{file} sets no option");
        assert_eq!(unknown_options(&text, &shown), Vec::<String>::new(), "{file}");
    }
}

#[test]
fn an_option_that_the_program_lacks_is_noticed() {
    let shown = "listen  127.0.0.1:8270  default\ndatabase_url  (none)  default\n";
    let text = "STILLROOM_LISTEN: x\nSTILLROOM_DATABASE_URL_FILE: y\nSTILLROOM_LISTENER: z";
    assert_eq!(unknown_options(text, shown), ["STILLROOM_LISTENER"]);
}

#[test]
fn copy_lines_are_read_as_the_builder_reads_them() {
    let file =
        "FROM rust:1.94-bookworm AS build\nCOPY Cargo.toml Cargo.lock ./\nCOPY src/ src/\nCOPY --from=build /a /b\n";
    assert_eq!(copied(file), ["Cargo.toml", "Cargo.lock", "src"]);
    assert_eq!(
        options_named("A: STILLROOM_LISTEN=1\nSTILLROOM_DATA_DIR: x"),
        ["STILLROOM_DATA_DIR", "STILLROOM_LISTEN"]
    );
}
