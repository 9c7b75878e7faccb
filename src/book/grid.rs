//! The diary as a table: half hours down, artists, beds or days across. Pure: minutes of the wall in, cells out.

use super::hours::{MinuteSpan, minute_words};

/// Minutes of a row.
pub(super) const ROW: i64 = 30;

/// What is drawn where something is booked.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Entry {
    /// Where it leads; empty where a colleague may not look.
    pub(super) href: String,
    /// "10:15–12:20".
    pub(super) time: String,
    /// "Ada L.", or "taken".
    pub(super) who: String,
    /// "Classic set".
    pub(super) what: String,
    /// The bed, or the artist; and what else there is to say.
    pub(super) small: String,
    /// Whether nobody came.
    pub(super) missed: bool,
}

/// Something that takes time in a column.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Item {
    /// Minutes of the day of the visit.
    pub(super) span: MinuteSpan,
    /// The same with the time kept free around it.
    pub(super) busy: MinuteSpan,
    pub(super) entry: Entry,
}

/// A column before it is cut into cells.
#[derive(Debug, Clone, Default)]
pub(super) struct Column {
    pub(super) head: String,
    /// Where its head leads.
    pub(super) href: String,
    pub(super) small: String,
    /// When it is open.
    pub(super) open: Vec<MinuteSpan>,
    pub(super) items: Vec<Item>,
    /// The address of a booking form, up to where the hour follows; empty where nothing can be booked.
    pub(super) book: String,
    /// "with Ines", for who only hears the link.
    pub(super) whose: String,
}

/// A cell of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Cell {
    /// How many rows it spans.
    pub(super) rows: usize,
    /// free, kept (free around a visit), shut or taken.
    pub(super) kind: &'static str,
    /// For a free cell: where it is booked; empty where it cannot be.
    pub(super) href: String,
    /// "Book 10:30 with Ines".
    pub(super) label: String,
    pub(super) entries: Vec<Entry>,
}

/// A row of the table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    /// "10:30".
    pub(super) label: String,
    /// A full hour: drawn with a stronger line.
    pub(super) full: bool,
    pub(super) cells: Vec<Cell>,
}

/// The table: from the earliest to the latest half hour anything lies in; nine to six where nothing does.
pub(super) fn rows(columns: &[Column]) -> Vec<Row> {
    let all = || {
        columns.iter().flat_map(|column| column.open.iter().copied().chain(column.items.iter().map(|item| item.span)))
    };
    let first = all().map(|(from, _)| from.div_euclid(ROW)).min().unwrap_or(18).max(0);
    let last = all().map(|(_, to)| up(to)).max().unwrap_or(36).min(48).max(first + 1);
    let mut rows: Vec<Row> = (first..last)
        .map(|row| Row { label: minute_words(row * ROW), full: row % 2 == 0, cells: Vec::new() })
        .collect();
    for column in columns {
        let mut at = first;
        for (from, to, entries) in groups(column) {
            let (from, to) = (from.clamp(first, last - 1), to.clamp(first + 1, last));
            // Of two that touch the same half hour the first has it.
            let from = from.max(at);
            fill(&mut rows, column, first, at, from);
            if to > from {
                push(
                    &mut rows,
                    first,
                    from,
                    Cell {
                        rows: usize::try_from(to - from).unwrap_or(1),
                        kind: "taken",
                        href: String::new(),
                        label: String::new(),
                        entries,
                    },
                );
                at = to;
            }
        }
        fill(&mut rows, column, first, at, last);
    }
    rows
}

/// Items as the rows they take. Of two that share a half hour the later one has it; those that begin in the same one share a cell.
fn groups(column: &Column) -> Vec<(i64, i64, Vec<Entry>)> {
    let mut items: Vec<&Item> = column.items.iter().collect();
    items.sort_by_key(|item| item.span);
    let mut groups: Vec<(i64, i64, Vec<Entry>)> = Vec::new();
    for item in items {
        let (from, to) = (item.span.0.div_euclid(ROW), up(item.span.1).max(item.span.0.div_euclid(ROW) + 1));
        match groups.last_mut() {
            Some(last) if from == last.0 => {
                last.1 = last.1.max(to);
                last.2.push(item.entry.clone());
            }
            Some(last) if from < last.1 => {
                last.1 = from;
                groups.push((from, to, vec![item.entry.clone()]));
            }
            _ => groups.push((from, to, vec![item.entry.clone()])),
        }
    }
    groups
}

fn fill(rows: &mut [Row], column: &Column, first: i64, from: i64, to: i64) {
    for row in from..to {
        let span = (row * ROW, (row + 1) * ROW);
        let open = column.open.iter().any(|open| open.0 < span.1 && span.0 < open.1);
        let kept = column.items.iter().any(|item| item.busy.0 < span.1 && span.0 < item.busy.1);
        let bookable = open && !kept && !column.book.is_empty();
        let time = minute_words(span.0);
        push(
            rows,
            first,
            row,
            Cell {
                rows: 1,
                kind: if kept {
                    "kept"
                } else if open {
                    "free"
                } else {
                    "shut"
                },
                href: if bookable { format!("{}{time}", column.book) } else { String::new() },
                label: if bookable { format!("Book {time} {}", column.whose) } else { String::new() },
                entries: Vec::new(),
            },
        );
    }
}

fn push(rows: &mut [Row], first: i64, row: i64, cell: Cell) {
    if let Some(row) = usize::try_from(row - first).ok().and_then(|at| rows.get_mut(at)) {
        row.cells.push(cell);
    }
}

fn up(minute: i64) -> i64 {
    minute.div_euclid(ROW) + i64::from(minute.rem_euclid(ROW) != 0)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn item(from: i64, to: i64) -> Item {
        Item {
            span: (from, to),
            busy: (from - 5, to + 10),
            entry: Entry { time: format!("{from}"), ..Entry::default() },
        }
    }

    fn column(open: &[MinuteSpan], items: Vec<Item>) -> Column {
        Column {
            open: open.to_vec(),
            items,
            book: "/book/new?at=".into(),
            whose: "with Ines".into(),
            ..Column::default()
        }
    }

    #[test]
    fn an_appointment_spans_its_half_hours_and_what_is_kept_free_around_it_cannot_be_booked() {
        let table = rows(&[
            column(&[(540, 720)], vec![item(555, 630), item(660, 675), item(675, 690)]),
            column(&[(600, 660)], vec![]),
        ]);
        let labels: Vec<_> = table.iter().map(|row| row.label.as_str()).collect();
        assert_eq!(labels, ["09:00", "09:30", "10:00", "10:30", "11:00", "11:30"]);
        let cell = &table[0].cells[0];
        assert_eq!((cell.kind, cell.rows, cell.entries.len()), ("taken", 3, 1));
        assert_eq!((table[3].cells[0].kind, table[3].cells[0].href.as_str()), ("kept", ""));
        assert_eq!(table[4].cells[0].entries.len(), 2, "two that begin in one half hour share its cell");
        assert_eq!(table[5].cells[0].kind, "kept");
        assert_eq!(table[0].cells[1].kind, "shut");
        assert_eq!((table[2].cells[0].kind, table[2].cells[0].href.as_str()), ("free", "/book/new?at=10:00"));
        assert_eq!(table[2].cells[0].label, "Book 10:00 with Ines");
        assert_eq!(rows(&[column(&[], vec![])]).len(), 18, "an empty day is shown from nine to six");
    }

    #[test]
    fn of_two_that_share_a_half_hour_the_later_begins_in_it() {
        let table = rows(&[column(&[(540, 720)], vec![item(555, 645), item(645, 720)])]);
        assert_eq!((table[0].cells[0].rows, table[3].cells[0].rows), (3, 3));
    }

    proptest! {
        #[test]
        fn every_column_fills_every_row_once(
            columns in proptest::collection::vec(
                (proptest::collection::vec((0i64..1400, 1i64..300), 0..3), proptest::collection::vec((0i64..1435, 5i64..300), 0..8)),
                1..5,
            ),
        ) {
            let columns: Vec<Column> = columns
                .into_iter()
                .map(|(open, items)| {
                    let open: Vec<MinuteSpan> = open.into_iter().map(|(from, long)| (from, (from + long).min(1440))).collect();
                    column(&open, items.into_iter().map(|(from, long)| item(from, (from + long).min(1440))).collect())
                })
                .collect();
            let wanted: usize = columns.iter().map(|column| column.items.len()).sum();
            let table = rows(&columns);
            let filled: usize = table.iter().flat_map(|row| &row.cells).map(|cell| cell.rows).sum();
            prop_assert_eq!(filled, table.len() * columns.len());
            let drawn: usize = table.iter().flat_map(|row| &row.cells).map(|cell| cell.entries.len()).sum();
            prop_assert_eq!(drawn, wanted, "nothing booked is left out");
        }
    }
}
