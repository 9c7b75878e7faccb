//! A room is added, changed, closed; its devices come and go. The owner's pages.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::{Device, DeviceKind, Room, store};
use crate::base::ids::{DeviceId, RoomId};
use crate::base::problem::{FieldNote, Problem};
use crate::base::units::{AirChanges, CubicMetres, GramsPerHour};
use crate::store::Kept;
use crate::web::House;
use crate::web::checks::{Notes, choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Owner;
use crate::web::incoming::{At, Form, Nothing, new_form_key};
use crate::web::problems::{page, page_again};
use crate::web::routes::Routes;
use crate::web::serve::answer;
use crate::web::studio::{Place, Studio};

pub(super) fn routes() -> Routes {
    Routes::new()
        .get("/rooms/new", new_page)
        .post("/rooms", add)
        .get("/rooms/{room}/edit", edit_page)
        .post("/rooms/{room}/edit", change)
        .post("/rooms/{room}/close", close)
        .post("/rooms/{room}/devices", add_device)
        .post("/rooms/{room}/devices/{device}/remove", remove_device)
}

#[derive(Deserialize, Default)]
struct TypedRoom {
    name: String,
    volume_m3: String,
    air_changes_per_hour: String,
    coldest_surface: String,
    surface_temperature: String,
}

// Browsers leave out radio buttons of which none is chosen.
#[derive(Deserialize, Default)]
#[serde(default)]
struct TypedDevice {
    kind: String,
    name: String,
    grams_per_hour: String,
}

struct DeviceRow {
    words: String,
    remove: String,
}

#[derive(Template)]
#[template(path = "rooms/form.html")]
struct RoomForm {
    frame: Frame,
    key: String,
    action: String,
    button: &'static str,
    back: String,
    fields: Vec<FieldView>,
    mistakes: Vec<Mistake>,
    /// Present once the room is there.
    more: Option<RoomMore>,
}

struct RoomMore {
    devices: Vec<DeviceRow>,
    device_fields: Vec<FieldView>,
    device_mistakes: Vec<Mistake>,
    device_action: String,
    close_action: String,
    name: String,
}

impl TypedRoom {
    fn of(room: &Room, studio: &Studio) -> Self {
        Self {
            name: room.name.clone(),
            volume_m3: studio.exact(room.volume.get(), 1),
            air_changes_per_hour: studio.exact(room.air_changes.get(), 1),
            coldest_surface: room.coldest_surface.clone(),
            surface_temperature: room.surface.map(|at| studio.number(studio.scale(at.get()), 1)).unwrap_or_default(),
        }
    }

    fn check(&self, id: RoomId, studio: &Studio) -> Result<Room, Problem> {
        let mut notes = Notes::said_with(studio.decimal);
        let name = notes.line("name", &self.name, 40);
        let volume = notes.number("volume_m3", &self.volume_m3, (3.0, 2000.0), "m³");
        let changes = notes.number("air_changes_per_hour", &self.air_changes_per_hour, (0.05, 20.0), "an hour");
        let surface = notes.line("coldest_surface", &self.coldest_surface, 40);
        let limits = (studio.scale(-20.0), studio.scale(60.0));
        let typed =
            notes.optional_number("surface_temperature", &self.surface_temperature, limits, studio.temperature_unit());
        let measured = match typed {
            Some(Some(value)) => studio.celsius(value).ok().map(Some),
            Some(None) => Some(None),
            None => None,
        };
        let room = (|| {
            Some(Room {
                id,
                name: name?,
                volume: CubicMetres::new(volume?).ok()?,
                air_changes: AirChanges::new(changes?).ok()?,
                coldest_surface: surface?,
                surface: measured?,
                closed: None,
            })
        })();
        notes.settle(room)
    }

    fn fields(&self, studio: &Studio, notes: &[FieldNote]) -> Vec<FieldView> {
        let mut fields = vec![
            text_field("name", "Name of the room", &self.name),
            number_field("volume_m3", "Volume, m³", &self.volume_m3).hinted("Length × width × height, in metres."),
            number_field("air_changes_per_hour", "Air changes an hour", &self.air_changes_per_hour).hinted(format!(
                "How often the room’s air is renewed. {} is usual for a closed room; never lowered to keep humidity.",
                studio.number(0.5, 1)
            )),
            text_field("coldest_surface", "Coldest surface", &self.coldest_surface)
                .hinted("Where water would settle first: a skylight, a window, an outer wall."),
            number_field(
                "surface_temperature",
                &format!("Its temperature on a cold day, {}", studio.temperature_unit()),
                &self.surface_temperature,
            )
            .hinted("Only if somebody measured it.")
            .or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

async fn new_page(owner: Owner, State(house): State<House>) -> Result<Response, Problem> {
    let studio = studio(&house).await?;
    let typed = TypedRoom { air_changes_per_hour: studio.number(0.5, 1), ..TypedRoom::default() };
    page(&new_view(&house, &owner, &studio, &typed, &[], new_form_key()))
}

fn new_view(
    house: &House,
    owner: &Owner,
    studio: &Studio,
    typed: &TypedRoom,
    notes: &[FieldNote],
    key: String,
) -> RoomForm {
    let fields = typed.fields(studio, notes);
    RoomForm {
        frame: house.frame(studio, &owner.visitor, Place::Rooms, "A new room"),
        key,
        action: house.url("/rooms"),
        button: "Add the room",
        back: house.url("/rooms"),
        mistakes: mistakes(&fields),
        fields,
        more: None,
    }
}

async fn add(owner: Owner, State(house): State<House>, form: Form<TypedRoom>) -> Result<Response, Problem> {
    let studio = studio(&house).await?;
    let result = match form.typed.check(RoomId::new(), &studio) {
        Ok(room) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let room = room.clone();
                    Box::pin(async move {
                        store::add_room(tx, &room).await?;
                        Ok(Kept::see(format!("/rooms/{}", room.id)))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            page_again(&new_view(&house, &owner, &studio, &form.typed, &notes, key))
        }
        other => Ok(answer(&house, &other?)),
    }
}

/// What the edit page shows: the room's own form and a form for one more device, either of which may have come back.
struct Again<'a> {
    room: Option<(&'a TypedRoom, &'a [FieldNote])>,
    device: Option<(&'a TypedDevice, &'a [FieldNote])>,
    key: String,
}

async fn edit_page(owner: Owner, State(house): State<House>, At(id): At<RoomId>) -> Result<Response, Problem> {
    let view = edit_view(&house, &owner, id, Again { room: None, device: None, key: new_form_key() }).await?;
    page(&view)
}

async fn edit_view(house: &House, owner: &Owner, id: RoomId, again: Again<'_>) -> Result<RoomForm, Problem> {
    let mut db = house.store.read().await?;
    let studio = Studio::load(&mut db).await?;
    let room = open_room(store::room(&mut db, id).await?)?;
    let of_room = TypedRoom::of(&room, &studio);
    let (typed, notes) = again.room.unwrap_or((&of_room, &[]));
    let fields = typed.fields(&studio, notes);
    let no_device = TypedDevice::default();
    let (device, device_notes) = again.device.unwrap_or((&no_device, &[]));
    let device_fields = device.fields(&studio, device_notes);
    let row = |device: Device| DeviceRow {
        words: match device.water {
            Some(water) => {
                format!("{}: {}, {}\u{a0}g an hour", device.name, device.kind.word(), studio.number(water.get(), 0))
            }
            None => format!("{}: {}", device.name, device.kind.word()),
        },
        remove: house.url(&format!("/rooms/{id}/devices/{}/remove", device.id)),
    };
    let devices = store::devices(&mut db, id).await?.into_iter().map(row).collect();
    Ok(RoomForm {
        frame: house.frame(&studio, &owner.visitor, Place::Rooms, format!("{}: the room itself", room.name)),
        key: again.key,
        action: house.url(&format!("/rooms/{id}/edit")),
        button: "Keep the changes",
        back: house.url(&format!("/rooms/{id}")),
        mistakes: mistakes(&fields),
        fields,
        more: Some(RoomMore {
            devices,
            device_mistakes: mistakes(&device_fields),
            device_fields,
            device_action: house.url(&format!("/rooms/{id}/devices")),
            close_action: house.url(&format!("/rooms/{id}/close")),
            name: room.name,
        }),
    })
}

async fn change(
    owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedRoom>,
) -> Result<Response, Problem> {
    let studio = studio(&house).await?;
    let result = match form.typed.check(id, &studio) {
        Ok(room) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let room = room.clone();
                    Box::pin(async move {
                        store::change_room(tx, &room).await?;
                        Ok(Kept::see(format!("/rooms/{id}")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let again = Again { room: Some((&form.typed, &notes)), device: None, key };
            page_again(&edit_view(&house, &owner, id, again).await?)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn close(
    _owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                open_room(store::room(tx.db(), id).await?)?;
                store::close_room(tx, id).await?;
                Ok(Kept::see("/rooms"))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

impl TypedDevice {
    fn check(&self, room: RoomId) -> Result<Device, Problem> {
        let mut notes = Notes::default();
        let kind = notes.choice("kind", DeviceKind::from_word(&self.kind));
        let name = notes.line("name", &self.name, 60);
        let moves_water = matches!(kind, Some(DeviceKind::Humidifier | DeviceKind::Dehumidifier));
        let grams = if moves_water {
            let typed = notes.number("grams_per_hour", &self.grams_per_hour, (1.0, 5000.0), "g an hour");
            typed.and_then(|grams| GramsPerHour::new(grams).ok()).map(Some)
        } else {
            Some(None)
        };
        let device = (|| Some(Device { id: DeviceId::new(), room, kind: kind?, name: name?, water: grams? }))();
        notes.settle(device)
    }

    fn fields(&self, studio: &Studio, notes: &[FieldNote]) -> Vec<FieldView> {
        let (rated_at, unit) = (studio.number(studio.scale(30.0), 0), studio.temperature_unit());
        let kinds = DeviceKind::ALL.map(|kind| (kind.word().to_owned(), kind.word().to_owned()));
        let mut fields = vec![
            choice_field("radio", "kind", "What it does", &self.kind, kinds),
            text_field("name", "What it is called here", &self.name),
            number_field("grams_per_hour", "Water, g an hour", &self.grams_per_hour)
                .hinted(format!("For a humidifier what it gives. For a dehumidifier what it takes in this room: a third to a half of a label made at {rated_at} {unit} and 80 %RH. Leave empty for heating and cooling."))
                .or_empty(),
        ];
        note_fields(&mut fields, notes);
        fields
    }
}

async fn add_device(
    owner: Owner,
    State(house): State<House>,
    At(id): At<RoomId>,
    form: Form<TypedDevice>,
) -> Result<Response, Problem> {
    let result = match form.typed.check(id) {
        Ok(device) => {
            house
                .store
                .write(&form.key, move |tx| {
                    let device = device.clone();
                    Box::pin(async move {
                        open_room(store::room(tx.db(), id).await?)?;
                        store::add_device(tx, &device).await?;
                        Ok(Kept::see(format!("/rooms/{id}/edit")))
                    })
                })
                .await
        }
        Err(problem) => Err(problem),
    };
    match result {
        Err(Problem::Mistakes(notes)) => {
            let key = form.key.again();
            let again = Again { room: None, device: Some((&form.typed, &notes)), key };
            page_again(&edit_view(&house, &owner, id, again).await?)
        }
        other => Ok(answer(&house, &other?)),
    }
}

async fn remove_device(
    _owner: Owner,
    State(house): State<House>,
    At((room, device)): At<(RoomId, DeviceId)>,
    form: Form<Nothing>,
) -> Result<Response, Problem> {
    let kept = house
        .store
        .write(&form.key, move |tx| {
            Box::pin(async move {
                store::remove_device(tx, room, device).await?;
                Ok(Kept::see(format!("/rooms/{room}/edit")))
            })
        })
        .await?;
    Ok(answer(&house, &kept))
}

/// A room that is there and in use.
pub(super) fn open_room(found: Option<Room>) -> Result<Room, Problem> {
    found.filter(|room| room.closed.is_none()).ok_or(Problem::NotHere("room"))
}

async fn studio(house: &House) -> Result<Studio, Problem> {
    let mut db = house.store.read().await?;
    Studio::load(&mut db).await
}
