//! Records that may be one person: found by what they share, told apart by a person, put together by a person.

use std::collections::BTreeSet;

use sqlx::Row;

use super::alike::{Keys, reasons};
use super::{Client, may_see, store};
use crate::base::actor::Who;
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::store::{Db, Tx};

/// Pairs that the page shows at once.
const MOST_PAIRS: usize = 50;

/// What is compared of a record.
fn keys(client: &Client) -> Keys {
    Keys::of(&client.name, &client.phone, &client.email, client.born)
}

/// Records in use that look like this one, with what speaks for it; only those this person may see, so that nobody learns by trying
/// whose client somebody is.
pub(super) async fn alike(
    db: &mut Db,
    client: &Client,
    who: &Who,
) -> Result<Vec<(Client, Vec<&'static str>)>, Problem> {
    let keys_here = keys(client);
    let rows = sqlx::query(
        "select id from client where merged_into is null and erased is null and id <> $1
           and (name_key = $2 or (phone_digits <> '' and phone_digits = $3) or (email_key <> '' and email_key = $4)
                or (born = $5 and sound = $6))",
    )
    .bind(client.id.to_string())
    .bind(&keys_here.name)
    .bind(&keys_here.phone)
    .bind(&keys_here.email)
    .bind(&keys_here.born)
    .bind(&keys_here.sound)
    .fetch_all(&mut *db)
    .await?;
    let ids: Vec<ClientId> =
        rows.iter().map(|row| row.get::<String, _>(0).parse()).collect::<Result<_, _>>().map_err(Problem::broken)?;
    let others = store::clients(db, &ids).await?;
    let judged = others.into_iter().filter(|other| may_see(other, who)).map(|other| {
        let why = reasons(&keys_here, &keys(&other));
        (other, why)
    });
    Ok(judged.filter(|(_, why)| !why.is_empty()).collect())
}

/// Two records and what speaks for one person behind them.
pub(super) struct Pair {
    pub(super) one: Client,
    pub(super) other: Client,
    pub(super) why: Vec<&'static str>,
}

/// Pairs that nobody has told apart yet, the older record first, and whether there are more than these.
pub(super) async fn all(db: &mut Db) -> Result<(Vec<Pair>, bool), Problem> {
    let mut found: BTreeSet<(String, String)> = BTreeSet::new();
    for text in [
        "select a.id, b.id from client a join client b on b.born = a.born and b.sound = a.sound and b.id > a.id
         where a.merged_into is null and a.erased is null and b.merged_into is null and b.erased is null
           and not exists (select 1 from client_apart x where x.client = a.id and x.other = b.id) limit 200",
        "select a.id, b.id from client a join client b on b.phone_digits = a.phone_digits and b.id > a.id
         where a.phone_digits <> '' and a.merged_into is null and a.erased is null and b.merged_into is null and b.erased is null
           and not exists (select 1 from client_apart x where x.client = a.id and x.other = b.id) limit 200",
        "select a.id, b.id from client a join client b on b.email_key = a.email_key and b.id > a.id
         where a.email_key <> '' and a.merged_into is null and a.erased is null and b.merged_into is null and b.erased is null
           and not exists (select 1 from client_apart x where x.client = a.id and x.other = b.id) limit 200",
        "select a.id, b.id from client a join client b on b.name_key = a.name_key and b.id > a.id
         where (a.born is null or b.born is null or a.born = b.born) and a.merged_into is null and a.erased is null and b.merged_into is null and b.erased is null
           and not exists (select 1 from client_apart x where x.client = a.id and x.other = b.id) limit 200",
    ] {
        for row in sqlx::query(text).fetch_all(&mut *db).await? {
            found.insert((row.get(0), row.get(1)));
        }
    }
    let mut pairs = Vec::new();
    for (one, other) in found {
        let ids = [one.parse().map_err(Problem::broken)?, other.parse().map_err(Problem::broken)?];
        let both = store::clients(db, &ids).await?;
        let find = |id: ClientId| both.iter().find(|client| client.id == id).cloned();
        let (Some(one), Some(other)) = (find(ids[0]), find(ids[1])) else { continue };
        let why = reasons(&keys(&one), &keys(&other));
        if why.is_empty() {
            continue;
        }
        if pairs.len() == MOST_PAIRS {
            return Ok((pairs, true));
        }
        pairs.push(Pair { one, other, why });
    }
    Ok((pairs, false))
}

/// Writes down that two records are two persons; they are not shown as a pair again.
pub(super) async fn tell_apart(tx: &mut Tx, one: ClientId, other: ClientId, by: PersonId) -> Result<(), Problem> {
    // A pair is shown with the older record first, whichever way round it was opened.
    let (first, second) = if one < other { (one, other) } else { (other, one) };
    let now = tx.now.0;
    sqlx::query(
        "insert into client_apart (client, other, by_person, at) values ($1, $2, $3, $4) on conflict (client, other) do nothing",
    )
    .bind(first.to_string())
    .bind(second.to_string())
    .bind(by.to_string())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("tell clients apart", first, &second.to_string()).await
}
