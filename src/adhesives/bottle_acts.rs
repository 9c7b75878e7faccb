//! What is done with a bottle: opened, moved, set in use, finished, and each of these put right.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::bottle_form::{place, unfinished};
use super::{bench_store, store};
use crate::base::ids::{BenchTestId, BottleId};
use crate::base::problem::Problem;
use crate::rooms;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::done_at;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(super) fn routes() -> Routes {
    Routes::new()
        .post("/shelf/bottles/{bottle}/open", open)
        .post("/shelf/bottles/{bottle}/move", move_to)
        .post("/shelf/bottles/{bottle}/use", set_in_use)
        .post("/shelf/bottles/{bottle}/finish", finish)
        .post("/shelf/bottles/{bottle}/take-back", take_back_finishing)
        .post("/shelf/bottles/{bottle}/tests/{test}/strike", strike)
        .post("/shelf/bottles/{bottle}/tests/{test}/take-back", take_back)
}

/// When the button was pressed, as the device wrote it: see `done_at`.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Pressed {
    done: String,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedPlace {
    room: String,
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedUse {
    in_use: String,
}

async fn open(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<Pressed>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let at = done_at(&form.typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                unfinished(store::bottle(tx.db(), id).await?)?;
                store::open_bottle(tx, id, at).await?;
                Ok(Kept::see(format!("/shelf/bottles/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn move_to(
    _staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<TypedPlace>,
) -> Result<Response, Problem> {
    let typed = form.typed.room;
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let typed = typed.clone();
            Box::pin(async move {
                unfinished(store::bottle(tx.db(), id).await?)?;
                let rooms = rooms::all(tx.db()).await?;
                let room = place(&typed, &rooms).ok_or_else(|| {
                    Problem::Clash(
                        "This room is not in use any more.".to_owned(),
                        "Choose another place for the bottle.".to_owned(),
                    )
                })?;
                store::move_bottle(tx, id, room).await?;
                Ok(Kept::see(format!("/shelf/bottles/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn set_in_use(
    _staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<TypedUse>,
) -> Result<Response, Problem> {
    let in_use = match form.typed.in_use.as_str() {
        "yes" => true,
        "no" => false,
        _ => return Err(Problem::Unreadable("The form does not say whether the bottle is in daily use.".into())),
    };
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let bottle = unfinished(store::bottle(tx.db(), id).await?)?;
                if in_use && bottle.stopped.is_some() {
                    return Err(Problem::Clash(
                        "The studio has stopped this bottle.".to_owned(),
                        "Use another one.".to_owned(),
                    ));
                }
                store::use_bottle(tx, id, in_use).await?;
                Ok(Kept::see(format!("/shelf/bottles/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn finish(
    staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<Pressed>,
) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let at = done_at(&form.typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let bottle = unfinished(store::bottle(tx.db(), id).await?)?;
                store::finish_bottle(tx, id, Some(at)).await?;
                bench_store::refresh_product(tx, bottle.product).await?;
                Ok(Kept::see(format!("/shelf/bottles/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn take_back_finishing(
    _staff: Staff,
    State(house): State<House>,
    At(id): At<BottleId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let bottle = store::bottle(tx.db(), id).await?.ok_or(Problem::NotHere("bottle"))?;
                store::finish_bottle(tx, id, None).await?;
                bench_store::refresh_product(tx, bottle.product).await?;
                Ok(Kept::see(format!("/shelf/bottles/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

async fn strike(
    staff: Staff,
    house: State<House>,
    at: At<(BottleId, BenchTestId)>,
    form: Form<Back>,
) -> Result<Response, Problem> {
    mark_test(staff, house, at, form, true).await
}

async fn take_back(
    staff: Staff,
    house: State<House>,
    at: At<(BottleId, BenchTestId)>,
    form: Form<Back>,
) -> Result<Response, Problem> {
    mark_test(staff, house, at, form, false).await
}

/// Where the person goes on afterwards.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Back {
    to: String,
}

async fn mark_test(
    _staff: Staff,
    State(house): State<House>,
    At((id, test)): At<(BottleId, BenchTestId)>,
    form: Form<Back>,
    struck: bool,
) -> Result<Response, Problem> {
    let to_bench = form.typed.to == "bench";
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                let bottle = store::bottle(tx.db(), id).await?.ok_or(Problem::NotHere("bottle"))?;
                bench_store::strike(tx, &bottle, test, struck).await?;
                let page = if to_bench { "/bench?told=struck" } else { "" };
                Ok(Kept::see(format!("/shelf/bottles/{id}{page}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
