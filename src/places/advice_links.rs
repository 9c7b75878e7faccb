//! The lines of choices on an advice page: each a link that changes one thing and keeps the rest.

use super::advice_asked::{Asked, Read};
use crate::adhesives::{Bead, Liquid, Liquids, PickUp};
use crate::advice::options::Offer;
use crate::base::ids::{ClientId, RoomId};
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
    // Another artist has her own styles, another room its own bottles.
    let artists = read.artists.iter().map(|artist| {
        let style = super::advice_asked::usual_style(artist);
        let to = Address { artist: artist.id.to_string(), style: style.key(), ..at.clone() };
        link(artist.name.clone(), &to, artist.id == asked.artist.id)
    });
    let styles = asked
        .artist
        .styles
        .iter()
        .map(|style| link(style.words(), &Address { style: style.key(), ..at.clone() }, *style == asked.style));
    let rooms = read.rooms.iter().map(|room| {
        let to = Address { room: room.id, bottle: None, ..at.clone() };
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
    let line = |word, links: Vec<Choice>| Choices { word, links };
    [
        line("Client", clients(asked, read, &at, &link)),
        line("Artist", artists.collect()),
        line("Style", styles.collect()),
        line("Room", rooms.collect()),
        line("Bead", beads.collect()),
        line("Pick-up", pick_ups.collect()),
        line("Liquids", liquids.collect()),
    ]
    .into_iter()
    .filter(|line| line.links.len() > 1)
    .collect()
}

/// The liquid an option adds or leaves out.
pub(super) fn liquid_of(offer: &Offer) -> Option<Liquid> {
    let named = |liquid: &Liquid| {
        let key = match liquid {
            Liquid::AlcoholPrimer => "alcohol primer",
            Liquid::PhPrimer => "pH primer",
            Liquid::Accelerator => "accelerator",
            Liquid::Cleanser | Liquid::Mist => return false,
        };
        offer.change.contains(key)
    };
    Liquid::ALL.into_iter().find(named)
}

/// Where an option leads: the same page with the bead or liquid changed, or the room for a change of air.
pub(super) fn leads_to(
    house: &House,
    studio: &Studio,
    offer: &Offer,
    asked: &Asked,
    read: &Read,
) -> Option<(String, String)> {
    let at = Address::of(asked, read);
    let other = read.shelf.iter().find(|bottle| offer.change.starts_with(&format!("Use {} in place of", bottle.name)));
    if let Some(other) = other {
        let to = at.with_bottle(other.bottle.to_string());
        return Some((house.url(&to.path()), format!("With {}", other.name)));
    }
    let bead = Bead::ALL.into_iter().find(|bead| offer.change.contains(&format!("{} bead", bead.word())));
    if let Some(bead) = bead {
        let to = Address { bead, ..at };
        return Some((house.url(&to.path()), format!("With a {} bead", bead.word())));
    }
    if let Some(liquid) = liquid_of(offer) {
        let used = at.liquids.has(liquid);
        let liquids = if used { at.liquids.without(liquid) } else { at.liquids.with(liquid) };
        let word = format!("{} {}", if used { "Without" } else { "With" }, liquid.words());
        return Some((house.url(&Address { liquids, ..at }.path()), word));
    }
    if let Some(air) = offer.air {
        let path = format!(
            "/rooms/{}/plan?humidity={:.0}&temperature={:.1}",
            read.room.id,
            air.humidity.get(),
            studio.scale(air.temperature.get())
        );
        return Some((house.url(&path), "Plan it".to_owned()));
    }
    Some((house.url("/shelf"), "See the shelf".to_owned()))
}
