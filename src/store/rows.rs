//! Columns of a row as the values they stand for; text that is none is broken, and its cause goes to the log.

use std::fmt::Display;
use std::str::FromStr;

use sqlx::Row;
use sqlx::any::AnyRow;

use crate::base::problem::Problem;

/// An id, a wall time or whatever else is kept as the text it prints.
pub(crate) fn parsed<T: FromStr<Err: Display>>(row: &AnyRow, at: usize) -> Result<T, Problem> {
    row.get::<String, _>(at).parse().map_err(Problem::broken)
}

/// The same where there may be none.
pub(crate) fn may_be<T: FromStr<Err: Display>>(row: &AnyRow, at: usize) -> Result<Option<T>, Problem> {
    row.get::<Option<String>, _>(at).map(|text| text.parse().map_err(Problem::broken)).transpose()
}

/// A flag kept as 0 or 1.
pub(crate) fn flag(row: &AnyRow, at: usize) -> bool {
    row.get::<i64, _>(at) == 1
}
