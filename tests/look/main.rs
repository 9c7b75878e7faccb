//! How the pages look, as far as a program can judge it: contrast, weight, no colour outside the tokens, nothing inline.
//!
//! Also writes the sample pages to `target/look/`, with the assets beside them, for a person to look at.

mod chart;
mod colours;
mod markup;
mod samples;
mod sheet;

use std::path::Path;
use std::{fs, io};

// The templates name what they show as the program does.
use stillroom::web;

/// The stylesheet as it ships.
const CSS: &str = include_str!("../../static/app.css");

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

#[test]
fn the_sample_pages_are_written_for_looking_at() -> io::Result<()> {
    let out = root().join("target/look");
    copy_folder(&root().join("static"), &out.join("static/sample"))?;
    copy_folder(&root().join("static"), &out)?;
    for (name, html) in samples::all() {
        assert!(html.trim_end().ends_with("</html>"), "{name} is cut off");
        fs::write(out.join(format!("{name}.html")), html)?;
    }
    Ok(())
}

#[test]
fn the_manifest_names_pictures_that_are_there() -> io::Result<()> {
    let text = fs::read_to_string(root().join("static/manifest.webmanifest"))?;
    let manifest: serde_json::Value = serde_json::from_str(&text).expect("JSON");
    let icons = manifest["icons"].as_array().expect("a list of icons");
    assert_eq!(icons.len(), 5);
    for icon in icons {
        let file = root().join("static").join(icon["src"].as_str().expect("a file"));
        let bytes = fs::read(&file)?;
        let size = icon["sizes"].as_str().expect("a size");
        if let Some((side, _)) = size.split_once('x') {
            let width = u32::from_be_bytes(bytes[16..20].try_into().expect("four bytes"));
            assert_eq!(width.to_string(), side, "{}", file.display());
        }
    }
    Ok(())
}

/// It stands between every page and the house: small enough to be read whole, and it keeps nothing of anybody.
#[test]
fn the_service_worker_is_short_and_keeps_only_the_shell() {
    let worker = include_str!("../../static/js/worker.js");
    assert!(worker.lines().count() <= 150, "{} lines", worker.lines().count());
    assert_eq!(worker.matches(r#"credentials: "omit""#).count(), 1, "pages are asked for as a stranger");
    // Two places put something away: pages asked for as a stranger, and files of a build.
    assert_eq!(worker.matches(".put(").count() + worker.matches(".add(").count(), 3);
    assert!(worker.contains(r#"request.method !== "GET""#) && !worker.contains("import"));
}

fn copy_folder(from: &Path, to: &Path) -> io::Result<()> {
    fs::create_dir_all(to)?;
    for entry in fs::read_dir(from)? {
        let entry = entry?;
        let target = to.join(entry.file_name());
        if entry.file_type()?.is_dir() {
            copy_folder(&entry.path(), &target)?;
        } else {
            fs::copy(entry.path(), target)?;
        }
    }
    Ok(())
}
