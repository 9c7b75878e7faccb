//! SQL of advice that was taken, and of where each person works. Advice that was shown stands in `shown_store.rs`.

use serde::Deserialize;
use sqlx::Row;
use sqlx::any::AnyRow;

use super::file::Answer;
use super::judge::Verdict;
use super::kept::{KeptQuestion, States};
use crate::adhesives::{Bead, Liquids, PickUp};
use crate::base::ids::{AdviceId, ArtistId, BottleId, PersonId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::rows::parsed;
use crate::store::{Db, Tx};

/// An advice that was taken.
#[derive(Debug, Clone, PartialEq)]
pub struct Taken {
    /// Its number, counted from 1.
    pub number: i64,
    /// When.
    pub at: Instant,
    /// Whose hands.
    pub artist: ArtistId,
    /// Where.
    pub room: RoomId,
    /// The key of her style.
    pub style: String,
    /// The bottle that was taken.
    pub bottle: BottleId,
    /// Its verdict then.
    pub verdict: Verdict,
    /// How it was going to be used.
    pub work: TakenWork,
}

/// How a bottle that was taken was going to be used, out of the inputs kept with it.
#[derive(Debug, Clone, PartialEq, Eq, Deserialize)]
pub struct TakenWork {
    bead: String,
    pick_up: Option<String>,
    liquids: String,
}

impl TakenWork {
    /// The bead; medium where an older program wrote a word of its own.
    #[must_use]
    pub fn bead(&self) -> Bead {
        Bead::from_word(&self.bead).unwrap_or_default()
    }

    /// How it is picked up, where that was said.
    #[must_use]
    pub fn pick_up(&self) -> Option<PickUp> {
        self.pick_up.as_deref().and_then(PickUp::from_key)
    }

    /// The liquids.
    #[must_use]
    pub fn liquids(&self) -> Liquids {
        Liquids::from_keys(&self.liquids)
    }
}

/// An advice to be kept.
#[derive(Debug, Clone)]
pub struct NewAdvice {
    /// Who takes it.
    pub person: PersonId,
    /// Whose hands.
    pub artist: ArtistId,
    /// Where.
    pub room: RoomId,
    /// The key of her style.
    pub style: String,
    /// The bottle.
    pub bottle: BottleId,
    /// Its verdict.
    pub verdict: Verdict,
    /// What was asked.
    pub question: KeptQuestion,
    /// The states the question names.
    pub states: States,
    /// What was answered, as JSON.
    pub answer: String,
}

/// An advice as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAdvice {
    /// Its id.
    pub id: AdviceId,
    /// Its number, counted from 1.
    pub number: i64,
    /// When it was taken.
    pub at: Instant,
    /// Whose hands.
    pub artist: ArtistId,
    /// The key of her style.
    pub style: String,
    /// The bottle that was taken.
    pub bottle: BottleId,
    /// Its verdict then.
    pub verdict: Verdict,
    /// What it rested on.
    pub on: RestsOn,
}

/// What was asked and answered, as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct RestsOn {
    /// Version of the model that answered.
    pub model: String,
    pub(super) inputs: String,
    /// What was answered, as JSON.
    pub answer: String,
}

impl RestsOn {
    /// What was asked; `None` where it was written by a program that kept less.
    #[must_use]
    pub fn question(&self) -> Option<KeptQuestion> {
        serde_json::from_str(&self.inputs).ok()
    }

    /// What was answered; `None` where it cannot be read.
    #[must_use]
    pub fn answer(&self) -> Option<Answer> {
        serde_json::from_str(&self.answer).ok()
    }
}

/// Keeps an advice; gives its number.
///
/// # Errors
/// When the database refuses it.
pub async fn keep(tx: &mut Tx, new: &NewAdvice) -> Result<i64, Problem> {
    let (id, now) = (AdviceId::new(), tx.now.0);
    // One writer at a time: nobody else can take this number.
    let number: i64 =
        sqlx::query("select cast(coalesce(max(number), 0) as bigint) from advice").fetch_one(tx.db()).await?.get(0);
    let number = number + 1;
    sqlx::query(
        "insert into advice (id, number, at, person, artist, room, style, bottle, verdict, model, inputs, answer)
         values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
    )
    .bind(id.to_string())
    .bind(number)
    .bind(now.0)
    .bind(new.person.to_string())
    .bind(new.artist.to_string())
    .bind(new.room.to_string())
    .bind(&new.style)
    .bind(new.bottle.to_string())
    .bind(key(new.verdict))
    .bind(super::for_work::MODEL)
    .bind(serde_json::to_string(&new.question).map_err(Problem::broken)?)
    .bind(&new.answer)
    .execute(tx.db())
    .await?;
    for (digest, state) in &new.states {
        sqlx::query(
            "insert into advice_state (digest, state, taken, last_at) values ($1, $2, 1, $3)
             on conflict (digest) do update set taken = 1",
        )
        .bind(digest)
        .bind(state)
        .bind(now.0)
        .execute(tx.db())
        .await?;
    }
    tx.audit("take advice", id, "").await?;
    Ok(number)
}

/// An advice as a treatment card names it.
#[derive(Debug, Clone, PartialEq)]
pub struct Advised {
    /// Its id.
    pub id: AdviceId,
    /// The class that was recommended, or came nearest, in words; empty where there was none.
    pub class: String,
    /// What was taken on it.
    pub taken: Taken,
}

/// The classes of the machine form that is kept with an advice.
#[derive(Deserialize)]
struct KeptClasses {
    recommended_s: Option<[f64; 2]>,
    least_bad_s: Option<[f64; 2]>,
}

/// The newest advice an artist took since an instant.
///
/// # Errors
/// When the database cannot be read.
pub async fn newest_taken(db: &mut Db, artist: ArtistId, from: Instant) -> Result<Option<Advised>, Problem> {
    let row = sqlx::query(
        "select number, at, artist, room, style, bottle, verdict, inputs, id, answer from advice
         where artist = $1 and at >= $2 order by at desc, number desc limit 1",
    )
    .bind(artist.to_string())
    .bind(from.0)
    .fetch_optional(db)
    .await?;
    let Some(row) = row else { return Ok(None) };
    let kept: KeptClasses = serde_json::from_str(&row.get::<String, _>(9)).map_err(Problem::broken)?;
    let class = kept.recommended_s.or(kept.least_bad_s);
    Ok(Some(Advised {
        id: parsed(&row, 8)?,
        class: class.map(|[low, high]| format!("{low}–{high} s")).unwrap_or_default(),
        taken: read(&row)?,
    }))
}

/// Every advice taken since an instant, oldest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn taken_since(db: &mut Db, from: Instant) -> Result<Vec<Taken>, Problem> {
    let rows = sqlx::query(
        "select number, at, artist, room, style, bottle, verdict, inputs from advice where at >= $1 order by at, number",
    )
    .bind(from.0)
    .fetch_all(db)
    .await?;
    rows.iter().map(read).collect()
}

fn read(row: &AnyRow) -> Result<Taken, Problem> {
    Ok(Taken {
        number: row.get(0),
        at: Instant(row.get(1)),
        artist: parsed(row, 2)?,
        room: parsed(row, 3)?,
        style: row.get(4),
        bottle: parsed(row, 5)?,
        verdict: from_key(&row.get::<String, _>(6))
            .ok_or_else(|| Problem::broken("an advice with no verdict of ours"))?,
        work: serde_json::from_str(&row.get::<String, _>(7)).map_err(Problem::broken)?,
    })
}

/// The newest advice of these artists with a number below `before`, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn newest(db: &mut Db, artists: &[ArtistId], before: i64, most: i64) -> Result<Vec<KeptAdvice>, Problem> {
    let mut found = Vec::new();
    for artist in artists {
        let rows = sqlx::query(
            "select id, number, at, artist, style, bottle, verdict, model, inputs, answer from advice
             where artist = $1 and number < $2 order by at desc, number desc limit $3",
        )
        .bind(artist.to_string())
        .bind(before)
        .bind(most)
        .fetch_all(&mut *db)
        .await?;
        for row in &rows {
            found.push(read_kept(row)?);
        }
    }
    found.sort_by_key(|kept| std::cmp::Reverse(kept.number));
    found.truncate(usize::try_from(most).unwrap_or_default());
    Ok(found)
}

/// One advice, if there is one with this id.
///
/// # Errors
/// When the database cannot be read.
pub async fn one(db: &mut Db, id: AdviceId) -> Result<Option<KeptAdvice>, Problem> {
    let row = sqlx::query(
        "select id, number, at, artist, style, bottle, verdict, model, inputs, answer from advice where id = $1",
    )
    .bind(id.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_kept).transpose()
}

/// The states a question names, as far as they are kept.
///
/// # Errors
/// When the database cannot be read.
pub async fn states(db: &mut Db, question: &KeptQuestion) -> Result<States, Problem> {
    let mut states = States::new();
    for digest in question.digests() {
        let row = sqlx::query("select state from advice_state where digest = $1")
            .bind(digest)
            .fetch_optional(&mut *db)
            .await?;
        if let Some(row) = row {
            states.insert(digest.to_owned(), row.get(0));
        }
    }
    Ok(states)
}

fn read_kept(row: &AnyRow) -> Result<KeptAdvice, Problem> {
    Ok(KeptAdvice {
        id: parsed(row, 0)?,
        number: row.get(1),
        at: Instant(row.get(2)),
        artist: parsed(row, 3)?,
        style: row.get(4),
        bottle: parsed(row, 5)?,
        verdict: from_key(&row.get::<String, _>(6))
            .ok_or_else(|| Problem::broken("an advice with no verdict of ours"))?,
        on: RestsOn { model: row.get(7), inputs: row.get(8), answer: row.get(9) },
    })
}

/// The verdict's word in the database.
pub(super) const fn key(verdict: Verdict) -> &'static str {
    match verdict {
        Verdict::Fits => "fits",
        Verdict::NearTooQuick => "near_too_quick",
        Verdict::NearTooSlow => "near_too_slow",
        Verdict::TooQuick => "too_quick",
        Verdict::TooSlow => "too_slow",
        Verdict::NotForToday => "not_for_today",
    }
}

pub(super) fn from_key(word: &str) -> Option<Verdict> {
    use Verdict::{Fits, NearTooQuick, NearTooSlow, TooQuick, TooSlow};
    [Fits, NearTooQuick, NearTooSlow, TooQuick, TooSlow].into_iter().find(|verdict| key(*verdict) == word)
}

/// Where a person works on a day, as she last said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct WorksIn {
    /// The person.
    pub person: PersonId,
    /// The room.
    pub room: RoomId,
    /// The key of the style; empty for her usual one.
    pub style: String,
    /// Since when.
    pub at: Instant,
}

/// Notes where somebody works from now on.
///
/// # Errors
/// When the database refuses it.
pub async fn note_room(tx: &mut Tx, person: PersonId, room: RoomId, style: &str) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into works_in (person, room, style, at) values ($1, $2, $3, $4)
         on conflict (person) do update set room = excluded.room, style = excluded.style, at = excluded.at",
    )
    .bind(person.to_string())
    .bind(room.to_string())
    .bind(style)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Where everybody works who has said so since an instant: the beginning of the day, since tomorrow she may work elsewhere.
///
/// # Errors
/// When the database cannot be read.
pub async fn works_in(db: &mut Db, since: Instant) -> Result<Vec<WorksIn>, Problem> {
    let rows =
        sqlx::query("select person, room, style, at from works_in where at >= $1").bind(since.0).fetch_all(db).await?;
    rows.iter()
        .map(|row| {
            Ok(WorksIn { person: parsed(row, 0)?, room: parsed(row, 1)?, style: row.get(2), at: Instant(row.get(3)) })
        })
        .collect()
}
