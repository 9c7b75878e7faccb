//! What other parts know of a client that clearance asks for, in a few statements for one client or for all expected.

use jiff::civil::Date;
use sqlx::Row;

use super::facts::HealthFacts;
use super::facts_store::{Whose, of as texts, rows};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::store::keys::Keys;

/// A client as her own record tells of her.
pub(super) struct Known {
    pub(super) id: ClientId,
    pub(super) short: String,
    pub(super) born: Option<Date>,
    pub(super) restricted: bool,
    pub(super) guardian: bool,
    pub(super) health: HealthFacts,
}

// STAND-IN over the stand-in tables.
pub(super) async fn of(db: &mut Db, _keys: &Keys, whose: Whose, _now: Instant) -> Result<Vec<Known>, Problem> {
    let texts = texts!(
        "select c.id, c.name, c.born, c.restricted, h.answered, h.expires, h.changed, h.do_not_treat, h.advice_first, h.guardian
         from client c left join standin_health h on h.client = c.id",
        "c.id",
        ""
    );
    let mut all = Vec::new();
    for row in rows(db, whose, texts).await? {
        let name: String = row.get(1);
        let short = match name.split_once(' ') {
            Some((first, last)) => format!("{first} {}.", last.chars().next().unwrap_or('-')),
            None => name.clone(),
        };
        all.push(Known {
            id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
            short,
            born: row.get::<Option<String>, _>(2).and_then(|born| born.parse().ok()),
            restricted: row.get::<Option<i64>, _>(3).is_some(),
            guardian: row.get::<Option<i64>, _>(9).unwrap_or(0) != 0,
            health: HealthFacts {
                answered: row.get::<Option<i64>, _>(4).map(Instant),
                expires: row.get::<Option<i64>, _>(5).map(Instant),
                changed: row.get::<Option<i64>, _>(6).map(Instant),
                do_not_treat: row.get::<Option<i64>, _>(7).unwrap_or(0) != 0,
                advice_first: row.get::<Option<i64>, _>(8).unwrap_or(0) != 0,
            },
        });
    }
    Ok(all)
}
