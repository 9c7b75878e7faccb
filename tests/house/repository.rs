//! The files that belong to the repository.

use std::path::{Path, PathBuf};
use std::process::Command;

/// Where the repository lies.
pub(crate) fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file that is kept or about to be: what git tracks or would track. Without git, every file that is no build
/// product.
pub(crate) fn files() -> Vec<PathBuf> {
    let listed = Command::new("git")
        .current_dir(root())
        .args(["ls-files", "-z", "--cached", "--others", "--exclude-standard"])
        .output();
    let mut files: Vec<PathBuf> = match listed {
        Ok(output) if output.status.success() => String::from_utf8_lossy(&output.stdout)
            .split('\0')
            .filter(|name| !name.is_empty())
            .map(PathBuf::from)
            // Deleted but not yet committed.
            .filter(|name| root().join(name).exists())
            .collect(),
        _ => walk(root()).into_iter().map(|path| path.strip_prefix(root()).unwrap().to_path_buf()).collect(),
    };
    files.sort();
    files
}

fn walk(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        if path.is_dir() {
            if !["target", "node_modules", ".git", ".venv"].contains(&name.as_str()) {
                found.extend(walk(&path));
            }
        } else {
            found.push(path);
        }
    }
    found
}

/// A file's text; `None` for pictures and other files that are no text.
pub(crate) fn text(file: &Path) -> Option<String> {
    String::from_utf8(std::fs::read(root().join(file)).unwrap()).ok()
}

/// True when the file ends so.
pub(crate) fn ends(file: &Path, ending: &str) -> bool {
    file.extension().is_some_and(|found| found == ending)
}

#[test]
fn the_repository_lists_its_own_files() {
    let files = files();
    for name in ["Cargo.toml", "src/lib.rs", "tests/house/main.rs"] {
        assert!(files.contains(&PathBuf::from(name)), "{name} is missing among {} files", files.len());
    }
}
