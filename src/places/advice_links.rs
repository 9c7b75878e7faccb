//! The lines of choices on an advice page: each a link that changes one thing and keeps the rest.

use super::advice_asked::{Asked, Read};
use crate::adhesives::{Bead, Liquid, Liquids, PickUp};
use crate::advice::options::{Change, Offer};
use crate::artists::Style;
use crate::base::ids::{ArtistId, ClientId, RoomId};
use crate::web::House;
use crate::web::studio::Studio;

/// One line of choices.
pub(super) struct Choices {
    pub(super) word: &'static str,
    pub(super) links: Vec<Choice>,
}

/// One choice.
pub(super) struct Choice {
    pub(super) word: String,
    pub(super) href: String,
    pub(super) here: bool,
}

/// What an address asks; a field is in it only where it differs from what the page would take by itself.
#[derive(Clone)]
pub(super) struct Address {
    room: RoomId,
    artist: String,
    style: String,
    bead: Bead,
    pick_up: Option<PickUp>,
    liquids: Liquids,
    bottle: Option<String>,
    client: Option<ClientId>,
}

impl Address {
    pub(super) fn of(asked: &Asked, read: &Read) -> Self {
        Self {
            room: read.room.id,
            artist: asked.artist.id.to_string(),
            style: asked.style.key(),
            bead: asked.bead,
            pick_up: asked.pick_up,
            liquids: asked.liquids,
            bottle: asked.bottle.map(|at| read.shelf[at].bottle.to_string()),
            client: asked.her.as_ref().map(|her| her.client),
        }
    }

    pub(super) fn with_bottle(&self, bottle: String) -> Self {
        Self { bottle: Some(bottle), ..self.clone() }
    }

    /// Names and values, for a form's hidden fields.
    pub(super) fn fields(&self) -> Vec<(&'static str, String)> {
        let mut fields = vec![("artist", self.artist.clone()), ("style", self.style.clone())];
        if self.bead != Bead::Medium {
            fields.push(("bead", self.bead.word().to_owned()));
        }
        if let Some(pick_up) = self.pick_up {
            fields.push(("pick_up", pick_up.key().to_owned()));
        }
        if !self.liquids.is_empty() {
            fields.push(("liquids", self.liquids.keys()));
        }
        if let Some(bottle) = &self.bottle {
            fields.push(("bottle", bottle.clone()));
        }
        if let Some(client) = self.client {
            fields.push(("client", client.to_string()));
        }
        fields
    }

    /// The path with its query; every value is an id or a key, so nothing needs to be escaped but the comma, which may
    /// stand as it is.
    pub(super) fn path(&self) -> String {
        let query: Vec<String> = self.fields().iter().map(|(name, value)| format!("{name}={value}")).collect();
        format!("/rooms/{}/advice?{}", self.room, query.join("&"))
    }
}

/// The path of an artist's advice in a room as somebody works there, with any bottle.
pub(super) fn as_used(room: RoomId, artist: ArtistId, style: Style, work: (Bead, Option<PickUp>, Liquids)) -> String {
    let (bead, pick_up, liquids) = work;
    let (artist, style) = (artist.to_string(), style.key());
    Address { room, artist, style, bead, pick_up, liquids, bottle: None, client: None }.path()
}

/// Nobody, those the artist expects today, and whoever is chosen already.
fn clients(asked: &Asked, read: &Read, at: &Address, link: &impl Fn(String, &Address, bool) -> Choice) -> Vec<Choice> {
    let here = asked.her.as_ref().map(|her| her.client);
    let other = asked.her.iter().filter(|her| read.today.iter().all(|(id, ..)| *id != her.client));
    let other = other.map(|her| (her.client, her.short.clone()));
    let today = read.today.iter().map(|(id, short, when)| (*id, format!("{short}, {when}")));
    let nobody = link("nobody chosen".to_owned(), &Address { client: None, ..at.clone() }, here.is_none());
    let her = |(id, words)| link(words, &Address { client: Some(id), ..at.clone() }, here == Some(id));
    std::iter::once(nobody).chain(today.chain(other).map(her)).collect()
}

/// Every line of choices; those with a single choice are left out.
pub(super) fn choices(house: &House, asked: &Asked, read: &Read) -> Vec<Choices> {
    let at = Address::of(asked, read);
    let link = |word: String, to: &Address, here: bool| Choice { word, href: house.url(&to.path()), here };
    // Another artist may not work in this style, and another room's bottles stand elsewhere.
    let artists = read.artists.iter().map(|artist| {
        let same = artist.styles.contains(&asked.style).then_some(asked.style);
        let style = same.unwrap_or_else(|| super::advice_asked::usual_style(artist));
        let to = Address { artist: artist.id.to_string(), style: style.key(), ..at.clone() };
        link(artist.name.clone(), &to, artist.id == asked.artist.id)
    });
    let styles = asked
        .artist
        .styles
        .iter()
        .map(|style| link(style.words(), &Address { style: style.key(), ..at.clone() }, *style == asked.style));
    let rooms = read.rooms.iter().map(|room| {
        let at_hand = asked.bottle.is_some_and(|at| read.shelf[at].room.is_none_or(|stands| stands == room.id));
        let to = Address { room: room.id, bottle: at.bottle.clone().filter(|_| at_hand), ..at.clone() };
        link(room.name.clone(), &to, room.id == read.room.id)
    });
    let beads = Bead::ALL
        .into_iter()
        .map(|bead| link(bead.word().to_owned(), &Address { bead, ..at.clone() }, bead == asked.bead));
    let pick_ups = std::iter::once(None).chain(PickUp::ALL.into_iter().map(Some)).map(|pick_up| {
        let word = pick_up.map_or("not stated", PickUp::words);
        link(word.to_owned(), &Address { pick_up, ..at.clone() }, pick_up == asked.pick_up)
    });
    // Mist is for finished bonds: it plays no part in placing.
    let liquids = Liquid::ALL.into_iter().filter(|liquid| *liquid != Liquid::Mist).map(|liquid| {
        let used = asked.liquids.has(liquid);
        let liquids = if used { asked.liquids.without(liquid) } else { asked.liquids.with(liquid) };
        link(liquid.words().to_owned(), &Address { liquids, ..at.clone() }, used)
    });
    // A bottle of another room is fetched only where somebody names it.
    let fetched = read.elsewhere.iter().map(|(id, name)| {
        let here = asked.bottle.is_some_and(|at| read.shelf[at].bottle == *id);
        link(name.clone(), &at.with_bottle(id.to_string()), here)
    });
    let fetched: Vec<Choice> = fetched.collect();
    let line = |word, links: Vec<Choice>| Choices { word, links };
    let lines = [
        line("Client", clients(asked, read, &at, &link)),
        line("Artist", artists.collect()),
        line("Style", styles.collect()),
        line("Room", rooms.collect()),
        line("Bead", beads.collect()),
        line("Pick-up", pick_ups.collect()),
        line("Liquids", liquids.collect()),
    ]
    .into_iter()
    .filter(|line| line.links.len() > 1);
    lines.chain((!fetched.is_empty()).then(|| line("Bottle of another room", fetched))).collect()
}

/// Where an option leads: the same page with the bottle, bead or liquid changed, or the room's plan for a change of air.
pub(super) fn leads_to(house: &House, studio: &Studio, offer: &Offer, asked: &Asked, read: &Read) -> (String, String) {
    let at = Address::of(asked, read);
    let same_page = |to: Address, word: String| (house.url(&to.path()), word);
    match offer.what {
        Change::Bottle(other) => {
            let other = &read.shelf[other];
            same_page(at.with_bottle(other.bottle.to_string()), format!("With {}", other.name))
        }
        Change::Bead(bead) => same_page(Address { bead, ..at }, format!("With a {} bead", bead.word())),
        Change::With(liquid) => {
            same_page(Address { liquids: at.liquids.with(liquid), ..at }, format!("With {}", liquid.words()))
        }
        Change::Without(liquid) => {
            same_page(Address { liquids: at.liquids.without(liquid), ..at }, format!("Without {}", liquid.words()))
        }
        Change::Air(air) => {
            let path = format!(
                "/rooms/{}/plan?humidity={:.0}&temperature={}",
                read.room.id,
                air.humidity.get(),
                studio.number(studio.scale(air.temperature.get()), 1)
            );
            (house.url(&path), "Plan it".to_owned())
        }
        Change::Class(_) => (house.url("/shelf"), "See the shelf".to_owned()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::base::ids::ArtistId;

    #[test]
    fn an_address_keeps_what_was_asked_and_leaves_out_what_is_usual() {
        let at = Address {
            room: RoomId::new(),
            artist: ArtistId::new().to_string(),
            style: "classic".to_owned(),
            bead: Bead::Medium,
            pick_up: None,
            liquids: Liquids::NONE.with(Liquid::PhPrimer),
            bottle: None,
            client: None,
        };
        assert!(at.path().ends_with("style=classic&liquids=ph_primer"), "{}", at.path());
    }
}
