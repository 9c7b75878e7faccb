//! Brings what clients are found by up to what this program makes of a name: records kept by an older program lack some of it. Once for
//! each database; what is right already is only read.

use std::collections::{BTreeMap, BTreeSet};

use sqlx::Row;

use super::alike::{Keys, in_plain_letters};
use super::{find, store};
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::store::{Db, FormKey, Kept, Tx, among, many, settings};
use crate::web::House;

/// Another one wherever [`find::words`] or [`Keys`] make something else of a record than they did.
const VERSION: &str = "2";
/// The version that every record has been brought up to.
const DONE: &str = "clients.found_by";

/// A record in use that lacks something it is to be found by.
struct Behind {
    id: ClientId,
    words: Vec<Vec<u8>>,
    keys: Keys,
}

/// Records between two ids, at most five hundred of them.
struct Span {
    behind: Vec<Behind>,
    /// The last id looked at; `None` where there was none.
    last: Option<String>,
}

/// Goes through all records in spans, unless that was done before.
pub(super) async fn refill(house: &House) -> Result<(), Problem> {
    let done = {
        let mut db = house.store.read().await?;
        settings::all(&mut db).await?.get(DONE).is_some_and(|version| version == VERSION)
    };
    if done {
        return Ok(());
    }
    let mut after = String::new();
    loop {
        let span = {
            let mut db = house.store.read().await?;
            look(&mut db, &after, LAST).await?
        };
        let Some(last) = span.last else { break };
        if !span.behind.is_empty() {
            let between = (after, last.clone());
            house
                .store
                .write(&FormKey::house(), move |tx| {
                    let (after, last) = between.clone();
                    Box::pin(async move {
                        bring_up(tx, &after, &last).await?;
                        tx.record_tells_itself();
                        Ok(Kept::see(""))
                    })
                })
                .await?;
        }
        after = last;
    }
    house
        .store
        .write(&FormKey::house(), |tx| {
            Box::pin(async move {
                settings::set(tx, DONE, VERSION).await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// The highest id there could be.
const LAST: &str = "ffffffff-ffff-ffff-ffff-ffffffffffff";

async fn look(db: &mut Db, after: &str, upto: &str) -> Result<Span, Problem> {
    let rows = sqlx::query(
        "select id, name, phone, email, born, name_key, sound, phone_digits, email_key from client
         where id > $1 and id <= $2 and merged_into is null and erased is null order by id limit 500",
    )
    .bind(after)
    .bind(upto)
    .fetch_all(&mut *db)
    .await?;
    let ids: Vec<String> = rows.iter().map(|row| row.get(0)).collect();
    let mut had = BTreeMap::<String, BTreeSet<Vec<u8>>>::new();
    let kept = sqlx::query(among!("select w.client, w.word from client_word w", "w.client", ""));
    for row in kept.bind(many(&ids)).fetch_all(&mut *db).await? {
        had.entry(row.get(0)).or_default().insert(row.get(1));
    }
    let mut behind = Vec::new();
    for row in &rows {
        let text = |place: usize| row.get::<String, _>(place);
        let (name, phone, email) = (text(1), text(2), text(3));
        let born = row.get::<Option<String>, _>(4).map(|born| born.parse()).transpose().map_err(Problem::broken)?;
        let keys = Keys::of(&name, &phone, &email, born);
        let had = had.remove(&text(0)).unwrap_or_default();
        // What she is found by through a record that was put together with this one stands in no field of hers.
        let mut words: BTreeSet<_> = had.iter().filter_map(|word| plain(word)).collect();
        words.extend(find::words(&name, &phone, &email));
        let words: Vec<_> = words.difference(&had).cloned().collect();
        let same = [&keys.name, &keys.sound, &keys.phone, &keys.email] == [&text(5), &text(6), &text(7), &text(8)];
        if !words.is_empty() || !same {
            behind.push(Behind { id: text(0).parse().map_err(Problem::broken)?, words, keys });
        }
    }
    Ok(Span { behind, last: ids.last().cloned() })
}

/// A word of a name in plain letters.
fn plain(word: &[u8]) -> Option<Vec<u8>> {
    let word = std::str::from_utf8(word).ok().filter(|word| !word.contains('@'))?;
    Some(in_plain_letters(word).into_bytes())
}

/// Looks once more inside the write: a record may have been changed or erased meanwhile.
async fn bring_up(tx: &mut Tx, after: &str, last: &str) -> Result<(), Problem> {
    for own in look(tx.db(), after, last).await?.behind {
        sqlx::query("update client set name_key = $1, sound = $2, phone_digits = $3, email_key = $4 where id = $5")
            .bind(&own.keys.name)
            .bind(&own.keys.sound)
            .bind(&own.keys.phone)
            .bind(&own.keys.email)
            .bind(own.id.to_string())
            .execute(tx.db())
            .await?;
        store::put_words(tx.db(), own.id, &own.words).await?;
    }
    Ok(())
}
