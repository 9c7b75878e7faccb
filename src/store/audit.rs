//! The audit chain: who did what, in order, each line bound to the one before. Ids only; never a value, name or health word.

use sqlx::Row;

use super::Db;
use super::keys::Keys;
use crate::base::problem::Problem;
use crate::base::time::Instant;

/// One line of the chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its number, from 1 without gaps.
    pub line: i64,
    /// When.
    pub at: Instant,
    /// The actor's mark.
    pub actor: String,
    /// What was done: verb and thing, for instance "add room".
    pub action: String,
    /// The id of what it was done to.
    pub subject: String,
    /// Which fields, how many; never their values.
    pub detail: String,
    /// The keyed digest that binds this line to all before it: without the key outside the database nobody can make another.
    pub chain: String,
}

/// Adds a line inside a write. One writer at a time makes the numbers gapless.
pub(super) async fn add(
    db: &mut Db,
    keys: &Keys,
    at: Instant,
    actor: &str,
    action: &str,
    subject: &str,
    detail: &str,
) -> Result<(), Problem> {
    let last = sqlx::query("select line, chain from audit order by line desc limit 1").fetch_optional(&mut *db).await?;
    let (number, before) = match last {
        Some(row) => (row.get::<i64, _>(0) + 1, row.get::<String, _>(1)),
        None => (1, String::new()),
    };
    let mut line = Line {
        line: number,
        at,
        actor: actor.to_owned(),
        action: action.to_owned(),
        subject: subject.to_owned(),
        detail: detail.to_owned(),
        chain: String::new(),
    };
    line.chain = bind(keys, &before, &line);
    sqlx::query(
        "insert into audit (line, at, actor, action, subject, detail, chain) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(line.line)
    .bind(line.at.0)
    .bind(&line.actor)
    .bind(&line.action)
    .bind(&line.subject)
    .bind(&line.detail)
    .bind(&line.chain)
    .execute(db)
    .await?;
    Ok(())
}

/// The newest lines, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn newest(db: &mut Db, most: i64) -> Result<Vec<Line>, Problem> {
    let rows =
        sqlx::query("select line, at, actor, action, subject, detail, chain from audit order by line desc limit $1")
            .bind(most)
            .fetch_all(db)
            .await?;
    Ok(rows.iter().map(read_line).collect())
}

/// Gives every line to `told`, in order.
///
/// # Errors
/// When the database cannot be read.
pub async fn each_line(db: &mut Db, mut told: impl FnMut(Line) + Send) -> Result<(), Problem> {
    let mut from = 1;
    loop {
        let lines = lines_from(&mut *db, from, 1000).await?;
        let Some(last) = lines.last() else { return Ok(()) };
        from = last.line + 1;
        lines.into_iter().for_each(&mut told);
    }
}

/// Lines in order, from this number on.
async fn lines_from(db: &mut Db, line: i64, most: i64) -> Result<Vec<Line>, Problem> {
    let rows = sqlx::query(
        "select line, at, actor, action, subject, detail, chain from audit where line >= $1 order by line limit $2",
    )
    .bind(line)
    .bind(most)
    .fetch_all(db)
    .await?;
    Ok(rows.iter().map(read_line).collect())
}

/// What a walk along the chain found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Every line is bound to the one before it; how many there are, and the head to be kept elsewhere.
    Whole {
        /// Number of lines.
        lines: i64,
        /// Digest of the last line; empty for an empty chain.
        head: String,
    },
    /// The first line that does not fit.
    BrokenAt(i64),
}

/// A record that is not as the chain tells of it; each with the record's id.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Broken {
    /// Something in it was changed.
    Changed(String),
    /// The chain tells of it, and it is gone without having been erased.
    Gone(String),
    /// The chain knows nothing of it.
    NotInTheChain(String),
}

impl std::fmt::Display for Broken {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Changed(id) => write!(f, "{id} was changed since it was kept"),
            Self::Gone(id) => write!(f, "{id} is gone without having been erased"),
            Self::NotInTheChain(id) => write!(f, "{id} stands in the database, and the chain knows nothing of it"),
        }
    }
}

/// Walks the whole chain and compares it with heads kept outside the database, each a line's number and digest: only they show that
/// the end was cut off.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(db: &mut Db, keys: &Keys, heads: &[(i64, String)]) -> Result<Verdict, Problem> {
    let mut before = String::new();
    let mut expected = 1_i64;
    loop {
        let rows = sqlx::query(
            "select line, at, actor, action, subject, detail, chain from audit where line >= $1 order by line limit 1000",
        )
        .bind(expected)
        .fetch_all(&mut *db)
        .await?;
        for row in &rows {
            let line = read_line(row);
            if line.line != expected || line.chain != bind(keys, &before, &line) {
                return Ok(Verdict::BrokenAt(expected));
            }
            if heads.iter().any(|(number, head)| *number == expected && *head != line.chain) {
                return Ok(Verdict::BrokenAt(expected));
            }
            before = line.chain;
            expected += 1;
        }
        if rows.is_empty() {
            // A head beyond the last line: lines were cut off.
            if heads.iter().any(|(number, _)| *number >= expected) {
                return Ok(Verdict::BrokenAt(expected));
            }
            return Ok(Verdict::Whole { lines: expected - 1, head: before });
        }
    }
}

fn read_line(row: &sqlx::any::AnyRow) -> Line {
    Line {
        line: row.get(0),
        at: Instant(row.get(1)),
        actor: row.get(2),
        action: row.get(3),
        subject: row.get(4),
        detail: row.get(5),
        chain: row.get(6),
    }
}

fn bind(keys: &Keys, before: &str, line: &Line) -> String {
    let (number, at) = (line.line.to_string(), line.at.0.to_string());
    let parts = [before, &number, &at, &line.actor, &line.action, &line.subject, &line.detail];
    keys.digest("audit line", &parts.map(str::as_bytes))
}
