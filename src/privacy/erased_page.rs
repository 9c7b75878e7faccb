//! Those erased of whom something had to stay, for their keepers: a claim comes years after the record is in no list and no search.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use jiff::civil::Date;

use super::store;
use crate::base::actor::{Actor, Role};
use crate::base::problem::Problem;
use crate::clients;
use crate::clients::names::Names;
use crate::clients::rights;
use crate::store::{FormKey, Kept};
use crate::web::House;
use crate::web::frame::Frame;
use crate::web::guard::{Staff, with_passphrase};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/erased", list)
}

/// Somebody erased.
struct ErasedRow {
    name: String,
    /// When she was born, when she was erased, and until when the last of it stays.
    about: String,
    href: String,
}

#[derive(Template)]
#[template(path = "privacy/erased_list.html")]
struct ErasedListPage {
    frame: Frame,
    rows: Vec<ErasedRow>,
}

async fn list(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    if staff.who.role == Role::Desk {
        return Err(Problem::NotYours("Their keepers do this: the owner, or the artist whose clients they were."));
    }
    with_passphrase(&staff.visitor)?;
    // Written down before it is shown: the names are sealed, and this opens them.
    let key = FormKey::unkeyed(Actor::Person(staff.who.clone()));
    let (who, now) = (staff.who.id, staff.visitor.now.0);
    let noted = house.store.write(&key, move |tx| {
        Box::pin(async move {
            tx.audit("look through erased clients", who, "").await?;
            Ok(Kept::see(""))
        })
    });
    noted.await?;
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let names = Names::load(&mut db).await?;
    let stays = store::last_days(&mut db).await?;
    let ids: Vec<_> = stays.keys().copied().collect();
    let mut kept = clients::several(&mut db, &ids).await?;
    kept.retain(|client| clients::may_see(client, &staff.who) && rights::may_use(client, &staff.who, &names));
    let ids: Vec<_> = kept.iter().map(|client| client.id).collect();
    let mut rests = rights::rests(&mut db, house.store.keys(), &ids).await?;
    let mut rows = Vec::new();
    for client in kept {
        let (Some(erased), Some(until)) = (client.erased, stays.get(&client.id)) else { continue };
        let rest = rests.remove(&client.id).unwrap_or_default();
        let born = rest.born.and_then(|born| born.parse::<Date>().ok());
        let born = born.map(|born| format!("born {}, ", born.strftime("%-d %b %Y"))).unwrap_or_default();
        let (erased, until) = (studio.zone.date(erased, now), studio.zone.date(*until, now));
        rows.push(ErasedRow {
            name: if rest.name.is_empty() { "Nobody by name".to_owned() } else { rest.name },
            about: format!("{born}erased {erased}; the last of it stays until {until}"),
            href: house.url(&format!("/door/erased/{}", client.id)),
        });
    }
    rows.sort_by_cached_key(|row| row.name.to_lowercase());
    page(&ErasedListPage { frame: house.frame(&studio, &staff.visitor, Place::Door, "Erased, with what stays"), rows })
}
