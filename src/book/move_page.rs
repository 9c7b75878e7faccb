//! Moving an appointment, with the form of booking.

use axum::extract::{Query, State};
use axum::response::Response;
use serde::Deserialize;

use super::appointment::Appointment;
use super::around::Around;
use super::form_page::BookingForm;
use super::from_cards::HasCard;
use super::looked::{self, Looked};
use super::typed_booking::TypedBooking;
use super::{booking, store};
use crate::base::ids::{AppointmentId, ArtistId};
use crate::base::problem::{FieldNote, Problem};
use crate::store::Kept;
use crate::web::House;
use crate::web::form::mistakes;
use crate::web::guard::Staff;
use crate::web::incoming::{At, Form, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::Place;

pub(super) fn routes(has_card: HasCard) -> Routes {
    let shown = move |staff: Staff, house: State<House>, id: At<AppointmentId>, asked: Query<Elsewhere>| {
        move_page(staff, house, id, asked, has_card)
    };
    let moved = move |staff: Staff, house: State<House>, id: At<AppointmentId>, form: Form<TypedBooking>| {
        move_it(staff, house, id, form, has_card)
    };
    Routes::new().get("/book/{appointment}/move", shown).post("/book/{appointment}/move", moved)
}

/// The appointment, for those who may move it.
pub(super) async fn hers(house: &House, staff: &Staff, id: AppointmentId) -> Result<(Around, Appointment), Problem> {
    let mut db = house.store.read().await?;
    let around = Around::load(&mut db).await?;
    let appointment = around.seen(&staff.who, store::one(&mut db, id).await?)?;
    Ok((around, appointment))
}

async fn move_page(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    Query(asked): Query<Elsewhere>,
    has_card: HasCard,
) -> Result<Response, Problem> {
    let (around, appointment) = hers(&house, &staff, id).await?;
    if carded(&house, id, has_card).await? {
        return Ok(answer(&house, &Kept::see(format!("/book/{id}"))));
    }
    let mut typed = TypedBooking::of(&around, &appointment);
    asked.into_form(&mut typed);
    let looked = look_for_move(&house, &staff, &around, &appointment, &typed).await?;
    page(&move_view(&house, &staff, &around, &appointment, &typed, looked, &[], new_form_key()))
}

async fn carded(house: &House, id: AppointmentId, has_card: HasCard) -> Result<bool, Problem> {
    let mut db = house.store.read().await?;
    has_card(&mut db, id).await
}

async fn look_for_move(
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    typed: &TypedBooking,
) -> Result<Looked, Problem> {
    let mut db = house.store.read().await?;
    let (kept, now) = (appointment.booked.client, staff.visitor.now.0);
    looked::look(house, &mut db, around, &staff.who, typed, kept, now).await
}

/// Where a link of free times says it should go.
#[derive(Debug, Default, Deserialize)]
#[serde(default)]
struct Elsewhere {
    artist: String,
    day: String,
    at: String,
    bed: Option<String>,
    minutes: Option<String>,
}

impl Elsewhere {
    fn into_form(self, typed: &mut TypedBooking) {
        if self.artist.parse::<ArtistId>().is_ok() {
            typed.artist = self.artist;
        }
        if !self.day.is_empty() && !self.at.is_empty() {
            (typed.day, typed.at) = (self.day, self.at);
        }
        if let Some(bed) = self.bed {
            typed.bed = bed;
        }
        if let Some(minutes) = self.minutes {
            typed.minutes = minutes;
        }
    }
}

/// The form of booking over an appointment that lies already.
#[expect(clippy::too_many_arguments, reason = "the page of a form that came back shows all of it")]
pub(super) fn move_view(
    house: &House,
    staff: &Staff,
    around: &Around,
    appointment: &Appointment,
    typed: &TypedBooking,
    looked: Looked,
    notes: &[FieldNote],
    key: String,
) -> BookingForm {
    let mut fields = typed.fields(around, &staff.who, notes);
    let (zone, now) = (&around.studio.zone, staff.visitor.now.0);
    let at = appointment.when.visit.from;
    let with = around.first_name(appointment.artist);
    let home = house.url(&format!("/book/{}", appointment.id));
    BookingForm {
        frame: house.frame(&around.studio, &staff.visitor, Place::Book, "Move an appointment"),
        key,
        action: format!("{home}/move"),
        word: "Move",
        lead: format!("Now {} {} with {with}.", zone.date(at, now), zone.clock(at)),
        hidden: vec![("seen", typed.seen.clone()), ("moving", appointment.id.to_string())],
        mistakes: mistakes(&fields),
        name: fields.remove(0),
        looked,
        fields,
        button: "Move it",
        look: house.url("/book/look"),
        back: (home, "Leave it where it is".to_owned()),
        moves: true,
        kept: "moved appointment",
        meanwhile: "Until it is there the appointment stands where it stood, and the other time may be taken. Tell those it concerns.",
    }
}

async fn move_it(
    staff: Staff,
    State(house): State<House>,
    At(id): At<AppointmentId>,
    form: Form<TypedBooking>,
    has_card: HasCard,
) -> Result<Response, Problem> {
    let (around, appointment) = hers(&house, &staff, id).await?;
    let seen = form.typed.seen.parse().unwrap_or(0);
    let looked = look_for_move(&house, &staff, &around, &appointment, &form.typed).await?;
    let now = staff.visitor.now.0;
    let result = match form.typed.check(&around, &staff.who, now, Some(&appointment), looked.client.as_ref()) {
        Ok(draft) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let draft = draft.clone();
                    Box::pin(async move {
                        booking::move_to(tx, &draft, seen, has_card).await?;
                        Ok(Kept::see(format!("/book/{id}?told=moved")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        // What stands in its way is not a mistake that could be put right here.
        Err(Problem::Mistakes(_)) if carded(&house, id, has_card).await? => Err(booking::she_came()),
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let view = move_view(&house, &staff, &around, &appointment, &form.typed, looked, &notes, key);
            page_again(&view)
        }
        other => Ok(answer(&house, &other?)),
    }
}
