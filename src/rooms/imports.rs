//! A logger's file on its way in: its SQL and its preview.

use sha2::{Digest, Sha256};
use sqlx::Row;
use sqlx::any::AnyRow;

use super::foreseen::{Earlier, Foreseen, foresee};
use super::logger_file::{self, DayOrder, Hints, LoggerFile, Stop};
use super::plausible::COMPARED_WITHIN;
use super::readings::NewReading;
use super::written::TemperatureUnit;
use crate::base::ids::{ImportId, InstrumentId, RoomId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::base::zone::Zone;
use crate::store::{Db, FormKey, Kept, Tx};
use crate::web::House;

/// Where a file stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum ImportState {
    /// Read, shown, nothing taken yet.
    Preview,
    /// Its rows are being taken.
    Taking,
    /// All good rows are in.
    Taken,
    /// Its person left it.
    Dropped,
}

impl ImportState {
    /// Every state.
    pub(super) const ALL: [Self; 4] = [Self::Preview, Self::Taking, Self::Taken, Self::Dropped];

    /// The word kept in the database.
    #[must_use]
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Preview => "preview",
            Self::Taking => "taking",
            Self::Taken => "taken",
            Self::Dropped => "dropped",
        }
    }
}

/// A logger's file on its way in.
#[derive(Debug, Clone)]
pub(super) struct Import {
    /// Its id.
    pub(super) id: ImportId,
    /// For which room.
    pub(super) room: RoomId,
    /// From which instrument.
    pub(super) instrument: InstrumentId,
    /// As the person's machine calls it.
    pub(super) file_name: String,
    /// The zone its wall times are read in: the studio's at the time it was sent.
    pub(super) zone: Zone,
    /// Which of day and month comes first, where the person was asked.
    pub(super) day_order: Option<DayOrder>,
    /// In which unit temperatures are, where the person was asked.
    pub(super) temperature_unit: Option<TemperatureUnit>,
    /// Who sent it.
    pub(super) made_by: String,
    /// Good rows; known once taking has begun.
    pub(super) rows_all: i64,
    /// Rows taken so far.
    pub(super) rows_done: i64,
    /// Those among them that were not here before.
    pub(super) rows_new: i64,
    /// Those that were set aside.
    pub(super) rows_aside: i64,
    /// Where it stands.
    pub(super) state: ImportState,
}

/// A file as its preview shows it.
pub(super) struct Preview {
    pub(super) file: LoggerFile,
    /// What its good rows become once they are taken.
    pub(super) foreseen: Foreseen,
}

/// Keeps a file for its preview.
pub(super) async fn add(tx: &mut Tx, import: &Import, content: &[u8]) -> Result<(), Problem> {
    let now = tx.now.0;
    sqlx::query(
        "insert into reading_import
         (id, room, instrument, file_name, content, digest, zone, day_order, temperature_unit, made_by, created, rows_all,
          rows_done, rows_new, rows_aside, state)
         values ($1, $2, $3, $4, $5, $6, $7, '', '', $8, $9, 0, 0, 0, 0, 'preview')",
    )
    .bind(import.id.to_string())
    .bind(import.room.to_string())
    .bind(import.instrument.to_string())
    .bind(&import.file_name)
    .bind(content.to_vec())
    .bind(digest_of(content))
    .bind(import.zone.name())
    .bind(&import.made_by)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.audit("upload logger file", import.id, "").await
}

/// The instrument that an earlier sending of the same file in this room belongs to, whatever the file was called then.
pub(super) async fn instrument_of(db: &mut Db, room: RoomId, content: &[u8]) -> Result<Option<InstrumentId>, Problem> {
    let row =
        sqlx::query("select instrument from reading_import where room = $1 and digest = $2 order by created limit 1")
            .bind(room.to_string())
            .bind(digest_of(content))
            .fetch_optional(db)
            .await?;
    row.map(|row| row.get::<String, _>(0).parse().map_err(Problem::broken)).transpose()
}

fn digest_of(content: &[u8]) -> String {
    Sha256::digest(content).iter().map(|byte| format!("{byte:02x}")).collect()
}

/// One import of a room.
pub(super) async fn find(db: &mut Db, room: RoomId, id: ImportId) -> Result<Option<Import>, Problem> {
    let row = sqlx::query(
        "select id, room, instrument, file_name, day_order, temperature_unit, made_by, rows_all, rows_done, rows_new, state, zone,
         rows_aside
         from reading_import where id = $1 and room = $2",
    )
    .bind(id.to_string())
    .bind(room.to_string())
    .fetch_optional(db)
    .await?;
    row.as_ref().map(read_import).transpose()
}

/// Every file whose rows are being taken, oldest first.
pub(super) async fn being_taken(db: &mut Db) -> Result<Vec<Import>, Problem> {
    let rows = sqlx::query(
        "select id, room, instrument, file_name, day_order, temperature_unit, made_by, rows_all, rows_done, rows_new, state, zone,
         rows_aside
         from reading_import where state = 'taking' order by created",
    )
    .fetch_all(db)
    .await?;
    rows.iter().map(read_import).collect()
}

/// The file itself; empty once it is taken or dropped.
pub(super) async fn content(db: &mut Db, id: ImportId) -> Result<Vec<u8>, Problem> {
    let row =
        sqlx::query("select content from reading_import where id = $1").bind(id.to_string()).fetch_one(db).await?;
    Ok(row.get(0))
}

/// Reads a kept file with the person's answers and judges its rows as if they were taken now; `Err(Stop)` is a question to her or
/// the end of it. No connection is held meanwhile.
pub(super) async fn preview(house: &House, import: &Import, now: Instant) -> Result<Result<Preview, Stop>, Problem> {
    let bytes = {
        let mut db = house.store.read().await?;
        content(&mut db, import.id).await?
    };
    let file = match read(house, bytes, import).await? {
        Ok(file) => file,
        Err(stop) => return Ok(Err(stop)),
    };
    let earlier = {
        let mut db = house.store.read().await?;
        earlier(&mut db, import.instrument, span(&file)).await?
    };
    let turn = house.thinking.next().await?;
    let judged = move || {
        let _turn = turn;
        let foreseen = foresee(&file.rows, &earlier, now.0);
        Preview { file, foreseen }
    };
    tokio::task::spawn_blocking(judged).await.map(Ok).map_err(Problem::broken)
}

/// What an instrument gave in a span, and so near to it that the rows at its ends are compared with it.
async fn earlier(db: &mut Db, instrument: InstrumentId, (first, last): (i64, i64)) -> Result<Vec<Earlier>, Problem> {
    let rows = sqlx::query(
        "select at, temperature_c, humidity_pct, set_aside from reading where instrument = $1 and at >= $2 and at <= $3",
    )
    .bind(instrument.to_string())
    .bind(first.saturating_sub(COMPARED_WITHIN))
    .bind(last.saturating_add(COMPARED_WITHIN))
    .fetch_all(db)
    .await?;
    let read = |row: &AnyRow| Earlier {
        at_us: row.get(0),
        temperature: row.get(1),
        humidity: row.get(2),
        believed: row.get::<String, _>(3).is_empty(),
    };
    Ok(rows.iter().map(read).collect())
}

fn span(file: &LoggerFile) -> (i64, i64) {
    let first = file.rows.iter().map(|row| row.at_us).min().unwrap_or(0);
    let last = file.rows.iter().map(|row| row.at_us).max().unwrap_or(0);
    (first, last)
}

/// How long a file may be read. The longest one needs seconds on a small machine.
const READ_WITHIN: std::time::Duration = std::time::Duration::from_secs(60);

/// Reading a long file takes a second; it must not hold up the pages of others, nor keep a thread for good.
pub(super) async fn read(house: &House, bytes: Vec<u8>, import: &Import) -> Result<Result<LoggerFile, Stop>, Problem> {
    let turn = house.thinking.next().await?;
    let hints = Hints {
        zone: import.zone.inner().clone(),
        day_order: import.day_order,
        temperature_unit: import.temperature_unit,
    };
    let read = move || {
        let _turn = turn;
        let begun = std::time::Instant::now();
        logger_file::read_all_unless(&bytes, &hints, &|| begun.elapsed() > READ_WITHIN)
    };
    tokio::task::spawn_blocking(read).await.map_err(Problem::broken)
}

/// Keeps the answers to what a file left open.
pub(super) async fn answer(
    tx: &mut Tx,
    id: ImportId,
    day_order: Option<DayOrder>,
    unit: Option<TemperatureUnit>,
) -> Result<(), Problem> {
    for (text, statement) in [
        (day_order.map(order_word), "update reading_import set day_order = $1 where id = $2 and state = 'preview'"),
        (unit.map(unit_word), "update reading_import set temperature_unit = $1 where id = $2 and state = 'preview'"),
    ] {
        if let Some(word) = text {
            sqlx::query(statement).bind(word).bind(id.to_string()).execute(tx.db()).await?;
        }
    }
    tx.audit("answer for logger file", id, "").await
}

/// Begins to take the rows, or drops the file. Whoever comes second finds it decided, and nothing changes.
pub(super) async fn decide(tx: &mut Tx, id: ImportId, rows: usize, to: ImportState) -> Result<(), Problem> {
    let moved = sqlx::query("update reading_import set state = $1, rows_all = $2 where id = $3 and state = 'preview'")
        .bind(to.word())
        .bind(i64::try_from(rows).unwrap_or(i64::MAX))
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    if moved.rows_affected() == 0 {
        tx.record_tells_itself();
        return Ok(());
    }
    if to == ImportState::Dropped {
        forget_content(tx, id).await?;
    }
    tx.audit("logger file", id, to.word()).await
}

/// How long a file waits for somebody to take it or leave it.
const PREVIEW_FOR: i64 = 7 * DAY;

/// Drops files that nobody took or left within a week.
pub(super) async fn forget_old(house: &House) -> Result<(), Problem> {
    house
        .store
        .write(&FormKey::house(), |tx| {
            Box::pin(async move {
                let before = tx.now.0.plus(-PREVIEW_FOR);
                sqlx::query("update reading_import set state = 'dropped', content = $1 where state = 'preview' and created < $2")
                    .bind(Vec::<u8>::new())
                    .bind(before.0)
                    .execute(tx.db())
                    .await?;
                tx.record_tells_itself();
                Ok(Kept::see(""))
            })
        })
        .await
        .map(|_| ())
}

/// Leaves of a file what is known of it, and not the file.
pub(super) async fn forget_content(tx: &mut Tx, id: ImportId) -> Result<(), Problem> {
    sqlx::query("update reading_import set content = $1 where id = $2")
        .bind(Vec::<u8>::new())
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    Ok(())
}

impl Import {
    /// A row of it as a reading.
    pub(super) fn reading(&self, row: &logger_file::GoodRow) -> NewReading {
        NewReading {
            room: self.room,
            instrument: self.instrument,
            at: Instant(row.at_us),
            temperature: Some(row.temperature),
            humidity: Some(row.humidity),
        }
    }
}

/// The word of an order, in forms and in the database.
pub(super) const fn order_word(order: DayOrder) -> &'static str {
    match order {
        DayOrder::DayFirst => "day_first",
        DayOrder::MonthFirst => "month_first",
    }
}

/// The order with this word.
pub(super) fn order_from(word: &str) -> Option<DayOrder> {
    [DayOrder::DayFirst, DayOrder::MonthFirst].into_iter().find(|order| order_word(*order) == word)
}

/// The word of a unit, in forms and in the database.
pub(super) const fn unit_word(unit: TemperatureUnit) -> &'static str {
    match unit {
        TemperatureUnit::Celsius => "celsius",
        TemperatureUnit::Fahrenheit => "fahrenheit",
    }
}

/// The unit with this word.
pub(super) fn unit_from(word: &str) -> Option<TemperatureUnit> {
    [TemperatureUnit::Celsius, TemperatureUnit::Fahrenheit].into_iter().find(|unit| unit_word(*unit) == word)
}

fn read_import(row: &AnyRow) -> Result<Import, Problem> {
    let word: String = row.get(10);
    Ok(Import {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        room: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        instrument: row.get::<String, _>(2).parse().map_err(Problem::broken)?,
        file_name: row.get(3),
        zone: Zone::named(&row.get::<String, _>(11)).unwrap_or_else(Zone::utc),
        day_order: order_from(&row.get::<String, _>(4)),
        temperature_unit: unit_from(&row.get::<String, _>(5)),
        made_by: row.get(6),
        rows_all: row.get(7),
        rows_done: row.get(8),
        rows_new: row.get(9),
        rows_aside: row.get(12),
        state: ImportState::ALL
            .into_iter()
            .find(|state| state.word() == word)
            .ok_or_else(|| Problem::broken("an import in no state of ours"))?,
    })
}
