//! What pages say of a file that was read and not yet kept.

use crate::base::text::things;

/// A count on the page: "Not read 2 rows, named below".
#[derive(Debug)]
pub struct Counted {
    /// What was counted: "Not read".
    pub label: &'static str,
    /// How many.
    pub n: u64,
    /// Of what, one or several: "rows".
    pub unit: String,
    /// What else is to be said of them.
    pub against: String,
}

impl Counted {
    /// So many of a thing, for instance of a "row".
    #[must_use]
    pub fn new(label: &'static str, n: usize, one: &str, against: impl Into<String>) -> Self {
        Self { label, n: n as u64, unit: things(n, one), against: against.into() }
    }
}

/// Where the page names the rows that could not be read, of which it names `named`.
#[must_use]
pub fn where_named(faulty: usize, named: usize) -> String {
    if faulty > named { format!("the first {named} are named below") } else { "named below".to_owned() }
}

/// What is true of the rows beside those that could not be read.
#[must_use]
pub fn other_rows(good: usize) -> String {
    match good {
        0 => "not one row can be read".to_owned(),
        1 => "the other row can be read".to_owned(),
        good => format!("the other {good} rows can be read"),
    }
}
