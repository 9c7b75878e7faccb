//! The form that opens a card. What belongs to a removal, to adhesive or to a sheet of paper stands in groups of its own, so that the page
//! shows each only where it applies.

use askama::Template;

use super::card::{Card, Lids, START, is_removal, kinds};
use super::open_store::MEDICAL_FIRST;
use super::opening::Opening;
use super::work_fields::{bottle_choices, work_fields};
use crate::base::actor::Role;
use crate::base::ids::PersonId;
use crate::base::problem::FieldNote;
use crate::base::text::capital;
use crate::clearance::typed::{Caution, NOT_CHECKED, Typed, tick_field, time_field};
use crate::web::House;
use crate::web::checks::{choice_field, note_fields, number_field, text_field};
use crate::web::form::{FieldView, Mistake, mistakes};
use crate::web::frame::Frame;
use crate::web::guard::Staff;
use crate::web::incoming::new_form_key;
use crate::web::studio::Place;

/// Fields that apply together.
pub(super) struct Group {
    /// When the stylesheet shows them: "" always, "when-adhesive" and "when-removal" by the visit that is chosen, "when-paper" by its
    /// tick. A browser that cannot tell shows them all.
    pub(super) when: &'static str,
    pub(super) fields: Vec<FieldView>,
}

/// The form as a page.
#[derive(Template)]
#[template(path = "cards/open.html")]
pub(super) struct OpenPage {
    frame: Frame,
    key: String,
    action: String,
    lead: Vec<String>,
    caution: Option<Caution>,
    groups: Vec<Group>,
    /// Said while the form waits on a device.
    meanwhile: &'static str,
    mistakes: Vec<Mistake>,
    button: &'static str,
    back: (String, &'static str),
}

impl OpenPage {
    /// The page with what was typed in it.
    pub(super) fn of(opening: &Opening, house: &House, staff: &Staff, typed: &Typed) -> Self {
        let heading = "Nothing with adhesive now";
        let caution = opening.held.then(|| Caution { heading, sentences: MEDICAL_FIRST.to_vec() });
        let back = match &opening.appointment {
            Some(appointment) => (house.url(&format!("/book/{}", appointment.id)), "Back to the appointment"),
            None => (house.url(&format!("/door/clients/{}", opening.client.id)), "Back to her record"),
        };
        let title = format!("A card for {}", opening.client.short);
        Self {
            frame: house.frame(&opening.around.studio, &staff.visitor, Place::Book, title),
            key: new_form_key(),
            action: house.url(&opening.path),
            lead: opening.lead(staff.visitor.now.0),
            caution,
            groups: opening.groups(typed),
            meanwhile: NOT_CHECKED,
            mistakes: Vec::new(),
            button: if opening.held { "Open a removal card" } else { "Open the card" },
            back,
        }
    }

    /// Puts the mistakes beside their fields and keeps the key they came with.
    pub(super) fn again(mut self, notes: &[FieldNote], key: Option<String>) -> Self {
        for group in &mut self.groups {
            note_fields(&mut group.fields, notes);
        }
        self.mistakes = mistakes(self.groups.iter().flat_map(|group| &group.fields));
        self.key = key.unwrap_or_else(new_form_key);
        self
    }
}

impl Opening {
    fn groups(&self, typed: &Typed) -> Vec<Group> {
        // What has happened already is entered whatever it was.
        let only_removals = self.held && !typed.is_ticked("paper");
        let mut groups = vec![Group { when: "", fields: self.first_fields(typed, only_removals) }];
        if !only_removals {
            groups.push(Group { when: "when-adhesive", fields: self.adhesive_fields(typed) });
        }
        groups.push(Group { when: "when-removal", fields: removal_fields(typed) });
        groups.push(Group { when: "", fields: self.last_fields(typed, only_removals) });
        groups.push(Group { when: "when-paper", fields: self.paper_fields(typed) });
        groups
    }

    fn first_fields(&self, typed: &Typed, only_removals: bool) -> Vec<FieldView> {
        let get = |name| typed.get(name);
        let open_kinds = kinds().filter(|kind| !only_removals || is_removal(*kind));
        let mut fields = vec![
            choice_field(
                "radio",
                "changed",
                "Has anything changed since she answered?",
                get("changed"),
                [("no", "nothing has"), ("yes", "something has")].map(|(key, words)| (key.to_owned(), capital(words))),
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
        fields
    }

    fn adhesive_fields(&self, typed: &Typed) -> Vec<FieldView> {
        let none = std::iter::once((String::new(), "no adhesive".to_owned()));
        let bottles = none.chain(bottle_choices(&self.shelf, &self.her.bottles));
        let styles = self.artists.iter().flat_map(|artist| artist.styles.iter().copied());
        let mut fields = vec![choice_field("select", "bottle", "Bottle taken", typed.get("bottle"), bottles)];
        fields.extend(work_fields(typed, styles));
        fields
    }

    fn last_fields(&self, typed: &Typed, only_removals: bool) -> Vec<FieldView> {
        let get = |name| typed.get(name);
        let mut fields = Vec::new();
        if self.artists.iter().any(|artist| artist.trainee) {
            // Where the artist is still to be chosen, any of the others may be the one who is learning.
            let except = match self.artists.as_slice() {
                [only] => only.person,
                _ => PersonId::new(),
            };
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
        if self.held && !only_removals {
            fields.push(FieldView { kind: "hidden", ..text_field("every_kind", "", "yes") });
        }
        fields.push(tick_field("paper", "From paper: this has happened already", typed.is_ticked("paper")));
        fields
    }

    fn paper_fields(&self, typed: &Typed) -> Vec<FieldView> {
        let people = self.around.people.iter().filter(|person| matches!(person.role, Role::Artist | Role::Owner));
        let none = std::iter::once((String::new(), "choose who wrote it".to_owned()));
        let people = none.chain(people.map(|person| (person.id.to_string(), person.name.clone())));
        vec![
            time_field("begun", "Begun, for a sheet of paper", typed.get("begun")),
            choice_field("select", "writer", "Who wrote the sheet", typed.get("writer"), people),
        ]
    }
}

fn removal_fields(typed: &Typed) -> Vec<FieldView> {
    let get = |name| typed.get(name);
    vec![
        text_field("remover", "Remover", get("remover")),
        text_field("remover_lot", "Its lot", get("remover_lot")).or_empty(),
        number_field("minutes", "Minutes it stays on", get("minutes")).or_empty(),
    ]
}
