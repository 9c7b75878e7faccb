//! `advise`: the question from a file or standard input, the answer on standard output.

use std::fs::File;
use std::io::Read;
use std::path::Path;

use super::args::AdviseArgs;
use super::exit::{Exit, answer};
use crate::advice::file::LARGEST_FILE;

/// Reads every question, asks, and prints only when all of them could be answered.
pub(super) fn advise(wanted: &AdviseArgs) -> Result<(), Exit> {
    let several = wanted.files.len() > 1;
    let mut told = Vec::with_capacity(wanted.files.len());
    for file in &wanted.files {
        let answered = question(file).and_then(|text| crate::advice::command(&text, wanted.json));
        // One sentence; with several files it also has to say which.
        let answered = answered.map_err(|why| if several { format!("{}: {why}", file.display()) } else { why });
        let answered = answered.map_err(Exit::Input)?;
        told.push(if several && !wanted.json { format!("{}\n\n{answered}", file.display()) } else { answered });
    }
    answer(&told.join(if wanted.json { "\n" } else { "\n\n" }))
}

fn question(file: &Path) -> Result<String, String> {
    let mut bytes = Vec::new();
    // One byte more than is taken, so that the reader of the question says itself that it is too long.
    let most = LARGEST_FILE as u64 + 1;
    let read = if file == Path::new("-") {
        std::io::stdin().lock().take(most).read_to_end(&mut bytes)
    } else {
        File::open(file).and_then(|file| file.take(most).read_to_end(&mut bytes))
    };
    read.map_err(|error| format!("{} cannot be read: {error}.", file.display()))?;
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
