//! What of clearance goes when somebody is erased, and what stays: each kind of record until a day of its own, and with a complaint what it
//! is about.

use std::collections::BTreeSet;

use sqlx::Row;

use super::bound;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::rights::{self, Erasing, Stays};
use crate::store::keys::Keys;
use crate::store::{Db, Tx};
use crate::web::studio::Studio;

/// Records that stay until the same day.
struct Kind {
    what: &'static str,
    /// Why they stay.
    reason: &'static str,
    /// Whether somebody who came back under a new record is held by them.
    holds: bool,
    /// The instant of the newest.
    newest: &'static str,
    /// The ids of those that are bound to the chain.
    ids: &'static [&'static str],
    forget: &'static [&'static str],
}

/// Complaints first: what they are about is left by those after them.
const KINDS: [Kind; 4] = [
    Kind {
        what: COMPLAINTS,
        reason: "they answer a claim",
        holds: false,
        newest: NEWEST_COMPLAINT,
        ids: &["select id from complaint where client = $1 order by id"],
        forget: &["delete from complaint where client = $1"],
    },
    Kind {
        what: "patch tests",
        reason: "they answer a claim about a treatment that relied on them, and decisions to go on with them",
        holds: true,
        newest: "select max(o.at) from (select placed as at from patch_test where client = $1
                   union all select at from clearance_override where client = $1) o",
        ids: &[
            "select id from patch_test_look where client = $1 order by id",
            "select id from patch_test where client = $1 order by id",
            "select id from clearance_override where client = $1 order by id",
        ],
        forget: &[
            "delete from patch_test_look where client = $1",
            "delete from patch_test_liquid where test in (select id from patch_test where client = $1)",
            "delete from patch_test_product where test in (select id from patch_test where client = $1)",
            "delete from patch_test where client = $1",
            "delete from clearance_override where client = $1",
        ],
    },
    Kind {
        what: "reactions and doctors’ papers",
        reason: "they answer a claim, and hold her should she come back",
        holds: true,
        newest: "select max(o.at) from (select noticed as at from reaction where client = $1
                   union all select at from doctor_finding where client = $1
                   union all select entered from doctor_statement where client = $1) o",
        ids: &[
            "select id from told where about in (select id from reaction where client = $1) order by id",
            "select id from follow_up where client = $1 order by id",
            "select id from reaction where client = $1 order by id",
            "select id from doctor_finding where client = $1 order by id",
            "select id from doctor_statement where client = $1 order by id",
        ],
        forget: &[
            "delete from told where about in (select id from reaction where client = $1)",
            "delete from reaction_liquid where reaction in (select id from reaction where client = $1)",
            "delete from reaction_product where reaction in (select id from reaction where client = $1)",
            "delete from follow_up where client = $1",
            "delete from reaction where client = $1",
            "delete from doctor_finding where client = $1",
            "delete from doctor_statement where client = $1",
        ],
    },
    Kind {
        what: "products and lots she met",
        reason: "she has to be found when a lot is stopped",
        holds: false,
        newest: "select max(at) from exposure where client = $1",
        // A complaint's own lot, and what its card used, stay with it; that she was told of a stop stays with a meeting it is about.
        ids: &[
            "select id from exposure where client = $1 and not exists (
               select 1 from complaint k where k.client = exposure.client
               and ((k.card <> '' and k.card = exposure.source) or (k.product = exposure.product and k.lot = exposure.lot))) order by id",
            "select id from told_client where client = $1 and not exists (
               select 1 from stop s join exposure e on e.product = s.product
               join complaint k on k.client = e.client
               and ((k.card <> '' and k.card = e.source) or (k.product = e.product and k.lot = e.lot))
               where s.id = told_client.stop and e.client = told_client.client) order by id",
        ],
        forget: &[
            "delete from exposure where client = $1 and not exists (
               select 1 from complaint k where k.client = exposure.client
               and ((k.card <> '' and k.card = exposure.source) or (k.product = exposure.product and k.lot = exposure.lot)))",
            "delete from told_client where client = $1 and not exists (
               select 1 from stop s join exposure e on e.product = s.product
               where s.id = told_client.stop and e.client = told_client.client)",
        ],
    },
];

/// How long what holds somebody who came back stays until it is asked again whether she is still a client.
const ASKED_AGAIN_AFTER: i64 = 365 * DAY;

const COMPLAINTS: &str = "complaints";
const NEWEST_COMPLAINT: &str = "select max(at) from complaint where client = $1";

/// What a staying complaint needs of the meetings; counted while all of them are there.
const MET_IN_COMPLAINT: &str = "select count(*) from exposure e join complaint k on k.client = e.client
    and ((k.card <> '' and k.card = e.source) or (k.product = e.product and k.lot = e.lot)) where e.client = $1";

/// Erases what may go: the visits she is expected for at once, each kind of record once its keeping time is over. What stays says why and
/// until when; the time runs from the last treatment or test, or from the newest record of the kind where that is newer. Where a complaint
/// stays longer, so do the products and lots it is about.
///
/// # Errors
/// When the database refuses it.
pub async fn client_erase(
    tx: &mut Tx,
    _keys: &Keys,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Vec<Stays>, Problem> {
    let zone = Studio::load(tx.db()).await?.zone;
    let came_back = rights::came_back(tx.db(), client).await?;
    let (mut stays, mut goes) = (Vec::new(), Vec::new());
    for kind in &KINDS {
        let newest = newest(tx.db(), kind.newest, client).await?;
        match newest.and_then(|newest| erasing.stays_until(kind.what, Some(newest), &zone)) {
            Some(until) => stays.push(Stays { what: kind.what, reason: kind.reason.to_owned(), until }),
            // Time relaxes no reaction: her new record is held by these alone.
            None if kind.holds && came_back && newest.is_some() => {
                let until = erasing.at.plus(ASKED_AGAIN_AFTER);
                stays.push(Stays { what: kind.what, reason: "she came back, and they hold her".to_owned(), until });
            }
            None => goes.push(kind),
        }
    }
    let until = |what: &str| stays.iter().find(|own| own.what == what).map(|own| own.until);
    if let Some(complaint) = until(COMPLAINTS).filter(|complaint| until(KINDS[3].what) < Some(*complaint)) {
        let row = sqlx::query(MET_IN_COMPLAINT).bind(client.to_string()).fetch_one(tx.db()).await?;
        if row.get::<i64, _>(0) > 0 {
            let reason = "the complaint cannot be answered without them".to_owned();
            stays.push(Stays { what: "products and lots a complaint is about", reason, until: complaint });
        }
    }
    remove_visits(tx, client).await?;
    for kind in goes {
        if !stays.is_empty() {
            tell_the_chain(tx, kind, client).await?;
        }
        for text in kind.forget {
            sqlx::query(*text).bind(client.to_string()).execute(tx.db()).await?;
        }
    }
    tx.raise(super::DOOR);
    tx.audit("erase clearance records", client, if stays.is_empty() { "all" } else { "what may go" }).await?;
    Ok(stays)
}

async fn newest(db: &mut Db, text: &'static str, client: ClientId) -> Result<Option<Instant>, Problem> {
    let row = sqlx::query(text).bind(client.to_string()).fetch_one(db).await?;
    Ok(row.get::<Option<i64>, _>(0).map(Instant))
}

/// One line for each record that goes: the others of hers are still looked for.
async fn tell_the_chain(tx: &mut Tx, kind: &Kind, client: ClientId) -> Result<(), Problem> {
    for text in kind.ids {
        let rows = sqlx::query(*text).bind(client.to_string()).fetch_all(tx.db()).await?;
        for row in rows {
            tx.audit(bound::ERASED, row.get::<String, _>(0), "").await?;
        }
    }
    Ok(())
}

/// Complaints that stay, by their ids, with the cards they are about.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Complained {
    /// Until when.
    pub until: Instant,
    /// The complaints.
    pub complaints: BTreeSet<String>,
    /// The cards they name.
    pub cards: BTreeSet<String>,
}

/// Complaints of hers that an erasure leaves; `None` where none has to stay.
///
/// # Errors
/// When the database cannot be read.
pub async fn complained_of(db: &mut Db, client: ClientId, erasing: &Erasing) -> Result<Option<Complained>, Problem> {
    let zone = Studio::load(db).await?.zone;
    let Some(newest) = newest(db, NEWEST_COMPLAINT, client).await? else { return Ok(None) };
    let Some(until) = erasing.stays_until(COMPLAINTS, Some(newest), &zone) else { return Ok(None) };
    let rows =
        sqlx::query("select id, card from complaint where client = $1").bind(client.to_string()).fetch_all(db).await?;
    let complaints = rows.iter().map(|row| row.get(0)).collect();
    let cards = rows.iter().map(|row| row.get(1)).filter(|card: &String| !card.is_empty()).collect();
    Ok(Some(Complained { until, complaints, cards }))
}

async fn remove_visits(tx: &mut Tx, client: ClientId) -> Result<(), Problem> {
    for text in [
        "delete from expected_product where visit in (select id from expected_visit where client = $1)",
        "delete from expected_visit where client = $1",
    ] {
        sqlx::query(text).bind(client.to_string()).execute(tx.db()).await?;
    }
    Ok(())
}
