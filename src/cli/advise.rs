//! `advise`: the question from a file or standard input, the answer on standard output.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::args::AdviseArgs;
use super::exit::{Exit, answer};

/// The largest question, in bytes; years of timings fit into a fraction of it.
const LIMIT: usize = 2_000_000;

/// Reads the question, asks, prints.
pub(super) fn advise(wanted: &AdviseArgs) -> Result<(), Exit> {
    let text = question(&wanted.file).map_err(Exit::Input)?;
    let told = advice(&text, wanted.json).map_err(Exit::Input)?;
    answer(&told)
}

/// The answer in words or as JSON, or the one sentence that says which field is wrong.
fn advice(_text: &str, _json: bool) -> Result<String, String> {
    // Becomes `crate::advice::command(text, json)`.
    Err("advise is not available in this build.".into())
}

fn question(file: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    let most = LIMIT as u64 + 1;
    let read = if file == Path::new("-") {
        std::io::stdin().lock().take(most).read_to_end(&mut bytes)
    } else {
        File::open(file).and_then(|file| file.take(most).read_to_end(&mut bytes))
    };
    read.map_err(|error| format!("{} cannot be read: {error}.", file.display()))?;
    if bytes.len() > LIMIT {
        return Err(format!("{} is larger than 2 MB.", file.display()));
    }
    text_of(bytes)
}

/// The text of a file, without the mark some editors put before it.
fn text_of(bytes: Vec<u8>) -> Result<String, String> {
    let text = String::from_utf8(bytes).map_err(|error| {
        let line = error.as_bytes()[..error.utf8_error().valid_up_to()].split(|byte| *byte == b'\n').count();
        format!("not JSON, line {line}")
    })?;
    Ok(text.strip_prefix('\u{feff}').map(str::to_owned).unwrap_or(text))
}

#[cfg(test)]
mod tests {
    use super::text_of;

    #[test]
    fn bytes_that_are_no_text_are_told_by_their_line() {
        assert_eq!(text_of(b"{}\n\xff".to_vec()), Err("not JSON, line 2".into()));
        assert_eq!(text_of(b"\xc3".to_vec()), Err("not JSON, line 1".into()));
        assert_eq!(text_of(b"\xef\xbb\xbf{}".to_vec()), Ok("{}".into()));
    }
}
