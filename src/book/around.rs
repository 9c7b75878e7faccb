//! What every page of the book needs to speak of appointments: names of artists, beds and services, and who may touch what.

use super::appointment::Appointment;
use super::plan::Bed;
use super::plan_store;
use super::service::Service;
use crate::artists::{self, Artist};
use crate::base::actor::{Role, Who};
use crate::base::ids::{ArtistId, BedId, ServiceId};
use crate::base::problem::Problem;
use crate::store::Db;
use crate::web::studio::Studio;

/// Names, and the studio's choices.
pub(super) struct Around {
    pub(super) studio: Studio,
    /// Who works here now, sorted by name.
    pub(super) artists: Vec<Artist>,
    /// All there ever were.
    services: Vec<Service>,
    beds: Vec<Bed>,
}

impl Around {
    pub(super) async fn load(db: &mut Db) -> Result<Self, Problem> {
        Ok(Self {
            studio: Studio::load(db).await?,
            artists: artists::all(db).await?,
            services: plan_store::services(db).await?,
            beds: plan_store::beds(db).await?,
        })
    }

    /// Her first name, or what stands for somebody who has left.
    pub(super) fn first_name(&self, artist: ArtistId) -> &str {
        let name = self.artist(artist).map_or("", |artist| artist.name.as_str());
        name.split_whitespace().next().unwrap_or("a former colleague")
    }

    pub(super) fn artist(&self, id: ArtistId) -> Option<&Artist> {
        self.artists.iter().find(|artist| artist.id == id)
    }

    pub(super) fn service(&self, id: ServiceId) -> Option<&Service> {
        self.services.iter().find(|service| service.id == id)
    }

    pub(super) fn service_name(&self, id: ServiceId) -> &str {
        self.service(id).map_or("a service", |service| service.name.as_str())
    }

    /// What can be booked now.
    pub(super) fn offered(&self) -> impl Iterator<Item = &Service> {
        self.services.iter().filter(|service| !service.closed)
    }

    pub(super) fn all_services(&self) -> &[Service] {
        &self.services
    }

    /// Beds in use.
    pub(super) fn beds(&self) -> impl Iterator<Item = &Bed> {
        self.beds.iter().filter(|bed| !bed.closed)
    }

    pub(super) fn bed(&self, id: BedId) -> Option<&Bed> {
        self.beds.iter().find(|bed| bed.id == id)
    }

    pub(super) fn bed_words(&self, id: Option<BedId>) -> String {
        id.and_then(|id| self.bed(id)).map_or_else(|| "no bed".to_owned(), Bed::words)
    }

    /// The artist this person is.
    pub(super) fn own(&self, who: &Who) -> Option<ArtistId> {
        self.artists.iter().find(|artist| artist.person == who.id).map(|artist| artist.id)
    }

    /// Whether this person books for that artist: owner and desk for everybody, an artist for herself.
    pub(super) fn books_for(&self, who: &Who, artist: ArtistId) -> bool {
        matches!(who.role, Role::Owner | Role::Desk) || self.own(who) == Some(artist)
    }

    /// The artists this person books for.
    pub(super) fn booked_by(&self, who: &Who) -> Vec<&Artist> {
        self.artists.iter().filter(|artist| self.books_for(who, artist.id)).collect()
    }

    /// The appointment, for whoever may see it; of a colleague's an artist knows only that the time is taken.
    pub(super) fn seen(&self, who: &Who, appointment: Option<Appointment>) -> Result<Appointment, Problem> {
        let appointment = appointment.filter(|appointment| self.books_for(who, appointment.artist));
        appointment.ok_or(Problem::NotHere("appointment"))
    }
}
