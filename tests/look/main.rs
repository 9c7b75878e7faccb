//! How the pages look, as far as a program can judge it: contrast, weight, no colour outside the tokens, nothing inline.
//!
//! Also writes the sample pages to `target/look/`, with the assets beside them, for a person to look at.

mod chart;
mod samples;

use std::path::Path;
use std::{fs, io};

#[test]
fn the_sample_pages_are_written_for_looking_at() -> io::Result<()> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let out = root.join("target/look");
    copy_folder(&root.join("static"), &out.join("static/sample"))?;
    for (name, html) in samples::all() {
        assert!(html.trim_end().ends_with("</html>"), "{name} is cut off");
        fs::write(out.join(format!("{name}.html")), html)?;
    }
    Ok(())
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
