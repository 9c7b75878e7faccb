//! Who is expected, filled by hand; and who is looked for: to be expected, or because she walks in.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::seen::{Names, client_for, treats};
use super::standing::Bench;
use super::test_form::chosen_liquids;
use super::typed::{FormPage, MoreNotes, Typed, checks_field, kept_field, notes_of, time_field};
use super::visit_store::{Expected, VisitKind, expect_visit, no_longer_expected, visit};
use super::wet::Wet;
use crate::base::ids::{ClientId, ExpectedVisitId, PersonId, ProductId};
use crate::base::problem::Problem;
use crate::base::time::{DAY, Instant};
use crate::clients::{self, Client};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/visits/new", choose_client)
        .post("/door/visits/new", find_client)
        .get("/door/clients/{client}/visits/new", visit_form)
        .post("/door/clients/{client}/visits", add_visit)
        .post("/door/visits/{visit}/gone", gone)
        .get("/door/walk-in", choose_walk_in)
        .post("/door/walk-in", find_walk_in)
}

/// What is typed of a name travels in the body: addresses stay in histories and logs.
#[derive(Deserialize, Default)]
struct Asked {
    #[serde(default)]
    q: String,
}

#[derive(Template)]
#[template(path = "clearance/choose.html")]
struct ChoosePage {
    frame: Frame,
    key: String,
    action: String,
    typed: String,
    lead: &'static str,
    found: Vec<(String, String)>,
    searched: bool,
    new_client: String,
}

/// For what somebody is looked for: where the page stands, where a client found leads, and the question.
struct Choosing {
    path: &'static str,
    then: &'static str,
    lead: &'static str,
}

const EXPECTED: Choosing = Choosing { path: "/door/visits/new", then: "visits/new", lead: "Who is expected?" };
const WALKS_IN: Choosing = Choosing { path: "/door/walk-in", then: "walk-in", lead: "Who walks in?" };

async fn choose_client(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    choose(staff, house, Asked::default(), EXPECTED).await
}

async fn find_client(staff: Staff, State(house): State<House>, form: Form<Asked>) -> Result<Response, Problem> {
    choose(staff, house, form.typed, EXPECTED).await
}

async fn choose_walk_in(staff: Staff, State(house): State<House>) -> Result<Response, Problem> {
    choose(staff, house, Asked::default(), WALKS_IN).await
}

async fn find_walk_in(staff: Staff, State(house): State<House>, form: Form<Asked>) -> Result<Response, Problem> {
    choose(staff, house, form.typed, WALKS_IN).await
}

async fn choose(
    staff: Staff,
    house: House,
    asked: Asked,
    Choosing { path, then, lead }: Choosing,
) -> Result<Response, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let typed = asked.q.trim().chars().take(80).collect::<String>();
    let found = if typed.is_empty() { Vec::new() } else { clients::find_for(&mut db, &staff.who, &typed, 12).await? };
    let found = found
        .iter()
        .map(|client| (house.url(&format!("/door/clients/{}/{then}", client.id)), client.name.clone()))
        .collect();
    page(&ChoosePage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, lead.trim_end_matches('?')),
        key: new_form_key(),
        action: house.url(path),
        searched: !typed.is_empty(),
        typed,
        lead,
        found,
        new_client: house.url(&format!("/door/clients/new?then={then}")),
    })
}

/// What the form of one client begins with.
struct Opened {
    studio: Studio,
    client: Client,
    bench: Bench,
    names: Names,
}

async fn open(house: &House, staff: &Staff, id: ClientId) -> Result<Opened, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let client = client_for(&mut db, id, &staff.who, staff.visitor.now.0).await?;
    let bench = Bench::load(&mut db, &studio.zone).await?;
    let names = Names::load(&mut db).await?;
    Ok(Opened { studio, client, bench, names })
}

async fn visit_form(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    clients::not_restricted(&opened.client)?;
    // Nothing is chosen beforehand: for when she is expected, how long before it a test must be placed hangs on it.
    page(&visit_view(&house, &staff, &opened, &Typed::default()))
}

fn visit_view(house: &House, staff: &Staff, opened: &Opened, typed: &Typed) -> FormPage {
    let kinds = VisitKind::ALL.map(|kind| (kind.word().to_owned(), kind.words().to_owned()));
    let nobody = std::iter::once((String::new(), "nobody chosen yet".to_owned()));
    let says = treats(&staff.who);
    let mut adhesives: Vec<_> = opened.bench.products.values().filter(|product| says && !product.stopped).collect();
    adhesives.sort_by_cached_key(|product| crate::base::text::fold(&product.name));
    let adhesives = adhesives.into_iter().map(|product| (product.id.to_string(), product.name.clone()));
    let mut fields = vec![
        time_field("at", "When", typed.get("at")),
        choice_field("radio", "kind", "For what", typed.get("kind"), kinds),
        choice_field(
            "select",
            "artist",
            "Who treats her",
            typed.get("artist"),
            nobody.chain(opened.names.at_the_bed()),
        ),
        checks_field("product", "Adhesives planned", &typed.all("product"), adhesives)
            .hinted("None chosen: the house adhesive of that day. Each one chosen is judged.")
            .or_empty(),
    ];
    if fields[3].options.is_empty() {
        fields.pop();
    }
    let mut lead = Vec::new();
    if says {
        fields.push(
            checks_field("liquid", "Liquids planned", &typed.all("liquid"), Wet::choices())
                .hinted("Each one chosen is judged. A removal is judged by remover in any case.")
                .or_empty(),
        );
    } else {
        lead.push(
            "Judged by the house adhesive of that day. Another adhesive, and liquids, whoever treats her plans."
                .to_owned(),
        );
    }
    fields.push(kept_field("visit", "Until it is there, nobody else expects her: tell them."));
    FormPage {
        frame: house.frame(&opened.studio, &staff.visitor, Place::Door, format!("Expect {}", opened.client.short)),
        key: new_form_key(),
        action: house.url(&format!("/door/clients/{}/visits", opened.client.id)),
        word: "Visit",
        small: "",
        lead,
        caution: None,
        fields,
        mistakes: Vec::new(),
        button: "Expect her",
        back: (house.url("/door/not-cleared"), "Back to the list"),
    }
}

fn check_visit(typed: &Typed, opened: &Opened, now: Instant) -> Result<Expected, Problem> {
    let mut notes = Notes::default();
    let at = notes.instant("at", typed.get("at"), &opened.studio.zone, (now.plus(-DAY), now.plus(730 * DAY)));
    let kind = notes.choice("kind", VisitKind::from_word(typed.get("kind")));
    let artist = artist_of(&mut notes, typed.get("artist"), &opened.names);
    let products: Vec<Option<ProductId>> = typed.all("product").iter().map(|id| id.parse().ok()).collect();
    let known = products.iter().all(|id| id.is_some_and(|id| opened.bench.products.contains_key(&id)));
    let products = notes.choice("product", known.then(|| products.into_iter().flatten().collect::<Vec<_>>()));
    let liquids = chosen_liquids(&mut notes, typed);
    notes.settle((|| {
        let mut products = products?;
        products.sort_unstable();
        products.dedup();
        Some(Expected {
            id: ExpectedVisitId::new(),
            client: opened.client.id,
            at: at?,
            kind: kind?,
            artist: artist?,
            products,
            liquids: liquids?,
        })
    })())
}

/// Nobody, or one of those who work at the bed.
pub(super) fn artist_of(notes: &mut Notes, typed: &str, names: &Names) -> Option<Option<PersonId>> {
    if typed.is_empty() {
        return Some(None);
    }
    let found = names.at_the_bed().find(|(id, _)| id == typed).and_then(|(id, _)| id.parse().ok());
    notes.choice("artist", found).map(Some)
}

async fn add_visit(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opened = open(&house, &staff, id).await?;
    let plans = |field: &str| form.typed.all(field).iter().any(|chosen| !chosen.is_empty());
    // Tried one after the other, the list would tell which of them a hold is about.
    if !treats(&staff.who) && (plans("product") || plans("liquid")) {
        return Err(Problem::NotYours("Whoever treats her plans adhesive and liquids: the artist or the owner."));
    }
    match check_visit(&form.typed, &opened, staff.visitor.now.0) {
        Ok(expected) => {
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let expected = expected.clone();
                    Box::pin(async move {
                        expect_visit(tx, &expected).await?;
                        Ok(Kept::see("/door/not-cleared"))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(problem) => {
            let notes = notes_of(problem)?;
            let view = visit_view(&house, &staff, &opened, &form.typed).again(&notes, form.key.form);
            page_again(&view)
        }
    }
}

async fn gone(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ExpectedVisitId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    {
        let mut db = house.store.read().await?;
        let visit = visit(&mut db, id).await?.ok_or(Problem::NotHere("visit"))?;
        client_for(&mut db, visit.client, &staff.who, staff.visitor.now.0).await.map_err(|problem| {
            if matches!(problem, Problem::NotHere(_)) { Problem::NotHere("visit") } else { problem }
        })?;
    }
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                no_longer_expected(tx, id).await?;
                Ok(Kept::see("/door/not-cleared"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
