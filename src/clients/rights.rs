//! What this part keeps of a client, offered to privacy: her file, putting two records together, erasure. And the words every part
//! answers in. Later parts answer in the same words.

use std::collections::{BTreeMap, BTreeSet};

use jiff::ToSpan;
use jiff::civil::Date;

use super::file::FilePart;
use super::names::Names;
use super::rest_store::Rest;
use super::settings::ClientSettings;
use super::{Client, Keeper};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ClientId, PhotoId};
use crate::base::problem::Problem;
use crate::base::time::Instant;
use crate::base::zone::Zone;
use crate::store::keys::Keys;
use crate::store::{Db, Tx};

/// What an erasure rests on.
#[derive(Debug, Clone)]
pub struct Erasing {
    /// When it happens.
    pub at: Instant,
    /// The last test or treatment; `None` where there never was one.
    pub treated: Option<Instant>,
    /// Her birth date.
    pub born: Option<Date>,
    /// The studio's rules.
    pub settings: ClientSettings,
    /// What an earlier erasure said would stay, and until when. She was told so: no change of the rules moves it.
    pub told: BTreeMap<String, Instant>,
    /// Until when the last of what other parts keep stays.
    pub others: Option<Instant>,
    /// Records of other parts that stay together with the photos of them, and until when.
    pub pictured: Option<(Instant, BTreeSet<String>)>,
}

/// Something an erasure must leave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stays {
    /// What.
    pub what: &'static str,
    /// Why.
    pub reason: String,
    /// Until when.
    pub until: Instant,
}

impl Erasing {
    /// A first erasure: nobody was told anything yet.
    #[must_use]
    pub const fn new(at: Instant, treated: Option<Instant>, born: Option<Date>, settings: ClientSettings) -> Self {
        Self { at, treated, born, settings, told: BTreeMap::new(), others: None, pictured: None }
    }

    /// Until when records of treatment stay: the keeping time after the last test or treatment; for who was a minor then, at least until
    /// the age the studio has set. `None` where nothing needs to stay, or the time is over.
    #[must_use]
    pub fn keep_until(&self, zone: &Zone) -> Option<Instant> {
        self.keep_from(self.treated?, zone)
    }

    /// Until when a kind of record stays whose newest is of this instant: as she was told, and where nobody told her yet, as
    /// [`Erasing::keep_until`] from the newest record or the last treatment, whichever is later.
    #[must_use]
    pub fn stays_until(&self, what: &str, newest: Option<Instant>, zone: &Zone) -> Option<Instant> {
        match self.told.get(what) {
            Some(told) => Some(*told).filter(|until| *until > self.at),
            None => self.keep_from(self.treated.max(newest)?, zone),
        }
    }

    fn keep_from(&self, treated: Instant, zone: &Zone) -> Option<Instant> {
        let day = zone.day(treated);
        let after = day.checked_add(i64::from(self.settings.keep_years).years()).unwrap_or(Date::MAX);
        let minor = self
            .born
            .filter(|born| super::minors::age_on(*born, day) < 18)
            .map(|born| born.checked_add(i64::from(self.settings.keep_minor_until).years()).unwrap_or(Date::MAX));
        let until = zone.start_of(minor.map_or(after, |minor| minor.max(after)));
        (until > self.at).then_some(until)
    }
}

/// True where this person may export, restrict and erase: the keeper, and for an artist who has left the owner.
#[must_use]
pub(crate) fn may_use(client: &Client, who: &Who, names: &Names) -> bool {
    match client.keeper {
        Keeper::Studio => who.role == Role::Owner,
        Keeper::Artist(keeper) => who.id == keeper || (who.role == Role::Owner && !names.works_here(keeper)),
    }
}

/// What this part keeps of her.
///
/// # Errors
/// When the database cannot be read.
pub async fn client_file(db: &mut Db, keys: &Keys, client: ClientId) -> Result<Vec<FilePart>, Problem> {
    super::file_store::file(db, keys, client).await
}

/// Puts what this part keeps of `from` to `into`; both histories stay.
///
/// # Errors
/// When the database refuses it.
pub async fn client_merge(tx: &mut Tx, keys: &Keys, from: ClientId, into: ClientId) -> Result<(), Problem> {
    super::rights_store::merge(tx, keys, from, into).await
}

/// Erases what may go; what stays, with its reason and date. The client's key is not this part's to destroy.
///
/// # Errors
/// When the database refuses it.
pub async fn client_erase(
    tx: &mut Tx,
    keys: &Keys,
    client: ClientId,
    erasing: &Erasing,
) -> Result<Vec<Stays>, Problem> {
    super::rights_store::erase(tx, keys, client, erasing).await
}

/// Whether somebody erased came back and has a new record that is in use.
///
/// # Errors
/// When the database cannot be read.
pub async fn came_back(db: &mut Db, client: ClientId) -> Result<bool, Problem> {
    super::rest_store::came_back(db, client).await
}

/// Who those of these clients are who were erased while records of theirs must stay, and how to reach them; in a few statements for all.
///
/// # Errors
/// When the database cannot be read, or what is sealed was changed.
pub async fn rests(db: &mut Db, keys: &Keys, clients: &[ClientId]) -> Result<BTreeMap<ClientId, Rest>, Problem> {
    super::rest_store::rests(db, keys, clients).await
}

/// Restricts a record, or lifts that.
///
/// # Errors
/// When the database refuses it.
pub(crate) async fn restrict(tx: &mut Tx, client: ClientId, since: Option<Instant>) -> Result<(), Problem> {
    super::rights_store::restrict(tx, client, since).await
}

/// What is taken over into the record that stays when two are put together.
pub(crate) async fn take_over(tx: &mut Tx, before: &Client, after: &Client) -> Result<(), Problem> {
    super::store::change(tx, before, after).await
}

/// Files of clients that nobody took within a day are emptied, for the clock; at an erasure all of them.
///
/// # Errors
/// When the database cannot be used.
pub(crate) async fn forget_files(tx: &mut Tx, older_than: Instant) -> Result<(), Problem> {
    super::imports::forget(tx, older_than).await
}

/// Ends what artists may see until a day that is over, for the clock.
///
/// # Errors
/// When the database cannot be used.
pub(crate) async fn end_covers(tx: &mut Tx) -> Result<(), Problem> {
    super::store::end_covers(tx).await
}

/// Forms in clients' hands that nobody gave within a day are forgotten, for the clock.
pub(crate) async fn forget_handed_forms(tx: &mut Tx, older_than: Instant) -> Result<(), Problem> {
    super::handed::store::forget(tx, older_than).await
}

/// A photo of her as her file lists it: its id, when it was taken in words and as an instant, width and height in pixels.
pub(crate) type ListedPhoto = (PhotoId, &'static str, Instant, i64, i64);

/// The photos kept of her, oldest first.
pub(crate) async fn listed_photos(db: &mut Db, client: ClientId) -> Result<Vec<ListedPhoto>, Problem> {
    let all = super::photos::store::of_client(db, client).await?;
    let listed = all.into_iter().rev().filter(|photo| photo.withdrawn.is_none());
    Ok(listed.map(|photo| (photo.id, photo.moment.words(), photo.at, photo.width, photo.height)).collect())
}

/// The JPEG of one photo of hers whose consent is in force; the caller writes down that it is read.
///
/// # Errors
/// [`Problem::NotHere`] for any other.
pub(crate) async fn client_photo(
    db: &mut Db,
    keys: &Keys,
    (client, photo): (ClientId, PhotoId),
) -> Result<Vec<u8>, Problem> {
    super::photos::store::picture(db, keys, client, photo).await
}

/// Every photo kept of her, oldest first: its id and the JPEG.
pub(crate) async fn client_photos(
    db: &mut Db,
    keys: &Keys,
    client: ClientId,
) -> Result<Vec<(PhotoId, Vec<u8>)>, Problem> {
    super::photos::store::pictures(db, keys, client).await
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        Instant::from_timestamp(text.parse().unwrap())
    }

    fn erasing(treated: Option<&str>, born: Option<Date>) -> Erasing {
        Erasing::new(at("2026-02-18T09:12:00Z"), treated.map(at), born, ClientSettings::default())
    }

    #[test]
    fn records_stay_for_the_keeping_time_after_the_last_treatment() {
        let until = |erasing: Erasing| erasing.keep_until(&Zone::utc()).map(Instant::iso);
        assert_eq!(until(erasing(None, None)), None);
        assert_eq!(until(erasing(Some("2025-06-01T10:00:00Z"), None)).unwrap(), "2032-06-01T00:00:00Z");
        assert_eq!(until(erasing(Some("2018-06-01T10:00:00Z"), None)), None);
    }

    #[test]
    fn for_who_was_a_minor_then_the_later_date_counts() {
        let until = |treated, born| erasing(Some(treated), Some(born)).keep_until(&Zone::utc()).map(Instant::iso);
        // Sixteen at the test: seven years end at 23, so she is kept until 25.
        assert_eq!(until("2025-06-01T10:00:00Z", Date::constant(2009, 3, 1)).unwrap(), "2034-03-01T00:00:00Z");
        // Of age at the test: seven years, whatever her age then.
        assert_eq!(until("2025-06-01T10:00:00Z", Date::constant(2007, 3, 1)).unwrap(), "2032-06-01T00:00:00Z");
    }

    #[test]
    fn a_date_that_was_told_stays_whatever_the_rules_say_later() {
        let mut own = erasing(Some("2025-06-01T10:00:00Z"), None);
        let until = |erasing: &Erasing| erasing.stays_until("complaints", None, &Zone::utc()).map(Instant::iso);
        assert_eq!(until(&own).unwrap(), "2032-06-01T00:00:00Z");
        own.settings.keep_years = 15;
        assert_eq!(until(&own).unwrap(), "2040-06-01T00:00:00Z", "nobody was told yet");
        own.told.insert("complaints".to_owned(), at("2032-06-01T00:00:00Z"));
        assert_eq!(until(&own).unwrap(), "2032-06-01T00:00:00Z");
        own.settings.keep_years = 1;
        assert_eq!(until(&own).unwrap(), "2032-06-01T00:00:00Z", "no earlier either");
        own.at = at("2032-06-01T00:00:00Z");
        assert_eq!(until(&own), None, "and on its day it goes");
    }

    #[test]
    fn a_record_newer_than_the_last_treatment_stays_longer() {
        let own = erasing(Some("2025-06-01T10:00:00Z"), None);
        let until = |newest: Option<&str>| own.stays_until("reactions", newest.map(at), &Zone::utc()).map(Instant::iso);
        assert_eq!(until(Some("2025-07-04T10:00:00Z")).unwrap(), "2032-07-04T00:00:00Z");
        assert_eq!(until(Some("2025-05-04T10:00:00Z")), until(None), "an older one as long as the treatment asks for");
        assert_eq!(erasing(None, None).stays_until("reactions", None, &Zone::utc()), None);
    }
}
