//! Which part may know which: each may use those above it in `src/lib.rs`, never one below.

use std::path::Path;

use crate::repository;

/// The parts in the order in which `src/lib.rs` lists them.
fn parts(lib: &str) -> Vec<String> {
    lib.lines()
        .filter_map(|line| line.trim().strip_prefix("pub mod "))
        .filter_map(|rest| rest.strip_suffix(';'))
        .map(str::to_owned)
        .collect()
}

/// The Rust code without comments, and with what stands between quotes taken out.
fn code_only(source: &str) -> String {
    let bytes: Vec<char> = source.chars().collect();
    let mut code = String::with_capacity(source.len());
    let mut at = 0;
    while at < bytes.len() {
        let rest = &bytes[at..];
        let skipped = match rest {
            ['/', '/', ..] => line_comment(rest),
            ['/', '*', ..] => block_comment(rest),
            ['r', '"', ..] | ['r', '#', ..] if !ends_a_word(&code) => raw_text(rest),
            ['"', ..] => quoted(rest),
            _ => None,
        };
        match skipped {
            Some(length) => {
                code.push(' ');
                at += length;
            }
            // A quote as a character would open a text that never closes.
            None if matches!(rest, ['\'', '"', '\'', ..]) => at += 3,
            None if matches!(rest, ['\'', '\\', '"', '\'', ..]) => at += 4,
            None => {
                code.push(rest[0]);
                at += 1;
            }
        }
    }
    code
}

fn ends_a_word(code: &str) -> bool {
    code.chars().last().is_some_and(|last| last.is_alphanumeric() || last == '_')
}

fn line_comment(rest: &[char]) -> Option<usize> {
    Some(rest.iter().position(|c| *c == '\n').unwrap_or(rest.len()))
}

fn block_comment(rest: &[char]) -> Option<usize> {
    let mut depth = 0;
    let mut at = 0;
    while at + 1 < rest.len() {
        match (rest[at], rest[at + 1]) {
            ('/', '*') => (depth, at) = (depth + 1, at + 2),
            ('*', '/') if depth == 1 => return Some(at + 2),
            ('*', '/') => (depth, at) = (depth - 1, at + 2),
            _ => at += 1,
        }
    }
    Some(rest.len())
}

fn raw_text(rest: &[char]) -> Option<usize> {
    let hashes = rest[1..].iter().take_while(|c| **c == '#').count();
    if rest.get(1 + hashes) != Some(&'"') {
        return None;
    }
    let end: Vec<char> = std::iter::once('"').chain(std::iter::repeat_n('#', hashes)).collect();
    let from = 2 + hashes;
    rest[from..].windows(end.len()).position(|w| w == end).map(|found| from + found + end.len())
}

fn quoted(rest: &[char]) -> Option<usize> {
    let mut at = 1;
    while at < rest.len() {
        match rest[at] {
            '\\' => at += 2,
            '"' => return Some(at + 1),
            _ => at += 1,
        }
    }
    None
}

/// The first names that follow `crate::` in this code, those in a group too: `crate::{a::b, c}` gives `a`, `c`.
fn names_after_crate(code: &str) -> Vec<String> {
    let code: String = code.split_whitespace().collect::<Vec<_>>().join(" ").replace(" ::", "::").replace(":: ", "::");
    let mut names = Vec::new();
    for (at, found) in code.match_indices("crate::") {
        if at > 0 && code[..at].ends_with(|c: char| c.is_alphanumeric() || c == '_' || c == ':') {
            continue;
        }
        let after = &code[at + found.len()..];
        match after.strip_prefix('{') {
            Some(group) => names.extend(names_in_group(group)),
            None => names.extend(first_name(after)),
        }
    }
    names
}

fn first_name(text: &str) -> Option<String> {
    let name: String = text.trim_start().chars().take_while(|c| c.is_alphanumeric() || *c == '_').collect();
    (!name.is_empty()).then_some(name)
}

fn names_in_group(group: &str) -> Vec<String> {
    let mut names = Vec::new();
    let mut depth = 0_usize;
    let mut begins = 0;
    for (at, sign) in group.char_indices() {
        match sign {
            '{' => depth += 1,
            '}' if depth == 0 => {
                names.extend(first_name(&group[begins..at]));
                break;
            }
            '}' => depth -= 1,
            ',' if depth == 0 => {
                names.extend(first_name(&group[begins..at]));
                begins = at + 1;
            }
            _ => {}
        }
    }
    names
}

/// The part that a file under `src/` belongs to.
fn part_of(file: &Path) -> Option<String> {
    let mut steps = file.strip_prefix("src").ok()?.components();
    let first = steps.next()?.as_os_str().to_str()?.to_owned();
    // `src/main.rs` and `src/lib.rs` stand above the parts.
    steps.next().map(|_| first)
}

/// What is wrong with the arrows of one file.
fn wrong_arrows(parts: &[String], file: &Path, source: &str) -> Vec<String> {
    let Some(part) = part_of(file) else { return Vec::new() };
    let Some(own) = parts.iter().position(|name| *name == part) else {
        return vec![format!("{}: `{part}` is not listed in src/lib.rs", file.display())];
    };
    names_after_crate(&code_only(source))
        .into_iter()
        .filter(|name| parts.iter().position(|listed| listed == name).is_some_and(|place| place > own))
        .map(|name| format!("{}: `{part}` may not know `{name}`, which stands below it", file.display()))
        .collect()
}

#[test]
fn no_part_knows_one_that_stands_below_it() {
    let parts = parts(&repository::text(Path::new("src/lib.rs")).unwrap());
    assert!(parts.len() >= 10, "only {parts:?} found in src/lib.rs");
    let mut wrong = Vec::new();
    let mut looked_at = 0;
    for file in repository::files() {
        if file.starts_with("src") && repository::ends(&file, "rs") {
            looked_at += 1;
            wrong.extend(wrong_arrows(&parts, &file, &repository::text(&file).unwrap()));
        }
    }
    assert!(looked_at > 10, "only {looked_at} files were looked at");
    assert!(wrong.is_empty(), "\n{}", wrong.join("\n"));
}

#[test]
fn a_part_with_a_folder_is_named_in_the_list_and_the_other_way_round() {
    let parts = parts(&repository::text(Path::new("src/lib.rs")).unwrap());
    let folders: std::collections::BTreeSet<String> = repository::files()
        .iter()
        .filter(|file| repository::ends(file, "rs"))
        .filter_map(|file| part_of(file))
        .collect();
    assert_eq!(folders, parts.into_iter().collect());
}

fn check(source: &str, wrong: &[&str]) {
    let parts: Vec<String> = ["base", "store", "web", "rooms", "advice"].map(String::from).to_vec();
    let found = wrong_arrows(&parts, Path::new("src/web/frame.rs"), source);
    let expected: Vec<String> = wrong
        .iter()
        .map(|name| format!("src/web/frame.rs: `web` may not know `{name}`, which stands below it"))
        .collect();
    assert_eq!(found, expected, "{source}");
}

#[test]
fn a_wrong_arrow_is_found_however_it_is_written() {
    check("use crate::rooms::Room;", &["rooms"]);
    check("use crate::{base::ids, rooms::{Room, store}, advice};", &["rooms", "advice"]);
    check("fn f() { let x = crate::rooms::all(); }", &["rooms"]);
    check("use crate::{\n    base,\n    rooms,\n};", &["rooms"]);
    check("pub(crate) use crate :: advice :: judge;", &["advice"]);
    check("const QUOTE: char = '\"'; use crate::rooms; const B: char = '\"';", &["rooms"]);
    check("let x = r#\"a \" b\"#; use crate::rooms;", &["rooms"]);
}

#[test]
fn an_arrow_upwards_or_in_a_comment_or_a_text_is_none() {
    check("use crate::{base::Problem, store, web::frame};", &[]);
    check("// use crate::rooms;\n/* crate::rooms /* crate::advice */ */\n//! crate::rooms", &[]);
    check("let x = \"crate::rooms \\\" crate::advice\"; let y = r\"crate::rooms\";", &[]);
    check("use other::crate::rooms; use my_crate::rooms;", &[]);
    check("pub(crate) fn rooms() {}", &[]);
}
