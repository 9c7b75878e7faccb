//! Why a file is no question: one sentence, naming the field or the line.

use std::fmt;

/// Why a file was refused.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// The text is not JSON.
    NotJson {
        /// The line where it stops being JSON, from 1.
        line: usize,
    },
    /// A field is missing, unknown, of another kind or out of range.
    Field {
        /// Path of the field, for instance `bottles[0].set_tests[2].set_s`.
        field: String,
        /// What is wrong with it, without the field's name.
        what: String,
    },
}

impl Refusal {
    /// A field and what is wrong with it.
    pub(super) fn field(field: impl Into<String>, what: impl Into<String>) -> Self {
        Self::Field { field: field.into(), what: what.into() }
    }

    /// From the reader's error, which knows the path and, inside its words, the reason.
    pub(super) fn reading(error: &serde_path_to_error::Error<serde_json::Error>) -> Self {
        let path = error.path().to_string();
        let inner = error.inner();
        let told = told(inner);
        let at_number = told.starts_with("number out of range");
        if !inner.is_data() && !at_number {
            return Self::NotJson { line: inner.line().max(1) };
        }
        let (extra, what) = reworded(&told);
        let field = match (path.as_str(), extra) {
            ("." | "", Some(name)) => name,
            ("." | "", None) => "the file".to_owned(),
            (path, Some(name)) if path == name || path.ends_with(&format!(".{name}")) => path.to_owned(),
            (path, Some(name)) => format!("{path}.{name}"),
            (path, None) => path.to_owned(),
        };
        Self::Field { field: tame(&field), what: tame(&what) }
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotJson { line } => write!(f, "not JSON, line {line}"),
            Self::Field { field, what } => write!(f, "{field}: {what}"),
        }
    }
}

impl std::error::Error for Refusal {}

/// The reader's words without " at line 3 column 9".
fn told(error: &serde_json::Error) -> String {
    let text = error.to_string();
    match text.rfind(" at line ") {
        Some(end) => text[..end].to_owned(),
        None => text,
    }
}

/// The reader's words in ours; a field it names goes into the path.
fn reworded(told: &str) -> (Option<String>, String) {
    let quoted = |text: &str| text.split('`').nth(1).map(str::to_owned);
    if told.starts_with("missing field") {
        return (quoted(told), "is missing".to_owned());
    }
    if told.starts_with("unknown field") {
        return (quoted(told), "there is no such field here".to_owned());
    }
    if told.starts_with("duplicate field") {
        return (quoted(told), "is there twice".to_owned());
    }
    if let Some(rest) = told.strip_prefix("unknown variant ") {
        let allowed: Vec<&str> = rest.split('`').skip(3).step_by(2).collect();
        return (None, format!("{} is none of {}", quoted(told).unwrap_or_default(), allowed.join(", ")));
    }
    if told.starts_with("number out of range") {
        return (None, "the number is too large".to_owned());
    }
    let found = told.strip_prefix("invalid type: ").or_else(|| told.strip_prefix("invalid value: "));
    if let Some((found, expected)) = found.and_then(|f| f.rsplit_once(", expected ")) {
        return (None, format!("{} stands where {} is needed", kind(found), needed(expected)));
    }
    (None, told.to_owned())
}

fn kind(found: &str) -> String {
    match found {
        "map" => "an object".to_owned(),
        "sequence" => "a list".to_owned(),
        "null" => "null".to_owned(),
        other => other.replace("floating point", "the number").replace("integer", "the number"),
    }
}

fn needed(expected: &str) -> &'static str {
    match expected {
        "f64" => "a number",
        "u32" => "a whole number from 0 on",
        "a boolean" => "true or false",
        "a string" => "a text",
        "a sequence" => "a list",
        "an object" => "an object",
        e if e.contains("enum") => "one of its words",
        _ => "something else",
    }
}

/// One line, of readable length, whatever the file held.
fn tame(text: &str) -> String {
    const LONGEST: usize = 160;
    let one_line: String = text.chars().map(|c| if c.is_control() { '\u{fffd}' } else { c }).collect();
    if one_line.chars().count() <= LONGEST {
        return one_line;
    }
    one_line.chars().take(LONGEST).chain(['…']).collect()
}
