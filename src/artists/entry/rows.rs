//! Pasted rows: travel and settle, or three instants. Every row is good or a fault with its line and its reason.

use super::{MOST, Timed, Unit, believable, shortened};
use crate::base::number::{DecimalMark, typed_decimal};

/// A good row.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Good {
    /// Its line, from 1.
    pub line: usize,
    /// The placement.
    pub timed: Timed,
}

/// A row that could not be read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// Its line, from 1.
    pub line: usize,
    /// The row as written, shortened.
    pub text: String,
    /// Why, in a sentence.
    pub why: String,
}

/// What was found in pasted rows.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct RowsRead {
    /// The good rows in their order.
    pub good: Vec<Good>,
    /// The others.
    pub faults: Vec<Fault>,
    /// True where the first row was a head of words.
    pub header: bool,
}

/// Which cells of a row hold what.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Columns {
    /// By their number: two are spans, three are instants.
    ByCount,
    /// Travel and settle, in these places.
    Spans(usize, usize),
    /// Picked up, touches, still, in these places.
    Instants(usize, usize, usize),
}

/// Reads rows as pasted or from a file. Cells stand apart by semicolons, tabs, spaces or commas, each line by itself; a
/// decimal comma is read wherever commas do not part the cells. What is said of numbers has this sign.
#[must_use]
pub fn rows(text: &str, unit: Unit, mark: DecimalMark) -> RowsRead {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let mut read = RowsRead::default();
    let mut columns = Columns::ByCount;
    let mut first = true;
    for (at, line) in text.lines().enumerate() {
        if line.trim().is_empty() {
            continue;
        }
        let cells = cells(line);
        if std::mem::take(&mut first) && is_head(&cells) {
            read.header = true;
            columns = by_head(&cells);
            continue;
        }
        match placement(&cells, columns, unit, mark) {
            Ok(_) if read.good.len() == MOST => {
                let why = format!("One session holds at most {MOST} placements. Keep this row for another.");
                read.faults.push(Fault { line: at + 1, text: shortened(line), why });
            }
            Ok(timed) => read.good.push(Good { line: at + 1, timed }),
            Err(why) => read.faults.push(Fault { line: at + 1, text: shortened(line), why }),
        }
    }
    read
}

fn cells(line: &str) -> Vec<String> {
    let spaced: Vec<&str> = line.split_whitespace().collect();
    let separator = if line.contains(';') {
        b';'
    } else if line.contains('\t') {
        b'\t'
    } else if (2..=3).contains(&spaced.len()) && spaced.iter().all(|cell| typed_decimal(cell).is_some()) {
        return spaced.into_iter().map(str::to_owned).collect();
    } else {
        b','
    };
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(separator)
        .has_headers(false)
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(line.as_bytes());
    let record = reader.records().next().and_then(Result::ok).unwrap_or_default();
    let mut cells: Vec<String> = record.iter().map(str::to_owned).collect();
    // Spreadsheets leave empty cells at the end of a row.
    while cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    cells
}

/// A head has a word in every cell.
fn is_head(cells: &[String]) -> bool {
    !cells.is_empty() && cells.iter().all(|cell| typed_decimal(cell).is_none() && cell.contains(char::is_alphabetic))
}

fn by_head(cells: &[String]) -> Columns {
    let place = |words: &[&str]| {
        cells.iter().position(|cell| {
            let cell = cell.to_lowercase();
            words.iter().any(|word| cell.contains(word))
        })
    };
    if let (Some(travel), Some(settle)) = (place(&["travel"]), place(&["settle"])) {
        return Columns::Spans(travel, settle);
    }
    match (place(&["pick"]), place(&["touch", "contact"]), place(&["still"])) {
        (Some(picked), Some(touches), Some(still)) => Columns::Instants(picked, touches, still),
        _ => Columns::ByCount,
    }
}

fn placement(cells: &[String], columns: Columns, unit: Unit, mark: DecimalMark) -> Result<Timed, String> {
    let columns = match (columns, cells.len()) {
        (Columns::ByCount, 2) => Columns::Spans(0, 1),
        (Columns::ByCount, 3) => Columns::Instants(0, 1, 2),
        (Columns::ByCount, 1) => {
            return Err("One number only: travel and settle, or three instants, make a placement.".to_owned());
        }
        (Columns::ByCount, n) => {
            return Err(format!("{n} cells: travel and settle, or three instants, make a placement."));
        }
        (named, _) => named,
    };
    let cell = |at: usize| cells.get(at).map(String::as_str).filter(|cell| !cell.is_empty()).ok_or("A cell is empty.");
    match columns {
        Columns::Instants(picked, touches, still) => {
            let instants = [cell(picked)?, cell(touches)?, cell(still)?];
            let [picked, touches, still] =
                [unit.instant(instants[0])?, unit.instant(instants[1])?, unit.instant(instants[2])?];
            if !(picked < touches && touches < still) {
                return Err("The three instants do not rise: picked up, touches, still.".to_owned());
            }
            let (travel, settle) = (touches - picked, still - touches);
            let (travel, settle) = (believable(travel, "Travel", mark)?, believable(settle, "Settle", mark)?);
            Ok(Timed { travel, settle, struck: false })
        }
        Columns::Spans(travel, settle) => {
            let (travel, settle) = (cell(travel)?, cell(settle)?);
            let (travel, settle) = (unit.span(travel, "Travel", mark)?, unit.span(settle, "Settle", mark)?);
            Ok(Timed { travel, settle, struck: false })
        }
        Columns::ByCount => Err("This row could not be read.".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn rows(text: &str, unit: Unit) -> RowsRead {
        super::rows(text, unit, DecimalMark::Point)
    }

    fn spans(read: &RowsRead) -> Vec<(usize, f64, f64)> {
        let rounded = |s: f64| (s * 1e6).round() / 1e6;
        read.good.iter().map(|g| (g.line, rounded(g.timed.travel.get()), rounded(g.timed.settle.get()))).collect()
    }

    fn why(read: &RowsRead) -> Vec<(usize, &str)> {
        read.faults.iter().map(|fault| (fault.line, fault.why.as_str())).collect()
    }

    #[test]
    fn rows_are_read_however_their_cells_stand_apart() {
        let read = rows("2,4;1,1\n2.4,1.1\n2,4\t1,1\n 2,4   1,1 \n\n\"2,4\",\"1,1\"", Unit::Seconds);
        let one = |line| (line, 2.4, 1.1);
        assert_eq!(spans(&read), [one(1), one(2), one(3), one(4), one(6)]);
        assert!(read.faults.is_empty() && !read.header);
    }

    #[test]
    fn three_numbers_are_instants_and_frames_are_counted() {
        assert_eq!(spans(&rows("10;12,4;13,5", Unit::Seconds)), [(1, 2.4, 1.1)]);
        assert_eq!(spans(&rows("120;192;225\n72;33", Unit::Frames(30.0))), [(1, 2.4, 1.1), (2, 2.4, 1.1)]);
    }

    #[test]
    fn a_head_is_optional_and_names_the_columns() {
        let read = rows("Settle (s);Travel (s);note\n1,1;2,4;\n1,2;2,5;slipped", Unit::Seconds);
        assert!(read.header);
        assert_eq!(spans(&read), [(2, 2.4, 1.1), (3, 2.5, 1.2)]);
        let read = rows("n,picked up,touches,still\n1,10,12.4,13.5", Unit::Seconds);
        assert_eq!(spans(&read), [(2, 2.4, 1.1)]);
        assert_eq!(spans(&rows("a;b\n2,4;1,1", Unit::Seconds)), [(2, 2.4, 1.1)]);
    }

    #[test]
    fn faulty_rows_are_named_and_the_good_ones_stay() {
        let read = rows("2.4;1.1\nwarm;1\n3\n1;2;3;4\n5;4;6\n2.4;99\n2.5;1.0", Unit::Seconds);
        assert_eq!(spans(&read), [(1, 2.4, 1.1), (7, 2.5, 1.0)]);
        assert_eq!(
            why(&read),
            [
                (2, "“warm” is not a number."),
                (3, "One number only: travel and settle, or three instants, make a placement."),
                (4, "4 cells: travel and settle, or three instants, make a placement."),
                (5, "The three instants do not rise: picked up, touches, still."),
                (6, "Settle of 99.00 s is outside 0.05 to 60 s."),
            ]
        );
        let commas = super::rows("2.4;99", Unit::Seconds, DecimalMark::Comma);
        assert_eq!(why(&commas), [(1, "Settle of 99,00 s is outside 0,05 to 60 s.")]);
        assert_eq!(why(&rows("1.5;3", Unit::Frames(25.0))), [(1, "“1.5” is not a number of frames.")]);
    }

    #[test]
    fn a_session_holds_no_more_than_it_may() {
        let read = rows(&"2.4;1.1\n".repeat(502), Unit::Seconds);
        assert_eq!((read.good.len(), read.faults.len(), read.faults[0].line), (500, 2, 501));
    }

    proptest! {
        #[test]
        fn any_text_gives_each_line_once(text in "[0-9a-z;,.\t \"\n-]{0,200}") {
            let read = rows(&text, Unit::Seconds);
            let lines = text.lines().filter(|line| !line.trim().is_empty()).count();
            prop_assert_eq!(read.good.len() + read.faults.len() + usize::from(read.header), lines);
        }
    }
}
