//! A client's record is begun and changed.

use askama::Template;
use axum::extract::{Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use jiff::civil::Date;
use serde::Deserialize;

use super::birth::TypedBirth;
use super::list_page::{ClientRow, row};
use super::names::Names;
use super::rights_store::recognise;
use super::{Client, Keeper, pairs, rights, seen, short_name, store};
use crate::base::actor::{Role, Who};
use crate::base::ids::ClientId;
use crate::base::problem::{FieldNote, Problem};
use crate::base::text;
use crate::base::time::Instant;
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/door/clients/new", new_page)
        .post("/door/clients", add)
        .get("/door/clients/{client}/edit", edit_page)
        .post("/door/clients/{client}/edit", change)
}

// Fields that a page leaves out, and ticks that are not set, are not sent.
#[derive(Deserialize, Default, Clone)]
#[serde(default)]
struct TypedClient {
    name: String,
    phone: String,
    email: String,
    born_day: String,
    born_month: String,
    born_year: String,
    keeper: String,
    notes: String,
    /// "yes": somebody looked at those alike and says that this is another person.
    another: String,
    /// Where the desk was going when it found that she is not on record: "walk-in" or "visits/new".
    then: String,
    /// Names the record as the page showed it: what somebody else changed meanwhile is not undone unseen.
    shown: String,
}

#[derive(Template)]
#[template(path = "clients/form.html")]
struct ClientForm {
    frame: Frame,
    key: String,
    action: String,
    back: String,
    reach: Vec<FieldView>,
    born: [FieldView; 3],
    more: Vec<FieldView>,
    /// Records that look like this one, and the tick that says they are not.
    alike: Vec<ClientRow>,
    another: FieldView,
    then: String,
    shown: String,
    mistakes: Vec<Mistake>,
    button: &'static str,
}

const STUDIO: &str = "studio";

impl TypedClient {
    fn of(client: &Client) -> Self {
        let born = TypedBirth::of(client.born);
        Self {
            name: client.name.clone(),
            phone: client.phone.clone(),
            email: client.email.clone(),
            born_day: born.day,
            born_month: born.month,
            born_year: born.year,
            keeper: keeper_word(client.keeper),
            notes: client.notes.clone(),
            another: String::new(),
            then: String::new(),
            shown: String::new(),
        }
    }

    fn birth(&self) -> TypedBirth {
        TypedBirth { day: self.born_day.clone(), month: self.born_month.clone(), year: self.born_year.clone() }
    }

    /// `before` is the record as it was; without the right to change the keeper it stays what it was.
    fn check(&self, id: ClientId, about: &About, before: Option<&Client>) -> Result<Client, Problem> {
        let mut notes = Notes::default();
        let name = notes.line("name", &self.name, 120);
        let phone = check_phone(&mut notes, &self.phone);
        let email = check_email(&mut notes, &self.email);
        let born = self.birth().check(&mut notes, about.today);
        let kept = text::paragraphs(&self.notes, 4000).map_err(|bad| notes.add("notes", bad.to_string())).ok();
        let keeper = match before {
            Some(before) if !about.may_change_keeper => Some(before.keeper),
            _ => {
                let offered = about.keepers.iter().find(|(word, _)| *word == self.keeper);
                notes.choice("keeper", offered.and_then(|(word, _)| keeper_from(word)))
            }
        };
        let client = (|| {
            let name = name?;
            Some(Client {
                id,
                short: short_name(&name),
                name,
                phone: phone?,
                email: email?,
                born: born?,
                keeper: keeper?,
                artists: Vec::new(),
                notes: kept?,
                created: about.now,
                restricted: None,
                merged_into: None,
                erased: None,
            })
        })();
        notes.settle(client)
    }
}

fn keeper_word(keeper: Keeper) -> String {
    store::keeper_id(keeper).unwrap_or_else(|| STUDIO.to_owned())
}

fn keeper_from(word: &str) -> Option<Keeper> {
    if word == STUDIO { Some(Keeper::Studio) } else { word.parse().ok().map(Keeper::Artist) }
}

/// A number may stay empty; what is typed must hold digits enough for one.
pub(super) fn check_phone(notes: &mut Notes, typed: &str) -> Option<String> {
    if typed.trim().is_empty() {
        return Some(String::new());
    }
    let line = notes.line("phone", typed, 40)?;
    let digits = line.chars().filter(char::is_ascii_digit).count();
    if (6..=20).contains(&digits) && line.chars().all(|c| c.is_ascii_digit() || " +-/().".contains(c)) {
        return Some(line);
    }
    notes.add("phone", "Type a number of 6 to 20 digits; spaces and + - / ( ) are read.");
    None
}

/// An address may stay empty; what is typed must have one @ with something on both sides.
pub(super) fn check_email(notes: &mut Notes, typed: &str) -> Option<String> {
    if typed.trim().is_empty() {
        return Some(String::new());
    }
    let line = notes.line("email", typed, 200)?;
    let whole = line.split_once('@').is_some_and(|(name, host)| {
        !name.is_empty() && host.contains('.') && !host.contains('@') && !host.starts_with('.') && !host.ends_with('.')
    });
    if whole && !line.contains(char::is_whitespace) {
        return Some(line);
    }
    notes.add("email", "Type an address such as ada@example.org.");
    None
}

/// What the form needs to know besides what was typed.
struct About {
    studio: Studio,
    today: Date,
    now: Instant,
    /// The keepers offered: word and name.
    keepers: Vec<(String, String)>,
    may_change_keeper: bool,
}

impl About {
    /// An artist begins records of the studio and of her own. Whose client she is changes only who answers for the record now: the keeper
    /// may export and erase it, so nobody makes herself the keeper of another's.
    async fn load(house: &House, who: &Who, now: Instant, before: Option<&Client>) -> Result<Self, Problem> {
        let mut db = house.store.read().await?;
        let studio = Studio::load(&mut db).await?;
        let names = Names::load(&mut db).await?;
        let own = |id: &crate::base::ids::PersonId| who.role != Role::Artist || *id == who.id;
        let may_change_keeper = before.is_none_or(|client| rights::may_use(client, who, &names));
        let artists = names.artists().filter(|(id, _)| own(id)).map(|(id, name)| (id.to_string(), name));
        Ok(Self {
            today: studio.zone.day(now),
            studio,
            now,
            keepers: std::iter::once((STUDIO.to_owned(), "the studio".to_owned())).chain(artists).collect(),
            may_change_keeper,
        })
    }
}

/// What may have come back: mistakes, and records alike that somebody must look at first.
#[derive(Default)]
struct Again<'a> {
    notes: &'a [FieldNote],
    alike: Vec<ClientRow>,
    shown: String,
}

fn view(
    house: &House,
    staff: &Staff,
    about: &About,
    typed: &TypedClient,
    again: Again<'_>,
    (title, action, back, button): (String, String, String, &'static str),
    key: String,
) -> ClientForm {
    let mut reach = vec![
        FieldView { autocomplete: "off", ..text_field("name", "Name", &typed.name) }
            .hinted("As she would sign it: first name first."),
        FieldView { inputmode: "tel", ..text_field("phone", "Phone", &typed.phone) }.or_empty(),
        FieldView { inputmode: "email", ..text_field("email", "E-mail", &typed.email) }.or_empty(),
    ];
    let mut born = typed.birth().fields();
    let mut more = Vec::new();
    if about.may_change_keeper {
        let keepers = about.keepers.iter().cloned();
        more.push(
            choice_field("select", "keeper", "Whose client she is", &typed.keeper, keepers)
                .hinted("The studio’s, or a self-employed artist’s: the keeper answers for the record, and may export and erase it."),
        );
    }
    more.push(
        FieldView { kind: "textarea", ..text_field("notes", "Notes", &typed.notes) }
            .hinted(
                "No health here: allergies, medicines and reactions belong to the consultation, which is kept locked.",
            )
            .or_empty(),
    );
    for fields in [&mut reach[..], &mut born[..], &mut more[..]] {
        note_fields(fields, again.notes);
    }
    let another = FieldView {
        name: "another",
        label: "I looked: this is another person".to_owned(),
        kind: "check",
        value: typed.another.clone(),
        optional: true,
        ..FieldView::default()
    };
    ClientForm {
        frame: house.frame(&about.studio, &staff.visitor, Place::Door, title),
        key,
        action: house.url(&action),
        back: house.url(&back),
        mistakes: mistakes(reach.iter().chain(&born).chain(&more)),
        reach,
        born,
        more,
        alike: again.alike,
        another,
        then: typed.then.clone(),
        shown: again.shown,
        button,
    }
}

/// Names what a page showed of a record.
fn shown(house: &House, client: &Client) -> String {
    let born = client.born.map(|born| born.to_string()).unwrap_or_default();
    let keeper = keeper_word(client.keeper);
    let parts = [&client.name, &client.phone, &client.email, &born, &keeper, &client.notes];
    house.store.keys().digest("client as shown", &parts.map(String::as_bytes))
}

/// What the record holds now where it differs from what was typed, beside its field.
fn changed_meanwhile(client: &Client, typed: &TypedClient) -> Vec<FieldNote> {
    let now = TypedClient::of(client);
    let born = |of: &TypedClient| [of.born_day.clone(), of.born_month.clone(), of.born_year.clone()].join(" ");
    let fields = [
        ("name", now.name.clone(), typed.name.clone()),
        ("phone", now.phone.clone(), typed.phone.clone()),
        ("email", now.email.clone(), typed.email.clone()),
        ("born_day", born(&now), born(typed)),
        ("notes", now.notes.clone(), typed.notes.clone()),
    ];
    let mut notes: Vec<FieldNote> = fields
        .into_iter()
        .filter(|(_, now, typed)| now.trim() != typed.trim())
        .map(|(field, now, _)| {
            let now = if now.trim().is_empty() { "nothing".to_owned() } else { format!("“{}”", now.trim()) };
            FieldNote {
                field: field.into(),
                sentence: format!(
                    "The record was changed while this page was open and now holds {now}. Look, and keep what is right."
                ),
            }
        })
        .collect();
    if notes.is_empty() {
        notes.push(FieldNote {
            field: "name".into(),
            sentence: "The record was changed while this page was open. Look, and keep it again.".to_owned(),
        });
    }
    notes
}

fn for_new() -> (String, String, String, &'static str) {
    ("A new client".into(), "/door/clients".into(), "/door/clients".into(), "Keep the client")
}

/// What follows once she is on record.
#[derive(Deserialize, Default)]
#[serde(default)]
struct Then {
    then: String,
}

/// The page of a new client to go on to: hers, or what the desk was about to do with her.
fn next_page(client: &Client, then: &str) -> String {
    match then {
        "walk-in" | "visits/new" => format!("/door/clients/{}/{then}", client.id),
        _ => format!("/door/clients/{}", client.id),
    }
}

async fn new_page(staff: Staff, State(house): State<House>, Query(asked): Query<Then>) -> Result<Response, Problem> {
    let about = About::load(&house, &staff.who, staff.visitor.now.0, None).await?;
    let typed = TypedClient { keeper: STUDIO.to_owned(), then: asked.then, ..TypedClient::default() };
    page(&view(&house, &staff, &about, &typed, Again::default(), for_new(), new_form_key()))
}

async fn add(staff: Staff, State(house): State<House>, form: Form<TypedClient>) -> Result<Response, Problem> {
    let about = About::load(&house, &staff.who, staff.visitor.now.0, None).await?;
    let key = form.key.form.clone().unwrap_or_default();
    let again = |again| {
        page_with(
            StatusCode::UNPROCESSABLE_ENTITY,
            &view(&house, &staff, &about, &form.typed, again, for_new(), key.clone()),
        )
    };
    let mut client = match form.typed.check(ClientId::new(), &about, None) {
        Ok(client) => client,
        Err(Problem::Mistakes(notes)) => return again(Again { notes: &notes, ..Again::default() }),
        Err(other) => return Err(other),
    };
    if form.typed.another != "yes" {
        let mut db = house.store.read().await?;
        let alike = pairs::alike(&mut db, &client, &staff.who).await?;
        if !alike.is_empty() {
            let alike = alike.iter().map(|(other, _)| row(&house, other)).collect();
            return again(Again { alike, ..Again::default() });
        }
    }
    if staff.who.role == Role::Artist && client.keeper == Keeper::Studio {
        client.artists.push(staff.who.id);
    }
    let (inner, next) = (house.clone(), next_page(&client, &form.typed.then));
    let kept = house
        .store
        .write(&form.key, move |tx| {
            let (client, house, next) = (client.clone(), inner.clone(), next.clone());
            Box::pin(async move {
                store::add(tx, &client).await?;
                recognise(tx, house.store.keys(), &client).await?;
                Ok(Kept::see(next))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

fn for_change(client: &Client) -> (String, String, String, &'static str) {
    let path = format!("/door/clients/{}", client.id);
    (format!("{}: her record", client.name), format!("{path}/edit"), path, "Keep the changes")
}

async fn edit_page(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let client = {
        let mut db = house.store.read().await?;
        seen(&mut db, id, &staff.who).await?
    };
    let about = About::load(&house, &staff.who, staff.visitor.now.0, Some(&client)).await?;
    let typed = TypedClient::of(&client);
    let again = Again { shown: shown(&house, &client), ..Again::default() };
    page(&view(&house, &staff, &about, &typed, again, for_change(&client), new_form_key()))
}

async fn change(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<TypedClient>,
) -> Result<Response, Problem> {
    let client = {
        let mut db = house.store.read().await?;
        seen(&mut db, id, &staff.who).await?
    };
    super::not_restricted(&client)?;
    let about = About::load(&house, &staff.who, staff.visitor.now.0, Some(&client)).await?;
    let now_shown = shown(&house, &client);
    let checked = form.typed.check(id, &about, Some(&client));
    let checked = checked.and_then(|changed| {
        if form.typed.shown == now_shown {
            Ok(changed)
        } else {
            Err(Problem::Mistakes(changed_meanwhile(&client, &form.typed)))
        }
    });
    match checked {
        Ok(changed) => {
            let (who, inner, was) = (staff.who.clone(), house.clone(), form.typed.shown.clone());
            let kept = house
                .store
                .write(&form.key, move |tx| {
                    let (changed, who, house, was) = (changed.clone(), who.clone(), inner.clone(), was.clone());
                    Box::pin(async move {
                        let before = seen(tx.db(), id, &who).await?;
                        super::not_restricted(&before)?;
                        if shown(&house, &before) != was {
                            return Err(Problem::Clash(
                                "Somebody else changed this record at the same moment; your changes were not kept."
                                    .to_owned(),
                                "Open it again, look, and make them anew.".to_owned(),
                            ));
                        }
                        store::change(tx, &before, &changed).await?;
                        recognise(tx, house.store.keys(), &changed).await?;
                        Ok(Kept::see(format!("/door/clients/{id}")))
                    })
                })
                .await?;
            Ok(answer(&house, &kept))
        }
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.form.clone().unwrap_or_default();
            let again = Again { notes: &notes, shown: now_shown, ..Again::default() };
            let view = view(&house, &staff, &about, &form.typed, again, for_change(&client), key);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
        Err(other) => Err(other),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_and_addresses_may_be_missing_but_not_broken() {
        let phone = |typed: &str| check_phone(&mut Notes::default(), typed);
        assert_eq!(phone(" "), Some(String::new()));
        assert_eq!(phone("+45 (20) 30-40/50"), Some("+45 (20) 30-40/50".to_owned()));
        assert_eq!((phone("12345"), phone("call Ada"), phone("20304050 x2")), (None, None, None));
        let email = |typed: &str| check_email(&mut Notes::default(), typed);
        assert_eq!(email("ada@example.org"), Some("ada@example.org".to_owned()));
        for wrong in ["ada", "ada@", "@example.org", "ada@example", "a da@example.org", "a@b@c.org", "ada@.org"] {
            assert_eq!(email(wrong), None, "{wrong}");
        }
    }
}
