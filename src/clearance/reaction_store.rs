//! SQL of reactions, their follow-ups, who was told, and incidents of staff.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::bound;
use super::reaction::{Details, follow_ups};
use super::seen::still_here;
use super::test_store::{Met, read_wet};
use super::wet::Wet;
use crate::adhesives::lots::CorrectedLots;
use crate::base::ids::{ClientId, FollowUpId, PersonId, ProductId, ReactionId, StaffIncidentId};
use crate::base::older::Before;
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls, sealed};

use super::sealing::{open_words, seal_words};

/// A reaction without its sealed part.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Reaction {
    /// Its id.
    pub(super) id: ReactionId,
    /// Whose.
    pub(super) client: ClientId,
    /// When it was noticed.
    pub(super) noticed: Instant,
    /// When she met the adhesive last before it.
    pub(super) exposed: Option<Instant>,
    /// It asks for medical help before anything else.
    pub(super) acute: bool,
    /// Who treated her.
    pub(super) artist: Option<PersonId>,
    /// When somebody recorded that it is over.
    pub(super) closed: Option<Instant>,
    /// Products and lots of the eight weeks before.
    pub(super) products: Vec<Met>,
    /// Liquids used before it.
    pub(super) liquids: Vec<Wet>,
}

/// A look at a reaction that is due or done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct FollowUp {
    /// Its id.
    pub(super) id: FollowUpId,
    /// Of which reaction.
    pub(super) reaction: ReactionId,
    /// Whose.
    pub(super) client: ClientId,
    /// When it is due.
    pub(super) due: Instant,
    /// When it was done.
    pub(super) done: Option<Instant>,
}

/// Keeps a reaction with its four follow-ups.
pub(super) async fn add_reaction(
    tx: &mut Tx,
    keys: &Keys,
    reaction: &Reaction,
    details: &Details,
) -> Result<(), Problem> {
    still_here(tx, reaction.client, false).await?;
    let (now, by) = (tx.now.0, tx.actor.mark());
    let plain = serde_json::to_vec(details).map_err(Problem::broken)?;
    let place = format!("reaction.details.{}", reaction.id);
    let kept = sealed::seal(tx.db(), keys, reaction.client, &place, &plain).await?;
    query_with_nulls(
        "insert into reaction (id, client, noticed, exposed, acute, artist, details, entered, entered_by, closed)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, null)",
    )
    .bind(reaction.id.to_string())
    .bind(reaction.client.to_string())
    .bind(reaction.noticed.0)
    .bind(reaction.exposed.map(|at| at.0))
    .bind(i64::from(reaction.acute))
    .bind(reaction.artist.map(|artist| artist.to_string()))
    .bind(kept)
    .bind(now.0)
    .bind(by)
    .execute(tx.db())
    .await?;
    for met in &reaction.products {
        sqlx::query("insert into reaction_product (reaction, product, lot) values ($1, $2, $3)")
            .bind(reaction.id.to_string())
            .bind(met.product.to_string())
            .bind(&met.lot)
            .execute(tx.db())
            .await?;
    }
    for wet in &reaction.liquids {
        sqlx::query("insert into reaction_liquid (reaction, liquid) values ($1, $2)")
            .bind(reaction.id.to_string())
            .bind(wet.word())
            .execute(tx.db())
            .await?;
    }
    for due in follow_ups(reaction.noticed) {
        query_with_nulls(
            "insert into follow_up (id, reaction, client, due, done, done_by, words) values ($1, $2, $3, $4, null, '', null)",
        )
        .bind(FollowUpId::new().to_string())
        .bind(reaction.id.to_string())
        .bind(reaction.client.to_string())
        .bind(due.0)
        .execute(tx.db())
        .await?;
    }
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::REACTION, reaction.id).await
}

/// One reaction.
pub(super) async fn reaction(db: &mut Db, id: ReactionId) -> Result<Option<Reaction>, Problem> {
    let row = sqlx::query("select id, client, noticed, exposed, acute, artist, closed from reaction where id = $1")
        .bind(id.to_string())
        .fetch_optional(&mut *db)
        .await?;
    let Some(row) = row else { return Ok(None) };
    let mut reaction = read_reaction(&row)?;
    reaction.products = products_of(db, id).await?;
    reaction.liquids = liquids_of(db, id).await?;
    Ok(Some(reaction))
}

/// The reactions of a client, newest first.
pub(super) async fn reactions_of(db: &mut Db, client: ClientId) -> Result<Vec<Reaction>, Problem> {
    let rows = sqlx::query(
        "select id, client, noticed, exposed, acute, artist, closed from reaction where client = $1 order by noticed desc, id desc",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    let mut reactions = rows.iter().map(read_reaction).collect::<Result<Vec<_>, _>>()?;
    let products = sqlx::query(
        "select p.reaction, p.product, p.lot from reaction_product p join reaction r on r.id = p.reaction
         where r.client = $1 order by p.product, p.lot",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    for row in &products {
        let of: ReactionId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if let Some(reaction) = reactions.iter_mut().find(|reaction| reaction.id == of) {
            let product = row.get::<String, _>(1).parse().map_err(Problem::broken)?;
            reaction.products.push(Met { product, lot: row.get(2) });
        }
    }
    let liquids = sqlx::query(
        "select l.reaction, l.liquid from reaction_liquid l join reaction r on r.id = l.reaction
         where r.client = $1 order by l.liquid",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    for row in &liquids {
        let of: ReactionId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if let Some(reaction) = reactions.iter_mut().find(|reaction| reaction.id == of) {
            reaction.liquids.push(read_wet(&row.get::<String, _>(1))?);
        }
    }
    Ok(reactions)
}

async fn products_of(db: &mut Db, id: ReactionId) -> Result<Vec<Met>, Problem> {
    let rows = sqlx::query("select product, lot from reaction_product where reaction = $1 order by product, lot")
        .bind(id.to_string())
        .fetch_all(db)
        .await?;
    rows.iter()
        .map(|row| Ok(Met { product: row.get::<String, _>(0).parse().map_err(Problem::broken)?, lot: row.get(1) }))
        .collect()
}

async fn liquids_of(db: &mut Db, id: ReactionId) -> Result<Vec<Wet>, Problem> {
    let rows = sqlx::query("select liquid from reaction_liquid where reaction = $1 order by liquid")
        .bind(id.to_string())
        .fetch_all(db)
        .await?;
    rows.iter().map(|row| read_wet(&row.get::<String, _>(0))).collect()
}

fn read_reaction(row: &AnyRow) -> Result<Reaction, Problem> {
    Ok(Reaction {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        client: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        noticed: Instant(row.get(2)),
        exposed: row.get::<Option<i64>, _>(3).map(Instant),
        acute: row.get::<i64, _>(4) != 0,
        artist: row.get::<Option<String>, _>(5).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
        closed: row.get::<Option<i64>, _>(6).map(Instant),
        products: Vec::new(),
        liquids: Vec::new(),
    })
}

/// The sealed part of a reaction; `None` where the client's key is gone.
pub(super) async fn details(db: &mut Db, keys: &Keys, reaction: &Reaction) -> Result<Option<Details>, Problem> {
    let row = sqlx::query("select details from reaction where id = $1")
        .bind(reaction.id.to_string())
        .fetch_one(&mut *db)
        .await?;
    let kept: Vec<u8> = row.get(0);
    let place = format!("reaction.details.{}", reaction.id);
    let plain = sealed::open(db, keys, reaction.client, &place, &kept).await?;
    plain.map(|plain| serde_json::from_slice(&plain).map_err(Problem::broken)).transpose()
}

/// Records that a reaction is over: it no longer stands before a removal, and holds adhesive all the same.
pub(super) async fn close_reaction(tx: &mut Tx, id: ReactionId, at: Instant) -> Result<(), Problem> {
    sqlx::query("update reaction set closed = $1 where id = $2 and closed is null")
        .bind(at.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    tx.raise(super::DOOR);
    tx.audit("close reaction", id, "").await
}

/// The follow-ups of a reaction, in order.
pub(super) async fn follow_ups_of(db: &mut Db, reaction: ReactionId) -> Result<Vec<FollowUp>, Problem> {
    let rows = sqlx::query("select id, reaction, client, due, done from follow_up where reaction = $1 order by due")
        .bind(reaction.to_string())
        .fetch_all(db)
        .await?;
    rows.iter().map(read_follow_up).collect()
}

/// Follow-ups not done that are due before an instant, the longest due first. Every one of them: whoever fell off the end of a list would
/// not be called.
pub(super) async fn due_follow_ups(db: &mut Db, before: Instant) -> Result<Vec<FollowUp>, Problem> {
    let rows = sqlx::query(
        "select id, reaction, client, due, done from follow_up where done is null and due < $1 order by due, id",
    )
    .bind(before.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read_follow_up).collect()
}

fn read_follow_up(row: &AnyRow) -> Result<FollowUp, Problem> {
    Ok(FollowUp {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        reaction: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        client: row.get::<String, _>(2).parse().map_err(Problem::broken)?,
        due: Instant(row.get(3)),
        done: row.get::<Option<i64>, _>(4).map(Instant),
    })
}

/// Keeps what a follow-up found, and when that was.
pub(super) async fn do_follow_up(
    tx: &mut Tx,
    keys: &Keys,
    follow_up: &FollowUp,
    words: &str,
    at: Instant,
) -> Result<(), Problem> {
    still_here(tx, follow_up.client, false).await?;
    let by = tx.actor.mark();
    let place = format!("follow_up.words.{}", follow_up.id);
    let kept = seal_words(tx.db(), keys, follow_up.client, &place, words).await?;
    let done =
        query_with_nulls("update follow_up set done = $1, done_by = $2, words = $3 where id = $4 and done is null")
            .bind(at.0)
            .bind(by)
            .bind(kept)
            .bind(follow_up.id.to_string())
            .execute(tx.db())
            .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::Clash(
            "This look has been recorded already.".to_owned(),
            "Open the reaction again to see it.".to_owned(),
        ));
    }
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::FOLLOW_UP, follow_up.id).await
}

/// What a follow-up found.
pub(super) async fn follow_up_words(db: &mut Db, keys: &Keys, follow_up: &FollowUp) -> Result<String, Problem> {
    let row = sqlx::query("select words from follow_up where id = $1")
        .bind(follow_up.id.to_string())
        .fetch_one(&mut *db)
        .await?;
    let kept: Option<Vec<u8>> = row.get(0);
    open_words(db, keys, follow_up.client, &format!("follow_up.words.{}", follow_up.id), kept).await
}

/// Keeps that somebody was told about a reaction, a stop or an incident, at an instant that may lie back: the entry may have waited on
/// a device.
pub(super) async fn tell(tx: &mut Tx, keys: &Keys, about: &str, whom: &str, at: Instant) -> Result<(), Problem> {
    let (by, id) = (tx.actor.mark(), FollowUpId::new());
    sqlx::query("insert into told (id, about, whom, at, by_person) values ($1, $2, $3, $4, $5)")
        .bind(id.to_string())
        .bind(about)
        .bind(whom)
        .bind(at.0)
        .bind(by)
        .execute(tx.db())
        .await?;
    bound::bind(tx, keys, &bound::TOLD, id).await
}

/// Who was told, and when.
pub(super) async fn told(db: &mut Db, about: &str) -> Result<Vec<(String, Instant)>, Problem> {
    let rows =
        sqlx::query("select whom, at from told where about = $1 order by at, id").bind(about).fetch_all(db).await?;
    Ok(rows.iter().map(|row| (row.get(0), Instant(row.get(1)))).collect())
}

/// An incident of somebody who works here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct StaffIncident {
    /// Its id.
    pub(super) id: StaffIncidentId,
    /// Who.
    pub(super) person: PersonId,
    /// When.
    pub(super) at: Instant,
    /// What.
    pub(super) what: String,
    /// With which product.
    pub(super) product: Option<ProductId>,
    /// And lot.
    pub(super) lot: String,
    /// First aid given.
    pub(super) first_aid: String,
}

/// Keeps an incident of somebody who works here.
pub(super) async fn add_staff_incident(tx: &mut Tx, keys: &Keys, incident: &StaffIncident) -> Result<(), Problem> {
    let (now, by) = (tx.now.0, tx.actor.mark());
    query_with_nulls(
        "insert into staff_incident (id, person, at, what, product, lot, first_aid, entered, entered_by)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9)",
    )
    .bind(incident.id.to_string())
    .bind(incident.person.to_string())
    .bind(incident.at.0)
    .bind(&incident.what)
    .bind(incident.product.map(|product| product.to_string()))
    .bind(&incident.lot)
    .bind(&incident.first_aid)
    .bind(now.0)
    .bind(by)
    .execute(tx.db())
    .await?;
    bound::bind(tx, keys, &bound::STAFF_INCIDENT, incident.id).await
}

/// How many incidents of those who work here name this product, or this lot of it, however the lot was typed, and also where it was
/// put right since.
pub(super) async fn staff_incidents_with(
    db: &mut Db,
    product: ProductId,
    lot: Option<&str>,
    corrected: &CorrectedLots,
) -> Result<usize, Problem> {
    let rows = sqlx::query("select lot, at from staff_incident where product = $1")
        .bind(product.to_string())
        .fetch_all(db)
        .await?;
    let others: Vec<_> = lot.iter().flat_map(|lot| corrected.written_as(lot)).collect();
    let is_of = |row: &&AnyRow| {
        let (written, at) = (text::lot(&row.get::<String, _>(0)), Instant(row.get(1)));
        lot.is_none_or(|lot| lot == written) || others.iter().any(|(was, until)| *was == written && at <= *until)
    };
    Ok(rows.iter().filter(is_of).count())
}

/// So many incidents of those who work here after a row, newest first.
pub(super) async fn staff_incidents(db: &mut Db, before: &Before, most: i64) -> Result<Vec<StaffIncident>, Problem> {
    let rows = sqlx::query(
        "select id, person, at, what, product, lot, first_aid from staff_incident
         where at <= $1 and (at < $1 or id < $2) order by at desc, id desc limit $3",
    )
    .bind(before.at.0)
    .bind(&before.id)
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            Ok(StaffIncident {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                person: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
                at: Instant(row.get(2)),
                what: row.get(3),
                product: row.get::<Option<String>, _>(4).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
                lot: row.get(5),
                first_aid: row.get(6),
            })
        })
        .collect()
}
