//! Holds what was put right of a lot against the lines the audit chain has of it: by that a trace finds who met a lot, and a stop takes
//! tests away.

use std::collections::{BTreeMap, VecDeque};

use sqlx::Row;

use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::store::audit::{self, Broken};
use crate::store::keys::Keys;

/// What the chain calls a lot that was put right.
pub(super) const CORRECTED: &str = "correct lot";
/// What it called it until it was told what the lot was and became: of the bottle, and that.
const OLDER: (&str, &str) = ("change bottle", "lot");

/// What the chain is told of a lot that was put right: a keyed digest over every field as text.
pub(super) fn line(keys: &Keys, fields: [&str; 7]) -> String {
    keys.digest("corrected lot", &fields.map(str::as_bytes))
}

/// What the chain has of lots that were put right, each with its line: a clock may have been set back, lines follow one another.
#[derive(Default)]
struct Told {
    /// The digest of each, by its id.
    digests: BTreeMap<String, (i64, String)>,
    /// Those of an older program by bottle, instant and whoever did it. What the lot was and became it did not tell.
    older: BTreeMap<(String, Instant, String), VecDeque<i64>>,
}

/// A lot that was put right and of which the chain has a line.
struct Kept {
    bottle: String,
    line: i64,
    id: String,
    was: String,
    became: String,
    /// As the chain has it.
    as_told: bool,
    /// The lot its bottle bears.
    stands: String,
}

/// Every lot that was put right otherwise than the chain has it, or whose bottle bears another one than it was put right to. Of what an
/// older program kept, the chain has which bottle it was, when and by whom, and the bottle the lot. The chain itself is walked by
/// `audit::verify`.
///
/// # Errors
/// When the database cannot be read.
pub async fn verify(db: &mut Db, keys: &Keys) -> Result<Vec<Broken>, Problem> {
    let mut told = in_the_chain(db).await?;
    let rows = sqlx::query(
        "select c.id, c.bottle, c.product, c.was, c.became, c.at, c.by_person, b.lot, b.product from corrected_lot c
         join bottle b on b.id = c.bottle order by c.bottle, c.at, c.id",
    )
    .fetch_all(db)
    .await?;
    let (mut broken, mut all) = (Vec::new(), Vec::new());
    for row in &rows {
        let [id, bottle, product, was, became, by, stands, of] =
            [0, 1, 2, 3, 4, 6, 7, 8].map(|place| row.get::<String, _>(place));
        let at = Instant(row.get(5));
        let instant = at.0.to_string();
        let found = match told.digests.remove(&id) {
            Some((number, digest)) => {
                Some((number, digest == line(keys, [&id, &bottle, &product, &was, &became, &instant, &by])))
            }
            None => {
                told.older.get_mut(&(bottle.clone(), at, by)).and_then(VecDeque::pop_front).map(|number| (number, true))
            }
        };
        match found {
            Some((line, as_told)) => {
                all.push(Kept { bottle, line, id, was, became, as_told: as_told && product == of, stands });
            }
            None => broken.push(Broken::NotInTheChain(id)),
        }
    }
    all.sort_by(|a, b| (&a.bottle, a.line).cmp(&(&b.bottle, b.line)));
    for (place, one) in all.iter().enumerate() {
        // The next one of this bottle begins with what it became; the last of them is what stands on it.
        let next = all.get(place + 1).filter(|next| next.bottle == one.bottle);
        let then = next.map_or(&one.stands, |next| &next.was);
        if !one.as_told || *then != one.became {
            broken.push(Broken::Changed(one.id.clone()));
        }
    }
    broken.extend(told.digests.into_keys().map(Broken::Gone));
    let gone = told.older.into_iter().filter(|(_, left)| !left.is_empty());
    broken.extend(gone.map(|((bottle, ..), _)| Broken::Gone(format!("of bottle {bottle}"))));
    Ok(broken)
}

async fn in_the_chain(db: &mut Db) -> Result<Told, Problem> {
    let mut told = Told::default();
    audit::each_line(db, |line| {
        if line.action == CORRECTED {
            told.digests.insert(line.subject, (line.line, line.detail));
        } else if (line.action.as_str(), line.detail.as_str()) == OLDER {
            told.older.entry((line.subject, line.at, line.actor)).or_default().push_back(line.line);
        }
    })
    .await?;
    Ok(told)
}
