//! A table of clients as text: which column is what, and each row as a client or as a fault with its reason. Pure.

use jiff::civil::Date;

use super::typed_client::{check_email, check_phone};
use crate::base::text;
use crate::web::checks::Notes;

/// The largest file, bytes.
pub(super) const MAX_FILE_BYTES: usize = 4 * 1024 * 1024;
/// The most rows of one file: they are kept in one write, and a longer one would make others wait.
pub(super) const MAX_ROWS: usize = 5000;

/// Which number of 3/4/1994 is the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum DayOrder {
    DayFirst,
    MonthFirst,
}

impl DayOrder {
    pub(super) const ALL: [Self; 2] = [Self::DayFirst, Self::MonthFirst];

    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::DayFirst => "day_first",
            Self::MonthFirst => "month_first",
        }
    }

    pub(super) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|order| order.word() == word)
    }
}

/// A good row.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) line: u64,
    pub(super) name: String,
    pub(super) phone: String,
    pub(super) email: String,
    pub(super) born: Option<Date>,
}

/// A row that cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Fault {
    pub(super) line: u64,
    pub(super) reason: String,
    pub(super) text: String,
}

/// What a file holds.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Table {
    pub(super) rows: Vec<Row>,
    pub(super) faults: Vec<Fault>,
    /// Columns that were understood, as the file names them and as what.
    pub(super) understood: Vec<(String, &'static str)>,
    /// Columns that are left out.
    pub(super) left_out: Vec<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Column {
    Name,
    First,
    Last,
    Phone,
    Email,
    Born,
}

impl Column {
    fn of(heading: &str) -> Option<Self> {
        let folded = text::fold(heading);
        let key: String = folded.chars().filter(|c| c.is_alphanumeric()).collect();
        Some(match key.as_str() {
            "name" | "fullname" | "client" | "clientname" | "customer" => Self::Name,
            "firstname" | "first" | "givenname" | "forename" => Self::First,
            "lastname" | "last" | "surname" | "familyname" => Self::Last,
            "phone" | "mobile" | "telephone" | "tel" | "phonenumber" | "mobilephone" | "cell" => Self::Phone,
            "email" | "mail" | "emailaddress" => Self::Email,
            "born" | "birthdate" | "birthday" | "dateofbirth" | "dob" => Self::Born,
            _ => return None,
        })
    }

    const fn words(self) -> &'static str {
        match self {
            Self::Name => "name",
            Self::First => "first name",
            Self::Last => "last name",
            Self::Phone => "phone",
            Self::Email => "e-mail",
            Self::Born => "birth date",
        }
    }
}

/// Reads a file.
///
/// # Errors
/// A sentence that says why nothing of it can be read.
pub(super) fn read(content: &[u8], order: DayOrder, today: Date) -> Result<Table, String> {
    let content = content.strip_prefix(b"\xef\xbb\xbf").unwrap_or(content);
    let text = std::str::from_utf8(content)
        .map_err(|_| "The file is not UTF-8 text. Save it as “CSV UTF-8” and send it again.".to_owned())?;
    let first = text.lines().next().unwrap_or_default();
    let mark = [b';', b'\t', b','].into_iter().max_by_key(|mark| first.bytes().filter(|b| b == mark).count());
    let mut reader = csv::ReaderBuilder::new()
        .delimiter(mark.unwrap_or(b','))
        .flexible(true)
        .trim(csv::Trim::All)
        .from_reader(text.as_bytes());
    let headings = reader.headers().map_err(|_| "The first line could not be read.".to_owned())?.clone();
    let columns: Vec<Option<Column>> = headings.iter().map(Column::of).collect();
    let has = |column| columns.contains(&Some(column));
    if !has(Column::Name) && !has(Column::First) && !has(Column::Last) {
        return Err("No column of names was found. The first line must name the columns, for instance: name, phone, email, born.".to_owned());
    }
    let mut table = Table::default();
    for (heading, column) in headings.iter().zip(&columns) {
        match column {
            Some(column) => table.understood.push((heading.to_owned(), column.words())),
            None if heading.is_empty() => {}
            None => table.left_out.push(heading.to_owned()),
        }
    }
    let mut records = reader.records();
    while let Some(record) = records.next() {
        if table.rows.len() + table.faults.len() >= MAX_ROWS {
            return Err(format!("The file has more than {MAX_ROWS} rows. Send it in parts."));
        }
        let to = usize::try_from(records.reader().position().byte()).unwrap_or(text.len());
        let is_last = text.get(to..).is_none_or(|rest| rest.trim().is_empty());
        if let Some(fault) = record.as_ref().ok().and_then(|record| never_closed(record, text, &columns, is_last)) {
            table.faults.push(fault);
            continue;
        }
        take(&mut table, record, text, &columns, order, today);
    }
    Ok(table)
}

/// A quotation mark that was opened and not closed takes the rows after it for words of its own: then they are missing, and nobody sees it
/// in a long file. No name, number, address or day goes over two lines; words in other columns may.
fn never_closed(record: &csv::StringRecord, text: &str, columns: &[Option<Column>], is_last: bool) -> Option<Fault> {
    let lines: usize = record.iter().map(|field| field.matches('\n').count()).sum();
    if lines == 0 {
        return None;
    }
    let ours = record.iter().zip(columns).any(|(field, column)| column.is_some() && field.contains('\n'));
    let from = record.position().and_then(|position| usize::try_from(position.byte()).ok()).unwrap_or_default();
    let open = || is_last && text.get(from..).unwrap_or_default().matches('"').count() % 2 == 1;
    (ours || open()).then(|| Fault {
        line: line_of(record.position(), text),
        reason: format!(
            "A quotation mark opens here and is not closed: {} lines were read as one row. Put it right in the file and send it again.",
            lines + 1
        ),
        text: record.iter().collect::<Vec<_>>().join(" | ").chars().take(200).collect(),
    })
}

/// The line on which a row stands: the reader's position is where it began to look, before the empty lines it passes over.
fn line_of(position: Option<&csv::Position>, text: &str) -> u64 {
    let Some(position) = position else { return 0 };
    let from = usize::try_from(position.byte()).ok().and_then(|from| text.as_bytes().get(from..)).unwrap_or_default();
    let empty = from.iter().take_while(|byte| matches!(byte, b'\r' | b'\n')).filter(|byte| **byte == b'\n').count();
    position.line() + empty as u64
}

fn take(
    table: &mut Table,
    record: Result<csv::StringRecord, csv::Error>,
    text: &str,
    columns: &[Option<Column>],
    order: DayOrder,
    today: Date,
) {
    let record = match record {
        Ok(record) => record,
        Err(cause) => {
            let line = line_of(cause.position(), text);
            table.faults.push(Fault {
                line,
                reason: "This line is no row of a table.".to_owned(),
                text: String::new(),
            });
            return;
        }
    };
    let line = line_of(record.position(), text);
    if record.iter().all(str::is_empty) {
        return;
    }
    let get = |wanted| {
        let place = columns.iter().position(|column| *column == Some(wanted));
        place.and_then(|place| record.get(place)).unwrap_or_default()
    };
    let mut notes = Notes::default();
    let whole = get(Column::Name);
    let joined = [get(Column::First), get(Column::Last)].join(" ");
    let name = notes.line("name", if whole.is_empty() { &joined } else { whole }, 120);
    let phone = check_phone(&mut notes, get(Column::Phone));
    let email = check_email(&mut notes, get(Column::Email));
    let born = born(get(Column::Born), order, today);
    let fault = match &born {
        Err(reason) => Some((*reason).to_owned()),
        Ok(_) => notes.all().first().map(|note| format!("{}: {}", note.field, note.sentence)),
    };
    match (fault, name, phone, email, born) {
        (None, Some(name), Some(phone), Some(email), Ok(born)) => {
            table.rows.push(Row { line, name, phone, email, born });
        }
        (fault, ..) => {
            let text: String = record.iter().collect::<Vec<_>>().join(" | ").chars().take(200).collect();
            table.faults.push(Fault { line, reason: fault.unwrap_or_default(), text });
        }
    }
}

/// A birth date as tables write it: 1994-03-07, 7.3.1994, 7/3/1994 or 3/7/1994.
fn born(typed: &str, order: DayOrder, today: Date) -> Result<Option<Date>, &'static str> {
    const UNREADABLE: &str = "The birth date is no day. Write it as 1994-03-07.";
    if typed.is_empty() {
        return Ok(None);
    }
    let parts: Vec<&str> = typed.split(['-', '.', '/', ' ']).filter(|part| !part.is_empty()).collect();
    let [a, b, c] = parts.as_slice() else { return Err(UNREADABLE) };
    let number = |text: &str| text.parse::<i16>().map_err(|_| UNREADABLE);
    let (a_long, c_long) = (a.len() == 4, c.len() == 4);
    let (a, b, c) = (number(a)?, number(b)?, number(c)?);
    let (year, month, day) = match (a_long, c_long) {
        (true, false) => (a, b, c),
        // A point is written between numbers only where the day comes first.
        (false, true) if order == DayOrder::DayFirst || typed.contains('.') => (c, b, a),
        (false, true) => (c, a, b),
        _ => return Err("Write the birth year with four digits."),
    };
    let (month, day) = (i8::try_from(month).map_err(|_| UNREADABLE)?, i8::try_from(day).map_err(|_| UNREADABLE)?);
    let born = Date::new(year, month, day).map_err(|_| UNREADABLE)?;
    if born > today || born.year() < today.year() - 120 {
        return Err("Nobody was born on that day who comes today.");
    }
    Ok(Some(born))
}

#[cfg(test)]
mod tests {
    use super::*;

    const TODAY: Date = Date::constant(2026, 2, 18);

    fn table(text: &str) -> Table {
        read(text.as_bytes(), DayOrder::DayFirst, TODAY).unwrap()
    }

    #[test]
    fn columns_are_known_by_their_names_in_any_order_and_others_are_left_out() {
        let found = table(
            "Surname;First name;Mobile;Shoe size;E-Mail;Date of birth\nLovell;Ada;20 30 40 50;39;ada@example.org;7.3.1994\n",
        );
        assert_eq!(
            found.rows,
            [Row {
                line: 2,
                name: "Ada Lovell".into(),
                phone: "20 30 40 50".into(),
                email: "ada@example.org".into(),
                born: Some(Date::constant(1994, 3, 7)),
            }]
        );
        assert_eq!(found.left_out, ["Shoe size"]);
    }

    #[test]
    fn a_faulty_row_is_named_with_its_line_and_the_others_are_good() {
        let found = table(
            "name,phone,born\nAda Lovell,call me,\n,20304050,\nBo Ek,,31.2.1990\n\nCy Dahl,,07/03/94\nDi Holm,20304050,1990-02-01\n",
        );
        let lines: Vec<_> = found.faults.iter().map(|fault| fault.line).collect();
        assert_eq!((lines, found.rows.len()), (vec![2, 3, 4, 6], 1));
        assert!(found.faults.iter().all(|fault| !fault.reason.is_empty()));
    }

    #[test]
    fn rows_that_a_quotation_mark_swallowed_are_told_of() {
        // In a column of ours, and in one that is left out; closed by another row's mark, or by the end of the file.
        for text in [
            "name,phone\n\"Ada Lovell,20304050\nBo Ek,20304051\nCy Dahl,20304052\n",
            "name,notes\nAda Lovell,\"likes tea\nBo Ek,\nCy Dahl,\n",
            "name,phone\n\"Ada Lovell,20304050\nBo Ek,20304051\nCy \"Dahl,20304052\n",
        ] {
            let found = table(text);
            assert_eq!((found.rows.len(), found.faults.len()), (0, 1), "{text}");
            assert_eq!(found.faults[0].line, 2);
            assert!(found.faults[0].reason.starts_with("A quotation mark opens here"), "{}", found.faults[0].reason);
        }
        // Words over two lines in a column that is left out, a mark inside of a word, and one that is doubled are fine.
        let found =
            table("name,notes\nAda Lovell,\"tea\nno sugar\"\nBo \"Bobby\" Ek,5\"\nCy Dahl,\"a \"\"good\"\" one\"\n");
        assert_eq!((found.rows.len(), found.faults.len()), (3, 0), "{:?}", found.faults);
    }

    #[test]
    fn dates_are_read_in_the_order_that_was_chosen() {
        let day = |typed, order| born(typed, order, TODAY).unwrap().unwrap().to_string();
        assert_eq!(day("3/4/1994", DayOrder::DayFirst), "1994-04-03");
        assert_eq!(day("3/4/1994", DayOrder::MonthFirst), "1994-03-04");
        assert_eq!(day("3.4.1994", DayOrder::MonthFirst), "1994-04-03");
        assert_eq!(day("1994-04-03", DayOrder::MonthFirst), "1994-04-03");
        assert!(born("2027-01-01", DayOrder::DayFirst, TODAY).is_err());
    }

    #[test]
    fn what_is_no_table_of_clients_is_refused_in_words() {
        for wrong in [b"a,b\n1,2\n".as_slice(), b"", b"name\xff\n"] {
            assert!(read(wrong, DayOrder::DayFirst, TODAY).is_err());
        }
    }
}
