//! What was typed on the form that opens a card, judged: every mistake at once.

use super::card::{Aftercare, Card, CardStart, Lids, Remover, has_adhesive, is_removal, kinds};
use super::opening::Opening;
use super::work_fields::typed_liquids;
use crate::adhesives::Bead;
use crate::artists::{Artist, Style};
use crate::base::actor::Who;
use crate::base::ids::{CardId, PersonId};
use crate::base::problem::Problem;
use crate::base::text::lot;
use crate::base::time::{DAY, Instant};
use crate::clearance::typed::{DONE, MoreNotes as _, Typed};
use crate::web::checks::{Notes, done_at};

/// How far back a sheet of paper may be entered.
const PAPER_DAYS: i64 = 60;

impl Opening {
    /// The card as it was typed.
    ///
    /// # Errors
    /// The mistakes.
    pub(super) fn check(&self, typed: &Typed, who: &Who, now: Instant) -> Result<CardStart, Problem> {
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
        let liquids = typed_liquids(typed);
        let removal = kind.is_some_and(is_removal);
        let remover = check_remover(&mut notes, typed, removal);
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

    fn check_supervisor(&self, notes: &mut Notes, artist: &Artist, typed: &str) -> Option<Option<PersonId>> {
        if !artist.trainee {
            return Some(None);
        }
        let chosen = self.around.beside(artist.person).find(|(id, _)| id == typed);
        if chosen.is_none() {
            notes.add("supervisor", format!("{} is learning: name who is present.", artist.name));
        }
        chosen.and_then(|(id, _)| id.parse().ok()).map(Some)
    }
}

fn check_remover(notes: &mut Notes, typed: &Typed, removal: bool) -> Option<Remover> {
    if !removal {
        return Some(Remover::default());
    }
    let product = notes.line("remover", typed.get("remover"), 80);
    let minutes = notes.optional_number("minutes", typed.get("minutes"), (0.0, 600.0), "min");
    #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss, reason = "between 0 and 600")]
    let minutes = minutes?.map(|minutes| minutes.round() as u32);
    Some(Remover { product: product?, lot: lot(typed.get("remover_lot")).chars().take(60).collect(), minutes })
}
