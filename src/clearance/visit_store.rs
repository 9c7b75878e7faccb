//! SQL of who is expected, and of the house adhesive.

use sqlx::Row;

use super::seen::still_here;
use super::test_store::read_wet;
use super::wet::Wet;
use crate::base::ids::{ClientId, ExpectedVisitId, PersonId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients;
use crate::store::{Db, Tx, query_with_nulls};

/// What somebody is expected for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VisitKind {
    /// A set.
    Set,
    /// An infill.
    Infill,
    /// A removal: no adhesive.
    Removal,
    /// A patch test: asks for nothing but the person.
    Test,
    /// A lift, a tint, brows: no adhesive of the shelf, so nothing but the person is judged.
    Other,
}

impl VisitKind {
    /// Every kind.
    pub const ALL: [Self; 5] = [Self::Set, Self::Infill, Self::Removal, Self::Test, Self::Other];

    /// The word kept in the database and shown.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::Infill => "infill",
            Self::Removal => "removal",
            Self::Test => "test",
            Self::Other => "other_service",
        }
    }

    /// The words on a page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Set => "set",
            Self::Infill => "infill",
            Self::Removal => "removal",
            Self::Test => "patch test",
            Self::Other => "other service",
        }
    }

    /// The kind with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.word() == word)
    }
}

/// Somebody expected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Expected {
    /// Its id.
    pub id: ExpectedVisitId,
    /// Who.
    pub client: ClientId,
    /// When.
    pub at: Instant,
    /// For what.
    pub kind: VisitKind,
    /// Who treats her.
    pub artist: Option<PersonId>,
    /// Adhesives planned; none: the house adhesive of that day.
    pub products: Vec<ProductId>,
    /// Liquids planned; a removal always has its remover besides.
    pub liquids: Vec<Wet>,
}

/// Puts somebody on the list of those expected. Also for the book: the id is the caller's, and the same id again changes the entry,
/// which then stands on the list again.
///
/// # Errors
/// [`Problem::NotHere`] where her record is gone, [`Problem::Clash`] where it is restricted; when the database refuses it.
pub async fn expect_visit(tx: &mut Tx, visit: &Expected) -> Result<(), Problem> {
    still_here(tx, visit.client, true).await?;
    let now = tx.now.0;
    query_with_nulls(
        "insert into expected_visit (id, client, at, kind, artist, created, gone, liquids) values ($1, $2, $3, $4, $5, $6, null, $7)
         on conflict (id) do update set client = excluded.client, at = excluded.at, kind = excluded.kind, artist = excluded.artist,
           liquids = excluded.liquids, gone = null",
    )
    .bind(visit.id.to_string())
    .bind(visit.client.to_string())
    .bind(visit.at.0)
    .bind(visit.kind.word())
    .bind(visit.artist.map(|artist| artist.to_string()))
    .bind(now.0)
    .bind(visit.liquids.iter().map(|wet| wet.word()).collect::<Vec<_>>().join(","))
    .execute(tx.db())
    .await?;
    if let Some(artist) = visit.artist {
        // Whoever treats her reads what she has to know, until the day after.
        clients::look_after_until(tx, visit.client, artist, visit.at.plus(DAY)).await?;
    }
    sqlx::query("delete from expected_product where visit = $1").bind(visit.id.to_string()).execute(tx.db()).await?;
    for product in &visit.products {
        sqlx::query("insert into expected_product (visit, product) values ($1, $2)")
            .bind(visit.id.to_string())
            .bind(product.to_string())
            .execute(tx.db())
            .await?;
    }
    tx.raise(super::DOOR);
    tx.audit("expect visit", visit.id, visit.kind.word()).await
}

/// Takes somebody off the list: came, moved or cancelled.
///
/// # Errors
/// [`Problem::NotHere`] when nobody is expected by this id.
pub async fn no_longer_expected(tx: &mut Tx, id: ExpectedVisitId) -> Result<(), Problem> {
    let now = tx.now.0;
    let done = sqlx::query("update expected_visit set gone = $1 where id = $2 and gone is null")
        .bind(now.0)
        .bind(id.to_string())
        .execute(tx.db())
        .await?;
    if done.rows_affected() == 0 {
        return Err(Problem::NotHere("visit"));
    }
    tx.raise(super::DOOR);
    tx.audit("take off expected visit", id, "").await
}

/// Whoever is expected with one artist from now on is expected with another, until then or for good.
///
/// # Errors
/// When the database refuses it.
pub async fn hand_visits(tx: &mut Tx, from: PersonId, to: PersonId, until: Option<Instant>) -> Result<(), Problem> {
    let (now, end) = (tx.now.0, until.unwrap_or(Instant(i64::MAX)));
    let rows = sqlx::query(
        "select client, max(at) from expected_visit where artist = $1 and gone is null and at >= $2 and at < $3 group by client",
    )
    .bind(from.to_string())
    .bind(now.0)
    .bind(end.0)
    .fetch_all(tx.db())
    .await?;
    for row in &rows {
        let client: ClientId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        clients::look_after_until(tx, client, to, Instant(row.get::<i64, _>(1)).plus(DAY)).await?;
    }
    sqlx::query("update expected_visit set artist = $1 where artist = $2 and gone is null and at >= $3 and at < $4")
        .bind(to.to_string())
        .bind(from.to_string())
        .bind(now.0)
        .bind(end.0)
        .execute(tx.db())
        .await?;
    tx.raise(super::DOOR);
    tx.audit("hand over expected visits", from, &to.to_string()).await
}

/// Everybody expected in a span of time, the end not included, in the order of their visits.
///
/// # Errors
/// When the database cannot be read.
pub async fn expected(db: &mut Db, from: Instant, to: Instant) -> Result<Vec<Expected>, Problem> {
    let rows = sqlx::query(
        "select v.id, v.client, v.at, v.kind, v.artist, p.product, v.liquids from expected_visit v
         left join expected_product p on p.visit = v.id where v.gone is null and v.at >= $1 and v.at < $2 order by v.at, v.id",
    )
    .bind(from.0)
    .bind(to.0)
    .fetch_all(db)
    .await?;
    collect(&rows)
}

/// One visit that is expected.
pub(super) async fn visit(db: &mut Db, id: ExpectedVisitId) -> Result<Option<Expected>, Problem> {
    let rows = sqlx::query(
        "select v.id, v.client, v.at, v.kind, v.artist, p.product, v.liquids from expected_visit v
         left join expected_product p on p.visit = v.id where v.gone is null and v.id = $1",
    )
    .bind(id.to_string())
    .fetch_all(db)
    .await?;
    Ok(collect(&rows)?.pop())
}

/// What a client is expected for from an instant on.
pub(super) async fn visits_of(db: &mut Db, client: ClientId, from: Instant) -> Result<Vec<Expected>, Problem> {
    let rows = sqlx::query(
        "select v.id, v.client, v.at, v.kind, v.artist, p.product, v.liquids from expected_visit v
         left join expected_product p on p.visit = v.id where v.gone is null and v.client = $1 and v.at >= $2 order by v.at, v.id",
    )
    .bind(client.to_string())
    .bind(from.0)
    .fetch_all(db)
    .await?;
    collect(&rows)
}

fn collect(rows: &[sqlx::any::AnyRow]) -> Result<Vec<Expected>, Problem> {
    let mut all: Vec<Expected> = Vec::new();
    for row in rows {
        let id: ExpectedVisitId = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
        if all.last().is_none_or(|visit| visit.id != id) {
            all.push(Expected {
                id,
                client: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
                at: Instant(row.get(2)),
                kind: VisitKind::from_word(&row.get::<String, _>(3))
                    .ok_or_else(|| Problem::broken("a visit of no kind of ours"))?,
                artist: row.get::<Option<String>, _>(4).map(|id| id.parse()).transpose().map_err(Problem::broken)?,
                products: Vec::new(),
                liquids: row
                    .get::<String, _>(6)
                    .split(',')
                    .filter(|word| !word.is_empty())
                    .map(read_wet)
                    .collect::<Result<_, _>>()?,
            });
        }
        if let (Some(visit), Some(product)) = (all.last_mut(), row.get::<Option<String>, _>(5)) {
            visit.products.push(product.parse().map_err(Problem::broken)?);
        }
    }
    Ok(all)
}

/// A house adhesive and the instant from which it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct HouseAdhesive {
    /// Which.
    pub(super) product: ProductId,
    /// From when.
    pub(super) from: Instant,
}

/// Every house adhesive there was and will be, in order.
pub(super) async fn house_adhesives(db: &mut Db) -> Result<Vec<HouseAdhesive>, Problem> {
    let rows = sqlx::query("select product, from_at from house_adhesive order by from_at").fetch_all(db).await?;
    rows.iter()
        .map(|row| {
            let product = row.get::<String, _>(0).parse().map_err(Problem::broken)?;
            Ok(HouseAdhesive { product, from: Instant(row.get(1)) })
        })
        .collect()
}

/// The house adhesive at an instant.
#[must_use]
pub(super) fn house_adhesive_at(all: &[HouseAdhesive], at: Instant) -> Option<ProductId> {
    all.iter().rev().find(|house| house.from <= at).map(|house| house.product)
}

/// The house works with this adhesive from an instant on; the same instant again changes which.
pub(super) async fn set_house_adhesive(tx: &mut Tx, house: HouseAdhesive) -> Result<(), Problem> {
    let (now, by) = (tx.now.0, tx.actor.mark());
    sqlx::query(
        "insert into house_adhesive (id, product, from_at, by_person, created) values ($1, $2, $3, $4, $5)
         on conflict (from_at) do update set product = excluded.product, by_person = excluded.by_person",
    )
    .bind(ExpectedVisitId::new().to_string())
    .bind(house.product.to_string())
    .bind(house.from.0)
    .bind(by)
    .bind(now.0)
    .execute(tx.db())
    .await?;
    tx.raise(super::DOOR);
    tx.audit("set house adhesive", house.product, "").await
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_house_adhesive_is_the_newest_that_has_begun() {
        let (slate, fen) = (ProductId::new(), ProductId::new());
        let all =
            [HouseAdhesive { product: slate, from: Instant(10) }, HouseAdhesive { product: fen, from: Instant(20) }];
        let at = |at| house_adhesive_at(&all, Instant(at));
        assert_eq!((at(9), at(10), at(19), at(20)), (None, Some(slate), Some(slate), Some(fen)));
    }
}
