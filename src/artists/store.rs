//! SQL of artists, timing sessions, placements and what is kept of them.

use sqlx::Row;
use sqlx::any::AnyRow;

use super::hands::{KeptReport, KeptSitting, Sittings, Timing};
use super::{AirThen, Artist, BottleInHand, Employment, Placement, Session, Source, Style};
use crate::base::ids::{ArtistId, BottleId, PersonId, TimingSessionId};
use crate::base::older::Before;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, RelHumidity, Seconds};
use crate::store::{Db, Tx, query_with_nulls};

/// Every artist there ever was, without her name, which stands with the person.
pub(super) async fn artists(db: &mut Db) -> Result<Vec<Artist>, Problem> {
    let rows = sqlx::query("select id, person, employment, trainee, styles, usual, placements_per_set from artist")
        .fetch_all(db)
        .await?;
    rows.iter().map(read_artist).collect()
}

fn read_artist(row: &AnyRow) -> Result<Artist, Problem> {
    let styles: String = row.get(4);
    Ok(Artist {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        person: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        name: String::new(),
        employment: Employment::from_word(&row.get::<String, _>(2))
            .ok_or_else(|| Problem::broken("an artist of no employment of ours"))?,
        trainee: row.get::<i64, _>(3) == 1,
        styles: styles.split_whitespace().filter_map(Style::parse).collect(),
        usual: Style::parse(&row.get::<String, _>(5)),
        placements_per_set: u32::try_from(row.get::<i64, _>(6)).unwrap_or(1),
    })
}

fn styles_kept(styles: &[Style]) -> String {
    styles.iter().map(Style::key).collect::<Vec<_>>().join(" ")
}

/// Adds an artist. A person is one artist at most.
pub(super) async fn add_artist(tx: &mut Tx, artist: &Artist) -> Result<(), Problem> {
    tx.raise("hands");
    if is_artist(tx.db(), artist.person).await? {
        return Err(Problem::mistake("person", "She is an artist already. Open her own page."));
    }
    let now = tx.now.0;
    sqlx::query(
        "insert into artist (id, person, employment, trainee, styles, usual, placements_per_set, created)
         values ($1, $2, $3, $4, $5, $6, $7, $8)",
    )
    .bind(artist.id.to_string())
    .bind(artist.person.to_string())
    .bind(artist.employment.word())
    .bind(i64::from(artist.trainee))
    .bind(styles_kept(&artist.styles))
    .bind(artist.usual.map(|style| style.key()).unwrap_or_default())
    .bind(i64::from(artist.placements_per_set))
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("add artist", artist.id, "").await
}

async fn is_artist(db: &mut Db, person: PersonId) -> Result<bool, Problem> {
    let row =
        sqlx::query("select id from artist where person = $1").bind(person.to_string()).fetch_optional(db).await?;
    Ok(row.is_some())
}

/// Changes what is kept of an artist, but for her person.
pub(super) async fn change_artist(tx: &mut Tx, artist: &Artist) -> Result<(), Problem> {
    tx.raise("hands");
    let done = sqlx::query(
        "update artist set employment = $1, trainee = $2, styles = $3, usual = $4, placements_per_set = $5 where id = $6",
    )
    .bind(artist.employment.word())
    .bind(i64::from(artist.trainee))
    .bind(styles_kept(&artist.styles))
    .bind(artist.usual.map(|style| style.key()).unwrap_or_default())
    .bind(i64::from(artist.placements_per_set))
    .bind(artist.id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("artist"));
    }
    tx.audit("change artist", artist.id, "").await
}

/// Adds a session with its placements and makes the summary anew.
pub(super) async fn add_session(tx: &mut Tx, session: &Session, placements: &[Placement]) -> Result<(), Problem> {
    tx.raise("hands");
    insert_session(tx, session).await?;
    for placement in placements {
        query_with_nulls(
            "insert into placement (id, session, n, travel_s, settle_s, struck) values ($1, $2, $3, $4, $5, $6)",
        )
        .bind(placement.id.to_string())
        .bind(session.id.to_string())
        .bind(i64::from(placement.n))
        .bind(placement.travel.get())
        .bind(placement.settle.get())
        .bind(placement.struck.map(|at| at.0))
        .execute(tx.db())
        .await?;
    }
    tx.audit("add timing", session.id, session.source.word()).await?;
    refresh_sitting(tx, session.id).await?;
    refresh(tx, session.artist, session.style).await
}

async fn insert_session(tx: &mut Tx, session: &Session) -> Result<(), Problem> {
    let now = tx.now.0;
    let bottle = session.bottle.as_ref();
    query_with_nulls(
        "insert into timing_session (id, artist, technique, fan, at, received, source, uncertainty_s, bottle, bottle_name,
           predicted_set_s, temperature_c, humidity_pct, room, dry, entered_by, struck)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14, $15, $16, $17)",
    )
    .bind(session.id.to_string())
    .bind(session.artist.to_string())
    .bind(session.style.technique.word())
    .bind(session.style.fan_kept())
    .bind(session.at.0)
    .bind(now.0)
    .bind(session.source.word())
    .bind(session.uncertainty_s)
    .bind(bottle.and_then(|bottle| bottle.id).map(|id| id.to_string()).unwrap_or_default())
    .bind(bottle.map(|bottle| bottle.name.clone()).unwrap_or_default())
    .bind(bottle.and_then(|bottle| bottle.predicted_set).map(Seconds::get))
    .bind(session.air.map(|air| air.temperature.get()))
    .bind(session.air.and_then(|air| air.humidity).map(RelHumidity::get))
    .bind(session.room.map(|room| room.to_string()))
    .bind(i64::from(session.dry))
    .bind(&session.entered_by)
    .bind(session.struck.map(|at| at.0))
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Strikes a whole session out, or takes that back. Doing it twice changes nothing.
pub(super) async fn strike_session(tx: &mut Tx, session: &Session, out: bool) -> Result<(), Problem> {
    tx.raise("hands");
    let now = tx.now.0;
    query_with_nulls("update timing_session set struck = $1 where id = $2")
        .bind(out.then(|| session.struck.unwrap_or(now).0))
        .bind(session.id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit(if out { "strike timing" } else { "take back strike of timing" }, session.id, "").await?;
    refresh(tx, session.artist, session.style).await
}

/// Strikes one placement out, or takes that back.
pub(super) async fn strike_placement(
    tx: &mut Tx,
    session: &Session,
    placement: &Placement,
    out: bool,
) -> Result<(), Problem> {
    tx.raise("hands");
    let now = tx.now.0;
    query_with_nulls("update placement set struck = $1 where id = $2")
        .bind(out.then(|| placement.struck.unwrap_or(now).0))
        .bind(placement.id.to_string())
        .execute(tx.db())
        .await?;
    tx.audit(if out { "strike placement" } else { "take back strike of placement" }, placement.id, "").await?;
    refresh_sitting(tx, session.id).await?;
    refresh(tx, session.artist, session.style).await
}

/// Makes what is kept of one sitting anew from its placements.
async fn refresh_sitting(tx: &mut Tx, session: TimingSessionId) -> Result<(), Problem> {
    let kept = kept_of(&placements(tx.db(), session).await?);
    sqlx::query("update timing_session set kept = $1 where id = $2")
        .bind(serde_json::to_string(&kept).map_err(Problem::broken)?)
        .bind(session.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}

/// What is kept of a sitting with these placements.
pub(super) fn kept_of(placements: &[Placement]) -> KeptSitting {
    let settles = |struck: bool| -> Vec<Seconds> {
        placements.iter().filter(|p| p.struck.is_some() == struck).map(|p| p.settle).collect()
    };
    KeptSitting::of(&settles(false), &settles(true))
}

/// Makes the kept summary anew from every placement that counts.
async fn refresh(tx: &mut Tx, artist: ArtistId, style: Style) -> Result<(), Problem> {
    let rows = sqlx::query(
        "select timing_session.id, source, travel_s, settle_s
         from timing_session join placement on placement.session = timing_session.id
         where artist = $1 and technique = $2 and fan = $3 and timing_session.struck is null and placement.struck is null
         order by at, timing_session.id, n",
    )
    .bind(artist.to_string())
    .bind(style.technique.word())
    .bind(style.fan_kept())
    .fetch_all(tx.db())
    .await?;
    let (mut timings, mut tapped, mut before) = (Vec::with_capacity(rows.len()), Vec::new(), String::new());
    let mut number = 0;
    for row in &rows {
        let id: String = row.get(0);
        if id != before {
            number += 1;
            before = id;
            if row.get::<String, _>(1) == Source::Taps.word() {
                tapped.push(number);
            }
        }
        let (travel, settle) = (Seconds::clamped(row.get(2)), Seconds::clamped(row.get(3)));
        timings.push(Timing { session: number, travel, settle });
    }
    let kept = KeptReport::of(&Sittings::of(&timings, &tapped));
    sqlx::query(
        "insert into hands_kept (artist, technique, fan, summary) values ($1, $2, $3, $4)
         on conflict (artist, technique, fan) do update set summary = excluded.summary",
    )
    .bind(artist.to_string())
    .bind(style.technique.word())
    .bind(style.fan_kept())
    .bind(serde_json::to_string(&kept).map_err(Problem::broken)?)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// What is kept of an artist in one style.
pub(super) async fn kept(db: &mut Db, artist: ArtistId, style: Style) -> Result<Option<KeptReport>, Problem> {
    let row = sqlx::query("select summary from hands_kept where artist = $1 and technique = $2 and fan = $3")
        .bind(artist.to_string())
        .bind(style.technique.word())
        .bind(style.fan_kept())
        .fetch_optional(db)
        .await?;
    row.map(|row| serde_json::from_str(&row.get::<String, _>(0)).map_err(Problem::broken)).transpose()
}

/// Everything kept, of one artist or of all, sorted by style.
pub(super) async fn all_kept(
    db: &mut Db,
    artist: Option<ArtistId>,
) -> Result<Vec<(ArtistId, Style, KeptReport)>, Problem> {
    let query = match artist {
        Some(id) => {
            sqlx::query("select artist, technique, fan, summary from hands_kept where artist = $1").bind(id.to_string())
        }
        None => sqlx::query("select artist, technique, fan, summary from hands_kept"),
    };
    let rows = query.fetch_all(db).await?;
    let mut kept = rows
        .iter()
        .map(|row| {
            let id = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            let summary = serde_json::from_str(&row.get::<String, _>(3)).map_err(Problem::broken)?;
            Ok((id, style_of(&row.get::<String, _>(1), row.get(2))?, summary))
        })
        .collect::<Result<Vec<_>, Problem>>()?;
    kept.sort_by_key(|(artist, style, _)| (*artist, *style));
    Ok(kept)
}

fn style_of(technique: &str, fan: i64) -> Result<Style, Problem> {
    Style::from_columns(technique, fan).ok_or_else(|| Problem::broken("a style that is none of ours"))
}

/// Sessions of an artist in one style with what is kept of each, newest first.
pub(super) async fn sessions(
    db: &mut Db,
    artist: ArtistId,
    style: Style,
    before: &Before,
    most: i64,
) -> Result<Vec<(Session, KeptSitting)>, Problem> {
    let rows = sqlx::query(
        "select id, artist, technique, fan, at, source, uncertainty_s, bottle, bottle_name, predicted_set_s, temperature_c,
           humidity_pct, room, dry, entered_by, struck, kept from timing_session
         where artist = $1 and technique = $2 and fan = $3 and at <= $4 and (at < $4 or id < $5)
         order by at desc, id desc limit $6",
    )

        .bind(artist.to_string())
        .bind(style.technique.word())
        .bind(style.fan_kept())
        .bind(before.at.0)
        .bind(&before.id)
        .bind(most)
        .fetch_all(&mut *db)
        .await?;
    let mut sessions = Vec::with_capacity(rows.len());
    for row in &rows {
        let session = read_session(row)?;
        let kept = match row.get::<String, _>(16).as_str() {
            "" => kept_of(&placements(db, session.id).await?),
            text => serde_json::from_str(text).map_err(Problem::broken)?,
        };
        sessions.push((session, kept));
    }
    Ok(sessions)
}

/// Her newest session in any style.
pub(super) async fn newest_session(db: &mut Db, artist: ArtistId) -> Result<Option<Session>, Problem> {
    let row = sqlx::query(
        "select id, artist, technique, fan, at, source, uncertainty_s, bottle, bottle_name, predicted_set_s, temperature_c,
           humidity_pct, room, dry, entered_by, struck from timing_session
         where artist = $1 order by at desc, id desc limit 1",
    )
    .bind(artist.to_string()).fetch_optional(db).await?;
    row.as_ref().map(read_session).transpose()
}

/// One session of an artist.
pub(super) async fn session(db: &mut Db, artist: ArtistId, id: TimingSessionId) -> Result<Option<Session>, Problem> {
    let row = sqlx::query(
        "select id, artist, technique, fan, at, source, uncertainty_s, bottle, bottle_name, predicted_set_s, temperature_c,
           humidity_pct, room, dry, entered_by, struck from timing_session
         where id = $1 and artist = $2",
    )
    .bind(id.to_string()).bind(artist.to_string()).fetch_optional(db).await?;
    row.as_ref().map(read_session).transpose()
}

fn read_session(row: &AnyRow) -> Result<Session, Problem> {
    let optional = |at: usize| row.get::<Option<f64>, _>(at);
    let (bottle, name): (String, String) = (row.get(7), row.get(8));
    let id: Option<BottleId> = if bottle.is_empty() { None } else { Some(bottle.parse().map_err(Problem::broken)?) };
    let predicted_set = optional(9).map(Seconds::clamped);
    let told = id.is_some() || !name.is_empty() || predicted_set.is_some();
    let humidity = optional(11).map(RelHumidity::clamped);
    Ok(Session {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        artist: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        style: style_of(&row.get::<String, _>(2), row.get(3))?,
        at: Instant(row.get(4)),
        source: Source::from_word(&row.get::<String, _>(5))
            .ok_or_else(|| Problem::broken("a timing of no source of ours"))?,
        uncertainty_s: optional(6),
        bottle: told.then_some(BottleInHand { id, name, predicted_set }),
        air: optional(10).map(|celsius| AirThen { temperature: Celsius::clamped(celsius), humidity }),
        room: row.get::<Option<String>, _>(12).map(|id| id.parse().map_err(Problem::broken)).transpose()?,
        dry: row.get::<i64, _>(13) == 1,
        entered_by: row.get(14),
        struck: row.get::<Option<i64>, _>(15).map(Instant),
    })
}

/// The placements of a session in their order.
pub(super) async fn placements(db: &mut Db, session: TimingSessionId) -> Result<Vec<Placement>, Problem> {
    let rows = sqlx::query("select id, n, travel_s, settle_s, struck from placement where session = $1 order by n")
        .bind(session.to_string())
        .fetch_all(db)
        .await?;
    rows.iter()
        .map(|row| {
            Ok(Placement {
                id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                n: u32::try_from(row.get::<i64, _>(1)).unwrap_or_default(),
                travel: Seconds::clamped(row.get(2)),
                settle: Seconds::clamped(row.get(3)),
                struck: row.get::<Option<i64>, _>(4).map(Instant),
            })
        })
        .collect()
}
