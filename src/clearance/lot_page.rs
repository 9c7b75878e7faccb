//! Who met a lot, with ways to reach them, printable.

use std::collections::{BTreeMap, HashMap};

use askama::Template;
use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::lot_store::{Exposure, who_met};
use super::reaction_store::staff_incidents_with;
use super::standing::Bench;
use crate::adhesives;
use crate::adhesives::lots::CorrectedLots;
use crate::base::actor::Role;
use crate::base::ids::{ClientId, ProductId};
use crate::base::problem::Problem;
use crate::base::text;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::clients;
use crate::web::House;
use crate::web::checks::{choice_field, text_field};
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new().get("/door/lots", trace)
}

/// That nothing is chosen yet, before the choices.
pub(super) fn choose() -> impl Iterator<Item = (String, String)> {
    std::iter::once((String::new(), "choose".to_owned()))
}

/// Every product by its name.
pub(super) fn product_choices(bench: &Bench) -> Vec<(String, String)> {
    let mut all: Vec<_> =
        bench.products.values().map(|product| (product.id.to_string(), product.name.clone())).collect();
    all.sort_by_cached_key(|(_, name)| text::fold(name));
    all
}

#[derive(Deserialize, Default)]
#[serde(default)]
struct AskedLot {
    product: String,
    lot: String,
    /// "yes": only what came out of bottles without a lot.
    none: String,
}

#[derive(Template)]
#[template(path = "clearance/lots.html")]
struct TracePage {
    frame: Frame,
    action: String,
    fields: Vec<FieldView>,
    lead: String,
    rows: Vec<TraceRow>,
    /// How many incidents of those who work here name it, in words for the owner; empty without one, and for everybody else.
    staff: String,
}

struct TraceRow {
    name: String,
    reach: String,
    when: String,
    lot: String,
    /// What became of that lot since, in words; empty where it is still the bottle's.
    put_right: String,
    kind: String,
}

async fn trace(staff: Staff, State(house): State<House>, Query(asked): Query<AskedLot>) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let product: Option<ProductId> = asked.product.parse().ok().filter(|id| bench.products.contains_key(id));
    let lot = text::lot(&asked.lot).chars().take(60).collect::<String>();
    let (rows, lead, incidents) = match product {
        None => (Vec::new(), String::new(), 0),
        Some(product) => {
            let of_lot = (!lot.is_empty() || asked.none == "yes").then_some(lot.as_str());
            let corrected = adhesives::corrected_lots(&mut db, product).await?;
            let met = who_met(&mut db, product, of_lot, &corrected).await?;
            let rows = trace_rows(&mut db, house.store.keys(), &staff, &studio, met, &corrected).await?;
            let what = match of_lot {
                None => String::new(),
                Some("") => ", bottles without a lot".to_owned(),
                Some(lot) => format!(", lot {lot}"),
            };
            let reads = staff.who.role == Role::Owner;
            let incidents = if reads { staff_incidents_with(&mut db, product, of_lot, &corrected).await? } else { 0 };
            let mut lead = format!("{}{what}: who met it, newest first. Patch tests count.", bench.name(Some(product)));
            if rows.iter().any(|row| !row.put_right.is_empty()) {
                lead.push_str(" What was written down stays as it was; where a bottle’s lot was put right since, it says so. Whoever met another bottle of the lot written down stands here, too.");
            }
            (rows, lead, incidents)
        }
    };
    let none = std::iter::once((String::new(), "choose a product".to_owned()));
    page(&TracePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, "Who met a lot"),
        action: house.url("/door/lots"),
        fields: vec![
            choice_field("select", "product", "Product", &asked.product, none.chain(product_choices(&bench))),
            text_field("lot", "Lot", &lot).hinted("Empty: every lot.").or_empty(),
        ],
        lead,
        rows,
        staff: match incidents {
            0 => String::new(),
            1 => "1 incident of those who work here names it as well".to_owned(),
            many => format!("{many} incidents of those who work here name it as well"),
        },
    })
}

/// Those this person may see; the others are counted by nobody but the owner.
async fn trace_rows(
    db: &mut crate::store::Db,
    keys: &crate::store::keys::Keys,
    staff: &Staff,
    studio: &Studio,
    met: Vec<Exposure>,
    corrected: &CorrectedLots,
) -> Result<Vec<TraceRow>, Problem> {
    let now = staff.visitor.now.0;
    let people = people_who_met(db, keys, staff, &met).await?;
    let row = |exposure: Exposure| {
        let (name, reach) = people.get(&exposure.client)?.clone();
        Some(TraceRow {
            name,
            reach,
            when: studio.zone.date_and_clock(exposure.at, now),
            put_right: put_right(corrected, &exposure.met.lot, exposure.at, &studio.zone, now),
            lot: lot_words(&exposure.met.lot).to_owned(),
            kind: if exposure.kind == "test" { "patch test".to_owned() } else { exposure.kind },
        })
    };
    Ok(met.into_iter().filter_map(row).collect())
}

/// A lot as a page names it.
fn lot_words(lot: &str) -> &str {
    if lot.is_empty() { "none printed" } else { lot }
}

/// What a lot met at an instant was put right to since: "put right to X-1 on 3 Feb, to X-2 on 5 Feb"; empty where it was not.
pub(super) fn put_right(corrected: &CorrectedLots, lot: &str, met: Instant, zone: &Zone, now: Instant) -> String {
    let bottle = |steps: Vec<(&str, Instant)>| {
        let step = |&(lot, at): &(&str, Instant)| format!("to {} on {}", lot_words(lot), zone.date(at, now));
        format!("put right {}", steps.iter().map(step).collect::<Vec<_>>().join(", "))
    };
    let bottles = corrected.became(lot, met);
    bottles.into_iter().map(bottle).collect::<Vec<_>>().join("; another bottle ")
}

/// Name and ways to reach of those who met something, as far as this person may see them, in a few statements for all.
pub(super) async fn people_who_met(
    db: &mut crate::store::Db,
    keys: &crate::store::keys::Keys,
    staff: &Staff,
    met: &[Exposure],
) -> Result<HashMap<ClientId, (String, String)>, Problem> {
    let ids: Vec<ClientId> = met.iter().map(|exposure| exposure.client).collect();
    let clients: Vec<_> =
        clients::several(db, &ids).await?.into_iter().filter(|client| clients::may_see(client, &staff.who)).collect();
    // Who was erased has to be found all the same: that is why her meetings stay.
    let erased: Vec<ClientId> = clients.iter().filter(|own| own.erased.is_some()).map(|own| own.id).collect();
    let mut rests = if erased.is_empty() { BTreeMap::new() } else { clients::rights::rests(db, keys, &erased).await? };
    let mut people = HashMap::new();
    for client in clients {
        let (name, phone, email) = if client.erased.is_some() {
            let rest = rests.remove(&client.id).unwrap_or_default();
            (rest.name, rest.phone, rest.email)
        } else {
            (client.name, client.phone, client.email)
        };
        let reach = [phone, email].into_iter().filter(|way| !way.is_empty()).collect::<Vec<_>>().join(", ");
        people.insert(client.id, (if name.is_empty() { "somebody erased".to_owned() } else { name }, reach));
    }
    Ok(people)
}
