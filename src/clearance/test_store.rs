//! SQL of patch tests: placing, looking, declining; and the exposures that come of them.

use sqlx::Row;

use super::bound;
use super::facts::TestResult;
use super::sealing::{open_words, seal_words};
use super::seen::still_here;
use super::wet::Wet;
use crate::base::ids::{ClientId, ExposureId, PatchTestId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::keys::Keys;
use crate::store::{Db, Tx, query_with_nulls};

/// How a test is placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Method {
    /// A small spot on skin, behind the ear or inside the elbow, where its maker allows that.
    Skin,
    /// A few extensions placed as for real.
    Lashes,
}

impl Method {
    /// Both.
    pub(super) const ALL: [Self; 2] = [Self::Lashes, Self::Skin];

    /// The word kept in the database.
    #[must_use]
    pub(super) const fn word(self) -> &'static str {
        match self {
            Self::Skin => "skin",
            Self::Lashes => "lashes",
        }
    }

    /// The words on the page.
    #[must_use]
    pub(super) const fn words(self) -> &'static str {
        match self {
            Self::Skin => "a spot on skin",
            Self::Lashes => "a few extensions",
        }
    }

    /// The method with this word.
    #[must_use]
    pub(super) fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|method| method.word() == word)
    }
}

/// A product and lot.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Met {
    /// Which product.
    pub product: ProductId,
    /// Which lot; empty where none is printed.
    pub lot: String,
}

/// A patch test as it is recorded.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct PatchTest {
    /// Its id.
    pub(super) id: PatchTestId,
    /// Whose.
    pub(super) client: ClientId,
    /// How.
    pub(super) method: Method,
    /// How many extensions or spots; 0 for a declined one.
    pub(super) number_placed: u32,
    /// When it was placed, or declined.
    pub(super) placed: Instant,
    /// Who placed it: an actor's mark.
    pub(super) placed_by: String,
    /// The newest look.
    pub(super) read: Option<Instant>,
    /// Who looked.
    pub(super) read_by: String,
    /// The result in the studio's words.
    pub(super) result: TestResult,
    /// With what.
    pub(super) products: Vec<Met>,
    /// And with which liquids.
    pub(super) liquids: Vec<Wet>,
}

/// One look at a test.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Look {
    /// When.
    pub(super) at: Instant,
    /// What.
    pub(super) result: TestResult,
    /// Who: an actor's mark.
    pub(super) by: String,
    /// What was written beside it.
    pub(super) words: String,
}

/// Adds a test, with its exposures unless it was declined. `site` says where it was placed: "behind the left ear", "outer corners".
pub(super) async fn add_test(tx: &mut Tx, keys: &Keys, test: &PatchTest, site: &str) -> Result<(), Problem> {
    let now = tx.now.0;
    still_here(tx, test.client, true).await?;
    let site = seal_words(tx.db(), keys, test.client, &site_place(test.id), site).await?;
    query_with_nulls(
        "insert into patch_test (id, client, method, site, number_placed, placed, placed_by, read_at, read_by, result, created, struck)
         values ($1, $2, $3, $4, $5, $6, $7, null, '', $8, $9, null)",
    )
    .bind(test.id.to_string())
    .bind(test.client.to_string())
    .bind(test.method.word())
    .bind(site)
    .bind(i64::from(test.number_placed))
    .bind(test.placed.0)
    .bind(&test.placed_by)
    .bind(test.result.word())
    .bind(now.0)
    .execute(tx.db())
    .await?;
    for met in &test.products {
        sqlx::query("insert into patch_test_product (test, product, lot) values ($1, $2, $3)")
            .bind(test.id.to_string())
            .bind(met.product.to_string())
            .bind(&met.lot)
            .execute(tx.db())
            .await?;
        if test.result != TestResult::Declined {
            // The test is itself a meeting with the adhesive.
            add_exposure(tx, keys, test.client, met, (test.placed, Meeting::Test), &test.id.to_string()).await?;
        }
    }
    for wet in &test.liquids {
        sqlx::query("insert into patch_test_liquid (test, liquid) values ($1, $2)")
            .bind(test.id.to_string())
            .bind(wet.word())
            .execute(tx.db())
            .await?;
    }
    tx.raise(super::DOOR);
    let what = if test.result == TestResult::Declined { bound::DECLINED } else { bound::PLACED };
    bound::bind_as(tx, keys, &bound::PATCH_TEST, what, test.id).await
}

/// Keeps a look at a test. The words are sealed, each look's beside it. What the test says is judged anew inside the write: while this
/// look waited for its turn somebody else may have seen something, and what was seen stays.
pub(super) async fn look_at(
    tx: &mut Tx,
    keys: &Keys,
    id: PatchTestId,
    at: Instant,
    result: TestResult,
    words: &str,
) -> Result<(), Problem> {
    let (now, by, look) = (tx.now.0, tx.actor.mark(), PatchTestId::new());
    let test = test(tx.db(), id).await?.ok_or(Problem::NotHere("patch test"))?;
    still_here(tx, test.client, false).await?;
    if test.result.holds() && !result.holds() {
        return Err(Problem::Clash(
            "Meanwhile a reaction or a doubtful result was recorded for this test. It stays, and your look was not kept.".to_owned(),
            "Read what was seen. If you saw something too, enter it as a further look.".to_owned(),
        ));
    }
    if !may_follow(test.read, at, result) {
        return Err(Problem::Clash(
            "Somebody looked at this test later than you did, and that was kept first. Your look was not.".to_owned(),
            "Read what was seen then. If you saw something, enter that; a look in which nothing was seen adds nothing to a later one.".to_owned(),
        ));
    }
    let read = newest_look(test.result, test.read, at);
    query_with_nulls(
        "update patch_test set read_at = $1, read_by = $2, result = $3, read_entered = $4 where id = $5 and struck is null",
    )
    .bind(read.0)
    .bind(&by)
    .bind(result.word())
    .bind(now.0)
    .bind(id.to_string())
    .execute(tx.db())
    .await?;
    let place = format!("patch_test_look.words.{look}");
    let sealed = seal_words(tx.db(), keys, test.client, &place, words).await?;
    query_with_nulls(
        "insert into patch_test_look (id, client, test, at, result, words, by_person) values ($1, $2, $3, $4, $5, $6, $7)",
    )
    .bind(look.to_string())
    .bind(test.client.to_string())
    .bind(id.to_string())
    .bind(at.0)
    .bind(result.word())
    .bind(sealed)
    .bind(&by)
    .execute(tx.db())
    .await?;
    tx.raise(super::DOOR);
    bound::bind(tx, keys, &bound::LOOK, look).await
}

/// Whether a look may follow what the test says already. One that waited on a device may be older than the newest: then it counts only
/// where something was seen, and never puts "no reaction seen" or "not read" in the place of what was seen since.
pub(super) fn may_follow(read: Option<Instant>, at: Instant, result: TestResult) -> bool {
    result.holds() || read.is_none_or(|read| read <= at)
}

/// When a test counts as read after one look more. A look entered late never moves what holds to an earlier day: a doctor's words in
/// between would lift what they did not know of.
pub(super) fn newest_look(before: TestResult, read: Option<Instant>, at: Instant) -> Instant {
    if before.holds() { read.map_or(at, |read| read.max(at)) } else { at }
}

/// Strikes a test out that was entered by mistake: its meeting with the adhesive stays with it in the file.
pub(super) async fn strike_test(tx: &mut Tx, id: PatchTestId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query(
        "update patch_test set struck = $1 where id = $2 and struck is null and result in ('waiting', 'declined')",
    )
    .bind(now.0)
    .bind(id.to_string())
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::Clash(
            "Only a test nobody has read yet can be struck out.".to_owned(),
            "Enter what was seen as a new look.".to_owned(),
        ));
    }
    forget_exposures(tx, &id.to_string()).await?;
    tx.raise(super::DOOR);
    tx.audit("strike patch test", id, "").await
}

const TEST: &str = "select id, client, method, number_placed, placed, placed_by, read_at, read_by, result from patch_test where id = $1 and struck is null";
const TESTS_OF_CLIENT: &str =
    "select id, client, method, number_placed, placed, placed_by, read_at, read_by, result from patch_test
     where client = $1 and struck is null order by placed desc, id desc";

/// One test.
pub(super) async fn test(db: &mut Db, id: PatchTestId) -> Result<Option<PatchTest>, Problem> {
    let Some(row) = sqlx::query(TEST).bind(id.to_string()).fetch_optional(&mut *db).await? else { return Ok(None) };
    let mut test = read_test(&row)?;
    let products = sqlx::query("select product, lot from patch_test_product where test = $1 order by product, lot")
        .bind(id.to_string())
        .fetch_all(&mut *db)
        .await?;
    let liquids = sqlx::query("select liquid from patch_test_liquid where test = $1 order by liquid")
        .bind(id.to_string())
        .fetch_all(db)
        .await?;
    test.liquids = liquids.iter().map(|row| read_wet(&row.get::<String, _>(0))).collect::<Result<_, _>>()?;
    test.products = products.iter().map(read_met).collect::<Result<_, _>>()?;
    Ok(Some(test))
}

/// The tests of a client, newest first.
pub(super) async fn tests_of(db: &mut Db, client: ClientId) -> Result<Vec<PatchTest>, Problem> {
    let rows = sqlx::query(TESTS_OF_CLIENT).bind(client.to_string()).fetch_all(&mut *db).await?;
    let mut tests = rows.iter().map(read_test).collect::<Result<Vec<_>, _>>()?;
    let products = sqlx::query(
        "select p.product, p.lot, p.test from patch_test_product p join patch_test t on t.id = p.test
         where t.client = $1 order by p.product, p.lot",
    )
    .bind(client.to_string())
    .fetch_all(&mut *db)
    .await?;
    for row in &products {
        let of: String = row.get(2);
        if let Some(test) = tests.iter_mut().find(|test| test.id.to_string() == of) {
            test.products.push(read_met(row)?);
        }
    }
    let liquids = sqlx::query(
        "select l.liquid, l.test from patch_test_liquid l join patch_test t on t.id = l.test
         where t.client = $1 order by l.liquid",
    )
    .bind(client.to_string())
    .fetch_all(db)
    .await?;
    for row in &liquids {
        let of: String = row.get(1);
        if let Some(test) = tests.iter_mut().find(|test| test.id.to_string() == of) {
            test.liquids.push(read_wet(&row.get::<String, _>(0))?);
        }
    }
    Ok(tests)
}

fn site_place(id: PatchTestId) -> String {
    format!("patch_test.site.{id}")
}

/// Where a test was placed, in words; empty for a declined one, and where the client's key is gone.
pub(super) async fn site_of(db: &mut Db, keys: &Keys, test: &PatchTest) -> Result<String, Problem> {
    let row =
        sqlx::query("select site from patch_test where id = $1").bind(test.id.to_string()).fetch_one(&mut *db).await?;
    open_words(db, keys, test.client, &site_place(test.id), row.get(0)).await
}

/// Every look at a test with its words, oldest first.
pub(super) async fn looks(db: &mut Db, keys: &Keys, test: &PatchTest) -> Result<Vec<Look>, Problem> {
    let rows =
        sqlx::query("select id, at, result, by_person, words from patch_test_look where test = $1 order by at, id")
            .bind(test.id.to_string())
            .fetch_all(&mut *db)
            .await?;
    let mut looks = Vec::new();
    for row in &rows {
        let place = format!("patch_test_look.words.{}", row.get::<String, _>(0));
        looks.push(Look {
            at: Instant(row.get(1)),
            result: result_of(&row.get::<String, _>(2))?,
            by: row.get(3),
            words: open_words(db, keys, test.client, &place, row.get(4)).await?,
        });
    }
    Ok(looks)
}

fn read_test(row: &sqlx::any::AnyRow) -> Result<PatchTest, Problem> {
    Ok(PatchTest {
        id: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
        client: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
        method: Method::from_word(&row.get::<String, _>(2))
            .ok_or_else(|| Problem::broken("a test by no method of ours"))?,
        number_placed: u32::try_from(row.get::<i64, _>(3)).unwrap_or_default(),
        placed: Instant(row.get(4)),
        placed_by: row.get(5),
        read: row.get::<Option<i64>, _>(6).map(Instant),
        read_by: row.get(7),
        result: result_of(&row.get::<String, _>(8))?,
        products: Vec::new(),
        liquids: Vec::new(),
    })
}

fn read_met(row: &sqlx::any::AnyRow) -> Result<Met, Problem> {
    Ok(Met { product: row.get::<String, _>(0).parse().map_err(Problem::broken)?, lot: row.get(1) })
}

pub(super) fn read_wet(word: &str) -> Result<Wet, Problem> {
    Wet::from_word(word).ok_or_else(|| Problem::broken("a liquid that is none of ours"))
}

pub(super) fn result_of(word: &str) -> Result<TestResult, Problem> {
    TestResult::from_word(word).ok_or_else(|| Problem::broken("a test with no result of ours"))
}

/// How somebody met a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Meeting {
    /// In a patch test.
    Test,
    /// In a treatment.
    Treatment,
    /// When lashes were taken off.
    Removal,
}

impl Meeting {
    /// The word kept in the database.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Test => "test",
            Self::Treatment => "treatment",
            Self::Removal => "removal",
        }
    }
}

/// Keeps that a client met a product and lot, when and how. `source` is the id of the test or card it comes from: the same again adds
/// nothing.
///
/// # Errors
/// When the database refuses it.
pub async fn add_exposure(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    met: &Met,
    (at, how): (Instant, Meeting),
    source: &str,
) -> Result<(), Problem> {
    let id = ExposureId::new();
    let done = sqlx::query(
        "insert into exposure (id, client, product, lot, at, kind, source) values ($1, $2, $3, $4, $5, $6, $7)
         on conflict (source, product, lot) do nothing",
    )
    .bind(id.to_string())
    .bind(client.to_string())
    .bind(met.product.to_string())
    .bind(&met.lot)
    .bind(at.0)
    .bind(how.word())
    .bind(source)
    .execute(tx.db())
    .await?;
    if done.rows_affected() == 0 { Ok(()) } else { bound::bind(tx, keys, &bound::EXPOSURE, id).await }
}

/// Forgets what a card or test said it used, before it says so anew, and tells the chain so of each. Not for what was erased.
///
/// # Errors
/// When the database refuses it.
pub async fn forget_exposures(tx: &mut Tx, source: &str) -> Result<(), Problem> {
    let rows =
        sqlx::query("select id from exposure where source = $1 order by id").bind(source).fetch_all(tx.db()).await?;
    sqlx::query("delete from exposure where source = $1").bind(source).execute(tx.db()).await?;
    for row in rows {
        tx.audit(bound::FORGOTTEN, row.get::<String, _>(0), "").await?;
    }
    Ok(())
}
