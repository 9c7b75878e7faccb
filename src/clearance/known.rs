//! What other parts know of a client that clearance asks for, in a few statements for one client or for all expected.

use jiff::civil::Date;
use sqlx::Row;

use super::facts::HealthFacts;
use super::facts_store::{Whose, of as texts, rows};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::clients::{self, short_name};
use crate::store::Db;
use crate::store::keys::Keys;

/// A client as her own record tells of her.
pub(super) struct Known {
    pub(super) id: ClientId,
    pub(super) short: String,
    pub(super) born: Option<Date>,
    pub(super) restricted: bool,
    pub(super) withdrawn: bool,
    pub(super) guardian: bool,
    pub(super) guardian_for_test: bool,
    pub(super) health: HealthFacts,
}

impl Known {
    /// Somebody of whom no record tells anything.
    pub(super) fn nobody(id: ClientId) -> Self {
        Self {
            id,
            short: String::new(),
            born: None,
            restricted: false,
            withdrawn: false,
            guardian: false,
            guardian_for_test: false,
            health: HealthFacts::default(),
        }
    }
}

/// What the record of each of these clients tells, whatever became of it.
pub(super) async fn of(db: &mut Db, keys: &Keys, whose: Whose<'_>, now: Instant) -> Result<Vec<Known>, Problem> {
    let clients = texts!("select c.id, c.name, c.born, c.restricted from client c", "c.id", "");
    let mut all = Vec::new();
    for row in rows(db, whose, clients).await? {
        all.push(Known {
            short: short_name(&row.get::<String, _>(1)),
            born: row.get::<Option<String>, _>(2).map(|born| born.parse()).transpose().map_err(Problem::broken)?,
            restricted: row.get::<Option<i64>, _>(3).is_some(),
            ..Known::nobody(row.get::<String, _>(0).parse().map_err(Problem::broken)?)
        });
    }
    all.sort_by_key(|known| known.id);
    add_withdrawn(db, whose, &mut all).await?;
    add_guardians(db, &mut all, now).await?;
    add_health(db, keys, whose, &mut all, now).await?;
    Ok(all)
}

fn find<'k>(all: &'k mut [Known], row: &sqlx::any::AnyRow) -> Result<Option<&'k mut Known>, Problem> {
    let id: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
    Ok(place(all, id).map(|at| &mut all[at]))
}

/// Where a client stands in the list, which is sorted by ids.
fn place(all: &[Known], id: ClientId) -> Option<usize> {
    all.binary_search_by_key(&id, |known| known.id).ok()
}

/// Who took back a consent without which nobody is treated, and has signed none for the same purpose since.
async fn add_withdrawn(db: &mut Db, whose: Whose<'_>, all: &mut [Known]) -> Result<(), Problem> {
    let texts = texts!(
        "select distinct c.client from consent c join consent_withdrawal w on w.consent = c.id",
        "c.client",
        "and c.purpose in ('treatment', 'health_data')
         and not exists (select 1 from consent n left join consent_withdrawal x on x.consent = n.id
                         where n.client = c.client and n.purpose = c.purpose and x.consent is null)"
    );
    for row in rows(db, whose, texts).await? {
        if let Some(known) = find(all, &row)? {
            known.withdrawn = true;
        }
    }
    Ok(())
}

/// Consents a guardian signed, looked up for those alone who may be minors: nobody past the oldest age a rule can name needs one.
async fn add_guardians(db: &mut Db, all: &mut [Known], now: Instant) -> Result<(), Problem> {
    const OLDEST: i16 = 30;
    let year = jiff::tz::TimeZone::UTC.to_datetime(now.timestamp()).year();
    let young = |known: &&Known| known.born.is_some_and(|born| year - born.year() <= OLDEST);
    let young: Vec<ClientId> = all.iter().filter(young).map(|known| known.id).collect();
    for (id, facts) in clients::guardian_of(db, &young, now).await? {
        if let Some(known) = place(all, id).map(|at| &mut all[at]) {
            known.guardian = facts.treatment.is_some();
            known.guardian_for_test = facts.patch_test.is_some();
        }
    }
    Ok(())
}

/// What health answers lead to. A change told and not answered anew ends them; a doctor's yes answers "medical advice first".
async fn add_health(
    db: &mut Db,
    keys: &Keys,
    whose: Whose<'_>,
    all: &mut [Known],
    now: Instant,
) -> Result<(), Problem> {
    let ids: Vec<ClientId> = all.iter().map(|known| known.id).collect();
    let answers = clients::health_answers_of(db, keys, &ids, now).await?;
    for known in all.iter_mut() {
        let Some(health) = answers.get(&known.id) else { continue };
        known.health = HealthFacts {
            answered: health.answered,
            expires: match (health.expires, health.changed) {
                (Some(expires), Some(changed)) => Some(expires.min(changed)),
                (expires, _) => expires,
            },
            changed: None,
            do_not_treat: !health.do_not_treat.is_empty(),
            advice_first: health.waits_for_advice(),
        };
    }
    // A test placed before a change does not count, also once the questions were answered anew: a change she told of when asked, or answers
    // that lead to something else than those before.
    let told = texts!(
        "select a.client, max(a.at) from consultation_asked a",
        "a.client",
        "and a.changed = 1 group by a.client"
    );
    let answered =
        texts!("select c.client, max(c.at) from consultation c", "c.client", "and c.differs = 1 group by c.client");
    for texts in [told, answered] {
        for row in rows(db, whose, texts).await? {
            if let Some(known) = find(all, &row)? {
                known.health.changed = known.health.changed.max(row.get::<Option<i64>, _>(1).map(Instant));
            }
        }
    }
    Ok(())
}
