//! SQL of the questionnaire: a row a version, the newest counts.

use sqlx::Row;

use super::{Question, Questionnaire, starting_questions};
use crate::base::ids::PersonId;
use crate::base::problem::Problem;
use crate::store::{Db, Tx};

/// The newest version, or the one the program came with.
pub(in crate::clients) async fn newest(db: &mut Db) -> Result<Questionnaire, Problem> {
    let row = sqlx::query("select version, questions from questionnaire order by version desc limit 1")
        .fetch_optional(db)
        .await?;
    match row {
        Some(row) => Ok(Questionnaire {
            version: row.get(0),
            questions: serde_json::from_str(&row.get::<String, _>(1)).map_err(Problem::broken)?,
        }),
        None => Ok(Questionnaire { version: 0, questions: starting_questions() }),
    }
}

/// Keeps a changed questionnaire as the next version.
pub(in crate::clients) async fn keep(tx: &mut Tx, by: PersonId, questions: &[Question]) -> Result<(), Problem> {
    let next = newest(tx.db()).await?.version + 1;
    let now = tx.now.0;
    sqlx::query("insert into questionnaire (version, questions, made_by, at) values ($1, $2, $3, $4)")
        .bind(next)
        .bind(serde_json::to_string(questions).map_err(Problem::broken)?)
        .bind(by.to_string())
        .bind(now.0)
        .execute(tx.db())
        .await?;
    tx.audit("change questionnaire", next, "").await
}
