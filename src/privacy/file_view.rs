//! A client's file as she reads it: words instead of ids and codes, signatures as pictures, instants by the studio's clock. Pure.

use crate::base::text::capital;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::clients::file::{FilePart, FileRecord, FileValue};
use crate::clients::names::Names;

/// What one part keeps of her, under its heading.
pub(super) struct SectionView {
    /// The place on the page to which the list of contents leads.
    pub(super) id: String,
    pub(super) word: String,
    /// "12 entries".
    pub(super) many: String,
    /// Records of a line each: when, and what.
    pub(super) lines: Vec<(String, String)>,
    /// Records with more to say.
    pub(super) records: Vec<RecordView>,
}

pub(super) struct RecordView {
    /// What it is, and when.
    pub(super) title: String,
    pub(super) fields: Vec<FieldOfFile>,
}

pub(super) struct FieldOfFile {
    pub(super) name: String,
    pub(super) words: String,
    /// The path of a signature; empty for anything else.
    pub(super) drawn: String,
}

/// What values are worded by.
pub(super) struct Wording<'w> {
    pub(super) zone: &'w Zone,
    pub(super) names: &'w Names,
    pub(super) now: Instant,
}

/// A record of no more fields than this, each short, is a line.
const FIELDS_OF_A_LINE: usize = 2;
/// Signs of a short field.
const SHORT: usize = 120;

impl Wording<'_> {
    /// The parts that hold something, and the headings of those that hold nothing.
    pub(super) fn sections(&self, parts: &[FilePart]) -> (Vec<SectionView>, Vec<String>) {
        let nothing = parts.iter().filter(|part| part.records.is_empty()).map(|part| part.heading.clone());
        let sections = parts.iter().enumerate().filter(|(_, part)| !part.records.is_empty());
        (sections.map(|(at, part)| self.section(at, part)).collect(), nothing.collect())
    }

    fn section(&self, at: usize, part: &FilePart) -> SectionView {
        let all: Vec<(String, RecordView)> = part.records.iter().map(|record| self.record(record)).collect();
        let is_line = |(when, record): &(String, RecordView)| {
            let short = |field: &FieldOfFile| field.drawn.is_empty() && field.words.chars().count() <= SHORT;
            !when.is_empty() && record.fields.len() <= FIELDS_OF_A_LINE && record.fields.iter().all(short)
        };
        let many = if all.len() == 1 { "one entry".to_owned() } else { format!("{} entries", all.len()) };
        let (mut lines, mut records) = (Vec::new(), Vec::new());
        if all.iter().all(is_line) {
            lines = all.into_iter().map(|(when, record)| (when, in_a_line(&record))).collect();
        } else {
            records = all.into_iter().map(|(when, record)| titled(&when, record)).collect();
        }
        SectionView { id: format!("p{at}"), word: part.heading.clone(), many, lines, records }
    }

    /// When it was, by the first instant in it, and all else that a person reads.
    fn record(&self, record: &FileRecord) -> (String, RecordView) {
        let first = record.fields.iter().position(|(_, value)| matches!(value, FileValue::At(_)));
        let when = first.map(|place| self.words(&record.fields[place].1)).unwrap_or_default();
        let fields = record.fields.iter().enumerate().filter(|(place, _)| Some(*place) != first);
        let fields = fields.filter_map(|(_, (name, value))| self.field(name, value)).collect();
        (when, RecordView { title: record.title.clone(), fields })
    }

    /// A field as it is shown; none for what is empty or only for programs.
    fn field(&self, name: &str, value: &FileValue) -> Option<FieldOfFile> {
        let drawn = match value {
            FileValue::Signature { path, .. } => path.clone(),
            _ => String::new(),
        };
        let words = self.words(value);
        (!drawn.is_empty() || !words.trim().is_empty()).then(|| FieldOfFile { name: capital(name), words, drawn })
    }

    fn words(&self, value: &FileValue) -> String {
        match value {
            FileValue::Words(words) => words.clone(),
            FileValue::At(at) => {
                let wall = self.zone.wall(*at);
                let form = if wall.year() == self.zone.wall(self.now).year() {
                    "%a %-d %b %H:%M"
                } else {
                    "%a %-d %b %Y %H:%M"
                };
                wall.strftime(form).to_string()
            }
            FileValue::Day(day) => day.strftime("%-d %b %Y").to_string(),
            FileValue::Person(id) => self.names.of(*id),
            FileValue::Signature { typed, .. } if typed.is_empty() => String::new(),
            FileValue::Signature { typed, .. } => format!("{typed} (typed)"),
            FileValue::Code(_, words) => (*words).to_owned(),
            FileValue::ForPrograms(_) => String::new(),
            FileValue::Several(all) => all.iter().map(|value| self.words(value)).collect(),
        }
    }
}

fn titled(when: &str, record: RecordView) -> RecordView {
    let title = if when.is_empty() { record.title } else { format!("{}, {when}", record.title) };
    RecordView { title, ..record }
}

fn in_a_line(record: &RecordView) -> String {
    let fields: Vec<String> = record.fields.iter().map(|field| format!("{}: {}", field.name, field.words)).collect();
    if fields.is_empty() { record.title.clone() } else { fields.join("; ") }
}
