//! Opening a card: what was advised and what the air is, how she stands, whether anything changed, what was looked at, what is taken.

use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;

use super::card::{Aftercare, Card, CardStart, Lids, Remover, START, has_adhesive, is_removal, kinds};
use super::open_store::{self, MEDICAL_FIRST};
use super::seen::{Around, must_treat};
use super::store;
use crate::adhesives::{self, Bead, Liquid, Liquids, OnShelf};
use crate::advice::store::{self as advice, Advised};
use crate::artists::{Artist, Style};
use crate::base::actor::{Role, Who};
use crate::base::ids::{AppointmentId, BottleId, CardId, ClientId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::text::{capital, lot};
use crate::base::time::{DAY, Instant};
use crate::book::{self, Appointment, VisitKind};
use crate::clearance::typed::{
    Caution, DONE, FormPage, MoreNotes as _, NOT_CHECKED, Typed, checks_field, done_field, kept_field, notes_of,
    tick_field, time_field, wall,
};
use crate::clearance::{self, ForHer, NotToday};
use crate::clients::{self, Client};
use crate::rooms::{RoomSettings, asked};
use crate::store::{Db, Kept};
use crate::web::House;
use crate::web::checks::{Notes, choice_field, done_at, number_field, text_field};
use crate::web::form::FieldView;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_with};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/cards/of/{appointment}", of_page)
        .post("/cards/of/{appointment}", open_of)
        .get("/cards/for/{client}", for_page)
        .post("/cards/for/{client}", open_for)
}

/// How far back a sheet of paper may be entered.
const PAPER_DAYS: i64 = 60;

/// Everything the form needs.
struct Opening {
    around: Around,
    client: Client,
    appointment: Option<Appointment>,
    kind: VisitKind,
    /// Artists this person may open a card for, herself first.
    artists: Vec<Artist>,
    shelf: Vec<OnShelf>,
    her: ForHer,
    held: bool,
    advised: Option<Advised>,
    room: String,
    air: String,
    earlier: Vec<Card>,
    path: String,
}

async fn of_appointment(house: &House, who: &Who, id: AppointmentId, now: Instant) -> Result<Opening, Problem> {
    must_treat(who)?;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let mine = |appointment: &Appointment| {
        who.role == Role::Owner || around.own(who).is_some_and(|own| own.id == appointment.artist)
    };
    let appointment = book::appointment(&mut db, id).await?.filter(mine).ok_or(Problem::NotHere("appointment"))?;
    if appointment.state != book::State::Booked {
        return Err(Problem::Clash(
            "This appointment was called off, or nobody came.".to_owned(),
            "Let it hold again first, on its page in the book.".to_owned(),
        ));
    }
    let Some(client) = appointment.booked.client else {
        return Err(Problem::Clash(
            "No record is chosen for this appointment, so nothing is known of her clearance.".to_owned(),
            "Move it to choose her record, or begin one under Door first.".to_owned(),
        ));
    };
    let client = clients::client(&mut db, client).await?.filter(Client::is_in_use).ok_or(Problem::NotHere("client"))?;
    let services = book::services(&mut db).await?;
    let kind = services.iter().find(|service| service.id == appointment.service).map(|service| service.kind);
    let kind = kind.filter(|kind| kinds().any(|own| own == *kind)).ok_or_else(|| {
        Problem::Clash(
            "A patch test or a talk has no card.".to_owned(),
            "Place the test on her clearance page.".to_owned(),
        )
    })?;
    let beds = book::beds(&mut db).await?;
    let room = beds.iter().find(|bed| Some(bed.id) == appointment.bed).map(|bed| bed.room.to_string());
    let artists = around.artists.iter().filter(|artist| artist.id == appointment.artist).cloned().collect();
    let path = format!("/cards/of/{id}");
    opening(house, &mut db, who, (around, client, artists), (Some(appointment), kind, room, path), now).await
}

async fn of_client(house: &House, who: &Who, id: ClientId, now: Instant) -> Result<Opening, Problem> {
    must_treat(who)?;
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let client = clients::seen(&mut db, id, who).await?;
    let own = around.own(who).map(|artist| artist.id);
    let mut artists: Vec<Artist> =
        around.artists.iter().filter(|artist| who.role == Role::Owner || Some(artist.id) == own).cloned().collect();
    artists.sort_by_key(|artist| Some(artist.id) != own);
    let path = format!("/cards/for/{id}");
    opening(house, &mut db, who, (around, client, artists), (None, VisitKind::FullSet, None, path), now).await
}

async fn opening(
    house: &House,
    db: &mut Db,
    who: &Who,
    (around, client, artists): (Around, Client, Vec<Artist>),
    (appointment, kind, room, path): (Option<Appointment>, VisitKind, Option<String>, String),
    now: Instant,
) -> Result<Opening, Problem> {
    clients::not_restricted(&client)?;
    let zone = &around.studio.zone;
    let shelf = adhesives::shelf(db, None, now).await?;
    let ids: Vec<BottleId> = shelf.iter().map(|bottle| bottle.bottle).collect();
    let her = clearance::for_advice(db, house.store.keys(), client.id, who, &ids, now).await?;
    let held = open_store::is_held(&her, &ids);
    let advised = match artists.first() {
        Some(artist) => advice::newest_taken(db, artist.id, zone.start_of_day_before(now, 0)).await?,
        None => None,
    };
    let room = match (room, &advised) {
        (Some(room), _) => room,
        (None, Some(advised)) => advised.taken.room.to_string(),
        (None, None) => {
            let works = advice::works_in(db, zone.start_of_day_before(now, 0)).await?;
            let own = works.iter().find(|works| works.person == who.id).map(|works| works.room);
            let first = around.rooms.iter().find(|room| room.closed.is_none()).map(|room| room.id);
            own.or(first).map(|room| room.to_string()).unwrap_or_default()
        }
    };
    let settings = RoomSettings::load(db).await?;
    let air = match room.parse() {
        Ok(id) => asked::air_then(db, id, &settings, now).await?,
        Err(_) => None,
    };
    let studio = &around.studio;
    let air = air.map_or_else(
        || "The air has not been read within the hour: enter a reading first if you can.".to_owned(),
        |air| {
            format!(
                "Air now: {}\u{a0}{}, {}\u{a0}%RH.",
                studio.temperature(air.measured.temperature),
                studio.temperature_unit(),
                studio.number(air.measured.humidity.humidity.get(), 0)
            )
        },
    );
    let earlier = store::of_client(db, client.id).await?.into_iter().filter(|card| card.closed.is_some()).collect();
    Ok(Opening { around, client, appointment, kind, artists, shelf, her, held, advised, room, air, earlier, path })
}

impl Opening {
    /// The form as it begins.
    fn fresh(&self, now: Instant) -> Typed {
        let kind = if self.held && !is_removal(self.kind) { VisitKind::Removal } else { self.kind };
        let artist = self.artists.first();
        let taken = self.advised.as_ref().map(|advised| &advised.taken);
        let in_use = self
            .shelf
            .iter()
            .find(|bottle| bottle.in_use && bottle.room.map(|id| id.to_string()) == Some(self.room.clone()));
        // What is not for her today is never chosen before she chooses: it would only be refused.
        let may_be_used = |id: &BottleId| {
            self.shelf.iter().any(|own| own.bottle == *id && own.out.is_none())
                && !self.her.bottles.iter().any(|(other, _)| other == id)
        };
        let bottle = taken.map(|taken| taken.bottle).or(in_use.map(|bottle| bottle.bottle)).filter(may_be_used);
        let style = taken.map(|taken| taken.style.clone());
        let style = style.or_else(|| artist.and_then(Artist::opens_on).map(|style| style.key()));
        let mut pairs = vec![
            ("artist", artist.map(|artist| artist.id.to_string()).unwrap_or_default()),
            ("room", self.room.clone()),
            ("kind", kind.word().to_owned()),
            ("lids", Lids::Upper.word().to_owned()),
            ("bottle", bottle.map(|id| id.to_string()).unwrap_or_default()),
            ("bead", taken.map_or(Bead::Medium, |taken| taken.work.bead()).word().to_owned()),
            ("technique", style.unwrap_or_default()),
            (
                "begun",
                wall(
                    &self.around.studio.zone,
                    self.appointment.as_ref().map_or(now, |own| own.when.visit.from).min(now),
                ),
            ),
        ];
        for liquid in taken.map_or(Liquids::NONE, |taken| taken.work.liquids()).iter() {
            pairs.push(("liquids", liquid.key().to_owned()));
        }
        Typed::of(pairs)
    }

    fn lead(&self, now: Instant) -> Vec<String> {
        let zone = &self.around.studio.zone;
        let mut lead = vec![format!("{}: {}.", self.her.short, self.her.words), self.air.clone()];
        lead.push(match &self.advised {
            Some(advised) => {
                let taken = &advised.taken;
                let bottle = self
                    .shelf
                    .iter()
                    .find(|own| own.bottle == taken.bottle)
                    .map_or("a bottle that is finished", |own| own.name.as_str());
                let class = if advised.class.is_empty() { String::new() } else { format!("class {}; ", advised.class) };
                format!(
                    "Advice no.\u{a0}{} of {}: {class}{bottle} was taken, {} bead.",
                    taken.number,
                    zone.date_and_clock(taken.at, now),
                    taken.work.bead().word()
                )
            }
            None => "No advice was taken today: open the room’s advice first if you want one.".to_owned(),
        });
        lead
    }

    fn fields(&self, typed: &Typed) -> Vec<FieldView> {
        let get = |name| typed.get(name);
        // What has happened already is entered whatever it was.
        let only_removals = self.held && !typed.is_ticked("paper");
        let open_kinds = kinds().filter(|kind| !only_removals || is_removal(*kind));
        let mut fields = vec![
            choice_field(
                "radio",
                "changed",
                "Has anything changed since she answered?",
                get("changed"),
                [("no", "nothing has"), ("yes", "something has")].map(own),
            ),
            tick_field(
                "start",
                &format!("Looked at: {}", START.map(|(_, words)| words).join("; ")),
                typed.is_ticked("start"),
            ),
        ];
        if self.artists.len() > 1 {
            let artists = self.artists.iter().map(|artist| (artist.id.to_string(), artist.name.clone()));
            fields.push(choice_field("select", "artist", "Artist", get("artist"), artists));
        }
        let rooms = self.around.rooms.iter().filter(|room| room.closed.is_none());
        let rooms = rooms.map(|room| (room.id.to_string(), room.name.clone()));
        fields.extend([
            choice_field(
                "select",
                "kind",
                "Visit",
                get("kind"),
                open_kinds.map(|kind| (kind.word().to_owned(), kind.words().to_owned())),
            ),
            choice_field("radio", "lids", "Lids", get("lids"), Lids::choices()),
            choice_field("select", "room", "Room", get("room"), rooms),
        ]);
        if !only_removals {
            fields.extend(self.work_fields(typed));
        }
        fields.extend([
            text_field("remover", "Remover, for a removal", get("remover")).or_empty(),
            text_field("remover_lot", "Its lot", get("remover_lot")).or_empty(),
            number_field("minutes", "Minutes it stays on", get("minutes")).or_empty(),
        ]);
        if self.artists.iter().any(|artist| artist.trainee) {
            let except = self.artists.first().map_or(crate::base::ids::PersonId::new(), |artist| artist.person);
            let none = std::iter::once((String::new(), "nobody yet".to_owned()));
            fields.push(choice_field(
                "select",
                "supervisor",
                "Supervisor present, for a trainee",
                get("supervisor"),
                none.chain(self.around.beside(except)),
            ));
        }
        if !self.earlier.is_empty() {
            let zone = &self.around.studio.zone;
            let card =
                |card: &Card| (card.id.to_string(), format!("the {} of {}", card.kind.words(), zone.day(card.begun)));
            let none = std::iter::once((String::new(), "no: a visit of its own".to_owned()));
            fields.push(choice_field(
                "select",
                "first_card",
                "A fix at no charge of",
                get("first_card"),
                none.chain(self.earlier.iter().take(8).map(card)),
            ));
        }
        let people = self.around.people.iter().filter(|person| matches!(person.role, Role::Artist | Role::Owner));
        let none = std::iter::once((String::new(), "choose who wrote it".to_owned()));
        let people = none.chain(people.map(|person| (person.id.to_string(), person.name.clone())));
        if self.held && !only_removals {
            fields.push(FieldView { kind: "hidden", ..text_field("every_kind", "", "yes") });
        }
        fields.extend([
            tick_field("paper", "From paper: this has happened already", typed.is_ticked("paper")),
            time_field("begun", "Begun, for a sheet of paper", get("begun")).or_empty(),
            choice_field("select", "writer", "Who wrote the sheet", get("writer"), people).or_empty(),
            kept_field("card", NOT_CHECKED),
            done_field(),
        ]);
        fields
    }

    fn work_fields(&self, typed: &Typed) -> Vec<FieldView> {
        let get = |name| typed.get(name);
        let none = std::iter::once((String::new(), "no adhesive".to_owned()));
        let bottles = self.shelf.iter().map(|bottle| {
            let refused = self.her.bottles.iter().find(|(id, _)| *id == bottle.bottle).map(|(_, why)| why.words());
            let why = bottle.out.map(adhesives::Out::words).or(refused);
            let words =
                why.map_or_else(|| bottle.name.clone(), |why| format!("{} – not for today: {why}", bottle.name));
            (bottle.bottle.to_string(), words)
        });
        let styles = self.artists.iter().flat_map(|artist| &artist.styles);
        let mut seen: Vec<Style> = Vec::new();
        for style in styles {
            if !seen.contains(style) {
                seen.push(*style);
            }
        }
        let no_style = std::iter::once((String::new(), "none of these".to_owned()));
        let styles = no_style.chain(seen.into_iter().map(|style| (style.key(), style.words())));
        let beads = Bead::ALL.map(|bead| (bead.word().to_owned(), bead.word().to_owned()));
        let liquids = Liquid::ALL.map(|liquid| (liquid.key().to_owned(), liquid.words().to_owned()));
        vec![
            choice_field("select", "bottle", "Bottle taken", get("bottle"), none.chain(bottles)),
            choice_field("radio", "bead", "Bead", get("bead"), beads),
            checks_field("liquids", "Liquids", &typed.all("liquids"), liquids).or_empty(),
            choice_field("select", "technique", "Technique", get("technique"), styles),
        ]
    }

    fn check(&self, typed: &Typed, who: &Who, now: Instant) -> Result<CardStart, Problem> {
        let mut notes = Notes::default();
        let get = |name| typed.get(name);
        let paper = typed.is_ticked("paper");
        let artist = match self.artists.as_slice() {
            [only] => Some(only),
            many => notes.choice("artist", many.iter().find(|artist| artist.id.to_string() == get("artist"))),
        };
        match get("changed") {
            "no" => {}
            "yes" => notes.add("changed", "Ask her the consultation again first: on her page, under Consultation."),
            _ if paper => {}
            _ => notes.add("changed", "Ask her, and choose one of these."),
        }
        if !typed.is_ticked("start") && !paper {
            notes.add("start", "Look at each of these before the first lash, then tick it.");
        }
        let kind = notes.choice("kind", kinds().find(|kind| kind.word() == get("kind")));
        if self.held && paper && typed.get("every_kind").is_empty() {
            notes.add("paper", "For a sheet of paper the form offers every visit now: look at it once more.");
        }
        if self.held && !paper && kind.is_some_and(|kind| !is_removal(kind)) {
            notes.add("kind", "Only a removal card can be opened for her now.");
        }
        let lids = notes.choice("lids", Lids::from_word(get("lids")));
        let rooms = self.around.rooms.iter().filter(|room| room.closed.is_none());
        let room = notes.choice("room", rooms.map(|room| room.id).find(|id| id.to_string() == get("room")));
        let adhesive = kind.is_some_and(has_adhesive) && (!self.held || paper);
        let bottle = self.shelf.iter().find(|own| adhesive && own.bottle.to_string() == get("bottle"));
        if adhesive && bottle.is_none() {
            notes.add("bottle", "Choose the bottle you take.");
        }
        let bead = Bead::from_word(get("bead"));
        let bead = if adhesive { notes.choice("bead", bead) } else { Some(Bead::Medium) };
        let style = Style::parse(get("technique")).filter(|_| adhesive);
        let liquids: Liquids = typed
            .all("liquids")
            .iter()
            .filter_map(|key| Liquid::ALL.into_iter().find(|own| own.key() == *key))
            .collect();
        let removal = kind.is_some_and(is_removal);
        let remover = self.check_remover(&mut notes, typed, removal);
        let supervisor = artist.and_then(|artist| self.check_supervisor(&mut notes, artist, get("supervisor")));
        let first_card = self.earlier.iter().map(|card| card.id).find(|id| id.to_string() == get("first_card"));
        let zone = &self.around.studio.zone;
        let begun = if paper {
            notes.instant("begun", get("begun"), zone, (now.plus(-PAPER_DAYS * DAY), now))
        } else {
            // When the button was pressed, also where the form waited on a device since.
            Some(done_at(get(DONE), now).min(now))
        };
        let people = self.around.people.iter().map(|person| person.id);
        let writer = people.clone().find(|id| id.to_string() == get("writer"));
        let writer = if paper { notes.choice("writer", writer).map(Some) } else { Some(None) };
        let taken = self.advised.as_ref().filter(|own| !paper && begun.is_some_and(|at| own.taken.at <= at));
        let card = (|| {
            Some(Card {
                id: CardId::new(),
                appointment: self.appointment.as_ref().map(|own| own.id),
                client: self.client.id,
                artist: artist?.id,
                room: room?,
                kind: kind?,
                lids: lids?,
                begun: begun?,
                closed: None,
                paper: writer?,
                entered: (now, format!("person:{}", who.id)),
                clearance: String::new(),
                air: None,
                advice: taken.map(|advised| advised.id),
                advised_class: taken.map(|advised| advised.class.clone()).unwrap_or_default(),
                advised_bottle: taken.map(|advised| advised.taken.bottle),
                bottle: bottle.map(|own| own.bottle),
                lot: String::new(),
                bead: bead?,
                liquids,
                style,
                supervisor: supervisor?,
                elsewhere: false,
                first_card,
                remover: remover?,
                next_visit: String::new(),
                aftercare: Aftercare::NotGiven,
                hygiene: Vec::new(),
                version: 1,
            })
        })();
        let card = notes.settle(card)?;
        Ok(CardStart { card, steps: self.around.settings.steps_of_a_card() })
    }

    #[expect(clippy::unused_self, reason = "one of the checks of this form")]
    fn check_remover(&self, notes: &mut Notes, typed: &Typed, removal: bool) -> Option<Remover> {
        if !removal {
            return Some(Remover::default());
        }
        let product = notes.line("remover", typed.get("remover"), 80);
        let minutes = notes.optional_number("minutes", typed.get("minutes"), (0.0, 600.0), "min");
        #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 600")]
        let minutes = minutes?.map(|minutes| minutes.round() as u32);
        Some(Remover { product: product?, lot: lot(typed.get("remover_lot")).chars().take(60).collect(), minutes })
    }

    fn check_supervisor(
        &self,
        notes: &mut Notes,
        artist: &Artist,
        typed: &str,
    ) -> Option<Option<crate::base::ids::PersonId>> {
        if !artist.trainee {
            return Some(None);
        }
        let chosen = self.around.beside(artist.person).find(|(id, _)| id == typed);
        if chosen.is_none() {
            notes.add("supervisor", format!("{} is learning: name who is present.", artist.name));
        }
        chosen.and_then(|(id, _)| id.parse().ok()).map(Some)
    }

    fn view(&self, house: &House, staff: &Staff, typed: &Typed) -> FormPage {
        let now = staff.visitor.now.0;
        let caution =
            self.held.then_some(Caution { heading: "Nothing with adhesive now", sentences: MEDICAL_FIRST.to_vec() });
        let back = match &self.appointment {
            Some(appointment) => (house.url(&format!("/book/{}", appointment.id)), "Back to the appointment"),
            None => (house.url(&format!("/door/clients/{}", self.client.id)), "Back to her record"),
        };
        FormPage {
            frame: house.frame(
                &self.around.studio,
                &staff.visitor,
                Place::Book,
                format!("A card for {}", self.client.short),
            ),
            key: new_form_key(),
            action: house.url(&self.path),
            word: "Begin",
            small: "before the first lash",
            lead: self.lead(now),
            caution,
            fields: self.fields(typed),
            mistakes: Vec::new(),
            button: if self.held { "Open a removal card" } else { "Open the card" },
            back,
        }
    }
}

fn own((key, words): (&str, &str)) -> (String, String) {
    (key.to_owned(), capital(words))
}

async fn of_page(staff: Staff, State(house): State<House>, At(id): At<AppointmentId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let there = {
        must_treat(&staff.who)?;
        let mut db = house.store.read().await?;
        store::of_appointment(&mut db, id).await?
    };
    let opening = of_appointment(&house, &staff.who, id, now).await?;
    if let Some(card) = there {
        return Ok(answer(&house, &Kept::see(format!("/cards/{}", card.id))));
    }
    page(&opening.view(&house, &staff, &opening.fresh(now)))
}

async fn for_page(staff: Staff, State(house): State<House>, At(id): At<ClientId>) -> Result<Response, Problem> {
    let now = staff.visitor.now.0;
    let opening = of_client(&house, &staff.who, id, now).await?;
    page(&opening.view(&house, &staff, &opening.fresh(now)))
}

async fn open_of(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opening = of_appointment(&house, &staff.who, id, staff.visitor.now.0).await?;
    open(&house, &staff, &opening, form).await
}

async fn open_for(
    staff: Staff,
    State(house): State<House>,
    At(id): At<ClientId>,
    form: Form<Typed>,
) -> Result<Response, Problem> {
    let opening = of_client(&house, &staff.who, id, staff.visitor.now.0).await?;
    open(&house, &staff, &opening, form).await
}

async fn open(house: &House, staff: &Staff, opening: &Opening, form: Form<Typed>) -> Result<Response, Problem> {
    let started = match opening.check(&form.typed, &staff.who, staff.visitor.now.0) {
        Ok(mut start) => {
            if let Some(bottle) = start.card.bottle {
                let mut db = house.store.read().await?;
                let found = adhesives::bottle_and_product(&mut db, bottle).await?;
                start.card.lot = found.map(|(bottle, _)| bottle.lot).unwrap_or_default();
            }
            let (inner, who) = (house.clone(), staff.who.clone());
            house
                .store
                .write(&form.key, move |tx| {
                    let (house, who, start) = (inner.clone(), who.clone(), start.clone());
                    Box::pin(async move {
                        let card = open_store::open(tx, house.store.keys(), &who, &start).await?;
                        Ok(Kept::see(format!("/cards/{}", card.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match started {
        Ok(kept) => Ok(answer(house, &kept)),
        Err(problem) => {
            let notes: Vec<FieldNote> = notes_of(problem)?;
            let view = opening.view(house, staff, &form.typed).again(&notes, form.key.form);
            page_with(StatusCode::UNPROCESSABLE_ENTITY, &view)
        }
    }
}

/// Whether a bottle in use on an open card has been stopped since, or is not for her any more: words for a warning.
pub(super) async fn warning(
    db: &mut Db,
    house: &House,
    card: &Card,
    now: Instant,
) -> Result<Option<&'static str>, Problem> {
    let Some(bottle) = card.bottle.filter(|_| card.closed.is_none() && has_adhesive(card.kind)) else {
        return Ok(None);
    };
    let found = clearance::not_today(db, house.store.keys(), card.client, &[bottle], now).await?;
    Ok(found.first().map(|(_, why)| match why {
        NotToday::Stopped => {
            "This bottle’s lot or product was stopped. Nothing more of it is used: take another bottle."
        }
        NotToday::NotNow => {
            "Something was recorded for this client since: nothing more with adhesive. Look at her clearance."
        }
        _ => "This bottle is not for this client any more. Look at her clearance before you go on.",
    }))
}
