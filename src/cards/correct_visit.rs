//! What a visit was, in a correction: kind, lids, room, supervisor, aftercare, and who counted on arrival. Pure. Of whatever was not sent
//! what stands there stays.

use super::card::{Aftercare, Arrival, CountedBy, Lids, Side, Whole, has_adhesive, is_removal, kinds};
use super::seen::Around;
use crate::base::ids::{PersonId, RoomId};
use crate::book::VisitKind;
use crate::clearance::typed::Typed;
use crate::web::checks::{Notes, choice_field};
use crate::web::form::FieldView;

/// The word for nobody in a list of persons.
const NOBODY: &str = "none";

/// Said before the form: what no correction changes.
pub(super) const STAYS: &str = "Whom the card is about, the artist, when it began and was closed, what was advised and what clearance said \
     then stay as they are. A visit with adhesive does not become a removal, nor the other way round: enter what happened from paper.";

/// What the visit was.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Visit {
    pub(super) kind: VisitKind,
    pub(super) lids: Lids,
    pub(super) room: RoomId,
    pub(super) supervisor: Option<PersonId>,
    pub(super) aftercare: Aftercare,
}

impl Visit {
    pub(super) const fn of(whole: &Whole) -> Self {
        let card = &whole.card;
        Self {
            kind: card.kind,
            lids: card.lids,
            room: card.room,
            supervisor: card.supervisor,
            aftercare: card.aftercare,
        }
    }
}

/// The lids that are counted, as they are typed.
pub(super) fn sides(whole: &Whole, typed: &Typed) -> &'static [Side] {
    Lids::from_word(typed.get("lids")).unwrap_or(whole.card.lids).sides()
}

/// Kinds a visit may have been instead: those of the same sort.
fn kinds_of_sort(is: VisitKind) -> impl Iterator<Item = VisitKind> {
    kinds().filter(move |kind| has_adhesive(*kind) == has_adhesive(is) && is_removal(*kind) == is_removal(is))
}

/// As it stands.
pub(super) fn typed_visit(whole: &Whole) -> Vec<(&'static str, String)> {
    let visit = Visit::of(whole);
    let mut pairs = vec![
        ("kind", visit.kind.word().to_owned()),
        ("lids", visit.lids.word().to_owned()),
        ("room", visit.room.to_string()),
        ("supervisor", visit.supervisor.map_or_else(|| NOBODY.to_owned(), |id| id.to_string())),
        ("aftercare", visit.aftercare.word().to_owned()),
    ];
    if let Some(own) = whole.arrival.first() {
        pairs.push(("by", own.counted_by.word().to_owned()));
        pairs.push(("counter", own.counter.map_or_else(|| NOBODY.to_owned(), |id| id.to_string())));
    }
    pairs
}

/// Kind, lids, room, and who was present with a trainee.
pub(super) fn visit_fields(whole: &Whole, around: &Around, typed: &Typed) -> Vec<FieldView> {
    let (card, get) = (&whole.card, |name| typed.get(name));
    let kinds = kinds_of_sort(card.kind).map(|kind| (kind.word().to_owned(), kind.words().to_owned()));
    let rooms = around.rooms.iter().filter(|room| room.closed.is_none() || room.id == card.room);
    let rooms = rooms.map(|room| (room.id.to_string(), room.name.clone()));
    let mut fields = vec![
        choice_field("select", "kind", "Visit", get("kind"), kinds),
        choice_field("radio", "lids", "Lids", get("lids"), Lids::choices()),
        choice_field("select", "room", "Room", get("room"), rooms)
            .hinted("With another room its air at the start stands on the card."),
    ];
    if is_trainees(whole, around) {
        let people = persons(around, artist(whole, around), whole.card.supervisor, "nobody");
        fields.push(choice_field("select", "supervisor", "Supervisor present", get("supervisor"), people));
    }
    fields
}

/// How aftercare was given.
pub(super) fn aftercare_field(typed: &Typed) -> FieldView {
    choice_field("radio", "aftercare", "Aftercare", typed.get("aftercare"), Aftercare::choices())
}

/// Who counted on arrival, where anybody did. `placed_by` is whose set it was: she is no other person.
pub(super) fn counted_fields(
    whole: &Whole,
    around: &Around,
    placed_by: Option<PersonId>,
    typed: &Typed,
) -> Vec<FieldView> {
    let Some(own) = whole.arrival.first() else { return Vec::new() };
    let people = persons(around, placed_by, own.counter, "nobody else");
    vec![
        choice_field("radio", "by", "Who counted on arrival", typed.get("by"), CountedBy::choices()),
        choice_field("select", "counter", "The other person", typed.get("counter"), people),
    ]
}

/// The visit as it was typed.
pub(super) fn check_visit(notes: &mut Notes, whole: &Whole, around: &Around, typed: &Typed) -> Option<Visit> {
    let stands = Visit::of(whole);
    let sent = |name: &str| Some(typed.get(name)).filter(|word| !word.is_empty());
    let kind = match sent("kind") {
        None => Some(stands.kind),
        Some(word) => notes.choice("kind", kinds_of_sort(stands.kind).find(|kind| kind.word() == word)),
    };
    let lids = match sent("lids") {
        None => Some(stands.lids),
        Some(word) => notes.choice("lids", Lids::from_word(word)),
    };
    let rooms = around.rooms.iter().filter(|room| room.closed.is_none()).map(|room| room.id);
    let room = match sent("room") {
        None => Some(stands.room),
        Some(word) => notes.choice("room", rooms.chain([stands.room]).find(|id| id.to_string() == word)),
    };
    let supervisor = match sent("supervisor") {
        None => Some(stands.supervisor),
        Some(NOBODY) if stands.supervisor.is_none() => Some(None),
        Some(NOBODY) => {
            notes.add("supervisor", "A trainee’s card names who was present. Choose another person.");
            None
        }
        Some(word) if is_trainees(whole, around) => {
            let known = person(around, artist(whole, around), stands.supervisor, word);
            notes.choice("supervisor", known).map(Some)
        }
        Some(_) => Some(stands.supervisor),
    };
    let aftercare = match sent("aftercare") {
        None => Some(stands.aftercare),
        Some(word) => notes.choice("aftercare", Aftercare::from_word(word)),
    };
    Some(Visit { kind: kind?, lids: lids?, room: room?, supervisor: supervisor?, aftercare: aftercare? })
}

/// Says who counted, on every lid that was.
pub(super) fn check_counted(
    notes: &mut Notes,
    (whole, around): (&Whole, &Around),
    placed_by: Option<PersonId>,
    typed: &Typed,
    arrival: &mut [Arrival],
) {
    let (Some(stands), false) = (whole.arrival.first(), typed.get("by").is_empty()) else { return };
    let Some(by) = notes.choice("by", CountedBy::from_word(typed.get("by"))) else { return };
    let counter = person(around, placed_by, stands.counter, typed.get("counter"));
    let counter = counter.filter(|_| by == CountedBy::Another);
    if by == CountedBy::Another && counter.is_none() {
        notes.add("counter", "Choose who counted.");
    }
    for own in arrival {
        (own.counted_by, own.counter) = (by, counter);
    }
}

/// Whether the artist was learning then, or is now.
fn is_trainees(whole: &Whole, around: &Around) -> bool {
    whole.card.supervisor.is_some() || around.artist(whole.card.artist).is_some_and(|artist| artist.trainee)
}

fn artist(whole: &Whole, around: &Around) -> Option<PersonId> {
    around.artist(whole.card.artist).map(|artist| artist.person)
}

/// Whoever may have been present or counted, but for one: those who may now, and who stands there; nobody first.
fn persons(around: &Around, except: Option<PersonId>, stands: Option<PersonId>, nobody: &str) -> Vec<(String, String)> {
    let mut all: Vec<(String, String)> = vec![(NOBODY.to_owned(), nobody.to_owned())];
    all.extend(around.beside(except.unwrap_or_else(PersonId::new)));
    if let Some(id) = stands.filter(|id| !all.iter().any(|(own, _)| *own == id.to_string())) {
        all.push((id.to_string(), around.person_name(id).to_owned()));
    }
    all
}

fn person(around: &Around, except: Option<PersonId>, stands: Option<PersonId>, word: &str) -> Option<PersonId> {
    let known = persons(around, except, stands, "").into_iter().any(|(id, _)| id == word);
    if known { word.parse().ok() } else { None }
}
