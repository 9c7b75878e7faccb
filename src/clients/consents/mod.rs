//! Consents: one for each purpose, signed, never changed afterwards, withdrawn with one tap. Each consent's digest stands in the audit
//! chain as well. Never worded as a waiver.

pub(super) mod blank_page;
pub(super) mod copies;
pub(super) mod given;
pub(super) mod read_page;
pub mod signature;
pub(super) mod sign_form;
pub(super) mod sign_page;
pub(super) mod store;
pub(super) mod text_page;
pub(super) mod texts;
pub(super) mod verify;

use jiff::civil::Date;

use super::settings::ClientSettings;
use crate::base::ids::ClientId;
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::store::Db;
use crate::web::studio::Studio;

pub(super) use texts::NOT_CONFIRMED_QUESTIONS;
pub use verify::verify;

/// What a consent is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Purpose {
    /// To be treated.
    Treatment,
    /// To have what she says of her health kept.
    HealthData,
    /// To a patch test.
    PatchTest,
    /// To photos that stay in her record.
    RecordPhotos,
    /// To photos that others see.
    PublicityPhotos,
    /// To be written to.
    Marketing,
}

impl Purpose {
    /// Every purpose, in the order pages show them.
    pub const ALL: [Self; 6] = [
        Self::Treatment,
        Self::HealthData,
        Self::PatchTest,
        Self::RecordPhotos,
        Self::PublicityPhotos,
        Self::Marketing,
    ];

    /// The word kept in the database and in addresses.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Treatment => "treatment",
            Self::HealthData => "health_data",
            Self::PatchTest => "patch_test",
            Self::RecordPhotos => "record_photos",
            Self::PublicityPhotos => "publicity_photos",
            Self::Marketing => "marketing",
        }
    }

    /// The words on a page.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Treatment => "treatment",
            Self::HealthData => "health data",
            Self::PatchTest => "patch test",
            Self::RecordPhotos => "photos for the record",
            Self::PublicityPhotos => "photos for publicity",
            Self::Marketing => "news and offers",
        }
    }

    /// The purpose with this word.
    #[must_use]
    pub fn from_word(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|purpose| purpose.word() == word)
    }

    /// True where only somebody of age may consent, with or without a guardian.
    #[must_use]
    pub const fn for_adults_only(self) -> bool {
        matches!(self, Self::PublicityPhotos | Self::Marketing)
    }
}

impl TryFrom<String> for Purpose {
    type Error = crate::base::ids::NotAnId;
    fn try_from(word: String) -> Result<Self, Self::Error> {
        Self::from_word(&word).ok_or(crate::base::ids::NotAnId)
    }
}

impl<'de> serde::Deserialize<'de> for Purpose {
    fn deserialize<D: serde::Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let word = String::deserialize(deserializer)?;
        Self::try_from(word).map_err(serde::de::Error::custom)
    }
}

/// True while the newest consent for this purpose has not been withdrawn. Photos for publicity and marketing are never in force for
/// somebody under age on that day.
///
/// # Errors
/// When the database cannot be read.
pub async fn consent_in_force(db: &mut Db, id: ClientId, purpose: Purpose, now: Instant) -> Result<bool, Problem> {
    let newest = store::newest(db, id, purpose).await?;
    let in_force = newest.is_some_and(|consent| consent.withdrawn.is_none() && consent.at <= now);
    if !in_force || !purpose.for_adults_only() {
        return Ok(in_force);
    }
    let ages = ClientSettings::load(db).await?.ages;
    let today = Studio::load(db).await?.zone.day(now);
    let born = super::client(db, id).await?.and_then(|client| client.born);
    Ok(ages.judge(born, today) == super::minors::AgeVerdict::OfAge)
}

/// What clearance needs to know of a minor: her birth date, and which consents in force a guardian signed.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct GuardianFacts {
    /// Her birth date, where it is known. Judge it at the day of the test and at the day of the appointment.
    pub born: Option<Date>,
    /// Since when a guardian consents to the patch test.
    pub patch_test: Option<Instant>,
    /// Since when a guardian consents to the treatment.
    pub treatment: Option<Instant>,
    /// Since when a guardian consents to health data being kept.
    pub health_data: Option<Instant>,
}

/// The facts about guardians of one client.
///
/// # Errors
/// When the database cannot be read.
pub async fn guardian(db: &mut Db, id: ClientId, now: Instant) -> Result<GuardianFacts, Problem> {
    Ok(guardian_of(db, &[id], now).await?.pop().map(|(_, facts)| facts).unwrap_or_default())
}

/// As [`guardian`] for several clients, in a few statements.
///
/// # Errors
/// When the database cannot be read.
pub async fn guardian_of(
    db: &mut Db,
    clients: &[ClientId],
    now: Instant,
) -> Result<Vec<(ClientId, GuardianFacts)>, Problem> {
    let consents = store::newest_of(db, clients).await?;
    let known = super::store::clients(db, clients).await?;
    let facts = |client: &super::Client| {
        let since = |purpose| {
            let mut hers = consents.iter().filter(|consent| consent.client == client.id && consent.purpose == purpose);
            hers.find(|consent| consent.by_guardian && consent.withdrawn.is_none() && consent.at <= now)
                .map(|consent| consent.at)
        };
        GuardianFacts {
            born: client.born,
            patch_test: since(Purpose::PatchTest),
            treatment: since(Purpose::Treatment),
            health_data: since(Purpose::HealthData),
        }
    };
    Ok(known.iter().map(|client| (client.id, facts(client))).collect())
}

/// Every door of this room.
pub(super) fn routes() -> crate::web::routes::Routes {
    text_page::routes()
        .join(blank_page::routes())
        .join(sign_page::routes())
        .join(read_page::routes())
        .join(copies::routes())
}
