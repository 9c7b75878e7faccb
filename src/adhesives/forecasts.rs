//! What was foretold of each bench test just before it was made, kept beside what was measured: from all that was known
//! then, and from the label alone.

use serde::{Deserialize, Serialize};
use sqlx::Row;

use super::bench::{BenchTest, set_tests};
use super::bench_store;
use super::bottle::Bottle;
use super::set_time::{Posterior, Prior, Sums};
use crate::base::ids::{BenchTestId, BottleId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::Seconds;
use crate::store::{Db, Tx};

/// A density of 0 has no logarithm; this is below any that a reasonable forecast gives.
const LEAST_DENSITY: f64 = 1e-12;

/// A measured set time beside what was foretold of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// The test.
    pub test: BenchTestId,
    /// Its bottle.
    pub bottle: BottleId,
    /// The bottle's product and lot; empty before it is read from the database.
    pub name: String,
    /// When it was measured.
    pub at: Instant,
    /// What was measured.
    pub measured: Seconds,
    /// What was foretold: 1 in 10, half, 9 in 10.
    pub foretold: (Seconds, Seconds, Seconds),
    /// Share of what was foretold that lay below the measurement, 0…1.
    pub place: f64,
    /// ln of the density that the forecast gave the measured ln seconds.
    pub ln_density: f64,
    /// What the label alone would have said.
    pub from_label: Seconds,
    /// ln of the density that the label alone gave.
    pub label_ln_density: f64,
    /// Tests the bottle had been learned from.
    pub tests_before: u32,
}

/// Bins of the rank histogram.
pub const RANKS: usize = 10;
/// The shares of what was foretold that are looked at: half the time, likely, nearly always.
pub const LEVELS: [f64; 3] = [0.5, 0.8, 0.95];

/// Every forecast whose test still counts, as counts: what a score needs, however many tests were made.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Tally {
    /// Forecasts counted.
    pub count: u64,
    /// Those whose measurement lay inside the middle share of each of [`LEVELS`].
    pub inside: [u64; 3],
    /// How many measurements fell into each tenth of what was foretold.
    pub ranks: [u64; RANKS],
    /// Sum of the gains in ln probability density over the label alone.
    pub gain: f64,
}

impl Tally {
    /// Counts one more: `place` is the share of what was foretold that lay below the measurement, 0…1; `gain` the ln of
    /// the forecast's density there less the ln of the label's.
    pub fn add(&mut self, place: f64, gain: f64) {
        self.count += 1;
        for (inside, level) in self.inside.iter_mut().zip(LEVELS) {
            let tail = 0.5 * (1.0 - level);
            *inside += u64::from((tail..=1.0 - tail).contains(&place));
        }
        let rank = ((place * RANKS as f64) as usize).min(RANKS - 1);
        self.ranks[rank] += 1;
        self.gain += gain;
    }
}

/// What a posterior foretells of a test and what the label alone does; `None` for a test of no set time.
#[must_use]
pub fn foretell(test: &BenchTest, bottle: BottleId, known: &Posterior, label_only: &Posterior) -> Option<Forecast> {
    let set = set_tests(std::slice::from_ref(test)).into_iter().next()?;
    let (ln_measured, _) = set.ln_time();
    let foretold = known.placement(&test.conditions, test.doubt);
    let from_label = label_only.placement(&test.conditions, test.doubt);
    let at = |p| Seconds::clamped(foretold.quantile(p).exp());
    Some(Forecast {
        test: test.id,
        bottle,
        name: String::new(),
        at: test.at,
        measured: Seconds::clamped(ln_measured.exp()),
        foretold: (at(0.1), at(0.5), at(0.9)),
        place: foretold.cdf(ln_measured).clamp(0.0, 1.0),
        ln_density: foretold.pdf(ln_measured).max(LEAST_DENSITY).ln(),
        from_label: Seconds::clamped(from_label.quantile(0.5).exp()),
        label_ln_density: from_label.pdf(ln_measured).max(LEAST_DENSITY).ln(),
        tests_before: known.tests + known.sibling_tests,
    })
}

/// Keeps what the present state of a bottle foretells of a test: to be called in the write that adds the test, after it
/// and before the summary is made again.
pub(super) async fn keep_for(tx: &mut Tx, bottle: &Bottle, test: &BenchTest) -> Result<(), Problem> {
    let known = bench_store::known_for(tx.db(), bottle).await?;
    let own = bench_store::summary(tx.db(), bottle.id).await?;
    // Another piece sets otherwise: its tests enter no fit, and so were not foretold.
    if test.piece != known.piece(bottle.product, &own) {
        return Ok(());
    }
    let label = known.product(bottle.product).and_then(|known| known.product.label());
    let label_only = Posterior::of(&Prior::from_label(label.as_ref()), &Sums::none());
    let posterior = known.posterior(bottle.product, bottle.id, &own);
    match foretell(test, bottle.id, &posterior, &label_only) {
        Some(forecast) => keep(tx, &forecast).await,
        None => Ok(()),
    }
}

/// Keeps a forecast.
pub(super) async fn keep(tx: &mut Tx, forecast: &Forecast) -> Result<(), Problem> {
    let ln = |seconds: Seconds| seconds.get().max(1e-9).ln();
    sqlx::query(
        "insert into forecast (test, at, bottle, measured, low, middle, high, place, ln_density, label_middle,
         label_ln_density, tests_before) values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)",
    )
    .bind(forecast.test.to_string())
    .bind(forecast.at.0)
    .bind(forecast.bottle.to_string())
    .bind(ln(forecast.measured))
    .bind(ln(forecast.foretold.0))
    .bind(ln(forecast.foretold.1))
    .bind(ln(forecast.foretold.2))
    .bind(forecast.place)
    .bind(forecast.ln_density)
    .bind(ln(forecast.from_label))
    .bind(forecast.label_ln_density)
    .bind(i64::from(forecast.tests_before))
    .execute(tx.db())
    .await?;
    let mut kept = tally(tx.db()).await?;
    kept.add(forecast.place, forecast.ln_density - forecast.label_ln_density);
    keep_tally(tx, &kept).await
}

/// All forecasts whose tests still count, as kept.
///
/// # Errors
/// When the database cannot be read.
pub async fn tally(db: &mut Db) -> Result<Tally, Problem> {
    let row = sqlx::query("select summary from forecast_kept where one = 1").fetch_optional(db).await?;
    row.map_or_else(
        || Ok(Tally::default()),
        |row| serde_json::from_str(&row.get::<String, _>(0)).map_err(Problem::broken),
    )
}

async fn keep_tally(tx: &mut Tx, kept: &Tally) -> Result<(), Problem> {
    sqlx::query(
        "insert into forecast_kept (one, summary) values (1, $1) on conflict (one) do update set summary = excluded.summary",
    )
    .bind(serde_json::to_string(kept).map_err(Problem::broken)?)
    .execute(tx.db())
    .await?;
    Ok(())
}

/// Counts them anew from every row: for the write that strikes a test out or takes that back.
pub(super) async fn refresh_tally(tx: &mut Tx) -> Result<(), Problem> {
    let rows = sqlx::query(
        "select f.place, f.ln_density, f.label_ln_density from forecast f join bench_test t on t.id = f.test
         where t.struck is null order by f.at, f.test",
    )
    .fetch_all(tx.db())
    .await?;
    let mut kept = Tally::default();
    for row in &rows {
        kept.add(row.get(0), row.get::<f64, _>(1) - row.get::<f64, _>(2));
    }
    keep_tally(tx, &kept).await
}

/// The newest forecasts whose tests still count, newest first.
///
/// # Errors
/// When the database cannot be read.
pub async fn newest_forecasts(db: &mut Db, most: i64) -> Result<Vec<Forecast>, Problem> {
    let rows = sqlx::query(
        "select f.test, f.bottle, f.at, f.measured, f.low, f.middle, f.high, f.place, f.ln_density, f.label_middle,
         f.label_ln_density, f.tests_before,
         p.name, b.lot
         from forecast f join bench_test t on t.id = f.test join bottle b on b.id = f.bottle join product p on p.id = b.product
         where t.struck is null order by f.at desc limit $1",
    )
    .bind(most)
    .fetch_all(db)
    .await?;
    rows.iter()
        .map(|row| {
            let seconds = |at: usize| Seconds::clamped(row.get::<f64, _>(at).exp());
            let (product, lot) = (row.get::<String, _>(12), row.get::<String, _>(13));
            Ok(Forecast {
                name: if lot.is_empty() { product } else { format!("{product}, lot {lot}") },
                test: row.get::<String, _>(0).parse().map_err(Problem::broken)?,
                bottle: row.get::<String, _>(1).parse().map_err(Problem::broken)?,
                at: Instant(row.get(2)),
                measured: seconds(3),
                foretold: (seconds(4), seconds(5), seconds(6)),
                place: row.get(7),
                ln_density: row.get(8),
                from_label: seconds(9),
                label_ln_density: row.get(10),
                tests_before: u32::try_from(row.get::<i64, _>(11)).unwrap_or(u32::MAX),
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::adhesives::bench::Found;
    use crate::adhesives::set_time::{Label, SetTest, TestPiece};
    use crate::adhesives::{Air, AirDoubt, Bead, Conditions, Liquids};
    use crate::base::ids::SittingId;
    use crate::base::units::{Celsius, RelHumidity};

    fn test(seconds: f64) -> BenchTest {
        let air = Air { temperature: Celsius::clamped(22.0), humidity: RelHumidity::clamped(50.0) };
        BenchTest {
            id: BenchTestId::new(),
            sitting: SittingId::new(),
            at: Instant(1),
            found: Found::Set { seconds: Seconds::clamped(seconds), nudge_every: None },
            piece: TestPiece::default(),
            conditions: Conditions { air, bead: Bead::Medium, liquids: Liquids::NONE, days_open: 3.0 },
            doubt: AirDoubt::NONE,
            pick_up: None,
            drop_minutes: None,
            struck: false,
        }
    }

    #[test]
    fn a_bottle_that_was_tested_foretells_better_than_its_label_and_says_where_the_measurement_lay() {
        let label = Label::window(Seconds::clamped(1.0), Seconds::clamped(2.0), None);
        let prior = Prior::from_label(label.as_ref());
        let tests: Vec<SetTest> = set_tests(&[test(2.6), test(2.7), test(2.5), test(2.6)]);
        let (learned, label_only) = (Posterior::of(&prior, &Sums::of(&tests)), Posterior::of(&prior, &Sums::none()));
        let forecast = foretell(&test(2.6), BottleId::new(), &learned, &label_only).unwrap();
        assert!(forecast.ln_density > forecast.label_ln_density);
        assert!((0.2..0.8).contains(&forecast.place), "{}", forecast.place);
        assert!(forecast.from_label < forecast.foretold.1 && forecast.foretold.0 < forecast.foretold.2);
        assert_eq!(forecast.tests_before, 4);
        let quick = foretell(&test(0.3), BottleId::new(), &learned, &label_only).unwrap();
        assert!(quick.place < 0.01 && quick.ln_density.is_finite());
    }

    #[test]
    fn a_bead_that_waited_is_no_set_time_and_foretells_nothing() {
        let open = BenchTest { found: Found::Open { delay: Seconds::clamped(4.0), held: true }, ..test(1.0) };
        let nothing = Posterior::of(&Prior::from_label(None), &Sums::none());
        assert!(foretell(&open, BottleId::new(), &nothing, &nothing).is_none());
    }
}
