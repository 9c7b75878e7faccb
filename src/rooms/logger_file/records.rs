//! One record after another, with the line it stands on and its text as written.

use std::io::Cursor;

/// Walks over the records of a text, never letting an unclosed quotation mark swallow the rows below it.
pub(super) struct Records<'t> {
    text: &'t str,
    reader: csv::Reader<Cursor<&'t [u8]>>,
    /// Line ends before the text.
    lines_before: u64,
    /// The cells of the record last read.
    pub(super) cells: csv::StringRecord,
}

/// Where a record stands.
pub(super) struct Place<'t> {
    /// Line, from 1.
    pub(super) line: u64,
    /// The record as written.
    pub(super) text: &'t str,
    /// Where it ends in the text, bytes.
    pub(super) ends: usize,
    /// A quotation mark was opened and not closed on this line; the cells hold nothing useful.
    pub(super) unclosed: bool,
}

impl<'t> Records<'t> {
    pub(super) fn new(text: &'t str, separator: u8, lines_before: u64) -> Records<'t> {
        let reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .has_headers(false)
            .flexible(true)
            .from_reader(Cursor::new(text.as_bytes()));
        Records { text, reader, lines_before, cells: csv::StringRecord::new() }
    }

    /// How far the walk has come, bytes of the text.
    pub(super) fn position(&self) -> usize {
        usize::try_from(self.reader.position().byte()).unwrap_or(self.text.len()).min(self.text.len())
    }

    /// Reads the next record into `cells`; blank lines are skipped.
    pub(super) fn next(&mut self) -> Option<Place<'t>> {
        let from = self.position();
        let line = self.reader.position().line();
        // The text is UTF-8 and records may have any length, so reading from memory has nothing to fail on.
        if !self.reader.read_record(&mut self.cells).unwrap_or(false) {
            return None;
        }
        let ends = self.position();
        let whole = self.text.get(from..ends).unwrap_or_default();
        // The reader counts blank lines before a record as part of it.
        let skipped = whole.len() - whole.trim_start_matches(['\r', '\n']).len();
        let line_ends = |text: &str| text.bytes().filter(|&byte| byte == b'\n').count() as u64;
        let line = line + line_ends(&whole[..skipped]);
        let text = whole[skipped..].trim_end_matches(['\r', '\n']);
        let first = text.split('\n').next().unwrap_or_default();
        let unclosed = first.len() < text.len();
        let ends = if unclosed { self.go_back_to(from + skipped + first.len() + 1, line + 1) } else { ends };
        Some(Place { line: self.lines_before + line, text: first.trim_end_matches('\r'), ends, unclosed })
    }

    fn go_back_to(&mut self, byte: usize, line: u64) -> usize {
        let mut at = csv::Position::new();
        at.set_byte(byte as u64).set_line(line);
        // Seeking in memory to a place inside the text succeeds; were it not to, the walk would end early, not loop.
        let there = self.reader.seek(at).is_ok();
        if there { byte } else { self.text.len() }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, expected: &[(u64, &str, bool)]) {
        let mut records = Records::new(text, b',', 0);
        let mut found = Vec::new();
        while let Some(place) = records.next() {
            found.push((place.line, place.text, place.unclosed));
        }
        assert_eq!(found, expected);
    }

    #[test]
    fn lines_are_counted_as_an_editor_counts_them() {
        check("a,b\nc,d\n", &[(1, "a,b", false), (2, "c,d", false)]);
        check("\n\na,b\r\n\r\n\r\nc,d", &[(3, "a,b", false), (6, "c,d", false)]);
        check("\"a,1\",b\r\nc,d\r\n", &[(1, "\"a,1\",b", false), (2, "c,d", false)]);
    }

    #[test]
    fn an_unclosed_quotation_mark_costs_its_own_line_only() {
        check("a,b\n\"c,d\ne,f\ng,h\n", &[(1, "a,b", false), (2, "\"c,d", true), (3, "e,f", false), (4, "g,h", false)]);
    }
}
