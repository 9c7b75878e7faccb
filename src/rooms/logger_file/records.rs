//! One record after another, with the line it stands on and its text as written.

use std::io::Read;

/// How many lines a header may run over: spreadsheets break a long column name inside its quotation marks.
const HEADER_LINES: usize = 4;

/// Longer than this, bytes, no header runs over several lines: trying would read long lines several times.
const HEADER_BYTES: usize = 4096;

/// Walks over the records of a text. Each line is one record, so that an unclosed quotation mark costs its own line and
/// nothing is looked at twice.
pub(super) struct Records<'t> {
    text: &'t str,
    /// How far the walk has come, bytes.
    at: usize,
    /// Line ends before `at`, and before the text itself.
    lines: u64,
    reader: csv::Reader<OneRecord<'t>>,
    /// The cells of the record last read.
    pub(super) cells: csv::StringRecord,
}

/// Where a record stands.
pub(super) struct Place<'t> {
    /// Line, from 1.
    pub(super) line: u64,
    /// The record as written, without its line end.
    pub(super) text: &'t str,
    /// A quotation mark was opened and not closed on this line; the cells hold nothing useful.
    pub(super) unclosed: bool,
}

impl<'t> Records<'t> {
    pub(super) fn new(text: &'t str, separator: u8, lines_before: u64) -> Records<'t> {
        let reader = csv::ReaderBuilder::new()
            .delimiter(separator)
            .has_headers(false)
            .flexible(true)
            .from_reader(OneRecord::default());
        Records { text, at: 0, lines: lines_before, reader, cells: csv::StringRecord::new() }
    }

    /// How far the walk has come, bytes of the text.
    pub(super) const fn position(&self) -> usize {
        self.at
    }

    /// How many lines lie behind, those before the text among them.
    pub(super) const fn lines(&self) -> u64 {
        self.lines
    }

    /// Reads the next line that is not blank into `cells`.
    pub(super) fn next(&mut self) -> Option<Place<'t>> {
        let text = loop {
            let line = self.next_line()?;
            if !line.is_empty() {
                break line;
            }
        };
        let unclosed = self.read(text);
        Some(Place { line: self.lines, text, unclosed })
    }

    /// As [`Records::next`], but a record that is not closed goes on over the next few lines, if that closes it.
    pub(super) fn next_header(&mut self) -> Option<Place<'t>> {
        let place = self.next()?;
        if !place.unclosed {
            return Some(place);
        }
        let (at, lines) = (self.at, self.lines);
        let from = at - self.text[..at].bytes().rev().take_while(|byte| matches!(byte, b'\n' | b'\r')).count();
        let from = from - place.text.len();
        for _ in 1..HEADER_LINES {
            if self.next_line().is_none() {
                break;
            }
            let text = self.text[from..self.at].trim_end_matches(['\n', '\r']);
            if text.len() > HEADER_BYTES {
                break;
            }
            if !self.read(text) {
                return Some(Place { text, unclosed: false, ..place });
            }
        }
        (self.at, self.lines) = (at, lines);
        Some(place)
    }

    /// The next line without its end: a line feed, a carriage return, or both.
    fn next_line(&mut self) -> Option<&'t str> {
        let rest = self.text.get(self.at..).filter(|rest| !rest.is_empty())?;
        let length = rest.bytes().position(|byte| matches!(byte, b'\n' | b'\r')).unwrap_or(rest.len());
        let end = if rest[length..].starts_with("\r\n") { 2 } else { 1 };
        self.at = (self.at + length + end).min(self.text.len());
        self.lines += 1;
        Some(&rest[..length])
    }

    /// Reads one record into `cells`; whether a quotation mark stays open at its end.
    fn read(&mut self, record: &'t str) -> bool {
        *self.reader.get_mut() = OneRecord { rest: record.as_bytes(), ..OneRecord::default() };
        // The text is UTF-8 and records may have any length, so reading from memory has nothing to fail on.
        let read = self.reader.read_record(&mut self.cells).unwrap_or(false);
        debug_assert!(read);
        self.reader.get_ref().unclosed
    }
}

/// One record and the line end behind it. Who asks for more is inside a quotation mark: it is closed for him, so that
/// the same reader can go on with the next record.
#[derive(Default)]
struct OneRecord<'t> {
    rest: &'t [u8],
    ended: bool,
    unclosed: bool,
}

impl Read for OneRecord<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        if self.rest.is_empty() {
            self.unclosed = self.ended;
            self.rest = if self.ended { b"\"\n" } else { b"\n" };
            self.ended = true;
        }
        let given = self.rest.read(into)?;
        #[cfg(test)]
        steps::add(given);
        Ok(given)
    }
}

/// How much work a test's reading was: bytes given to the reader, and columns looked at in each row.
#[cfg(test)]
pub(super) mod steps {
    use std::cell::Cell;

    thread_local! {
        static STEPS: Cell<usize> = const { Cell::new(0) };
    }

    pub(in super::super) fn add(steps: usize) {
        STEPS.set(STEPS.get() + steps);
    }

    /// What was counted since the last call.
    pub(in super::super) fn take() -> usize {
        STEPS.take()
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
        assert_eq!(records.position(), text.len());
    }

    #[test]
    fn lines_are_counted_as_an_editor_counts_them() {
        check("a,b\nc,d\n", &[(1, "a,b", false), (2, "c,d", false)]);
        check("\n\na,b\r\n\r\n\r\nc,d", &[(3, "a,b", false), (6, "c,d", false)]);
        check("\"a,1\",b\r\nc,d\r\n", &[(1, "\"a,1\",b", false), (2, "c,d", false)]);
        check("a,b\rc,d\r", &[(1, "a,b", false), (2, "c,d", false)]);
    }

    #[test]
    fn an_unclosed_quotation_mark_costs_its_own_line_only() {
        check("a,b\n\"c,d\ne,f\ng,h\n", &[(1, "a,b", false), (2, "\"c,d", true), (3, "e,f", false), (4, "g,h", false)]);
        check("a,b\r\na\"b,\"c", &[(1, "a,b", false), (2, "a\"b,\"c", true)]);
        check("\"a\"\"\nb", &[(1, "\"a\"\"", true), (2, "b", false)]);
    }

    #[test]
    fn the_record_after_an_unclosed_one_has_its_own_cells() {
        let mut records = Records::new("\"a,b\nc,\"d,\"\"e\"\n\"f\"\"\n\"\ng,h\n", b',', 0);
        let mut cells = Vec::new();
        while let Some(place) = records.next() {
            cells.push((!place.unclosed).then(|| records.cells.iter().collect::<Vec<_>>().join("|")));
        }
        assert_eq!(cells, [None, Some("c|d,\"e".to_owned()), None, None, Some("g|h".to_owned())]);
    }

    #[test]
    fn a_header_may_break_its_lines_inside_quotation_marks() {
        let mut records = Records::new("\r\nTime,\"Temp\r\n(°C)\",RH\r\n1,2,3\r\n", b',', 0);
        let place = records.next_header().unwrap();
        assert_eq!((place.line, place.unclosed, records.lines()), (2, false, 3));
        assert_eq!(records.cells.iter().collect::<Vec<_>>(), ["Time", "Temp\r\n(°C)", "RH"]);
        assert_eq!(records.next().unwrap().text, "1,2,3");
    }

    #[test]
    fn a_header_that_never_closes_takes_no_line_but_its_own() {
        let mut records = Records::new("\"a\nb\nc\nd\ne\nf\n", b',', 0);
        assert!(records.next_header().unwrap().unclosed);
        assert_eq!(records.next().unwrap().text, "b");
    }
}
