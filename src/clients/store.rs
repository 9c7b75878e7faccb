//! SQL of clients and the words they are found by.

use std::collections::HashMap;

use sqlx::Row;
use sqlx::any::AnyRow;

use super::alike::Keys;
use super::{Client, Cover, Keeper, find, short_name};
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::{Db, Tx, among, many, query_with_nulls};

/// Words written in one statement.
const WORDS_AT_ONCE: usize = 8;

/// One client, whatever became of her record.
pub(super) async fn client(db: &mut Db, id: ClientId) -> Result<Option<Client>, Problem> {
    Ok(clients(db, &[id]).await?.pop())
}

/// Several clients, in no order.
pub(super) async fn clients(db: &mut Db, ids: &[ClientId]) -> Result<Vec<Client>, Problem> {
    let ids = many(ids);
    let clients = sqlx::query(among!(
        "select c.id, c.name, c.phone, c.email, c.born, c.keeper, c.notes, c.created, c.restricted, c.merged_into, c.erased from client c",
        "c.id",
        ""
    ));
    let artists = sqlx::query(among!("select a.client, a.person from client_artist a", "a.client", ""));
    let mut found = Vec::new();
    for row in clients.bind(&ids).fetch_all(&mut *db).await? {
        found.push(read_client(&row)?);
    }
    let at: HashMap<ClientId, usize> = found.iter().enumerate().map(|(at, client)| (client.id, at)).collect();
    for row in artists.bind(&ids).fetch_all(&mut *db).await? {
        let id: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        let person = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
        if let Some(at) = at.get(&id) {
            found[*at].artists.push(person);
        }
    }
    Ok(found)
}

fn read_client(row: &AnyRow) -> Result<Client, Problem> {
    let name: String = row.get(1);
    let keeper = match row.get::<Option<String>, _>(5) {
        Some(id) => Keeper::Artist(id.parse().map_err(Problem::broken)?),
        None => Keeper::Studio,
    };
    Ok(Client {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        short: short_name(&name),
        name,
        phone: row.get(2),
        email: row.get(3),
        born: row.get::<Option<String>, _>(4).map(|born| born.parse()).transpose().map_err(Problem::broken)?,
        keeper,
        artists: Vec::new(),
        notes: row.get(6),
        created: Instant(row.get(7)),
        restricted: row.get::<Option<i64>, _>(8).map(Instant),
        merged_into: row.get::<Option<String>, _>(9).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
        erased: row.get::<Option<i64>, _>(10).map(Instant),
    })
}

/// Adds a client with the words she is found by and the artists who look after her.
pub(super) async fn add(tx: &mut Tx, client: &Client) -> Result<(), Problem> {
    insert(tx.db(), client).await?;
    for artist in &client.artists {
        look_after(tx, client.id, *artist).await?;
    }
    tx.audit("add client", client.id, "").await
}

/// Adds a client of many; the caller leaves the line in the audit chain.
pub(super) async fn insert(db: &mut Db, client: &Client) -> Result<(), Problem> {
    let keys = Keys::of(&client.name, &client.phone, &client.email, client.born);
    query_with_nulls(
        "insert into client (id, name, name_key, sound, phone, phone_digits, email, email_key, born, keeper, notes, created)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
    )
    .bind(client.id.to_string())
    .bind(&client.name)
    .bind(&keys.name)
    .bind(&keys.sound)
    .bind(&client.phone)
    .bind(&keys.phone)
    .bind(&client.email)
    .bind(&keys.email)
    .bind(client.born.map(|born| born.to_string()))
    .bind(keeper_id(client.keeper))
    .bind(&client.notes)
    .bind(client.created.0)
    .execute(&mut *db)
    .await?;
    add_words(db, client.id, &client.name, &client.phone, &client.email).await
}

/// Changes what the record itself holds. Words she was found by through another record stay.
pub(super) async fn change(tx: &mut Tx, before: &Client, after: &Client) -> Result<(), Problem> {
    let keys = Keys::of(&after.name, &after.phone, &after.email, after.born);
    let done = query_with_nulls(
        "update client set name = $1, name_key = $2, sound = $3, phone = $4, phone_digits = $5, email = $6, email_key = $7,
         born = $8, keeper = $9, notes = $10 where id = $11 and merged_into is null and erased is null",
    )
    .bind(&after.name)
    .bind(&keys.name)
    .bind(&keys.sound)
    .bind(&after.phone)
    .bind(&keys.phone)
    .bind(&after.email)
    .bind(&keys.email)
    .bind(after.born.map(|born| born.to_string()))
    .bind(keeper_id(after.keeper))
    .bind(&after.notes)
    .bind(after.id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("client"));
    }
    for word in find::words(&before.name, &before.phone, &before.email) {
        sqlx::query("delete from client_word where client = $1 and word = $2")
            .bind(after.id.to_string())
            .bind(word)
            .execute(tx.db())
            .await?;
    }
    add_words(tx.db(), after.id, &after.name, &after.phone, &after.email).await?;
    tx.raise(super::DOOR);
    tx.audit("change client", after.id, &changed_fields(before, after)).await
}

/// Which fields differ, never what they hold.
fn changed_fields(before: &Client, after: &Client) -> String {
    [
        ("name", before.name != after.name),
        ("phone", before.phone != after.phone),
        ("email", before.email != after.email),
        ("born", before.born != after.born),
        ("keeper", before.keeper != after.keeper),
        ("notes", before.notes != after.notes),
    ]
    .into_iter()
    .filter(|(_, differs)| *differs)
    .map(|(field, _)| field)
    .collect::<Vec<_>>()
    .join(" ")
}

/// The keeper as the column holds it.
pub(super) fn keeper_id(keeper: Keeper) -> Option<String> {
    match keeper {
        Keeper::Studio => None,
        Keeper::Artist(id) => Some(id.to_string()),
    }
}

pub(super) async fn add_words(
    db: &mut Db,
    client: ClientId,
    name: &str,
    phone: &str,
    email: &str,
) -> Result<(), Problem> {
    put_words(db, client, &find::words(name, phone, email)).await
}

/// Words a client is found by; those she has already stay.
pub(super) async fn put_words(db: &mut Db, client: ClientId, words: &[Vec<u8>]) -> Result<(), Problem> {
    for some in words.chunks(WORDS_AT_ONCE) {
        let mut query = sqlx::query(
            "insert into client_word (client, word) values ($1, $2), ($1, $3), ($1, $4), ($1, $5), ($1, $6), ($1, $7), ($1, $8), ($1, $9)
             on conflict (client, word) do nothing",
        )
        .bind(client.to_string());
        for place in 0..WORDS_AT_ONCE {
            // The first word again where there are fewer: it is there already.
            query = query.bind(some.get(place).unwrap_or(&some[0]).clone());
        }
        query.execute(&mut *db).await?;
    }
    Ok(())
}

/// Lets an artist look after a client.
pub(super) async fn look_after(tx: &mut Tx, client: ClientId, artist: PersonId) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into client_artist (client, person, since) values ($1, $2, $3) on conflict (client, person) do nothing",
    )
    .bind(client.to_string())
    .bind(artist.to_string())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Lets an artist look after a client until then: what she may without an end, or for longer, stays.
pub(super) async fn look_after_until(
    tx: &mut Tx,
    client: ClientId,
    artist: PersonId,
    until: Instant,
) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into client_artist (client, person, since, until) values ($1, $2, $3, $4) on conflict (client, person) do update
         set until = excluded.until where client_artist.until < excluded.until",
    )
    .bind(client.to_string())
    .bind(artist.to_string())
    .bind(now.0)
    .bind(until.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Puts one artist beside another for the clients whom she looks after, and with an end also for those she keeps.
pub(super) async fn cover(tx: &mut Tx, cover: &Cover) -> Result<(), Problem> {
    let now = tx.now.0;
    let (from, to) = (cover.from.to_string(), cover.to.to_string());
    match cover.until {
        Some(until) => {
            sqlx::query(
                "insert into client_artist (client, person, since, until)
                 select c.id, $1, $2, $3 from client c where c.merged_into is null and c.erased is null
                 and (c.keeper = $4 or exists (select 1 from client_artist a where a.client = c.id and a.person = $4))
                 on conflict (client, person) do update set until = excluded.until where client_artist.until < excluded.until",
            )
            .bind(to)
            .bind(now.0)
            .bind(until.0)
            .bind(from)
            .execute(tx.db())
            .await?;
        }
        None => {
            sqlx::query(
                "insert into client_artist (client, person, since)
                 select a.client, $1, $2 from client_artist a where a.person = $3 and a.until is null
                 on conflict (client, person) do update set until = null",
            )
            .bind(to)
            .bind(now.0)
            .bind(from)
            .execute(tx.db())
            .await?;
        }
    }
    tx.audit("put in for", cover.from, &cover.to.to_string()).await
}

/// Ends what was to end by now.
pub(super) async fn end_covers(tx: &mut Tx) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query("delete from client_artist where until <= $1").bind(now.0).execute(tx.db()).await?;
    Ok(())
}

/// Ends it.
pub(super) async fn look_after_no_more(tx: &mut Tx, client: ClientId, artist: PersonId) -> Result<(), Problem> {
    sqlx::query("delete from client_artist where client = $1 and person = $2")
        .bind(client.to_string())
        .bind(artist.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}

/// The newest records in use, newest first; with `only`, those this artist keeps or looks after.
pub(super) async fn newest(db: &mut Db, only: Option<PersonId>, most: i64) -> Result<Vec<Client>, Problem> {
    let rows = sqlx::query(
        "select id from client where merged_into is null and erased is null
           and ($1 = '' or keeper = $1 or exists (select 1 from client_artist a where a.client = client.id and a.person = $1))
         order by id desc limit $2",
    )
    .bind(only.map(|id| id.to_string()).unwrap_or_default())
    .bind(most)
    .fetch_all(&mut *db)
    .await?;
    let ids: Vec<ClientId> =
        rows.iter().map(|row| row.get::<String, _>(0).parse()).collect::<Result<_, _>>().map_err(Problem::broken)?;
    let mut clients = clients(db, &ids).await?;
    clients.sort_by_key(|client| std::cmp::Reverse(client.id));
    Ok(clients)
}
