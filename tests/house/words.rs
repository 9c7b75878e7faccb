//! Words that don't belong in the repository: another machine's folders, download hosts, notes to oneself.

use std::path::Path;

use crate::repository;

/// Split in two so that this list does not find itself.
const UNWANTED: [(&str, &str); 11] = [
    ("/wo", "rk/"),
    ("/ro", "ot/"),
    ("/ho", "me/"),
    ("TO", "DO"),
    ("FIX", "ME"),
    ("static.crates", ".io"),
    ("index.crates", ".io"),
    ("registry.npmjs", ".org"),
    ("files.pythonhosted", ".org"),
    ("pypi", ".org"),
    ("deb.debian", ".org"),
];

/// The unwanted words on each line.
fn unwanted_in(text: &str) -> Vec<(usize, String)> {
    let words: Vec<String> = UNWANTED.iter().map(|(first, rest)| format!("{first}{rest}")).collect();
    text.lines()
        .enumerate()
        .flat_map(|(at, line)| words.iter().filter(|word| line.contains(*word)).map(move |word| (at + 1, word.clone())))
        .collect()
}

#[test]
fn no_file_names_another_machine_a_download_host_or_a_note_to_oneself() {
    let mut found = Vec::new();
    for file in repository::files() {
        if file == Path::new("LICENSE") {
            continue;
        }
        let Some(text) = repository::text(&file) else { continue };
        found.extend(unwanted_in(&text).into_iter().map(|(line, word)| format!("{}:{line}: {word}", file.display())));
    }
    assert!(found.is_empty(), "\n{}", found.join("\n"));
}

#[test]
fn an_unwanted_word_is_found_with_its_line() {
    let text = format!("fine\nsee {}{}x\n", "/wo", "rk/");
    assert_eq!(unwanted_in(&text), [(2, format!("{}{}", "/wo", "rk/"))]);
    assert_eq!(unwanted_in("the house/work done, homework, a todo list"), []);
}
