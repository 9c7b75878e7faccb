//! A client's page: her record, what is missing of consultation and consents, who looks after her, her rights. It holds no word of her
//! health: that stands on a page of its own, whose reading is written down.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::consents::{self, Purpose};
use super::consultation::{self, HealthAnswers};
use super::minors::{AgeVerdict, age_on};
use super::names::Names;
use super::settings::ClientSettings;
use super::{Client, Keeper, health_answers, not_restricted, photos, reads_health, seen, store};
use crate::base::actor::Role;
use crate::base::ids::{ClientId, PersonId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{choice_field, done_at};
use crate::web::form::FieldView;
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::page;
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/{client}", show)
        .post("/door/clients/{client}/asked", asked)
        .post("/door/clients/{client}/artists", add_artist)
        .post("/door/clients/{client}/artists/{person}/end", end_artist)
}

struct ConsentRow {
    word: &'static str,
    mark: &'static str,
    state: String,
    /// The newest one, to be read by those who treat.
    read: Option<String>,
    sign: Option<String>,
    withdraw: Option<String>,
}

struct ArtistRow {
    name: String,
    end: Option<String>,
}

#[derive(Template)]
#[template(path = "clients/client.html")]
struct ClientPage {
    frame: Frame,
    key: String,
    path: String,
    restricted: Option<String>,
    lines: Vec<(&'static str, String)>,
    notes: String,
    age: (&'static str, String),
    health: (&'static str, String),
    /// Something to read, and the right to.
    read_health: Option<String>,
    asked: String,
    consents: Vec<ConsentRow>,
    /// For those who treat.
    photos: Option<String>,
    /// Her newest photos: words, and where each is opened.
    newest_photos: Vec<(String, String)>,
    artists: Vec<ArtistRow>,
    artist_field: Option<FieldView>,
    rights: bool,
    /// Where a time for her is booked, and where her treatment cards are.
    book: String,
    cards: String,
}

async fn show(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let mut db = house.store.read().await?;
    let client = seen(&mut db, id, &staff.who).await?;
    let studio = Studio::load(&mut db).await?;
    let names = Names::load(&mut db).await?;
    let ages = ClientSettings::load(&mut db).await?.ages;
    let health = health_answers(&mut db, house.store.keys(), id, now).await?;
    let all = consents::store::of_client(&mut db, id).await?;
    let path = house.url(&format!("/door/clients/{id}"));
    let may_change = client.restricted.is_none();
    let newest_photos =
        if reads_health(&staff.who) { newest_photos(&mut db, &studio, id, &path, now).await? } else { Vec::new() };
    let row = |purpose| consent_row(&studio, &all, purpose, &path, may_change, now);
    let manages = staff.who.role != Role::Artist && may_change;
    page(&ClientPage {
        frame: house.frame(&studio, &staff.visitor, Place::Door, client.name.clone()),
        key: new_form_key(),
        restricted: client.restricted.map(|since| studio.zone.date(since, now)),
        lines: lines(&client, &names, &studio, now),
        notes: client.notes.clone(),
        age: age_words(&client, &studio, ages.judge(client.born, studio.zone.day(now)), now),
        health: health_words(&health, &studio, now),
        read_health: health
            .consultation
            .filter(|_| reads_health(&staff.who))
            .map(|it| format!("{path}/consultations/{it}")),
        asked: health
            .last_asked
            .map(|at| format!("Last asked {}.", studio.zone.date_and_clock(at, now)))
            .unwrap_or_default(),
        consents: Purpose::ALL.into_iter().map(row).collect(),
        newest_photos,
        photos: reads_health(&staff.who).then(|| format!("{path}/photos")),
        artists: artist_rows(&client, &names, &path, manages),
        artist_field: manages.then(|| artist_field(&client, &names)).flatten(),
        rights: super::rights::may_use(&client, &staff.who, &names),
        book: house.url(&format!("/book/new?client={id}")),
        cards: house.url(&format!("/cards/her/{id}")),
        path,
    })
}

/// Photos her page links to at most.
const PHOTOS: usize = 6;

/// Her newest photos whose consent is in force, as links: none is opened before somebody follows one.
async fn newest_photos(
    db: &mut Db,
    studio: &Studio,
    id: ClientId,
    path: &str,
    now: Instant,
) -> Result<Vec<(String, String)>, Problem> {
    let all = photos::store::of_client(db, id).await?;
    let shown = all.into_iter().filter(|photo| photo.withdrawn.is_none()).take(PHOTOS);
    let link = |photo: photos::store::Photo| {
        let words = format!("{}, {}", photo.moment.words(), studio.zone.date_and_clock(photo.at, now));
        (words, format!("{path}/photos/{}", photo.id))
    };
    Ok(shown.map(link).collect())
}

fn lines(client: &Client, names: &Names, studio: &Studio, now: Instant) -> Vec<(&'static str, String)> {
    let or_dash = |text: &str| if text.is_empty() { "not known".to_owned() } else { text.to_owned() };
    let keeper = match client.keeper {
        Keeper::Studio => "the studio".to_owned(),
        Keeper::Artist(id) => names.of(id),
    };
    vec![
        ("Phone", or_dash(&client.phone)),
        ("E-mail", or_dash(&client.email)),
        ("Born", client.born.map_or_else(|| "not known".to_owned(), |born| born.strftime("%-d %b %Y").to_string())),
        ("Keeper", keeper),
        ("On screens others see", client.short.clone()),
        ("Record begun", studio.zone.date(client.created, now)),
    ]
}

fn age_words(client: &Client, studio: &Studio, verdict: AgeVerdict, now: Instant) -> (&'static str, String) {
    let age = client.born.map(|born| age_on(born, studio.zone.day(now))).unwrap_or_default();
    match verdict {
        AgeVerdict::NotKnown => ("unknown", "birth date not known: enter it before a test or a treatment".to_owned()),
        AgeVerdict::Refused => ("stop", format!("{age} today: too young by the studio’s rule")),
        AgeVerdict::WithGuardian => ("near", format!("{age} today: a guardian is present, signs and answers")),
        AgeVerdict::OfAge => ("fit", format!("{age} today: of age by the studio’s rule")),
    }
}

/// Says whether answers are there and hold; nothing of what they say.
pub(super) fn health_words(health: &HealthAnswers, studio: &Studio, now: Instant) -> (&'static str, String) {
    let day = |at: Instant| studio.zone.date(at, now);
    match (health.answered, health.changed) {
        (None, _) => ("unknown", "not asked yet".to_owned()),
        (Some(_), Some(said)) => ("near", format!("something changed on {}: ask the questions again", day(said))),
        (Some(at), None) if health.expired => ("near", format!("answered {}, holds no longer: ask again", day(at))),
        (Some(at), None) => {
            let until = health.expires.map(|until| format!(", hold until {}", day(until))).unwrap_or_default();
            ("fit", format!("answered {}{until}", day(at)))
        }
    }
}

fn consent_row(
    studio: &Studio,
    all: &[consents::given::Consent],
    purpose: Purpose,
    path: &str,
    may_change: bool,
    now: Instant,
) -> ConsentRow {
    let newest = all.iter().find(|consent| consent.purpose == purpose);
    let (mark, state) = match newest {
        None => ("unknown", "not signed".to_owned()),
        Some(consent) => match consent.withdrawn {
            Some(at) => ("stop", format!("withdrawn {}", studio.zone.date(at, now))),
            None => {
                let by = if consent.by_guardian { " with her guardian" } else { "" };
                ("fit", format!("signed {}{by}", studio.zone.date(consent.at, now)))
            }
        },
    };
    let in_force = newest.is_some_and(|consent| consent.withdrawn.is_none());
    let of_newest = |end: &str| newest.map(|consent| format!("{path}/consents/{}{end}", consent.id));
    ConsentRow {
        word: purpose.words(),
        mark,
        state,
        read: of_newest(""),
        sign: (!in_force && may_change).then(|| format!("{path}/sign/{}", purpose.word())),
        // Withdrawing is a right: a restricted record is no bar.
        withdraw: of_newest("/withdraw").filter(|_| in_force),
    }
}

fn artist_rows(client: &Client, names: &Names, path: &str, manages: bool) -> Vec<ArtistRow> {
    let row =
        |id: &PersonId| ArtistRow { name: names.of(*id), end: manages.then(|| format!("{path}/artists/{id}/end")) };
    client.artists.iter().map(row).collect()
}

fn artist_field(client: &Client, names: &Names) -> Option<FieldView> {
    let free = |id: &PersonId| !client.artists.contains(id) && client.keeper != Keeper::Artist(*id);
    let others: Vec<_> = names.artists().filter(|(id, _)| free(id)).map(|(id, name)| (id.to_string(), name)).collect();
    let first = others.first()?.0.clone();
    Some(choice_field("select", "artist", "Another artist", &first, others))
}

#[derive(Deserialize)]
struct TypedAsked {
    changed: String,
    /// When the button was pressed, as the device wrote it: see `done_at`.
    #[serde(default)]
    done: String,
}

async fn asked(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedAsked>,
) -> Result<Response, Problem> {
    let changed = match form.typed.changed.as_str() {
        "something" => consultation::store::Changed::Something,
        "nothing" => consultation::store::Changed::Nothing,
        _ => return Err(Problem::Unreadable("The answer could not be read.".into())),
    };
    let (who, now) = (staff.who.clone(), staff.visitor.now.0);
    let at = done_at(&form.typed.done, now).min(now);
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                let client = seen(tx.db(), id, &who).await?;
                not_restricted(&client)?;
                consultation::store::asked(tx, id, who.id, changed, at).await?;
                // What changed is asked at once, while she is there.
                let end = if changed == consultation::store::Changed::Something { "/consultation" } else { "" };
                Ok(Kept::see(format!("/door/clients/{id}{end}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

#[derive(Deserialize)]
struct TypedArtist {
    artist: String,
}

async fn add_artist(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedArtist>,
) -> Result<Response, Problem> {
    let artist: PersonId = form.typed.artist.parse().map_err(|_| Problem::NotHere("artist"))?;
    let who = staff.who.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                let client = seen(tx.db(), id, &who).await?;
                manages(&who)?;
                not_restricted(&client)?;
                let names = Names::load(tx.db()).await?;
                names.artists().find(|(known, _)| *known == artist).ok_or(Problem::NotHere("artist"))?;
                store::look_after(tx, id, artist).await?;
                tx.audit("let look after client", id, &artist.to_string()).await?;
                Ok(Kept::see(format!("/door/clients/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn manages(who: &crate::base::actor::Who) -> Result<(), Problem> {
    if who.role == Role::Artist {
        return Err(Problem::NotYours("The desk or the owner says who looks after a client."));
    }
    Ok(())
}

async fn end_artist(
    staff: Staff,
    State(house): State<House>,
    At((id, artist)): At<(ClientId, PersonId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let who = staff.who.clone();
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let who = who.clone();
            Box::pin(async move {
                let client = seen(tx.db(), id, &who).await?;
                manages(&who)?;
                if !client.artists.contains(&artist) {
                    return Err(Problem::NotHere("artist"));
                }
                store::look_after_no_more(tx, id, artist).await?;
                tx.audit("end looking after client", id, &artist.to_string()).await?;
                Ok(Kept::see(format!("/door/clients/{id}")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}
