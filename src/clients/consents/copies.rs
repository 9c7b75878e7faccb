//! A consent is withdrawn, or a copy of it given: each a row of its own, the consent itself is never touched.

use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::store;
use crate::base::ids::{ClientId, ConsentId};
use crate::base::problem::Problem;
use crate::clients::seen;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::done_at;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form};
use crate::web::routes::Routes;
use crate::web::serve::answer;

pub(in crate::clients) fn routes() -> Routes {
    Routes::new()
        .post("/door/clients/{client}/consents/{consent}/withdraw", withdraw)
        .post("/door/clients/{client}/consents/{consent}/copies", copy)
}

/// Ways a copy is given: the word kept, and the words of the act.
pub(super) const WAYS: [(&str, &str); 3] =
    [("printed", "Printed and handed over"), ("e-mail", "Sent by e-mail"), ("shown", "Shown on the screen")];

/// When the button was pressed, as the device wrote it: see `done_at`.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Pressed {
    done: String,
}

async fn withdraw(
    staff: Staff,
    State(house): State<House>,
    At((client, id)): At<(ClientId, ConsentId)>,
    form: Form<Pressed>,
) -> Result<Response, Problem> {
    let (who, now) = (staff.who.clone(), staff.visitor.now.0);
    let at = done_at(&form.typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                seen(tx.db(), client, &who).await?;
                store::withdraw(tx, client, id, who.id, at).await?;
                Ok(Kept::see(format!("/door/clients/{client}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

#[derive(Deserialize)]
struct TypedCopy {
    way: String,
    #[serde(default)]
    done: String,
}

async fn copy(
    staff: Staff,
    State(house): State<House>,
    At((client, id)): At<(ClientId, ConsentId)>,
    form: Form<TypedCopy>,
) -> Result<Response, Problem> {
    let way = WAYS.iter().find(|(word, _)| *word == form.typed.way).map(|(word, _)| *word);
    let way = way.ok_or_else(|| Problem::Unreadable("The way the copy was given could not be read.".into()))?;
    let (who, now) = (staff.who.clone(), staff.visitor.now.0);
    let at = done_at(&form.typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                seen(tx.db(), client, &who).await?;
                store::add_copy(tx, (client, id), who.id, way, at).await?;
                Ok(Kept::see(format!("/door/clients/{client}/consents/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
