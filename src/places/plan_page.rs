//! A room's plan with what the change of air does to the set times of the bottles at hand there.

use axum::extract::{Query, State};
use axum::response::Response;

use super::advice_asked::{assumed, classes, limits, shelf_bottle, usual_style};
use super::in_hand::{seen_from, set_time};
use crate::adhesives::set_time::Climate;
use crate::adhesives::{self, Air, AirDoubt, Bead, Liquids};
use crate::advice::band::{Band, BandRow, working_band_by};
use crate::advice::judge::{HandsTables, Question, Verdict, Work};
use crate::advice::options::{DAMPEST_PCT, DRIEST_PCT};
use crate::advice::settings::AdviceSettings;
use crate::advice::words;
use crate::artists;
use crate::base::ids::RoomId;
use crate::base::problem::Problem;
use crate::base::units::Celsius;
use crate::rooms::{self, BandChoice, BandChoices, PlanAsked, PlanView, SetTimeEffect, plan};
use crate::web::House;
use crate::web::guard::Staff;
use crate::web::incoming::At;
use crate::web::routes::Routes;
use crate::web::studio::Studio;

pub(super) fn routes() -> Routes {
    Routes::new().get("/rooms/{room}/plan", plan_page)
}

async fn plan_page(
    staff: Staff,
    State(house): State<House>,
    At(room): At<RoomId>,
    Query(asked): Query<PlanAsked>,
) -> Result<Response, Problem> {
    let view = PlanView::load(&house, &staff, room, &asked).await?;
    let effect = match view.airs() {
        Some((now, target)) => effect(&house, &staff, room, now, target).await?,
        None => None,
    };
    let bands = bands(&house, &staff, room, &asked, view.planned()).await?;
    view.answer(effect, bands)
}

/// The working bands of the bottles at hand, for the hands of whoever looks, or for those the owner names; `None` where
/// nobody's seconds may be used, where nobody timed them, or without a bottle.
async fn bands(
    house: &House,
    staff: &Staff,
    room: RoomId,
    asked: &PlanAsked,
    planned: Celsius,
) -> Result<Option<BandChoices>, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let mut seen = artists::all(&mut db).await?;
    // A band tells how quick hands are.
    seen.retain(|artist| artist.seconds_seen_by(&staff.who));
    let named = asked.get("artist").and_then(|id| seen.iter().position(|artist| artist.id.to_string() == *id));
    let own = seen.iter().position(|artist| artist.person == staff.who.id);
    let Some(at) = named.or(own).or_else(|| (!seen.is_empty()).then_some(0)) else { return Ok(None) };
    let artist = seen.remove(at);
    let style = usual_style(&artist);
    let hands = artists::hands(&mut db, artist.id, style).await?;
    let (shelf, any_adhesive) = adhesives::shelf_and_pooled(&mut db, Some(room), None, now).await?;
    let mut shelf = seen_from(room, &rooms::all(&mut db).await?, shelf);
    shelf.retain(|bottle| bottle.out.is_none());
    let (classes, limits) = (classes(&mut db).await?, limits(&AdviceSettings::load(&mut db).await?));
    drop(db);
    if hands.placements == 0 || shelf.is_empty() {
        return Ok(None);
    }
    let work = Work {
        technique: style.technique,
        placements_per_set: artist.placements_per_set.clamp(1, 2000),
        bead: Bead::Medium,
        pick_up: None,
        liquids: Liquids::NONE,
    };
    let turn = house.thinking.next().await?;
    let rows = tokio::task::spawn_blocking(move || {
        let _turn = turn;
        let bottles: Vec<_> = shelf.iter().map(shelf_bottle).collect();
        let question = Question {
            hands: &hands,
            room: assumed(),
            work,
            classes: &classes,
            any_adhesive: &any_adhesive,
            bottles: &bottles,
            not_today: &[],
            daily: None,
            limits,
        };
        let tables = HandsTables::of(&hands);
        let row = |at: usize| {
            let band = working_band_by(&question, at, Verdict::Fits, &tables);
            (bottles[at].name.clone(), bottles[at].climate, row_at(&band, planned))
        };
        (0..bottles.len()).map(row).collect::<Vec<_>>()
    })
    .await
    .map_err(Problem::broken)?;
    Ok(Some(BandChoices {
        whose: format!("{}, {}", artist.name, style.words()),
        artist: artist.id.to_string(),
        temperature: studio.number(studio.scale(planned.get()), 1),
        choices: rows
            .into_iter()
            .map(|(bottle, climate, row)| choice(bottle, climate.as_ref(), planned, row))
            .collect(),
        others: seen.iter().map(|other| (other.id.to_string(), other.name.clone())).collect(),
    }))
}

/// The row of a band nearest to a temperature.
fn row_at(band: &Band, temperature: Celsius) -> Option<BandRow> {
    let off = |row: &BandRow| (row.temperature.get() - temperature.get()).abs();
    band.rows().into_iter().min_by(|a, b| off(a).total_cmp(&off(b)))
}

/// A target inside the guards and the air its maker prints, or why there is none.
fn choice(bottle: String, climate: Option<&Climate>, planned: Celsius, row: Option<BandRow>) -> BandChoice {
    let none = |bottle, words: String| BandChoice { bottle, words, humidity: String::new() };
    let (likely, may) = row.map_or((None, None), |row| (row.likely, row.may));
    let Some((low, high)) = likely.or(may) else {
        return none(bottle, "no humidity suits at this temperature".to_owned());
    };
    let (low, high) = (low.get().max(DRIEST_PCT).ceil(), high.get().min(DAMPEST_PCT).floor());
    if low > high {
        let words = format!("its band lies past {DRIEST_PCT:.0}–{DAMPEST_PCT:.0}\u{a0}%RH, where nothing is aimed at");
        return none(bottle, words);
    }
    if climate.is_some_and(|climate| !(climate.temperature.0..=climate.temperature.1).contains(&planned)) {
        return none(bottle, "this temperature is outside the air its maker prints".to_owned());
    }
    let printed = climate.map_or((low, high), |climate| (climate.humidity.0.get(), climate.humidity.1.get()));
    let (low, high) = (low.max(printed.0.ceil()), high.min(printed.1.floor()));
    if low > high {
        return none(bottle, "its band lies outside the air its maker prints".to_owned());
    }
    let sure = if likely.is_some() { "likely suits" } else { "may suit" };
    BandChoice {
        bottle,
        words: format!("{low:.0}–{high:.0}\u{a0}%RH, {sure}"),
        humidity: format!("{low:.0}-{high:.0}"),
    }
}

/// A sentence for each bottle at hand in the room that may be used; `None` where there is none.
async fn effect(
    house: &House,
    staff: &Staff,
    room: RoomId,
    now: plan::Air,
    target: plan::Air,
) -> Result<Option<SetTimeEffect>, Problem> {
    let mut db = house.store.read().await?;
    let decimal = Studio::load(&mut db).await?.decimal;
    let shelf = adhesives::shelf(&mut db, Some(room), staff.visitor.now.0).await?;
    let shelf = seen_from(room, &rooms::all(&mut db).await?, shelf);
    let air = |of: plan::Air| Air { temperature: of.temperature, humidity: of.humidity };
    let sentences: Vec<String> = shelf
        .iter()
        .filter(|bottle| bottle.out.is_none())
        .map(|bottle| {
            let seconds = |of| words::seconds_in(decimal, set_time(bottle, air(of), AirDoubt::NONE));
            format!("{}: {} becomes {}.", bottle.name, seconds(now), seconds(target))
        })
        .collect();
    let basis = "Best guesses for a medium bead; measured on a practice lash, not on a client.".to_owned();
    Ok((!sentences.is_empty()).then_some(SetTimeEffect { sentences, basis }))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::units::RelHumidity;

    fn row(likely: Option<(f64, f64)>, may: Option<(f64, f64)>) -> Option<BandRow> {
        let band = |(low, high)| (RelHumidity::clamped(low), RelHumidity::clamped(high));
        Some(BandRow { temperature: Celsius::clamped(22.0), likely: likely.map(band), may: may.map(band) })
    }

    #[test]
    fn a_band_is_aimed_at_only_as_far_as_the_guards_let_it() {
        let of = |likely, may| choice("Heath".to_owned(), None, Celsius::clamped(22.0), row(likely, may));
        assert_eq!(of(Some((41.3, 55.8)), None).humidity, "42-55");
        assert_eq!(of(Some((50.0, 78.0)), None).humidity, "50-60");
        assert!(of(None, Some((35.0, 44.0))).words.ends_with("may suit"));
        let no_row = choice("Heath".to_owned(), None, Celsius::clamped(22.0), None);
        for none in [of(Some((62.0, 80.0)), None), of(None, None), no_row] {
            assert!(none.humidity.is_empty(), "{none:?}");
        }
    }

    #[test]
    fn a_band_is_aimed_at_only_inside_the_air_the_maker_prints() {
        let printed = Climate {
            temperature: (Celsius::clamped(20.0), Celsius::clamped(24.0)),
            humidity: (RelHumidity::clamped(44.5), RelHumidity::clamped(60.0)),
        };
        let of = |t, likely| choice("Heath".to_owned(), Some(&printed), Celsius::clamped(t), row(Some(likely), None));
        assert_eq!(of(22.0, (41.3, 55.8)).humidity, "45-55");
        assert_eq!(of(24.0, (46.0, 70.0)).humidity, "46-60");
        for none in [of(24.5, (41.3, 55.8)), of(22.0, (32.0, 44.0))] {
            assert!(none.humidity.is_empty() && none.words.contains("its maker prints"), "{none:?}");
        }
    }
}
