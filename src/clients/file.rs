//! What a client's file is made of: parts, records, fields. Each value knows how a program reads it and what a person is shown.

use jiff::civil::Date;
use serde::{Serialize, Serializer};

use super::consents::given::Mark;
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::base::time::Instant;

/// A value in a client's file. For a program it is one text, [`FileValue::text`]; a page words it for the studio.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum FileValue {
    /// Words as they are.
    Words(String),
    /// An instant: UTC for a program, the studio's clock on a page.
    At(Instant),
    /// A civil day.
    Day(Date),
    /// Somebody who works here: her id for a program, her name on a page.
    Person(PersonId),
    /// A signature: strokes or a typed name as they are kept; the path of the strokes, empty for a name; and that name.
    Signature {
        /// As it is kept.
        kept: String,
        /// The path for a picture of 3000 by 1000.
        path: String,
        /// The name that was typed instead.
        typed: String,
    },
    /// A word as the database keeps it, and its words on a page.
    Code(String, &'static str),
    /// For programs alone: ids, digests, versions.
    ForPrograms(String),
    /// Several after one another.
    Several(Vec<FileValue>),
}

impl FileValue {
    /// As a program reads it.
    #[must_use]
    pub fn text(&self) -> String {
        match self {
            Self::Words(words) | Self::ForPrograms(words) | Self::Code(words, _) => words.clone(),
            Self::At(at) => at.iso(),
            Self::Day(day) => day.to_string(),
            Self::Person(id) => id.to_string(),
            Self::Signature { kept, .. } => kept.clone(),
            Self::Several(all) => all.iter().map(Self::text).collect(),
        }
    }

    /// Ids, digests and versions.
    pub(crate) fn for_programs(value: impl std::fmt::Display) -> Self {
        Self::ForPrograms(value.to_string())
    }

    /// Strokes as they are kept, or the typed name.
    pub(super) fn signature(mark: &Mark) -> Result<Self, Problem> {
        let kept = serde_json::to_string(mark).map_err(Problem::broken)?;
        Ok(match mark {
            Mark::Drawn(strokes) => Self::Signature { kept, path: strokes.path(), typed: String::new() },
            Mark::Typed(name) => Self::Signature { kept, path: String::new(), typed: name.clone() },
        })
    }

    /// Values with words between them.
    pub(crate) fn joined(values: impl IntoIterator<Item = Self>, between: &str) -> Self {
        let mut all = Vec::new();
        for value in values {
            if !all.is_empty() {
                all.push(Self::from(between));
            }
            all.push(value);
        }
        Self::Several(all)
    }
}

impl From<String> for FileValue {
    fn from(words: String) -> Self {
        Self::Words(words)
    }
}

impl From<&str> for FileValue {
    fn from(words: &str) -> Self {
        Self::Words(words.to_owned())
    }
}

impl From<Instant> for FileValue {
    fn from(at: Instant) -> Self {
        Self::At(at)
    }
}

impl<V: Into<Self>> From<Option<V>> for FileValue {
    fn from(value: Option<V>) -> Self {
        value.map_or_else(|| Self::Words(String::new()), Into::into)
    }
}

impl From<Date> for FileValue {
    fn from(day: Date) -> Self {
        Self::Day(day)
    }
}

impl From<Vec<FileValue>> for FileValue {
    fn from(all: Vec<FileValue>) -> Self {
        Self::Several(all)
    }
}

impl Serialize for FileValue {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.serialize_str(&self.text())
    }
}

/// One record in a client's file: a title and what it holds, field by field.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FileRecord {
    /// What it is.
    pub title: String,
    /// Field and value, in order.
    pub fields: Vec<(String, FileValue)>,
}

impl FileRecord {
    /// A record with these fields.
    pub(crate) fn new<'f>(title: impl Into<String>, fields: impl IntoIterator<Item = (&'f str, FileValue)>) -> Self {
        let fields = fields.into_iter().map(|(name, value)| (name.to_owned(), value)).collect();
        Self { title: title.into(), fields }
    }
}

/// What one part keeps of a client.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FilePart {
    /// The heading.
    pub heading: String,
    /// Its records, oldest first.
    pub records: Vec<FileRecord>,
}

impl FilePart {
    /// A part with these records.
    pub(crate) fn new(heading: &str, records: Vec<FileRecord>) -> Self {
        Self { heading: heading.to_owned(), records }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_program_reads_every_value_as_one_text() {
        let at = Instant::from_timestamp("2026-02-18T09:12:00Z".parse().unwrap());
        assert_eq!(FileValue::from(at).text(), "2026-02-18T09:12:00Z");
        assert_eq!(FileValue::from(None::<Instant>).text(), "");
        let several = FileValue::from(vec![FileValue::from(at), FileValue::from(": doubtful")]);
        assert_eq!(several.text(), "2026-02-18T09:12:00Z: doubtful");
        let ids = FileValue::joined(["a", "b"].map(FileValue::from), " ");
        assert_eq!(serde_json::to_value(ids).unwrap(), serde_json::json!("a b"));
    }

    #[test]
    fn a_signature_is_kept_as_it_was_given() {
        let typed = FileValue::signature(&Mark::Typed("Ada Lovell".to_owned())).unwrap();
        assert_eq!(typed.text(), "{\"typed\":\"Ada Lovell\"}");
    }
}
