//! Holds every consent against its digest and against the line the audit chain has of it.

use std::collections::BTreeMap;

use sqlx::Row;

use super::store;
use crate::base::ids::{ClientId, ConsentId};
use crate::base::problem::Problem;
use crate::store::Db;
use crate::store::audit::{self, Broken};
use crate::store::keys::Keys;

/// What the chain tells of a consent.
struct Told {
    detail: String,
    withdrawn: bool,
}

/// Every consent that is not as it was signed. The chain itself is walked by `audit::verify`.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(db: &mut Db, keys: &Keys) -> Result<Vec<Broken>, Problem> {
    let mut told = in_the_chain(db).await?;
    let mut broken = Vec::new();
    let mut last = String::new();
    loop {
        let rows = sqlx::query("select id, client from consent where id > $1 order by id limit 500")
            .bind(&last)
            .fetch_all(&mut *db)
            .await?;
        if rows.is_empty() {
            break;
        }
        for row in rows {
            last = row.get(0);
            let client: ClientId = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
            broken.extend(look(db, keys, client, &last, told.remove(&last)).await?);
        }
    }
    broken.extend(told.into_keys().map(Broken::Gone));
    Ok(broken)
}

async fn look(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
    id: &str,
    told: Option<Told>,
) -> Result<Option<Broken>, Problem> {
    let consent_id: ConsentId = id.parse().map_err(Problem::broken)?;
    let Ok(consent) = store::one(db, client, consent_id).await else {
        return Ok(Some(Broken::Changed(id.to_owned())));
    };
    let Some(told) = told else { return Ok(Some(Broken::NotInTheChain(id.to_owned()))) };
    // What does not open was changed; what is dark after an erasure can only be held against the chain.
    let is_whole = match store::signed(db, keys, &consent).await {
        Ok(Some(signed)) => consent.digest_with(&signed) == consent.digest,
        Ok(None) => true,
        Err(_) => false,
    };
    let in_chain = told.detail == format!("{} {}", consent.purpose.word(), consent.digest)
        && told.withdrawn == consent.withdrawn.is_some();
    let text_fits = super::given::hash(consent.body.as_bytes()) == consent.text_hash;
    Ok((!is_whole || !in_chain || !text_fits).then(|| Broken::Changed(id.to_owned())))
}

/// What the chain tells of each consent that was signed and not erased since.
async fn in_the_chain(db: &mut Db) -> Result<BTreeMap<String, Told>, Problem> {
    let mut told = BTreeMap::new();
    audit::each_line(db, |line| match line.action.as_str() {
        "sign consent" => {
            told.insert(line.subject, Told { detail: line.detail, withdrawn: false });
        }
        "withdraw consent" => {
            if let Some(told) = told.get_mut(&line.subject) {
                told.withdrawn = true;
            }
        }
        "erase consent" => {
            told.remove(&line.subject);
        }
        _ => {}
    })
    .await?;
    Ok(told)
}
