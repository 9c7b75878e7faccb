//! What every page needs in order to speak: the studio's name, zone, units and signs; and the frame put together from them.

use crate::base::actor::{Actor, Role};
use crate::base::ids::PersonId;
use crate::base::number::DecimalMark;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::units::{Celsius, OutOfRange};
use crate::base::zone::Zone;
use crate::store::settings::{self, Settings};
use crate::store::{Db, Tx};

use super::frame::{Banner, Frame, MomentLink, PlaceLink};
use super::visitor::{HANDED_OVER, Visitor};
use super::{House, assets};

/// The studio's own choices that every page uses.
#[derive(Debug, Clone)]
pub struct Studio {
    /// Its name.
    pub name: String,
    /// Its zone.
    pub zone: Zone,
    /// ISO 4217 code of its one currency.
    pub currency: String,
    /// True when pages speak in °F; inside it is always °C.
    pub fahrenheit: bool,
    /// The decimal sign.
    pub decimal: DecimalMark,
    /// True for the invented studio, however the program was started.
    pub invented: bool,
}

impl Default for Studio {
    fn default() -> Self {
        Self {
            name: "A new studio".to_owned(),
            zone: Zone::utc(),
            currency: "EUR".to_owned(),
            fahrenheit: false,
            decimal: DecimalMark::Point,
            invented: false,
        }
    }
}

impl Studio {
    /// The studio's choices, or the defaults of a new house.
    ///
    /// # Errors
    /// When the database cannot be read.
    pub async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self::of(&settings::all(db).await?))
    }

    /// The same, for whoever has read what is kept.
    #[must_use]
    pub fn of(kept: &Settings) -> Self {
        let fresh = Self::default();
        let get = |name: &str| kept.get(name).map(String::as_str);
        Self {
            name: get("studio.name").map_or(fresh.name, str::to_owned),
            zone: get("studio.zone").and_then(Zone::named).unwrap_or(fresh.zone),
            currency: get("studio.currency").map_or(fresh.currency, str::to_owned),
            fahrenheit: get("studio.temperature") == Some("fahrenheit"),
            decimal: get("studio.decimal").and_then(DecimalMark::from_word).unwrap_or(fresh.decimal),
            invented: get("house.demo") == Some("yes"),
        }
    }

    /// Keeps the studio's choices.
    ///
    /// # Errors
    /// When the database refuses it.
    pub async fn keep(&self, tx: &mut Tx) -> Result<(), Problem> {
        settings::set(tx, "studio.name", &self.name).await?;
        settings::set(tx, "studio.zone", self.zone.name()).await?;
        settings::set(tx, "studio.currency", &self.currency).await?;
        settings::set(tx, "studio.temperature", if self.fahrenheit { "fahrenheit" } else { "celsius" }).await?;
        settings::set(tx, "studio.decimal", self.decimal.word()).await
    }

    /// A number in the studio's sign.
    #[must_use]
    pub fn number(&self, value: f64, places: usize) -> String {
        self.decimal.show(value, places)
    }

    /// A number in the studio's sign as it was typed: as many places as it needs up to four, at least `places`.
    #[must_use]
    pub fn exact(&self, value: f64, places: usize) -> String {
        let told = |places: &usize| self.number(value, *places);
        let rounds =
            |places: &usize| format!("{value:.places$}").parse().is_ok_and(|read: f64| (read - value).abs() < 1e-9);
        (places..=4).find(rounds).map_or_else(|| told(&4), |places| told(&places))
    }

    /// "°C" or "°F".
    #[must_use]
    pub const fn temperature_unit(&self) -> &'static str {
        if self.fahrenheit { "°F" } else { "°C" }
    }

    /// A temperature on the studio's scale, one place.
    #[must_use]
    pub fn temperature(&self, value: Celsius) -> String {
        self.number(self.scale(value.get()), 1)
    }

    /// A °C value on the studio's scale.
    #[must_use]
    pub fn scale(&self, celsius: f64) -> f64 {
        if self.fahrenheit { celsius * 1.8 + 32.0 } else { celsius }
    }

    /// A typed temperature on the studio's scale, as °C.
    ///
    /// # Errors
    /// Outside −20…60 °C.
    pub fn celsius(&self, typed: f64) -> Result<Celsius, OutOfRange> {
        if self.fahrenheit { Celsius::from_fahrenheit(typed) } else { Celsius::new(typed) }
    }
}

/// The places of the standing line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Place {
    /// The day sheet.
    Today,
    /// Rooms and their air.
    Rooms,
    /// Bottles, liquids, bench tests.
    Shelf,
    /// Artists, their techniques and timings.
    Hands,
    /// The diary: who is booked with whom.
    Book,
    /// Clients and who may be treated.
    Door,
    /// People, settings, what the house keeps.
    Office,
    /// A page that belongs to no place: sign-in, first aid.
    Nowhere,
}

/// The moments of a day in the studio, without a book: by the clock alone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moment {
    /// Before the first client.
    Opening,
    /// Shortly before a client.
    BeforeAClient,
    /// With a client on the bed.
    AtTheBed,
    /// Between two clients.
    Between,
    /// After the last client.
    Closing,
}

impl Moment {
    /// All five, in the order of the day.
    pub const ALL: [Self; 5] = [Self::Opening, Self::BeforeAClient, Self::AtTheBed, Self::Between, Self::Closing];

    /// The words shown.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Opening => "Opening",
            Self::BeforeAClient => "Before a client",
            Self::AtTheBed => "At the bed",
            Self::Between => "Between",
            Self::Closing => "Closing",
        }
    }

    /// The word in an address.
    #[must_use]
    pub const fn slug(self) -> &'static str {
        match self {
            Self::Opening => "opening",
            Self::BeforeAClient => "before-a-client",
            Self::AtTheBed => "at-the-bed",
            Self::Between => "between",
            Self::Closing => "closing",
        }
    }

    /// The moment asked for, or the one the clock says: opening before 10, closing from 18.
    #[must_use]
    pub fn chosen(asked: Option<&str>, studio: &Studio, now: Instant) -> Self {
        let by_clock = match studio.zone.wall(now).hour() {
            ..10 => Self::Opening,
            18.. => Self::Closing,
            _ => Self::Between,
        };
        asked.and_then(|slug| Self::ALL.into_iter().find(|moment| moment.slug() == slug)).unwrap_or(by_clock)
    }
}

impl House {
    /// A digest that names a person to her own device, where her name does not stand.
    #[must_use]
    pub fn person_mark(&self, id: PersonId) -> String {
        self.store.keys().digest("person on a device", &[id.to_string().as_bytes()])
    }

    /// The frame of a page, from settings already loaded.
    #[must_use]
    pub fn frame(&self, studio: &Studio, visitor: &Visitor, place: Place, title: impl Into<String>) -> Frame {
        let now = visitor.now.0;
        let who = match &visitor.actor {
            Actor::Person(who) => Some(who),
            _ => None,
        };
        let places = who.map(|who| self.places(who.role, place)).unwrap_or_default();
        Frame {
            house: studio.name.clone(),
            title: title.into(),
            person: who.map(|who| who.name.clone()),
            role_word: who.map(|who| who.role.word().to_owned()).unwrap_or_default(),
            person_mark: who.map(|who| self.person_mark(who.id)).unwrap_or_default(),
            outbox_key: who.map(|_| self.store.keys().outbox()).unwrap_or_default(),
            revoked_mark: visitor.revoked.map(|id| self.person_mark(id)).unwrap_or_default(),
            places,
            moments: Vec::new(),
            clock: studio.zone.clock(now),
            date: studio.zone.date(now, now),
            csrf: visitor.csrf.clone(),
            handed_over: visitor.handed_over.as_ref().map(|_| self.url(HANDED_OVER)).unwrap_or_default(),
            tablet: who.is_some() && visitor.tablet.is_some(),
            demo: self.demo || studio.invented,
            banner: self.banner(),
            lang: "en".to_owned(),
            light: visitor.light,
            large: visitor.large,
            base: self.config.base_path.clone(),
            assets: assets::hash().to_owned(),
        }
    }

    /// The line of moments on `path`, for pages whose entries a moment reorders.
    #[must_use]
    pub fn moments(&self, path: &str, shown: Moment) -> Vec<MomentLink> {
        let link = |moment: Moment| MomentLink {
            word: moment.words(),
            href: self.url(&format!("{path}?moment={}", moment.slug())),
            here: moment == shown,
        };
        Moment::ALL.into_iter().map(link).collect()
    }

    fn places(&self, role: Role, here: Place) -> Vec<PlaceLink> {
        let rooms = matches!(role, Role::Owner | Role::Artist | Role::Desk);
        [
            (Place::Today, "Today", "/", true),
            (Place::Book, "Book", "/book", rooms),
            (Place::Rooms, "Rooms", "/rooms", rooms),
            (Place::Door, "Door", "/door", rooms),
            (Place::Shelf, "Shelf", "/shelf", rooms),
            (Place::Hands, "Hands", "/hands", rooms),
            (Place::Office, "Office", "/office", true),
        ]
        .into_iter()
        .filter(|(_, _, _, allowed)| *allowed)
        .map(|(place, word, path, _)| PlaceLink { word, href: self.url(path), here: place == here })
        .collect()
    }

    fn banner(&self) -> Option<Banner> {
        (!self.config.secure_context()).then(|| Banner {
            mark: "near",
            sentence:
                "This page came over plain HTTP: others on the network can read along, and what browsers keep for \
                       secure pages does not work."
                    .to_owned(),
            href: String::new(),
            action: String::new(),
        })
    }
}
