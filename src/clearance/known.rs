//! What other parts know of a client that clearance asks for, in a few statements for one client or for all expected.

use jiff::civil::Date;
use sqlx::Row;

use super::facts::HealthFacts;
use super::facts_store::{Whose, of as texts, rows};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clients::short_name;
use crate::store::Db;
use crate::store::keys::Keys;

/// A client as her own record tells of her.
pub(super) struct Known {
    pub(super) id: ClientId,
    pub(super) short: String,
    pub(super) born: Option<Date>,
    pub(super) restricted: bool,
    pub(super) guardian: bool,
    pub(super) guardian_for_test: bool,
    pub(super) health: HealthFacts,
}

/// What the record of each of these clients tells, whatever became of it.
pub(super) async fn of(db: &mut Db, keys: &Keys, whose: Whose, now: Instant) -> Result<Vec<Known>, Problem> {
    let clients = texts!("select c.id, c.name, c.born, c.restricted from client c", "c.id", "");
    let mut all = Vec::new();
    for row in rows(db, whose, clients).await? {
        all.push(Known {
            id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
            short: short_name(&row.get::<String, _>(1)),
            born: row.get::<Option<String>, _>(2).map(|born| born.parse()).transpose().map_err(Problem::broken)?,
            restricted: row.get::<Option<i64>, _>(3).is_some(),
            guardian: false,
            guardian_for_test: false,
            health: HealthFacts::default(),
        });
    }
    add_guardians(db, whose, &mut all).await?;
    add_health(db, keys, whose, &mut all, now).await?;
    Ok(all)
}

/// Consents that a guardian signed and nobody withdrew.
async fn add_guardians(db: &mut Db, whose: Whose, all: &mut [Known]) -> Result<(), Problem> {
    let texts = texts!(
        "select s.client, s.purpose from consent s",
        "s.client",
        "and s.by_guardian = 1 and s.purpose in ('treatment', 'patch_test')
           and not exists (select 1 from consent_withdrawal w where w.consent = s.id)"
    );
    for row in rows(db, whose, texts).await? {
        let Some(known) = find(all, &row)? else { continue };
        if row.get::<String, _>(1) == "treatment" {
            known.guardian = true;
        } else {
            known.guardian_for_test = true;
        }
    }
    Ok(())
}

fn find<'k>(all: &'k mut [Known], row: &sqlx::any::AnyRow) -> Result<Option<&'k mut Known>, Problem> {
    let id: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    Ok(all.iter_mut().find(|known| known.id == id))
}

// STAND-IN over the stand-in table.
async fn add_health(db: &mut Db, _keys: &Keys, whose: Whose, all: &mut [Known], _now: Instant) -> Result<(), Problem> {
    let texts = texts!("select h.client, h.answered, h.expires, h.changed, h.do_not_treat, h.advice_first from standin_health h", "h.client", "");
    for row in rows(db, whose, texts).await? {
        let Some(known) = find(all, &row)? else { continue };
        known.health = HealthFacts {
            answered: row.get::<Option<i64>, _>(1).map(Instant),
            expires: row.get::<Option<i64>, _>(2).map(Instant),
            changed: row.get::<Option<i64>, _>(3).map(Instant),
            do_not_treat: row.get::<i64, _>(4) != 0,
            advice_first: row.get::<i64, _>(5) != 0,
        };
    }
    Ok(())
}
